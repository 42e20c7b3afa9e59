"""What the doses of a batch spare, against the same products written out dose by dose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch, Doses

#: 4 draws; days 0 to 6 on a grid of half days
DRAWS, TIMES, HORIZON = 4, np.arange(17) * 0.5, 12
RNG = np.random.default_rng(7)


def effect(strength: float, lasting: float = 0.0) -> DoseEffect:
    def share() -> np.ndarray:
        return strength * RNG.uniform(0.5, 1.0, DRAWS)

    return DoseEffect(
        by_form={"adult": share(), "juvenile": share()},
        sheltered_kill=share() / 4,
        sheltered_fraction=np.full(DRAWS, 0.3),
        larva_hazard=lasting * share(),
        settler_kill=min(lasting, 1.0) * share(),
        fade_per_day=RNG.uniform(0.5, 1.5, DRAWS),
    )


WEAK, STRONG = effect(0.5), effect(1.0, lasting=0.8)
#: two doses of each schedule at most: (grid time, effect)
SCHEDULES = [[(2, 0), (8, 1)], [(2, 1)], [], [(0, 1), (9, 1)]]


@pytest.fixture(scope="module")
def doses() -> Doses:
    steps, kinds = np.full((4, 2), -1), np.zeros((4, 2), int)
    for s, line in enumerate(SCHEDULES):
        for d, (step, kind) in enumerate(line):
            steps[s, d], kinds[s, d] = step, kind
    return Doses(Batch(steps, kinds, [WEAK, STRONG]), TIMES, HORIZON)


def product(form: str, times: range) -> np.ndarray:
    """Share that the doses of some grid times spare, (S, M)."""
    found = np.ones((len(SCHEDULES), DRAWS))
    for s, line in enumerate(SCHEDULES):
        for step, kind in line:
            if step in times:
                found[s] *= 1 - (WEAK, STRONG)[kind].kill_of(form)
    return found


def whole(share: np.ndarray | float) -> np.ndarray:
    return np.broadcast_to(share, (len(SCHEDULES), DRAWS))


FORMS = ("adult", "juvenile", "sheltered", "egg")


@pytest.mark.parametrize("form", FORMS)
def test_doses_of_a_day_of_all_days_so_far_and_of_all(doses, form):
    for i in range(HORIZON, -1, -1):  # the way the equations walk
        np.testing.assert_allclose(whole(doses.at(form, i)), product(form, range(i, i + 1)))
        np.testing.assert_allclose(whole(doses.until(form, i)), product(form, range(i + 1)))
    np.testing.assert_allclose(whole(doses.whole(form)), product(form, range(HORIZON + 1)))


def test_what_no_dose_touches_is_spared_without_an_array(doses):
    assert doses.at("adult", 5) == 1.0
    assert doses.whole("egg") == 1.0
    assert doses.log("egg", [g[-1] for g in doses.given]) == 0.0


def test_counts_of_doses_by_grid_time(doses):
    assert doses.batch.last == 9
    assert [g[-1].tolist() for g in doses.given] == [[1, 0, 0, 0], [1, 1, 0, 2]]
    assert doses.given[1][8].tolist() == [1, 1, 0, 1]
    assert np.flatnonzero(doses.some).tolist() == [0, 2, 8, 9]


def test_no_doses_at_all():
    none = Batch(np.full((2, 1), -1), np.zeros((2, 1), int), [STRONG])
    assert none.last == 0
    assert Doses(none, TIMES, HORIZON).whole("adult") == 1.0
    assert Doses(none, TIMES, HORIZON).dissolved(3.0) == (0.0, 0.0)


def test_a_total_kill_has_a_finite_logarithm():
    total = Batch(np.array([[1]]), np.array([[0]]), [DoseEffect({"adult": np.ones(2)}, *np.zeros((4, 2)), np.ones(2))])
    spared = Doses(total, TIMES, HORIZON)
    assert np.log(1e-15) == pytest.approx(float(spared.log("adult", [np.ones(1)])[0, 0]), rel=0.01)
    assert (spared.at("adult", 1) == 0).all()


@pytest.mark.parametrize("day", [0.25, 2.25, 4.75, 7.9])
def test_what_is_dissolved_fades_from_every_dose_on(doses, day):
    hazard, spared = np.zeros((4, DRAWS)), np.ones((4, DRAWS))
    for s, line in enumerate(SCHEDULES):
        for step, kind in line:
            if kind == 1 and TIMES[step] <= day:
                left = np.exp(-STRONG.fade_per_day * (day - TIMES[step]))
                hazard[s] += left * STRONG.larva_hazard
                spared[s] *= 1 - left * STRONG.settler_kill
    found, killed = doses.dissolved(day)
    np.testing.assert_allclose(found, hazard, rtol=1e-12)
    np.testing.assert_allclose(killed, 1 - spared, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("lasting", ["larva_hazard", "settler_kill"])
def test_what_lasts_in_one_draw_alone_lasts(lasting):
    """One pond with carbon off is enough for a drug to be followed, by either of what it does."""
    alone = np.array([0.0, 0.4])
    effect = replace(
        STRONG.take(np.arange(2)), **{"larva_hazard": np.zeros(2), "settler_kill": np.zeros(2), lasting: alone}
    )
    found = Doses(Batch(np.array([[0]]), np.array([[0]]), [effect]), TIMES, HORIZON).dissolved(0.0)
    np.testing.assert_allclose(np.broadcast_to(found[lasting == "settler_kill"], (1, 2)), alone[None])


def test_nothing_is_left_once_it_has_faded_forty_times(doses):
    assert doses.dissolved(TIMES[9] + 40.5 / STRONG.fade_per_day.min()) == (0.0, 0.0)
    before = TIMES[9] + 39.5 / STRONG.fade_per_day.min()
    assert np.all(doses.dissolved(before)[0][3] > 0)

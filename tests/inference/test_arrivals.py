"""Fish that came: what they bring, and records that begin with them, later or earlier."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, exactly

from burden.case import Arrival, DeathRecord, FishGroup
from burden.inference import history
from burden.inference.arrivals import PRIOR_NONE, arrive
from burden.inference.estimate import estimate
from burden.inference.prior import draw_pond
from burden.inference.sampler import Effort

QUICK = Effort(300, 600)


def tank(days_ago: int = 20, came: int = 40, count: int = 40, naive: bool | None = None, **more):
    """Fish bought in so many days ago; `more` goes to the arrival."""
    arrival = Arrival(VISIT - timedelta(days=days_ago), came, **more)
    return FishGroup("koi", count, False, exactly(50.0), new_arrivals=(arrival,), naive=naive)


def died(*rows: tuple[int, int]) -> tuple[DeathRecord, ...]:
    return tuple(DeathRecord(VISIT - timedelta(days=ago), deaths) for ago, deaths in rows)


@pytest.mark.parametrize("log", [((20, 0), (12, 2), (3, 1)), ((30, 0), (12, 2), (3, 1)), ((20, 3), (12, 0)), ()])
def test_a_tank_that_begins_with_its_fish_has_flukes_to_follow(log):
    """The log begins on the day they came, before it, with fish dead on arrival, or there is none."""
    dead = sum(n for _, n in log)
    case = a_case(clips([0, 2, 1, 0]), fish=(tank(count=40 - dead),), deaths=died(*log))
    assert case.fish_since == VISIT - timedelta(days=20)
    assert history.history_days(case)[0] == -20.0
    found = estimate(case, draws=60, effort=QUICK)
    assert found.mean_abundance.low > 0
    assert 0.5 < found.prevalence.median <= 1
    assert np.isfinite(found.eggs_waiting.high)
    assert found.effective_draws > 20


def test_what_was_done_before_the_fish_came_is_no_reason_to_refuse():
    case = a_case(clips([1]), fish=(tank(),), given=(dose(-25), dose(-10)), deaths=died((40, 0)))
    assert history.history_days(case).tolist() == [-20.0, -10.0, 0.0]
    assert np.isfinite(estimate(case, draws=60, effort=QUICK).mean_abundance.median)


def test_newcomers_carry_a_burden_of_the_prior_and_few_eggs():
    """On the day they come: the prior's burden on them, and no more eggs than two days on the way can lay."""
    case = a_case(fish=(tank(days_ago=0),))
    run = history.run_past(case, "dactylogyrus", 2000, 3, None)
    value = run.pond.setting.parameters.evidence.values["abundance"]
    assert np.median(run.by_day[0.0]["all"]) == pytest.approx(value.value * 50, rel=0.15)
    settled = history.run_past(a_case(fish=(replace(tank(), new_arrivals=()),)), "dactylogyrus", 2000, 3, None)
    eggs, of_a_pond = (sum(r.state.water[f].sum(0) for f in ("egg", "fresh_egg")) for r in (run, settled))
    assert 0 < np.median(eggs) < 0.3 * np.median(of_a_pond)


def test_residents_keep_theirs_and_newcomers_add_their_own():
    """40 of 80 came 10 d ago: in one in five draws clean, else with a burden that knows nothing of the residents'."""
    case = a_case(fish=(tank(days_ago=10, came=40, count=80),))
    pond = draw_pond(case, "dactylogyrus", 1000, 3)
    (come,) = pond.newcomers
    assert np.mean(come.abundance == 0) == pytest.approx(PRIOR_NONE, abs=0.04)
    event, _ = arrive(pond, come)
    some = np.flatnonzero(come.abundance > 0)
    brought = sum(event.bring[f].sum((0, 1)) for f in ("juvenile", "adult"))
    np.testing.assert_allclose(brought[some], come.abundance[some], rtol=1e-9)
    assert event.arrive_resistance is not None
    assert 0.4 < np.mean(event.arrive_resistance[some] == 0) < 0.6  # nobody says whether they had met the fluke


def test_naive_residents_have_no_flukes_before_newcomers_bring_them():
    case = a_case(fish=(tank(days_ago=10, came=5, count=45, naive=True),), deaths=died((20, 0)))
    run = history.run_past(case, "dactylogyrus", 200, 3, None)
    assert run.by_day[-21.0]["all"].max() == 0
    assert run.by_day[0.0]["all"].min() > 0
    assert run.state.resistance.max() < 0.5


def test_treated_and_looked_at_newcomers():
    """No fluke on twenty clips of them, or many: the pond behind it differs; a treatment leaves fewer."""
    by = {}
    for name, more in {
        "clean": {"flukes_seen": 0, "preparations": 20},
        "many": {"flukes_seen": 60, "preparations": 4},
        "treated": {"flukes_seen": 60, "preparations": 4, "treated": True},
    }.items():
        found = estimate(a_case(fish=(tank(days_ago=3, **more),)), draws=100, effort=QUICK)
        by[name] = found.mean_abundance.median
    assert by["clean"] < 0.3 * by["many"]
    assert by["treated"] < 0.8 * by["many"]


def test_looks_at_newcomers_read_as_looks_at_the_tank_of_that_day():
    """One clip of a fish that just came is one clip, wherever it is written down."""
    seen = a_case(fish=(tank(days_ago=5, flukes_seen=3, preparations=1),))
    rows = a_case(clips([3], share=None, day=-5), fish=(tank(days_ago=5),))
    weights = []
    for case in (seen, rows):
        run = history.run_past(case, "dactylogyrus", 150, 3, None)
        log = history.log_likelihood(run, "dactylogyrus")
        weights.append(log - log.max())
    np.testing.assert_allclose(weights[0], weights[1], atol=0.02)


def test_newcomers_held_apart_are_known_as_such():
    assert not a_case().newcomers_apart
    assert a_case(fish=(replace(tank(), newcomers_apart=True),)).newcomers_apart

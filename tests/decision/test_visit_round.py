"""Which ponds to look at: looks against closed forms, the plan against every plan there is."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from cases import a_case
from scipy import stats

from burden.decision.look_value import look_at, value_of_pond
from burden.decision.visit_round import Choice, best_round

DRAWS = 40_000


def gamma_poisson(seed: int = 1):
    """Burdens gamma of shape 2 and mean 10, counts Poisson of them; a course saves a tenth of the burden less one."""
    rng = np.random.default_rng(seed)
    burden = rng.gamma(2.0, 5.0, DRAWS)
    return rng.poisson(burden), 0.1 * burden - 1.0


def test_a_look_is_worth_what_the_closed_form_says():
    """Given a count the burden is gamma again, its mean (2 + c)·5/6; counts are negative binomial (conjugate)."""
    counts, saved = gamma_poisson()
    c = np.arange(200)
    weight = stats.nbinom.pmf(c, 2, 1 / 6)
    after = 0.1 * (2 + c) * 5 / 6 - 1
    exact = (weight * np.maximum(after, 0)).sum() - max(0.1 * 10 - 1, 0)
    found = look_at(0, counts, saved)
    assert found.value == pytest.approx(exact, rel=0.03)
    assert found.more_than == pytest.approx(10, abs=1)  # (2 + c)/12 is 1 at 10
    assert found.chance * found.worth == pytest.approx(found.value)


def test_a_look_that_shows_nothing_is_worth_nothing():
    saved = np.random.default_rng(2).normal(0.0, 1.0, 500)
    counts = np.random.default_rng(3).poisson(3.0, 500)
    assert look_at(0, counts, saved).value < 0.1
    assert look_at(5, np.zeros(500, int), saved - 9).value <= 0  # fish handled for nothing


@pytest.mark.parametrize(("mean", "more_than"), [(-5.0, "most"), (5.0, -1)])
def test_a_sure_case_is_not_changed_by_any_count(mean, more_than):
    counts, saved = gamma_poisson()
    found = look_at(3, counts, saved + mean + (4 if mean > 0 else -40))
    assert found.more_than == (counts.max() if more_than == "most" else -1)
    assert found.chance == pytest.approx(0, abs=1e-3)


def by_trying_all(ponds, fish, minutes) -> float:
    best = 0.0
    for plan in product(*([None, *choices] for choices in ponds)):
        made = [one for one in plan if one is not None]
        if sum(one.fish for one in made) <= fish and sum(one.minutes for one in made) <= minutes:
            best = max(best, sum(one.value for one in made))
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_plan_is_the_best_of_all_plans(seed):
    rng = np.random.default_rng(seed)
    ponds = []
    for _ in range(5):
        travel, top = int(rng.integers(5, 60)), rng.gamma(1.0, 3.0)
        ponds.append([Choice(n, travel + 10 * n, top * (1 - np.exp(-n / rng.uniform(2, 10)))) for n in (3, 5, 8)])
    fish, minutes = int(rng.integers(3, 25)), float(rng.integers(40, 300))
    found = best_round(ponds, fish, minutes)
    made = [choices[i] for choices, i in zip(ponds, found.chosen, strict=True) if i is not None]
    assert found.value == pytest.approx(by_trying_all(ponds, fish, minutes))
    assert sum(one.value for one in made) == pytest.approx(found.value)
    assert sum(one.fish for one in made) <= fish
    assert sum(one.minutes for one in made) <= minutes
    assert found.value_with_more_fish == pytest.approx(by_trying_all(ponds, fish + 5, minutes))
    assert found.value_with_more_time == pytest.approx(by_trying_all(ponds, fish, minutes + 60))


def test_a_look_that_costs_more_than_it_saves_is_not_made():
    assert best_round([[Choice(3, 10, -0.1)], [Choice(3, 10, 0.0)]], 10, 100).chosen == (None, None)


def test_two_hundred_ponds_stay_within_their_limits():
    rng = np.random.default_rng(5)
    ponds = [[Choice(n, 20 + 10 * n, v * np.sqrt(n)) for n in (3, 5, 8, 10)] for v in rng.gamma(0.5, 1.0, 200)]
    found = best_round(ponds, 100, 40 * 60)
    made = [choices[i] for choices, i in zip(ponds, found.chosen, strict=True) if i is not None]
    assert sum(one.fish for one in made) <= 100
    assert sum(one.minutes for one in made) <= 40 * 60
    # no plan saves more than that of split visits: the limit on fish alone, by value a fish
    rates = sorted((max(c.value / c.fish for c in choices) for choices in ponds), reverse=True)
    assert found.value <= sum(rate * 10 for rate in rates[:10]) + 1e-9
    assert found.value > 0


def assessed(action: str, kind: str = "control", underway: object = None) -> SimpleNamespace:
    """What `value_of_pond` asks of an assessment before it weighs anything."""
    aim = SimpleNamespace(kind=kind)
    searched = SimpleNamespace(aim=aim, underway=underway, recommended=None, untreated=None, named=lambda name: None)
    return SimpleNamespace(case=a_case(), decision=SimpleNamespace(action=action, recommendation=searched))


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (assessed("dose", underway=1), "under_way"),  # no few fish end a course that has begun
        (assessed("dose", "eradicate"), "newcomers"),
        (assessed("watch"), "no_course"),
    ],
)
def test_ponds_whose_dates_no_look_changes_are_not_weighed(found, why):
    assert value_of_pond(found).why_not == why
    assert value_of_pond(found).looks == ()

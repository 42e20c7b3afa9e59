"""Which ponds to look at: looks against closed forms, the plan against every plan there is."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from cases import VISIT, a_case
from scipy import stats

from burden.decision.look_records import NextLook, Outcome
from burden.decision.look_value import look_at, value_of_pond
from burden.decision.visit_round import Choice, best_round

DRAWS = 40_000


def gamma_poisson(seed: int = 1):
    """Burdens gamma of shape 2 and mean 10, counts Poisson of them; a course saves a tenth of the burden less one."""
    rng = np.random.default_rng(seed)
    burden = rng.gamma(2.0, 5.0, DRAWS)
    return rng.poisson(burden), 0.1 * burden - 1.0


def a_look(*outcomes: Outcome) -> NextLook:
    return NextLook(VISIT, 0.0, "more_fish", 5, False, 3, outcomes)


def dose_above(limit: int, chance: float) -> NextLook:
    """No dose up to a limit, then one."""
    return a_look(Outcome("few", limit, 1 - chance, 0.2, "watch"), Outcome("many", None, chance, 0.8, "dose"))


def test_a_look_is_worth_what_the_closed_form_says():
    """Given a count the burden is gamma again, its mean (2 + c)·5/6; counts are negative binomial (conjugate)."""
    counts, saved = gamma_poisson()
    c = np.arange(200)
    weight = stats.nbinom.pmf(c, 2, 1 / 6)
    after = 0.1 * (2 + c) * 5 / 6 - 1
    exact = (weight * np.maximum(after, 0)).sum() - max(0.1 * 10 - 1, 0)
    more = float(weight[11:].sum())  # (2 + c)/12 is 1 at 10: a course saves as much as it costs
    found = look_at(0, counts, saved, dose_above(10, more), course=False)
    assert found.value == pytest.approx(exact, rel=0.03)
    assert found.more_than == 10
    assert found.chance == pytest.approx(more)
    assert found.chance * found.worth == pytest.approx(found.value)
    other = look_at(0, counts, saved, dose_above(10, more), course=True)  # the mean of what a course saves is 0
    assert other.value == pytest.approx(exact, rel=0.03)
    assert other.chance == pytest.approx(1 - more)


def test_a_look_that_shows_nothing_is_worth_nothing():
    saved = np.random.default_rng(2).normal(0.0, 1.0, 500)
    counts = np.random.default_rng(3).poisson(3.0, 500)
    assert look_at(0, counts, saved, dose_above(3, 0.4), course=False).value < 0.1
    assert look_at(5, np.zeros(500, int), saved - 9, dose_above(3, 0.4), course=False).value <= 0  # handled for nothing


def test_no_fish_is_netted_for_a_change_that_hardly_ever_comes():
    counts, saved = gamma_poisson()
    found = look_at(3, counts, saved, dose_above(40, 0.02), course=False)
    assert (found.value, found.worth) == (pytest.approx(-0.006), 0.0)


def test_no_count_leads_to_a_dose_where_the_decision_gives_none():
    plan = a_look(Outcome("none", 0, 0.5, 0.1, "watch"), Outcome("many", None, 0.5, 0.4, "look_first"))
    found = look_at(3, *gamma_poisson(), plan, course=False)
    assert (found.more_than, found.chance) == (None, 0.0)


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
        (assessed("water_first"), "water"),
    ],
)
def test_ponds_whose_dates_no_look_changes_are_not_weighed(found, why):
    assert value_of_pond(found).why_not == why
    assert value_of_pond(found).looks == ()

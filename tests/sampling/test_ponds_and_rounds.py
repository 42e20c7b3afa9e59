"""Several ponds, and how sure of absence clean rounds make one."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest
from printed_tables import rows
from scipy import stats

from burden import sampling
from burden.utils.errors import InputError


def test_ponds_plan_reaches_its_confidence_and_no_split_needs_fewer_fish() -> None:
    """Direct sum over infected ponds caught, for every split near the best."""
    ponds, infected, within, confidence = 12, 3, 0.2, 0.9

    def reached(sampled: int, fish: int) -> float:
        seen = 1 - (1 - within) ** fish
        j = np.arange(infected + 1)
        return float(1 - stats.hypergeom.pmf(j, ponds, infected, sampled) @ (1 - seen) ** j)

    plan = sampling.find_in_ponds(ponds, 0.25, within, confidence)
    assert reached(plan.ponds_sampled, plan.fish_per_pond) >= confidence
    best = min(n * f for n, f in itertools.product(range(1, 13), range(1, 40)) if reached(n, f) >= confidence)
    assert plan.fish == best
    assert plan.fish == plan.ponds_sampled * plan.fish_per_pond


def test_ponds_plan_of_small_ponds_and_of_the_impossible() -> None:
    plan = sampling.find_in_ponds(6, 0.2, 0.1, 0.8, fish_in_pond=30)
    seen = sampling.group_sensitivity(30, plan.fish_per_pond, 3)
    assert plan.pond_sensitivity == pytest.approx(seen)
    # a fifth of six ponds, or more, is two
    assert sampling.group_sensitivity(6, plan.ponds_sampled, 2, seen) >= 0.8
    none = sampling.find_in_ponds(6, 0.2, 0.1, 0.95, fish_in_pond=10, sensitivity=0.3)
    assert none.fish is None
    assert none.reason == "all_ponds_too_few"
    with pytest.raises(InputError, match="pond_prevalence"):
        sampling.find_in_ponds(6, 20, 0.1, 0.95)


def test_a_pond_that_takes_time_to_set_up_is_visited_less() -> None:
    free, dear = (sampling.find_in_ponds(20, 0.2, 0.1, 0.95, pond_cost=cost) for cost in (0.0, 30.0))
    assert dear.ponds_sampled < free.ponds_sampled
    assert dear.fish > free.fish
    assert dear.work == dear.fish + 30 * dear.ponds_sampled < free.fish + 30 * free.ponds_sampled


def _freedom(check: str) -> list[dict[str, str]]:
    return [r for r in rows("derived/freedom.csv") if r["check"] == check]


def test_absence_after_one_clean_round_is_bayes() -> None:
    row = _freedom("posterior_freedom")[0]
    got = sampling.absent_after_clean_rounds(0.5, 0.95, rounds=1).rounds[0]["absent_after"]
    assert got == pytest.approx(0.5 / (0.5 + 0.5 * 0.05))
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_absence_after_rounds_with_introductions() -> None:
    result = sampling.absent_after_clean_rounds(0.5, 0.6, 0.02, rounds=5)
    table = _freedom("posterior_freedom_sequence")
    absent = 0.5
    for row, got in zip(table, result.rounds, strict=True):
        absent = absent / (absent + (1 - absent) * 0.4)  # the recursion by hand
        assert got["absent_after"] == pytest.approx(absent, abs=1e-12)
        assert got["absent_after"] == pytest.approx(float(row["expected"]), abs=1e-6)
        absent *= 0.98


def test_uncertain_sensitivity_makes_clean_rounds_tell_less() -> None:
    """Against a simulation: the draw is the stock's own through all rounds."""
    seen = np.array([0.1, 0.9])
    result = sampling.absent_after_clean_rounds(0.5, seen, 0.0, rounds=3)
    rng = np.random.default_rng(4)
    absent = rng.random(200_000) < 0.5
    chance = rng.choice(seen, absent.size)
    clean = absent | (rng.random((3, absent.size)) > chance).all(0)
    assert result.rounds[-1]["absent_after"] == pytest.approx(absent[clean].mean(), abs=0.006)
    averaged = sampling.absent_after_clean_rounds(0.5, 0.5, 0.0, rounds=3).rounds[-1]["absent_after"]
    assert result.rounds[-1]["absent_after"] < averaged - 0.1
    assert result.rounds[-1]["low"] < result.rounds[-1]["absent_after"] < result.rounds[-1]["high"]


def test_new_fish_set_a_ceiling_that_rounds_cannot_pass() -> None:
    enters = float(sampling.introduction_probability(40, 0.02))
    assert enters == pytest.approx(1 - 0.98**40)
    assert sampling.introduction_probability(40, 0.02, 0.05) < enters / 10
    result = sampling.absent_after_clean_rounds(0.5, 0.6, enters, rounds=300)
    assert result.rounds_to_target is None
    assert result.rounds[-1]["absent_after"] == pytest.approx(result.ceiling, abs=1e-6)
    assert result.reason == "new_fish"
    assert json.loads(result.to_json())["rounds_to_target"] is None
    assert "New fish bring flukes with 55 % chance" in json.loads(result.to_json())["reason"]
    assert "After 300 clean rounds" in str(result)
    assert len(result.to_frame()) == 300
    closed = sampling.absent_after_clean_rounds(0.5, 0.6)
    assert closed.rounds_to_target == 4
    assert closed.ceiling == pytest.approx(1.0)


def test_clean_rounds_of_a_plan_with_new_fish_by_hand() -> None:
    """Each round Bayes' rule with the plan's confidence; between rounds a quarter of a year's new fish."""
    plan = sampling.with_clean_rounds(sampling.find(0.05, 0.95, 100), 3, 12, 0.02, 4.0, 0.5)
    seen, comes = plan.confidence_reached, 1 - (0.98**12) ** 0.25
    absent = 0.5
    for row in plan.clean_rounds.rounds:
        assert row["absent_before"] == pytest.approx(absent)
        absent = absent / (absent + (1 - absent) * (1 - seen))
        assert row["absent_after"] == pytest.approx(absent)
        absent *= 1 - comes
    assert "After 3 clean rounds" in plan.text()
    assert plan.as_dict()["clean_rounds"]["rounds"][2]["round"] == 3
    assert sampling.find(0.05, 0.95).as_dict()["clean_rounds"] is None


def test_rounds_of_several_ponds_and_wrong_numbers() -> None:
    ponds = sampling.find_in_ponds(6, 1 / 6, 0.1, 0.95, 200)
    first = sampling.with_clean_rounds(ponds, 1).clean_rounds.rounds[0]["absent_after"]
    reached = sampling.group_sensitivity(6, ponds.ponds_sampled, 1, ponds.pond_sensitivity)
    assert 0.95 <= ponds.confidence_reached == pytest.approx(reached)
    assert first == pytest.approx(0.5 / (0.5 + 0.5 * (1 - reached)))
    with pytest.raises(InputError, match=r"rounds_a_year[\s\S]*new_infected"):
        sampling.with_clean_rounds(ponds, 2, 3, 40, 0)


def test_clean_rounds_of_ponds_that_cannot_be_searched_are_no_freedom() -> None:
    """One of three ponds with one of ten fish infected, seen in 5 of 100: all 30 fish find it as rarely."""
    plan = sampling.find_in_ponds(3, 1 / 3, 0.01, 0.99, fish_in_pond=10, sensitivity=0.05)
    assert plan.fish is None
    assert plan.confidence_reached == pytest.approx(0.05)
    after = [row["absent_after"] for row in sampling.with_clean_rounds(plan, 2).clean_rounds.rounds]
    assert after == pytest.approx([0.5 / (0.5 + 0.5 * 0.95**n) for n in (1, 2)])

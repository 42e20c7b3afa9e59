"""Fish that show a burden: by a simulation of part-counts, and what fish are killed for it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from burden import sampling
from burden.sampling.look import log_chance_of_nothing
from burden.statistics import detection_per_fish, zero_share
from burden.utils.errors import InputError


def test_fish_by_burden_equals_a_simulation_of_part_counts() -> None:
    """Independent of the negative-binomial form: gamma fish, beta shares, Poisson finds, k drawn per stock."""
    rng = np.random.default_rng(11)
    k = np.array([0.4, 0.8, 1.6])
    look = sampling.Look(0.01, preparations=3, detection_per_fluke=0.9)
    plan = sampling.find_by_burden(5.0, k, look, 0.9)
    runs = 30_000
    stock_k = rng.choice(k, runs)[:, None]
    rate = rng.gamma(stock_k, 5.0 / stock_k, (runs, plan.fish))[..., None]
    share = rng.beta(1.0, 1.0 * 0.99 / 0.01, (runs, plan.fish, 3))
    clean = (rng.poisson(rate * share * 0.9).sum(2) == 0).all(1).mean()
    # three standard errors of a share near 0.1
    assert clean == pytest.approx(1 - plan.confidence_reached, abs=3 * math.sqrt(0.1 * 0.9 / runs))
    assert plan.confidence_reached >= 0.9


def test_averaging_chances_over_draws_asks_for_more_fish_than_averaging_first() -> None:
    k = np.array([0.1, 2.0])
    shared = sampling.find_by_burden(5.0, k, sampling.Look(0.02), 0.95)
    nothing = float(np.mean(np.exp(log_chance_of_nothing(5.0, k, sampling.Look(0.02)))))
    assert shared.fish > math.ceil(math.log(0.05) / math.log(nothing))


def test_whole_fish_by_burden_is_the_zero_class() -> None:
    plan = sampling.find_by_burden(1.0, 0.5, sampling.Look(1.0), 0.95)
    assert plan.fish == math.ceil(math.log(0.05) / math.log(float(zero_share(1.0, 0.5))))
    assert plan.detection_per_fish.median == pytest.approx(1.0, abs=1e-9)
    assert plan.prevalence.median == pytest.approx(1 - 3**-0.5)


def test_sensitivity_from_burden_feeds_find() -> None:
    seen = float(detection_per_fish(16.3, 0.3, 0.02, 3))
    assert sampling.find(0.1, 0.95, sensitivity=seen).fish > sampling.find(0.1, 0.95).fish


def test_healthy_fish_are_killed_only_when_allowed_and_needed() -> None:
    look = sampling.Look(0.01)
    few = {"level": 2.0, "k": 0.8, "look": look, "population": 40}
    refused = sampling.find_by_burden(**few)
    assert (refused.fish, refused.fish_killed) == (None, 0)
    assert refused.reason == "more_preparations"
    assert refused.level_shown == pytest.approx(sampling.level_shown(40, 0.8, look))
    assert f"would show fewer than {refused.level_shown:.2g} flukes" in str(refused.because)
    allowed = sampling.find_by_burden(**few, lethal_allowed=5)
    assert allowed.fish is not None
    assert 0 < allowed.fish_killed <= 5
    assert "must be killed and searched whole" in str(allowed)
    # side by side: without a fish killed, and with every number up to those allowed
    assert [choice["killed"] for choice in allowed.choices][:2] == [0, 1]
    assert allowed.choices[0]["fish"] is None
    assert allowed.choices[0]["confidence_reached"] == pytest.approx(refused.confidence_reached)
    assert "Live fish only: all of them reach" in str(allowed)
    fewer = sampling.find_by_burden(**few, lethal_allowed=allowed.fish_killed - 1)
    assert fewer.fish is None
    enough = sampling.find_by_burden(**{**few, "population": None}, lethal_allowed=5)
    assert enough.fish_killed == 0
    shown = str(enough)
    assert f"Live fish only: {enough.fish} fish. With" in shown


def test_a_level_asked_for_as_a_prevalence() -> None:
    """With k drawn, each draw has the burden at which this share of fish is infected."""
    k = np.array([0.3, 1.0, 3.0])
    level = sampling.level_at_prevalence(0.2, k)
    assert 1 - zero_share(level, k) == pytest.approx(np.full(3, 0.2))
    plan = sampling.find_by_burden(level, k, sampling.Look(), target_prevalence=0.2)
    assert plan.fish == sampling.find(0.2, 0.95).fish  # looked at whole, a fish shows what it has
    assert "fewer than 20 % of the fish are infected" in plan.headline()


def test_options_trade_fish_for_preparations() -> None:
    plan = sampling.find_by_burden(5.0, 0.8, sampling.Look(0.01))
    fish = [row["fish"] for row in plan.rows()]
    assert fish == sorted(fish, reverse=True)
    assert [row["preparations"] for row in plan.rows()] == [1, 2, 3, 4, 5, 6]
    in_all = [row["preparations_in_all"] for row in plan.rows()]
    assert in_all == sorted(in_all)  # preparations of one fish tell less than those of new fish


def test_level_shown_turns_the_plan_round() -> None:
    look = sampling.Look(0.01, preparations=3)
    plan = sampling.find_by_burden(5.0, 0.8, look)
    assert sampling.level_shown(plan.fish, 0.8, look) <= 5.0 < sampling.level_shown(plan.fish - 1, 0.8, look)
    assert sampling.level_shown(1, 0.05, look, highest=100.0) == math.inf
    assert sampling.level_shown(5, 0.8, look, killed=5) < sampling.level_shown(5, 0.8, look)


def test_wrong_burden_options_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        sampling.find_by_burden(0.0, -1.0, sampling.Look(1.5, 0), 2.0)
    assert [problem.place for problem in caught.value.problems] == [
        *("level", "k", "confidence", "fraction_examined", "preparations")
    ]

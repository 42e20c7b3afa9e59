"""After a dose, and new fish: on which day a clean look means most, and how long fish are held."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from burden import sampling
from burden.utils.errors import InputError


def _windows(**more: object) -> sampling.DevelopmentTimes:
    rng = np.random.default_rng(3)
    last, mature = rng.normal(6.0, 0.5, 300), rng.normal(5.0, 0.4, 300)
    return sampling.DevelopmentTimes(last - 3, last, mature, 1.0, **more)


def _sample(**more: object) -> sampling.CleanSamplePlan:
    return sampling.find_by_burden(1.0, 0.8, sampling.Look(0.01, preparations=6), **{"population": 200, **more})


def test_recheck_waits_for_the_last_eggs_and_no_longer() -> None:
    """Against a simulation of eggs: 95 % of draws have shown their 99 % egg by that day, not by the day before."""
    windows = _windows()
    plan = sampling.recheck(windows, _sample())
    shown = windows.last_hatch_days + 1.0 + windows.earliest_maturity_days
    assert np.mean(shown <= plan.day) >= 0.95 > np.mean(shown <= plan.day - 1)
    assert plan.survivors_only_until_day == math.floor(np.quantile(windows.earliest_maturity_days, 0.05))
    assert plan.survivors_only_until_day < plan.all_shown_days.low < plan.day
    assert plan.fish == plan.sample.fish
    assert json.loads(plan.to_json())["sample"]["preparations"] == 6
    assert f"Look again {plan.day} days after the last dose" in str(plan)
    assert len(plan.brief().splitlines()) <= 5
    assert len(plan.rows()) == 6


def test_flukes_recognised_young_bring_the_recheck_forward() -> None:
    at_maturity, young = (
        sampling.recheck(w, _sample()) for w in (_windows(), _windows(recognised_age_days=np.full(300, 1.0)))
    )
    assert young.day < at_maturity.day
    assert "recognised_younger" in at_maturity.what_would_change
    assert "recognised only when older" in young.text()


def test_arrivals_are_held_until_eggs_have_shown_and_looked_at_thrice() -> None:
    plan = sampling.arrivals(_windows(), _sample(population=60), 60)
    days = [row["day"] for row in plan.rows()]
    assert days[0] == 0
    assert days == sorted(days)
    assert days[-1] == plan.hold_days
    assert plan.hold_days >= plan.all_shown_days.high - 1
    assert all(row["fish"] <= 60 for row in plan.rows())
    assert plan.fish_killed == 0
    assert "this look decides" in plan.text()


def test_too_few_arrivals_are_told_what_they_can_show() -> None:
    plan = sampling.arrivals(_windows(), _sample(population=5), 5)
    assert plan.fish is None
    assert plan.sample.level_shown == pytest.approx(sampling.level_shown(5, 0.8, sampling.Look(0.01, 6)), rel=1e-6)
    assert f"fewer than {plan.sample.level_shown:.2g} flukes a fish" in str(plan.because)
    assert [row["fish"] for row in plan.rows()] == [5, 5, 5]


def test_live_bearers_are_answered_without_eggs() -> None:
    """What came in grows at the rate of its own life table: a tenth of the burden has grown to it by the hold."""
    group = sampling.SampledGroup("gyrodactylus", 20.0, draws=60)
    times = group.times()
    plan = sampling.arrivals(times, group.clean_sample(population=30), 30)
    assert plan.hold_days == math.ceil(np.quantile(times.tenfold_days, 0.5, method="higher"))
    assert [row["sees"] for row in plan.looks] == ["flukes_on_arrival", "grown_young"]
    assert "lay no eggs" in plan.text()
    colder = sampling.arrivals(sampling.SampledGroup("gyrodactylus", 10.0, draws=60).times(), plan.sample, 30)
    assert colder.hold_days > plan.hold_days
    assert sampling.recheck(times, plan.sample).day == 7


def test_where_no_day_can_be_given_the_sample_still_is() -> None:
    for code, parasite, temperature in (("too_cold", "dactylogyrus", 1.0), ("not_measured", "zeuxapta", 20.0)):
        group = sampling.SampledGroup(parasite, temperature, draws=60)
        look = sampling.recheck(group.times(), group.clean_sample())
        hold = sampling.arrivals(group.times(), group.clean_sample(population=200), 200)
        assert (look.day, hold.hold_days, look.reason, hold.reason) == (None, None, code, code)
        assert look.fish == look.sample.fish is not None
        assert json.loads(hold.to_json())["all_shown_days"]["median"] is None
        assert "cannot be said" in look.brief()
        assert "no day can be given" in hold.text().lower()


def test_the_burden_not_to_be_missed_goes_with_the_weight_of_the_fish() -> None:
    big, small = (
        sampling.SampledGroup("dactylogyrus", 20.0, weight_g=w, draws=60).clean_sample() for w in (400.0, 5.0)
    )
    assert (big.level, small.level) == (10.0, pytest.approx(0.125))
    with pytest.raises(InputError, match="first hatch <= last hatch"):
        sampling.DevelopmentTimes(*np.array([[5.0], [3.0], [5.0]]))

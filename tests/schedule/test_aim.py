"""The aim: how a level without a sharp edge is met, whose level it is, and from which day a course can be judged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import a_case, exactly
from prior_ponds import pond_of
from scipy.stats import lognorm

from burden.case import Limits, Uncertain
from burden.evidence import load_parasite
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.aim import LIVE_BEARER_CHECK_DAYS, Aim, aim_of, check_day, tolerable_value
from burden.utils.results import CredibleInterval

LEVEL = CredibleInterval(100.0, 20.0, 500.0)


@pytest.mark.parametrize("burden", [1.0, 20.0, 100.0, 640.0])
def test_the_chance_that_a_burden_may_stay_is_that_of_a_log_normal_level(burden):
    """SciPy's own distribution with the same median and 5 and 95 % points."""
    spread = np.log(500 / 20) / (2 * 1.6448536269514722)
    level = lognorm(spread, scale=100.0)
    assert level.ppf([0.05, 0.95]) == pytest.approx([20.0, 500.0])
    kept = Aim("control", 0.8, (LEVEL,)).share_kept([np.array([burden])])
    assert kept[0] == pytest.approx(level.sf(burden), abs=1e-9)


def test_a_level_the_case_states_is_met_or_not():
    case = a_case(limits=Limits(tolerable_flukes_per_fish=50))
    aim = aim_of(case, [pond_of(case)])
    assert aim.own_level
    assert aim.share_kept([np.array([0.0, 50.0, 51.0])]).tolist() == [1.0, 1.0, 0.0]


def test_two_sets_have_both_to_stay_low():
    both = Aim("control", 0.8, (LEVEL, LEVEL))
    one = Aim("control", 0.8, (LEVEL,)).share_kept([np.array([100.0])])
    assert both.share_kept([np.array([100.0]), np.array([100.0])]) == pytest.approx(one**2)


def test_the_level_goes_with_the_weight_of_the_fish_and_is_lower_for_blood_feeders():
    case = a_case()
    heavy = replace(case, fish=(replace(case.fish[0], mean_weight_g=exactly(800.0)),))
    light, twice = (aim_of(c, [pond_of(c)]).tolerable[0].median for c in (case, heavy))
    assert twice == pytest.approx(2 * light, rel=0.02)
    assert tolerable_value(load_parasite("sparicotyle")).value < tolerable_value(load_parasite("dactylogyrus")).value


def test_the_level_is_of_the_weight_that_the_case_states():
    """ "A fish of 892 g" stood where the case says 900 g; of two groups it is the weight of the mean fish."""
    case = a_case()
    group = replace(case.fish[0], mean_weight_g=Uncertain(900.0, 700.0, 1150.0))
    stated = replace(case, fish=(group,))
    aim = aim_of(stated, [pond_of(stated)])
    assert (aim.weight_g, aim.tolerable[0].median) == (900.0, pytest.approx(0.3 * 900))
    two = replace(case, fish=(replace(group, count=30), replace(group, count=10, mean_weight_g=exactly(100.0))))
    assert aim_of(two, [pond_of(two)]).weight_g == pytest.approx((30 * 900 + 10 * 100) / 40)


def test_the_action_level_of_a_farm_lies_within_the_range():
    """Ellis & Watanabe 1993: 5 Neobenedenia a fish on tilapia of 22 g."""
    value = tolerable_value(load_parasite("neobenedenia"))
    assert value.low < 5 / 22 < value.high


def test_the_burden_has_to_be_low_up_to_the_harvest_where_no_dose_puts_it_off():
    aim = Aim("control", 0.8, (LEVEL,), emptied_day=30.0, last_days={"praziquantel": 5.0})
    in_time, late = (DoseSchedule((day,), ("praziquantel",)) for day in (5.0, 6.0))
    assert [aim.end_day(plan, 12.0) for plan in (DoseSchedule((), ()), in_time, late)] == [30.0, 30.0, 60.0]
    assert replace(aim, emptied_day=None).end_day(in_time, 12.0) == 60.0
    assert aim.end_day(late, 50.0) == 64.0


def test_the_case_names_its_aim():
    assert aim_of(a_case(), [pond_of(a_case())]).kind == "control"
    asked = a_case(aim="eradicate")
    found = aim_of(asked, [pond_of(asked)])
    assert (found.kind, found.chance) == ("eradicate", 0.9)


@pytest.mark.parametrize("temperature_c", [14.0, 20.0, 26.0])
def test_a_course_can_be_judged_once_the_last_egg_has_hatched_and_its_larva_settled(temperature_c):
    """Against the windows of the same draws, which sum development by another step."""
    case = a_case(temperature_c=temperature_c)
    pair = pond_of(case)
    p = pair.pond.setting
    w = windows_after(p.parameters, np.zeros(pair.pond.size), p.temperature, 10.0)
    expected = 10.0 + float(np.median(w.last_hatch + w.larval_life))
    assert check_day([pair], DoseSchedule((3.0, 10.0), ("praziquantel",) * 2)) == pytest.approx(expected, abs=1.3)


def test_live_bearers_are_looked_at_a_week_later():
    case = a_case(parasites=("gyrodactylus",), temperature_c=15.0)
    assert check_day([pond_of(case)], DoseSchedule((4.0,), ("praziquantel",))) == 4.0 + LIVE_BEARER_CHECK_DAYS


def test_no_level_asks_for_less_than_one_fluke_a_fish():
    """Assumption: fewer are hardly ever found. A guppy weighs 0.4 g, a gram may carry 0.3."""
    case = a_case()
    tiny = replace(case, fish=(replace(case.fish[0], mean_weight_g=exactly(0.4)),))
    assert aim_of(tiny, [pond_of(tiny)]).tolerable[0].median == pytest.approx(1.0)

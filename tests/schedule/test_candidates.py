"""Candidate dates: every limit of a case holds, gaps follow development, what was given before counts."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from cases import VISIT, a_case, dose
from prior_ponds import pond_of

from burden.case import Limits
from burden.evidence import load_agent
from burden.inference.prior import Ensemble, draw_pond
from burden.model.temperature import Temperature
from burden.schedule import candidates
from burden.schedule.candidates import (
    FORMALIN_REST_DAYS,
    LONGEST_GAP_DAYS,
    PLANNED_AHEAD_DAYS,
    allowed,
    candidate_plans,
    first_days,
    gone_day,
    in_season,
    in_time,
    one_more,
)

BOTH = ("praziquantel", "formalin")
LIMITS = {
    "free": Limits(),
    "two doses": Limits(max_doses=2),
    "two days a week": Limits(max_doses=4, visit_days=("tuesday", "saturday"), shortest_gap_days=5),
    "little formalin": Limits(max_doses=4, max_formalin_mg_l_total=30),
    "one agent": Limits(agents=("praziquantel",), max_doses=3),
}


@pytest.mark.parametrize("limits", LIMITS.values(), ids=LIMITS)
@pytest.mark.parametrize("doses", [1, 2, 3])
def test_every_plan_keeps_every_limit(limits, doses):
    case = a_case(limits=limits)
    agents = limits.agents or BOTH
    plans = candidate_plans(case, pond_of(case)[0], agents, doses)
    assert len(plans) == len(set(plans)) >= 1
    each = load_agent("formalin").customary.mg_l
    for plan in plans:
        assert len(plan.days) == len(plan.agents) == doses
        assert set(plan.agents) <= set(agents)
        assert all(case.dose_possible_on(VISIT + timedelta(days=day)) for day in plan.days)
        assert all(b - a >= (limits.shortest_gap_days or 1) for a, b in pairwise(plan.days))
        formalin = [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "formalin"]
        assert all(b - a >= FORMALIN_REST_DAYS for a, b in pairwise(formalin))
        assert each * len(formalin) <= (limits.max_formalin_mg_l_total or np.inf)


def test_the_pond_is_treated_the_day_after_a_few_fish():
    """Common practice, no source: a few fish today, the pond tomorrow; the case may ask for today."""
    pond = pond_of(a_case())[0]
    assert first_days(a_case(), pond) == (1.0,)
    assert first_days(a_case(limits=Limits(first_dose="today")), pond) == (0.0,)
    assert first_days(a_case(given=(dose(-7),)), pond)[0] == 0.0
    assert first_days(a_case(given=(dose(-7),)), pond, spent=("praziquantel",)) == (1.0,)  # another begins


@pytest.mark.parametrize("gap", [0.1, 0.9, 2.6])
def test_a_gap_is_a_share_of_the_development_of_an_egg(gap):
    """In even water a share of the mean time to hatch; in warming water what the rates add up to."""
    pond, _ = pond_of(a_case(temperature_c=24.0))
    rate = pond.setting.parameters.development.hatch.rate
    assert candidates._gap_days(pond, 7.0, gap) == pytest.approx(gap / float(np.median(rate(24.0))), rel=1e-9)
    warming = Temperature.linear([0.0, 60.0], [12.0, 27.0])
    moved = replace(pond, setting=replace(pond.setting, temperature=warming))
    days = np.arange(3.0, 60.0, 0.01) + 0.005
    done = np.cumsum([0.01 * float(np.median(rate(warming.at(day)))) for day in days])
    assert candidates._gap_days(moved, 3.0, gap) == pytest.approx(days[np.searchsorted(done, gap)] - 3.0, abs=0.1)


def test_a_gap_that_ends_before_the_water_warms_knows_nothing_of_it():
    pond, _ = pond_of(a_case(temperature_c=24.0))
    jump = Temperature.linear([0.0, 3.0, 3.001, 60.0], [12.0, 12.0, 25.0, 25.0])
    sudden = replace(pond, setting=replace(pond.setting, temperature=jump))
    cold = float(np.median(pond.setting.parameters.development.hatch.rate(12.0)))
    assert candidates._gap_days(sudden, 0.0, 2.9 * cold) == pytest.approx(2.9, rel=1e-9)


def test_gaps_go_up_to_the_longest_and_no_further():
    case = a_case(temperature_c=20.0)

    def dates(days: float, limits: Limits | None = None) -> list[float] | None:
        return candidates.course_dates(replace(case, limits=limits or Limits()), 2.0, 3, lambda _: days)

    assert dates(0.2) == [2.0, 6.0, 10.0]  # every fourth day at the most (common practice, no source)
    assert dates(0.2, Limits(shortest_gap_days=1)) == [2.0, 3.0, 4.0]  # unless the case says otherwise
    assert dates(6.0) == [2.0, 8.0, 14.0]
    assert dates(6.0, Limits(shortest_gap_days=9)) == [2.0, 11.0, 20.0]
    assert dates(PLANNED_AHEAD_DAYS // 2) == [2.0, 19.0, 36.0]
    assert dates(PLANNED_AHEAD_DAYS // 2 + 1) is None
    assert candidates.course_dates(case, 2.0, 2, lambda _: LONGEST_GAP_DAYS + 0.1) is None


def test_gaps_tried_rise_and_none_is_more_than_half_as_long_again_as_the_one_before():
    steps = [b / a for a, b in pairwise(candidates._GAPS)]
    assert all(1.0 < step <= 1.5 + 1e-9 for step in steps)


def test_days_are_the_nearest_on_which_somebody_can_come():
    case = a_case(limits=Limits(visit_days=(5, 9, 20)))
    assert [candidates._next_possible(case, day) for day in (0.0, 5.0, 5.5, 10.0, 21.0)] == [5.0, 5.0, 5.0, 20.0, None]
    assert candidates.nearest_possible(case, 7.9, 1.0) == 9.0
    assert candidates.nearest_possible(case, 6.1, 1.0) == 5.0
    assert candidates.nearest_possible(case, 6.1, 6.0) == 9.0
    assert candidates.nearest_possible(case, 40.0, 21.0) is None


def test_by_turns_formalin_stands_in_half_of_the_doses_at_most():
    short = {"praziquantel": "P", "formalin": "F"}
    lines = {"".join(short[a] for a in line) for n in (1, 2, 3, 4) for line in candidates._lines(BOTH, n)}
    assert lines == {"P", "F", "PP", "FF", "PPP", "FFF", "PFP", "PPPP", "FFFF", "PFPF", "FPFP"}


@pytest.mark.parametrize("doses", [1, 2, 3, 4])
def test_an_agent_more_at_hand_takes_no_course_away(doses):
    """Three agents at hand once gave trout a salt bath worse than the formalin that stood alone in another list."""
    agents = ("formalin", "praziquantel", "sodium_chloride")
    every = set(candidates._lines(agents, doses))
    for some in (agents[:1], agents[1:2], agents[2:], agents[:2], agents[1:]):
        assert set(candidates._lines(some, doses)) <= every


def test_formalin_counts_what_was_given_and_rests_between():
    each = load_agent("formalin").customary.mg_l
    given = (dose(-72, "formalin", 20.0), dose(-60, "formalin", None), dose(-33, "praziquantel", 5.0))
    case = a_case(given=given, limits=Limits(max_formalin_mg_l_total=20 + 2 * each))
    twice = ("formalin", "praziquantel", "formalin")
    assert allowed(case, (0.0, 3.0, 7.0), twice)
    assert not allowed(case, (0.0, 3.0, 6.0), twice)  # too soon
    assert allowed(case, (0.0, 3.0, 6.0), ("praziquantel",) * 3)
    assert not allowed(case, (0.0, 10.0, 20.0), ("formalin",) * 3)  # too much
    late = replace(case, given=(replace(given[0], date=VISIT - timedelta(days=3)),))
    assert not allowed(late, (0.0, 9.0), ("formalin", "formalin"))  # three days after the last one
    tight = replace(case, limits=Limits(max_formalin_mg_l_total=19 + 2 * each))
    assert not allowed(tight, (0.0, 3.0, 7.0), twice)
    in_grams = replace(given[0], mg_l=None, g_l=0.02)  # the same bath, written otherwise
    assert not allowed(replace(tight, given=(in_grams, *given[1:])), (0.0, 3.0, 7.0), twice)


def test_one_dose_more_comes_at_the_gap_of_the_others():
    case = a_case()
    pond = pond_of(case)[0]
    plan = candidate_plans(case, pond, ("praziquantel",), 2)[0]
    more = one_more(case, pond, plan)
    assert more.days[:2] == plan.days
    assert more.days[2] - more.days[1] == plan.days[1] - plan.days[0]
    assert more.agents == ("praziquantel",) * 3


def test_no_course_runs_into_the_winter():
    """Common practice, no source: fish that rest in water below 8 °C are not bathed; a course begun there may go on."""
    pond = pond_of(a_case())[0]

    def in_water(start_c: float) -> Ensemble:
        falling = Temperature.linear([0.0, 60.0], [start_c, start_c - 6.0])
        return replace(pond, setting=replace(pond.setting, temperature=falling))

    plans = candidate_plans(a_case(), in_water(12.0), ("praziquantel",), 2)
    assert plans
    assert all(max(plan.days) <= 40.0 for plan in plans)  # from then on below 8 °C
    assert not in_season(in_water(12.0), (0.0, 41.0))
    assert in_season(in_water(12.0), (0.0, 39.0))
    assert in_season(in_water(7.0), (0.0, 14.0))


def test_an_agent_has_no_dose_after_its_last_day():
    case = a_case()
    pond = pond_of(case)[0]
    until = {"praziquantel": 9.0}
    assert all(max(plan.days) <= 9.0 for plan in candidate_plans(case, pond, ("praziquantel",), 2, until=until))
    assert not candidate_plans(case, pond, ("praziquantel",), 1, until={"praziquantel": -1.0})
    assert in_time((1.0, 20.0), ("praziquantel", "formalin"), until)
    assert not in_time((1.0, 20.0), ("formalin", "praziquantel"), until)


@pytest.mark.parametrize(("days", "can"), [((1.0,), True), ((9.0,), True), ((10.0,), False), ((1.0, 5.0), False)])
def test_fish_that_are_gone_are_not_bathed_nor_again_just_before(days, can):
    """Salt leaves nothing in the fish, so no withdrawal keeps it from a day beyond the harvest ten days ahead."""
    fish = replace(a_case().fish[0], food_fish=True, harvest_date=VISIT + timedelta(days=10))
    case = a_case(fish=(fish,))
    assert allowed(case, days, ("sodium_chloride",) * len(days)) is can
    assert allowed(a_case(), days, ("sodium_chloride",) * len(days))
    assert (gone_day(case), gone_day(a_case())) == (10.0, np.inf)


def test_a_course_of_another_agent_counts_its_own_doses():
    """What failed before belongs to no course: doses of the agent that took its place are counted from one."""
    before = [dose(-day, "praziquantel") for day in (33, 28, 23)]
    case = a_case(given=(*before, dose(-14, "formalin", 25.0), dose(-7, "formalin", 25.0)))
    pond = draw_pond(case, "dactylogyrus", 40, 1)
    assert candidates.underway(case, pond).doses == 5
    assert candidates.underway(case, pond, ("praziquantel",)).doses == 2
    assert candidates.underway(case, pond, ("formalin",)) is None

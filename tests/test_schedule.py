"""Schedules: every limit of a case holds, more doses never rank lower, doing nothing is among what is judged."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from cases import VISIT, a_case

from burden.case import Limits
from burden.courses import CONTROL_PER_1000
from burden.elimination import Plan, eliminations
from burden.evidence import load_agent
from burden.judging import Judged, judge, left_per_1000
from burden.pond import draw_pond
from burden.result import Probability, Triple
from burden.schedule import FORMALIN_REST_DAYS, candidate_plans, search
from burden.schedule import _control as control

DRAWS = 12
BOTH = ("praziquantel", "formalin")


def pond_of(case):
    """Prior draws with 30 flukes a fish on the day of the visit."""
    pond = draw_pond(case, case.parasites[0], DRAWS, 3)
    fish = np.array([float(group.count) for group in case.fish])
    return pond, pond.start(np.full(DRAWS, 30.0), fish, 0.0, np.full(DRAWS, 0.5))


LIMITS = {
    "free": Limits(),
    "two doses": Limits(max_doses=2),
    "two days a week": Limits(max_doses=4, visit_days=("tuesday", "saturday"), shortest_gap_days=5),
    "little formalin": Limits(max_doses=4, max_formalin_mg_l_total=30),
    "one agent": Limits(agents=("praziquantel",), max_doses=3),
}


@pytest.mark.parametrize("limits", LIMITS.values(), ids=LIMITS)
def test_every_plan_keeps_every_limit(limits):
    case = a_case(limits=limits)
    agents = limits.agents or BOTH
    plans = candidate_plans(case, pond_of(case)[0], agents)
    assert len(plans) == len(set(plans)) > 5
    each = load_agent("formalin").about["customary"]["mg_l"]
    for plan in plans:
        assert 1 <= len(plan.days) == len(plan.agents) <= (limits.max_doses or 5)
        assert set(plan.agents) <= set(agents)
        assert all(case.dose_possible_on(VISIT + timedelta(days=day)) for day in plan.days)
        assert all(b - a >= (limits.shortest_gap_days or 1) for a, b in pairwise(plan.days))
        formalin = [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "formalin"]
        assert all(b - a >= FORMALIN_REST_DAYS for a, b in pairwise(formalin))
        assert each * len(formalin) <= (limits.max_formalin_mg_l_total or np.inf)


def test_no_agent_no_plan():
    case = a_case()
    pond, state = pond_of(case)
    choice = search(case, [(pond, state)], (), 20.0)
    assert choice.recommended is None
    assert choice.nothing.doses == 0
    assert choice.reason


def test_more_doses_never_lower_the_best():
    """The best of up to n + 1 doses is no worse than the best of up to n: the candidates grow, they are not swapped."""
    best = []
    for most in (1, 2, 3):
        case = a_case(limits=Limits(agents=("praziquantel",), max_doses=most), temperature_c=24.0)
        pond, state = pond_of(case)
        plans = candidate_plans(case, pond, ("praziquantel",))
        best.append(np.exp(eliminations(pond.setting, state, plans, pond.effects)).mean(1).max())
    assert best[0] <= best[1] + 0.005
    assert best[1] <= best[2] + 0.005


def test_a_dose_does_better_than_none():
    """Doing nothing is judged by the same yardstick, and a dose of today leaves fewer flukes tomorrow."""
    case = a_case(limits=Limits(agents=("praziquantel",), max_doses=2))
    pair = pond_of(case)
    none, one = judge([pair], [Plan((), ()), Plan((0.0,), ("praziquantel",))], 20.0)
    assert none.left_per_1000.median == pytest.approx(1000.0)
    assert one.left_per_1000.median < 300
    assert one.elimination.mean >= none.elimination.mean


def test_what_is_recommended_is_said_to_be_control_where_it_is_no_more():
    case = a_case(limits=Limits(agents=("praziquantel",), max_doses=2), temperature_c=24.0)
    choice = search(case, [pond_of(case)], ("praziquantel",), 20.0)
    said = any("control is not eradication" in note for note in choice.notes)
    assert said == (choice.recommended.elimination.mean < 0.5)
    assert choice.nothing.doses == 0
    assert choice.recommended.left_per_1000.median < choice.nothing.left_per_1000.median


def judged(agents: tuple[str, ...], elimination: float, left: float) -> Judged:
    plan = Plan(tuple(5.0 * i for i in range(len(agents))), agents)
    none = Triple.of([0.0])
    return Judged(plan, Probability.of([elimination]), Triple.of([left]), none, 60.0)


def test_near_ties_go_to_less_risk_unless_formalin_meets_another_finding():
    """Common practice, no source: formalin takes oxygen and poisons people, but it kills ciliates."""
    plain, mixed = judged(("praziquantel",) * 2, 0.30, 5.0), judged(("praziquantel", "formalin"), 0.31, 4.0)
    assert control([mixed, plain])[0] is plain
    assert "less formalin" in control([mixed, plain])[1]
    assert control([mixed, plain], ("ciliates",))[0] is mixed
    assert "other findings" in control([mixed, plain], ("ciliates",))[1]


def test_risk_decides_near_ties_only():
    much_better = judged(("praziquantel", "formalin"), 0.5, 4.0)
    assert control([judged(("praziquantel",) * 2, 0.3, 5.0), much_better]) == (much_better, "")


@pytest.mark.parametrize("temperature_c", [16.0, 20.0])
def test_fewest_doses_for_which_any_dates_control(temperature_c):
    """Not the fewest for which the dates that rid most often also control: all dates of one dose less are tried."""
    case = a_case(limits=Limits(agents=("praziquantel",), max_doses=4), temperature_c=temperature_c)
    pair = pond_of(case)
    plans = candidate_plans(case, pair[0], ("praziquantel",))
    left = np.median(left_per_1000([pair], plans), axis=1)
    fewest = min(len(plan.days) for plan, x in zip(plans, left, strict=True) if x <= CONTROL_PER_1000)
    assert search(case, [pair], ("praziquantel",), 20.0).recommended.doses == fewest

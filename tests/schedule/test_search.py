"""Schedules: every limit of a case holds, more doses never rank lower, doing nothing is among what is judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from cases import VISIT, a_case, dose
from prior_ponds import DRAWS, pond_of

from burden.case import Limits
from burden.evidence import load_agent
from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.model.forward import COARSE_STEP_DAYS, simulate
from burden.model.temperature import Temperature
from burden.schedule import search as schedule
from burden.schedule.evaluation import EvaluatedSchedule, judge, left_per_1000
from burden.schedule.fixed_interval import CONTROL_PER_1000
from burden.schedule.search import FORMALIN_REST_DAYS, LONGEST_GAP_DAYS, candidate_plans, search
from burden.schedule.search import _control as control
from burden.utils.results import CredibleInterval, Probability

BOTH = ("praziquantel", "formalin")


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
    each = load_agent("formalin").customary.mg_l
    for plan in plans:
        assert 1 <= len(plan.days) == len(plan.agents) <= (limits.max_doses or 5)
        assert set(plan.agents) <= set(agents)
        assert all(case.dose_possible_on(VISIT + timedelta(days=day)) for day in plan.days)
        assert all(b - a >= (limits.shortest_gap_days or 1) for a, b in pairwise(plan.days))
        formalin = [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "formalin"]
        assert all(b - a >= FORMALIN_REST_DAYS for a, b in pairwise(formalin))
        assert each * len(formalin) <= (limits.max_formalin_mg_l_total or np.inf)


@pytest.mark.parametrize("limits", [Limits(max_doses=0), Limits(visit_days=())], ids=["no dose", "no day"])
def test_none_allowed_is_not_all(limits):
    case = a_case(limits=limits)
    pond, state = pond_of(case)
    assert candidate_plans(case, pond, BOTH) == []
    choice = search(case, [Posterior(pond, state)], BOTH, 20.0)
    assert (choice.recommended, choice.nothing.doses) == (None, 0)
    assert "limits" in choice.reason


def test_no_agent_no_plan():
    case = a_case()
    pond, state = pond_of(case)
    choice = search(case, [Posterior(pond, state)], (), 20.0)
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
    none, one = judge([pair], [DoseSchedule((), ()), DoseSchedule((0.0,), ("praziquantel",))], 20.0)
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


def judged(agents: tuple[str, ...], elimination: float, left: float) -> EvaluatedSchedule:
    plan = DoseSchedule(tuple(5.0 * i for i in range(len(agents))), agents)
    none = CredibleInterval.of([0.0])
    return EvaluatedSchedule(plan, Probability.of([elimination]), CredibleInterval.of([left]), none, 60.0)


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


# --- the parts of the search, each by itself


@pytest.mark.parametrize("gap", [0.1, 0.9, 2.6])
def test_a_gap_is_a_share_of_the_development_of_an_egg(gap):
    """In even water a share of the mean time to hatch; in warming water what the rates add up to."""
    pond, _ = pond_of(a_case(temperature_c=24.0))
    rate = pond.setting.parameters.development.hatch.rate
    assert schedule._gap_days(pond, 7.0, gap) == pytest.approx(gap / float(np.median(rate(24.0))), rel=1e-9)
    warming = Temperature.linear([0.0, 60.0], [12.0, 27.0])
    moved = replace(pond, setting=replace(pond.setting, temperature=warming))
    days = np.arange(3.0, 60.0, 0.01) + 0.005
    done = np.cumsum([0.01 * float(np.median(rate(warming.at(day)))) for day in days])
    assert schedule._gap_days(moved, 3.0, gap) == pytest.approx(days[np.searchsorted(done, gap)] - 3.0, abs=0.1)


def test_a_gap_that_ends_before_the_water_warms_knows_nothing_of_it():
    pond, _ = pond_of(a_case(temperature_c=24.0))
    jump = Temperature.linear([0.0, 3.0, 3.001, 60.0], [12.0, 12.0, 25.0, 25.0])
    sudden = replace(pond, setting=replace(pond.setting, temperature=jump))
    cold = float(np.median(pond.setting.parameters.development.hatch.rate(12.0)))
    assert schedule._gap_days(sudden, 0.0, 2.9 * cold) == pytest.approx(2.9, rel=1e-9)


def test_gaps_go_up_to_the_longest_and_no_further():
    case = a_case(temperature_c=20.0)
    pond, _ = pond_of(case)
    rate = float(np.median(pond.setting.parameters.development.hatch.rate(20.0)))
    line = ("praziquantel",) * 3

    def dates(days: float, limits: Limits | None = None) -> list[float] | None:
        return schedule._dates(replace(case, limits=limits or Limits()), pond, 2.0, 3, days * rate, line)

    assert dates(0.2) == [2.0, 3.0, 4.0]  # a day apart at least
    assert dates(6.0) == [2.0, 8.0, 14.0]
    assert dates(6.0, Limits(shortest_gap_days=9)) == [2.0, 11.0, 20.0]
    assert dates(LONGEST_GAP_DAYS - 0.1) == [2.0, 47.0, 92.0]
    assert dates(LONGEST_GAP_DAYS + 0.1) is None


def test_gaps_tried_rise_and_none_is_half_as_long_again_as_the_one_before():
    steps = schedule._GAPS[1:] / schedule._GAPS[:-1]
    assert np.all((steps > 1.0) & (steps < 1.5))


def test_days_are_the_nearest_on_which_somebody_can_come():
    case = a_case(limits=Limits(visit_days=(5, 9, 20)))
    assert [schedule._next_possible(case, day) for day in (0.0, 5.0, 5.5, 10.0, 21.0)] == [5.0, 5.0, 5.0, 20.0, None]
    assert schedule._nearest_possible(case, 7.9, 1.0) == 9.0
    assert schedule._nearest_possible(case, 6.1, 1.0) == 5.0
    assert schedule._nearest_possible(case, 6.1, 6.0) == 9.0
    assert schedule._nearest_possible(case, 40.0, 21.0) is None


def test_lines_of_agents_hold_formalin_in_half_of_the_doses_at_most():
    short = {"praziquantel": "P", "formalin": "F"}
    lines = {"".join(short[a] for a in line) for line in schedule._lines(BOTH, 4)}
    assert lines == {"P", "F", "PP", "PF", "FP", "PPP", "PFP", "PPPP", "PFPF", "FPFP"}


def test_formalin_counts_what_was_given_and_rests_between():
    each = load_agent("formalin").customary.mg_l
    given = (dose(-9, "formalin", 20.0), dose(-5, "formalin", None), dose(-3, "praziquantel", 5.0))
    case = a_case(given=given, limits=Limits(max_formalin_mg_l_total=20 + 2 * each))
    twice = ("formalin", "praziquantel", "formalin")
    assert schedule._allowed(case, (0.0, 3.0, 7.0), twice)
    assert not schedule._allowed(case, (0.0, 3.0, 6.0), twice)  # too soon
    assert schedule._allowed(case, (0.0, 3.0, 6.0), ("praziquantel",) * 3)
    assert not schedule._allowed(case, (0.0, 10.0, 20.0), ("formalin",) * 3)  # too much
    tight = replace(case, limits=Limits(max_formalin_mg_l_total=19 + 2 * each))
    assert not schedule._allowed(tight, (0.0, 3.0, 7.0), twice)
    in_grams = replace(given[0], mg_l=None, g_l=0.02)  # the same bath, written otherwise
    assert not schedule._allowed(replace(tight, given=(in_grams, *given[1:])), (0.0, 3.0, 7.0), twice)


def test_best_dates_of_a_line_by_mean_then_by_the_median_of_its_logarithm_then_by_length():
    def plan(*days: float, agents: str = "praziquantel") -> DoseSchedule:
        return DoseSchedule(days, (agents,) * len(days))

    def best(*rows: tuple[DoseSchedule, list[float]]) -> list[DoseSchedule]:
        plans = [row[0] for row in rows]
        return [plans[i] for i in schedule._best_of_each(plans, np.array([row[1] for row in rows]))]

    long, short = plan(0.0, 4.0, 30.0), plan(0.0, 9.0, 20.0)
    assert best((long, [-9.0, -50.0, -50.0]), (short, [-9.0, -50.9, -50.9])) == [short]  # a tie: 2 % of 50
    assert best((long, [-9.0, -50.0, -50.0]), (short, [-9.0, -52.0, -52.0])) == [long]
    assert best((long, [-0.1, -50.0, -50.0]), (short, [-0.2, -50.0, -50.0])) == [long]
    other = plan(0.0, 5.0, agents="formalin")
    assert best((other, [-1.0, -3.0]), (long, [-0.5, -3.0])) == [long, other]
    # so far from rid of them that both means are 0: the one that leaves fewer lines alive comes first
    assert best((other, [-900.0, -900.0]), (long, [-800.0, -800.0])) == [long, other]


def test_plans_of_one_dose_less_are_those_that_may_control_likeliest_first(monkeypatch):
    plans = [DoseSchedule(tuple(5.0 * i for i in range(n)), ("praziquantel",) * n) for n in (1, 2, 2, 2, 3, 3)]
    plans = [replace(plan, days=(*plan.days[:-1], plan.days[-1] + i)) for i, plan in enumerate(plans)]
    left = {1: 11.0, 2: 9.0, 3: 13.0}
    asked = []

    def rough(ponds, of):
        asked.extend(plans.index(plan) for plan in of)
        return np.array([[left[i]] * 3 for i in asked])

    monkeypatch.setattr(schedule, "left_per_1000", rough)
    monkeypatch.setattr(schedule, "first_draws", lambda ponds, most: ponds)
    three = replace(judged(("praziquantel",) * 3, 0.4, CONTROL_PER_1000), plan=plans[5])
    logs = np.log([[0.1], [0.2], [0.3], [0.9], [0.4], [0.4]])
    assert schedule._one_dose_less([], plans, logs, [three]) == [2, 1]
    assert asked == [1, 2, 3]
    assert schedule._one_dose_less([], plans, logs, [judged(("praziquantel",) * 3, 0.4, 11.0)]) == []


def test_exactly_ten_of_a_thousand_is_control():
    one, two = judged(("praziquantel",), 0.1, CONTROL_PER_1000), judged(("praziquantel",) * 2, 0.3, 1.0)
    assert control([two, one])[0] is one


def test_watching_is_right_only_where_a_dose_saves_no_fish(monkeypatch):
    left = np.array([3.0, 4.0, 5.0])
    none = replace(judged((), 0.5, 1000.0), deaths=CredibleInterval.of([4.0]))
    for dead, watched in ((3.9, True), (3.0, False)):
        dosed = replace(judged(("praziquantel",), 0.9, 1.0), deaths=CredibleInterval.of([dead]))
        monkeypatch.setattr(schedule, "judge", lambda *_, dosed=dosed: [dosed])
        assert (schedule._watching([], dosed, none, left, 60.0) is not None) is watched


def test_nobody_watches_where_one_pond_in_ten_keeps_its_flukes(monkeypatch):
    """In the median they go by themselves; but a dose is cheap, and a tenth of these ponds would keep half of them."""
    none = replace(judged((), 0.5, 1000.0), deaths=CredibleInterval.of([4.0]))
    dosed = replace(judged(("praziquantel",), 0.9, 1.0), deaths=CredibleInterval.of([3.9]))
    monkeypatch.setattr(schedule, "judge", lambda *_: [dosed])
    few, many = np.full(100, 5.0), np.repeat([5.0, 500.0], [90, 10])
    assert schedule._watching([], dosed, none, few, 60.0) is not None
    assert schedule._watching([], dosed, none, many, 60.0) is None


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ((3.0, 5.0), "2 days are before that"),
        ((3.0, 33.0), "30 days let a few"),
    ],
)
def test_words_on_the_gap_between_the_first_doses(days, words):
    pond, _ = pond_of(a_case())
    found = replace(judged(("praziquantel",) * 2, 0.7, 4.0), plan=DoseSchedule(days, ("praziquantel",) * 2))
    assert words in schedule._reason(pond, found)
    assert not any("eradication" in note for note in schedule._notes([pond_of(a_case())], found))


@pytest.mark.parametrize("temperature_c", [2.0, 6.0])
def test_where_no_settler_lays_the_reason_says_so_in_words(temperature_c):
    """In cold water nothing hatches or matures: no number can be given, and the sentence must hold without one."""
    pond, _ = pond_of(a_case(temperature_c=temperature_c))
    found = replace(judged(("praziquantel",) * 2, 0.7, 4.0), plan=DoseSchedule((0.0, 44.0), ("praziquantel",) * 2))
    said = schedule._reason(pond, found)
    assert "cannot be given" not in said
    assert "in this water no larva that settles is reckoned to lay" in said


def test_the_gap_of_live_bearers_has_its_reason():
    pond, _ = pond_of(a_case(parasites=("gyrodactylus",)))
    found = replace(judged(("praziquantel",) * 2, 0.7, 4.0), plan=DoseSchedule((0.0, 1.0), ("praziquantel",) * 2))
    assert "lay no eggs" in schedule._reason(pond, found)
    assert "1 d later" in schedule._reason(pond, found)


def test_left_and_dead_of_two_sets_against_a_run_of_each():
    """What is left is the worse set's, a day after the last dose; what kills without flukes kills once."""
    case = a_case(parasites=("dactylogyrus", "gyrodactylus"))
    fish = np.array([40.0])
    ponds = [(p, p.start(np.full(DRAWS, 30.0), fish, 0.0, np.full(DRAWS, 0.5)))
             for p in (draw_pond(case, name, DRAWS, 3) for name in case.parasites)]  # fmt: skip
    plan = DoseSchedule((0.0, 6.0), ("praziquantel",) * 2)
    both, each = judge(ponds, [plan], 30.0)[0], [judge([pair], [plan], 30.0)[0] for pair in ponds]
    worse = np.maximum(*(left_per_1000([pair], [plan])[0] for pair in ponds))
    assert both.left_per_1000 == CredibleInterval.of(worse)
    alone = []
    for pond, state in ponds:
        doses = pond.doses(plan.days, plan.agents)
        run = simulate(pond.setting, state, np.array([0.0, 7.0, 30.0]), [*pond.given, *doses], COARSE_STEP_DAYS)
        alone.append((1000 * run.abundance[1] / 30.0, run.deaths[-1], run.fluke_deaths[-1]))
    np.testing.assert_allclose(worse, np.maximum(alone[0][0], alone[1][0]), rtol=1e-6)
    assert both.deaths.median == pytest.approx(float(np.median(alone[0][1] + alone[1][2])), rel=1e-6)
    assert both.deaths.median < sum(j.deaths.median for j in each)

"""The search: the fewest doses that meet the aim, custom where it does as well, formalin where it clearly helps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import a_case, clips, dose
from prior_ponds import DRAWS, pond_of

from burden.case import Limits
from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule
from burden.model.forward import COARSE_STEP_DAYS, simulate
from burden.schedule import search as searching
from burden.schedule.aim import Aim, aim_of
from burden.schedule.candidates import candidate_plans, underway
from burden.schedule.customary import customs_for
from burden.schedule.evaluation import EvaluatedSchedule, beats, evaluate, left_per_1000, with_elimination
from burden.schedule.search import WORTH_A_DOSE, WORTH_A_RISK, search
from burden.utils.results import CredibleInterval

BOTH = ("praziquantel", "formalin")
ONE = ("praziquantel",)
NONE = CredibleInterval.of([0.0])


def evaluated(agents: tuple[str, ...], chance: float, draws: int = 400) -> EvaluatedSchedule:
    """A schedule that meets the aim in a share of the draws, the same ones first for every schedule."""
    kept = (np.arange(draws) < chance * draws).astype(float)
    plan = DoseSchedule(tuple(5.0 * i for i in range(len(agents))), agents)
    nothing = np.zeros(draws)
    return EvaluatedSchedule(
        plan, 20.0, 60.0, kept, (NONE,), NONE, NONE, NONE, NONE, nothing, nothing, nothing, (nothing,)
    )


CONTROL = Aim("control", 0.8, (CredibleInterval(100.0, 20.0, 500.0),))


def heavy(case, burden: float = 600.0):
    """Prior draws with many flukes a fish, so that no dose is never enough."""
    pond = draw_pond(case, case.parasites[0], DRAWS, 3)
    return Posterior(pond, pond.start(np.full(DRAWS, burden), np.array([40.0]), 0.0, np.full(DRAWS, 0.5)))


@pytest.mark.parametrize("limits", [Limits(max_doses=0), Limits(visit_days=())], ids=["no dose", "no day"])
def test_none_allowed_is_not_all(limits):
    case = a_case(limits=limits)
    ponds = [heavy(case)]
    found = search(case, ponds, BOTH, aim_of(case, ponds))
    assert (found.recommended, found.why) == (None, "no_plan")


def test_no_agent_no_plan():
    ponds = [heavy(a_case())]
    found = search(a_case(), ponds, (), aim_of(a_case(), ponds))
    assert (found.recommended, found.why) == (None, "no_plan")
    assert found.untreated.doses == 0


def test_nothing_is_recommended_where_nothing_is_needed():
    case = a_case(limits=Limits(tolerable_flukes_per_fish=1e6))
    ponds = [heavy(case)]
    found = search(case, ponds, BOTH, aim_of(case, ponds))
    assert (found.recommended, found.why, found.aim_met) == (None, "none_needed", True)


def test_a_course_that_puts_the_harvest_off_is_looked_for_only_where_no_other_can_be_given(monkeypatch):
    """Both are asked of the same draws: what happens without a dose is worked out once."""
    case = a_case()
    ponds = [heavy(case)]
    runs: list[int] = []
    real = searching.evaluate
    monkeypatch.setattr(searching, "evaluate", lambda *given: runs.append(1) or real(*given))
    aim = aim_of(case, ponds)
    early = search(case, ponds, ONE, replace(aim, last_days={"praziquantel": 10.0}))
    assert max(early.recommended.plan.days) <= 10.0
    runs.clear()
    free = search(case, ponds, ONE, aim)
    needed = len(runs)
    runs.clear()
    late = search(case, ponds, ONE, replace(aim, last_days={"praziquantel": -1.0}))
    assert late.recommended.plan == free.recommended.plan
    assert len(runs) == needed


@pytest.mark.parametrize("temperature_c", [16.0, 22.0])
def test_no_schedule_of_fewer_doses_meets_the_aim(temperature_c):
    """Every candidate of one dose less, evaluated with all draws, misses it."""
    case = a_case(temperature_c=temperature_c, limits=Limits(agents=ONE, tolerable_flukes_per_fish=150))
    ponds = [heavy(case)]
    aim = aim_of(case, ponds)
    found = search(case, ponds, ONE, aim)
    assert found.recommended is not None
    assert found.recommended.meets(aim) == (found.why != "best")
    if found.why == "fewest" and found.recommended.doses > 1:
        less = candidate_plans(case, ponds[0].pond, ONE, found.recommended.doses - 1)
        assert not any(one.meets(aim) for one in evaluate(ponds, less, aim))


def test_eradication_asks_for_more_than_control():
    case = a_case(temperature_c=24.0, limits=Limits(agents=ONE, max_doses=6))
    ponds = [heavy(case, 20.0)]
    few, none = (search(case, ponds, ONE, aim_of(case, ponds, kind)) for kind in ("control", "eradicate"))
    doses = [0 if one.recommended is None else one.recommended.doses for one in (few, none)]
    assert doses[0] <= doses[1]
    assert none.aim.chance > few.aim.chance


def test_one_plan_has_one_set_of_figures():
    """What stands beside the schedule was evaluated on the same draws: evaluated again alone, it is the same."""
    case = a_case(temperature_c=20.0)
    ponds = [heavy(case)]
    aim = aim_of(case, ponds)
    found = search(case, ponds, BOTH, aim)
    for one in found.compared:
        (alone,) = with_elimination(ponds, evaluate(ponds, [one.schedule.plan], aim))
        assert alone.chance(aim) == pytest.approx(one.schedule.chance(aim), abs=1e-4)
        assert alone.elimination.mean == pytest.approx(one.schedule.elimination.mean, abs=1e-2)  # steps of the walk
    assert [one.name for one in found.compared][:2] == ["untreated", "recommended"]


def test_a_course_under_way_counts_its_doses_and_is_not_begun_again():
    case = a_case(temperature_c=20.0, given=(dose(-7),))
    ponds = [heavy(case)]
    found = search(case, ponds, ONE, aim_of(case, ponds))
    assert found.underway is not None
    assert (found.underway.doses, found.underway.last_day) == (1, -7.0)
    old = a_case(temperature_c=20.0, given=(dose(-90),))
    assert search(old, ponds, ONE, aim_of(old, ponds)).underway is None


@pytest.mark.parametrize(("count", "most"), [(None, 2), (0, 1), (2, 2)], ids=["not looked", "clean", "flukes"])
def test_a_course_that_looks_clean_in_the_middle_ends_with_its_third_dose(count, most):
    """Common practice, no source: two doses given, of a course of three, or of four where flukes are still seen."""
    rows = () if count is None else tuple(clips([count] * 5))
    case = a_case(temperature_c=20.0, given=(dose(-13), dose(-6)), samples=rows)
    course = underway(case, draw_pond(case, case.parasites[0], DRAWS, 3))
    assert searching._most_doses(case, CONTROL, True, course) == most


@pytest.mark.parametrize(("allowed", "given", "most"), [(6, 2, 2), (2, 2, 1), (0, 0, 0), (3, 0, 3), (9, 0, 4)])
def test_a_limit_of_doses_is_one_of_the_course(allowed, given, most):
    """What was given counts; one more may always follow, for else a course could not be mended; no limit asks for
    more than is planned without it."""
    case = a_case(given=tuple(dose(-6 * (i + 1)) for i in reversed(range(given))), limits=Limits(max_doses=allowed))
    course = underway(case, draw_pond(case, case.parasites[0], DRAWS, 3))
    assert searching._most_doses(case, CONTROL, True, course) == most


def test_without_a_schedule_that_meets_the_aim_a_course_of_three_is_planned():
    """Common practice, no source: the look after it decides; a limit of the case is no wish for more."""
    best = {n: [evaluated(ONE * n, 0.2 * n)] for n in (2, 3, 4)}
    assert list(searching._usual(field(), best, None)) == [2, 3]
    allowed = replace(field(), case=a_case(limits=Limits(max_doses=4)))
    assert list(searching._usual(allowed, best, None)) == [2, 3]


def test_custom_near_this_water_stands_beside_the_recommendation():
    """dactylogyrus.toml: three doses five days apart near 26 °C (common practice, no source)."""
    case = a_case(temperature_c=26.0)
    (custom,) = customs_for(case, [heavy(case)], ONE)
    assert np.diff(custom.plan.days).tolist() == [5.0, 5.0]
    assert customs_for(a_case(temperature_c=33.0), [heavy(a_case(temperature_c=33.0))], ONE) == []


def test_cold_custom_has_formalin_in_the_middle_where_it_may_be_given():
    case = a_case(temperature_c=10.0)
    (custom,) = customs_for(case, [heavy(case)], BOTH)
    assert custom.plan.agents == ("praziquantel", "formalin", "praziquantel")
    assert customs_for(case, [heavy(case)], ONE)[0].plan.agents == ("praziquantel",) * 3


# --- the rules of the choice, each by itself --------------------------------------------------------------------------


def test_a_difference_the_draws_cannot_show_is_none():
    better, alike = evaluated(ONE, 0.90), evaluated(ONE, 0.89)
    assert not beats(better, alike, CONTROL)  # below what a vet would act on
    assert beats(better, evaluated(ONE, 0.70), CONTROL)
    few = [evaluated(ONE, chance, draws=20) for chance in (0.6, 0.5)]
    assert not beats(*few, CONTROL)  # two draws of twenty: within two standard errors


def field(findings=()) -> searching._Field:
    case = a_case()
    case = replace(case, findings=replace(case.findings, other=tuple(findings)))
    return searching._Field(case, [], [], CONTROL, BOTH, None, None)


@pytest.mark.parametrize(("gain", "kept"), [(WORTH_A_RISK - 0.02, "praziquantel"), (WORTH_A_RISK + 0.02, "formalin")])
def test_formalin_is_taken_where_it_clearly_helps(gain, kept):
    """Common practice, no source: formalin takes oxygen and poisons people."""
    plain, mixed = evaluated(("praziquantel",) * 2, 0.7), evaluated(("praziquantel", "formalin"), 0.7 + gain)
    (chosen,) = searching._worth_their_risk([mixed, plain], field())
    assert kept in chosen.plan.agents
    assert (chosen is plain) == (kept == "praziquantel")


def test_formalin_is_taken_where_it_meets_another_finding():
    """formalin.toml: it works on ciliates, praziquantel does not."""
    plain, mixed = evaluated(("praziquantel",) * 2, 0.8), evaluated(("praziquantel", "formalin"), 0.8)
    assert searching._worth_their_risk([mixed, plain], field(["ciliates"])) == [mixed]


def test_one_dose_more_has_to_be_worth_a_dose_where_no_schedule_meets_the_aim():
    best = {n: [evaluated(ONE * n, 0.5 + step)] for n, step in ((1, 0.0), (2, 0.2), (3, 0.2 + WORTH_A_DOSE / 2))}
    assert searching._enough(best, CONTROL) == 2
    best[3] = [evaluated(ONE * 3, 0.7 + 2 * WORTH_A_DOSE)]
    assert searching._enough(best, CONTROL) == 3


# --- evaluation against a run of its own ------------------------------------------------------------------------------


def test_a_dose_does_better_than_none():
    """Doing nothing is judged by the same yardstick, and a dose of today leaves fewer flukes tomorrow."""
    case = a_case(limits=Limits(agents=ONE, max_doses=2))
    pair = pond_of(case)
    none, one = evaluate([pair], [DoseSchedule((), ()), DoseSchedule((0.0,), ONE)], aim_of(case, [pair]))
    assert none.left_per_1000.median == pytest.approx(1000.0)
    assert one.left_per_1000.median < 300
    assert np.all(one.kept >= none.kept - 1e-9)


def test_left_and_dead_of_two_sets_against_a_run_of_each():
    """What is left is the worse set's, a day after the last dose; what kills without flukes kills once."""
    case = a_case(parasites=("dactylogyrus", "gyrodactylus"))
    fish = np.array([40.0])
    ponds = [Posterior(p, p.start(np.full(DRAWS, 30.0), fish, 0.0, np.full(DRAWS, 0.5)))
             for p in (draw_pond(case, name, DRAWS, 3) for name in case.parasites)]  # fmt: skip
    plan = DoseSchedule((0.0, 6.0), ("praziquantel",) * 2)
    aim = aim_of(case, ponds)
    (both,) = evaluate(ponds, [plan], aim)
    worse = np.maximum(*(left_per_1000([pair], [plan])[0] for pair in ponds))
    assert both.left_per_1000.median == pytest.approx(CredibleInterval.of(worse).median, rel=1e-6)
    by_flukes = np.zeros(DRAWS)
    for pond, state in ponds:
        doses = pond.doses(plan.days, plan.agents)
        run = simulate(pond.setting, state, np.array([0.0, aim.horizon_days]), [*pond.given, *doses], COARSE_STEP_DAYS)
        by_flukes += run.fluke_deaths[-1] - state.fluke_deaths
    np.testing.assert_allclose(both.mean_fluke_deaths, by_flukes, rtol=2e-2, atol=1e-3)
    assert both.deaths.median >= both.fluke_deaths.median


def test_the_burden_is_judged_from_the_check_day_on():
    """Flukes of the weeks before, that the doses then kill, do not count against a course."""
    case = a_case(temperature_c=24.0)
    pair = heavy(case)
    plan = DoseSchedule((1.0, 6.0, 11.0), ONE * 3)
    (one,) = evaluate([pair], [plan], aim_of(case, [pair]))
    days, burden = one.days, one.burden[0]
    assert one.check_day > 11.0
    inside = (days >= one.check_day) & (days <= one.end_day)
    assert one.highest[0].median == pytest.approx(float(np.median(burden[inside].max(0))))
    assert burden[0].max() > burden[inside].max()

"""What the action follows from, taken out of whole cases (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from cases import VISIT, a_case, clips, dose, organs

from burden.case import UNKNOWN_AGENT, Action, Arrival, Case, DeathRecord, Findings
from burden.decision import decide
from burden.decision.agents_tried import agents_to_plan, chance_weak
from burden.decision.doses_given import (
    came_since,
    counts_around_course,
    counts_beside_doses,
    full_doses,
    held_up,
    left_in,
    strength_given,
    underdosed,
    weak_doses,
)
from burden.decision.facts import _looked_over, _sure, shortfall, trouble_in
from burden.decision.look_dates import look_after
from burden.decision.plan import other_treatments
from burden.decision.records import Reason
from burden.inference.estimate import estimate
from burden.inference.sampler import Effort
from burden.report.text.reasons import reason_text
from burden.treatment.gates import gates_of

DRAWS = 40
pytestmark = pytest.mark.usefixtures("few_ponds")  # these are clear cases: seeds 1 to 3 find the same actions


def salted(g_l: float, hours: float | None = 336.0) -> Action:
    return Action(VISIT - timedelta(days=3), agent="sodium_chloride", route="bath", g_l=g_l, hours=hours)


@pytest.mark.parametrize(
    ("count", "feeding", "trouble"), [(40, "normal", True), (1500, "normal", False), (1500, "less", True)]
)
def test_of_many_fish_that_feed_as_usual_a_date_alone_is_no_trouble(count, feeding, trouble):
    """A dead or ill one is always among hundreds; forty that flash are trouble though they feed."""
    case = a_case(count=count, trouble_since=VISIT - timedelta(days=9), findings=Findings(feeding=feeding))
    assert trouble_in(case) is trouble
    kept_up = replace(case, deaths=(DeathRecord(VISIT - timedelta(days=4), 0),))
    assert trouble_in(kept_up) is (feeding == "less")


@pytest.mark.parametrize(
    ("doses", "looked", "held"), [((-10,), 0, False), ((-5,), 0, True), ((-16, -10), 0, True), ((-26, -20), 0, False)]
)
def test_counts_that_hold_up_soon_after_the_doses(doses, looked, held):
    """A week after one dose, two after several: later the flukes on the fish may be new ones."""
    before, after = clips([10, 8, 14, 6, 13], day=min(doses)), clips([12, 9, 16, 11, 7], day=looked)
    case = a_case((*before, *after), given=tuple(dose(day) for day in doses))
    assert held_up(case) is held
    assert [sum(row.count_low for row in rows) for rows in counts_around_course(case)] == [51, 55]


def test_what_was_counted_stands_beside_the_last_doses():
    """A look in the middle of a course parts it; what came back later is told beside what the doses left."""
    looks = {-30: [30, 41], -12: [25, 16], -4: [2, 3], 0: [19, 21]}
    rows = [row for day, counts in looks.items() for row in clips(counts, day=day)]
    case = a_case(rows, given=(dose(-28), dose(-10), dose(-6)))
    assert [sum(row.count_low for row in look) for look in counts_beside_doses(case)] == [41, 5, 40]
    only = a_case(rows[:6], given=(dose(-28), dose(-10), dose(-6)))
    assert [sum(row.count_low for row in look) for look in counts_beside_doses(only)] == [41, 5, 0]
    assert counts_beside_doses(a_case(rows)) == ([], [], [])
    assert counts_beside_doses(a_case(rows, given=(dose(-100),))) == ([], [], [])


def test_a_dose_counts_in_full_by_its_strength_in_the_true_volume():
    """2.5 mg/L weighed for 5 m3 of 10 is a quarter of 5 mg/L; a UV lamp takes the drug as well."""
    whole, weak = dose(-20), replace(dose(-14, mg_l=2.5), volume_l_believed=5000.0)
    lit = replace(dose(-8), uv_or_carbon_on=True)
    assert full_doses(a_case(given=(whole, weak, lit))) == [whole]
    assert strength_given(a_case(given=(whole, weak))) == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("rows", "trouble"), [(((-21, 1), (0, 0)), False), (((-21, 1), (-3, 1), (0, 0)), True), (((-21, 1),), True)]
)
def test_fish_that_stop_dying_after_a_dose_are_out_of_trouble(rows, trouble):
    log = tuple(DeathRecord(VISIT + timedelta(days=day), dead) for day, dead in rows)
    case = a_case(given=(dose(-11),), deaths=log, trouble_since=VISIT - timedelta(days=30))
    assert trouble_in(case) is trouble
    assert trouble_in(replace(case, trouble_since=VISIT - timedelta(days=5)))  # it came back after the dose


@pytest.mark.parametrize(("species", "action"), [("Atlantic salmon", "look_first"), ("rainbow trout", "dose")])
def test_flukes_that_may_be_notifiable_are_named_before_salmon_are_dosed(species, action):
    rows = [replace(row, site="skin", method="skin_scrape") for row in clips([14, 33, 8, 21])]
    case = a_case(rows, count=400, temperature_c=12.0, parasites=("gyrodactylus_salmonids",), findings=Findings())
    case = replace(case, fish=(replace(case.fish[0], species=species),), trouble_since=VISIT - timedelta(days=5))
    found = decide(case, DRAWS)
    assert found.action == action
    assert {reason.code for reason in found.reasons} & {"identify_first", "notifiable"}


def eaten(days_to_harvest: int, count: int = 400, **more: object) -> Case:
    """Food fish with flukes in number, and the day they are to be harvested."""
    case = a_case(clips([14, 9, 11, 13]), count=count, **more)
    harvest = VISIT + timedelta(days=days_to_harvest)
    return replace(case, fish=(replace(case.fish[0], food_fish=True, harvest_date=harvest),))


@pytest.mark.parametrize(("bath", "left"), [(salted(3.0), True), (salted(10.0, 0.5), False), (salted(5.0, 0.5), False)])
def test_salt_left_in_the_pond_is_no_weak_bath(bath, left):
    """3 g/L for two weeks are not 30 % of a dip of 10 g/L: nobody is to make up the rest."""
    case = a_case(clips([9, 12], day=0), given=(bath,))
    assert (left_in(case) is not None) is left
    assert (strength_given(case) is None) is left
    assert weak_doses(case) is (left or bath.g_l == 5.0)


def test_the_reason_asks_for_no_more_of_what_was_left_in():
    case = a_case(clips([30, 22, 41]), given=(salted(3.0),))
    said = reason_text(Reason("doses_fell_short", decide(case, DRAWS).reasons[0].numbers))
    assert "no more sodium chloride" in said
    assert "usual strength" not in said


@pytest.mark.parametrize(("agent", "known"), [(UNKNOWN_AGENT, False), ("mebendazole", True)])
def test_nobody_says_that_a_product_without_a_name_killed_too_few(agent, known):
    """Without counts before and after there is only a guess at what it was."""
    case = a_case(organs([30, 45, 38]), given=(replace(dose(-5, agent, 0.02), hours=1.0),))
    found = shortfall(case, estimate(case, "dactylogyrus", DRAWS))
    assert (found is not None) is known


def test_the_harvest_comes_before_a_course_that_would_put_it_off():
    """500 degree-days at 20 °C are 25 d after the last dose."""
    found = decide(eaten(14, findings=Findings()), DRAWS)
    assert (found.action, found.reasons[0].code) == ("watch", "harvest_first")
    assert found.look is not None
    assert found.look.date == VISIT + timedelta(days=14)
    assert found.plan == ()
    dosed = decide(eaten(14, findings=Findings(), given=(dose(-6),)), DRAWS)  # no harvest that day any more
    assert (dosed.action, "harvest_waits" in {reason.code for reason in dosed.reasons}) == ("dose", True)
    later = decide(eaten(120, findings=Findings()), DRAWS)
    assert later.action == "dose"
    assert all(one.harvest is None for one in later.withdrawals)


def test_no_look_comes_after_the_harvest():
    """Two weeks from now the pond is empty: those killed are looked at, and nobody comes again after that."""
    case = replace(eaten(10, findings=Findings()), samples=clips([1, 0, 0, 2]))
    found = decide(case, DRAWS)
    assert found.action == "watch"
    assert (found.look.purpose, found.look.date) == ("harvest", VISIT + timedelta(days=10))
    assert found.deaths_until == found.look.date
    later = decide(replace(case, fish=(replace(case.fish[0], harvest_date=VISIT + timedelta(days=25)),)), DRAWS)
    assert all(look_after(later.look, one) <= VISIT + timedelta(days=25) for one in later.look.outcomes)


def test_newcomers_clean_weeks_after_a_whole_course_get_no_new_one():
    given = (dose(-40), dose(-34), dose(-28))
    case = a_case((*clips([3, 2], day=-42), *clips([0] * 24, each=3)), count=8, given=given, aim="eradicate")
    found = decide(case, DRAWS)
    assert (found.action, found.reasons[0].code) == ("watch", "clean_once")
    assert found.look is not None
    assert (found.look.day, found.look.clean_before) == (7.0, 1)


def test_what_the_case_plans_goes_on_where_it_is_worth_its_doses():
    """One dose of three was given; the rest of custom leaves more flukes than the owner's two."""
    planned = (dose(2), dose(9))
    case = a_case(clips([12, 15, 10, 13]), given=(dose(-5),), planned=planned)
    found = decide(case, 60)
    assert [one.day for one in found.plan] == [2.0, 9.0]
    assert (found.plan[0].number, found.plan[0].of) == (2, 3)
    weaker = decide(replace(case, planned=(dose(2, mg_l=3.0), dose(9, mg_l=3.0))), 60)
    assert [(one.day, one.mg_l) for one in weaker.plan] == [(2.0, 5.0), (9.0, 5.0)]  # its days, the customary strength
    alone = decide(replace(case, planned=()), 60)
    aim = found.recommendation.aim
    kept = (one.recommendation.recommended.chance(aim) for one in (found, alone))
    assert next(kept) > next(kept)


def test_an_agent_given_too_weak_is_given_in_full_before_it_is_changed():
    """Common practice, no source: three doses at a third of the strength. Not once one was full, nor with another
    disease found."""
    agents = ("formalin", "praziquantel")
    weak = tuple(replace(dose(day, mg_l=2.5), volume_l_believed=6500.0) for day in (-28, -21, -14))
    rows = (*clips([20, 30, 25, 31], day=-29), *clips([14, 22, 9, 3]))
    case = a_case(rows, given=weak)
    found = [estimate(case, draws=60, effort=Effort(300, 700, 100.0))]
    assert chance_weak("praziquantel", found) < 0.5
    assert agents_to_plan(case, found, agents) == (("praziquantel",), ())
    assert agents_to_plan(case, found, ("formalin",))[0] == ("formalin",)
    mixed = replace(case, findings=Findings(other=("ciliates",)))
    assert "formalin" in agents_to_plan(mixed, found, agents)[0]
    once_full = replace(case, given=(*weak, dose(-7)))
    assert "formalin" in agents_to_plan(once_full, found, agents)[0]


def test_white_spot_is_no_guest_of_a_course_against_flukes():
    """Common practice, no source: baths every two to four days against white spot; formalin works on other ciliates
    along with the flukes."""
    case = a_case(clips([1, 0, 2, 0]))
    both = ("praziquantel", "formalin")
    for finding, met in (("ciliates", "formalin"), ("white_spot", None)):
        mixed = replace(case, findings=Findings(other=(finding,)))
        (one,) = other_treatments(mixed, ("formalin",), both)
        assert (one.agent, one.first) == (met, True)
        (one,) = other_treatments(mixed, ("praziquantel",), both)
        assert (one.agent, one.at_hand) == (None, "formalin")


def test_a_course_that_is_over_by_the_harvest_comes_before_one_that_puts_it_off():
    """500 degree-days at 20 °C are 25 d after the last dose: of what the harvest leaves room for, the best."""
    found = decide(eaten(35, findings=Findings()), DRAWS)
    assert found.action == "dose"
    assert max(one.day for one in found.plan) <= 35 - 25
    assert all(one.harvest is None for one in found.withdrawals)


def test_fish_are_looked_over_a_week_after_the_last_dose():
    """Common practice, no source: three fish, a week or more after it."""
    for day, fish, over in ((0, 3, True), (0, 2, False), (-3, 3, False)):
        rows = clips([1] * fish, day=day)
        assert _looked_over(a_case(rows, given=(dose(-8),))) is over
    assert not _looked_over(a_case(clips([1, 1, 1])))


def test_water_of_a_cage_is_not_changed_and_what_the_cage_needs_is_asked_for():
    """Common practice, no source: oxygen, clean nets and room; the sea round it is its water."""
    base = a_case()
    caged = replace(base, water=replace(base.water, kind="cage", medium="sea", oxygen_mg_l=3.0))
    gates = gates_of(replace(caged, findings=Findings(gasping=True)), 20.0)
    remedies = [gate.remedy for gate in gates if gate.remedy is not None]
    assert remedies
    assert not any(one.times for one in remedies)
    assert any(one.clear_cage and one.aerate for one in remedies)


@pytest.mark.parametrize(
    ("mg_l", "hours", "weak"), [(3.0, 24, True), (3.0, 48, False), (2.0, 96, True), (5.0, 12, False)]
)
def test_a_weaker_bath_for_longer_is_no_weak_one(mg_l, hours, weak):
    """Common practice, no source: 3 mg/L for two days in place of 5 mg/L for one; far too weak stays too weak."""
    assert underdosed(a_case(given=(dose(-7, mg_l=mg_l, hours=hours),))) is weak


@pytest.mark.parametrize(("came", "died", "told"), [(6, 0, 1), (40, 0, 0), (42, 2, 0)])
def test_newcomers_are_told_of_where_there_were_fish_before_them(came, died, told):
    """Common practice, no source: new fish bring flukes to those that were there; a stock all new has no others."""
    arrival = Arrival(VISIT - timedelta(days=20), came)
    base = a_case(deaths=(DeathRecord(VISIT - timedelta(days=3), died),))
    case = replace(base, fish=(replace(base.fish[0], new_arrivals=(arrival,)),))
    assert len(came_since(case)) == told


def test_a_pond_is_left_once_flukes_of_the_last_eggs_would_show():
    """The day that `sampling recheck` names at 20 °C more than eight days after the dose, fewer than forty."""
    base = a_case(clips([30, 20, 40], day=-20), given=(dose(-14), dose(-8)))
    found = [estimate(base, draws=60)]
    assert not _sure(replace(base, samples=(*base.samples, *clips([0] * 8, first=10))), found)
    late = replace(base, given=(dose(-47), dose(-40)))
    assert _sure(replace(late, samples=(*late.samples, *clips([0] * 8, first=10))), [estimate(late, draws=60)])
    assert _sure(replace(late, given=()), found)

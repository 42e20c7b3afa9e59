"""The next look beside a harvest: what it asks for can still be done (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from cases import VISIT, a_case, clips

from burden.case import Case, Limits
from burden.decision import decide
from burden.decision.look_harvest import beside_harvest, day_in_time
from burden.decision.look_records import NextLook, Outcome
from burden.report.text.next_look import outcome_lines

RESULTS = (Outcome("none", 0, 0.5, 0.1, "watch"), Outcome("many", None, 0.5, 0.8, "dose"))


def eaten(days: int, **more: object) -> Case:
    """Food fish with flukes in number, all to be harvested after so many days."""
    case = a_case(clips([14, 9, 11, 13]), count=400, **more)
    return replace(case, fish=(replace(case.fish[0], food_fish=True, harvest_date=VISIT + timedelta(days=days)),))


def grounds(case: Case, last: dict[str, float], agents: tuple[str, ...] = ("praziquantel",), held: bool = False):
    """What the rule asks of its grounds: last days of agents, and whether doses put the harvest off already."""
    ends = (SimpleNamespace(harvest=case.harvest_date if held else None),)
    found = SimpleNamespace(aim=SimpleNamespace(last_days=last), underway=None)
    return SimpleNamespace(case=case, found=found, agents=agents, withdrawals=ends, withdrawals_given=ends)


def course(*days: float):
    return SimpleNamespace(plan=SimpleNamespace(days=days))


def look(day: float, purpose: str = "check") -> NextLook:
    return NextLook(VISIT + timedelta(days=int(day)), day, purpose, 5, False, 3, RESULTS)


@pytest.mark.parametrize(
    ("shown", "last", "usual", "day"),
    [
        (course(1.0, 6.0), 20.0, 15.0, 15.0),  # it comes in time
        (course(1.0, 6.0), 12.0, 15.0, 12.0),  # a dose may follow on the day of the look
        (course(1.0, 6.0), 9.0, 15.0, 15.0),  # four days after a dose none may follow: no sooner look helps
        (None, 12.0, 14.0, 11.0),  # a few fish are treated on the day of the look, the pond on the next
        (None, 7.0, 14.0, 14.0),  # within a week of the visit it tells nothing new
    ],
)
def test_the_look_comes_in_time_for_a_dose_before_the_harvest(shown, last, usual, day):
    assert day_in_time(grounds(eaten(30), {"praziquantel": last}), shown, usual) == day


def test_the_look_comes_on_a_day_on_which_a_dose_can_go_in():
    saturdays = eaten(30, limits=Limits(visit_days=("saturday",)))
    found = day_in_time(grounds(saturdays, {"praziquantel": 13.0}), course(1.0, 6.0), 16.0)
    assert (VISIT + timedelta(days=int(found))).strftime("%A") == "Saturday"


def test_an_agent_that_leaves_nothing_in_the_fish_has_no_last_day():
    both = grounds(eaten(45), {"praziquantel": 5.0}, ("praziquantel", "sodium_chloride"))
    assert day_in_time(both, course(1.0), 15.0) == 15.0
    assert beside_harvest(both, course(1.0), look(15.0)).outcomes == RESULTS


def test_what_a_look_asks_for_can_still_be_done():
    """Too late for a dose: harvest as planned and tell the buyer, or dose and harvest later."""
    late = grounds(eaten(30), {"praziquantel": 5.0})
    found = beside_harvest(late, course(1.0), look(15.0))
    assert [one.action for one in found.outcomes] == ["watch", "harvest"]
    assert found.late_for == late.case.harvest_date
    assert "too late for a dose before the harvest" in outcome_lines(found)[-1]
    assert "sooner" not in outcome_lines(found)[-1]  # the withdrawal of doses given may not be over
    assert not any("a dose is due" in line for line in outcome_lines(found))
    held = grounds(eaten(30), {"praziquantel": 5.0}, held=True)  # the harvest waits already
    assert beside_harvest(held, course(1.0), look(15.0)) == look(15.0)


@pytest.mark.parametrize(("shown", "day"), [(course(1.0), 30.0), (course(1.0), 26.0), (None, 15.0)])
def test_no_fish_is_netted_where_no_result_changes_what_is_done(shown, day):
    """On the day of the harvest or just before it, and of fish left alone once no dose can follow."""
    found = beside_harvest(grounds(eaten(30), {"praziquantel": 5.0}), shown, look(day))
    assert (found.purpose, found.day) == ("harvest", 30.0)


def test_nothing_is_dated_beyond_the_harvest():
    far = replace(look(20.0), clean_from=VISIT + timedelta(days=28), again=date(2030, 1, 1))
    found = beside_harvest(grounds(eaten(30), {"praziquantel": 25.0}), course(1.0), far)
    assert found.again == VISIT + timedelta(days=30)
    assert found.clean_from is None


@pytest.mark.parametrize("days", [28, 32, 36])
def test_a_decision_before_a_harvest_is_judged_up_to_it_and_its_look_asks_for_what_can_be_done(days):
    """500 degree-days at 20 °C are 25 d after the last dose."""
    found = decide(eaten(days), 60)
    assert found.action == "dose"
    assert found.judged[1] == VISIT + timedelta(days=days)
    if found.look.day > days - 25:
        assert "dose" not in {one.action for one in found.look.outcomes}


def test_a_look_three_weeks_before_the_harvest_of_well_fish_asks_for_no_dose():
    """Common practice, no source: what is left until the harvest a dose does not save."""
    soon, far = (grounds(eaten(days), {}, ("sodium_chloride",)) for days in (36, 37))
    assert [one.action for one in beside_harvest(soon, course(1.0), look(15.0)).outcomes] == ["watch", "harvest"]
    assert beside_harvest(far, course(1.0), look(15.0)).outcomes == RESULTS

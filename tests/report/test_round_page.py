"""A round of ponds as it is written: order, days, reasons, page, table and calendar; ponds weighed before."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from cases import VISIT, a_case
from icalendar import Calendar

from burden.decision.look_records import NextLook, Outcome
from burden.decision.look_value import Look, PondValue
from burden.report import visit_round
from burden.report.due_dates import due_dates
from burden.report.page.index import Water
from burden.report.visit_round import RoundLimits, plan_round
from burden.utils.errors import InputError

CALENDAR = "BEGIN:VCALENDAR\r\nPRODID:-//x//EN\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n"


def pond(name: str, burden: float, values: dict[int, float], why_not: str = "", course: bool = False):
    leads = (Outcome("few", 12, 0.75, 0.2, "watch"), Outcome("many", None, 0.25, 0.8, "dose"))
    plan = NextLook(VISIT, 0.0, "more_fish", 5, False, 3, leads)
    looks = tuple(Look(n, value, 0.25, 4 * value, plan) for n, value in values.items())
    worth = PondValue("watch", why_not, 40, 3.0, 0.5, 0.4, 0.1, 0.5, course, looks)
    due = ({"date": "2026-05-12", "label": "Tue 12 May 2026", "what": "dose 1 of 3", "kind": "dose"},) if course else ()
    answer = {"first_action": "No dose today."}
    water = Water(name, f"Pond {name}", {}, (3, "", 0.0), (False, burden), due, answer, VISIT.isoformat(), CALENDAR)
    return visit_round._Pond(water, worth, VISIT)


PONDS = {
    "a": pond("a", 300.0, {5: 2.0, 10: 3.0}),
    "b": pond("b", 5.0, {5: 1.5}, course=True),
    "c": pond("c", 50.0, {5: 0.2}),
    "d": pond("d", 1.0, {5: -0.01}),
    "e": pond("e", 9.0, {}, "no_course"),
    "f": pond("f", 9.0, {30: 9.0}),
}


@pytest.fixture
def cases(monkeypatch):
    """Case folders by name, weighed as above without any work."""
    monkeypatch.setattr("burden.io.read_case", lambda folder: replace(a_case(), name=str(folder)))
    monkeypatch.setattr(visit_round, "_pond", lambda case, draws, seed: PONDS[case.name])
    return list(PONDS)


def test_the_round_goes_from_the_fewest_flukes_to_the_most(cases):
    found = plan_round(cases, RoundLimits(15, 6))
    assert [(stop.case, stop.look.fish) for stop in found.stops] == [("b", 5), ("a", 10)]
    assert found.start == VISIT + timedelta(days=1)
    assert (found.fish, found.minutes, found.value) == (15, 80 + 130, 4.5)
    assert {one.case: one.why for one in found.left_out} == {
        **{"f": "too_large", "c": "no_room", "d": "no_gain", "e": "no_course"}
    }
    assert found.with_more_fish == pytest.approx(4.7)  # five at c as well
    said = found.brief()
    assert "look at 2 of 6 ponds, fewest flukes first: Pond b (5 fish) and Pond a (10 fish)" in said
    assert "Worth most: Pond a. The chance is 25 % that the counts change what is done" in said
    assert said.startswith("Fish that gasp or die today")
    assert len(said.splitlines()) <= 7
    told = json.loads(found.to_json())
    assert [one["first_action"] for one in told["stops"]] == ["No dose today."] * 2
    assert told["left_out"][-1]["best"] is None


def test_a_far_pond_gives_way_to_near_ones(cases):
    found = plan_round(cases, RoundLimits(30, 4, travel_minutes=(200.0, 10.0, 10.0, 10.0, 10.0, 10.0)))
    assert [stop.case for stop in found.stops] == ["b", "c"]
    assert {one.why for one in found.left_out if one.case == "a"} == {"too_large"}


def test_more_work_than_a_day_holds_goes_on_the_next(cases):
    found = plan_round(cases, RoundLimits(15, 30, minutes_a_fish=100.0), start=date(2026, 6, 1))
    assert [stop.date.day for stop in found.stops] == [1, 2]


def test_page_table_and_calendar(cases, tmp_path):
    found = plan_round(cases, RoundLimits(15, 6), out=tmp_path / "week")
    assert set(found.files) == {"round.html", "round.csv", "all.ics"}
    page = (tmp_path / "week" / "round.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert page.index("1. Pond b") < page.index("2. Pond a") < page.index("Not this week")
    assert "Up to 12 flukes in all 15 preparations (75 % likely): no dose" in page
    assert page.index("Fish that gasp or die today") < page.index("1. Pond b")
    assert "dose 1 of 3" in page
    events = Calendar.from_ical((tmp_path / "week" / "all.ics").read_bytes()).walk("VEVENT")
    assert {str(e["summary"]).split(":")[0] for e in events} == {"Pond a", "Pond b"}
    assert len((tmp_path / "week" / "round.csv").read_text(encoding="utf-8-sig").splitlines()) == 7


def test_ways_are_one_for_all_or_one_a_case(cases):
    with pytest.raises(InputError) as found:
        plan_round(cases, RoundLimits(15, 6, travel_minutes=(10.0, 20.0)))
    assert "--travel" in str(found.value.problems[0])


def a_day(after: int, kind: str) -> dict[str, str]:
    day = VISIT + timedelta(days=after)
    return {"date": day.isoformat(), "label": str(day), "what": f"{kind} {after}", "kind": kind}


def test_what_is_overdue_keeps_its_own_date():
    days = [(0, "water"), (1, "trial"), (2, "dose"), (5, "look"), (9, "dose"), (20, "dose")]
    mine = replace(PONDS["a"].water, due=tuple(a_day(*day) for day in days), today=(a_day(0, "sample"),))
    rows = due_dates([mine], VISIT + timedelta(days=4), ())
    assert [(row["what"], row["overdue"]) for row in rows] == [("sample 0", True), ("dose 2", True), ("dose 9", False)]
    assert rows[1]["date"] == (VISIT + timedelta(days=2)).isoformat()
    assert [row["what"] for row in due_dates([mine], VISIT, ())][:4] == ["water 0", "sample 0", "trial 1", "dose 2"]
    assert "sample 0" not in {row["what"] for row in due_dates([mine], VISIT, {"a"})}  # the round looks there

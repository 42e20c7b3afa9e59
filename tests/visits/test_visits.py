"""The tool's decisions against those of a good colleague (tests/visits/README.md says how and on what ground).

A fixed seven run always, all with BURDEN_ALL_VISITS=1. Right answers are counted against the numbers below, which
only go up; what would hurt fish or people is asserted visit by visit.
"""

from __future__ import annotations

import json
import os
from datetime import date
from functools import cache

import pytest
from visit_yardstick import (
    ACTIONS,
    FOLDER,
    Answer,
    JudgedVisit,
    all_visits,
    answer,
    faults,
    missing_keys,
    trespasses,
)

from burden.evidence import reference

pytestmark = pytest.mark.usefixtures("each_case_once")
#: how many of the seven, and of all, are answered as a good colleague would; raise them when the decision is mended
RIGHT_OF_SEVEN, RIGHT_OF_ALL = 7, 86
DRAWS = 100
SEVEN = ("01", "12", "27", "32", "47", "57", "88")
VISITS = {visit.name: visit for visit in all_visits()}
ALL_ASKED = bool(os.environ.get("BURDEN_ALL_VISITS"))
ASKED = [visit for visit in VISITS.values() if ALL_ASKED or visit.name.startswith(SEVEN)]
EXPECTED = {
    *("action", "doses", "first_dose_day", "last_dose_day", "gap_days", "agents_allowed", "agents_forbidden", "mass_g"),
    *("mg_l_max", "total_mg_l_max", "weekdays", "next_look_day", "look_fish", "gates", "remedy_litres"),
    *("other_treatments", "release_day", "must_say", "must_not_say"),
}
NEVER = {"dose", "dose_today", "agents"}


def by_name(visit: JudgedVisit) -> str:
    return visit.name


@cache
def answered(name: str) -> Answer:
    """Decide a visit once for all tests; the page is read only where all are asked, as it takes as long again."""
    return answer(VISITS[name], DRAWS, words=ALL_ASKED)


def skip_unless_known(visit: JudgedVisit) -> None:
    if missing := missing_keys(visit):
        pytest.skip(f"not known yet: {', '.join(missing)}")


# --- the visits themselves


def test_there_are_enough_visits_of_every_kind():
    """Issue 17 asks for 60; every action but none is what somebody should do on several of them."""
    assert len(VISITS) >= 60
    for action in ACTIONS:
        assert sum(action in visit.expect["action"] for visit in VISITS.values()) >= 5, action


@pytest.mark.parametrize("visit", VISITS.values(), ids=by_name)
def test_visit_reads_and_says_what_it_expects(visit):
    """The case passes `burden check`, every expectation is one the yardstick reads, and its ground is known."""
    missing_keys(visit)
    assert set(visit.expect) <= EXPECTED
    assert set(visit.never) <= NEVER
    assert visit.expect["action"]
    assert set(visit.expect["action"]) <= set(ACTIONS)
    assert visit.ground == "common practice, no source" or reference(visit.ground)
    assert visit.why.endswith(".")


def test_no_file_is_left_unread():
    assert {path.stem for path in FOLDER.glob("*.toml")} == set(VISITS)


# --- the yardstick itself: wrong answers are called wrong

GOOD = {
    "action": "dose",
    "plan": [
        {"date": day, "number": n, "of": 3, "agent": "praziquantel", "mg_l": 5.0, "mass_g": 60.0}
        for n, day in enumerate(("2026-07-11", "2026-07-16", "2026-07-21"), start=1)
    ],
    "look": {"date": "2026-08-02", "fish": 10},
}


def wrong_ways() -> dict[str, dict[str, object]]:
    """A right answer to the first visit, spoilt in one way each."""
    plan = GOOD["plan"]
    return {
        "not dose": {"action": "watch"},
        "doses 1": {"plan": plan[:1]},
        "gap in days": {"plan": [plan[0], {**plan[1], "date": "2026-07-12"}, plan[2]]},
        "first dose on day": {"plan": [{**dose, "date": f"2026-08-{5 * i + 1:02d}"} for i, dose in enumerate(plan)]},
        "no dose is planned": {"plan": []},
        "of 30 fish": {"look": {"date": "2026-08-02", "fish": 31}},
        "next look on day": {"look": {"date": "2027-08-02", "fish": 3}},
    }


def test_a_right_answer_has_no_fault():
    assert faults(VISITS["01_koi_july_first_visit"], Answer(GOOD)) == []


@pytest.mark.parametrize("said", wrong_ways())
def test_a_wrong_answer_is_called_wrong(said):
    found = faults(VISITS["01_koi_july_first_visit"], Answer({**GOOD, **wrong_ways()[said]}))
    assert any(said.removeprefix("not ") in fault for fault in found)


def test_water_that_withholds_is_wanted_with_its_litres():
    """A fifth of the litres, an all-at-once change, and a gate left unnamed are each found out."""
    visit = VISITS["28_ammonia_at_high_ph"]
    words = "Change 5 000 L today"
    gate = {"code": "unionised_ammonia", "remedy": {"percent": 40, "litres": 6400, "times": 3}}
    assert faults(visit, Answer({"action": "water_first", "gates": [gate]}, words)) == []
    for litres in (300.0, 15000.0):
        small = {**gate, "remedy": {"litres": litres}}
        assert faults(visit, Answer({"action": "water_first", "gates": [small]}, words))
    assert faults(visit, Answer({"action": "water_first", "gates": []}, words))
    assert faults(visit, Answer({"action": "water_first", "gates": [gate]}, "Change some water"))


def test_danger_is_found_whatever_else_is_right():
    formalin = {"date": "2026-06-14", "number": 1, "of": 1, "agent": "formalin", "mg_l": 25.0, "mass_g": 325.0}
    found = trespasses(VISITS["32_formalin_alone_unmeasured"], Answer({"action": "water_first", "plan": [formalin]}))
    assert len(found) == 2
    assert date.fromisoformat(formalin["date"]) == VISITS["32_formalin_alone_unmeasured"].visit_date


# --- the tool against the yardstick


@pytest.mark.parametrize("visit", [v for v in ASKED if v.never], ids=by_name)
def test_nothing_dangerous_is_advised(visit):
    """No formalin without an oxygen reading, no dose into bad water, into fish ill otherwise, or without flukes."""
    skip_unless_known(visit)
    assert trespasses(visit, answered(visit.name)) == []


def test_a_decision_is_plain_json():
    """Whole as the command writes it: a number of the draws' own kind would stop the report of several ponds."""
    given = answered("01_koi_july_first_visit").decision
    assert json.loads(json.dumps(given)) == given


def test_as_many_answers_are_right_as_were_before():
    wrong, right = {}, 0
    for visit in ASKED:
        if not missing_keys(visit):
            found = faults(visit, answered(visit.name))
            wrong |= {visit.name: found} if found else {}
            right += not found
    print("\n".join(f"{name}: {'; '.join(found)}" for name, found in wrong.items()))
    assert right >= (RIGHT_OF_ALL if ALL_ASKED else RIGHT_OF_SEVEN), wrong

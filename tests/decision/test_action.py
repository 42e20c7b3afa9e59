"""Today's action from plain facts. Each row is what a good colleague would do (common practice, no source)."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burden.decision.action import FEW_LEFT, choose
from burden.decision.action_facts import Facts
from burden.decision.records import ACTIONS

HEAVY = Facts(high=0.9, saves=2.0, trouble=True)
CLEAN = replace(HEAVY, ever_seen=False, seen_lately=False)

SOON = {"harvest_soon": True, "trouble": False, "saves_by_harvest": 0.0, "high_now": 0.9}

ROWS = [
    ("heavy flukes in good water", HEAVY, "dose"),
    ("the same in bad water", replace(HEAVY, stopped=True), "water_first"),
    ("no agent but one that needs a reading", replace(HEAVY, plan=False, measure_first=True), "water_first"),
    ("a fluke of the sea in fresh water", replace(HEAVY, wrong_water=True), "look_first"),
    ("a virus suspected", replace(HEAVY, virus=True), "look_first"),
    ("nobody looked", replace(HEAVY, looked=False), "look_first"),
    ("clean clips while fish die", replace(CLEAN, high=0.4), "look_first"),
    ("many clean and well", replace(CLEAN, trouble=False, met_untreated=True, high=0.05), "watch"),
    (
        "few clean and well, all of them sick fish",
        replace(CLEAN, trouble=False, sick_only=True, high=0.3),
        "look_first",
    ),
    ("few flukes on well fish", Facts(high=0.3, saves=0.0), "watch"),
    ("few flukes while fish die", Facts(high=0.3, saves=0.0, trouble=True), "look_first"),
    (
        "few flukes while fish die, again on the second visit",
        Facts(high=0.35, high_now=0.3, saves=0.0, trouble=True, seen_before=True, persist=True),
        "dose",
    ),
    (
        "hardly any flukes while fish die, again on the second visit",
        Facts(high=0.2, high_now=0.1, saves=0.0, trouble=True, seen_before=True, persist=True),
        "look_first",
    ),
    ("few flukes that would kill some fish", Facts(high=0.3, saves=1.0, trouble=True), "dose"),
    ("deaths of something else", replace(HEAVY, high=0.7, high_now=0.3, saves=0.0, mostly_else=True), "look_first"),
    (
        "flukes beside another disease, on the first visit",
        replace(HEAVY, high=0.7, high_now=0.6, saves=0.0, mostly_else=True),
        "look_first",
    ),
    (
        "the same on the next visit",
        replace(HEAVY, high=0.7, high_now=0.6, saves=0.0, mostly_else=True, seen_before=True),
        "dose",
    ),
    ("a course that has worked", Facts(high=0.1, met_untreated=True, course_given=True), "watch"),
    (
        "the same, looked at since the last hatch",
        Facts(high=0.05, met_untreated=True, course_given=True, checked=True),
        "discharge",
    ),
    (
        "the same, but too early for flukes of the last eggs to show",
        Facts(high=0.05, met_untreated=True, course_given=True, checked=True, sure=False),
        "watch",
    ),
    (
        "the same, but it showed some flukes, and one pond of five has too many again",
        Facts(high=0.2, met_untreated=True, course_given=True, checked=True),
        "watch",
    ),
    ("well fish harvested within weeks, of which a dose saves none", replace(HEAVY, **SOON), "watch"),
    ("the same, but fish die", replace(HEAVY, **{**SOON, "trouble": True}), "dose"),
    ("the same, of which a dose saves some", replace(HEAVY, **{**SOON, "saves_by_harvest": 3.0}), "dose"),
    ("a course that goes on", replace(HEAVY, course_given=True), "dose"),
    ("newcomers with flukes", replace(HEAVY, eradicate=True), "dose"),
    ("newcomers clean once", replace(CLEAN, eradicate=True, present=0.3), "watch"),
    ("newcomers clean and held", replace(CLEAN, eradicate=True, present=FEW_LEFT / 2, checked=True), "discharge"),
    ("nothing that may be given while fish die", replace(HEAVY, plan=False), "look_first"),
    ("nothing that may be given, none dying", Facts(high=0.9, plan=False), "watch"),
    ("few now, more to come in spring", Facts(high=0.8, high_now=0.1, saves=0.0), "watch"),
    ("open water nobody knows", replace(HEAVY, trouble=False, forecast_withheld=True), "look_first"),
    ("open water nobody knows, fish dying of many flukes", replace(HEAVY, forecast_withheld=True), "dose"),
    (
        "well fish that may carry too many",
        Facts(high=0.6, high_now=0.55, saves=1.0, fish=2500.0),
        "watch",
    ),
    (
        "newcomers after a whole course, clean once",
        Facts(eradicate=True, course_given=True, course_over=True, checked=True, seen_lately=False, clean_looks=1),
        "watch",
    ),
    (
        "the same, clean twice",
        Facts(
            present=0.1,
            eradicate=True,
            course_given=True,
            course_over=True,
            checked=True,
            seen_lately=False,
            clean_looks=2,
        ),
        "discharge",
    ),
    (
        "two slides after a course of three",
        Facts(high=0.15, met_untreated=True, course_given=True, course_over=True, check_begun=True, seen_lately=False),
        "look_first",
    ),
    ("water of 5 °C, fish well", Facts(high=0.9, high_now=0.9, saves=0.0, cold=True), "watch"),
    ("water of 5 °C, fish die of flukes", replace(HEAVY, cold=True), "dose"),
    (
        "water of 3 °C, fish die, hardly any of flukes",
        Facts(trouble=True, high=0.7, high_now=0.8, cold=True),
        "look_first",
    ),
    (
        "flukes double while fish die",
        Facts(trouble=True, persist=True, rising=True, high=0.33, high_now=0.2),
        "dose",
    ),
    ("flukes stay few while fish die", Facts(trouble=True, persist=True, high=0.33, high_now=0.2), "look_first"),
    ("flukes for the first time, of a kind that is notifiable", replace(HEAVY, identify_first=True), "look_first"),
    (
        "as many flukes after the course on ill fish, and another agent that does not keep them few for long",
        replace(HEAVY, agent_changed=True, dosed_before=True, fell_short=True, helps=False, saves=0.0, met_by_plan=0.1),
        "dose",
    ),
    ("ice-cold water", Facts(high=0.9, saves=0.0, too_cold=True), "watch"),
    ("a dose that would not help", Facts(high=0.9, saves=0.0, helps=False), "watch"),
    ("nothing at hand helps while fish die", replace(HEAVY, helps=False, saves=0.0), "look_first"),
    (
        "ill fish, many flukes now, and no course that keeps them few",
        replace(HEAVY, helps=False, saves=0.0, met_by_plan=0.05),
        "dose",
    ),
    (
        "well fish, many flukes, and no course that keeps them few",
        Facts(high=0.9, saves=0.0, helps=False, met_by_plan=0.05),
        "watch",
    ),
    (
        "as many flukes after the course, and no more of it helps",
        Facts(high=0.9, high_now=0.9, saves=0.0, helps=False, course_given=True, course_over=True, fell_short=True),
        "look_first",
    ),
    (
        "between the doses of a course, few flukes left",
        Facts(high=0.4, high_now=0.1, saves=0.0, course_given=True),
        "dose",
    ),
    (
        "one dose that worked, its eggs still to hatch",
        Facts(high=0.1, met_untreated=True, course_given=True, least_given=False),
        "dose",
    ),
    (
        "a whole course given, few left that may increase",
        Facts(high=0.7, high_now=0.1, saves=0.0, course_given=True, course_over=True),
        "watch",
    ),
    (
        "as many flukes after a whole course, and another agent serves",
        replace(HEAVY, agent_changed=True, dosed_before=True),
        "dose",
    ),
    (
        "another disease that kills, and few flukes beside it",
        replace(HEAVY, high=0.72, high_now=0.6, saves=0.0, other_first=True),
        "look_first",
    ),
    ("another disease that kills, and many flukes beside it", replace(HEAVY, high_now=0.9, other_first=True), "dose"),
    ("food fish soon to be harvested", replace(HEAVY, saves=0.0, harvest_too_early=True), "watch"),
    (
        "food fish that flukes would kill before the harvest",
        replace(HEAVY, harvest_too_early=True, saves_by_harvest=2.0),
        "dose",
    ),
    ("food fish whose harvest is lost already", replace(HEAVY, harvest_too_early=True, harvest_lost=True), "dose"),
    (
        "newcomers clean once, weeks after a whole course",
        Facts(eradicate=True, course_over=True, checked=True, seen_lately=False, clean_looks=1, high=0.5),
        "watch",
    ),
    (
        "some flukes on a dead fish alone",
        replace(HEAVY, high=0.7, high_now=0.6, saves=0.0, sick_only=True),
        "look_first",
    ),
    ("masses on the dead alone", replace(HEAVY, high=0.9, high_now=0.85, saves=0.0, sick_only=True), "dose"),
    ("twice as many as three weeks ago, fish well", Facts(high=0.7, high_now=0.5, saves=0.0, rising=True), "dose"),
    (
        "another disease that kills most, and its own treatment",
        replace(HEAVY, high=0.9, high_now=0.9, saves=0.0, mostly_else=True, other_first=True),
        "look_first",
    ),
    (
        "another disease that kills most, and a bath that treats both",
        replace(HEAVY, high=0.3, high_now=0.1, saves=0.0, mostly_else=True, meets_other=True),
        "dose",
    ),
    ("ice-cold water, fish die of something", replace(HEAVY, saves=0.0, too_cold=True), "look_first"),
    ("no fish alive", replace(HEAVY, fish_alive=False), "watch"),
    (
        "newcomers after a whole course, clean twice, but flukes may well be left",
        Facts(present=0.4, eradicate=True, course_over=True, checked=True, seen_lately=False, clean_looks=2),
        "watch",
    ),
    (
        "the same, clean three times",
        Facts(present=0.4, eradicate=True, course_over=True, checked=True, seen_lately=False, clean_looks=3),
        "discharge",
    ),
    (
        "in the middle of a course, fish well, nearly even",
        Facts(high=0.46, saves=0.0, course_given=True, looked_over=True),
        "dose",
    ),
    (
        "two doses of three given, looked at after the last hatch, nearly even",
        Facts(high=0.41, saves=0.0, course_given=True, checked=True, looked_over=True),
        "dose",
    ),
    (
        "the same, but probably few",
        Facts(high=0.25, saves=0.0, course_given=True, checked=True, looked_over=True),
        "watch",
    ),
    (
        "in the middle of a course that the case plans on with, fish well",
        Facts(high=0.25, saves=0.0, course_given=True, looked_over=True, planned=True),
        "dose",
    ),
    (
        "one dose that worked, and fish well and looked at a week and more after it",
        Facts(high=0.13, met_untreated=True, course_given=True, least_given=False, looked_over=True),
        "watch",
    ),
    (
        "the same, and hardly one pond more has too many",
        Facts(high=0.22, saves=0.0, course_given=True, least_given=False, looked_over=True),
        "watch",
    ),
    (
        "the same, but looked at before flukes of the last eggs would show",
        Facts(high=0.22, saves=0.0, course_given=True, least_given=False, looked_over=True, sure=False),
        "dose",
    ),
    (
        "the same, clean",
        replace(CLEAN, ever_seen=True, course_given=True, least_given=False, checked=True, sure=False, high=0.1),
        "dose",
    ),
    (
        "the same, but fish still die",
        Facts(high=0.22, saves=0.0, course_given=True, least_given=False, looked_over=True, trouble=True),
        "dose",
    ),
    (
        "flukes on two looks weeks apart, fish well, as likely as not too many today",
        Facts(high=0.7, high_now=0.6, saves=0.0, seen_before=True, persist=True),
        "dose",
    ),
    (
        "live-bearers left after a course, few today and many within days",
        Facts(high=0.85, high_now=0.45, saves=0.0, quick=True, dosed_before=True, course_given=True, course_over=True),
        "dose",
    ),
    (
        "few live-bearers on well fish, seen for the first time",
        Facts(high=0.85, high_now=0.45, saves=0.0, quick=True),
        "watch",
    ),
    (
        "another cause kills far more, on the first visit, and the flukes are many",
        replace(HEAVY, high=0.9, high_now=0.9, saves=0.0, mostly_else=True, others_far_more=True),
        "look_first",
    ),
    (
        "the same once it was looked for",
        replace(HEAVY, high=0.9, high_now=0.9, saves=0.0, mostly_else=True, others_far_more=True, seen_before=True),
        "dose",
    ),
    (
        "fish in trouble, every fluke counted, an even chance of too many: more fish would settle nothing",
        replace(HEAVY, high=0.47, saves=0.0, looks_settle=False),
        "dose",
    ),
    (
        "the same, but probably few",
        replace(HEAVY, high=0.3, saves=0.0, looks_settle=False),
        "look_first",
    ),
]


@pytest.mark.parametrize(("facts", "action"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_action(facts, action):
    found, reasons = choose(facts)
    assert found == action
    assert reasons


FLAGS = [f.name for f in fields(Facts) if isinstance(getattr(Facts(), f.name), bool)]


@given(
    flags=st.fixed_dictionaries({name: st.booleans() for name in FLAGS}),
    numbers=st.fixed_dictionaries({"present": st.floats(0, 1), "high": st.floats(0, 1), "saves": st.floats(0, 50)}),
)
def test_whatever_the_facts_there_is_one_action_and_no_unsafe_one(flags, numbers):
    facts = Facts(**flags, **numbers)
    action, reasons = choose(facts)
    assert action in ACTIONS
    assert reasons
    if action == "dose":
        assert facts.plan
        assert facts.ever_seen
        assert facts.looked
        second = facts.course_given and not facts.least_given  # what hatches after the first dose is still to be met
        met = facts.met_untreated and not second
        against = (facts.stopped, facts.virus, facts.wrong_water, facts.measure_first, met)
        assert not any(against)


@given(high=st.floats(0, 1), saves=st.floats(0, 20))
def test_more_flukes_never_turn_a_dose_into_none(high, saves):
    light, heavy = (choose(replace(HEAVY, high=h, saves=saves))[0] for h in (high, max(high, 0.95)))
    assert light != "dose" or heavy == "dose"

"""What a page says is the decision: headline, day-book, owner's page, calendar and tables say one and the same."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from types import SimpleNamespace

import icalendar
import numpy as np
import pytest
from report_cases import blind, koi, koi_as, koi_files

from burden.case import Case, Findings
from burden.decision import Assessment
from burden.decision.records import OtherTreatment, Reason
from burden.report.files.calendar import calendar_bytes
from burden.report.files.treatments import treatments_of
from burden.report.page.answer import answer_lines
from burden.report.page.cautions import cautions_of
from burden.report.page.outlook import compared_rows, watch_for, what_if_rows
from burden.report.page.owner import owner_page
from burden.report.page.record import record_of
from burden.report.text.day_book import days_of, folded
from burden.report.text.decision import headline
from burden.report.text.plan import dose_text
from burden.report.write import report_files
from burden.treatment.gates import Gate
from burden.treatment.water_remedies import Remedy
from burden.utils.dates import say_date

pytestmark = pytest.mark.usefixtures("each_case_once")


def owner_of(found: Assessment) -> str:
    return " ".join(text for _, texts in owner_page(found) for text in texts)


def events_of(found: Assessment):
    from icalendar import Calendar

    return list(Calendar.from_ical(calendar_bytes(found)).walk("VEVENT"))


@cache
def foul() -> Assessment:
    """The koi pond with too little oxygen and too much ammonia."""
    case = koi().case
    water = replace(case.water, oxygen_mg_l=3.0, ph=8.6, total_ammonia_n_mg_l=1.5)
    return koi_as(replace(case, water=water))


@cache
def formalin() -> Assessment:
    """The koi pond where formalin alone is at hand, in well-aerated water, and the fish have more than flukes."""
    case = replace(koi().case, findings=Findings(other=("ciliates", "leeches")))
    limits = replace(case.limits, agents=("formalin",), max_formalin_mg_l_total=None)
    return koi_as(replace(case, limits=limits, water=replace(case.water, oxygen_mg_l=9.0, aeration=True)))


CASES = {"dosed": koi, "blind": blind, "foul": foul, "formalin": formalin}


@pytest.mark.parametrize("made", CASES.values(), ids=CASES)
def test_every_surface_has_the_doses_of_the_decision_and_no_other(made):
    """Dates, amounts, agents and counts: day-book, calendar, owner's page, record, table, forecast."""
    found = made()
    plan = found.decision.plan
    dates = [dose.date for dose in plan]
    assert [day.date for day in days_of(found) if day.kind == "dose"] == dates
    assert [e.decoded("dtstart") for e in events_of(found) if e["categories"].to_ical() == b"dose"] == dates
    for dose in plan:
        number = "one dose" if dose.of == 1 else f"dose {dose.number} of {dose.of}"
        (day,) = [d for d in days_of(found) if d.kind == "dose" and d.date == dose.date]
        assert day.headline == f"{number}: {dose_text(dose)}"
        assert f"{say_date(dose.date, found.decision.visit_date.year)}: {number}, {dose_text(dose)}" in owner_of(found)
    assert len(record_of(found)["rows"]) == len(plan)
    assert (found.decision.action == "dose") == bool(plan)
    for forecast in found.forecasts:
        told = [] if forecast.recommended is None else [d.date for d in forecast.recommended.doses]
        assert told == [dose.date for dose in found.decision.doses]


@pytest.mark.parametrize("made", CASES.values(), ids=CASES)
def test_the_first_line_is_the_action_everywhere(made):
    found = made()
    assert answer_lines(found)[0] == headline(found.decision)
    assert found.decision.brief().splitlines()[0] == headline(found.decision)
    assert found.decision.text().splitlines()[0] == headline(found.decision)


@pytest.mark.parametrize("made", CASES.values(), ids=CASES)
def test_the_next_look_is_on_one_date(made):
    found = made()
    look = found.decision.look
    later = [day.date for day in days_of(found) if day.kind == "sample"]
    assert later == ([] if look is None or look.date == found.decision.visit_date else [look.date])


def test_water_comes_before_any_dose():
    assert foul().decision.action == "water_first"
    assert foul().decision.plan == ()
    assert foul().decision.after_water
    assert headline(foul().decision).startswith("No dose today: raise the oxygen and bring the ammonia down first")
    first = days_of(foul())[0]
    assert first.kind == "water"
    assert any("Change" in step and "L)" in step for step in first.steps)
    assert not any(day.kind == "dose" for day in days_of(foul()))
    assert "un-ionised ammonia" in owner_of(foul()).lower()


def test_every_change_of_water_has_its_day_in_the_day_book_and_the_calendar():
    """One a day, the first today: that one stands with what today asks for; before the dose on a day of one."""
    (remedy,) = [gate.remedy for gate in foul().decision.gates if gate.remedy is not None and gate.remedy.times]
    visit = foul().decision.visit_date
    changed = [day.date for day in days_of(foul()) if day.headline.startswith("change")]
    assert changed == [visit + timedelta(days=after) for after in range(1, remedy.times)]
    assert len(changed) >= 1
    gate = Gate("ammonia_high", "care", 0.03, 0.02, "mg/L", remedy=Remedy(30.0, 5400.0, 3))
    dosed = replace(koi(), decision=replace(koi().decision, gates=(gate,)))
    said = [(day.date, day.headline.split(" with clean")[0]) for day in days_of(dosed) if day.kind == "water"]
    assert said == [  # dose 1 is on 11 May
        (visit, "change 30 % of the water (5 400 L),"),
        (visit + timedelta(days=1), "before the dose, change 30 % of the water (5 400 L) again,"),
        (visit + timedelta(days=2), "change 30 % of the water (5 400 L) again,"),
    ]
    assert sum("change 30 %" in str(event["summary"]) for event in events_of(dosed)) == 3
    assert not any("from today" in step for day in days_of(dosed) for step in day.steps)


def test_nobody_is_dosed_who_was_not_looked_at():
    assert blind().decision.action == "look_first"
    assert "No fish was looked at" in owner_of(blind())
    assert not any("dose" in said.lower() for said in dict(owner_page(blind()))["Ring us at once when"])


def test_eight_days_of_care_after_formalin():
    """Ammonia and nitrite for eight days, as nitrifiers had not recovered by then (Fredricks et al. 2018)."""
    start = formalin().decision.plan[0].date
    days = [e.decoded("dtstart") for e in events_of(formalin()) if "ammonia" in str(e["summary"])]
    assert days[:8] == [start + timedelta(days=d) for d in range(1, 9)]
    first = next(day for day in folded(days_of(formalin())) if day.kind == "dose")
    assert any("measure ammonia and nitrite daily" in said for said in first.look_for)


def test_who_gives_formalin_is_told_how_to_protect_themselves():
    """uflformalin: gloves, eye protection, open air or strong ventilation."""
    said = " ".join(dict(owner_page(formalin()))["How to protect yourself and the fish"]).lower()
    for word in ("gloves", "eye", "air"):
        assert word in said


def test_owner_of_food_fish_is_told_that_nobody_eats_them():
    eaten = replace(koi(), case=replace(koi().case, fish=(replace(koi().case.fish[0], food_fish=True),)))
    assert ["Nobody may eat these fish" in owner_of(found) for found in (eaten, koi())] == [True, False]


def test_a_date_of_another_year_stands_with_its_year():
    """A look eleven months on must not read as one before the visit."""
    look = replace(koi().decision.look, date=date(2027, 2, 4))
    far = replace(koi(), decision=replace(koi().decision, look=look))
    assert days_of(far)[-1].label == "Thu 4 Feb 2027"
    assert "Thu 4 Feb 2027" in owner_of(far)


def test_a_dose_that_fell_short_is_on_the_first_screen():
    chances = {"worked": 0.0, "fell_short": 0.8, "new_settlers": 0.0, "cannot_tell": 0.2}
    short = SimpleNamespace(
        verdict="fell_short", dose_date=date(2026, 5, 1), verdict_probability=chances, by_record=None
    )
    assert "fell short" in " ".join(answer_lines(replace(koi(), responses=(short,))))
    assert "fell short" not in " ".join(answer_lines(koi()))


def test_deaths_that_cannot_be_told_apart_are_not_offered_as_a_reason():
    """Records that cannot say must not read as "treated 3, untreated 3: do not treat"."""
    (e,) = koi().estimates
    assert not e.deaths_explained.told
    assert "cannot be told" in " ".join(dict(owner_page(koi()))["What to expect"])


def test_compared_schedules_stand_on_the_same_draws_and_the_recommended_once():
    rows = compared_rows(koi())
    assert [row["what"].split(",")[0] for row in rows[:2]] == ["No dose", "Recommended"]
    assert sum(row["what"].startswith("Recommended") for row in rows) == 1
    assert any(row["what"].startswith(("Customary", "One dose more")) for row in rows)


def test_what_ifs_go_the_way_they_must():
    """Weaker doses never meet the aim more often; as planned is the schedule itself; warm water shortens the gap."""
    by_code = {w.code: w for w in koi().what_ifs}
    found = koi().decision.recommendation
    assert by_code["as_planned"].chance == pytest.approx(found.recommended.chance(found.aim))
    assert by_code["weaker"].chance <= by_code["as_planned"].chance + 0.02
    gaps = [by_code[code].safe_gap_days for code in ("colder", "as_planned", "warmer")]
    assert gaps == sorted(gaps, reverse=True)
    assert what_if_rows(blind()) == []


def test_more_flukes_in_the_end_than_untreated_is_said():
    forecast = koi().forecasts[0]
    assert "more flukes than untreated" not in " ".join(watch_for(koi(), forecast))
    more = replace(forecast.untreated.abundance_end, high=2 * forecast.recommended.abundance_end.high)
    worse = replace(forecast.untreated, abundance_end=more)
    turned = replace(forecast, untreated=forecast.recommended, recommended=worse)
    assert "more flukes than untreated" in " ".join(watch_for(koi(), turned))
    # the median fewer, the upper end more: said as what a course that fails leads to
    wide = replace(forecast.recommended.abundance_end, high=2 * forecast.untreated.abundance_end.high)
    spread = replace(forecast, recommended=replace(forecast.recommended, abundance_end=wide))
    assert "Where the course fails" in " ".join(watch_for(koi(), spread))


def test_the_day_book_table_reads_back():
    rows = list(csv.DictReader(io.StringIO(koi_files()["tables/day_book.csv"].decode("utf-8-sig"))))
    doses = [row for row in rows if row["kind"] == "dose"]
    assert {row["date"] for row in doses} == {dose.date.isoformat() for dose in koi().decision.plan}


def test_calendar_events_are_whole_days_with_a_reminder_the_day_before():
    """By the icalendar library (RFC 5545)."""
    events = events_of(koi())
    assert [e.decoded("dtstart") for e in events] == [day.date for day in days_of(koi())]
    for event in events:
        start = event.decoded("dtstart")
        assert event["dtstart"].params["VALUE"] == "DATE"
        assert event.decoded("dtend") - start == timedelta(days=1)
        (alarm,) = event.walk("VALARM")
        midnight = np.datetime64(start, "m")
        reminded = midnight + np.timedelta64(int(alarm.decoded("trigger").total_seconds() // 60), "m")
        assert reminded.astype("datetime64[D]") == midnight.astype("datetime64[D]") - 1
    assert len({str(e["uid"]) for e in events}) == len(events)


def test_another_disease_is_named_with_what_meets_it():
    """formalin.toml: it works on ciliates; leeches need a treatment of their own."""
    found = formalin()
    said = {other.finding: other.agent for other in found.decision.others}
    assert set(said) == {"ciliates", "leeches"}
    assert "Leeches: these need a treatment of their own" in " ".join(answer_lines(found))
    assert "Leeches" in owner_of(found)


@cache
def spotted() -> Assessment:
    """The koi pond with white spot, which comes first; formalin, at hand, works on it by dates of its own."""
    case = replace(koi().case, findings=Findings(other=("white_spot",)))
    limits = replace(case.limits, agents=("formalin", "praziquantel"), max_formalin_mg_l_total=None)
    found = koi_as(replace(case, limits=limits, water=replace(case.water, oxygen_mg_l=9.0, aeration=True)))
    (other,) = found.decision.others
    assert other.bath is not None
    return found


def test_what_the_headline_orders_first_has_a_date_and_its_cautions():
    """A bath of formalin against white spot stood on no list, and without a caution on the page that printed it."""
    found = spotted()
    waits = replace(found, decision=replace(found.decision, action="look_first", plan=()), doses=())
    visit = found.decision.visit_date
    tried, bath = [day for day in days_of(waits) if day.kind == "other"]
    assert (tried.date, bath.date) == (visit, visit + timedelta(days=1))
    assert "with formalin in a tub" in tried.steps[0]
    assert any("gloves" in step for step in bath.steps)
    assert "formalin" in bath.headline
    assert "mL" in bath.headline
    assert any(e["categories"].to_ical() == b"other" and e.decoded("dtstart") == visit for e in events_of(waits))
    (said,) = [
        " ".join(texts) for heading, texts in cautions_of(waits) if heading == "Formalin, against the white spot"
    ]
    assert "oxygen" in said
    assert "gloves" in said
    assert "permanganate" in said
    assert "Dose one or a few fish first" in " ".join(text for _, texts in cautions_of(waits) for text in texts)


def test_a_bath_against_another_disease_is_on_no_day_of_a_dose():
    found = spotted()
    dosed = {dose.date for dose in found.decision.plan}
    assert dosed.isdisjoint(day.date for day in days_of(found) if "one bath" in day.headline)
    first = replace(found, decision=replace(found.decision, action="water_first", plan=()), doses=())
    assert not [day for day in days_of(first) if day.kind == "other"]


@pytest.mark.parametrize("made", [*CASES.values(), spotted], ids=[*CASES, "spotted"])
def test_an_owner_meets_no_amount_without_a_date(made):
    """The owner of a pond with white spot was told 275 mL of formalin, beside no date and no caution."""
    found = made()
    waits = replace(found, decision=replace(found.decision, action="look_first", plan=()), doses=())
    for one in (found, waits):
        told = [text for heading, texts in owner_page(one) if heading != "What to do when" for text in texts]
        assert not [text for text in told if re.search(r"\d (mL|kg|g)\b(?! of oxygen)", text)]
    assert "gloves" in owner_of(waits) or made is not spotted


def test_what_may_not_be_given_heads_the_cautions():
    headings = [heading for heading, _ in cautions_of(formalin())]
    assert headings.index("Water and fish") < headings.index("Always")


def test_a_case_made_in_python_acts_on_no_page_or_calendar():
    found = koi()
    acting = replace(found, case=replace(found.case, title="Koi\x1b[2J\u202e pond\x00\nSUMMARY:x"))
    calendar = calendar_bytes(acting)
    page = report_files(acting)["report.html"].decode("utf-8")
    for text in (page, calendar.decode("utf-8")):
        assert not any(act in text for act in ("\x1b", "\u202e", "\x00"))
    assert all("\n" not in str(event["summary"]) for event in icalendar.Calendar.from_ical(calendar).walk("VEVENT"))


def eaten_case(case: Case) -> Case:
    return replace(case, fish=tuple(replace(group, food_fish=True) for group in case.fish))


def notified() -> Assessment:
    """The koi pond with flukes that may have to be reported, and fish nearby that may carry them."""
    numbers = koi().decision.reasons[0].numbers
    reasons = (*koi().decision.reasons, *(Reason(code, numbers) for code in ("treat_neighbours", "notifiable")))
    return replace(koi(), decision=replace(koi().decision, reasons=reasons))


def test_the_authority_stands_before_every_dose_that_may_have_to_wait_for_it():
    """Calendar, day-book and table of treatments had the dates of flukes of salmon alone: "Tomorrow: dose 1"."""
    found = notified()
    assert "tell the authority first" in found.decision.brief().splitlines()[0]
    assert "once the authority has been told" in found.decision.brief()
    doses = [day for day in days_of(found) if day.kind in ("trial", "dose")]
    assert len(doses) > len(found.decision.plan) - 1
    assert all(day.headline.startswith("once the authority has been told") for day in doses)
    assert all("tell the authority first" in day.steps[0] for day in doses)
    alarms = [str(a["description"]) for e in events_of(found) if "dose" in str(e["summary"]) for a in e.walk("VALARM")]
    assert alarms
    assert all("authority" in said for said in alarms)
    planned = [row for row in treatments_of(found) if row["state"] == "planned"]
    assert {row["only_once"] for row in planned} == {"authority_told"}
    assert "authority" not in " ".join(day.headline for day in days_of(koi()))
    assert not any(row.get("only_once") for row in treatments_of(koi()))


def test_the_authority_decides_about_fish_nearby():
    found = notified()
    for said in (found.decision.text(), owner_of(found), " ".join(answer_lines(found))):
        assert "within the same days" not in said
        assert "the authority decides" in said


@pytest.mark.parametrize("action", ["dose", "watch", "look_first", "water_first", "discharge"])
def test_fish_that_lack_blood_are_spared_whatever_is_done(action):
    """A haematocrit of 20 % stood in the case of amberjack and in no line of its answer."""
    lack = Gate("anaemia", "agent", 16.0, unit="%")
    plan = koi().decision.plan if action == "dose" else ()
    eaten = {**koi().decision.on_record, "food": 1}
    decision = replace(koi().decision, action=action, plan=plan, gates=(lack,), on_record=eaten)
    found = replace(koi(), decision=decision, case=eaten_case(koi().case))
    book = " ".join(step for day in days_of(found) for step in day.steps)
    for said in (decision.brief(), decision.text(), " ".join(answer_lines(found)), book):
        assert said.count("do not crowd, net or grade them") == 1
        assert ("beyond what a bath takes" in said) == (action == "dose")
        assert "earlier harvest" in said
        assert ("For any bath" in said) == (action == "dose")
    assert "The fish lack blood" in owner_of(found)
    assert "harvested sooner" in owner_of(found)
    assert "lack blood" not in owner_of(koi())
    virus = (OtherTreatment("virus_suspected", True, None),)  # then no fish leaves
    shut = replace(found, decision=replace(decision, others=virus))
    assert "harvest" not in owner_of(shut)
    assert "earlier harvest" not in shut.decision.text()

"""The report: what stands where, what is escaped, what spreadsheets and calendars make of it, where it is written."""

from __future__ import annotations

import csv
import io
import os
import re
from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from report_cases import DRAWS, KOI, TITLE, blind, blind_case, blind_files, koi, koi_files, page_of

from burden.case import Preparation
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import Reason
from burden.evidence import agent_names, load_agent, load_parasite
from burden.evidence.references import reference_keys
from burden.inference.kill_record import KillRecord, Trial
from burden.inference.pond_history import History
from burden.model.temperature import Temperature
from burden.report.figures.concentration import course_in_water
from burden.report.figures.forecast import draw_forecast
from burden.report.figures.inline import figures_of
from burden.report.figures.interval import draw_interval_chart, interval_curves, write_interval_chart
from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE
from burden.report.files import folder as report_folder
from burden.report.files.calendar import calendar_bytes, joined_calendar
from burden.report.files.folder import MARKER, write_folder
from burden.report.files.tables import csv_bytes, safe_cell, tables_of
from burden.report.files.treatments import treatments_of
from burden.report.page.answer import answer_lines
from burden.report.page.cautions import cautions_of
from burden.report.page.index import cleanest_first, in_order, render_ponds, water_of
from burden.report.page.outlook import courses_of
from burden.report.page.owner import _untagged, owner_page
from burden.report.page.record import record_of
from burden.report.page.unknowns import unknowns_of
from burden.report.pond_row import POND_COLUMNS, POND_DATES, POND_NUMBERS, pond_row
from burden.report.reference.agent_sheet import agent_list, agent_sheet
from burden.report.text.day_book import days_of
from burden.report.text.deaths import deaths_text
from burden.report.text.decision import headline, notes_lines, withheld_text
from burden.report.text.forecast import by_killer_lines
from burden.report.text.gates import gates_text, lamp_text
from burden.report.text.handling import trial_fish, trial_steps
from burden.report.text.next_look import outcome_lines
from burden.report.text.plan import aim_text, as_recommended
from burden.report.text.pond_history import kill_lines
from burden.report.text.reasons import reason_text
from burden.report.tidy import COLUMNS, _cell, _frame, parquet_bytes, tidy_rows
from burden.report.write import write_reports
from burden.schedule.by_killer import IfThisKills
from burden.schedule.eligibility import notes_on
from burden.treatment.dose import dose as dose_of_agent
from burden.treatment.gates import Gate
from burden.treatment.safety_note import SafetyNote
from burden.treatment.water_remedies import Remedy
from burden.treatment.withdrawal import Withdrawal
from burden.utils.dates import day_in_words, say_date
from burden.utils.errors import InputError
from burden.utils.formatting import counted, mass
from burden.utils.results import CredibleInterval
from burden.utils.wording import text_of

pytestmark = pytest.mark.usefixtures("each_case_once")


class Reader(HTMLParser):
    """Tags with their attributes, and the words between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(koi_files())


# --- what stands where ------------------------------------------------------------------------------------------------


def answer_of(page: str) -> list[str]:
    """Paragraphs of the first section, as read."""
    section = re.search(r'<section class="answer".*?</section>', page, re.S)[0]
    return [Reader(p).text.strip() for p in re.findall(r"<p.*?</p>", section, re.S)]


def test_order_of_the_sections(page):
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads[0].startswith("What was seen")
    order = ["What they will do", "Day-book", "Why this interval", "Schedules compared", "Cautions", "For the owner"]
    places = [next(i for i, head in enumerate(heads) if head.startswith(name)) for name in order]
    assert places == sorted(places)
    assert heads[-2:] == ["Treatment record", "Appendix"]


@pytest.mark.parametrize("files", [koi_files, blind_files], ids=["dosed", "withheld"])
def test_no_report_without_its_cautions(files):
    text = Reader(page_of(files())).text.lower()
    for said in (
        "poisonous to people",
        "takes the oxygen",
        "local rules and the licensed veterinarian decide",
        "withdrawal",
    ):
        assert said in text


def planned_as(**changes):
    """The koi, their doses otherwise."""
    plan = tuple(replace(dose, **changes) for dose in koi().decision.plan)
    return replace(koi(), decision=replace(koi().decision, plan=plan))


def test_fresh_water_is_no_drug_in_record_and_words():
    """Nobody weighs it, it has no strength and no label; a minute is a minute."""
    doses = tuple(replace(d, agent="fresh_water", hours=0.08, product_g=None, product_ml=1e6) for d in koi().doses)
    bathed = planned_as(agent="fresh_water", hours=0.08, mg_l=1e6, product_g=None, product_ml=1e6, apart=True)
    bathed = replace(bathed, doses=doses)
    (row, *_) = record_of(bathed)["rows"]
    assert (row["strength"], row["mg_l"], row["amount"], row["hours"]) == ("–", "–", "water alone", "5 min")
    planned = [row for row in treatments_of(bathed) if row["state"] == "planned"]
    of_a_product = ("strength_percent", "dose_mg_l", "product_g", "product_ml")
    assert {row[name] for row in planned for name in of_a_product} == {None}
    sheet = agent_sheet(load_agent("fresh_water"), 50).text()
    answer = str(dose_of_agent("fresh_water", 1000.0, species="greater amberjack"))
    assert "Fill the bath with 1 000 L of fresh water alone." in answer
    listed = agent_list().text()
    mine = listed[listed.index("fresh_water:") :].split("\nh")[0]
    slips = ("000 mg/L", "000 g/L", "label of the product", "0.08 h", "% assumed", "Density", "ounted as mg of fresh")
    assert [slip for slip in slips if slip in sheet.split("Values")[0] + answer + mine] == []


def test_a_note_of_one_agent_among_several_names_it():
    bio = SafetyNote("caution", "Isolate the biofilter", "it suffers", "another tank", "assumption")
    virus = SafetyNote("caution", "Have the virus tested", "it is suspected", "a result", "assumption")
    notes = {"formalin": (bio, virus), "praziquantel": (virus,)}
    assert [note.text for note in notes_on(notes, ())] == ["Formalin: isolate the biofilter", "Have the virus tested"]
    assert [note.text for note in notes_on(notes, ("formalin",))] == ["Isolate the biofilter", "Have the virus tested"]


def test_digits_of_deaths_are_grouped():
    """As everywhere else; a reader met "1308 to 1642 of the 9 170"."""
    found = blind().estimates[0].deaths_explained or koi().estimates[0].deaths_explained
    many = replace(found, deaths=9170, told=True, looked=True, by_flukes=CredibleInterval(1500.0, 1308.0, 1642.0))
    assert "Flukes caused 1 308 to 1 642 of the 9 170 recorded deaths (median 1 500)." in text_of(many)


def test_what_an_earlier_dose_has_tried_is_not_asked_again():
    """The koi have had praziquantel before; a pond that has had none is told to try it on a few fish first."""
    trial, volume = "Dose one or a few fish first", "measure the water before the first dose"

    def always(visit):
        return " ".join(text for head, texts in cautions_of(visit) if head == "Always" for text in texts)

    assert koi().decision.plan[0].trial_date is None
    assert trial not in always(koi())
    untried = planned_as(number=1, trial_date=koi().case.visit_date)
    assert trial in always(untried)
    assert volume in always(untried)
    assert not blind().decision.doses
    assert trial not in always(blind())  # where no dose is given, nothing is said of giving it
    assert volume not in always(blind())
    begun = planned_as(number=2)
    assert volume not in always(begun)
    unmeasured = replace(begun.decision, gates=(*begun.decision.gates, Gate("nitrite_unmeasured", "measure")))
    assert "Measure it before the next dose" in " ".join(gates_text(unmeasured, "measure"))


def test_every_caution_of_every_dose_is_on_the_page(page):
    text = Reader(page).text
    handled = {step for d in koi().doses for step in load_agent(d.agent).handling}
    for d in koi().doses:
        for caution in set(d.cautions) - handled:
            if not caution.startswith(("Food fish", "Test a few fish first")):
                assert re.sub(r"\s+", " ", caution) in text
    for note in koi().notes:
        assert note.text in text


def test_food_fish_get_their_withdrawal():
    eaten = replace(koi(), case=replace(koi().case, fish=(replace(koi().case.fish[0], food_fish=True),)))
    said = " ".join(text for _, texts in cautions_of(eaten) for text in texts)
    assert "500 degree-days" in said
    assert "500 degree-days" not in " ".join(text for _, texts in cautions_of(koi()) for text in texts)


def test_food_fish_have_the_end_of_the_example_beside_the_plan_and_on_the_owners_page():
    """500 degree-days at 20 °C are 25 d (arithmetic); the day is 40 d after the visit here."""
    held = Withdrawal("praziquantel", 500.0, 25.0, 40.0, "an example")
    eaten = replace(koi().case, fish=(replace(koi().case.fish[0], food_fish=True),))
    found = replace(koi(), case=eaten, decision=replace(koi().decision, withdrawals=(held,)))
    until = koi().decision.visit_date + timedelta(days=40)
    assert f"ends on {say_date(until)}, 25 d after the last dose" in " ".join(answer_lines(found))
    assert f"may not be eaten before {day_in_words(until)}" in " ".join(owner_said(found))
    never = replace(held, days=None, until_day=None)
    endless = replace(found, decision=replace(found.decision, withdrawals=(never,)))
    assert "does not end within 400 d" in " ".join(answer_lines(endless))
    assert "before the licensed veterinarian allows it" in " ".join(owner_said(endless))


def owner_said(found) -> list[str]:
    return [text for _, texts in owner_page(found) for text in texts]


def test_an_owner_meets_no_reference_key():
    """One key has a year in it, another none: both are left out."""
    cautions = [text for name in agent_names() for text in load_agent(name).cautions]
    assert any("(uflformalin)" in text for text in cautions)
    said = " ".join(map(_untagged, cautions))
    assert not re.findall(rf"\((?:{'|'.join(reference_keys())})\b", said)


def test_flukes_of_other_fish_are_asked_about_beside_the_burden():
    group = koi().case.fish[0]
    discus = replace(koi().case, fish=(replace(group, species="discus"),))
    assert "is the set right?" in " ".join(answer_lines(replace(koi(), case=discus)))
    both = replace(koi().case, fish=(group, replace(group, species="discus")))
    assert "is the set right?" not in " ".join(answer_lines(replace(koi(), case=both)))


def test_one_reason_against_several_fish_is_said_once():
    kept = [SafetyNote("withhold", f"Do not give {kind} this", "too strong", "less", "assumption") for kind in "ab"]
    (line,) = notes_lines(kept)
    assert line == "Do not give a this and do not give b this: too strong. What would lift it: less."


def test_ulcers_are_named_beside_the_plan():
    decision = koi().decision
    sore = replace(decision, on_record={**decision.on_record, "ulcers": 1})
    for said in (" ".join(answer_lines(replace(koi(), decision=sore))), sore.text(), sore.brief()):
        assert "Fish have ulcers" in said
        assert "bear fasting and a bath" in said
    assert "ulcers" not in " ".join([*answer_lines(koi()), decision.text()])


def test_a_trial_is_on_the_fish_that_may_not_bear_the_agent():
    """Loaches get less formalin (common practice, no source); of few fish one alone is treated first."""
    dose = replace(koi().decision.plan[0], agent="formalin", mg_l=25.0, hours=24.0)
    group = koi().case.fish[0]
    mixed = replace(koi().case, fish=(group, replace(group, species="weather loach", count=5)))
    assert trial_fish(mixed, dose) == "one weather loach"
    assert trial_fish(koi().case, dose) == "two or three fish"
    (tub, *_) = trial_steps(koi().case, dose)
    assert all(word in tub for word in ("aerated", "covered", "temperature"))


def test_one_change_of_water_stands_on_a_day():
    """The usual tenth to a quarter beside a trial, unless a gate asks for a change of its own."""
    case, dose = koi().case, koi().decision.plan[0]
    nitrite = Gate("nitrite_high", "care", 0.3, 0.1, "mg/L", remedy=Remedy(40.0, 4800.0, 1))
    assert any("change a tenth" in step for step in trial_steps(case, dose))
    assert not any("change a tenth" in step for step in trial_steps(case, dose, (nitrite,)))


def test_the_short_answer_says_to_switch_the_lamp_off():
    decision = koi().decision
    lit = replace(decision, on_record={**decision.on_record, "uv": 1})
    assert "UV lamp off before the first dose, and leave it off until the course" in lamp_text(lit)
    assert "UV lamp off" not in lamp_text(replace(lit, plan=(), after_water=()))
    assert "UV lamp" not in lamp_text(replace(decision, on_record={**decision.on_record, "uv": 0}))


def test_a_clean_look_is_followed_by_the_one_that_means_most():
    clean = Outcome("none", 0, 0.6, 0.05, "discharge"), Outcome("many", None, 0.4, 0.9, "dose")
    look = NextLook(date(2026, 6, 1), 10.0, "check", 5, False, 3, clean, clean_from=date(2026, 6, 12))
    assert "no further dose; look once more about Fri 12 Jun" in outcome_lines(look)[0]
    assert outcome_lines(replace(look, clean_from=None))[0].endswith("no further dose against flukes.")


def test_a_course_that_falls_short_of_the_aim_says_so_and_claims_no_more_than_it_compared():
    found = koi().decision.recommendation
    short = replace(found, aim=replace(found.aim, chance=0.999), why="custom")
    assert "falls short of the aim" in as_recommended(replace(koi().decision, recommendation=short))
    met = replace(short, aim=replace(found.aim, chance=0.01))
    assert "falls short" not in as_recommended(replace(koi().decision, recommendation=met))
    doses = counted(len(koi().decision.doses), "dose")
    best = as_recommended(replace(koi().decision, recommendation=replace(short, why="best")))
    assert f"No course tried of up to {doses} meets the aim" in best


def test_days_of_the_aim_hang_together():
    decision = koi().decision
    start, end = decision.judged
    assert decision.look.date == start
    said = aim_text(decision)
    assert f"By {say_date(start)}, the day of the next look, the eggs laid before the last dose have hatched." in said
    later = replace(decision, look=replace(decision.look, date=date(2026, 12, 24)))
    assert "the day of the next look" not in aim_text(later)
    assert ("Deaths are forecast" in said) == (decision.deaths_until != end)


def test_the_level_names_the_fish_it_is_of():
    """It goes by the gram, so that without the weight 100 flukes at one visit and 200 at the next look like a slip."""
    aim = koi().decision.recommendation.aim
    assert f"flukes on a fish of {mass(aim.weight_g, 2)} (" in aim_text(koi().decision)
    assert aim.as_dict()["level_for_weight_g"] == aim.weight_g
    stated = replace(aim, own_level=True, weight_g=None)
    decision = replace(koi().decision, recommendation=replace(koi().decision.recommendation, aim=stated))
    assert "as the case says" in aim_text(decision)
    assert " of 4" not in aim_text(decision).split("(as the case says)")[0]


def test_other_causes_are_foretold_only_where_fish_died():
    decision = koi().decision
    assert "other causes" in deaths_text(decision)
    assert "other causes" not in deaths_text(replace(decision, on_record={"preparations": 4, "deaths": 0}))
    assert deaths_text(replace(decision, on_record={"preparations": 0, "deaths": 6})) == ""
    assert courses_of(blind().forecasts[0])[0]["by_else"] == "none on record"
    assert courses_of(blind().forecasts[0])[0]["by_flukes"] == "not known"
    assert deaths_text(blind().decision) == ""


def test_a_reading_of_who_kills_names_the_flukes_own_deaths():
    """What is foretold of flukes and of all else add up; a reading in which doses change nothing is left out."""
    some, few, none = (
        CredibleInterval(40.0, 10.0, 90.0),
        CredibleInterval(3.0, 0.0, 9.0),
        CredibleInterval(0.0, 0.0, 0.4),
    )
    all_dead = CredibleInterval(140.0, 50.0, 300.0)
    by_flukes = {"untreated": some, "recommended": few}
    flukes = IfThisKills("flukes", 0.5, 90.0, 60.0, all_dead, {"recommended": all_dead}, by_flukes, all_dead)
    assert str(flukes).endswith(
        "flukes kill 40 (10 to 90) fish in 60 days untreated, 3 (0 to 9) with the recommended doses; other causes kill "
        "140 (50 to 300)."
    )
    harmless = replace(flukes, cause="something_else", by_flukes={"untreated": none, "recommended": none})
    forecast = replace(koi().forecasts[0], by_killer=(flukes, harmless))
    assert str(harmless) not in by_killer_lines(forecast)
    assert str(flukes) in by_killer_lines(forecast)
    assert by_killer_lines(replace(forecast, by_killer=(harmless, harmless))) == []


@pytest.mark.parametrize(
    ("chance", "said"), [(0.49, "about as likely as not"), (0.2, "more likely than not they stay few")]
)
def test_a_coins_toss_is_called_one(chance, said):
    assert said in reason_text(Reason("may_stay_low", {"level": 200.0, "chance_high": chance}))


@pytest.mark.parametrize(
    ("chance", "held_up", "said"),
    [(0.55, 0.0, "as likely as not"), (0.8, 0.0, "(80 %)"), (0.3, 1.0, "as many flukes as before")],
)
def test_the_head_says_how_surely_doses_fell_short(chance, held_up, said):
    numbers = {"chance_fell_short": chance, "counts_held_up": held_up}
    assert said in reason_text(Reason("doses_fell_short", numbers))


def test_a_treatment_judged_elsewhere_has_no_second_verdict():
    """A wide range has its ends alone: a median in it would be read as a verdict."""
    kill, expected = CredibleInterval(0.37, 0.04, 0.83), CredibleInterval(0.97, 0.77, 1.0)
    day = date(2026, 6, 21)
    trial = Trial("praziquantel", day, day, 1, day, date(2026, 7, 3), kill, expected, 0.9)
    kills = (KillRecord("praziquantel", (trial,), None),)
    found = History(koi().case, "dactylogyrus", 1, DRAWS, (), np.zeros(0), np.zeros(0), (), kills)
    (here, _), (elsewhere, _) = kill_lines(found), kill_lines(found, day)
    assert "anything from 4 to 83 %" in here
    assert "37" not in here
    assert "cannot tell how it worked" in here
    assert "cannot tell" not in elsewhere


def test_history_gives_the_last_dose_no_verdict_beside_that_of_response():
    """ "Less than expected" stood in `burden history` where the report said that these samples cannot show it."""
    kill, expected = CredibleInterval(0.45, 0.05, 0.91), CredibleInterval(0.97, 0.7, 1.0)
    given = koi().case.doses_given[-1].date
    trial = Trial("praziquantel", given, given, 1, given, given + timedelta(days=10), kill, expected, 0.95)
    assert trial.verdict == "less"
    kills = (KillRecord("praziquantel", (trial,), None),)
    found = History(koi().case, "dactylogyrus", 1, DRAWS, (), np.zeros(0), np.zeros(0), (), kills)
    for said in (found.text(), found.brief()):
        assert "less than expected" not in said
        assert "says `burden response`" in said
        assert "anything from 5 to 91 %" in said
    assert "says “The last dose”" in kill_lines(found, given, "“The last dose”")[0]
    again = replace(koi().case.doses_given[-1], date=given + timedelta(days=20))
    earlier = replace(found, case=replace(koi().case, given=(*koi().case.given, again)))
    assert "less than expected" in earlier.text()


def test_no_dose_after_a_look_has_the_date_of_the_next():
    """Four weeks where the burden is surely low, else two (common practice, no source)."""
    look = NextLook(date(2026, 6, 1), 10.0, "check", 5, False, 3)
    for chance, day in ((0.05, "Mon 29 Jun"), (0.3, "Mon 15 Jun")):
        results = (Outcome("few", 5, 0.6, chance, "watch"), Outcome("many", None, 0.4, 0.9, "dose"))
        assert outcome_lines(replace(look, outcomes=results))[0].endswith(f"no dose, look again about {day}.")
    dated = replace(look, outcomes=results, again=date(2026, 8, 1))
    assert outcome_lines(dated)[0].endswith("look again about Sat 1 Aug.")


def test_a_look_that_no_foreseen_result_changes_leaves_room_for_a_surprise():
    rows = (Outcome("none", 0, 0.6, 0.1, "watch"), Outcome("few", 9, 0.4, 0.2, "watch"))
    look = NextLook(date(2026, 6, 17), 14.0, "watch", 5, False, 3, rows)
    (line,) = outcome_lines(look)
    assert line.startswith("As expected: no dose, look again about ")
    assert line.endswith("If it shows far more flukes than today, enter the counts and run the report again.")
    other = replace(look, outcomes=tuple(replace(row, action="look_first") for row in rows))
    assert outcome_lines(other)[0].startswith("Whatever it shows: ")


def test_a_clean_look_at_newcomers_says_how_often_flukes_are_left_all_the_same():
    clean, some = Outcome("none", 0, 0.7, 0.3, "watch"), Outcome("many", None, 0.3, 0.9, "dose")
    look = NextLook(date(2026, 7, 8), 14.0, "release", 10, False, 3, (clean, some), methods=("gill_clip",))
    first, second = outcome_lines(look)
    assert "they may move after" in first
    assert first.endswith("Of simulated tanks where none shows, 30 % are not free of flukes.")
    assert second.startswith("Any fluke (30 % likely): a dose is due")
    assert "simulated tanks" not in " ".join(outcome_lines(replace(look, purpose="check")))


def test_every_estimate_stands_with_its_interval(page):
    for name in ("flukes a fish", "on all live fish", "fish that carry any", "aggregation k"):
        value = re.search(rf'<th scope="row">{name}</th><td>(.*?)</td>', page)[1]
        # an interval that lies wholly above 99.5 % is written as that alone (`percent_interval`)
        assert re.fullmatch(r"\S.* \(.+ to .+\)( %)?|over 99 %", value.replace("\u00a0", " "))


def test_no_number_claims_more_than_it_is_worth():
    """Nothing but the appendix, where inputs stand as they were given, carries four decimals or exponents."""
    for files in (koi_files, blind_files):
        words = Reader(re.sub(r"<svg.*?</svg>", "", page_of(files()).split('<section class="sheet appendix">')[0])).text
        assert not re.search(r"\d\.\d*[1-9]\d*e[-+]?\d", words)
        assert not re.search(r"(?<![\d.])[1-9]\d+\.\d{3,}", words)
        assert "nan" not in words.lower().split()
        assert "None" not in words


def test_assumptions_and_sources_in_full(page):
    text = Reader(page).text
    for said in (*koi().case.in_words(), *koi().case.assumptions):
        assert re.sub(r"\s+", " ", said) in text
    rows = list(csv.DictReader(io.StringIO(koi_files()["tables/sources.csv"].decode("utf-8-sig"))))
    assert set(load_parasite("dactylogyrus").source_keys()) <= {row["key"] for row in rows}
    for row in rows:
        assert row["key"] in text
        assert re.sub(r"\s+", " ", row["reference"]) in text


def test_sources_named_in_the_cautions_are_listed(page):
    keys = {row["key"] for row in csv.DictReader(io.StringIO(koi_files()["tables/sources.csv"].decode("utf-8-sig")))}
    named = {
        word for _, texts in cautions_of(koi()) for text in texts for word in re.findall(r"\b[a-z]+\d{4}[a-z]?\b", text)
    }
    assert named
    assert named <= keys


def test_record_leaves_blank_what_is_measured_on_the_day(page):
    record = re.search(r'<section class="sheet record">.*?</section>', page, re.S)[0]
    rows = re.findall(r"<tr><th scope=\"row\">\d.*?</tr>", record, re.S)
    before = sum(action.action == "dose" for action in koi().case.given)
    assert len(rows) == before + len(koi().doses)
    for row, given in zip(rows[before:], koi().doses, strict=True):
        assert f'data-head="mg/L">{given.mg_l:g}<' in row
        for blank in ("batch", "°C before", "°C after", "O₂ before [mg/L]", "O₂ after [mg/L]", "given by"):
            assert f'data-head="{blank}">____<' in row


# --- what a case says is text, never markup ---------------------------------------------------------------------------


def test_text_from_a_case_is_escaped():
    page = page_of(blind_files())
    assert TITLE not in page
    assert "&lt;script&gt;" in page
    assert "script" not in {tag for tag, _ in Reader(page).tags}
    assert TITLE in Reader(page).text


def fetched(page: str) -> list[str]:
    """Everything a browser would fetch for a page: addresses in attributes and style sheets that leave it."""
    wanted = []
    for tag, attrs in Reader(page).tags:
        for name, value in attrs.items():
            if name in {"src", "srcset", "data", "poster", "action", "background"} or (
                name in {"href", "xlink:href"} and (tag != "a" or not value.startswith("#"))
            ):
                wanted.append(value or "")
    wanted += re.findall(r"@import\s+\S+", page) + re.findall(r"url\(\s*['\"]?([^)'\"]+)", page)
    return [address for address in wanted if not address.startswith("#")]


def test_a_page_fetches_nothing():
    for files in (koi_files, blind_files):
        assert fetched(page_of(files())) == []
    assert fetched('<img src="http://x/y.png"><style>a { background: url(z.png) }</style><link href="a.css">')


def test_ids_are_unique(page):
    ids = [attrs["id"] for _, attrs in Reader(page).tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page))
    assert {a or b for a, b in used} <= set(ids)


# --- tables -----------------------------------------------------------------------------------------------------------

# OWASP, "CSV Injection" (page of the OWASP Foundation, from memory): a cell must not begin with = + - @, tab or
# carriage return; a number may
INJECTIONS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1+1", "=cmd|' /C calc'!A0", "-"]


@pytest.mark.parametrize("text", INJECTIONS)
def test_no_cell_is_a_formula(text):
    cell = safe_cell(text)
    assert cell[0] not in "=+-@\t\r"
    assert cell == "'" + text


@pytest.mark.parametrize(
    ("value", "cell"), [(-3.5, "-3.5"), ("-3.5", "-3.5"), ("+1e-3", "+1e-3"), (0, "0"), (None, "")]
)
def test_numbers_stay_numbers(value, cell):
    assert safe_cell(value) == cell


def test_a_case_cannot_plant_a_formula():
    """Labels of fish are free text: they come back as text, whatever they begin with."""
    planted = [Preparation(date(2026, 5, 10), text, "netted", "gill", 1, 1) for text in INJECTIONS]
    case = replace(koi().case, samples=tuple(planted))
    table = tables_of(replace(koi(), case=case))["samples.csv"].decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(table, newline="")))
    assert [row["fish"] for row in rows] == ["'" + text for text in INJECTIONS]


def test_tables_read_back():
    """RFC 4180: lines end in CRLF, every row has as many cells as the head; numbers come back as they were."""
    for name, content in tables_of(koi()).items():
        text = content.decode("utf-8-sig")
        assert content.startswith(b"\xef\xbb\xbf"), name
        rows = list(csv.reader(io.StringIO(text, newline="")))
        assert {len(row) for row in rows} == {len(rows[0])}
        assert text.count("\r\n") >= len(rows)
    read = csv.DictReader(io.StringIO(tables_of(koi())["forecast.csv"].decode("utf-8-sig")))
    days = [row for row in read if row["course"] == "untreated"]
    assert [float(row["deaths_50"]) for row in days] == pytest.approx(koi().forecasts[0].untreated.deaths[2], rel=1e-14)


def test_csv_keeps_what_is_missing_empty():
    assert csv_bytes([{"a": float("nan"), "b": None}]).decode("utf-8-sig") == "a,b\r\n,\r\n"


# --- calendar ---------------------------------------------------------------------------------------------------------


def events_of(content: bytes):
    from icalendar import Calendar

    return list(Calendar.from_ical(content).walk("VEVENT"))


def test_lines_of_the_calendar_are_folded():
    """RFC 5545, 3.1: lines end in CRLF and are at most 75 octets long."""
    for line in koi_files()["dates.ics"].split(b"\r\n"):
        assert len(line) <= 75
        assert b"\n" not in line


# --- the same again ---------------------------------------------------------------------------------------------------


def test_no_time_of_day_and_no_path_in_any_file():
    from datetime import datetime

    year = str(datetime.now().year).encode()
    for name, content in koi_files().items():
        assert str(KOI.parent.parent).encode() not in content, name
        if year != b"2026" and name.endswith((".html", ".svg", ".ics")):
            assert not re.search(rb"(?<!\d)" + year + rb"-\d\d-\d\d", content), name


# --- where it is written ----------------------------------------------------------------------------------------------


@pytest.fixture
def quick(monkeypatch):
    """The assessments of this module in place of new ones: these tests are about files."""
    monkeypatch.setattr("burden.decision.assess", lambda case, *_: blind() if case.name == "blind" else koi())


def case_folder(parent: Path, name: str = "koi_pond") -> Path:
    import shutil

    return Path(shutil.copytree(KOI, parent / name, ignore=shutil.ignore_patterns("report")))


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_own_files_in_an_earlier_report_are_kept(tmp_path):
    write_folder(tmp_path / "r", {"report.html": b"1", "old/a.csv": b"1"})
    (tmp_path / "r" / "notes.txt").write_text("mine")
    write_folder(tmp_path / "r", {"report.html": b"2"})
    assert set(everything_in(tmp_path / "r")) == {MARKER, "report.html", "notes.txt"}
    assert (tmp_path / "r" / "report.html").read_bytes() == b"2"


@pytest.mark.parametrize("foreign", ["folder", "file", "page"])
def test_what_is_not_ours_is_left_alone(tmp_path, quick, foreign):
    out = tmp_path / "out"
    if foreign == "file":
        out.write_text("a letter")
    else:
        out.mkdir()
        (out / ("report.html" if foreign == "page" else "photo.jpg")).write_text("somebody's own")
    before = everything_in(tmp_path)
    with pytest.raises(InputError) as error:
        write_reports([KOI], out, draws=DRAWS)
    assert [problem.place for problem in error.value.problems] == ["--out"]
    assert everything_in(tmp_path) == before


def test_broken_off_half_way_leaves_what_was_there(tmp_path, monkeypatch):
    write_folder(tmp_path / "r", {"report.html": b"old"})
    real = report_folder.write_new

    def stop(path, data):
        if path.name == "second":
            raise KeyboardInterrupt
        return real(path, data)

    monkeypatch.setattr(report_folder, "write_new", stop)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "r", {"report.html": b"new", "second": b"x"})
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "fresh", {"report.html": b"new", "second": b"x"})
    assert [p.name for p in tmp_path.iterdir()] == ["r"]
    assert (tmp_path / "r" / "report.html").read_bytes() == b"old"


def test_a_move_that_fails_is_taken_back(tmp_path, monkeypatch):
    write_folder(tmp_path / "r", {"report.html": b"old"})
    real = os.rename

    def stop(source, target):
        if Path(source).name == "new":
            raise OSError("disk full")
        return real(source, target)

    monkeypatch.setattr(os, "rename", stop)
    with pytest.raises(OSError, match="disk full"):
        write_folder(tmp_path / "r", {"report.html": b"new"})
    assert (tmp_path / "r" / "report.html").read_bytes() == b"old"


def test_several_cases(tmp_path, quick):
    cases = [case_folder(tmp_path), case_folder(tmp_path, "blind")]
    found = write_reports(cases, tmp_path / "out", draws=DRAWS)
    files = set(everything_in(tmp_path / "out"))
    assert {"index.html", "koi_pond/report.html", "blind/report.html", "blind/dates.ics"} <= files
    answer = found.as_dict()
    assert {"folder", "files", "first_action", "withheld_reason", "reports"} <= set(answer)
    assert [report["case"] for report in answer["reports"]] == ["koi_pond", "blind"]
    withheld = [withheld_text(found.decision) for found in (koi(), blind())]
    assert [report["withheld_reason"] for report in answer["reports"]] == withheld
    assert answer["first_action"] == headline(koi().decision)
    assert {name: pond["first_action"] for name, pond in answer["ponds"].items()} == {
        "koi_pond": headline(koi().decision), "blind": headline(blind().decision),
    }  # fmt: skip
    assert answer["ponds"]["blind"]["decision"]["action"] == blind().decision.action
    assert answer["first_action_case"] == "koi_pond"
    assert "all.ics" in files
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    links = [attrs["href"] for tag, attrs in Reader(page).tags if tag == "a"]
    assert links == ["koi_pond/report.html", "blind/report.html"]
    assert all((tmp_path / "out" / link).is_file() for link in links)


def test_report_goes_into_the_case_and_is_replaced(tmp_path, quick):
    case = case_folder(tmp_path)
    first = write_reports([case], None, draws=DRAWS)
    folder = case / "report"
    assert Path(first.folder) == folder
    assert set(first.files) | {MARKER} == set(everything_in(folder))
    assert first.as_dict()["withheld_reason"] is None
    (folder / "report.html").write_text("spoilt")
    again = write_reports([case], None, draws=DRAWS)
    assert (folder / "report.html").read_bytes() == koi_files()["report.html"]
    assert (folder / "kept" / "report.html").read_text() == "spoilt"
    assert any("kept/report.html" in warning for warning in again.warnings)
    assert [p.name for p in case.iterdir() if p.name.startswith(".")] == []


def test_every_problem_of_several_cases_at_once(tmp_path, quick):
    one, other = case_folder(tmp_path / "a"), case_folder(tmp_path / "b")
    out = tmp_path / "out"
    out.mkdir()
    (out / "photo.jpg").write_text("x")
    with pytest.raises(InputError) as error:
        write_reports([one, other, tmp_path / "none"], out, draws=DRAWS)
    places = [problem.place for problem in error.value.problems]
    assert "CASE" in places
    assert "--out" in places
    assert len(places) >= 3
    with pytest.raises(InputError):
        write_reports([one, other], None, draws=DRAWS)
    assert set(everything_in(out)) == {"photo.jpg"}


def test_folders_a_disk_takes_for_one_are_refused(tmp_path, quick):
    """Of Koi and koi, written beside each other, many disks keep the one written last."""
    one = case_folder(tmp_path / "a")
    other = one.rename(tmp_path / "a" / "Koi_Pond")
    with pytest.raises(InputError) as error:
        write_reports([case_folder(tmp_path / "b"), other], tmp_path / "out", draws=DRAWS)
    assert [(p.place, p.value) for p in error.value.problems] == [("CASE", "koi_pond"), ("CASE", "Koi_Pond")]


# --- several waters ---------------------------------------------------------------------------------------------------


def test_list_of_waters():
    waters = [water_of(blind()), water_of(koi())]
    text = Reader(render_ponds(waters, DRAWS, 1)).text
    assert "Nets, buckets, boots and water carry flukes and their eggs" in text
    assert headline(koi().decision) in text
    assert headline(blind().decision) in text
    assert TITLE in text
    assert text.index(koi().case.title) < text.index(TITLE)  # a dose before none
    assert fetched(render_ponds(waters[1:], DRAWS, 1)) == ["koi_pond/report.html"]
    assert [w.name for w in in_order(waters)] == ["koi_pond", "blind"]


def test_walk_from_the_cleanest_to_a_suspected_virus():
    ill = replace(koi().case, name="ill", findings=replace(koi().case.findings, other=("virus_suspected",)))
    sick = replace(blind(), case=replace(blind_case(), findings=ill.findings))
    assert cleanest_first([water_of(sick), water_of(koi())])[-1].name == "blind"
    assert [w.name for w in cleanest_first([water_of(koi()), water_of(blind())])] == ["blind", "koi_pond"]


# --- figures ----------------------------------------------------------------------------------------------------------


def test_figures_are_files_and_in_the_page(page):
    for name in ("forecast", "interval", "concentration_praziquantel"):
        assert koi_files()[f"figures/{name}.svg"].lstrip().startswith(b"<?xml")
        assert f"figures/{name}.png" not in koi_files()
    agents = len({d.agent for d in koi().doses})
    assert page.count("<svg") == 3 + agents  # the forecast in two widths, the interval, what stays in the water
    assert page.count('role="img" aria-label="') == 3 + agents


def test_figures_are_png_too_where_that_is_asked_for():
    """Signature: ISO 15948, 5.2; the SVG is the same with it and without."""
    both = figures_of(koi(), png=True)[1]
    svgs = {name.removeprefix("figures/"): file for name, file in koi_files().items() if name.endswith(".svg")}
    assert {name: both[name] for name in svgs} == svgs
    assert {name for name in both if name not in svgs} == {name.replace(".svg", ".png") for name in svgs}
    assert all(file.startswith(b"\x89PNG\r\n\x1a\n") for name, file in both.items() if name.endswith(".png"))


def test_concentration_adds_up_and_fades():
    """At a dose it is what was left and the dose; the naive filter takes longer over the first than over the others."""
    found, plan = koi(), koi().decision.recommendation.recommended.plan
    days, bands = course_in_water(found, "praziquantel")
    middle, given = bands[2], [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "praziquantel"]
    first = middle[np.searchsorted(days, given[0])]
    assert first == pytest.approx(found.doses[0].mg_l, rel=0.02)  # the volume's median is the one weighed for
    for day in given[1:]:
        before, after = (middle[np.searchsorted(days, d)] for d in (day - 1e-6, day))
        assert after - before == pytest.approx(found.doses[0].mg_l, rel=0.05)
    assert middle[-1] < middle.max()
    assert np.all(np.diff(bands, axis=0) >= 0)


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.1 (W3C Recommendation 2018), from its definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_colours_hold_in_grey_and_words_can_be_read():
    """WCAG 2.1: words 4.5 to 1 (criterion 1.4.3), marks against what they lie on 3 to 1 (1.4.11)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # the definition's own extreme
    assert min(contrast(INK, "#ffffff"), contrast(LINE, "#ffffff"), contrast("#5d666d", "#ffffff")) >= 4.5
    assert contrast(LINE, BAND_50) >= 3
    assert contrast(GREY, "#ffffff") >= 3
    levels = [luminance(colour) for colour in (LINE, BAND_50, BAND_90, "#ffffff")]
    assert levels == sorted(levels)
    assert min(b - a for a, b in pairwise(levels)) > 0.15


def test_words_on_the_figures_are_not_tiny():
    """On paper figures stand at the size they are drawn for: nothing under 7 points (common practice, no source)."""
    for name in ("forecast", "interval"):
        sizes = [
            float(s)
            for s in re.findall(r"font(?:-size)?: (?:bold )?([\d.]+)px", koi_files()[f"figures/{name}.svg"].decode())
        ]
        assert sizes
        assert min(sizes) >= 7


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    ("days", "words"),
    [
        ([0], "1 dose"),
        ([0, 38, 76], "2 of 3 doses"),
        ([59, 60], "2 doses"),
        ([100, 200], "0 of 2 doses"),
        ([*range(0, 80, 4)], "16 of 20 doses"),
    ],
)
@pytest.mark.filterwarnings("error")
def test_doses_and_their_words_stay_in_their_panel(narrow, days, words):
    """A dose after the last day shown has no notch; words beyond a panel took the room of all panels."""
    forecast = koi().forecasts[0]
    some = forecast.recommended.doses[0]
    doses = tuple(replace(some, date=forecast.case.visit_date + timedelta(day)) for day in days)
    figure = draw_forecast(replace(forecast, recommended=replace(forecast.recommended, doses=doses)), narrow)
    figure.savefig(io.BytesIO(), format="svg")
    axis = figure.axes[-2] if narrow else figure.axes[len(figure.axes) // 2 - 1]
    panel, paper = axis.get_window_extent(), figure.get_window_extent()
    (said,) = [text for text in axis.texts if text.get_text() == words]
    assert panel.x0 - 1 <= said.get_window_extent().x0 < said.get_window_extent().x1 <= panel.x1 + 1
    assert panel.width > (0.6 if narrow else 0.2) * paper.width
    notches = [day for line in axis.lines if line.get_marker() == "v" for day in line.get_xdata()]
    assert notches == [day for day in days if day <= forecast.horizon_days]


def test_interval_curves_are_the_windows():
    """At one temperature the chart shows what `windows_after` gives there, and a two-dose region where it is one."""
    from burden.model.windows import windows_after

    e = koi().estimates[0]
    p, sheltered = e.pond.setting.parameters, e.pond.effects["praziquantel"].sheltered_fraction
    curves = interval_curves(p, sheltered, np.array([15.0, 20.0]))
    windows = windows_after(p, sheltered, Temperature.constant(20.0))
    assert curves.safe_gap[2, 1] == pytest.approx(np.median(windows.longest_safe_gap))
    assert curves.last_dose[4, 1] == pytest.approx(np.quantile(windows.last_dose_not_before, 0.95))
    assert curves.measured["maturity"] == (20.0, 20.0)
    assert bool(curves.two_dose_region[1]) == (windows.two_dose_window() is not None)
    # a region where the last dose may come before the longest safe gap is crossed; where none is, nothing is
    region = replace(curves, last_dose=0.5 * curves.safe_gap)
    assert region.two_dose_region.all()
    figure = draw_interval_chart(region, 17.0)
    assert any(c.get_hatch() == "xxx" for c in figure.axes[0].collections)
    assert not any(c.get_hatch() == "xxx" for c in draw_interval_chart(curves, 17.0).axes[0].collections)


def test_chart_of_a_live_bearer_and_of_a_strange_ending_is_refused(tmp_path):
    with pytest.raises(InputError) as error:
        write_interval_chart("gyrodactylus", "praziquantel", tmp_path / "chart.jpg", today_c=15.0)
    assert len(error.value.problems) == 2
    assert list(tmp_path.iterdir()) == []


# --- how sure ---------------------------------------------------------------------------------------------------------


def test_what_matters_is_told_apart_from_chance():
    unknowns, least = unknowns_of(koi())
    assert least >= 2 / np.sqrt(koi().decision.draws)
    assert all(abs(u.correlation) > least for _, u in unknowns)
    strengths = [abs(u.correlation) for _, u in unknowns]
    assert strengths == sorted(strengths, reverse=True)


def test_a_figure_shows_itself_in_a_notebook():
    """matplotlib's own Figure does so only where pyplot was set up; ours carries a PNG (signature: ISO 15948, 5.2)."""
    from burden import draw_thermal_laws
    from burden.report.reference.parasite_sheet import parasite_sheet

    assert draw_thermal_laws(parasite_sheet("gyrodactylus_guppies"))._repr_png_().startswith(b"\x89PNG\r\n\x1a\n")


# --- many ponds -------------------------------------------------------------------------------------------------------
def test_tidy_rows_of_two_ponds_stand_under_one_another():
    rows = [*tidy_rows(koi()), *tidy_rows(blind())]
    assert {tuple(row) for row in rows} == {COLUMNS}
    assert {row["case"] for row in rows} == {"koi_pond", "blind"}
    key = ("case", "parasite", "date", "quantity", "course", "agent")
    assert len({tuple(row[name] for name in key) for row in rows}) == len(rows)
    assert all(isinstance(row["date"], date) and row["quantity_unit"] for row in rows)
    bands = [(row["low"], row["median"], row["high"]) for row in rows if row["high"] is not None]
    bands = [band for band in bands if not np.isnan(band).any()]  # what the draws cannot say
    assert len(bands) > 100
    assert all(low <= median <= high for low, median, high in bands)


def test_the_tidy_table_says_what_the_report_says():
    rows = {(row["quantity"], row["course"]): row for row in tidy_rows(koi()) if row["date"] == koi().case.visit_date}
    burden = rows["mean abundance (flukes per fish)", None]
    found = koi().estimates[0].mean_abundance
    assert (burden["low"], burden["median"], burden["high"]) == (found.low, found.median, found.high)
    assert burden["action"] == koi().decision.action
    assert (burden["doses_given"], burden["doses_planned"]) == (len(koi().case.given), len(koi().decision.plan))


def test_one_row_a_pond_says_what_the_report_says():
    """What a farm vet wants of a pond on a Monday: date, step, agent, amount, reason, flukes with their range."""
    row = pond_row(koi())
    assert tuple(row) == POND_COLUMNS
    dose, found = koi().decision.plan[0], koi().estimates[0].mean_abundance
    assert (row["dose_date"], row["agent"], row["doses_planned"]) == (dose.date, dose.agent, len(koi().decision.plan))
    assert row["amount"] == pytest.approx(dose.product_g if dose.product_ml is None else dose.product_ml, rel=0.005)
    for name, value in (("", found.median), ("_low", found.low), ("_high", found.high)):
        assert row[f"flukes_per_fish{name}"] == pytest.approx(value, rel=0.005)
    assert row["next_date"] == min(day.date for day in days_of(koi()) if day.kind not in ("none", "care"))
    assert row["answer"] == headline(koi().decision)
    assert row["reason"]
    assert row["next_step"]
    numbers = [value for value in row.values() if isinstance(value, float) and not value.is_integer()]
    assert numbers == [float(f"{value:.3g}") for value in numbers]


def test_a_written_table_has_three_digits_and_records_as_they_are():
    row = dict.fromkeys(COLUMNS) | {"quantity": "prevalence", "high": 0.999999998438012, "low": 412.3776}
    assert (_cell(row, "high"), _cell(row, "low")) == (1.0, 412.0)
    assert _cell({**row, "quantity": "dose given", "median": 0.1875}, "median") == 0.1875


def test_a_row_a_pond_has_the_types_of_a_spreadsheet():
    frame = _frame([pond_row(koi()), pond_row(blind())], True)
    assert list(frame.columns) == list(POND_COLUMNS)
    assert list(frame["case"]) == ["koi_pond", "blind"]
    assert {str(frame[name].dtype) for name in POND_DATES} == {"datetime64[s]"}
    assert {str(frame[name].dtype) for name in POND_NUMBERS} == {"float64"}


def test_parquet_keeps_dates_and_numbers_as_such(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    (tmp_path / "t.parquet").write_bytes(parquet_bytes(tidy_rows(koi())))
    types = {field.name: str(field.type) for field in parquet.read_schema(tmp_path / "t.parquet")}
    assert (types["date"], types["visit_date"], types["median"]) == ("date32[day]", "date32[day]", "double")
    assert "null" not in types.values()


def test_frames_of_results_name_their_pond():
    frame = koi().estimates[0].to_frame()
    assert list(frame.columns) == ["case", "parasite", "date", "quantity", "unit", "median", "low", "high"]
    assert {"case", "parasite", "course", "date", "day"} <= set(koi().forecasts[0].to_frame().columns)


def test_treatments_are_those_given_then_those_planned():
    rows = list(csv.DictReader(io.StringIO(koi_files()["tables/treatments.csv"].decode("utf-8-sig"))))
    given = [a.date.isoformat() for a in koi().case.given if a.action == "dose"]
    planned = [dose.date.isoformat() for dose in koi().decision.plan]
    assert [(row["state"], row["date"]) for row in rows] == [
        *(("given", day) for day in given),
        *(("planned", day) for day in planned),
    ]
    assert {row["withdrawal_end"] for row in rows} == {""}  # koi that nobody eats
    assert given
    for row, dose in zip(rows[len(given) :], koi().decision.plan, strict=True):
        for name, amount in (("product_g", dose.product_g), ("product_ml", dose.product_ml)):
            told = float(row[name]) if row[name] else None
            assert told == (amount if amount is None else pytest.approx(amount, rel=0.005))  # three digits


def test_a_bath_apart_is_on_record_by_the_cubic_metre():
    """Nobody knows yet how large the tank or the tarpaulin is: 20 g in each 100 L are 200 g/m³."""
    apart = planned_as(apart=True, bath_volume_l=100.0, product_g=20.0, product_ml=None)
    (row, *_) = [row for row in treatments_of(apart) if row["state"] == "planned"]
    assert row["product_g_per_m3"] == 200.0
    assert not {"water_l", "product_g", "product_ml"} & {name for name, value in row.items() if value is not None}


def test_one_calendar_holds_the_events_of_all_ponds():
    from icalendar import Calendar

    alone = [calendar_bytes(visit).decode() for visit in (koi(), blind())]
    ids = [str(event["uid"]) for text in alone for event in Calendar.from_ical(text).walk("VEVENT")]
    whole = Calendar.from_ical(joined_calendar(alone).decode())
    assert sorted(str(event["uid"]) for event in whole.walk("VEVENT")) == sorted(ids)
    assert ids

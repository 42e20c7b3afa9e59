"""What a report says: each sentence where its numbers ask for it, and nowhere else."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from report_cases import DRAWS, blind, koi

from burden.case import Uncertain
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import Reason
from burden.evidence import agent_names, load_agent
from burden.evidence.references import reference_keys
from burden.inference.kill_record import KillRecord, Trial
from burden.inference.pond_history import History
from burden.report.files.treatments import treatments_of
from burden.report.page.answer import answer_lines
from burden.report.page.cautions import cautions_of
from burden.report.page.outlook import courses_of
from burden.report.page.owner import owner_page
from burden.report.page.owner_words import untagged
from burden.report.page.record import record_of
from burden.report.reference.agent_sheet import agent_list, agent_sheet
from burden.report.text.deaths import deaths_text
from burden.report.text.decision import notes_lines
from burden.report.text.forecast import by_killer_lines
from burden.report.text.gates import gates_text, lamp_text
from burden.report.text.handling import trial_fish, trial_steps
from burden.report.text.next_look import outcome_lines
from burden.report.text.plan import aim_text, as_recommended
from burden.report.text.pond_history import kill_lines
from burden.report.text.reasons import reason_text
from burden.schedule.by_killer import IfThisKills
from burden.schedule.eligibility import notes_on
from burden.treatment.dose import dose as dose_of_agent
from burden.treatment.gates import Gate
from burden.treatment.safety_note import SafetyNote
from burden.treatment.water_remedies import Remedy
from burden.treatment.withdrawal import Withdrawal
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import counted, mass
from burden.utils.results import CredibleInterval
from burden.utils.wording import text_of

pytestmark = pytest.mark.usefixtures("each_case_once")


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
    said = " ".join(map(untagged, cautions))
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
    assert trial_fish(koi().case, dose) == "one fish"  # of 1.2 kg: a tub for more is a pond
    light = replace(koi().case, fish=(replace(group, mean_weight_g=Uncertain(300.0, 250.0, 350.0)),))
    assert trial_fish(light, dose) == "two or three fish"
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
    best = replace(koi().decision, recommendation=replace(short, why="best"))
    tried = max(one.schedule.doses for one in best.compared)
    assert f"No course of up to {counted(tried, 'dose')} that was tried meets the aim" in as_recommended(best)
    some = replace(best, recommendation=replace(met, why="best"))
    assert "No course" not in as_recommended(some)


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


def test_a_bath_apart_is_on_record_by_the_cubic_metre():
    """Nobody knows yet how large the tank or the tarpaulin is: 20 g in each 100 L are 200 g/m³."""
    apart = planned_as(apart=True, bath_volume_l=100.0, product_g=20.0, product_ml=None)
    (row, *_) = [row for row in treatments_of(apart) if row["state"] == "planned"]
    assert row["product_g_per_m3"] == 200.0
    assert not {"water_l", "product_g", "product_ml"} & {name for name, value in row.items() if value is not None}

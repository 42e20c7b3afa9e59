"""Words that hold in the setting of the case: its water, its bath, its flukes, its fish. Invented cases, no figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from cases import VISIT, a_case, exactly
from report_cases import koi, owner_of, planned

from burden.case import Findings
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import OtherTreatment, Reason
from burden.inference.diagnostics import SampleReading
from burden.inference.response_result import NextStep
from burden.report.page.outlook import response_of, what_if_rows
from burden.report.text.day_book import days_of
from burden.report.text.decision import headline
from burden.report.text.forecast import regime_text
from burden.report.text.gates import gates_text, lamp_text, other_text
from burden.report.text.handling import better_text, handling_of, trial_steps
from burden.report.text.next_look import look_text, outcome_lines
from burden.report.text.owner_reasons import owner_reason_text
from burden.report.text.reasons import reason_text
from burden.report.text.schedule import window_text
from burden.treatment.bath_notes import note_on_amount
from burden.treatment.efficacy_contradiction import efficacy_contradicted, efficacy_note
from burden.treatment.gates import Gate, gates_of
from burden.treatment.withdrawal import Withdrawal
from burden.utils.results import CredibleInterval


# --- the bath ---------------------------------------------------------------------------------------------------------
def test_a_prohibition_says_at_which_strength_and_what_a_stronger_bath_did():
    """Sitjà-Bobadilla et al. 2006, in the dish: 100 mg/L for 30 min killed 10 %, 200 mg/L all (the evidence file)."""
    against = efficacy_contradicted("hydrogen_peroxide", "sparicotyle")
    assert against is not None
    assert against.stronger == (200.0, 1.0)
    said = str(efficacy_note(against))
    assert "at 100 mg/L (10 % killed)" in said
    assert "200 mg/L killed all in the same trial" in said


def test_a_short_bath_is_told_nothing_of_a_pond():
    said = " ".join(handling_of(a_case(), planned()))
    assert "three days" not in said
    assert "measure oxygen all the time" in said
    left_in = " ".join(handling_of(a_case(), planned(mg_l=25.0, hours=24.0, place="water")))
    assert "three days after" in left_in


def test_one_word_for_the_lamp_where_the_drug_stays():
    decision = replace(koi().decision, on_record={**koi().decision.on_record, "uv": 1})
    assert "until the course is over" in lamp_text(decision)
    short = tuple(replace(dose, hours=1.0) for dose in decision.plan)
    assert "for each bath" in lamp_text(replace(decision, plan=short))


def test_a_tub_fits_the_fish_and_its_amount_can_be_measured():
    """A tub of 100 L was told for three guppies of 0.4 g; a scale of 0.1 g weighs no 50 mg."""
    case = a_case()
    tiny = replace(case, fish=tuple(replace(g, mean_weight_g=exactly(0.4)) for g in case.fish))
    dose = planned("praziquantel", 5.0, 24.0, "water", 180.0, 0.9)
    said = trial_steps(tiny, dose)[0]
    assert "10 L take 50 mg" in said
    assert "Too little for a scale" in said or "too little for a scale" in said


# --- the water --------------------------------------------------------------------------------------------------------
def test_water_that_carries_all_off_is_not_measured_for_what_gathers():
    case = a_case()

    def asked(per_day: float) -> set[str]:
        water = replace(case.water, exchange_per_day=per_day, total_ammonia_n_mg_l=None, nitrite_n_mg_l=None, ph=None)
        return {gate.code for gate in gates_of(replace(case, water=water), 18.0)}

    assert not {"ammonia_unmeasured", "nitrite_unmeasured", "ph_unmeasured"} & asked(12.0)
    assert {"ammonia_unmeasured", "nitrite_unmeasured", "ph_unmeasured"} <= asked(0.2)


def test_the_goal_of_oxygen_is_above_what_was_measured():
    """ "Oxygen is 4.6 mg/L; it should be above 4.6 mg/L." """
    gate = Gate("oxygen_low", "stop", 4.6, 4.62, "mg/L", 0.6)
    (said,) = gates_text(replace(koi().decision, gates=(gate,)))
    assert "above 5 mg/L" in said


def test_flukes_that_drink_blood_are_a_likely_cause_of_its_lack():
    lack = (Gate("anaemia", "care", 11.0, unit="%"),)
    drinks = replace(koi().decision, gates=lack, parasites=("zeuxapta",))
    assert "feed on blood and are a likely cause" in gates_text(drinks)[0]
    assert "look for the cause" in gates_text(replace(drinks, parasites=("dactylogyrus",)))[0]


# --- the fish ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("findings", "said"),
    [
        (Findings(feeding="normal"), "no worse than before"),
        (Findings(feeding="normal", gasping=True), "breathe better by now"),
        (Findings(feeding="less"), "feed better"),
        (Findings(), "breathe better"),
    ],
)
def test_only_fish_that_were_ill_should_get_better(findings, said):
    assert said in better_text(replace(a_case(), findings=findings))


def test_virus_of_carp_is_named_in_its_water_alone():
    """Koi herpesvirus kills carp and koi in warm water: from memory."""
    for code in ("look_for_another_cause", "others_kill_more"):
        assert "koi herpesvirus" in reason_text(Reason(code, {"koi_herpesvirus": 1.0}))
        assert "koi herpesvirus" not in reason_text(Reason(code, {"koi_herpesvirus": 0.0}))


# --- the flukes -------------------------------------------------------------------------------------------------------
def test_fewer_flukes_have_the_reason_that_holds():
    (f,) = koi().forecasts
    fading = replace(f, regime={"growing": 0.0, "endemic": 0.0, "fading": 1.0})
    assert "too cold for eggs" in regime_text(replace(fading, fewer_because=("cold",)))
    assert "resistant" not in regime_text(replace(fading, fewer_because=("cold", "few")))
    assert "can still be too many" in regime_text(replace(fading, fewer_because=("resistance",)))


def test_flukes_seen_before_have_their_date():
    numbers = {"seen_before": "2026-04-14", "chance_gone": 0.5}
    assert "last on 14 Apr 2026" in reason_text(Reason("to_be_free", numbers))
    assert "were found on 14 Apr 2026" in owner_reason_text(Reason("to_be_free", numbers))
    assert "last on" not in reason_text(Reason("to_be_free", {"chance_gone": 0.5}))


def test_an_owner_is_not_told_that_there_is_what_may_not_be():
    numbers = {"chance_high": 0.1, "chance_present": 0.39, "level": 30.0}
    assert "or none" in owner_reason_text(Reason("may_stay_low", numbers), 0.39)
    assert "There are flukes" not in reason_text(Reason("may_stay_low", numbers))


def test_an_owner_reads_of_what_was_not_seen_that_it_was_not():
    (e,) = koi().estimates
    none = SampleReading(3, 3, 0, "skin_scrape", 40.0, 0.06)
    clean = replace(e, parasite="gyrodactylus", look=none, mean_abundance=CredibleInterval(0.29, 0.0, 51.0))
    told = owner_of(replace(koi(), estimates=(e, clean)))
    assert "None was seen on the skin" in told
    assert "51" not in told


def test_days_that_reach_over_winter_are_told_so():
    spans = {
        "first_hatch_days": CredibleInterval(14.0, 8.0, 180.0),
        "last_hatch_days": CredibleInterval(24.0, 11.0, 200.0),
        "earliest_maturity_days": CredibleInterval(20.0, 9.0, 190.0),
        "longest_safe_gap_days": CredibleInterval(9.4, 4.1, 180.0),
    }
    said = window_text("dactylogyrus", SimpleNamespace(triples=lambda: spans))
    assert "only in spring" in said
    assert "180" not in said


def test_what_the_draws_cannot_tell_apart_is_no_difference():
    """57 % as planned and 58 % with a dose late: noise, told as if late were better."""
    rows = {row["name"]: row["chance"] for row in what_if_rows(koi())}
    assert rows["as planned"].endswith("%")
    same = tuple(replace(w, schedule=koi().what_ifs[0].schedule) for w in koi().what_ifs)
    copies = tuple(replace(w, schedule=replace(w.schedule)) if i else w for i, w in enumerate(same))
    told = [row["chance"] for row in what_if_rows(replace(koi(), what_ifs=copies))]
    assert set(told[1:]) == {"no difference shown"}


def test_fish_are_sold_to_nobody_before_the_look():
    look = koi().decision.look
    assert look is not None
    assert isinstance(look.date, date)
    assert "sell or give none away before we have looked at them" in owner_of(koi())


def test_an_owner_keeps_the_next_newcomers_apart():
    reasons = (*koi().decision.reasons, Reason("newcomers_untreated", {}))
    told = owner_of(replace(koi(), decision=replace(koi().decision, reasons=reasons)))
    assert "Keep any that come later apart" in told
    assert "came lately" not in owner_of(koi())


def test_seven_of_sixteen_thousand_are_ordinary_loss():
    (e,) = koi().estimates
    told = e.deaths_explained
    few = CredibleInterval(0.0, 0.0, 0.0)
    slow = {"flukes": few, "all_else": CredibleInterval(1.5e-5, 1e-5, 2e-5)}
    rare = replace(told, told=True, by_flukes=few, rates=slow)
    assert "ordinary loss" in rare.text()
    fast = {"flukes": few, "all_else": CredibleInterval(0.002, 0.001, 0.004)}
    assert "look for the other cause" in replace(rare, rates=fast).text()


def test_a_step_to_the_next_dose_needs_one():
    r = SimpleNamespace(
        dose_date=VISIT,
        before=1,
        case=a_case(),
        next_steps=(NextStep("next_dose_on_its_date"),),
        causes=(),
        reason="",
        verdict="cannot_tell",
        verdict_probability={},
        by_record=None,
        long_ago=True,
    )
    assert response_of(r)["next"]
    assert response_of(r, dosed=False)["next"] == []


def test_an_answer_about_one_fluke_names_the_others_of_the_case():
    """`burden response` answered for the first of two flukes without a word of the second."""
    (e,) = koi().estimates
    assert "--parasite" not in e.text()
    both = replace(e, case=replace(e.case, parasites=(e.parasite, "gyrodactylus")))
    assert "--parasite gyrodactylus" in both.text()
    assert "--parasite gyrodactylus" in both.brief()


def test_well_fish_are_looked_at_once():
    """A calendar of three small waters had eight looks at fish that never breathed badly."""
    well = replace(koi(), case=replace(koi().case, findings=Findings(feeding="normal")))
    looks = [day for day in days_of(well) if day.kind == "look"]
    assert len(looks) == 1
    assert len([day for day in days_of(koi()) if day.kind == "look"]) == len(koi().decision.plan)


def test_no_doses_are_promised_that_cannot_follow():
    """ "Once it is right, run the report again for the doses" stood above a harvest that no dose fits before."""
    found = koi()
    look = replace(found.decision.look, purpose="water", fish=0, day=1.0)
    dry = replace(found, decision=replace(found.decision, action="water_first", plan=(), after_water=(), look=look))
    (day,) = (day for day in days_of(dry) if day.kind == "sample")
    assert day.headline == "measure the water and see how the fish breathe; once it is right, run the report again"
    wet = replace(dry, decision=replace(dry.decision, after_water=found.decision.plan))
    (day,) = (day for day in days_of(wet) if day.kind == "sample")
    assert day.headline.endswith("for the doses")


def test_dead_fish_are_kept_for_a_test_that_is_not_yet_made():
    def told(test):
        virus = (OtherTreatment("virus_suspected", True, None, test=test),)
        return owner_of(replace(koi(), decision=replace(koi().decision, others=virus)))

    assert "laboratory needs them" in told(None)
    assert "laboratory needs them" not in told("sent")


def test_a_doubtful_dose_does_not_ask_for_another_agent_while_the_next_is_given():
    """ "Give dose 2 of 2 today" above "find out why before the next one … change the agent"."""
    numbers = {"chance_fell_short": 0.52, "may_be_removed": 0.0}
    assert "change the agent" in reason_text(Reason("doses_fell_short", {**numbers, "dosed_now": 0.0}))
    given = reason_text(Reason("doses_fell_short", {**numbers, "dosed_now": 1.0}))
    assert "change the agent" not in given
    assert "Count again after it" in given


def test_an_arch_is_taken_of_a_fish_once_whatever_is_scraped_off_it():
    look = NextLook(date(2026, 7, 8), 14.0, "check", 5, False, 3, methods=("gill_arch", "skin_scrape"))
    assert "look at 5 fish, 1 gill arch and 3 skin scrapes of each" in look_text(look, 2026)
    some = (Outcome("few", 3, 0.6, 0.2, "watch"), Outcome("many", None, 0.4, 0.8, "dose"))
    assert "in all 20 preparations" in outcome_lines(replace(look, outcomes=some))[0]


def emptied(kind, parasite="dactylogyrus"):
    """The koi pond as food fish in other water, harvested in twenty days."""
    found = koi()
    fish = replace(found.case.fish[0], food_fish=True, harvest_date=found.case.visit_date + timedelta(days=20))
    case = replace(found.case, fish=(fish,), parasites=(parasite,), water=replace(found.case.water, kind=kind))
    searched = found.decision.recommendation
    searched = replace(searched, aim=replace(searched.aim, emptied_day=20.0))
    return replace(found, case=case, decision=replace(found.decision, recommendation=searched, withdrawals=()))


@pytest.mark.parametrize(
    ("kind", "said"),
    [("raceway", "disinfect it or let it dry"), ("tank", "disinfect it or let it dry"), ("cage", "change the nets")],
)
def test_what_is_emptied_is_cleaned_before_new_fish_come(kind, said):
    """Common practice, no source: eggs left in it hatch onto the next fish."""
    (day,) = (day for day in days_of(emptied(kind)) if day.kind == "empty")
    assert day.date == koi().case.visit_date + timedelta(days=20)
    assert f"once the {kind} is empty" in day.headline
    assert said in day.headline
    assert "eggs stick to" in day.steps[0]
    (alive,) = (day for day in days_of(emptied(kind, "gyrodactylus")) if day.kind == "empty")
    assert "eggs" not in alive.steps[0]


def test_nothing_is_cleaned_where_fish_stay():
    assert not [day for day in days_of(koi()) if day.kind == "empty"]
    assert not [day for day in days_of(emptied("pond")) if day.kind == "empty"]
    waits = Withdrawal("praziquantel", 500.0, 25.0, 30.0, "example", koi().case.visit_date + timedelta(days=20))
    held = emptied("tank")
    held = replace(held, decision=replace(held.decision, withdrawals=(waits,)))
    assert not [day for day in days_of(held) if day.kind == "empty"]


def test_the_tank_of_newcomers_is_cleaned_as_they_move():
    found = koi()
    case = replace(found.case, water=replace(found.case.water, kind=None))
    free = replace(found.decision, action="discharge", plan=(), look=None, release_date=found.case.visit_date)
    (day,) = (day for day in days_of(replace(found, case=case, decision=free)) if day.kind == "empty")
    assert day.date == found.case.visit_date
    assert "once the tank is empty" in day.headline


@pytest.mark.parametrize(
    ("agent", "litres", "said", "unsaid"),
    [
        ("formalin", 2e7, "Bathe fish that show", "reat the ciliates first"),
        (None, 0.0, "reat the ciliates first", "apart"),
    ],
)
def test_of_a_lake_one_thing_is_said_of_a_disease_that_comes_first(agent, litres, said, unsaid):
    """ "Treat the ciliates first" stood beside "cannot be given to 20 000 m³ of water"."""
    notes = () if agent is None else tuple(note_on_amount(agent, 25.0, litres))
    other = OtherTreatment("ciliates", True, None, kept_out=notes)
    reasons = (Reason("other_first", koi().decision.reasons[0].numbers),)
    decision = replace(koi().decision, action="look_first", reasons=reasons, plan=(), others=(other,))
    assert said in headline(decision)
    assert unsaid not in headline(decision)
    assert ("Treat this first" in other_text(other)) is (agent is None)
    assert ("Bathe fish that show them apart" in other_text(other)) is (agent is not None)
    dry = replace(other, kept_out=(replace(note_on_amount("formalin", 25.0, 2e7)[0], code="oxygen_low"),))
    assert "Treat this first, with something else" in other_text(dry)

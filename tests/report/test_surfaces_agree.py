"""What one report says in two places is one and the same: horizons, levels, signs, units."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import pytest
from cases import a_case, dose
from report_cases import DRAWS, koi, koi_as, koi_files, page_of

import burden.page
from burden.case import Case
from burden.decision import Assessment, decide
from burden.decision.answer import killed_by_dose
from burden.decision.look_dates import clean_look_day
from burden.decision.look_records import Outcome
from burden.decision.next_look import known_beforehand
from burden.decision.plan import planned_doses
from burden.decision.records import Reason
from burden.evidence import agent_names, load_parasite
from burden.inference.estimate import estimate
from burden.inference.mortality import DeathPattern
from burden.inference.visit_comparison import Changes, ParameterChange
from burden.inference.visit_forecasts import VisitForecast
from burden.model.elimination.probability import DoseSchedule
from burden.report.formatting import UNITS, unbroken
from burden.report.page.answer import answer_lines
from burden.report.page.cautions import cautions_of, cautions_of_others
from burden.report.page.outlook import changes_of
from burden.report.page.owner import owner_page
from burden.report.text.deaths import deaths_text
from burden.report.text.forecast import regime_text
from burden.report.text.handling import trial_steps
from burden.report.text.next_look import look_text, outcome_lines
from burden.report.text.owner_reasons import owner_reason_text
from burden.report.text.plan import aim_text
from burden.report.text.pond_history import forecast_words
from burden.report.text.reasons import reason_text
from burden.sampling import Look, find_by_burden, recheck
from burden.sampling.development_times import times_at
from burden.schedule.aim import HORIZON_DAYS, check_day, emptied_day
from burden.utils.dates import say_date
from burden.utils.formatting import percents, plain
from burden.utils.results import CredibleInterval

_UNIT = re.compile(r"\d (?:%|°C|kg|g|mg|L|mL|m³|h|d)(?!\w)")


def owner_of(found: Assessment) -> str:
    return " ".join(text for _, texts in owner_page(found) for text in texts)


# --- a number and its unit --------------------------------------------------------------------------------------------
def test_no_line_of_a_page_can_end_between_a_number_and_its_unit():
    """A plain space would let "25 / %" part at a telephone's width; drawings, styles and titles set aside."""
    page = re.sub(r"(?s)<(style|script|svg|head)\b.*?</\1>", " ", page_of(koi_files()))
    said = re.findall(r">([^<]+)<", page)
    assert sum("\u00a0%" in text for text in said) > 10
    assert [found[0] for text in said if (found := _UNIT.search(text))] == []


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("a chance of 25 %, 5 mg/L for 24 h", "a chance of 25_%, 5_mg/L for 24_h"),
        ("4 days, 3 hours, 5 more, 2 Mayors", "4 days, 3 hours, 5 more, 2 Mayors"),  # words part as words do
    ],
)
def test_what_counts_stays_with_its_number(text, kept):
    assert unbroken(text) == kept.replace("_", "\u00a0")


# --- deaths of fish that are harvested --------------------------------------------------------------------------------
def for_the_table(case: Case, days: int | None) -> Case:
    harvest = None if days is None else case.visit_date + timedelta(days=days)
    fish = replace(case.fish[0], food_fish=True)
    return replace(case, fish=(replace(fish, harvest_date=harvest),))


@cache
def harvested() -> Assessment:
    """The koi pond as food fish that leave the water in twenty days."""
    return koi_as(for_the_table(koi().case, 20))


def test_no_fish_is_foretold_to_die_after_it_is_harvested():
    found = harvested()
    decision, harvest = found.decision, found.case.harvest_date
    assert decision.deaths_until == harvest
    assert decision.as_dict()["deaths_until"] == harvest.isoformat()
    assert decision.as_dict()["deaths_end_with"] == "harvest"
    assert {f.horizon_days for f in found.forecasts} == {20.0}
    assert f"By the harvest on {say_date(harvest)}" in deaths_text(decision)
    later = koi().decision
    assert (later.deaths_until - later.visit_date).days == HORIZON_DAYS
    for name in ("flukes_untreated", "other"):
        assert 0 < decision.deaths[name].high < later.deaths[name].high


@pytest.mark.parametrize("days", [None, 0, 60, 90])
def test_the_horizon_stays_where_no_harvest_comes_before_it(days):
    assert emptied_day(for_the_table(koi().case, days)) is None


def test_fish_that_stay_are_followed_to_the_horizon():
    """A pond of which one kind alone is harvested is not empty after it."""
    case = for_the_table(koi().case, 20)
    case = replace(case, fish=(*case.fish, replace(case.fish[0], species="goldfish", harvest_date=None)))
    assert case.harvest_date is not None
    assert case.emptied_on is None
    assert emptied_day(case) is None


# --- looks ------------------------------------------------------------------------------------------------------------
def test_a_look_says_what_is_counted_and_in_how_many():
    look = koi().decision.look
    assert look.methods == ("gill_clip",)
    assert f"{look.fish} fish, 3 gill clips of each" in look_text(look, 2026)
    few = Outcome("few", 12, 0.5, 0.2, "watch")
    led = replace(look, outcomes=(few, Outcome("many", None, 0.5, 0.9, "dose")))
    assert outcome_lines(led)[0].startswith(f"Up to 12 flukes in all {3 * look.fish} gill clips (50 %")
    both = replace(led, methods=("gill_clip", "skin_scrape"))
    assert "3 gill clips and 3 skin scrapes of each" in look_text(both, 2026)
    assert outcome_lines(both)[0].startswith(f"Up to 12 flukes in all {6 * look.fish} preparations")
    one = replace(led, fish=1, all_fish=True)
    assert "the only fish, 3 gill clips of it" in look_text(one, 2026)
    assert outcome_lines(one)[0].startswith("Up to 12 flukes in all 3 gill clips")


def test_whoever_counts_whole_fish_is_told_limits_in_whole_fish():
    """A limit of scrapes says nothing to a farm that counts all the flukes of a skin."""
    case = koi().case
    whole = [replace(row, method="whole_organ", clip_share=None, fraction_examined=None) for row in case.samples]
    gills = tuple({row.fish: row for row in whole if row.site == "gill" and row.date == case.sample_dates[-1]}.values())
    found = decide(replace(case, samples=gills), DRAWS)
    assert found.look.methods == ("whole_organ",)
    assert found.look.preparations_per_fish == 1
    assert "all flukes of each counted" in look_text(found.look, 2026)
    assert "preparation" not in " ".join([look_text(found.look, 2026), *outcome_lines(found.look)])


def test_the_look_after_a_course_and_the_one_of_sampling_hang_together():
    """The first comes when eggs have hatched in half of the ponds, the one that means most when they have in 95 %."""
    nobody_looked = estimate(a_case(temperature_c=20.0), draws=400)
    sure = clean_look_day([nobody_looked], DoseSchedule((0.0, 7.0), ("praziquantel",) * 2))
    times = times_at(load_parasite("dactylogyrus"), 20.0, "praziquantel", 400, 1)
    found = recheck(times, find_by_burden(1.0, 0.8, Look(0.01, preparations=3)))
    assert sure - 7.0 == pytest.approx(found.day, rel=0.2)  # 400 draws each: the 95 % point of a long tail
    assert sure > check_day([nobody_looked.posterior], DoseSchedule((7.0,), ("praziquantel",)))
    assert "`burden decide` plans an earlier look" in found.text()


def test_what_a_look_tells_is_said_of_either_day():
    look = replace(koi().decision.look, clean_from=koi().decision.look.date + timedelta(days=7))
    said = look_text(look, 2026)
    assert "whether the doses have killed enough" in said
    assert f"To know that none came back, look about {say_date(look.clean_from, 2026)}" in said
    assert look.as_dict()["clean_from"] == look.clean_from.isoformat()
    alone = look_text(replace(look, clean_from=None), 2026)
    assert "whether the course worked" in alone
    assert "came back" not in alone


def test_nobody_is_sent_to_look_at_what_is_known():
    """Most of the dead did not die of flukes, and any fluke asks for a dose: 97 in 100 looks would show one."""
    sure = replace(koi().decision.look, outcomes=(Outcome("none", 0, 0.03, 0.1, "look_first"),
                                                  Outcome("many", None, 0.97, 0.9, "dose")))  # fmt: skip
    assert known_beforehand(sure)
    open_still = tuple(replace(one, chance=0.5) for one in sure.outcomes)
    assert not known_beforehand(replace(sure, outcomes=open_still))


def test_no_clean_look_is_dated_into_the_next_summer():
    """In October eggs of the slowest ponds hatch in June: a date for that says nothing that anybody can use."""
    cold = estimate(a_case(temperature_c=7.0), draws=60)
    assert clean_look_day([cold], DoseSchedule((0.0,), ("praziquantel",))) is None


def test_newcomers_with_a_few_flukes_are_not_called_clean():
    look = replace(koi().decision.look, purpose="release")
    same = tuple(Outcome(code, most, 0.45, 0.1, "watch") for code, most in (("none", 0), ("few", 3)))
    (said, _) = outcome_lines(replace(look, outcomes=(*same, Outcome("many", None, 0.1, 0.9, "dose"))))
    assert "they may move after two clean looks" in said
    assert "clean again" not in said


def test_a_second_agent_is_tried_right_before_its_own_dose():
    """Not weeks ahead, on the day of the visit, where the owner has days on which doses can be given."""
    case = replace(koi().case, limits=replace(koi().case.limits, visit_days=("saturday", "wednesday")))
    agents = ("formalin", "praziquantel")
    weighed = [replace(koi().doses[0], agent=agent) for agent in agents]
    found = koi().decision.recommendation
    chosen = replace(found.recommended, plan=DoseSchedule((3.0, 17.0), agents))
    doses = planned_doses(replace(case, given=()), found, chosen, weighed)
    assert [(one.date - one.trial_date).days <= 4 for one in doses] == [True, True]
    assert doses[1].trial_date > doses[0].date
    assert "fish with praziquantel in a tub" in trial_steps(case, doses[1])[0]


def test_flukes_that_lay_no_eggs_leave_none():
    aim = replace(koi().decision.recommendation.aim, kind="eradicate")
    found = replace(koi().decision, recommendation=replace(koi().decision.recommendation, aim=aim))
    assert "no fluke, egg or larva left" in aim_text(found)
    assert "no fluke left" in aim_text(replace(found, parasites=("gyrodactylus",)))
    goes_on = Reason("course_goes_on", {"eradicate": 1.0, "chance_gone": 0.2, "lays_eggs": 0.0})
    assert "that a fluke is left" in reason_text(goes_on)


# --- the owner --------------------------------------------------------------------------------------------------------
def test_fish_that_gasp_today_are_no_reason_to_ring_at_once():
    assert "Fish gasp at the surface" in owner_of(koi())
    gasping = replace(koi().case, findings=replace(koi().case.findings, gasping=True))
    said = owner_of(replace(koi(), case=gasping))
    assert "More fish gasp than today" in said
    assert "Fish gasp at the surface" not in said


def test_an_owner_hears_what_becomes_of_dates_planned_before():
    case, plan = koi().case, koi().decision.plan
    other = dose(12)
    assert "planned before" not in owner_of(koi()).lower()
    moved = owner_of(replace(koi(), case=replace(case, planned=(other,))))
    assert f"take the place of those planned before ({say_date(other.date)})" in moved
    kept = tuple(replace(other, date=one.date) for one in plan)
    assert "planned before" not in owner_of(replace(koi(), case=replace(case, planned=kept))).lower()
    waits = replace(
        koi(), case=replace(case, planned=(other,)), decision=replace(koi().decision, action="watch", plan=())
    )
    assert f"Planned before: a dose on {say_date(other.date)}. Give none unless we say so." in owner_of(waits)


def test_an_owner_told_to_dose_knows_why_and_that_the_authority_comes_first():
    assert "Hardly a fish is likely to die of flukes" in owner_of(koi())
    dying = {**koi().decision.deaths, "flukes_untreated": CredibleInterval(9.0, 2.0, 20.0)}
    deadly = replace(koi(), decision=replace(koi().decision, deaths=dying))
    assert "Without a dose there would likely be more flukes than these fish can bear." in owner_of(deadly)
    reasons = (*koi().decision.reasons, Reason("notifiable", {}))
    told = owner_of(replace(koi(), decision=replace(koi().decision, reasons=reasons)))
    assert "given only once we have told the authority" in told
    assert "no fish, water, net or bucket leaves" in told
    assert "authority" not in owner_of(koi())
    flows = replace(koi().case, water=replace(koi().case.water, kind="raceway", exchange_per_day=40.0))
    open_water = replace(koi(), case=flows, decision=replace(koi().decision, reasons=reasons))
    assert "no fish, net or bucket leaves" in owner_of(open_water)


@pytest.mark.parametrize(("agent", "waits"), [("fresh_water", False), ("sodium_chloride", False), ("formalin", True)])
def test_nobody_waits_for_fish_that_were_bathed_in_water_alone(agent, waits):
    """ "Nobody may eat these fish" below a bath in fresh water."""
    case = for_the_table(koi().case, None)
    plan = tuple(replace(one, agent=agent) for one in koi().decision.plan)
    bathed = replace(koi(), case=replace(case, given=()), decision=replace(koi().decision, plan=plan))
    assert ("eaten" in owner_of(bathed)) is waits


def test_the_local_page_joins_the_same_units():
    script = (Path(burden.page.__file__).parent / "static" / "dom.js").read_text(encoding="utf-8")
    joined = re.search(r"beforeUnit = /\(\\d\) \(\?=\(\?:(.*?)\)", script)[1].split("|")
    assert joined == [*UNITS]


@pytest.mark.parametrize("agent", ["albendazole", "fenbendazole", "flubendazole", "mebendazole"])
def test_who_gives_a_benzimidazole_is_told_of_the_unborn(agent):
    plan = (replace(koi().decision.plan[0], agent=agent),)
    said = owner_of(replace(koi(), decision=replace(koi().decision, plan=plan)))
    assert "not to be handled in pregnancy" in said


def test_the_owner_has_the_range_of_the_first_page():
    """One digit made 42 to 1 400 into "between 40 and 1 000"."""
    (e,) = koi().estimates
    low, high = (plain(x, 2) for x in (e.mean_abundance.low, e.mean_abundance.high))
    assert f"(between {low} and {high})" in owner_of(koi())
    assert f"({low} to {high}) flukes a fish" in " ".join(answer_lines(koi()))


@pytest.mark.parametrize(
    ("code", "chance", "said"),
    [("may_stay_low", 0.25, "probably too few"), ("not_yet", 0.43, "not sure"), ("never_seen", 0.2, "found no fluke")],
)
def test_an_owner_is_told_no_chance_of_a_level(code, chance, said):
    """ "The chance of too many flukes (on average 70 a fish or more) today is 43 %" is no sentence for an owner."""
    numbers = {"chance_high": chance, "chance_high_now": chance, "level": 70.0, "chance_present": 0.5}
    reason = Reason(code, numbers | {"preparations": 6.0, "fish_looked_at": 3.0})
    assert "%" in reason_text(reason)
    assert said in owner_reason_text(reason)
    assert "%" not in owner_reason_text(reason)


def test_a_dose_that_killed_is_in_the_short_answer():
    """It stood in the middle of the page, below a headline that gave the next one."""
    decision = koi().decision
    reasons = (Reason("stays_high", decision.reasons[0].numbers),) * 2 + (Reason("dose_killed", {}),)
    assert "likely killed fish itself" in replace(decision, reasons=reasons).brief()
    (e,) = koi().estimates
    many = replace(e.deaths_explained, by_dose=CredibleInterval(9.0, 0.0, 11.0), after_dose=14)
    assert killed_by_dose(replace(e, deaths_explained=many))
    assert not killed_by_dose(replace(e, deaths_explained=None))


def test_one_death_has_no_course():
    """ "Single deaths over weeks or months" of a log with one dead fish."""
    (e,) = koi().estimates
    single = DeathPattern("single_over_months", 1, 60.0, koi().case.visit_date)
    one = replace(e.deaths_explained, deaths=1, pattern=single)
    assert "the one death" in one.text()
    assert "Single deaths" not in one.text()
    assert "Single deaths" in replace(one, deaths=4).text()


# --- what was expected ------------------------------------------------------------------------------------------------
def test_one_judge_says_whether_more_was_found_than_expected():
    """A burden above its range and counts within theirs made "more than expected" and "within that range" of a day."""
    case = koi().case
    then, today = CredibleInterval(45.0, 0.3, 980.0), CredibleInterval(1000.0, 360.0, 3100.0)
    counts, since = CredibleInterval(0.0, 0.0, 24.0), case.visit_date - timedelta(days=60)
    moved = ParameterChange("abundance_today", then, today)
    changes = Changes(case, "dactylogyrus", 1, DRAWS, since, moved, then, None, (), {"preparations": 8})
    one = VisitForecast(case.visit_date, since, then, today, counts, 19, 0.9, None, None, 100.0)

    def lines(forecast: VisitForecast) -> str:
        known = SimpleNamespace(parasite="dactylogyrus", forecasts=(forecast,))
        return " ".join(changes_of(replace(koi(), changes=(changes,), histories=(known,)), 0)["lines"])

    assert moved.verdict == "higher"
    assert "they showed 19: within that range" in lines(one)
    assert "more than expected" not in lines(one)
    assert forecast_words(one) == "0 (0 to 24)"
    unjudged = lines(replace(one, effective_draws=3.0))
    assert "expected" not in unjudged
    assert "1 000 (360 to 3 100) flukes a fish today" in unjudged


# --- shares, cautions, counts -----------------------------------------------------------------------------------------
@pytest.mark.parametrize("shares", [(0.016, 0.007, 0.977), (0.344, 0.344, 0.312), (1 / 3, 1 / 3, 1 / 3), (0.125,) * 8])
def test_percents_of_a_whole_add_up(shares):
    assert sum(int(said.split()[0]) for said in percents(shares)) == 100


def test_what_flukes_do_untreated_is_said_as_shares_of_the_whole():
    (f,) = koi().forecasts
    said = regime_text(replace(f, regime={"growing": 0.016, "endemic": 0.007, "fading": 0.977}))
    assert "more flukes than today in 1 %, about as many in 1 % and fewer or none in 98 %" in said
    assert "because" not in regime_text(replace(f, regime={"fading": 1.0}, fewer_because=()))


def test_cautions_between_plan_and_owner_are_those_of_the_plan():
    planned = {dose.agent for dose in koi().decision.plan}
    heads = {heading.lower() for heading, _ in cautions_of(koi())} & {name.replace("_", " ") for name in agent_names()}
    assert heads == planned
    others = dict(cautions_of_others(koi()))
    assert set(others) == {"Formalin"}
    page, appendix = page_of(koi_files()).split('<section class="sheet appendix">')
    assert "Poisonous to people" not in page
    assert "Poisonous to people" in appendix


def test_counts_that_were_not_ended_are_at_least_so_many():
    (e,) = koi().estimates
    assert "You found 19 flukes" in e.missed
    assert "You found at least 19 flukes" in str(replace(e.look, at_least=True))


def test_a_course_that_hardly_reaches_the_aim_is_not_said_to_keep_flukes_few():
    none = CredibleInterval(0.0, 0.0, 0.0)
    decision = replace(koi().decision, deaths={**koi().decision.deaths, "flukes_avoided": none})
    assert "The course is to keep flukes few" in deaths_text(decision)
    hardly = replace(decision, chances={**decision.chances, "aim_planned": 0.03})
    assert "keep flukes few" not in deaths_text(hardly)

"""Words of looks, harvests, trends and baths that hold for the visit they stand at. Invented cases, no figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from cases import VISIT, a_case, exactly
from report_cases import koi, owner_of, planned

from burden.decision.answer import _over_visits
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import OtherTreatment, Reason
from burden.report.page.answer import answer_lines
from burden.report.page.outlook import alternative_rows, compared_rows, response_of
from burden.report.text.bath_end import end_text, let_out_text, owner_let_out_text
from burden.report.text.day_book import days_of
from burden.report.text.decision import release_text
from burden.report.text.gates import gates_text, other_text
from burden.report.text.handling import breath_text, feed_again
from burden.report.text.next_look import look_text, outcome_lines
from burden.report.text.owner_reasons import AS_THEY_ARE, FOR_OWNERS, owner_reason_text
from burden.report.text.plan import aim_text, as_recommended
from burden.report.text.reasons import reason_codes, reason_text
from burden.report.text.treatment_response import verdict_words
from burden.report.text.trend import owner_trend_text, trend_text
from burden.report.text.visit_comparison import deaths_line
from burden.treatment.gates import Gate
from burden.treatment.water_remedies import Remedy
from burden.utils.results import CredibleInterval


# --- harvest ----------------------------------------------------------------------------------------------------------
def at_harvest():
    """The koi pond as food fish that are harvested a week on, with nothing given before."""
    case = koi().case
    fish = tuple(replace(g, food_fish=True, harvest_date=case.visit_date + timedelta(days=7)) for g in case.fish)
    look = replace(koi().decision.look, purpose="harvest", outcomes=(), methods=("gill_arch",), clean_from=None)
    numbers = {**koi().decision.reasons[0].numbers, "chance_high": 0.45}
    reasons = (Reason("may_stay_low", numbers),)
    decision = replace(koi().decision, action="watch", plan=(), look=look, reasons=reasons)
    return replace(koi(), case=replace(case, fish=fish), decision=decision)


def test_an_owner_who_harvests_is_not_told_to_sell_nothing_nor_that_anything_is_given():
    said = owner_of(at_harvest())
    assert "sell or give none away" not in said
    assert "move no live fish to other water" in said
    assert "before anything is given" not in said
    assert "sell or give none away" in owner_of(koi())


def test_of_killed_fish_all_flukes_are_counted():
    look = at_harvest().decision.look
    assert "all flukes of each counted; they are killed anyway" in look_text(look, 2026)
    assert "1 gill arch" in look_text(replace(look, purpose="watch"), 2026)


def test_no_schedule_shown_ends_after_the_harvest():
    found = at_harvest()
    recommendation = koi().decision.recommendation
    aim = replace(recommendation.aim, emptied_day=7.0)
    emptied = replace(found, decision=replace(found.decision, recommendation=replace(recommendation, aim=aim)))
    after = [one for one in emptied.decision.compared if any(day >= 7 for day in one.schedule.plan.days)]
    assert after
    assert len(compared_rows(emptied)) == len(emptied.decision.compared) - len(
        [o for o in after if o.name != "planned"]
    )
    assert len(compared_rows(koi())) == len(koi().decision.compared)


def test_flukes_that_are_there_are_not_called_few_or_none():
    """ "Flukes are few or none" stood four lines below "about 46 on the gills of each fish"."""
    low = Reason("stays_low", {"chance_high": 0.02, "level": 200.0})
    assert "none" not in owner_reason_text(low, 1.0)
    assert "few or none" in owner_reason_text(low, 0.4)
    assert "200 a fish or more" in reason_text(low)


# --- one thing is said once -------------------------------------------------------------------------------------------
def test_a_look_has_one_date_whatever_it_shows():
    """ "Look again about 28 Sep" stood three lines below "to know that none came back, look about 21 Sep"."""
    rows = (Outcome("few", 4, 0.9, 0.1, "watch"), Outcome("many", None, 0.1, 0.9, "dose"))
    look = NextLook(date(2026, 9, 15), 13.0, "check", 5, False, 3, rows, clean_from=date(2026, 9, 21))
    assert "look again about Mon 21 Sep" in outcome_lines(look)[0]
    assert "look again about Mon 21 Sep" not in outcome_lines(replace(look, clean_from=None))[0]


def test_a_clean_look_that_proves_little_promises_no_move():
    rows = (Outcome("none", 0, 0.6, 0.6, "watch"), Outcome("many", None, 0.4, 0.9, "dose"))
    look = NextLook(date(2026, 7, 8), 14.0, "release", 10, False, 1, rows)
    said = " ".join([look_text(look, 2026), *outcome_lines(look)])
    assert "may move" not in said
    assert "60 % are not free of flukes, so one clean look proves little: more fish would prove more" in said
    assert "more fish would" not in " ".join(outcome_lines(replace(look, all_fish=True)))
    sure = replace(look, outcomes=(replace(rows[0], chance_high=0.1), rows[1]))
    assert "they may move after two clean looks" in outcome_lines(sure)[0]
    assert "proves little" not in " ".join(outcome_lines(sure))


def test_the_hold_of_carp_is_not_said_to_cover_their_virus():
    held = replace(koi().decision, action="watch", release_date=date(2026, 7, 1))
    assert release_text(held).count("koi herpesvirus") == 1
    trout = replace(held, on_record={**held.on_record, "carp": 0})
    assert "herpesvirus" not in release_text(trout)


def test_counts_that_fell_as_they_should_are_said_to_have():
    """ "These samples cannot show whether the last dose worked" stood beside 93 % gone, expected 87 %."""
    chances = {"worked": 0.34, "fell_short": 0.05, "new_settlers": 0.0, "cannot_tell": 0.61}

    def said(gone: float) -> str:
        r = SimpleNamespace(
            verdict="cannot_tell",
            verdict_probability=chances,
            by_record=None,
            long_ago=False,
            reduction_percent=CredibleInterval(gone, 60.0, 99.0),
            expected_reduction_percent=CredibleInterval(87.0, 55.0, 98.0),
        )
        return verdict_words(r)

    assert said(93.0).startswith("the counts fell as the last dose would make them fall if it worked")
    assert said(70.0).startswith("these samples cannot show")


def test_no_verdict_on_a_dose_of_an_earlier_season():
    def response(days: int):
        r = SimpleNamespace(
            dose_date=VISIT - timedelta(days=days), before=1, case=a_case(), next_steps=(), causes=(), reason="",
            verdict="cannot_tell", verdict_probability={}, by_record=None, long_ago=True,
        )  # fmt: skip
        return response_of(r)["verdict"]

    assert response(30)
    assert not response(322)


# --- the bath, by its setting -----------------------------------------------------------------------------------------
def test_fish_are_fed_the_day_after_a_short_bath():
    short = planned(hours=1.0)
    assert feed_again(short) == VISIT + timedelta(days=1)
    assert feed_again(replace(short, hours=24.0)) > VISIT + timedelta(days=1)


def test_a_tarpaulin_is_dropped_and_a_trickle_shut():
    case = a_case()
    assert "drop the tarpaulin" in end_text(case, planned(place="enclosed"))
    assert "drop the tarpaulin" not in end_text(case, planned(place="tank"))
    trickle = replace(case, water=replace(case.water, exchange_per_day=0.05))
    river = replace(case, water=replace(case.water, exchange_per_day=5.0))
    left_in = planned(mg_l=25.0, hours=24.0, place="water")
    assert let_out_text(trickle, left_in).startswith("shut the inflow")
    assert let_out_text(river, left_in).startswith("treated water leaves with the outflow")
    assert "Shut the inflow" in owner_let_out_text(trickle, left_in)


@pytest.mark.parametrize(("kind", "said"), [("cage", "nets changed"), ("raceway", "brushed"), ("pond", "bottom")])
def test_what_is_cleaned_is_there(kind, said):
    water = replace(koi().case.water, kind=kind)
    one = replace(koi().alternatives[0], code="cleaning", to_c=None)
    (row,) = alternative_rows(replace(koi(), case=replace(koi().case, water=water), alternatives=(one,)))
    assert said in row["name"]
    assert (kind == "cage") == ("boat" in row["cost"])


def test_what_is_drained_is_what_the_fish_live_in():
    water = replace(koi().case.water, kind="tank")
    one = replace(koi().alternatives[0], code="dry_pond", to_c=None)
    (row,) = alternative_rows(replace(koi(), case=replace(koi().case, water=water), alternatives=(one,)))
    assert "while the tank is drained" in row["name"]


# --- what was seen, and what to do about it ---------------------------------------------------------------------------
def test_a_pond_is_measured_when_it_is_worst():
    gates = (Gate("oxygen_low", "stop", 3.6, 4.6, "mg/L", 0.4),)
    pond = replace(koi().decision, gates=gates)
    assert "before sunrise" in gates_text(pond)[0]
    assert "before sunrise" in replace(pond, action="water_first").brief()
    tank = replace(pond, on_record={**pond.on_record, "pond": 0})
    assert "before sunrise" not in gates_text(tank)[0]


def test_ciliates_are_met_first_with_what_helps():
    said = other_text(OtherTreatment("ciliates", True, None))
    assert said.index("dirt and crowding") < said.index("treatment of their own")
    assert "kills" not in reason_text(Reason("other_first", {}))


def test_the_dead_are_gathered_where_a_virus_is_suspected():
    virus = (OtherTreatment("virus_suspected", True, None),)
    found = replace(koi(), decision=replace(koi().decision, others=virus))
    assert "Gather dead fish every day" in found.decision.text()
    assert "Gather dead fish every day" in owner_of(found)
    assert "Gather dead fish" not in owner_of(koi())


def test_what_only_the_owner_can_answer_is_asked_of_the_owner():
    gates = (Gate("unknown_product", "stop", 3.0, unit="d", wait_days=3.0),)
    found = replace(koi(), decision=replace(koi().decision, action="water_first", plan=(), gates=gates))
    assert "Bring us the bottle" in owner_of(found)
    assert "Bring us the bottle" not in owner_of(koi())


def test_so_much_water_is_not_run_in():
    wide = replace(koi().case.water, volume_l=exactly(24e6), kind="pond")
    assert "run every aerator" in breath_text(replace(koi().case, water=wide), ())
    assert "run every aerator" not in breath_text(koi().case, ())


def test_fish_that_lay_dying_are_not_promised_to_live():
    dying = replace(koi(), decision=replace(koi().decision, on_record={**koi().decision.on_record, "dying": 1}))
    assert "may die all the same" in owner_of(dying)
    assert "may die all the same" in " ".join(answer_lines(dying))
    well = replace(koi(), decision=replace(koi().decision, on_record={**koi().decision.on_record, "dying": 0}))
    assert "may die all the same" not in owner_of(well)


def test_one_fish_is_spoken_of_as_one():
    alone = replace(koi().case, fish=tuple(replace(group, count=1) for group in koi().case.fish[:1]), deaths=())
    estimates = tuple(replace(e, case=alone) for e in koi().estimates)
    said = owner_of(replace(koi(), case=alone, estimates=estimates))
    assert "on its gills" in said
    assert "Hardly a fish" not in said
    assert "each fish" in owner_of(koi())


@pytest.mark.parametrize(
    ("burdens", "said"), [((14, 42, 110, 280), "They rise."), ((280, 40, 9), "They fall."), ((43, 47, 44), "No clear")]
)
def test_visits_have_a_trend(burdens, said):
    visits = tuple(
        SimpleNamespace(
            date=VISIT - timedelta(days=14 * (len(burdens) - i)), burden=CredibleInterval(b, 0.7 * b, 1.4 * b)
        )
        for i, b in enumerate(burdens)
    )
    history = SimpleNamespace(parasite="dactylogyrus", visits=visits)
    found = SimpleNamespace(
        histories=(history,), case=replace(a_case(), given=()), decision=SimpleNamespace(visit_date=VISIT)
    )
    assert said in trend_text(found)
    assert f"Over the last {len(burdens)} visits" in owner_trend_text(found)
    assert not trend_text(replace_histories(found, visits[:2]))


def replace_histories(found, visits):
    history = SimpleNamespace(parasite="dactylogyrus", visits=visits)
    return SimpleNamespace(histories=(history,), case=found.case, decision=found.decision)


def test_deaths_are_expected_of_no_empty_log():
    """ "0 fish died since; we expected 11 to 1 041: fewer than expected", where no dead fish was ever written down."""
    since = VISIT - timedelta(days=14)
    changes = SimpleNamespace(
        dead=0, deaths=CredibleInterval(200.0, 11.0, 1041.0), since=since, case=replace(a_case(), deaths=())
    )
    assert deaths_line(changes) == "0 fish died since."


def test_eggs_of_today_are_no_matter_without_a_dose():
    found = koi().decision
    assert "have hatched" in aim_text(found)
    assert "have hatched" not in aim_text(replace(found, action="watch", plan=(), after_water=()))


def test_what_comes_first_without_a_bath_is_a_step_of_today():
    """ "Treat the ciliates first" stood in the day-book without a word of how."""
    others = (OtherTreatment("ciliates", True, None),)
    found = replace(koi(), decision=replace(koi().decision, action="look_first", plan=(), others=others))
    assert any("dirt and crowding" in step for step in days_of(found)[0].steps)


def test_salt_is_put_back_as_water_is_changed():
    """17 g, "added once", and half of the water changed on three days after."""
    remedy = Remedy(50.0, 150.0, 3, salt_g=17.0)
    gate = Gate("nitrite_high", "stop", 1.2, 0.1, "mg/L", remedy=remedy)
    (said,) = gates_text(replace(koi().decision, gates=(gate,)))
    assert "17 g of pure salt, dissolved and added after the first change" in said
    assert "(8.5 g)" in said
    once = replace(remedy, times=1)
    (said,) = gates_text(replace(koi().decision, gates=(replace(gate, remedy=once),)))
    assert "added once" in said


def test_all_fish_are_not_netted_at_random():
    look = NextLook(date(2026, 7, 8), 0.0, "more_fish", 1, True, 3)
    assert "at random" not in look_text(look, 2026)
    assert "at random" in look_text(replace(look, all_fish=False, fish=5), 2026)


def test_an_owner_has_words_of_his_own_for_every_reason():
    """The owner of a pond read "this tool plans no such course" and "look for what else ails the fish: bacteria"."""
    assert reason_codes() == {*FOR_OWNERS, *AS_THEY_ARE}
    for code in FOR_OWNERS:
        said = FOR_OWNERS[code]
        assert not any(word in said for word in ("%", "the report", "the case", "common practice")), code


def test_a_tank_is_not_told_of_ponds():
    tank = replace(koi().decision, on_record={**koi().decision.on_record, "pond": 0})
    assert "pond" not in as_recommended(tank)
    assert "simulated ponds like this one" in as_recommended(koi().decision)


def test_the_short_answer_has_the_counts_of_the_visits():
    """Whether flukes rise was said on no first screen: 14, 42, 110, 280 at four visits."""
    counts = {"visits": 3}
    for i, flukes in enumerate((60, 175, 450), 1):
        counts |= {f"visit_{i}_flukes": flukes, f"visit_{i}_preparations": 5}
    said = replace(koi().decision, on_record={**koi().decision.on_record, **counts}).brief()
    assert "Flukes in a preparation at the last 3 visits: 12, 35 and 90." in said
    assert "at the last" not in koi().decision.brief()


def test_visits_are_alike_and_since_the_last_dose():
    first, *_ = [row for row in koi().case.samples if row.readable]
    days = [VISIT - timedelta(days=14 * i) for i in range(4)]
    case = replace(koi().case, given=(), samples=tuple(replace(first, date=day) for day in days))
    assert _over_visits(case)["visits"] == 4
    scraped = replace(first, date=days[0], method="skin_scrape", site="skin")
    assert not _over_visits(replace(case, samples=(*case.samples, scraped)))
    assert not _over_visits(replace(case, samples=case.samples[:2]))

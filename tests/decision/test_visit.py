"""Cases at the edge of what a visit can answer: live-bearers, clean samples, none, one fish, other ponds."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from cases import a_case, clips

from burden.case import Action, Limits, Preparation
from burden.day_book import _left_words
from burden.evidence import load_agent
from burden.inference.estimate import estimate
from burden.io import read_case
from burden.report.page.cautions import cautions_of
from burden.report.page.sheets import record_of
from burden.schedule.eligibility import dose_of
from burden.visit import LIVE_BEARER_RECHECK_DAYS, Visit, visit

CASES = Path(__file__).parents[2] / "simulated_data"
DRAWS = 30


def complete(found: Visit) -> None:
    """Everything a reader needs is there, withheld or not."""
    lines = found.text().splitlines()
    assert lines[0].startswith(("Today: ", "Do not dose today, because "))
    assert "flukes" in lines[1] or "nothing is ruled out" in lines[1]
    assert found.cautions()
    assert len(found.forecasts) == len(found.estimates) == len(found.case.parasites)
    assert (found.withheld_reason is None) == bool(found.doses)
    assert all((f.recommended is None) == (found.withheld_reason is not None) for f in found.forecasts)
    json.dumps(found.as_dict(), allow_nan=False)


@pytest.fixture(scope="module")
def sick():
    return a_case(clips([4, 0, 7, 2, 5, 0]), limits=Limits(agents=("praziquantel",), max_doses=3))


@pytest.fixture(scope="module")
def decided(sick):
    return visit(sick, draws=DRAWS)


def test_a_plain_case_is_complete(decided):
    complete(decided)
    assert decided.withheld_reason is None
    assert decided.choice.recommended.doses <= 3


def test_the_same_input_gives_the_same_words(sick, decided):
    again = visit(sick, draws=DRAWS)
    assert again.text() == decided.text()
    assert json.dumps(again.as_dict()) == json.dumps(decided.as_dict())


def test_flukes_named_in_the_recheck_are_round(decided):
    """Two significant figures: the look excludes a tenth of today's burden, itself known to a factor."""
    level = decided.recheck.sample.level
    assert level == float(f"{level:.2g}")
    assert level == pytest.approx(max(decided.estimates[0].mean_abundance.median / 10, 1), rel=0.06)


def test_what_may_kill_comes_before_how_to_dissolve(decided):
    ranks = [caution.rank for caution in decided.cautions(most=50)]
    assert ranks == sorted(ranks)
    assert len(set(ranks)) > 2
    assert not decided.cautions()[0].startswith("Published")


def test_clean_samples_do_not_say_there_are_none():
    """Twelve clean clips: flukes less likely than before, not impossible; the answer still says what they can miss."""
    found = visit(a_case(clips([0] * 12)), draws=DRAWS)
    complete(found)
    e = found.estimates[0]
    assert 0 < e.probability_infected < 0.8  # 0.8 before anything was seen
    assert e.mean_abundance.high > 0


def test_the_filter_of_the_case_is_the_one_a_dose_speaks_of(sick):
    old = replace(sick, water=replace(sick.water, filter="adapted"))
    said = " ".join(dose_of(old, "praziquantel").cautions)
    assert "has met the agent" in said
    assert "new to the agent" not in said


def test_food_fish_have_their_withdrawal_in_answer_record_and_day_book(sick):
    """The days in this water, not the degree-days alone, from the last dose; the same in all of them."""
    eaten = visit(replace(sick, fish=(replace(sick.fish[0], food_fish=True),)), draws=DRAWS)
    (held,) = eaten.withdrawals
    assert held.days == 25  # 500 degree-days at 20 °C
    assert eaten.as_dict()["withdrawals"][0]["days"] == 25
    assert "25 d in this water" in eaten.text()
    assert "25 d in this water" in record_of(eaten)["withdrawal"]
    last = max(entry.date for entry in eaten.day_book if entry.kind == "dose")
    assert [e.date for e in eaten.day_book if e.kind == "food"] == [last + timedelta(days=25)]


def test_no_samples():
    found = visit(a_case(), draws=DRAWS)
    complete(found)
    assert "look at gills and skin first" in found.first_action
    assert found.choice.recommended is None


def test_one_fish():
    found = visit(a_case(clips([9], share=0.05), count=1), draws=DRAWS)
    complete(found)
    assert found.forecasts[0].untreated.deaths_end.high <= 1.0 + 1e-9


def test_live_bearers_end_to_end():
    """No egg, no window; a look a week after the last dose."""
    rows = [
        Preparation(r.date, r.fish, r.chosen, "skin", r.count_low, r.count_high, method="skin_scrape")
        for r in clips([12, 3, 0, 20])
    ]
    found = visit(a_case(rows, parasites=("gyrodactylus",), temperature_c=15.0), draws=DRAWS)
    complete(found)
    assert found.windows == ()
    assert found.recheck.day == LIVE_BEARER_RECHECK_DAYS
    assert "no eggs" in found.recheck.reason


def test_another_invented_pond():
    case = read_case(CASES / "quarantine_tank")
    found = visit(case, draws=DRAWS)
    complete(found)
    if found.choice.recommended is not None:
        assert found.choice.recommended.doses <= case.limits.max_doses


def test_virus_suspected_withholds_every_agent(sick):
    """Common practice, no source."""
    found = visit(replace(sick, findings=replace(sick.findings, other=("virus_suspected",))), draws=DRAWS)
    complete(found)
    assert "virus" in found.first_action


def test_every_species_in_the_water_is_spoken_of():
    """Of carp and a fish the agent's evidence does not know, the second is to be tried on a few first."""
    carp = a_case(count=12)
    both = replace(carp, fish=(*carp.fish, replace(carp.fish[0], species="paddlefish")))
    alone, together = (dose_of(case, "praziquantel").cautions for case in (carp, both))
    assert set(alone) < set(together)
    assert any("paddlefish" in caution for caution in set(together) - set(alone))


@pytest.fixture(scope="module")
def bathed(sick):
    """Oxygen too low for formalin without aeration; peroxide is given instead, in baths of half an hour."""
    water = replace(sick.water, oxygen_mg_l=5.4, aeration=False)
    limits = Limits(agents=("formalin", "hydrogen_peroxide"), max_doses=2)
    return visit(replace(sick, water=water, limits=limits), draws=DRAWS)


def test_a_short_bath_is_weighed_out_for_a_bath_apart_and_never_for_the_pond(bathed):
    """75 mg/L in 100 L are 7.5 g of peroxide, 21.4 g of a 35 % solution, 19 mL at 1.13 g/mL. The pond has 10 000 L."""
    assert {d.agent for d in bathed.doses} == {"hydrogen_peroxide"}
    said = "19 mL of hydrogen peroxide for each 100 L of a bath apart (75 mg/L for 0.5 h)"
    assert bathed.first_action.endswith(f": {said}.")
    assert [row["amount"] for row in record_of(bathed)["rows"]] == ["19 mL per 100 L"] * len(bathed.doses)
    assert not any("10 000 L" in text for d in bathed.doses for text in d.cautions)
    planned = [dosed for f in bathed.forecasts for dosed in f.recommended.doses]
    assert {dosed.mass_g for dosed in planned} == {None}


def test_the_dose_of_a_bath_left_in_the_water_says_how_long(decided):
    assert decided.first_action.endswith(": 50 g of praziquantel (5 mg/L for 24 h).")


def test_what_withholds_another_agent_does_not_seem_to_forbid_the_dose(bathed):
    against = [note.text for note in bathed.notes if note.level == "withhold"]
    assert against
    assert all(text.startswith("Not formalin: ") for text in against)
    assert next(heading for heading, _ in cautions_of(bathed)) == "Against other agents"


def test_nothing_of_a_short_bath_stays_in_the_pond(sick):
    """Salt does not fade: left in the pond it would go on killing settlers, which no bath of half an hour does."""
    salted = replace(sick, limits=Limits(agents=("sodium_chloride",)))
    effect = estimate(salted, draws=DRAWS).pond.effects["sodium_chloride"]
    assert not np.any(effect.larva_hazard)
    assert not np.any(effect.settler_kill)
    assert np.all(effect.kill_of("adult") > 0)


def test_what_the_dose_before_left_is_said_with_the_next(sick):
    """A new filter takes 0.51 of it a day, so of 5 mg/L 3 are left a day later and nothing worth saying after ten."""
    (today,) = [dose_of(sick, "praziquantel")]

    def said(ago: int, hours: float = 24.0, kind: str = "naive") -> str:
        day = sick.visit_date - timedelta(days=ago)
        given = Action(day, "dose", agent="praziquantel", route="bath", mg_l=5.0, hours=hours)
        case = replace(sick, water=replace(sick.water, filter=kind), given=(given,))
        return _left_words(case, 0.0, today, [])

    assert load_agent("praziquantel").values["loss_per_day_naive"].value == 0.51
    left = "Up to 3 mg/L from before may still be in the water: with this dose 8 mg/L"
    assert 5 * np.exp(-0.51) == pytest.approx(3.0, abs=0.01)
    assert said(1) == left
    assert said(10) == said(1, hours=3.0) == ""
    bare = replace(sick, water=replace(sick.water, filter="none"))
    daily = [(-float(day), today) for day in range(1, 5)]
    assert _left_words(bare, 0.0, today, daily).endswith("above the ceiling of 20 mg/L: change water first")
    assert _left_words(bare, 0.0, today, []) == ""

"""The end of a bath: who ends it, how long the drug stays, what may not be let out."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import pytest
from cases import VISIT, a_case, dose, exactly

from burden.decision.records import PlannedDose
from burden.inference.prior import draw_pond
from burden.report.text.bath_end import end_text, let_out_text, owner_let_out_text
from burden.report.text.plan import _not_eaten
from burden.treatment.residues import half_gone_days, stays_in_water
from burden.treatment.withdrawal import withdrawals_of


def pond(**water):
    case = a_case()
    return replace(case, water=replace(case.water, **water))


def planned(agent="praziquantel", place="water", hours=24.0, apart=False) -> PlannedDose:
    return PlannedDose(VISIT, 0.0, 1, 1, agent, 5.0, hours, 50.0, 50.0, None, 100.0, 1e4, apart, None, VISIT, place)


STILL = pond(filter="none", kind="pond", volume_l=exactly(900_000.0))


def test_still_water_without_outflow_says_that_nobody_ends_the_bath():
    said = end_text(STILL, planned())
    assert said.startswith("nobody ends the bath")
    assert "not measured" in said
    assert "keep the outlet shut" in let_out_text(STILL, planned())
    assert (
        owner_let_out_text(STILL, planned()) == "Keep the outlet shut, and let no treated water out before we say so."
    )


def test_a_filter_that_has_met_the_drug_ends_it_within_hours():
    """Below detection after 2 days at later doses (thomas2016, abstract): half of it is gone well within a day."""
    eel = pond(filter="adapted")
    half = half_gone_days(eel, "praziquantel")
    assert half.low < half.median < half.high < 1.0
    assert half.median == pytest.approx(math.log(2) / 2.0)
    assert "half of it is gone in about 8.3 h (3.3 to 17 h)" in end_text(eel, planned())
    faster = half_gone_days(replace(eel, water=replace(eel.water, exchange_per_day=2.0)), "praziquantel")
    assert faster.median == pytest.approx(math.log(2) / 4.0)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"apart": True, "place": "tank"}, "back into their own water"),
        ({"place": "flow_stopped"}, "let the water flow again"),
        ({"place": "dripped"}, "stop the drip"),
    ],
)
def test_other_baths_are_ended_by_somebody(changes, said):
    assert said in end_text(STILL, planned(**changes))


def test_a_short_bath_in_its_own_water_is_ended_by_replacing_it():
    assert not stays_in_water(STILL, "hydrogen_peroxide")
    assert "replace the water" in end_text(STILL, planned("hydrogen_peroxide", hours=0.5))


@pytest.mark.parametrize(("litres", "told"), [(1_999_000.0, False), (2_000_000.0, True)])
def test_a_large_water_speaks_of_a_permit(litres, told):
    assert ("permit" in let_out_text(pond(volume_l=exactly(litres)), planned())) is told


def test_what_flows_out_is_asked_about_before_the_dose():
    flowing = pond(exchange_per_day=5.0)
    assert "leaves with the outflow" in let_out_text(flowing, planned())
    assert "pour the bath away nowhere" in let_out_text(flowing, planned(apart=True, place="tank"))
    assert let_out_text(flowing, planned("fresh_water", apart=True, place="enclosed")) == ""


def test_a_withdrawal_says_from_when_it_counts():
    """From the last dose, as rules do; where the drug stays in the water that is said to be the earliest."""
    case = replace(STILL, fish=(replace(STILL.fish[0], food_fish=True),), given=(dose(-1),))
    temperature = draw_pond(case, "dactylogyrus", 3, 1).setting.temperature
    (stays,) = withdrawals_of(case, (), (), temperature)
    assert (stays.in_water, stays.days) == (True, 25.0)  # 500 degree-days at 20 °C
    decision = SimpleNamespace(date_of=lambda day: VISIT + timedelta(days=day), visit_date=VISIT)
    assert "count from the day it is gone" in _not_eaten(decision, stays)
    assert "count from" not in _not_eaten(decision, replace(stays, in_water=False))

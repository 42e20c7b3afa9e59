"""An assessment that is given its estimates is the one that makes them itself."""

from __future__ import annotations

import pytest
from cases import a_case, clips
from report_cases import DRAWS, koi

from burden.case import Limits
from burden.decision import assess, decide, grounds


def test_estimates_made_before_are_not_made_again(monkeypatch):
    made = koi()
    monkeypatch.setattr(grounds, "estimate", lambda *_: pytest.fail("made again"))
    again = assess(made.case, DRAWS, estimates=made.estimates)
    assert again.decision.as_dict() == made.decision.as_dict()
    assert [forecast.as_dict() for forecast in again.forecasts] == [forecast.as_dict() for forecast in made.forecasts]


def test_where_nothing_at_hand_serves_the_agent_to_get_is_named_with_its_amount():
    """By hand: 5 mg/L in 10 m³ is 50 g. Salt is known to do little against gill flukes (forwood2013a)."""
    case = a_case(clips([12, 9, 20], share=0.02), limits=Limits(agents=("sodium_chloride",)))
    found = decide(case, draws=60)
    assert found.plan == ()
    assert found.reasons[0].code == "no_dose_possible"
    assert {note.code for note in found.withheld} == {"little_effect"}
    assert found.to_get[0].agent == "praziquantel"
    assert found.to_get[0].product_g == pytest.approx(50.0)

"""An assessment that is given its estimates is the one that makes them itself."""

from __future__ import annotations

import pytest
from report_cases import DRAWS, koi

from burden.decision import assess, assessment


def test_estimates_made_before_are_not_made_again(monkeypatch):
    made = koi()
    monkeypatch.setattr(assessment, "estimate", lambda *_: pytest.fail("made again"))
    again = assess(made.case, DRAWS, estimates=made.estimates)
    assert again.decision.as_dict() == made.decision.as_dict()
    assert [forecast.as_dict() for forecast in again.forecasts] == [forecast.as_dict() for forecast in made.forecasts]

"""What mends water: as many changes as bring it down to what is wanted."""

from __future__ import annotations

import pytest
from cases import a_case
from hypothesis import given
from hypothesis import strategies as st

from burden.treatment.water_remedies import water_change


@given(value=st.floats(0.021, 50.0))
def test_the_changes_of_water_bring_it_down_to_what_is_wanted(value):
    remedy = water_change(a_case(), value, 0.02)
    left = value * (1 - remedy.percent / 100) ** remedy.times
    assert left <= 0.02 * 1.0001 or remedy.percent == 50
    assert 0 < remedy.percent <= 50
    assert remedy.litres == pytest.approx(remedy.percent / 100 * 10_000)

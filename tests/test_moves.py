"""Moves beside the dose: what a clean tank and warmth change, and what warm water holds of oxygen."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from burden.casefile import read_case
from burden.elimination import Plan, eliminations
from burden.estimate import estimate
from burden.moves import heated, left_behind, oxygen_saturation_mg_l

CASES = Path(__file__).parents[1] / "simulated_data"


# Benson & Krause (1984) as tabulated in handbooks of water analysis, fresh water at 101.325 kPa; from memory
@pytest.mark.parametrize(("temperature_c", "mg_l"), [(0, 14.62), (10, 11.29), (20, 9.09), (25, 8.26), (30, 7.56)])
def test_oxygen_saturation_is_that_of_the_handbook(temperature_c: float, mg_l: float) -> None:
    """Role: arithmetic; 0.01 is the last digit printed."""
    assert oxygen_saturation_mg_l(temperature_c) == pytest.approx(mg_l, abs=0.011)


@pytest.fixture(scope="module")
def tank():
    found = estimate(read_case(CASES / "quarantine_tank"), draws=40, seed=3)
    return found.pond, found.state


def test_eggs_left_behind_never_lower_the_chance(tank) -> None:
    """Without the eggs in the water fewer lines can go on; common practice, no source, and true of every draw."""
    pond, state = tank
    plan = [Plan((0.0, 5.0), ("praziquantel",) * 2)]
    staying = eliminations(pond.setting, state, plan, pond.effects)
    moved = left_behind(pond)
    leaving = eliminations(moved.setting, state, plan, moved.effects)
    assert np.all(leaving >= staying - 1e-9)
    assert np.exp(leaving).mean() > np.exp(staying).mean() + 0.01


def test_heating_ends_at_the_temperature_asked_for_and_cools_nothing(tank) -> None:
    pond, _ = tank
    now = float(np.median(pond.setting.temperature.at(0.0)))
    warm = heated(pond, now + 4)
    assert float(warm.setting.temperature.at(2.0)) == pytest.approx(now + 2)  # a degree a day
    assert float(warm.setting.temperature.at(30.0)) == pytest.approx(now + 4)
    assert heated(pond, now - 5) is pond

"""Moves beside the dose: what a clean tank and warmth change, and what warm water holds of oxygen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from burden.inference.estimate import estimate
from burden.inference.sampler import Effort
from burden.io import read_case
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.schedule.aim import aim_of
from burden.schedule.evaluation import evaluate
from burden.schedule.husbandry import alternatives, cleaned, drained, heated, left_behind
from burden.treatment.water_chemistry import oxygen_saturation_mg_l

CASES = Path(__file__).parents[2] / "simulated_data"


# Benson & Krause (1984) as tabulated in handbooks of water analysis, fresh water at 101.325 kPa; from memory
@pytest.mark.parametrize(("temperature_c", "mg_l"), [(0, 14.62), (10, 11.29), (20, 9.09), (25, 8.26), (30, 7.56)])
def test_oxygen_saturation_is_that_of_the_handbook(temperature_c: float, mg_l: float) -> None:
    """Role: arithmetic; 0.01 is the last digit printed."""
    assert oxygen_saturation_mg_l(temperature_c) == pytest.approx(mg_l, abs=0.011)


@pytest.fixture(scope="module")
def tank():
    found = estimate(read_case(CASES / "quarantine_tank"), draws=40, seed=3, effort=Effort(100, 300, 40))
    return found.posterior


def test_eggs_left_behind_never_lower_the_chance(tank) -> None:
    """Without the eggs in the water fewer lines can go on; common practice, no source, and true of every draw."""
    pond, state = tank
    plan = [DoseSchedule((0.0, 5.0), ("praziquantel",) * 2)]
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


def test_cleaning_takes_eggs_and_no_fluke(tank) -> None:
    """Between nothing and leaving every egg behind; what sits on the fish is the agent's business."""
    pond, _ = tank
    clean, behind = cleaned(pond), left_behind(pond)
    for agent, effect in pond.effects.items():
        new = clean.effects[agent]
        assert np.all(new.kill_of("egg") > effect.kill_of("egg"))
        assert np.all(new.kill_of("egg") < behind.effects[agent].kill_of("egg"))
        assert new.by_form["adult"] is effect.by_form["adult"]


def test_a_drained_pond_holds_no_egg(tank) -> None:
    _, state = tank
    dry = drained(state)
    assert all(np.all(chain == 0) for chain in dry.water.values())
    assert dry.fish is state.fish


def test_moves_are_the_same_doses_on_the_same_draws(tank) -> None:
    """A spare tank and a heater give five moves; none needs more doses, and leaving eggs behind never does worse."""
    case, few = tank.pond.case, [tank.take(np.arange(8))]
    aim = aim_of(case, few)
    (planned,) = evaluate(few, [DoseSchedule((1.0, 6.0), ("praziquantel",) * 2)], aim)
    found = {one.code: one for one in alternatives(case, few, planned, aim)}
    assert set(found) == {"cleaning", "clean_tank", "dry_pond", "warm", "clean_tank_and_warm"}
    assert all(one.schedule.doses <= planned.doses for one in found.values())
    whole = [one for one in found.values() if one.schedule.doses == planned.doses and one.code != "warm"]
    assert all(one.chance >= planned.chance(aim) - 0.01 for one in whole)
    bare = replace(case, limits=replace(case.limits, spare_tank=False, can_heat_to_c=None))
    assert [one.code for one in alternatives(bare, few, planned, aim)] == ["cleaning"]


def test_no_agent_is_given_in_water_warmed_beyond_what_it_bears(tank) -> None:
    """formalin.toml: not above 27 °C; the tank can be warmed to 28 °C."""
    case, few = tank.pond.case, [tank.take(np.arange(4))]
    aim = aim_of(case, few)
    (planned,) = evaluate(few, [DoseSchedule((1.0,), ("formalin",))], aim)
    assert not any("warm" in one.code for one in alternatives(case, few, planned, aim))

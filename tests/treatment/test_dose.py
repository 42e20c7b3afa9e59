"""Amounts two ways, refusals, cautions, the contract of `dose`; volume by salt."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.case.volume import volume_by_salt
from burden.evidence import load_agent
from burden.treatment.dose import dose
from burden.treatment.dose_result import stock_solution
from burden.utils.errors import InputError
from burden.utils.formatting import volume

PUBLISHED = Path(__file__).parents[1] / "published"


def published_doses() -> list[dict[str, str]]:
    with (PUBLISHED / "doses.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", published_doses(), ids=lambda r: f"{r['agent']}-{r['mg_l']}-{r['strength_percent']}")
def test_amounts_of_the_handbooks(row):
    """Role: arithmetic on handbook values; see the source beside each row."""
    found = dose(
        row["agent"], float(row["volume_l"]), float(row["mg_l"]), float(row["strength_percent"]),
        accept_unpublished=True, temperature_c=18.0,
    )  # fmt: skip
    for key in ("mass_g", "product_g", "product_ml"):
        if row[key]:
            assert getattr(found, key) == pytest.approx(float(row[key]), abs=float(row["tolerance"]))
        else:
            assert getattr(found, key) is None


@given(
    volume=st.floats(0.1, 1e7),
    mg_l=st.floats(0.01, 500),
    strength=st.floats(1, 100),
    agent=st.sampled_from(["praziquantel", "formalin"]),
)
@settings(max_examples=80, deadline=None)
def test_amounts_by_a_second_path(volume, mg_l, strength, agent):
    """Decimal arithmetic by way of cubic metres and kilograms, not of litres and milligrams."""
    found = dose(agent, volume, mg_l, strength, accept_unpublished=True)
    kilograms = Decimal(mg_l) / 1000 * Decimal(volume) / 1000  # g/m3 x m3, in kg
    assert found.mass_mg == pytest.approx(float(kilograms * 1_000_000), rel=1e-12)
    assert found.mass_g == pytest.approx(float(kilograms * 1000), rel=1e-12)
    share = Decimal(strength) / 100
    if agent == "praziquantel":
        assert found.product_g == pytest.approx(float(kilograms / share * 1000), rel=1e-12)
    else:
        litres = kilograms * Decimal("0.37") / share / Decimal("1.09")
        assert found.product_ml == pytest.approx(float(litres * 1000), rel=1e-12)


def test_contract_keys():
    found = json.loads(dose("formalin", 1000.0, 25.0).to_json())
    for key in ("agent", "route", "volume_l", "mg_l", "mass_mg", "mass_g", "strength_percent", "basis"):
        assert found[key] is not None
    assert found["product_g"] is None
    assert found["mass_mg"] == found["mg_l"] * found["volume_l"]
    assert isinstance(found["cautions"], list)
    assert "0.37 mg/L formaldehyde" in found["basis"]
    assert json.loads(dose("praziquantel", 1000.0).to_json())["product_ml"] is None


def test_customary_dose_says_it_has_no_source():
    found = dose("praziquantel", 1000.0)
    assert (found.mg_l, found.hours) == (5.0, 24.0)
    assert "common practice, no source" in found.reason
    assert "common practice, no source" in str(found)


def test_a_dip_is_no_longer_than_fish_bore_it():
    """Onaka et al. 2003: pacu bore 100 mg/L for 7 min and 50 mg/L for 14."""
    assert dose("praziquantel", 1000.0, 100.0, route="dip").hours <= 7.1 / 60
    assert dose("praziquantel", 1000.0, 50.0, route="dip", hours=14 / 60).hours == 14 / 60
    with pytest.raises(InputError, match="longer dip"):
        dose("praziquantel", 1000.0, 100.0, route="dip", hours=10 / 60)


def test_what_a_host_bears_limits_the_dose():
    """Fish Hatchery Management p. 276: no more than 167 mg/L for 1 h above 10 °C in trout and salmon."""
    assert dose("formalin", 100.0, 200.0, temperature_c=9.0, species="rainbow trout").mg_l == 200.0
    with pytest.raises(InputError, match="167"):
        dose("formalin", 100.0, 200.0, temperature_c=14.0, species="rainbow trout")


def test_host_nobody_tried_is_said_so():
    found = dose("praziquantel", 1000.0, species="clown loach")
    assert any("try it on a few fish first" in line for line in found.cautions)


def test_unknown_agent_gives_the_near_miss():
    with pytest.raises(InputError, match="praziquantel"):
        dose("prazikwantel", 1000.0)


def test_oxygen_of_a_formalin_bath():
    """Fish Hatchery Management p. 276: 1 mg/L of oxygen for each 5 mg/L within 30 to 36 h."""
    assert any("about 5 mg/L of oxygen" in line for line in dose("formalin", 1000.0, 25.0).cautions)


@given(grams=st.floats(0.001, 0.0999))
@settings(max_examples=30)
def test_stock_recipe_gives_the_amount_back(grams):
    found = stock_solution(grams, None)
    assert found.amount / found.stock_l * found.use_l == pytest.approx(grams)
    assert 1000 * found.amount / found.stock_l <= load_agent("praziquantel").solubility.low_mg_l
    assert str(found).startswith("Too little for a scale that shows 0.1 g: stir 1 g of the product into 10 L")
    assert f"use {volume(found.use_l)} of that" in str(found)


def test_enough_to_weigh_needs_no_stock():
    assert stock_solution(0.1, None) is None
    assert stock_solution(None, 1.0) is None
    assert dose("formalin", 10.0, 25.0).stock.startswith("Too little")


def test_result_renders_as_table_and_text():
    found = dose("praziquantel", 1000.0, 5.0, 50.0)
    assert "10 g of the product" in str(found)
    assert set(found.to_frame()["quantity"]) >= {"volume_l", "mg_l", "product_g"}
    assert "What would change it" in str(found)


def test_volume_by_salt_is_mass_over_rise_with_its_error():
    """Arithmetic: 5 kg of pure salt that raise the water by 0.5 g/L are in 10 m³."""
    found = volume_by_salt(5000.0, 0.5, purity=1.0)
    assert found.volume_l == pytest.approx(10_000.0)
    assert found.low_l < 10_000 < found.high_l


def test_volume_by_salt_interval_holds_the_truth_nine_times_in_ten():
    """Simulation of the meter: 4 000 draws, standard error of the coverage 0.5 points, tolerance four of them."""
    rng = np.random.default_rng(3)
    truth, mass = 8000.0, 2000.0
    rises = mass / truth + rng.normal(scale=0.01, size=(4000, 2)) @ [1, -1]
    weighed = mass + rng.normal(size=4000)
    held = [
        (found := volume_by_salt(m, r, purity=1.0)).low_l <= truth <= found.high_l
        for m, r in zip(weighed, rises, strict=True)
    ]
    assert np.mean(held) == pytest.approx(0.90, abs=0.02)


def test_a_rise_within_the_error_of_the_meter_has_no_upper_end():
    found = volume_by_salt(100.0, 0.02)
    assert found.as_dict()["high_l"] is None
    assert "add more salt" in str(found)
    with pytest.raises(InputError):
        volume_by_salt(100.0, 0.0)


def test_salt_names_no_degree_days():
    words = " ".join(dose("sodium_chloride", 100.0, food_fish=True, temperature_c=18.0).cautions)
    assert "degree-days" not in words
    assert "local rules decide" in words

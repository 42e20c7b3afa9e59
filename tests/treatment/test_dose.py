"""Amounts two ways, refusals, cautions, the contract of `dose`; volume by salt."""

from __future__ import annotations

import csv
import json
import math
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.case.volume import volume_by_salt
from burden.evidence import agent_names, load_agent
from burden.treatment.dose import dose, odd_dose
from burden.treatment.dose_result import stock_solution
from burden.utils.errors import InputError
from burden.utils.formatting import plain, volume

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


@pytest.mark.parametrize(
    ("agent", "mg_l", "hours", "temperature_c"),
    [
        ("praziquantel", 15.0, 24.0, 20.0),  # above 10 mg/L only short baths are published
        ("praziquantel", 60.0, None, 20.0),
        ("praziquantel", 0.2, None, 20.0),
        ("formalin", 60.0, None, 20.0),  # between the indefinite and the short bath
        ("formalin", 200.0, None, 25.0),  # Francis-Floyd, extension VM-77: 150 mg/L at most above 21 °C
        ("formalin", 200.0, None, None),  # temperature not given: the warm limit
        ("formalin", 200.0, 3.0, 15.0),  # 60 min at most
        ("praziquantel", 40.0, 3.0, 20.0),  # 60 min at 40 mg/L; carp-like fish lose their balance after 2 h of it
        ("praziquantel", 20.0, 3.0, 20.0),  # 2 h at 20 mg/L
        ("hydrogen_peroxide", 700.0, None, None),  # published for 10 to 15 °C, fish died of it at 25 °C
        ("sodium_chloride", 30_000.0, 0.25, 20.0),  # how long 30 g/L was held is not in the abstract
    ],
)
def test_a_dose_no_source_gives_is_refused_unless_accepted(agent, mg_l, hours, temperature_c):
    with pytest.raises(InputError) as caught:
        dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c)
    (problem,) = caught.value.problems
    assert problem.place == "--mg-l"
    assert plain(mg_l) in problem.value
    assert "--accept-unpublished-dose" in problem.fix
    accepted = dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c, accept_unpublished=True)
    assert "No source gives this dose" in accepted.cautions[0]


@pytest.mark.parametrize(
    ("agent", "mg_l", "hours", "temperature_c", "length"),
    [
        ("praziquantel", 10.0, None, None, 24.0),
        ("praziquantel", 40.0, None, None, 1.0),
        ("praziquantel", 20.0, 2.0, None, 2.0),  # Chisholm & Whittington 2002
        ("praziquantel", 10.0, 3.0, None, 3.0),  # Schmahl & Mehlhorn 1985
        ("hydrogen_peroxide", 700.0, 0.75, 12.0, 0.75),
        ("praziquantel", 10.0, 48.0, None, 48.0),  # Forwood et al. 2013b
        ("formalin", 200.0, None, 15.0, 1.0),
        ("formalin", 150.0, None, 25.0, 1.0),
        ("formalin", 30.0, None, None, 24.0),  # Rowland et al. 2006
    ],
)
def test_published_doses_pass_with_their_hours(agent, mg_l, hours, temperature_c, length):
    assert dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c).hours == length


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


def test_every_problem_is_listed_at_once():
    with pytest.raises(InputError) as caught:
        dose("formalin", -5.0, math.nan, 120.0, route="in_feed", hours=math.inf, temperature_c=300.0)
    assert {p.place for p in caught.value.problems} == {
        "--volume-l", "--mg-l", "--strength-percent", "--route", "--hours", "--temperature",
    }  # fmt: skip


def test_unknown_agent_gives_the_near_miss():
    with pytest.raises(InputError, match="praziquantel"):
        dose("prazikwantel", 1000.0)


def test_cautions_of_formalin_name_what_matters():
    words = " ".join(dose("formalin", 1000.0, 25.0).cautions).lower()
    for needle in (
        "carcinogen", "gloves", "oxygen", "permanganate", "precipitate", "a few fish first", "eight days", "eggs",
        "1.09 g/ml", "37 % assumed",
    ):  # fmt: skip
        assert needle in words


def test_cautions_of_praziquantel_name_what_matters():
    words = " ".join(dose("praziquantel", 1000.0, 5.0).cautions).lower()
    for needle in (
        "ultraviolet",
        "carbon",
        "feeding",
        "aerate",
        "eggs",
        "protozoa",
        "dissolves badly",
        "active substance",
    ):
        assert needle in words


@pytest.mark.parametrize("name", agent_names())
def test_who_decides_is_said_of_every_agent_and_what_may_kill_comes_first(name):
    result = dose(name, 1000.0, accept_unpublished=True)
    lines = [line[2:] for line in result.text().split("Cautions:\n")[1].splitlines()]
    assert sorted(lines) == sorted(set(result.cautions))
    assert any("licensed veterinarian decide" in line and "withdrawal" in line for line in lines)
    kinds = {str(caution): caution.rank for caution in result.cautions}
    assert [kinds[line] for line in lines] == sorted(kinds.values())


def test_oxygen_of_a_formalin_bath():
    """Fish Hatchery Management p. 276: 1 mg/L of oxygen for each 5 mg/L within 30 to 36 h."""
    assert any("about 5 mg/L of oxygen" in line for line in dose("formalin", 1000.0, 25.0).cautions)


def test_volume_range_turns_into_a_range_of_concentration():
    found = dose("praziquantel", 1000.0, 8.0, volume_range_l=(640.0, 1600.0))
    assert any("In 640 to 1 600 L of water, this amount gives 12.50 to 5.00 mg/L" in line for line in found.cautions)
    assert any("above 10 mg/L" in line for line in found.cautions)


def test_food_fish_get_a_withdrawal_without_a_jurisdiction():
    """Regulation (EU) 2019/6: 500 degree-days, from memory; 500 / 20 °C = 25 d."""
    words = " ".join(dose("praziquantel", 1000.0, food_fish=True, temperature_c=20.0).cautions)
    assert "500 degree-days, 25 d at 20 °C" in words
    assert "no jurisdiction assumed" in words
    assert "licensed veterinarian" in words
    assert "500 degree-days" not in " ".join(dose("praziquantel", 1000.0).cautions)


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


@pytest.mark.parametrize("name", agent_names())
def test_every_agent_has_a_customary_dose_within_its_published_ranges(name):
    found = dose(name, 500.0, temperature_c=15.0)
    assert found.cautions[0].startswith("Published")
    assert found.mass_mg == pytest.approx(found.mg_l * 500.0)
    assert found.mass_of in found.text()


@pytest.mark.parametrize(
    ("agent", "mg_l", "meant"),
    [("sodium_chloride", 10.0, "10 g/L"), ("praziquantel", 0.005, "0.005 g/L"), ("formalin", 0.1, "0.1 mL per litre")],
)
def test_a_number_that_fits_another_unit_is_questioned(agent, mg_l, meant):
    """The number is far outside every published range in mg/L, and inside one in the unit asked about."""
    with pytest.raises(InputError) as error:
        dose(agent, 1000.0, mg_l)
    assert f"Was {meant} meant" in error.value.problems[0].fix


def test_a_share_for_a_percentage_is_no_hundred_times_the_dose():
    """0.37 for 37 %: forty litres of formalin where 413 mL are meant."""
    with pytest.raises(InputError) as error:
        dose("formalin", 18000.0, 25.0, 0.37)
    (problem,) = error.value.problems
    assert (problem.place, problem.value) == ("--strength-percent", "0.37 %")
    assert "37 % is 37" in problem.fix
    assert dose("formalin", 18000.0, 25.0, 0.37, accept_unpublished=True).product_ml > 40_000
    assert dose("formalin", 18000.0, 25.0, 1.0).product_ml == pytest.approx(450 / 1.09 * 37)


def test_no_unit_is_questioned_where_none_fits():
    with pytest.raises(InputError) as error:
        dose("praziquantel", 1000.0, 300.0)
    assert "meant" not in error.value.problems[0].fix


@pytest.mark.parametrize("name", agent_names())
def test_only_what_no_source_gives_in_any_water_is_odd(name):
    """Every end of every published range passes, cold-water ranges included; ten times the most and a tenth do not."""
    ranges = load_agent(name).ranges
    for found in ranges:
        for mg_l in found.mg_l:
            assert [odd_dose(name, mg_l, found.route, hours) for hours in (None, *found.hours)] == ["", "", ""]
    for route in {found.route for found in ranges}:
        amounts = [mg_l for found in ranges if found.route == route for mg_l in found.mg_l]
        for mg_l in (10 * max(amounts), min(amounts) / 10):
            assert odd_dose(name, mg_l, route).startswith("published are ")
    assert odd_dose(name, 1.0, "in_feed") == ""


def test_after_a_change_the_share_changed_is_put_back():
    """f·C·V: a fifth of 90 g in 18 000 L at 5 mg/L."""
    (said,) = [c for c in dose("praziquantel", 18_000.0, 5.0).cautions if "is changed during the bath" in c]
    assert "share of the dose (18 g), not the whole" in said


@pytest.mark.parametrize(("kind", "words"), [("naive", "filter new to the drug"), ("adapted", "has met the drug")])
def test_what_fades_is_said_for_the_filter_there_is(kind, words):
    """C·V·(1 − exp(−k)) in a day, of 90 g, with the loss k of that filter."""
    bath = dose("praziquantel", 18_000.0, 5.0, hours=24.0, filter_kind=kind)
    (said,) = [c for c in bath.cautions if "is changed during the bath" in c]
    loss = load_agent("praziquantel").values[f"loss_per_day_{kind}"].value
    grams = float(said.split("; ")[1].split(" g more would bring it back")[0])
    assert grams == pytest.approx(90 * (1 - math.exp(-loss)), rel=2e-3)  # written to three figures
    share = float(said.split("about ")[1].split(" % of the dose is still in the water")[0])
    assert share == pytest.approx(100 * math.exp(-loss), abs=0.5)
    assert words in said


def test_without_a_filter_nothing_worth_saying_fades_in_a_day():
    cautions = dose("praziquantel", 18_000.0, 5.0, filter_kind="none").cautions
    (said,) = [c for c in cautions if "is changed during the bath" in c]
    assert "still in the water" not in said


@pytest.mark.parametrize(
    ("agent", "told"), [("sodium_chloride", True), ("hydrogen_peroxide", True), ("formalin", False)]
)
def test_a_short_bath_is_said_to_have_to_end(agent, told):
    """Weighed out for a pond, salt of a short bath would stay in it."""
    found = dose(agent, 22_000.0)
    ends = [caution for caution in found.cautions if caution.startswith("A bath of 30 min must end on time")]
    assert [caution.kind for caution in ends] == ["danger"] * told

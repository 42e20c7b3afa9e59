"""A long bath in water that flows: arithmetic of flow and oxygen, and what cannot be given."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from cases import a_case, dose, exactly

from burden.case import ConstantTemperature, FishGroup, Limits, YearlyTemperature
from burden.inference.prior import draw_pond
from burden.schedule.eligibility import dose_of
from burden.treatment.bath_notes import notes_on_flow
from burden.treatment.flowing_bath import bath_in_flow, oxygen_hours, oxygen_use_mg_per_kg_h
from burden.utils.formatting import named


def flowing(exchange=0.0, kind=None, count=40, weight_g=400.0, **water):
    """10 m³ with so many fish."""
    case = a_case(fish=(FishGroup("rainbow trout", count, True, exactly(weight_g)),))
    return replace(case, water=replace(case.water, exchange_per_day=exchange, kind=kind, **water))


def test_oxygen_use_against_handbook_figures():
    """Resting or quietly swimming salmonids of 100 g take 150 to 350 mg/(kg h) at 10 to 15 °C (from memory)."""
    assert 150 < oxygen_use_mg_per_kg_h(100.0, 12.0) < 350
    assert (
        oxygen_use_mg_per_kg_h(100.0, 20.0) > oxygen_use_mg_per_kg_h(100.0, 10.0) > oxygen_use_mg_per_kg_h(2000.0, 10.0)
    )


def test_oxygen_lasts_what_the_spare_oxygen_over_the_use_gives():
    assert oxygen_hours(10.0, 1000.0, 20.0, 250.0) == pytest.approx(5 * 1000 / (20 * 250))
    assert oxygen_hours(4.0, 1000.0, 20.0, 250.0) == 0.0
    assert oxygen_hours(10.0, 1000.0, 0.0, 250.0) == np.inf


def test_half_life_and_drip_follow_from_the_flow():
    """Two exchanges a day: half gone in 8.3 h, 833 L an hour; 5 mg/L in that is 4.2 g an hour, three doses in a day."""
    bath = bath_in_flow(flowing(2.0, "raceway", count=2000, weight_g=100.0, aeration=True), "praziquantel")
    assert bath.mode == "drip_feed"
    assert bath.half_life_hours == pytest.approx(24 * np.log(2) / 2)
    assert bath.flow_l_per_hour == pytest.approx(10_000 * 2 / 24)
    assert bath.drip_mg_per_hour == pytest.approx(5 * 10_000 * 2 / 24)
    assert bath.doses == pytest.approx(3.0)
    assert bath.oxygen_hours < 1.0  # 200 kg in 10 m³


@pytest.mark.parametrize(
    ("case", "agent", "mode", "reason"),
    [
        (flowing(0.05), "praziquantel", "still", "little_exchange"),
        (flowing(2.0, "raceway", count=1), "praziquantel", "stop_flow", "oxygen_lasts"),
        (flowing(2.0, aeration=True), "praziquantel", "stop_flow", "aeration_holds"),
        # a little make-up water brings little oxygen: it is the air that these fish live by
        (flowing(0.5, "tank", count=2000, aeration=True), "praziquantel", "stop_flow", "aeration_holds"),
        (flowing(2.0, "cage"), "mebendazole", "impossible", "open_cage"),
        (flowing(0.0, "cage"), "mebendazole", "impossible", "open_cage"),
        (flowing(0.0, "cage"), "praziquantel", "enclosed", "open_cage"),
        (flowing(60.0, "raceway", count=4000), "praziquantel", "impossible", "too_much_flow"),
        (flowing(60.0, "cage"), "hydrogen_peroxide", "enclosed", "open_cage"),
        (flowing(60.0, "raceway"), "hydrogen_peroxide", "apart", "short_bath"),
        (flowing(20.0, "cage"), "formalin", "enclosed", "open_cage"),
        (flowing(10.0, "raceway", count=200), "formalin", "stop_flow", "oxygen_lasts"),
        (flowing(40.0, "raceway", count=2000), "formalin", "drip_feed", "oxygen_too_short"),
        (flowing(60.0, "raceway", count=4000), "formalin", "impossible", "too_much_flow"),
    ],
)
def test_how_a_bath_can_be_given(case, agent, mode, reason):
    bath = bath_in_flow(case, agent)
    assert (bath.mode, bath.reason) == (mode, reason)


def test_a_year_that_is_warmest_on_29_february_has_a_bath_in_any_year():
    """As south of the equator, written down in a leap year: the water of that day is that of the day after."""
    late = replace(flowing(2.0, aeration=True), visit_date=date(2026, 3, 1))
    yearly, constant = (
        bath_in_flow(replace(late, water=replace(late.water, temperature=spec)), "praziquantel")
        for spec in (YearlyTemperature(20.0, 10.0, (2, 29)), ConstantTemperature(30.0))
    )
    assert yearly.oxygen_hours == pytest.approx(constant.oxygen_hours, rel=1e-3)


@pytest.mark.parametrize(("species", "mg_l"), [("rainbow trout", 150.0), ("koi", 100.0), ("neon tetra", 75.0)])
def test_a_short_bath_is_no_stronger_than_the_host_bears(species, mg_l):
    """150 mg/L for an hour in warm water (uflformalin); koi no more than 100 (tancredo2018), tetras 75 (amazonica)."""
    raceway = flowing(10.0, "raceway", count=200)
    case = replace(raceway, fish=(replace(raceway.fish[0], species=species),))
    bath = bath_in_flow(case, "formalin")
    assert (bath.mg_l, bath.hours) == (mg_l, 1.0)


@pytest.mark.parametrize(
    ("water_c", "before", "mg_l"),
    [
        (8.0, (200.0, 1.0), 200.0),
        (8.0, (300.0, 1.0), 250.0),
        (9.5, (200.0, 1.0), 167.0),
        (14.0, (200.0, 1.0), 167.0),
        (9.0, (25.0, 24.0), 150.0),
    ],
)
def test_a_short_bath_is_no_weaker_than_those_before(water_c, before, mg_l):
    """Up to 250 mg/L for an hour at 21 °C or below (uflformalin), for trout no more than 167 above 10 °C
    (hatchery1982), which 9.5 °C may be by the day of the bath; a long bath before says nothing of a short one."""
    raceway = flowing(10.0, "raceway", count=200)
    water = replace(raceway.water, temperature=ConstantTemperature(water_c))
    case = replace(raceway, water=water, given=(dose(-7, "formalin", *before),))
    assert bath_in_flow(case, "formalin").mg_l == mg_l


def test_a_short_bath_of_the_raceway_itself_is_weighed_for_all_its_water_and_of_a_cage_for_what_is_enclosed():
    """By hand: 150 mg/L in 10 m³ is 1.5 kg, at 1.09 g/mL 1.38 L; in each m³ 150 g, 138 mL."""
    raceway, cage = (dose_of(flowing(10.0, kind, count=200), "formalin") for kind in ("raceway", "cage"))
    assert (raceway.place, raceway.apart, cage.place, cage.apart) == ("flow_stopped", False, "enclosed", True)
    assert raceway.product_ml == pytest.approx(1500 / 1.09, rel=1e-3)
    assert cage.product_ml == pytest.approx(150 / 1.09, rel=1e-3)
    assert raceway.hours == cage.hours == 1.0


def test_the_short_bath_of_praziquantel_is_that_of_its_water():
    """Published: 20 mg/L for 2 h for a fish of the sea (chisholm2002), 10 mg/L for 3 h in fresh water (schmahl1985)."""
    case = flowing(20.0, "cage")
    for medium, mg_l, hours in (("fresh", 10.0, 3.0), ("sea", 20.0, 2.0)):
        bath = bath_in_flow(replace(case, water=replace(case.water, medium=medium)), "praziquantel")
        assert (bath.mode, bath.mg_l, bath.hours) == ("enclosed", mg_l, hours)


def test_a_bath_held_kills_as_in_still_water_and_an_impossible_one_nothing():
    still, held, left = (
        draw_pond(flowing(e, k, aeration=a), "dactylogyrus", 100, 1).effects["praziquantel"].kill_of("adult")
        for e, k, a in ((0.0, None, True), (2.0, "raceway", True), (0.2, None, None))
    )
    np.testing.assert_allclose(held, still, atol=1e-9)
    assert np.all(left <= still + 1e-12)
    limits = Limits(agents=("mebendazole",))
    caged = replace(flowing(20.0, "cage"), limits=limits)
    cage = draw_pond(caged, "dactylogyrus", 100, 1).effects["mebendazole"]
    assert cage.kill_of("adult").max() == 0
    assert cage.settler_kill.max() == 0


def test_what_is_said_of_a_bath_in_flow_names_its_numbers():
    said = {
        bath.mode: notes_on_flow(bath)
        for bath in (
            bath_in_flow(flowing(0.05), "praziquantel"),
            bath_in_flow(flowing(2.0, aeration=True), "praziquantel"),
            bath_in_flow(flowing(2.0, "raceway", count=2000, weight_g=100.0), "praziquantel"),
            bath_in_flow(flowing(2.0, "cage"), "mebendazole"),
        )
    }
    assert said["still"] == []
    assert [note.level for mode in ("stop_flow", "drip_feed", "impossible") for note in said[mode]] == [
        "caution",
        "caution",
        "withhold",
    ]
    assert "drip 4.17 g of praziquantel an hour" in said["drip_feed"][0].text
    assert "the cage is open" in said["impossible"][0].reason


def test_a_liquid_is_dripped_by_volume():
    """Formalin is poured: 37 % formalin weighs 1.09 g/mL (handbook value, from memory)."""
    bath = bath_in_flow(flowing(30.0, "raceway", count=40_000, weight_g=100.0), "formalin")
    assert bath.mode == "drip_feed"
    litres = bath.drip_mg_per_hour / 1e6 / 1.09
    (note,) = notes_on_flow(bath)
    assert f"drip {litres:.2f} L of 37 % formalin solution an hour" in note.text


@pytest.mark.parametrize("agent", ["praziquantel", "fresh_water", "hydrogen_peroxide"])
def test_notes_on_a_bath_are_in_units_people_use(agent):
    """No 8.62e+03 g, no 0.08 h, no "about 0 h": kilograms and minutes, and whose bath it is."""
    crowded = flowing(30.0, "raceway", count=40_000, weight_g=100.0, oxygen_mg_l=5.1)
    for case in (crowded, flowing(2.0, "cage", medium="sea")):
        for note in notes_on_flow(bath_in_flow(case, agent)):
            said = f"{note.text} {note.reason}"
            assert not re.search(r"e\+0|\b0\.\d+ h|\b0 h", said), said
            assert named(agent) in said.lower(), said


@pytest.mark.parametrize(
    ("agent", "species", "weight_g", "mg_l"),
    [
        ("praziquantel", "koi", 20.0, 5.0),
        ("praziquantel", "koi fry", 2.0, 2.0),
        ("praziquantel", "koi", 0.5, 2.0),
        ("praziquantel", "grass carp fry", 0.5, 1.0),
        ("formalin", "sterlet", 200.0, 25.0),
    ],
)
def test_delicate_hosts_have_the_lower_dose_that_they_bear(agent, species, weight_g, mg_l):
    """Published: carp larvae bore 2 mg/L of praziquantel (carpfry2022), 2 mg/L killed grass carp fry (grasscarpfry)."""
    group = FishGroup(species, 200, False, exactly(weight_g))
    assert bath_in_flow(replace(a_case(), fish=(group,)), agent).mg_l == mg_l

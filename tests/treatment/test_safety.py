"""Hosts, water and findings that speak against a dose."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from burden.evidence import agent_names, load_agent
from burden.io.schema import OTHER_FINDINGS
from burden.treatment.host_tolerance import host_advice, withdrawal_days
from burden.treatment.safety import safety_check
from burden.treatment.water_chemistry import oxygen_demand_mg_l, unionised_share

PUBLISHED = Path(__file__).parents[1] / "published"
FORMALIN, PRAZIQUANTEL = load_agent("formalin"), load_agent("praziquantel")
GOOD = {
    "temperature_c": 18.0,
    "oxygen_mg_l": 9.5,
    "alkalinity_mg_l_caco3": 120.0,
    "aeration": True,
    "species": ("koi",),
}


def ammonia_rows() -> list[dict[str, str]]:
    with (PUBLISHED / "unionised_ammonia.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", ammonia_rows(), ids=lambda r: f"{r['ph']}-{r['temperature_c']}")
def test_unionised_share_meets_the_table(row):
    """Emerson et al. 1975, table, from memory. Three digits printed and 0.05 K of another zero: 1.5 %."""
    found = 100 * unionised_share(float(row["ph"]), float(row["temperature_c"]))
    assert found == pytest.approx(float(row["percent"]), rel=0.015)


def withheld(agent=FORMALIN, mg_l=25.0, hours=24.0, **changes) -> list[str]:
    return [n.text for n in safety_check(agent, mg_l, hours, **{**GOOD, **changes}) if n.level == "withhold"]


@pytest.mark.parametrize(
    ("name", "mg_l", "hours", "own"),
    [("hydrogen_peroxide", 75.0, 0.5, "hirazawa2016"), ("formalin", 25.0, 24.0, "rowland2006")],
)
@pytest.mark.parametrize("temperature_c", [29.0, None])
def test_water_too_warm_names_the_sources_of_the_agent_itself(name, mg_l, hours, own, temperature_c):
    notes = safety_check(load_agent(name), mg_l, hours, **{**GOOD, "temperature_c": temperature_c})
    (note,) = [n for n in notes if "this warm" in n.text or "water temperature" in n.text]
    assert own in note.source
    assert "lin2003" not in note.source or name == "formalin"


@pytest.mark.parametrize(("agent", "mg_l"), [(FORMALIN, 25.0), (PRAZIQUANTEL, 5.0)])
def test_good_water_withholds_nothing(agent, mg_l):
    assert withheld(agent, mg_l) == []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"oxygen_mg_l": 4.5}, "aeration"),  # extension texts, from memory: at least 5 to 6 before formalin
        ({"oxygen_mg_l": None}, "measured"),
        ({"short_of_breath": True}, "short of breath"),  # common practice, no source
        ({"oxygen_mg_l": 8.0, "aeration": False}, "aeration"),  # 8 − 5 leaves 3 mg/L
        ({"temperature_c": 29.0}, "warm"),
        ({"species": ("koi", "striped bass")}, "striped bass"),  # Fish Hatchery Management p. 276
        ({"findings": ("virus_suspected",)}, "virus"),
        ({"permanganate_used": True}, "permanganate"),
        ({"formalin_before_mg_l": 50.0, "max_formalin_mg_l_total": 60.0}, "limit"),
    ],
)
def test_each_danger_withholds_formalin(change, word):
    (text,) = withheld(**change)
    assert word in text


def test_oxygen_is_judged_by_what_the_water_can_hold_and_whether_air_runs():
    """At 27 °C air keeps water at 7.9 mg/L at the most (Benson & Krause 1984): a bare limit would refuse the best."""
    assert withheld(temperature_c=26.5, oxygen_mg_l=7.4) == []
    assert withheld(temperature_c=26.5, oxygen_mg_l=7.4, aeration=False)
    assert withheld(temperature_c=10.0, oxygen_mg_l=7.4)  # two thirds of what cold water holds, air or not
    assert not withheld(PRAZIQUANTEL, 5.0, oxygen_mg_l=4.5)


def test_notes_carry_a_reason_with_the_number_and_what_would_lift_it():
    notes = safety_check(FORMALIN, 25.0, 24.0, **{**GOOD, "oxygen_mg_l": 4.2, "biofilter": True})
    assert notes[0].level == "withhold"
    assert "4.2 mg/L" in notes[0].reason
    for note in notes:
        assert note.reason
        assert note.would_change
        assert note.source
        assert note.as_dict()["text"] in str(note)


def test_missing_readings_are_asked_for_not_assumed_good():
    notes = safety_check(FORMALIN, 25.0, 24.0)
    assert "oxygen_unmeasured" in [n.code for n in notes if n.level == "withhold"]
    assert "Measure the water temperature before dosing" in [n.text for n in notes]


def test_cautions_about_soft_water_equipment_and_fungus():
    notes = safety_check(
        FORMALIN, 25.0, 24.0,
        **{**GOOD, "alkalinity_mg_l_caco3": 30.0, "uv_or_carbon_on": True, "biofilter": True,
           "findings": ("fungus",)},
    )  # fmt: skip
    words = " ".join(n.text.lower() for n in notes)
    for needle in ("ph", "ultraviolet", "biofilter", "fungus"):
        assert needle in words
    assert all(n.level == "caution" for n in notes)


def test_gill_disease_withholds_what_takes_oxygen_and_no_other():
    """Common practice, no source: gills that are sick already bear no bath that takes the oxygen."""
    for agent, level in ((FORMALIN, "withhold"), (PRAZIQUANTEL, "caution")):
        notes = safety_check(agent, 5.0, 24.0, **{**GOOD, "findings": ("bacterial_gill_disease",)})
        assert [n.level for n in notes if "gill to spare" in n.reason] == [level]


@pytest.mark.parametrize(("agent", "says"), [(PRAZIQUANTEL, "of their own"), (FORMALIN, "as well")])
def test_other_findings_say_what_the_agent_does_to_them(agent, says):
    """Common practice, no source: praziquantel does nothing to protozoa, formalin does."""
    notes = safety_check(agent, 5.0, 24.0, **{**GOOD, "findings": ("ciliates",)})
    (note,) = [n for n in notes if "ciliates" in n.text.lower()]
    assert says in note.text


@pytest.mark.parametrize("name", agent_names())
def test_every_agent_says_what_it_does_to_every_finding(name):
    """A virus withholds every agent and what is unknown is treated by none; all others have a row."""
    told = [row.finding for row in load_agent(name).against]
    assert sorted(told) == sorted(set(OTHER_FINDINGS) - {"virus_suspected", "unknown"})


def test_oxygen_demand_of_a_bath_that_is_flushed_out():
    """Fish Hatchery Management p. 276: 1 mg/L for each 5 mg/L within 30 to 36 h; an hour takes a thirtieth."""
    assert oxygen_demand_mg_l(FORMALIN, 250.0) == pytest.approx(50.0)
    assert oxygen_demand_mg_l(FORMALIN, 250.0, 1.0) == pytest.approx(50.0 / 30)
    assert oxygen_demand_mg_l(PRAZIQUANTEL, 5.0) == 0.0


@pytest.mark.parametrize(
    ("agent", "species", "advice"),
    [
        (FORMALIN, "Striped bass", "avoid"),
        (FORMALIN, "neon tetras", "lower dose"),
        (FORMALIN, "Cyprinus carpio", "usable"),
        (FORMALIN, "discus", "no data"),
        (FORMALIN, "characin", "lower dose"),  # not a char
        (PRAZIQUANTEL, "goldfish", "usable"),
        (PRAZIQUANTEL, "grass carp fry", "lower dose"),
        (PRAZIQUANTEL, "stingray", "no data"),
    ],
)
def test_advice_for_a_host(agent, species, advice):
    assert host_advice(agent, species, agent.customary.mg_l, 24.0).advice == advice


def test_withdrawal_counts_degree_days():
    """500 degree-days: 25 d at 20 °C, 50 d at 10 °C; never in water at 0 °C (arithmetic)."""
    assert withdrawal_days(500.0, 10.0) == 50.0
    assert withdrawal_days(500.0, 0.0) is None


@pytest.mark.parametrize("name", agent_names())
def test_every_agent_can_be_checked(name):
    agent = load_agent(name)
    bath = agent.customary
    assert all(n.level in ("withhold", "caution") for n in safety_check(agent, bath.mg_l, bath.hours, **GOOD))


@pytest.mark.parametrize(("salinity", "told"), [(0.3, False), (3.0, True), (34.0, False), (None, False)])
def test_a_little_salt_in_the_water_is_said_to_be_no_treatment(salinity, told):
    notes = safety_check(load_agent("praziquantel"), 5.0, 24.0, salinity_g_l=salinity)
    assert any(note.text == "Do not count on the salt in the water" for note in notes) == told

"""What water and fish ask for before a dose: which readings stop it, and how much water to change."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from cases import a_case

from burden.case import UNKNOWN_AGENT, Action, Findings
from burden.treatment.gates import LEVELS, days_to_mend, gates_of, stopped

GOOD = {"oxygen_mg_l": 8.5, "ph": 7.2, "total_ammonia_n_mg_l": 0.1, "nitrite_n_mg_l": 0.02}


def in_water(findings: Findings | None = None, medium: str = "fresh", **readings):
    case = a_case()
    water = replace(case.water, medium=medium, **{**GOOD, **readings})
    return replace(case, water=water, findings=findings or Findings())


def codes(case, temperature_c: float = 20.0) -> dict[str, str]:
    return {gate.code: gate.level for gate in gates_of(case, temperature_c)}


def test_good_water_asks_for_nothing():
    assert codes(in_water()) == {}


def test_what_was_not_measured_is_asked_for_and_stops_nothing_by_itself():
    nothing = dict.fromkeys(GOOD)
    found = codes(in_water(**nothing))
    assert set(found) == {"oxygen_unmeasured", "ammonia_unmeasured", "ph_unmeasured", "nitrite_unmeasured"}
    assert set(found.values()) == {"measure"}
    assert not stopped(gates_of(in_water(**nothing), 20.0))


@pytest.mark.parametrize(
    ("readings", "temperature_c", "code"),
    [
        ({"oxygen_mg_l": 3.5}, 20.0, "oxygen_low"),  # waterlimits, weak: above 4 mg/L for warm-water fish
        ({"oxygen_mg_l": 5.5}, 2.0, "oxygen_low"),  # two fifths of what water of 2 °C holds (Benson & Krause 1984)
        ({"total_ammonia_n_mg_l": 1.0, "ph": 8.6}, 25.0, "ammonia_high"),  # Emerson et al. 1975: 18 % un-ionised
        ({"nitrite_n_mg_l": 0.9}, 20.0, "nitrite_high"),
        ({"ph": 5.2}, 20.0, "ph_extreme"),
    ],
)
def test_bad_water_stops_a_dose(readings, temperature_c, code):
    found = gates_of(in_water(**readings), temperature_c)
    assert found[0].code == code
    assert stopped(found)
    assert found[0].remedy is not None


@pytest.mark.parametrize(("findings", "level"), [(Findings(), None), (Findings(gill_mucus=True), "care")])
def test_oxygen_that_the_night_takes_counts_for_fish_that_are_short_of_air(findings, level):
    """Three fifths of what the water holds by day, and gills in mucus: air first (common practice, no source)."""
    assert codes(in_water(findings, oxygen_mg_l=5.2), 24.0).get("oxygen_low") == level


def test_so_many_changes_of_water_bring_nitrite_under_the_limit_that_is_named():
    """Arithmetic: 1.2 mg/L halved four times is 0.075, three times 0.15."""
    (gate,) = gates_of(in_water(Findings(gill_colour="brown"), nitrite_n_mg_l=1.2), 20.0)
    assert gate.limit == 0.1
    assert 1.2 * (1 - gate.remedy.percent / 100) ** gate.remedy.times <= gate.limit


def test_ammonia_is_told_as_a_kit_for_the_home_reads_it():
    """The limit of 0.05 mg/L of NH3 over the share that is NH3 and the ratio of the molar masses, 17.03 to 14.01."""
    (gate,) = gates_of(in_water(total_ammonia_n_mg_l=2.0, ph=8.0), 20.0)
    share = 0.0381  # Emerson et al. 1975, table: 3.82 % at pH 8 and 20 °C, from memory
    assert gate.as_read == pytest.approx(0.05 / share / (17.03 / 14.01), rel=0.01)


def test_ammonia_does_little_at_low_ph():
    """At pH 6.5 and 15 °C a thousandth of it is un-ionised (Emerson et al. 1975)."""
    assert "ammonia_high" not in codes(in_water(total_ammonia_n_mg_l=3.0, ph=6.5), 15.0)


def test_chloride_keeps_nitrite_out_of_the_gills():
    """Ten times as much chloride as nitrite protects (waterlimits): 1 g/L of salt holds 550 mg/L."""
    assert "nitrite_high" in codes(in_water(nitrite_n_mg_l=0.9))
    assert "nitrite_high" not in codes(in_water(nitrite_n_mg_l=0.9, salinity_g_l=1.0))
    assert "nitrite_high" not in codes(in_water(nitrite_n_mg_l=0.9, medium="sea"))
    # measured, ten times as much: it only just protects, so the water is changed along
    assert codes(in_water(nitrite_n_mg_l=0.9, chloride_mg_l=10.0)) == {"nitrite_high": "care"}
    assert "nitrite_high" not in codes(in_water(nitrite_n_mg_l=0.9, chloride_mg_l=30.0))
    assert "nitrite_high" in codes(in_water(nitrite_n_mg_l=0.9, chloride_mg_l=5.0, salinity_g_l=1.0))


def test_brown_gills_are_nitrite_until_it_is_down():
    """Blood browned by nitrite carries no oxygen, whatever the chloride should do (common practice, no source)."""
    brown = Findings(gill_colour="brown")
    for nitrite, chloride in ((1.2, 15.0), (3.0, 30.0), (0.2, 100.0)):
        (gate,) = gates_of(in_water(brown, nitrite_n_mg_l=nitrite, chloride_mg_l=chloride), 20.0)
        assert (gate.code, gate.level, gate.deduced) == ("nitrite_high", "stop", True)
    assert codes(in_water(brown, nitrite_n_mg_l=0.05)) == {}
    assert codes(in_water(brown, nitrite_n_mg_l=None)) == {"gills_brown": "stop", "nitrite_unmeasured": "measure"}


@pytest.mark.parametrize(("age", "waits"), [(0, 3.0), (1, 2.0), (2, 1.0), (3, None), (9, None)])
def test_what_nobody_can_name_goes_before_a_dose_goes_in(age, waits):
    """A second drug is not given on top of an unknown one of yesterday (common practice, no source)."""
    case = in_water()
    case = replace(case, given=(Action(case.visit_date - timedelta(days=age), agent=UNKNOWN_AGENT),))
    gates = [gate for gate in gates_of(case, 20.0) if gate.code == "unknown_product"]
    assert [gate.wait_days for gate in gates] == ([] if waits is None else [waits])
    assert days_to_mend(tuple(gates)) == (0.0 if waits is None else max(waits, 2.0))  # two changes of water


def test_gasping_fish_come_first_and_anaemic_ones_bear_no_loss_of_oxygen():
    """Common practice, no source."""
    assert codes(in_water(Findings(gasping=True))) == {"gasping": "stop"}
    for pale in (Findings(gill_colour="pale"), Findings(anaemia=True), Findings(haematocrit_percent=14.0)):
        assert codes(in_water(pale)) == {"anaemia": "agent"}
    assert codes(in_water(Findings(haematocrit_percent=35.0, gill_colour="pale"))) == {}  # measured beats looked at
    assert "anaemia" in codes(in_water(Findings(haematocrit_percent=20.0, anaemia=True)))  # who says so is believed


def test_the_weightiest_gate_comes_first():
    case = in_water(Findings(anaemia=True), oxygen_mg_l=4.5, nitrite_n_mg_l=0.9, ph=None)
    levels = [LEVELS.index(gate.level) for gate in gates_of(case, 20.0)]
    assert levels == sorted(levels)
    assert len(set(levels)) > 2


def test_whoever_changes_water_follows_one_order():
    """Low oxygen asks for a quarter, this ammonia for more and again: the larger change is ordered alone."""
    found = gates_of(in_water(oxygen_mg_l=3.4, ph=8.4, total_ammonia_n_mg_l=1.2), 26.0)
    changes = [gate.code for gate in found if gate.remedy is not None and gate.remedy.times]
    assert changes == ["ammonia_high"]
    assert all(gate.remedy.aerate for gate in found if gate.code == "oxygen_low")


def test_nobody_measures_ammonia_in_the_open_sea_round_a_cage():
    """Common practice, no source."""
    nothing = in_water(medium="sea", **dict.fromkeys(GOOD))
    cage = replace(nothing, water=replace(nothing.water, kind="cage"))
    assert codes(cage) == {"oxygen_unmeasured": "measure"}

"""The types of a case: derived figures against arithmetic done by hand, and what the words say."""

from __future__ import annotations

import ast
import dataclasses
from datetime import date, datetime
from pathlib import Path

import pytest

import burden.case
from burden.case import (
    Action,
    Arrival,
    Case,
    ConstantTemperature,
    DeathRecord,
    FishGroup,
    Limits,
    Override,
    Preparation,
    RecordedTemperature,
    Uncertain,
    Water,
    YearlyTemperature,
)
from burden.evidence import load_parasite

VISIT = date(2026, 5, 10)
KOI = FishGroup("koi", 40, food_fish=False, mean_weight_g=Uncertain(500.0, 400.0, 600.0, "scales"))


def case(**changes):
    water = Water(Uncertain.plain(12_000.0), "fresh", ConstantTemperature(18.0))
    return dataclasses.replace(Case("koi_pond", VISIT, water, (KOI,), ("dactylogyrus",)), **changes)


def test_a_plain_number_is_ten_percent_either_way_and_says_so():
    volume = Uncertain.plain(12_000.0)
    assert (volume.low, volume.high) == (10_800.0, 13_200.0)
    assert volume.assumed
    assert volume.assumption == "plain_number"


def test_weight_as_given_then_from_length_then_assumed():
    # A common carp of 200 mm weighs some 160 g at a condition factor of 2.0 g per 100 cm³ (definition of the
    # condition factor K = 100 W/L³, with W in g and L in cm): 2.0 · 20³ / 100 = 160.
    assert KOI.weight_g.value == 500.0
    by_length = FishGroup("koi", 1, False, length_mm=200.0).weight_g
    assert by_length.value == pytest.approx(2.0 * 20**3 / 100)
    assert (by_length.low, by_length.high) == pytest.approx((96.0, 224.0))
    unknown = FishGroup("koi", 1, False).weight_g
    assert (unknown.value, unknown.low, unknown.high) == (400.0, 50.0, 3000.0)
    assert by_length.assumed
    assert unknown.assumed
    assert not KOI.weight_g.assumed


def test_groups_add_up_by_number():
    tench = FishGroup("tench", 10, food_fish=True, mean_weight_g=Uncertain(1000.0, 900.0, 1100.0, "scales"))
    both = case(fish=(KOI, tench))
    assert both.fish_count == 50
    assert both.food_fish
    assert both.mean_weight_g.value == pytest.approx((40 * 500 + 10 * 1000) / 50)
    assert both.mean_weight_g.low == pytest.approx((40 * 400 + 10 * 900) / 50)


def test_days_count_from_the_visit():
    assert case().day_of(date(2026, 5, 3)) == -7
    assert case().day_of(date(2026, 6, 1)) == 22


def test_stock_of_an_earlier_day_puts_deaths_back_and_takes_arrivals_out():
    group = dataclasses.replace(KOI, new_arrivals=(Arrival(date(2026, 5, 5), 6), Arrival(date(2026, 5, 20), 9)))
    deaths = (DeathRecord(date(2026, 5, 4), 2), DeathRecord(date(2026, 5, 8), 3, 4))
    stock = case(fish=(group,), deaths=deaths)
    assert stock.fish_on(VISIT) == 40
    assert stock.fish_on(date(2026, 5, 6)) == 43  # three died since
    assert stock.fish_on(date(2026, 5, 4)) == 37  # and six came since
    assert stock.fish_on(date(2026, 5, 1)) == 39  # and two more died since


def test_a_count_is_exact_only_between_equal_limits():
    def row(**changes):
        return Preparation(VISIT, "1", "random", "gill", **changes)

    assert row(count_low=4, count_high=4).exact
    assert not row(count_low=10, count_high=20).exact
    assert not row(count_low=51).exact
    assert not row(count_low=0, count_high=0, readable=False).exact
    assert not case(samples=(row(readable=False),)).has_samples
    assert case(samples=(row(count_low=51),)).has_samples


@pytest.mark.parametrize(
    ("allowed", "day", "possible"),
    [
        (None, date(2026, 5, 11), True),
        (("monday",), date(2026, 5, 11), True),  # 11 May 2026 is a Monday by the calendar
        (("monday",), date(2026, 5, 12), False),
        ((7,), date(2026, 5, 17), True),
        ((date(2026, 5, 12), "monday"), date(2026, 5, 12), True),
        ((), date(2026, 5, 12), False),
    ],
)
def test_limits_say_on_which_day_a_dose_can_go_in(allowed, day, possible):
    assert case(limits=Limits(visit_days=allowed)).dose_possible_on(day) is possible


def test_an_override_replaces_numbers_and_keeps_unit_and_scale():
    evidence = load_parasite("dactylogyrus")
    name = next(iter(evidence.values))
    before = evidence.values[name]
    own = Override(name, before.value * 1.01, before.value, before.value * 1.02, "own count")
    after = case(overrides={name: own}).evidence_for(evidence).values[name]
    assert (after.value, after.low, after.high) == (own.value, own.low, own.high)
    assert (after.unit, after.scale) == (before.unit, before.scale)
    assert "own count" in after.conditions
    assert after.sources == ()
    assert case().evidence_for(evidence).values[name] == before


def test_an_override_of_another_set_is_left_alone():
    evidence = load_parasite("dactylogyrus")
    own = Override("no_such_value", 1.0, 0.5, 2.0, "own count")
    assert case(overrides={"no_such_value": own}).evidence_for(evidence).values == evidence.values


def test_everything_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        case().visit_date = date(2026, 6, 1)
    with pytest.raises(dataclasses.FrozenInstanceError):
        KOI.count = 3


def test_words_tell_what_was_read_as_what():
    samples = (
        Preparation(VISIT, "1", "netted", "gill", 51, None),
        Preparation(VISIT, "2", "netted", "gill", 10, 20),
        Preparation(VISIT, "2", "netted", "gill", 0, 0),
        Preparation(VISIT, "3", "moribund", "gill", readable=False),
    )
    dose = Action(date(2026, 5, 3), agent="praziquantel", route="bath", mg_l=2.5, hours=24.0, told_by="owner")
    full = case(samples=samples, given=(dose,), deaths=(DeathRecord(date(2026, 5, 8), 3, 4),))
    words = " ".join(full.in_words())
    assert full._repr_mimebundle_()["text/plain"].splitlines() == full.in_words()
    for part in (
        "10 May 2026",
        "12 000 L (10 800 to 13 200",
        "Temperature: 18 °C.",
        "40 koi alive, not food fish",
        "3 May 2026 (7 d before the visit), dose of praziquantel, bath, 2.5 mg/L, for 24 h, as the owner told",
        "4 preparations of 3 fish (moribund, netted), counts at least 51, 10 to 20, 0, unreadable",
        "Deaths: 3 fish in the log (8 May 2026 to 8 May 2026, 4 d watched)",
    ):
        assert part in words


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        (YearlyTemperature(12.0, 8.0, (7, 25)), "12 ± 8 °C over the year, warmest on 25 Jul"),
        (
            RecordedTemperature((datetime(2026, 5, 1, 12), datetime(2026, 5, 9, 12)), (14.5, 17.0)),
            "2 readings, 1 May 2026 to 9 May 2026, 14.5 to 17 °C",
        ),
    ],
)
def test_words_of_the_temperature(spec, words):
    water = dataclasses.replace(case().water, temperature=spec)
    assert f"Temperature: {words}." in case(water=water).in_words()


def test_the_room_opens_no_file_and_imports_nothing_heavy():
    for path in Path(burden.case.__file__).parent.glob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        nodes = list(ast.walk(tree))
        modules = {a.name for n in nodes if isinstance(n, ast.Import) for a in n.names}
        modules |= {n.module for n in nodes if isinstance(n, ast.ImportFrom)}
        calls = {n.func.id for n in nodes if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
        assert not {m for m in modules if m.split(".")[0] in ("pydantic", "pathlib", "os", "pandas", "scipy")}
        assert "open" not in calls
        assert "print" not in calls

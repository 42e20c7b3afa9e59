"""The table of outside figures: what it misses is exactly what is listed here, with reasons."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))  # analysis is not part of the package

from analysis.published_checks import Check, main

#: what -> why it is missed
MISSES = {
    (
        "gyrodactylus_salmonids fluke_life_days 2.5 °C",
        "left out",
    ): "two temperatures 16.5 °C apart were measured: without one the other does not give it",
    (
        "gyrodactylus_salmonids fluke_life_days 19 °C",
        "left out",
    ): "two temperatures 16.5 °C apart were measured: without one the other does not give it",
    (
        "gyrodactylus_salmonids growth_rate_per_day 2.5 °C",
        "left out",
    ): "two temperatures 16.5 °C apart were measured: without one the other does not give it",
    (
        "praziquantel kill attached 500 mg/L 0.033 h",
        "predicted",
    ): "two minutes at fifty times the dose of any bath the fit has seen",
    (
        "praziquantel kill adult 50 mg/L 0.5 h",
        "left out",
    ): "Sparicotyle in vitro, a many-clamped gill fluke: a group that bears more, and the pool is of others",
    (
        "cells of tcvn_8597_2010 reproduced",
        "arithmetic",
    ): "two cells are misprints: lot 100 at 2 % and 80 %, lot 20 000 at 0.1 % and 90 %",
    (
        "dactylogyrus two doses 7 d apart at 20 °C: left per 1 000",
        "predicted",
    ): "the model asks for a third dose: late hatchers escape two, and the kill is not total",
}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    folder = tmp_path_factory.mktemp("checks")
    return main(str(folder)), folder / "published_checks.csv"


def test_misses_are_those_listed(found):
    """Neither a new miss nor one that has silently become a pass."""
    assert {(c.what, c.role) for c in found[0] if not c.passes} == set(MISSES)


def test_the_table_holds_every_check_with_source_and_reason(found):
    checks, path = found
    with path.open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file))
    assert len(table) == len(checks) > 60
    assert all(row["source"] and row["why"] and row["role"] for row in table)
    assert {row["role"] for row in table} == {"fitted", "left out", "predicted", "arithmetic"}


def test_no_tolerance_swallows_its_figure(found):
    """A tolerance as large as the figure tests nothing; a figure of 0 is held to the aim of control instead."""
    assert all(c.tolerance < c.published for c in found[0] if c.published and c.passes)


def test_a_wrong_figure_is_a_miss():
    assert not Check("x", 10.0, 14.0, "predicted", 3.0, "30 %", "none").passes

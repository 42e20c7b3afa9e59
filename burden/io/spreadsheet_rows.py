"""Rows of a table as what each unit was seen to have: preparations, deaths, temperatures and plain facts."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from burden.evidence import parasite_names
from burden.io.cells import TEMPERATURE_LIMITS_C, count_from_text, temperature_fix
from burden.io.files import hint
from burden.io.spreadsheet import MAPPING_FILE
from burden.io.spreadsheet_table import Sheet
from burden.io.spreadsheet_words import parasite_of, simple

__all__ = ["Unit", "folder_name", "units_of"]

#: where a method looks
_ORGAN_OF = {"gill_clip": "gill", "gill_arch": "gill", "skin_scrape": "skin"}
#: facts of a unit that rows may repeat
_FACTS = ("volume_l", "medium", "species", "stock", "food_fish")
_STAGES = {"adult": "adult", "adults": "adult", "juvenile": "juvenile", "juveniles": "juvenile", "all": ""}
_MOST_WEIGHT_G = 300_000.0


@dataclass
class Unit:
    """What a table says of one unit.

    Parameters
    ----------
    name : str
        Place and unit as written, ``North / N3``.
    row : int
        Its first row.
    samples : list of mapping
        Rows as samples.csv has them.
    deaths, readings : mapping of date to (str, int)
        A number and the row it was first met in.
    facts : mapping of str to (value, date, row)
        The latest of each.
    days : set of date
    """

    name: str
    row: int
    samples: list[dict[str, str]] = field(default_factory=list)
    deaths: dict[date, tuple[str, int]] = field(default_factory=dict)
    readings: dict[date, tuple[str, int]] = field(default_factory=dict)
    facts: dict[str, tuple[Any, date, int]] = field(default_factory=dict)
    days: set[date] = field(default_factory=set)

    @property
    def parasites(self) -> list[str]:
        """Sets that were counted, in the order met."""
        return list(dict.fromkeys(row["parasite"] for row in self.samples if row.get("parasite")))


def folder_name(unit: str) -> str:
    """Return the name of the folder of a unit.

    Examples
    --------
    >>> folder_name("Nord / Teich 3"), folder_name("Étang 1")
    ('nord_teich_3', 'etang_1')
    """
    bare = unicodedata.normalize("NFKD", unit.replace("ß", "ss").replace("ø", "o").replace("æ", "ae"))
    return re.sub(r"[^a-z0-9]+", "_", bare.casefold().encode("ascii", "ignore").decode()).strip("_")[:80]


def units_of(sheet: Sheet) -> dict[str, Unit]:
    """Return the units of a table by the name of their folder; everything wrong is noted.

    Parameters
    ----------
    sheet : Sheet
    """
    units: dict[str, Unit] = {}
    whole = "unit" in sheet.columns or "place" in sheet.columns
    if not whole:
        fix = f'Name the column in {MAPPING_FILE}: [columns] unit = "its head".'
        sheet.notes.problem(sheet.grid.file, "header", "no column of units", "a column of ponds, tanks or cages", fix)
        return units
    if _counts_of(sheet) and "fish" not in sheet.columns and sheet.mapped.everywhere.get("fish") != "each row":
        fix = (
            f'Add the column, or say in {MAPPING_FILE}: [all] fish = "each row", where every row is a fish of its own.'
        )
        sheet.notes.problem(sheet.grid.file, "header", "no column of fish", "a label of each fish", fix)
    for row in sheet.numbers:
        name = _unit_name(sheet, row)
        slug = folder_name(name)
        if not slug:
            column = "unit" if "unit" in sheet.columns else "place"
            sheet.wrong(row, column, "a pond, tank or cage", f"Write it, or [table] fill_down in {MAPPING_FILE}.")
            continue
        unit = units.setdefault(slug, Unit(name, row))
        if (day := sheet.day(row)) is not None:
            unit.days.add(day)
            _read_row(sheet, row, day, unit)
    _refuse_alike(sheet, units)
    return units


def _counts_of(sheet: Sheet) -> list[str]:
    """Return the columns that hold counts."""
    return [name for name in sheet.columns if name.split(":")[0] == "count"]


def _unit_name(sheet: Sheet, row: int) -> str:
    """Place and unit of a row; empty where the unit's own cell is."""
    parts = []
    for column in ("place", "unit"):
        text = sheet.text(row, column)
        parts.append(sheet.mapped.words.get(column, {}).get(simple(text), text))
    if "unit" in sheet.columns and not parts[1]:
        return ""
    return " / ".join(part for part in parts if part)


def _refuse_alike(sheet: Sheet, units: Mapping[str, Unit]) -> None:
    """Refuse two names that may be one unit written two ways: N3 and N 3."""
    seen: dict[str, str] = {}
    for slug, unit in units.items():
        bare = slug.replace("_", "")
        if bare in seen:
            column = "unit" if "unit" in sheet.columns else "place"
            expected = f"one spelling: {units[seen[bare]].name} stands in row {units[seen[bare]].row}"
            fix = f'Is it the same? Say so in {MAPPING_FILE}: [words.{column}] "{sheet.text(unit.row, column)}" = "…".'
            sheet.wrong(unit.row, column, expected, fix)
        seen.setdefault(bare, slug)


def _read_row(sheet: Sheet, row: int, day: date, unit: Unit) -> None:
    unit.samples += _preparations(sheet, row, day)
    _once_a_day(sheet, row, day, "deaths", _deaths(sheet, row), unit.deaths)
    _once_a_day(sheet, row, day, "temperature_c", _temperature(sheet, row), unit.readings)
    for name in _FACTS:
        value = _fact(sheet, row, name)
        old = unit.facts.get(name)
        if value is None:
            continue
        if old is not None and old[0] != value and (name != "stock" or old[1] == day):
            expected = f"{old[0]}, as in row {old[2]}: one {name} a unit"
            sheet.wrong(row, name, expected, "Put one of the two right.")
        elif old is None or day >= old[1]:
            unit.facts[name] = (value, day, row)


def _once_a_day(
    sheet: Sheet, row: int, day: date, column: str, value: str | None, kept: dict[date, tuple[str, int]]
) -> None:
    """Keep a number of a unit and a day; rows of one day may repeat it and not differ."""
    if value is None:
        return
    old = kept.setdefault(day, (value, row))
    if old[0] != value:
        fix = "A number of the whole unit stands once a day, or the same in all its rows. Add them up, or correct one."
        sheet.wrong(row, column, f"{old[0]}, as in row {old[1]}", fix)


def _deaths(sheet: Sheet, row: int) -> str | None:
    expected = "dead fish of the unit, a whole number from 0"
    value = sheet.number(row, "deaths", expected)
    if value is not None and (value < 0 or value != int(value) or value > 1e9):
        sheet.wrong(row, "deaths", expected, "Deaths are whole and never negative.")
        return None
    return None if value is None else str(int(value))


def _temperature(sheet: Sheet, row: int) -> str | None:
    low, high = TEMPERATURE_LIMITS_C
    value = sheet.number(row, "temperature_c", "a temperature")
    if value is not None and not low <= value <= high:
        sheet.wrong(row, "temperature_c", f"a temperature in °C, {low:g} to {high:g}", temperature_fix(value))
        return None
    return None if value is None else _plain(value)


def _plain(value: float) -> str:
    """Return a number as a case's files have it."""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _fact(sheet: Sheet, row: int, name: str) -> Any:
    if name not in sheet.columns or not sheet.text(row, name):
        return None
    if name in ("medium", "food_fish"):
        return sheet.word(row, name)
    if name == "species":
        return sheet.mapped.words.get("species", {}).get(simple(sheet.text(row, name)), sheet.text(row, name).lower())
    value = sheet.number(row, name, "a number above 0")
    if value is None:
        return None
    if value <= 0 or (name == "stock" and value != int(value)):
        sheet.wrong(row, name, "a number above 0" if name == "volume_l" else "a whole number, 1 or more", "Check it.")
        return None
    return int(value) if value == int(value) else value


def _preparations(sheet: Sheet, row: int, day: date) -> Iterator[dict[str, str]]:
    """Give the preparations of a row: one, or one a set where each set has its own column of counts."""
    counted = [(name, sheet.text(row, name)) for name in _counts_of(sheet)]
    looked = sheet.text(row, "fish") if "fish" in sheet.columns else any(text for _, text in counted)
    if not counted or not (looked or any(text for _, text in counted)):
        return  # a row of deaths or a temperature alone
    about = {"date": day.isoformat(), **_about(sheet, row)}
    filled = [(name, text) for name, text in counted if text] or counted
    for name, text in filled:
        parasite = name.partition(":")[2] or _parasite(sheet, row)
        if text:
            sheet.read(row, name, count_from_text, "a whole number, >50, 10-20, or empty where it could not be read")
        yield {key: value for key, value in {**about, "count": text, "parasite": parasite}.items() if value}


def _about(sheet: Sheet, row: int) -> dict[str, str]:
    """What is said of the fish and the slide; what must be said and is not becomes a problem."""
    method = sheet.word(row, "method")
    organ = sheet.word(row, "organ") or _ORGAN_OF.get(method or "")
    chosen = sheet.word(row, "chosen")
    told = "method" in sheet.columns and sheet.text(row, "method")
    if organ is None and not told:
        fix = f'Fill the cell, or say for all rows in {MAPPING_FILE}: [all] method = "gill_clip".'
        sheet.wrong(row, "organ" if "organ" in sheet.columns else "method", "gill, skin, fin or whole_fish", fix)
    elif organ is None and method is not None:
        sheet.wrong(row, "organ", "gill, skin or fin", f'Say it in a column, or {MAPPING_FILE}: [all] organ = "gill".')
    if chosen is None and not sheet.text(row, "chosen"):
        fix = f'Fill the cell, or say for all rows in {MAPPING_FILE}: [all] chosen = "netted".'
        sheet.wrong(row, "chosen", "random, netted, moribund or dead", fix)
    fish = sheet.text(row, "fish") or (f"row {row}" if sheet.mapped.everywhere.get("fish") == "each row" else "")
    if not fish and "fish" in sheet.columns:
        sheet.wrong(row, "fish", "a label of the fish", "Number the fish of one date.")
    return {
        "fish": fish,
        "chosen": chosen or "",
        "site": organ or "",
        "method": method or "",
        "fraction_examined": _share(sheet, row),
        "weight_g": _weight(sheet, row),
        "stage": _stage(sheet, row),
        "lethal": _yes_no(sheet, row),
    }


def _share(sheet: Sheet, row: int) -> str:
    value = sheet.number(row, "fraction_examined", "a share above 0 to 1")
    if value is not None and not 0 < value <= 1:
        sheet.wrong(row, "fraction_examined", "a share above 0 to 1", f"{value:g} % is {value / 100:g}.")
    return "" if value is None else _plain(value)


def _weight(sheet: Sheet, row: int) -> str:
    value = sheet.number(row, "weight_g", "the weight of the fish, above 0")
    if value is not None and not 0 < value <= _MOST_WEIGHT_G:
        sheet.wrong(row, "weight_g", f"above 0 to {_MOST_WEIGHT_G:g} g", "Check the unit.")
    return "" if value is None else _plain(value)


def _stage(sheet: Sheet, row: int) -> str:
    text = simple(sheet.text(row, "stage"))
    if text and text not in _STAGES:
        sheet.wrong(row, "stage", "adult, juvenile, or empty for all", hint(text, _STAGES))
    return _STAGES.get(text, "")


def _yes_no(sheet: Sheet, row: int) -> str:
    text = sheet.text(row, "lethal")
    found = sheet.mapped.word("food_fish", text) if text else None
    if text and found is None:
        sheet.wrong(row, "lethal", "yes or no", "Write yes or no.")
    return found or ""


def _parasite(sheet: Sheet, row: int) -> str:
    """The set that a row counts; empty where nobody says, which the unit's own set then answers."""
    text = sheet.text(row, "parasite") or str(sheet.mapped.everywhere.get("parasite", ""))
    if not text:
        return ""
    found = sheet.mapped.words.get("parasite", {}).get(simple(text)) or parasite_of(text)
    if found not in parasite_names():
        fix = f'{hint(text, parasite_names())} Or say what it means in {MAPPING_FILE}: [words.parasite] "{text}" = "…".'
        sheet.wrong(row, "parasite", "the name of a parasite set", fix)
        return ""
    return found

"""samples.csv, deaths.csv and the temperature record as the types of a case."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from burden.case import DeathRecord, Preparation, RecordedTemperature
from burden.evidence import load_parasite
from burden.io.cells import (
    TEMPERATURE_LIMITS_C,
    CellError,
    count_from_text,
    day_from_text,
    moment_from_text,
    temperature_fix,
)
from burden.io.csv_table import Cell, Table, read_table
from burden.io.files import Notes, hint
from burden.utils.formatting import counted, named

__all__ = [
    "CHOSEN",
    "METHODS",
    "SAMPLE_COLUMNS",
    "SITES",
    "SampleContext",
    "read_deaths",
    "read_samples",
    "read_temperature",
]

#: required and optional columns of samples.csv
SAMPLE_COLUMNS = (
    ("date", "fish", "chosen", "site", "count"),
    (
        *("method", "fraction_examined", "parasite", "species", "stage"),
        *("weight_g", "lethal", "hours_dead"),
    ),
)
#: rows: more than were ever looked at of one water; deaths of every day since 1990 and as many again; a reading every
#: quarter of an hour for a year, every hour for four
_MOST_SAMPLES, _MOST_DEATHS, _MOST_READINGS = 5_000, 20_000, 40_000
CHOSEN = ("random", "netted", "moribund", "dead")
SITES = ("gill", "skin", "fin", "whole_fish")
METHODS = ("skin_scrape", "gill_clip", "gill_arch", "whole_organ")
_STAGES = {"adult": "adult", "adults": "adult", "juvenile": "juvenile", "juveniles": "juvenile"}
_EITHER_STAGE = ("all", "any", "both", "mixed")


@dataclass(frozen=True)
class SampleContext:
    """What the rest of the case says that a table must agree with; empty where that could not be read.

    Parameters
    ----------
    visit_date : date or None
    parasites : tuple of str
        The case's sets.
    species : tuple of str
        Species of the case's fish.
    by_site : mapping of str to str
        Set that was counted on each site, where the table names none.
    """

    visit_date: date | None = None
    parasites: tuple[str, ...] = ()
    species: tuple[str, ...] = ()
    by_site: Mapping[str, str] = field(default_factory=dict)


def read_samples(folder: Path, context: SampleContext, notes: Notes) -> tuple[Preparation, ...]:
    """Read samples.csv where there is one; rows that cannot be read are noted and left out."""
    name = "samples.csv"
    if not _present(folder, name):
        return ()
    table = read_table(folder, name, *SAMPLE_COLUMNS, notes, _MOST_SAMPLES)
    if table is None:
        return ()
    if not table.rows:
        notes.warn("samples.csv has no rows: the answer rests on what is assumed of any such stock.")
    elif len(context.parasites) > 1 and "parasite" not in table.rows[0]:
        context = _told_by_site(context, notes)
    before = len(notes.problems)
    rows = [_preparation(table, row, context) for row in table]
    table.close()
    return tuple(rows) if len(notes.problems) == before else ()


def _told_by_site(context: SampleContext, notes: Notes) -> SampleContext:
    """Say by the site which set was counted where the table does not: one set of the gills and one of the skin."""
    homes = {load_parasite(name).site: name for name in context.parasites}
    if len(homes) < len(context.parasites):
        known = " or ".join(context.parasites)
        fix = "Add the column: with several sets in the case, each row says which was counted."
        notes.problem("samples.csv", "first row", "no column parasite", f"a column parasite: {known}", fix)
        return context
    gill, skin = named(homes["gill"]), named(homes["skin"])
    notes.warn(
        f"samples.csv has no column parasite: flukes on gills are read as {gill}, those on skin and fins as {skin}."
    )
    return replace(context, by_site={"gill": homes["gill"], "skin": homes["skin"], "fin": homes["skin"]})


def _preparation(table: Table, row: dict[str, Cell], context: SampleContext) -> Preparation:
    """Turn one row into a preparation; a cell that cannot be read is noted and replaced by its default."""
    low, high = table.read(row["count"], count_from_text, "a whole number, >50, 10-20, or empty") or (0, None)
    if not row["fish"].text:
        table.wrong(row["fish"], "a label of the fish", "Number the fish of one date.")
    words: dict[str, Any] = {
        "chosen": _required(table, row["chosen"], CHOSEN),
        "site": _required(table, row["site"], SITES),
        "method": table.read(row.get("method"), _one_of(METHODS), " or ".join(METHODS)),
        "parasite": _parasite(table, row.get("parasite"), context),
        "stage": table.read(row.get("stage"), _stage, "adult, juvenile, or empty for all"),
    }
    if context.by_site:
        words["parasite"] = context.by_site.get(words["site"])
        if words["site"] == "whole_fish":
            table.wrong(row["site"], "gill, skin or fin", "Add a column parasite: a whole fish carries both sets.")
    return Preparation(
        date=_past_day(table, row["date"], context) or date.min,
        fish=row["fish"].text,
        count_low=low,
        count_high=high,
        readable=bool(row["count"].text),
        fraction_examined=_within(table, row.get("fraction_examined"), "a share above 0 to 1", 1.0),
        species=table.read(row.get("species"), _species(context), "a species of the case"),
        weight_g=_within(table, row.get("weight_g"), "grams, above 0", 300_000.0),
        lethal=table.read(row.get("lethal"), _yes_no, "yes or no"),
        hours_dead=_within(table, row.get("hours_dead"), "hours, 0 or more", 24 * 30.0, zero=True),
        **words,
    )


def _required(table: Table, cell: Cell, known: tuple[str, ...]) -> str | None:
    expected = ", ".join(known)
    if not cell.text:
        table.wrong(cell, expected, "Fill the cell.")
    return table.read(cell, _one_of(known), expected)


def _one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    def reader(text: str) -> str:
        word = "_".join(text.lower().replace("-", " ").split())
        if word not in known:
            raise CellError(hint(word, known))
        return word

    return reader


def _stage(text: str) -> str | None:
    if text.lower() in _EITHER_STAGE:
        return None
    if text.lower() not in _STAGES:
        raise CellError(hint(text, _STAGES) + " Eggs are not counted.")
    return _STAGES[text.lower()]


def _yes_no(text: str) -> bool:
    answers = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}
    if text.lower() not in answers:
        raise CellError("Write yes or no.")
    return answers[text.lower()]


def _species(context: SampleContext) -> Callable[[str], str]:
    def reader(text: str) -> str:
        known = {species.lower(): species for species in context.species}
        if known and text.lower() not in known:
            raise CellError(hint(text, known) + " Or add the species to [[fish]].")
        return known.get(text.lower(), text)

    return reader


def _parasite(table: Table, cell: Cell | None, context: SampleContext) -> str | None:
    """Return the set a row counts: its own, or the case's only one."""
    sets = context.parasites
    if cell is None or not cell.text:
        if cell is not None and len(sets) > 1:
            table.wrong(cell, " or ".join(sets), "Say which set was counted.")
        return sets[0] if len(sets) == 1 else None
    return table.read(cell, _one_of(sets), " or ".join(sets)) if sets else cell.text


def _within(table: Table, cell: Cell | None, expected: str, highest: float, *, zero: bool = False) -> float | None:
    """Read a number above 0 (or from 0) to `highest`."""
    value = table.number(cell, expected, percent=highest == 1.0)
    if value is None or cell is None or (0 < value <= highest) or (zero and value == 0):
        return value
    if highest == 1.0 and 1 < value <= 100:
        table.wrong(cell, expected, f"{value:g} % is {value / 100:g}.")
    elif highest == 1.0 and value == 0:
        table.wrong(cell, expected, "Leave the cell empty if nobody knows, or the row out if nothing was looked at.")
    else:
        table.wrong(cell, expected, f"Above {highest:g}? Check the unit." if value > 0 else "Check the sign.")
    return None


def _past_day(table: Table, cell: Cell, context: SampleContext) -> date | None:
    """Read a date that does not lie after the visit."""
    found = table.day(cell, _day_of_cell)
    visit = context.visit_date
    if found is not None and visit is not None and found > visit:
        expected = f"a date up to the visit on {visit.isoformat()}"
        table.wrong(cell, expected, "Check the date, or move visit_date in case.toml.")
    return found


def _day_of_cell(text: str, *, day_first: bool) -> date:
    return (
        moment_from_text(text, day_first=day_first).date() if " " in text else day_from_text(text, day_first=day_first)
    )


def read_deaths(folder: Path, context: SampleContext, notes: Notes) -> tuple[DeathRecord, ...]:
    """Read deaths.csv where there is one, by rising date; a row covers the days since the row before."""
    name = "deaths.csv"
    if not _present(folder, name):
        return ()
    table = read_table(folder, name, ("date", "deaths"), (), notes, _MOST_DEATHS)
    if table is None:
        return ()
    before = len(notes.problems)
    rows: dict[date, int] = {}
    for row in table:
        day = _past_day(table, row["date"], context)
        count = _deaths(table, row["deaths"])
        if day in rows:
            table.wrong(row["date"], "each date once", "Add the deaths of the day up in one row.")
        elif day is not None:
            rows[day] = count
    table.close()
    if len(notes.problems) > before:
        return ()
    days = sorted(rows)
    covered = [1, *((b - a).days for a, b in pairwise(days))]
    return tuple(DeathRecord(day, rows[day], n) for day, n in zip(days, covered, strict=False))


def _deaths(table: Table, cell: Cell) -> int:
    expected = "a whole number, 0 or more"
    if not cell.text:
        table.wrong(cell, expected, "Write 0 if somebody looked and none was dead, else leave the row out.")
    value = table.number(cell, expected)
    if value is None:
        return 0
    if value < 0 or value != int(value) or value > 1e9:
        table.wrong(cell, expected, "Deaths are whole and never negative.")
        return 0
    return int(value)


def read_temperature(folder: Path, name: str, notes: Notes) -> RecordedTemperature | None:
    """Read a temperature record, by rising time; readings of one moment are averaged, empty ones left out."""
    table = read_table(folder, name, ("date", "temperature_c"), ("time",), notes, _MOST_READINGS)
    if table is None:
        return None
    before = len(notes.problems)
    readings: dict[datetime, list[float]] = {}
    empty = 0
    for row in table:
        if not row["temperature_c"].text:
            empty += 1
            continue
        clock = row["time"].text if "time" in row else ""
        cell = Cell(f"{row['date'].text} {clock}".strip(), row["date"].row, "date")
        moment = table.day(cell, moment_from_text, "a date, or date and time as 2026-05-10 14:30")
        value = table.number(row["temperature_c"], "a temperature in °C")
        if value is not None and not TEMPERATURE_LIMITS_C[0] <= value <= TEMPERATURE_LIMITS_C[1]:
            table.wrong(row["temperature_c"], "a temperature in °C, −2.5 to 40", temperature_fix(value))
        elif moment is not None and value is not None:
            readings.setdefault(moment, []).append(value)
    table.close()
    if len(notes.problems) == before and not readings:
        notes.problem(name, "file", "no reading", "rows of date and temperature_c", "Add the readings.")
    if len(notes.problems) > before:
        return None
    if empty:
        notes.warn(f"{name}: {counted(empty, 'row')} without a temperature left out.")
    times = tuple(sorted(readings))
    return RecordedTemperature(times, tuple(sum(readings[t]) / len(readings[t]) for t in times))


def _present(folder: Path, name: str) -> bool:
    """Tell whether a file stands in the folder, a broken link included, so that it is read or refused."""
    path = folder / name
    return path.exists() or path.is_symlink()

"""A table of many units into a folder of case folders: new ones made, those that are there brought up to date.

A row of the table is known again by date, fish, site, method, parasite and stage, so the same table twice changes
nothing, a corrected cell is corrected, and rows appended next month are added. What a case has and the table has not
stays. Everything is checked before anything is written; each case is then written whole.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from burden.case import RecordedTemperature
from burden.io.case_toml import CASE_FILE
from burden.io.files import Notes
from burden.io.form import FolderForm, check_form, new_folder_from_form, read_form, write_form
from burden.io.form_rows import reading_rows
from burden.io.safe_files import write_new
from burden.io.spreadsheet import MAPPING_FILE, read_grid
from burden.io.spreadsheet_mapping import mapping_toml
from burden.io.spreadsheet_rows import Unit, units_of
from burden.io.spreadsheet_table import Sheet, open_sheet
from burden.io.spreadsheet_words import Mapped, read_mapping
from burden.utils.errors import InputError, Problem
from burden.utils.results import Result

__all__ = ["ImportResult", "import_table"]

#: rows of one log that a form can hold
_MOST_ROWS = 5000
_KEY = ("date", "fish", "site", "method", "parasite", "stage")


@dataclass(frozen=True)
class ImportResult(Result):
    """What became of a table.

    Parameters
    ----------
    table, folder : str
    cases : tuple of mapping
        One a unit: unit, case (its folder), change (new, updated or unchanged), rows added and changed.
    skipped : tuple of (str, str)
        Rows and columns of the table that were not read, and why.
    warnings : tuple of str
        What the table could not say.
    mapping : str
        File that says how the table is read; written where there was none.
    """

    table: str
    folder: str
    cases: tuple[Mapping[str, Any], ...]
    skipped: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    mapping: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "table": self.table,
            "folder": self.folder,
            "mapping": self.mapping,
            "cases": [dict(case) for case in self.cases],
            "not_read": [{"place": place, "why": why} for place, why in self.skipped],
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a unit."""
        return [dict(case) for case in self.cases]


@dataclass(frozen=True)
class _Work:
    """One unit, ready to be written."""

    slug: str
    unit: Unit
    form: dict[str, Any]
    there: FolderForm | None
    added: int
    changed: int
    warnings: tuple[str, ...]

    @property
    def change(self) -> str:
        if self.there is None:
            return "new"
        return "updated" if self.form != self.there.fields else "unchanged"


def import_table(table: Path | str, folder: Path | str, mapping_only: bool = False) -> ImportResult:
    """Read a table of many units into case folders.

    Parameters
    ----------
    table : Path or str
        CSV or .xlsx, one row a preparation or a fish.
    folder : Path or str
        Holds, or will hold, a case folder a unit and mapping.toml; its parent must exist.
    mapping_only : bool
        Write mapping.toml with what is known and blanks to fill in, and no case.

    Returns
    -------
    ImportResult

    Raises
    ------
    InputError
        With everything that is wrong, by row and column; nothing is written then.
    """
    table, folder, notes = Path(table), Path(folder), Notes()
    mapped = read_mapping(folder, notes)
    sheet = _sheet(table, mapped, notes)
    if mapping_only:
        return _begun(table, folder, mapped, sheet, notes)
    units = {} if sheet is None else units_of(sheet)
    if sheet is not None and not units and not notes.problems:
        notes.problem(table.name, "rows", "none", "rows below the header", "Add the rows.")
    works = [_work(folder, slug, unit, mapped, notes) for slug, unit in units.items()]
    ready = [work for work in works if work is not None]
    if not notes.problems:
        for work in ready:
            found = check_form(work.form, folder / work.slug if work.there else None)
            notes.problems += [replace(p, file=f"{work.slug}: {p.file}") for p in found.problems]
    if notes.problems or sheet is None:
        raise InputError(notes.problems)
    _write(folder, mapped, sheet, ready)
    return ImportResult(
        str(table),
        str(folder),
        tuple({"unit": w.unit.name, "case": str(folder / w.slug), "change": w.change, "rows_added": w.added,
               "rows_changed": w.changed} for w in ready),
        sheet.skipped,
        (*notes.warnings, *(text for work in ready for text in work.warnings)),
        str(folder / MAPPING_FILE),
    )  # fmt: skip


def _sheet(table: Path, mapped: Mapped, notes: Notes) -> Sheet | None:
    name = mapped.table.get("sheet")
    grid = read_grid(table, name if isinstance(name, str) else None, notes)
    return None if grid is None else open_sheet(grid, mapped, notes)


def _begun(table: Path, folder: Path, mapped: Mapped, sheet: Sheet | None, notes: Notes) -> ImportResult:
    """Write mapping.toml alone, with what could not be read as its open questions."""
    if mapped.there:
        fix = "Change it by hand, or move it away to begin anew."
        raise InputError([Problem(MAPPING_FILE, "file", "is there", "no such file yet", fix)])
    if sheet is None:
        raise InputError(notes.problems)
    units = units_of(sheet)
    open_questions = tuple(str(problem) for problem in InputError(notes.problems).problems)
    _write_mapping(folder, mapping_toml(sheet, list(units.values()), whole=False))
    return ImportResult(str(table), str(folder), (), sheet.skipped, open_questions, str(folder / MAPPING_FILE))


def _work(folder: Path, slug: str, unit: Unit, mapped: Mapped, notes: Notes) -> _Work | None:
    """Return what a case shall say; None, with the problems noted, where that is not known."""
    if not unit.days:
        return None
    place = folder / slug
    if not place.exists():
        form = _new_form(unit, mapped, notes)
        return None if form is None else _Work(slug, unit, form, None, len(unit.samples), 0, ())
    try:
        there = read_form(place)
    except InputError as error:
        notes.problems += [replace(p, file=f"{slug}: {p.file}") for p in error.problems]
        return None
    return _updated(slug, unit, there, notes)


def _new_form(unit: Unit, mapped: Mapped, notes: Notes) -> dict[str, Any] | None:
    """Return the form of a case from the table and, for what it does not say, mapping.toml."""
    names = {"volume_l": "litres of water", "medium": "fresh or sea", "species": "the species of the fish",
             "stock": "fish alive in the unit", "food_fish": "yes or no"}  # fmt: skip
    facts = {name: _fact(unit, mapped, name) for name in names}
    for name, expected in names.items():
        if facts[name] is None:
            fix = f'Add a column of it, or write it under [units."{unit.name}"], or [all] where it holds for all units.'
            notes.problem(MAPPING_FILE, f'[units."{unit.name}"] {name}', "missing", expected, fix)
    told = mapped.fact(unit.name, "parasite")
    sets = unit.parasites or ([told] if isinstance(told, str) else [])
    if not sets:
        fix = f'Add a column parasite, or write it under [units."{unit.name}"] or [all].'
        notes.problem(MAPPING_FILE, f'[units."{unit.name}"] parasite', "missing", "the parasite set counted", fix)
    temperature = "temperature.csv" if unit.readings else mapped.fact(unit.name, "temperature_c")
    if temperature is None:
        fix = f'Add a column of it, or write it under [units."{unit.name}"] or [all].'
        notes.problem(MAPPING_FILE, f'[units."{unit.name}"] temperature_c', "missing", "water temperature in °C", fix)
    if not sets or temperature is None or None in facts.values():
        return None
    weight = mapped.fact(unit.name, "mean_weight_g")
    fish = {"species": facts["species"], "count": facts["stock"], "food_fish": facts["food_fish"]}
    return {
        "case": {"visit_date": max(unit.days).isoformat(), "title": unit.name},
        "water": {"volume_l": facts["volume_l"], "medium": facts["medium"], "temperature_c": temperature},
        "fish": [fish if weight is None else {**fish, "mean_weight_g": weight}],
        "parasite": {"set": sets if len(sets) > 1 else sets[0]},
        "samples": sorted((_row(row, sets) for row in unit.samples), key=lambda row: row["date"]),
        "deaths": [{"date": day.isoformat(), "deaths": unit.deaths[day][0]} for day in sorted(unit.deaths)],
        **({"readings": _readings(unit)} if unit.readings else {}),
    }


def _fact(unit: Unit, mapped: Mapped, name: str) -> Any:
    found = unit.facts.get(name)
    return mapped.fact(unit.name, name) if found is None else found[0]


def _readings(unit: Unit) -> list[dict[str, str]]:
    return [{"date": day.isoformat(), "temperature_c": unit.readings[day][0]} for day in sorted(unit.readings)]


def _row(row: Mapping[str, str], sets: Sequence[str]) -> dict[str, str]:
    """A row as the form has it, which names the set only where there are several."""
    return {key: value for key, value in row.items() if key != "parasite" or len(sets) > 1}


def _updated(slug: str, unit: Unit, there: FolderForm, notes: Notes) -> _Work:
    """Return a case brought up to date."""
    form = dict(there.fields)
    warnings: list[str] = []
    old_sets = list(there.case.parasites)
    sets = [*old_sets, *(name for name in unit.parasites if name not in old_sets)]
    if len(sets) > 1 and any("parasite" not in row for row in unit.samples):
        expected = f"which of {', '.join(sets)} was counted"
        notes.problem(slug, "parasite", "missing", expected, "Add a column parasite to the table.")
    if sets != old_sets:
        form["parasite"] = {**form["parasite"], "set": sets}
    old_rows = [_named(row, old_sets, sets) for row in form["samples"]]
    form["samples"], added, changed = _merged(old_rows, [_row(row, sets) for row in unit.samples])
    form["deaths"] = _by_day(form["deaths"], {d.isoformat(): {"deaths": n} for d, (n, _) in unit.deaths.items()})
    warnings += _temperatures(slug, unit, there, form)
    day, visit = max(unit.days), there.case.visit_date
    if day > visit:
        form["case"] = {**form["case"], "visit_date": day.isoformat()}
        warnings += _stock(slug, unit, there, form, day)
    for log in ("samples", "deaths", "readings"):
        if len(form.get(log, ())) > _MOST_ROWS:
            notes.problem(slug, log, f"{len(form[log])} rows", f"at most {_MOST_ROWS}", "Leave out what lies long ago.")
    return _Work(slug, unit, form, there, added, changed, tuple(warnings))


def _named(row: Mapping[str, str], old: Sequence[str], new: Sequence[str]) -> dict[str, str]:
    """A row of a case that had one set and now has several, with its set."""
    return {**row, "parasite": old[0]} if len(old) == 1 < len(new) else dict(row)


def _merged(
    old: Sequence[Mapping[str, str]], new: Sequence[Mapping[str, str]]
) -> tuple[list[dict[str, str]], int, int]:
    """Return old rows with those of the table put in; how many were added, and how many changed."""
    rows = dict(_keyed(old))
    added = changed = 0
    for key, row in _keyed(new):
        if key not in rows:
            rows[key], added = dict(row), added + 1
        elif any(rows[key].get(name) != value for name, value in row.items()) or ("count" in rows[key]) > (
            "count" in row
        ):
            kept = {name: value for name, value in rows[key].items() if name != "count"}
            rows[key], changed = {**kept, **row}, changed + 1
    return sorted(rows.values(), key=lambda row: row["date"]), added, changed


def _keyed(rows: Sequence[Mapping[str, str]]) -> Iterator[tuple[tuple[Any, ...], dict[str, str]]]:
    """Rows with what they are known by; of several alike on one fish the number in order."""
    seen: Counter[tuple[str, ...]] = Counter()
    for row in rows:
        key = tuple(row.get(name, "") for name in _KEY)
        seen[key] += 1
        yield (*key, seen[key]), dict(row)


def _by_day(old: Sequence[Mapping[str, str]], new: Mapping[str, Mapping[str, str]]) -> list[dict[str, str]]:
    rows = {row["date"]: dict(row) for row in old} | {day: {"date": day, **row} for day, row in new.items()}
    return [rows[day] for day in sorted(rows)]


def _temperatures(slug: str, unit: Unit, there: FolderForm, form: dict[str, Any]) -> Iterator[str]:
    """Put readings into the record of a case; where it has none, or a logger's, what it says stays."""
    record = there.case.water.temperature
    if not unit.readings:
        return
    if not isinstance(record, RecordedTemperature):
        yield f"{slug}: the temperature stays as {CASE_FILE} says it; the table's readings were not used."
        return
    old = reading_rows(record)
    if len(old) + len(unit.readings) > _MOST_ROWS:
        yield f"{slug}: the temperature record is long and stays as it is; the table's readings were not used."
        return
    known = {row["date"] for row in old if "time" in row}
    new = [row for row in _readings(unit) if row["date"] not in known]
    rows = {(row["date"], row.get("time", "")): row for row in [*old, *new]}
    merged = [rows[key] for key in sorted(rows)]
    if merged != old:
        form["readings"] = merged


def _stock(slug: str, unit: Unit, there: FolderForm, form: dict[str, Any], day: date) -> Iterator[str]:
    """Move the number of fish on with the visit where the table has it; else say that it is of the visit before."""
    stock = unit.facts.get("stock")
    if stock is not None and stock[1] == day and len(form["fish"]) == 1:
        form["fish"] = [{**form["fish"][0], "count": stock[0]}]
        rest = "oxygen and other water values"
    else:
        rest = "the number of fish, oxygen and other water values"
    yield (
        f"{slug}: the visit moved from {there.case.visit_date.isoformat()} to {day.isoformat()}; {rest} in {CASE_FILE} "
        "are those of the earlier visit: check them."
    )


def _write(folder: Path, mapped: Mapped, sheet: Sheet, works: Sequence[_Work]) -> None:
    if not mapped.there:
        _write_mapping(folder, mapping_toml(sheet, [work.unit for work in works], whole=True))
    for work in works:
        if work.there is None:
            new_folder_from_form(folder / work.slug, work.form)
        elif work.change == "updated":
            write_form(folder / work.slug, work.form, work.there.seen)


def _write_mapping(folder: Path, text: str) -> None:
    try:
        folder.mkdir(exist_ok=True)
        write_new(folder / MAPPING_FILE, text.encode("utf-8"))
    except OSError as error:
        problem = Problem(
            str(folder), "folder", str(error), "a folder to write to", "Make its parent, or choose another."
        )
        raise InputError([problem]) from error

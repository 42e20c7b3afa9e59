"""A case folder as the fields of a form and back: nothing is lost on the way, and what did not change is not touched.

A form is plain data that JSON holds: the tables of case.toml under their own names and keys, dates as text, and the
rows of samples.csv, deaths.csv and a short temperature.csv in one spelling. `fish`, `given` and `planned` are lists.
Keys that no screen shows ride along. A volume may also be given as measures or salt, and what a clip shows as pieces:
such entries become figures with their range before the form is written (`settled`).
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from burden.case import Case, RecordedTemperature
from burden.io.case_toml import CASE_FILE
from burden.io.files import Notes, leaves_folder, read_text
from burden.io.form_rows import LOGS, csv_of, death_rows, reading_rows, sample_rows
from burden.io.form_settled import settled, tables_of_form
from burden.io.toml_merge import merged_toml, plain_tables, same_value
from burden.io.whole_write import ConflictError, digest_of, finish_pending, write_whole
from burden.utils.errors import InputError, Problem

__all__ = [
    "CheckedForm",
    "FolderForm",
    "check_form",
    "new_folder_from_form",
    "read_form",
    "write_form",
]

#: longer records come from a logger, are shown by their file's name alone and are never written
_MOST_READINGS = 400


@dataclass(frozen=True)
class FolderForm:
    """A case folder as a form.

    Parameters
    ----------
    fields : dict
        What the folder says.
    seen : str
        Fingerprint of the files it was read from: writing with it fails once they have changed.
    case : Case
        The same as the commands read it.
    """

    fields: dict[str, Any]
    seen: str
    case: Case


@dataclass(frozen=True)
class CheckedForm:
    """What a form would read as.

    Parameters
    ----------
    problems : tuple of Problem
        Empty where it is a case.
    oddities : tuple of (str, str)
        Place in the form, table, row and key with points between, and what looks odd there. Where parts of the case
        are still missing, what looks odd whatever they will be.
    case : Case or None
    """

    problems: tuple[Problem, ...]
    oddities: tuple[tuple[str, str], ...] = ()
    case: Case | None = None


def read_form(folder: Path) -> FolderForm:
    """Read a case folder as a form.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    FolderForm

    Raises
    ------
    InputError
        With every problem, where the folder is no case.
    """
    from burden.io.assembly import assemble

    finish_pending(folder)
    notes = Notes()
    seen = digest_of(folder, _read_files(folder))
    case = assemble(folder, notes)
    text = read_text(folder, CASE_FILE, notes)
    if case is None or text is None:
        raise InputError(notes.problems)
    return FolderForm(_fields(plain_tables(text), case), seen, case)


def _fields(tables: dict[str, Any], case: Case) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for name, many in tables_of_form().items():
        value = tables.get(name, [] if many else {})
        fields[name] = [value] if many and isinstance(value, Mapping) else value
    fields["samples"] = sample_rows(case)
    fields["deaths"] = death_rows(case)
    record = case.water.temperature
    written = _file_of("readings", fields["water"]) is not None
    if written and isinstance(record, RecordedTemperature) and len(record.times) <= _MOST_READINGS:
        fields["readings"] = reading_rows(record)
    return fields


def _read_files(folder: Path) -> list[str]:
    """Names of the files a case is read from."""
    notes = Notes()
    text = read_text(folder, CASE_FILE, notes) or ""
    try:
        water = plain_tables(text).get("water", {})
    except ValueError:
        water = {}
    record = water.get("temperature_c") if isinstance(water, Mapping) else None
    named = [record] if isinstance(record, str) and not leaves_folder(record) else []
    return [CASE_FILE, "samples.csv", "deaths.csv", *named]


def _changed_files(folder: Path | None, form: Mapping[str, Any]) -> dict[str, str]:
    """Return the files that must be written for a folder to say what a settled form says; the rest stay as they are."""
    there = None if folder is None else read_form(folder)
    tables = {name: form.get(name, [] if many else {}) for name, many in tables_of_form().items()}
    notes = Notes()
    text = None if folder is None else read_text(folder, CASE_FILE, notes)
    files = {}
    for log, rows in ((log, form[log]) for log in LOGS if log in form):
        name = _file_of(log, tables["water"])
        if name and (there is None or not same_value(there.fields.get(log), rows)):
            files[name] = csv_of(log, rows)
    if there is None or not _says_the_same(there.fields, tables):
        files[CASE_FILE] = merged_toml(text, tables)
    return files


def _says_the_same(fields: Mapping[str, Any], tables: Mapping[str, Any]) -> bool:
    return all(same_value(fields[name], value) for name, value in tables.items())


def _file_of(log: str, water: Mapping[str, Any]) -> str | None:
    """Name of the file of a log; of readings, the one the case names."""
    if log != "readings":
        return f"{log}.csv"
    named = water.get("temperature_c")
    plain = isinstance(named, str) and named.endswith(".csv") and Path(named).name == named and named not in _OTHERS
    return str(named) if plain else None


_OTHERS = ("samples.csv", "deaths.csv")


def check_form(form: Any, folder: Path | None = None) -> CheckedForm:
    """Tell what a form would read as, without writing it into the case.

    Parameters
    ----------
    form : mapping
    folder : Path, optional
        The case it is to be written to.

    Returns
    -------
    CheckedForm
    """
    try:
        tables = settled(form)
        found = _checked(tables, folder)
    except InputError as error:
        return CheckedForm(error.problems)
    if found.case is not None or any(problem.value != "missing" for problem in found.problems):
        return found
    return replace(found, oddities=_odd_so_far(tables, folder))


#: two very unlike cases that stand in for what is not entered yet
_UNLIKE: tuple[dict[str, Any], ...] = (
    {
        "case": {"visit_date": "2026-05-10"},
        "water": {"volume_l": 20_000, "medium": "fresh", "temperature_c": 15},
        "fish": {"species": "koi", "count": 50, "food_fish": "no"},
        "parasite": {"set": "dactylogyrus"},
    },
    {
        "case": {"visit_date": "2026-05-10"},
        "water": {"volume_l": 3e6, "medium": "sea", "temperature_c": 25},
        "fish": {"species": "barramundi", "count": 9000, "food_fish": "yes"},
        "parasite": {"set": "neobenedenia"},
    },
)


def _odd_so_far(tables: Mapping[str, Any], folder: Path | None) -> tuple[tuple[str, str], ...]:
    """Return what looks odd whatever is still missing: what two unlike fillings both give."""
    both = [_checked(_filled_in(tables, other), folder).oddities for other in _UNLIKE]
    return tuple(asked for asked in both[0] if asked in both[1] and asked[0] != "case")


def _filled_in(tables: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    groups = [{**other["fish"], **group} for group in tables.get("fish") or [{}]]
    single = {name: {**other[name], **tables.get(name, {})} for name in ("case", "water", "parasite")}
    return {**tables, **single, "fish": groups}


def _checked(tables: Mapping[str, Any], folder: Path | None) -> CheckedForm:
    """Tell what a settled form would read as."""
    files = _changed_files(folder, tables)
    with tempfile.TemporaryDirectory(prefix="burden-") as made:
        aside = Path(made) / ("case" if folder is None else folder.resolve().name)
        aside.mkdir()
        try:
            _copied(folder, files, aside)
        except UnicodeEncodeError as error:
            value = repr(error.object[error.start : error.end])
            return CheckedForm((Problem(CASE_FILE, "file", value, "text", "Write it in letters anew."),))
        return _read_aside(aside, tables)


def _copied(folder: Path | None, files: Mapping[str, str], aside: Path) -> None:
    """Fill a folder with what a case would hold."""
    for name, text in files.items():
        (aside / name).write_text(text, encoding="utf-8", newline="\n")
    if folder is None:
        return
    if CASE_FILE not in files:
        shutil.copyfile(folder / CASE_FILE, aside / CASE_FILE)
    for name in _read_files(aside):
        source, target = folder / name, aside / name
        if source.is_file() and source.resolve().is_relative_to(folder.resolve()) and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)


def _read_aside(aside: Path, tables: Mapping[str, Any]) -> CheckedForm:
    from burden.io.assembly import assemble
    from burden.io.plausibility import oddities_by_place

    notes = Notes()
    case = assemble(aside, notes)
    if case is None:
        return CheckedForm(tuple(notes.problems))
    placed = [(_in_form(place, tables), sentence) for place, sentence in oddities_by_place(case)]
    others = [("case", sentence) for sentence in notes.warnings if sentence not in {text for _, text in placed}]
    return CheckedForm((), (*placed, *others), case)


def _in_form(place: str, tables: Mapping[str, Any]) -> str:
    """Return a place of a case as one of the form: actions stand by date in a case, as written in a form."""
    table, *rest = place.split(".")
    if table not in ("given", "planned") or not rest:
        return place
    rows = tables.get(table, [])
    order = sorted(range(len(rows)), key=lambda i: str(rows[i].get("date")))
    return ".".join((table, str(order[int(rest[0])]), *rest[1:]))


def write_form(folder: Path, form: Any, seen: str) -> FolderForm:
    """Write a form into a case folder: all files that change, or none.

    Parameters
    ----------
    folder : Path
        A case.
    form : mapping
    seen : str
        Fingerprint of the folder when the form was read from it.

    Returns
    -------
    FolderForm
        What the folder says now.

    Raises
    ------
    InputError
        Where it would not be a case.
    ConflictError
        Where the folder was changed meanwhile.
    """
    finish_pending(folder)
    if digest_of(folder, _read_files(folder)) != seen:
        raise ConflictError(f"{folder.name} was changed since it was read here")
    found = check_form(form, folder)
    if found.case is None:
        raise InputError(found.problems)
    if files := _changed_files(folder, settled(form)):
        write_whole(folder, files, seen, _read_files(folder))
    return read_form(folder)


def new_folder_from_form(folder: Path, form: Any, like: Path | None = None) -> FolderForm:
    """Write a form as a new case folder, whole or not at all.

    Parameters
    ----------
    folder : Path
        Must not exist, or be empty; its parent must exist.
    form : mapping
    like : Path, optional
        A case whose files the form began from: its comments, and a logger's file it names, go along.

    Returns
    -------
    FolderForm

    Raises
    ------
    InputError
        Where the folder is taken, or what it would hold is no case.
    """
    from burden.io.template import new_case

    found = check_form(form, like)
    if found.case is None:
        raise InputError(found.problems)
    notes = Notes()
    old = {} if like is None else {name: read_text(like, name, notes) for name in _read_files(like)}
    files = {name: text for name, text in old.items() if text is not None and Path(name).name == name}
    files |= _changed_files(like, settled(form))
    new_case(folder, files.pop(CASE_FILE), more=files)
    return read_form(folder)

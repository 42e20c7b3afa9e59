"""A case folder as the fields of a form and back: nothing is lost on the way, and what did not change is not touched.

A form is plain data that JSON holds: the tables of case.toml under their own names and keys, dates as text, and the
rows of samples.csv, deaths.csv and a short temperature.csv in one spelling. `fish`, `given` and `planned` are lists.
Keys that no screen shows ride along. A volume may also be given as measures or salt, and what a clip shows as pieces:
such entries become figures with their range before the form is written (`settled`).
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from burden.case import Case, RecordedTemperature
from burden.io.case_toml import CASE_FILE
from burden.io.files import Notes, leaves_folder, read_text
from burden.io.form_rows import LOGS, csv_of, death_rows, reading_rows, sample_rows
from burden.io.new_folder import clip_share_words, volume_by_salt_words, volume_by_shape
from burden.io.toml_merge import merged_toml, plain_tables, same_value
from burden.io.whole_write import ConflictError, digest_of, finish_pending, write_whole
from burden.utils.errors import InputError, Problem

__all__ = [
    "CheckedForm",
    "ConflictError",
    "FolderForm",
    "check_form",
    "new_folder_from_form",
    "read_form",
    "settled",
    "write_form",
]

#: longer records come from a logger, are shown by their file's name alone and are never written
_MOST_READINGS = 400
_MOST_ROWS = 5000


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
        Table of the form and what looks odd in it.
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


def _tables() -> dict[str, bool]:
    """Names of the tables of case.toml in their order, and whether each is a list of blocks."""
    from burden.io.schema import TABLES

    return {name: many for name, (_, _, many) in TABLES.items()}


def _fields(tables: dict[str, Any], case: Case) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for name, many in _tables().items():
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


def settled(form: Mapping[str, Any]) -> dict[str, Any]:
    """Return a form with figures in the place of measures, of salt and of pieces on a slide.

    Parameters
    ----------
    form : mapping
        Its [water] volume_l may be {shape, size_m: [length, width, depth]} or {salt_g, rise_g_l}, its [looking]
        gill_clip_share {pieces, of}.

    Returns
    -------
    dict
        Tables without None in them.

    Raises
    ------
    InputError
        For data that is no form, and for measures of nothing.

    Examples
    --------
    >>> settled({"water": {"volume_l": {"shape": "rectangle", "size_m": [4, 3, 1]}}})["water"]["volume_l"]["value"]
    12000
    """
    form = _shaped(form)
    fish = form.get("fish") or [{}]
    weight = fish[0].get("mean_weight_g")
    weight_g = float(weight) if isinstance(weight, int | float) else None
    with _placed("[water] volume_l"):
        _settle(form.get("water", {}), "volume_l", _volume)
    with _placed("[looking] gill_clip_share"):
        _settle(form.get("looking", {}), "gill_clip_share", lambda told: _clip(told, weight_g))
    return form


@contextmanager
def _placed(place: str) -> Iterator[None]:
    """Tell problems met inside at a place of case.toml, whatever the arithmetic called it."""
    try:
        yield
    except InputError as error:
        raise InputError(replace(p, file=CASE_FILE, place=place) for p in error.problems) from error
    except (KeyError, TypeError, ValueError) as error:
        raise InputError([Problem(CASE_FILE, place, str(error), "numbers", "Fill the entry in whole.")]) from error


def _settle(table: dict[str, Any], key: str, work_out: Callable[[Mapping[str, Any]], dict[str, Any]]) -> None:
    told = table.get(key)
    if isinstance(told, Mapping) and "value" not in told:
        table[key] = work_out(told)


def _volume(told: Mapping[str, Any]) -> dict[str, Any]:
    if "salt_g" in told:
        return volume_by_salt_words(float(told["salt_g"]), float(told["rise_g_l"]))
    length, width, depth = (float(metres) for metres in told["size_m"])
    return volume_by_shape(length, width, depth, told["shape"])


def _clip(told: Mapping[str, Any], weight_g: float | None) -> dict[str, Any]:
    return clip_share_words(float(told["pieces"]), told["of"], weight_g)


def _shaped(form: Any) -> dict[str, Any]:
    """Return a form with all its parts there and nothing empty in them.

    Raises
    ------
    InputError
        For data that is no form: it comes from a browser or a file.
    """
    if not isinstance(form, Mapping):
        raise _no_form("form", type(form).__name__)
    tables = _tables()
    unknown = [name for name in form if name not in tables and name not in LOGS]
    if unknown:
        raise _no_form(str(unknown[0])[:40], "unknown")
    found: dict[str, Any] = {}
    for name in (name for name, many in tables.items() if not many):
        if not isinstance(form.get(name, {}), Mapping):
            raise _no_form(name, "no table")
        found[name] = _without_none(form.get(name, {}))
    for name in (*(name for name, many in tables.items() if many), *(log for log in LOGS if log in form)):
        rows = form.get(name, [])
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            raise _no_form(name, "no list of tables")
        found[name] = [_without_none(row) for row in rows[:_MOST_ROWS]]
    for log in LOGS:
        found[log] = [_text_row(log, row) for row in found[log]] if log in found else None
    return {name: value for name, value in found.items() if value is not None}


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _without_none(item) for key, item in value.items() if item is not None}
    return [_without_none(item) for item in value if item is not None] if isinstance(value, list) else value


def _text_row(log: str, row: Mapping[str, Any]) -> dict[str, str]:
    texts = {key: " ".join(str(value).split()) for key, value in row.items()}
    unknown = [key for key in texts if key not in LOGS[log]]
    if unknown:
        raise _no_form(f"{log} {unknown[0]}"[:60], "unknown column")
    return {key: text for key, text in texts.items() if text}


def _no_form(place: str, value: str) -> InputError:
    return InputError([Problem("form", place, value, "a form of this page", "Load the page again.")])


def _changed_files(folder: Path | None, form: Mapping[str, Any]) -> dict[str, str]:
    """Return the files that must be written for a folder to say what a settled form says; the rest stay as they are."""
    there = None if folder is None else read_form(folder)
    tables = {name: form.get(name, [] if many else {}) for name, many in _tables().items()}
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
        files = _changed_files(folder, settled(form))
    except InputError as error:
        return CheckedForm(error.problems)
    with tempfile.TemporaryDirectory(prefix="burden-") as made:
        aside = Path(made) / ("case" if folder is None else folder.resolve().name)
        aside.mkdir()
        try:
            _copied(folder, files, aside)
        except UnicodeEncodeError as error:
            value = repr(error.object[error.start : error.end])
            return CheckedForm((Problem(CASE_FILE, "file", value, "text", "Write it in letters anew."),))
        return _read_aside(aside)


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


def _read_aside(aside: Path) -> CheckedForm:
    from burden.io.assembly import assemble
    from burden.io.plausibility import oddities_by_table

    notes = Notes()
    case = assemble(aside, notes)
    if case is None:
        return CheckedForm(tuple(notes.problems))
    placed = oddities_by_table(case)
    others = [("case", sentence) for sentence in notes.warnings if sentence not in {text for _, text in placed}]
    return CheckedForm((), (*placed, *others), case)


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

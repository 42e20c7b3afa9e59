"""case.toml as tables: its shape checked by a schema, every fault named by its place in the file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from burden.io.files import Notes, hint, read_text

if TYPE_CHECKING:
    from pydantic import BaseModel

    from burden.io.schema import (
        ActionTable,
        ArrivalBlock,
        CaseTable,
        FindingsTable,
        FishTable,
        LimitsTable,
        LookingTable,
        ParasiteTable,
        WaterTable,
    )

__all__ = ["CASE_FILE", "CaseTables", "read_tables"]

CASE_FILE = "case.toml"
_MISSING = object()
#: entries of one list or table: a dose a week for ten years
_MOST_ENTRIES = 500
#: parts of a key, and characters of a line that are looked at to say what is wrong with it
_MOST_PARTS, _MOST_SHOWN = 50, 300


@dataclass(frozen=True)
class CaseTables:
    """Tables of case.toml; None, or a shorter list, where one could not be read."""

    case: CaseTable | None = None
    water: WaterTable | None = None
    fish: tuple[FishTable | None, ...] = ()
    arrivals: tuple[ArrivalBlock | None, ...] = ()
    parasite: ParasiteTable | None = None
    looking: LookingTable | None = None
    findings: FindingsTable | None = None
    limits: LimitsTable | None = None
    given: tuple[ActionTable | None, ...] = ()
    planned: tuple[ActionTable | None, ...] = ()


def read_tables(folder: Path, notes: Notes) -> CaseTables:
    """Read case.toml as far as it can be read, with every problem noted.

    Parameters
    ----------
    folder : Path
        The case folder.
    notes : Notes

    Returns
    -------
    CaseTables
    """
    from burden.io.schema import TABLES

    raw = _parse(folder, notes)
    if raw is None:
        return CaseTables()
    for name in raw:
        if name not in TABLES:
            fix = f"{hint(name, TABLES)} Rename or remove it."
            notes.problem(CASE_FILE, f"[{name}]", name, "a table of a case file", fix)
    read = {}
    for name, (model, required, many) in TABLES.items():
        if name in raw:
            read[name] = _read_table(name, raw[name], model, many, notes)
        elif required:
            keys = ", ".join(key for key, info in model.model_fields.items() if info.is_required())
            notes.problem(CASE_FILE, f"[{name}]", "missing", f"a table with {keys}", f"Add [{name}].")
    return CaseTables(**{name: value for name, value in read.items() if value is not None})


def _parse(folder: Path, notes: Notes) -> dict[str, Any] | None:
    text = read_text(folder, CASE_FILE, notes)
    if text is None or not _keys_are_short(text, notes):
        return None
    try:
        return _bounded(tomllib.loads(text), "file", notes)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        message, _, place = str(error).rpartition(" (at ")
        place = place.removesuffix(")") or "file"
        line = _line(text, place)
        fix = _slip(line) or f"{(message or str(error)).capitalize()}. {_IN_GENERAL}"
        notes.problem(CASE_FILE, place, line or "no TOML", "key = value", f"{fix} Put this line right first.")
        return None


def _line(text: str, place: str) -> str:
    """The line a place of the TOML reader names, without what explains it."""
    number = re.match(r"line (\d+)", place)
    lines = text.splitlines()
    if number is None or int(number[1]) > len(lines):
        return ""
    return re.sub(r"\s+#.*", "", lines[int(number[1]) - 1].strip()[:_MOST_SHOWN]).strip()


def _keys_are_short(text: str, notes: Notes) -> bool:
    """Whether no key has more parts than any reader can hold: what it needs grows with their square."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > _MOST_PARTS and any(
            part.count(".") > _MOST_PARTS for part in re.split(r"[=,\[\]{}#\"']", line)
        ):
            expected, fix = "keys of one or two parts", "Write one value a line; break a long note into several lines."
            notes.problem(CASE_FILE, f"line {number}", line.strip()[:_MOST_SHOWN], expected, fix)
            return False
    return True


def _bounded(raw: Any, place: str, notes: Notes) -> Any:
    """Return what was read with the rest of every list and table too long for a case cut off, and noted."""
    if isinstance(raw, Mapping):
        if len(raw) > _MOST_ENTRIES:
            _too_many(place, len(raw), "keys", notes)
        return {key: _bounded(raw[key], str(key), notes) for key in list(raw)[:_MOST_ENTRIES]}
    if isinstance(raw, list):
        if len(raw) > _MOST_ENTRIES:
            _too_many(place, len(raw), "entries", notes)
        return [_bounded(one, place, notes) for one in raw[:_MOST_ENTRIES]]
    return raw


def _too_many(place: str, number: int, what: str, notes: Notes) -> None:
    expected = f"at most {_MOST_ENTRIES} {what}"
    notes.problem(CASE_FILE, place, f"{number} {what}", expected, "Leave out what lies long before the visit.")


#: slips of the pen in a line no TOML reader takes, and what to do about each
_SLIPS = (
    (r"[“”„«»‘’]", 'Use straight quotes, as "koi".'),
    (r'^[^"]*"[^"]*$', "Close the quotes."),
    (r"=\s*\d{1,2}[./-]\d{1,2}[./-]\d{4}", "Write the date as 2026-05-10."),
    (r"=\s*-?\d+,\d", "Write a point for decimals."),
    (r"=\s*-?[\d.]+\s*[^\W\d]", "Write the number without its unit."),
    (r"=\s*[^\W\d]", 'Put text and names in quotes, as "koi".'),
    (r"=\s*$", "Write the value, or put # before a key nobody knows."),
    (r"^[^=\[]+$", "Put = between the key and its value."),
)
_IN_GENERAL = "Text and names stand in quotes, numbers take a point, each key stands once in its table."


def _slip(line: str) -> str | None:
    """What to do about a line that cannot be read, where the slip is a common one.

    Examples
    --------
    >>> _slip("volume_l = 12000 L"), _slip("visit_date = 10.5.2026")
    ('Write the number without its unit.', 'Write the date as 2026-05-10.')
    """
    return next((fix for pattern, fix in _SLIPS if re.search(pattern, line)), None)


def _read_table(name: str, raw: Any, model: type[BaseModel], many: bool, notes: Notes) -> Any:
    """Validate one table, or each of a list of blocks."""
    if not many:
        return _validate(f"[{name}]", raw, model, notes)
    if not isinstance(raw, list):
        return (_validate(f"[{name}]", raw, model, notes),)
    return tuple(_validate(f"[[{name}]] {number}", block, model, notes) for number, block in enumerate(raw, start=1))


def _validate(head: str, raw: Any, model: type[BaseModel], notes: Notes) -> Any:
    from pydantic import ValidationError

    if not isinstance(raw, Mapping):
        notes.problem(CASE_FILE, head, raw, "a table of keys", f"Write {head.split()[0]} on its own line.")
        return None
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        for fault in faults:
            _note_fault(head, raw, model, fault, notes)
        return _what_holds(raw, model, {str(fault["loc"][0]) for fault in faults if fault["loc"]})


#: keys without which a block is not checked further: what stands with them would be misread
_NEEDED = {
    "ActionTable": {"date", "agent"},
    "FishTable": {"species", "count", "new_arrivals"},
    "ArrivalBlock": {"date", "count", "species", "flukes_seen", "preparations"},
}
#: what stands in the place of a faulty list or table
_EMPTY: dict[str, Any] = {"set": (), "override": {}, "fish": (), "strength_percent": {}}


def _what_holds(raw: Mapping[str, Any], model: type[BaseModel], faulty: set[str]) -> Any:
    """Return a table with None for what is wrong in it, so that the rest is still checked; None where nothing holds.

    A problem is noted by then, so no case is ever made of it.
    """
    from pydantic import ValidationError, create_model

    if faulty & _NEEDED.get(model.__name__, set()):
        return None
    lenient: dict[str, Any] = {name: (Any, _EMPTY.get(name)) for name in faulty if name in model.model_fields}
    partial: type[BaseModel] = create_model(model.__name__, __base__=model, **lenient)
    try:
        return partial.model_validate({k: v for k, v in raw.items() if k in model.model_fields and k not in faulty})
    except ValidationError:
        return None


def _note_fault(head: str, raw: Mapping[str, Any], model: type[BaseModel], fault: Any, notes: Notes) -> None:
    """Translate one fault of the schema into a problem of the file."""
    path = [part for part in fault["loc"] if not str(part).startswith("form:")]
    parent, expected = _described(model, path)
    value = _at(raw, path)
    place = _place(head, raw, path)
    match fault["type"]:
        case "missing":
            notes.problem(CASE_FILE, place, "missing", expected, f"Add {path[-1]}.")
        case "extra_forbidden":
            known = list(parent.model_fields)
            fix = f"{hint(str(path[-1]), known)} {_home_of(str(path[-1]))}".strip()
            notes.problem(CASE_FILE, place, path[-1], f"a key of {head.split()[0]}", fix)
        case "wrong_value":
            notes.problem(CASE_FILE, place, _shown(value), expected, fault["ctx"]["fix"])
        case "too_short":
            notes.problem(CASE_FILE, place, _shown(value), expected, "Name at least one.")
        case _:
            notes.problem(CASE_FILE, place, _shown(value), expected, "Write it in the form expected.")


def _described(model: type[BaseModel], path: Sequence[Any]) -> tuple[type[BaseModel], str]:
    """Return the table a path ends in, and what is expected there."""
    expected = "a key this table knows"
    for part in path:
        if part in model.model_fields:
            info = model.model_fields[part]
            expected = info.description or expected
            parent, model = model, _inner_model(info.annotation) or model
        else:
            parent = model
    return parent, expected


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_inner_model(inner) for inner in get_args(annotation))
    return next((model for model in found if model is not None), None)


def _at(raw: Any, path: Sequence[Any]) -> Any:
    """Return the value at a path, or the last one met on it."""
    for part in path:
        if isinstance(raw, Mapping):
            raw = raw.get(part, _MISSING)
        elif isinstance(raw, list) and isinstance(part, int):
            raw = raw[part]
        if raw is _MISSING:
            break
    return raw


def _place(head: str, raw: Any, path: Sequence[Any]) -> str:
    """Write a path as the file has it: keys, and entries of a list counted from 1."""
    words = []
    for part in path:
        if isinstance(raw, list) and isinstance(part, int):
            words.append(str(part + 1))
            raw = raw[part]
        elif isinstance(raw, Mapping):
            words.append(str(part))
            raw = raw.get(part)
    if head == "[parasite]" and words[:1] == ["override"] and len(words) > 1:
        return " ".join([f"[parasite.override.{words[1]}]", *words[2:]])
    return " ".join([head, *words])


def _home_of(key: str) -> str:
    """Name the table a misplaced key belongs to."""
    from burden.io.schema import TABLES

    homes = [f"[{name}]" for name, (model, _, _) in TABLES.items() if key in model.model_fields]
    return f"It belongs in {' or '.join(homes)}." if homes else ""


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key} = {_shown(one)}' for key, one in value.items())}}}"
    return "missing" if value is _MISSING else str(value)

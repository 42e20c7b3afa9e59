"""New values into a TOML file that people wrote: comments, order and spelling of what did not change stay."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from burden.utils.errors import InputError, Problem

__all__ = ["merged_toml", "plain_tables", "same_value"]

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
#: keys whose text is a date; anywhere else text that looks like one stays text
_DAY_KEYS = {"visit_date", "trouble_since", "date"}
_HEADER = "# A case, written by `burden open`. Change it here or there; `burden new` explains every key.\n"


def plain_tables(text: str) -> dict[str, Any]:
    """Return a TOML file as plain data: what JSON holds, dates as text.

    Examples
    --------
    >>> plain_tables("[case]\\nvisit_date = 2026-05-10")
    {'case': {'visit_date': '2026-05-10'}}
    """
    return {name: _plain(value) for name, value in tomllib.loads(text).items()}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return value.date().isoformat()  # of a date and time the date counts, as the reader of a case has it
    return value if isinstance(value, bool | int | float | str) else str(value)


def same_value(one: Any, other: Any) -> bool:
    """Tell whether two plain values say the same: 12 and 12.0 do, 1 and true do not.

    Examples
    --------
    >>> same_value([12, {"a": "x"}], [12.0, {"a": "x"}]), same_value(1, True)
    (True, False)
    """
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same_value(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same_value, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


def merged_toml(text: str | None, tables: Mapping[str, Any]) -> str:
    """Return TOML that says what the tables say, written into a text where there is one.

    Parameters
    ----------
    text : str or None
        The file as it stands, valid TOML.
    tables : mapping of str to mapping, or list of mapping
        By name; lists become one block each, an empty one no block.

    Returns
    -------
    str

    Raises
    ------
    InputError
        For a value that TOML cannot hold.

    Notes
    -----
    What was written is read back and compared; where the library that keeps comments got it wrong, for instance with
    blocks out of order, the file is written anew without them rather than with another meaning.
    """
    wanted = {name: value for name, value in tables.items() if value or isinstance(value, Mapping)}
    try:
        for start in (text, None):
            written = _merge(start, wanted)
            if same_value(_filled(plain_tables(written)), _filled(wanted)):
                return written
    except (ValueError, TypeError, KeyError) as error:  # tomlkit's own errors are ValueErrors and KeyErrors
        raise InputError([_unwritable(error)]) from error
    raise InputError([_unwritable("a value")])


def _unwritable(what: object) -> Problem:
    return Problem("case.toml", "file", str(what)[:80], "values a case file can hold", "Write the last entries anew.")


def _filled(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Tables that say something; a table alone and a list of one are the same."""
    said = {name: [value] if name == "fish" and isinstance(value, Mapping) else value for name, value in tables.items()}
    return {name: value for name, value in said.items() if value}


def _merge(text: str | None, wanted: Mapping[str, Any]) -> str:
    import tomlkit

    document = tomlkit.parse(_HEADER if text is None else text)
    there = {} if text is None else plain_tables(text)
    for name in there:
        if name not in wanted:
            del document[name]
    for name, value in wanted.items():
        old = there.get(name)
        if isinstance(value, Mapping):
            if value and not isinstance(old, Mapping):
                document[name] = _table(value)
            elif value or old:
                _merge_table(document[name], old or {}, value)
        elif isinstance(old, Mapping) and len(value) == 1:
            _merge_table(document[name], old, value[0])
        elif isinstance(old, list):
            _merge_blocks(document[name], old, value)
        else:
            document[name] = _blocks(value)
    return str(tomlkit.dumps(document))


def _merge_table(table: Any, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
    """Change, add and remove keys; those that say the same are left alone."""
    from tomlkit.items import Table

    for key in old:
        if key not in new:
            del table[key]
    for key, value in new.items():
        if key not in old:
            table[key] = _item(key, value)
        elif isinstance(value, Mapping) and isinstance(old[key], Mapping) and isinstance(table[key], Table):
            _merge_table(table[key], old[key], value)
        elif not same_value(old[key], value):
            table[key] = _item(key, value)


def _merge_blocks(blocks: Any, old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]) -> None:
    """Keep blocks that say the same, change those in between one for one, then drop or add."""
    head = 0
    while head < min(len(old), len(new)) and same_value(old[head], new[head]):
        head += 1
    tail = 0
    while tail < min(len(old), len(new)) - head and same_value(old[-1 - tail], new[-1 - tail]):
        tail += 1
    gone, come = len(old) - head - tail, len(new) - head - tail
    for place in range(head, head + min(gone, come)):
        _merge_table(blocks[place], old[place], new[place])
    for _ in range(gone - come):
        del blocks[head + come]
    for place in range(head + gone, head + come):
        blocks.insert(place, _table(new[place]))


def _table(values: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _item(key, value)
    return table


def _blocks(values: Sequence[Mapping[str, Any]]) -> Any:
    import tomlkit

    if len(values) == 1 and "species" in values[0]:
        return _table(values[0])
    blocks = tomlkit.aot()
    for value in values:
        blocks.append(_table(value))
    return blocks


def _item(key: str, value: Any) -> Any:
    """A value as TOML has it; tables and lists in it stand on the same line."""
    import tomlkit

    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        for name, item in value.items():
            inline[name] = _item(name, item)
        return inline
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for item in value:
            array.append(_item("", item))
        return array
    if key in _DAY_KEYS and isinstance(value, str) and _DAY.fullmatch(value):
        return tomlkit.item(date.fromisoformat(value))
    return tomlkit.item(value)

"""A form as a case file can hold it: its parts there, nothing empty in them, and figures in the place of measures."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from burden.io.case_toml import CASE_FILE
from burden.io.form_rows import LOGS
from burden.io.new_folder import clip_share_words, volume_by_salt_words, volume_by_shape
from burden.utils.errors import InputError, Problem

__all__ = ["settled", "tables_of_form"]

_MOST_ROWS = 5000


def tables_of_form() -> dict[str, bool]:
    """Return the tables of case.toml in their order, and whether each is a list of blocks."""
    from burden.io.schema import TABLES

    return {name: many for name, (_, _, many) in TABLES.items()}


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
    tables = tables_of_form()
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

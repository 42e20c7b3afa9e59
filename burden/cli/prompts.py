"""Plain questions of `burden new --ask`: a wrong answer is told what was expected, and the question comes again."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = ["questions"]

_T = TypeVar("_T")
_Reader = Callable[[str], _T]


def questions(told: Mapping[str, Any]) -> dict[str, Any]:
    """Ask for what is not told yet.

    Parameters
    ----------
    told : mapping of str to value
        By option of `burden new`.

    Returns
    -------
    dict
        The answers, by option.

    Raises
    ------
    click.UsageError
        Where there is no standard input to answer on.
    """
    if sys.stdin is None:
        raise click.UsageError("--ask needs somebody to answer, but standard input is closed; give the rest as options")
    found: dict[str, Any] = {}
    for key, (question, read, usual) in _PLAIN.items():
        if key not in told:
            found[key] = _ask(question, read, usual)
    if not told.keys() & {"volume_l", "size_m", "salt"}:
        found |= _water()
    if not told.keys() & {"temperature_c", "readings", "logger"}:
        found |= _temperature()
    if "gill_clip" not in told:
        clip = _ask(_CLIP, _piece(found.get("weight_g", told.get("weight_g"))), optional=True)
        found |= {} if clip is None else {"gill_clip": clip}
    return found


def _water() -> dict[str, Any]:
    """Ask how much water there is, in the way it is known."""
    litres = _number("litres above 0, for instance 12000")
    question = "How many litres of water, filter and pipes included (or type: measures, salt)"
    known = _ask(question, _either(litres, "measures", "salt"))
    if known == "salt":
        grams, rise = _number("grams above 0, for instance 5000"), _number("g/L above 0, for instance 0.5")
        added = _ask("How much salt was added [g]", grams)
        return {"salt": (added, _ask("By how much did salinity rise once it was mixed [g/L]", rise))}
    if known == "measures":
        metres = _number("metres above 0, for instance 3.5")
        shape = _ask("Outline: rectangle, oval or free", _one_of("rectangle", "oval", "free"), "rectangle")
        sides = (
            "How long is it at the surface [m]",
            "How wide is it [m]",
            "Mean depth, not the deepest [m]",
        )
        return {"shape": shape, "size_m": tuple(_ask(side, metres) for side in sides)}
    return {"volume_l": known}


def _temperature() -> dict[str, Any]:
    """Ask how warm the water is: one figure, readings by hand or a logger's file."""
    celsius = _number("°C from -2 to 40, for instance 17.5", -2.0, 40.0, above=False)
    known = _ask("Water temperature in °C (or type: readings, logger)", _either(celsius, *_WARMTH))
    if known == "readings":
        return {
            "readings": _listed("A reading: date and °C, for example 2026-05-04 17.5 (Enter after the last)", _reading)
        }
    return {"record": _ask("Name of the logger's file", _record)} if known == "logger" else {"temperature_c": known}


def _ask(question: str, read: _Reader[_T], usual: str = "", optional: bool = False) -> _T:
    """Ask until the answer can be read.

    Parameters
    ----------
    question : str
    read : callable
        From the words typed to their meaning; a ValueError says what was expected.
    usual : str
        Taken for an empty answer, and shown.
    optional : bool
        Whether an empty answer may stand, which `read` then gets.

    Returns
    -------
    what `read` returns
    """

    def answer(text: str) -> _T:
        try:
            return read(text.strip())
        except ValueError as error:
            said = f"{text.strip()!r} cannot be read" if text.strip() else "an answer is needed"
            raise click.UsageError(f"{said}: expected {error}") from error

    more = " (Enter if not known)" if optional else ""
    return click.prompt(f"{question}{more}", usual, value_proc=answer, show_default=bool(usual), err=True)


def _listed(question: str, read: _Reader[_T | None]) -> list[_T]:
    """Ask for one after the other until an empty answer, at least one."""
    found: list[_T] = []
    while True:
        one = _ask(question, read)
        if one is not None:
            found.append(one)
        elif found:
            return found
        else:
            click.echo("Error: at least one reading is needed", err=True)


def _words(text: str) -> str:
    """Read anything but nothing."""
    if not text:
        raise ValueError("a few words")
    return text


def _number(expected: str, low: float = 0.0, high: float = math.inf, above: bool = True) -> _Reader[float]:
    """Return a reader of a number between limits; `expected` names it with an example."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError as error:
            raise ValueError(f"{expected}, a point for decimals and no unit") from error
        if not low <= value <= high or (above and value <= low) or not math.isfinite(value):
            raise ValueError(expected)
        return value

    return read


def _whole(text: str) -> int:
    """Read a whole number, 1 or more."""
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) >= 1):
        raise ValueError("a whole number, 1 or more, for instance 24")
    return int(text)


def _day(text: str) -> date:
    """Read a date."""
    from burden.io.cells import day_from_text

    try:
        return day_from_text(date.fromisoformat(text).isoformat())  # a case takes no year but of our time
    except ValueError as error:
        raise ValueError("a date as year-month-day, for instance 2026-05-10") from error


def _one_of(*known: str) -> _Reader[str]:
    """Return a reader of one of some words, or of how one of them begins."""

    def read(text: str) -> str:
        found = [word for word in known if text and word.startswith(text.lower())]
        if len(found) != 1:
            raise ValueError(" or ".join(known))
        return found[0]

    return read


def _either(read: _Reader[float], *known: str) -> _Reader[float | str]:
    """Return a reader of a number, or of one of some words."""

    def answer(text: str) -> float | str:
        if text[:1].isalpha():
            return _one_of(*known)(text)
        try:
            return read(text)
        except ValueError as error:
            raise ValueError(f"{error}; or one of the words {', '.join(known)}") from error

    return answer


def _reading(text: str) -> tuple[date, float] | None:
    """Read a date and a temperature; nothing is the end of the list."""
    if not text:
        return None
    expected = "a date and °C, for instance 2026-05-04 17.5"
    when, _, celsius = text.partition(" ")
    try:
        return _day(when), _number(expected, -2.0, 40.0, above=False)(celsius.strip())
    except ValueError as error:
        raise ValueError(expected) from error


def _piece(weight_g: float | None) -> _Reader[tuple[float, Any] | None]:
    """Return a reader of what lies on a slide, as "15 tips"; nothing is not known."""
    from burden.case.gill_share import gill_share
    from burden.utils.errors import InputError

    def read(text: str) -> tuple[float, Any] | None:
        if not text:
            return None
        expected = "how many and what, for instance 15 tips, 8 filaments or 1 arch"
        count, _, what = text.partition(" ")
        what = what.strip().lower()
        kinds = {"tip": "tips", "filament": "filaments", "arch": "arches"}
        try:
            found: tuple[float, Any] = (
                _number(expected)(count),
                _one_of("tips", "filaments", "arches")(kinds.get(what, what)),
            )
            gill_share(*found, weight_g)
        except InputError as error:
            raise ValueError(f"{error.problems[0].expected} of {found[1]}") from error
        except ValueError as error:
            raise ValueError(expected) from error
        return found

    return read


def _record(text: str) -> str:
    """Read a logger's file by its name, and return what it holds."""
    from burden.io.new_folder import logger_record
    from burden.utils.errors import InputError

    if not text:
        raise ValueError("the name of a CSV file with columns date (and time) and temperature_c")
    try:
        return logger_record(Path(text).expanduser())
    except RuntimeError as error:  # ~ where there is no home, or of nobody here
        raise ValueError("a file name without ~, as it has no meaning here") from error
    except InputError as error:
        raise ValueError(
            "; ".join(f"{p.expected} ({p.place}: {p.value}). {p.fix}" for p in error.problems[:3])
        ) from error


_PLAIN: Mapping[str, tuple[str, _Reader[Any], str]] = {
    "title": ("What is this pond or tank called", _words, ""),
    "visit_date": ("Date of the visit", _day, ""),
    "species": ("Which fish", _words, "koi"),
    "count": ("How many of them are alive", _whole, ""),
    "weight_g": ("What does one weigh on average [g]", _number("grams above 0, for instance 400"), ""),
    "food_fish": ("Could anyone ever eat them: yes or no", _one_of("yes", "no"), ""),
}
_WARMTH = ("readings", "logger")
_CLIP = "What lies on one gill slide, for example 15 tips, 8 filaments or 1 arch"

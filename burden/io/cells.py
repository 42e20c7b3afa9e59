"""One cell of a table, or one text of case.toml, as a date, a number or a count; nothing is guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta

__all__ = [
    "TEMPERATURE_LIMITS_C",
    "CellError",
    "count_from_text",
    "day_from_text",
    "days_first",
    "moment_from_text",
    "number_from_text",
    "temperature_fix",
    "unsure_points",
]

#: sea water freezes near −2 °C, and no fish in these sets lives at 40: beyond them the unit is in doubt
TEMPERATURE_LIMITS_C = (-2.5, 40.0)
_MOST_FLUKES = 1_000_000
_YEARS = (1990, 2100)
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_PARTS = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?")


class CellError(ValueError):
    """A cell that cannot be read; says what was expected, if the column does not, and what to do."""

    def __init__(self, fix: str, expected: str | None = None) -> None:
        self.fix = fix
        self.expected = expected
        super().__init__(fix)


def temperature_fix(value: float) -> str:
    """Return what to do about a temperature no fish lives at: the unit it may have been read in.

    Examples
    --------
    >>> temperature_fix(77.0)
    'Fahrenheit? 77 °F is 25 °C.'
    >>> temperature_fix(280.0)
    'Kelvin? 280 K is 6.85 °C.'
    """
    low, high = TEMPERATURE_LIMITS_C
    celsius = (value - 32) / 1.8
    if high < value and low <= celsius <= high:
        return f"Fahrenheit? {value:g} °F is {celsius:.3g} °C."
    if low <= value - 273.15 <= high:
        return f"Kelvin? {value:g} K is {value - 273.15:.3g} °C."
    return f"Give degrees Celsius, {low:g} to {high:g}."


def number_from_text(text: str, *, decimal_comma: bool) -> float:
    """Read a number with a point, or a comma where the table's separator is none.

    Raises
    ------
    CellError
        For text that is no finite number.

    Examples
    --------
    >>> number_from_text("0,25", decimal_comma=True)
    0.25
    """
    if "," in text and not decimal_comma:
        raise CellError("A comma separates the cells here: write a point for decimals.")
    if not _NUMBER.fullmatch(text):
        raise CellError("Write a plain number: no unit, no thousands mark, one decimal mark.")
    value = float(text.replace(",", "."))
    if not math.isfinite(value):
        raise CellError("Write a finite number.")
    return value


def unsure_points(texts: Iterable[str]) -> bool:
    """Tell whether a column mixes decimal commas with points, so that 1.200 may be one or twelve hundred."""
    texts = list(texts)
    return any("," in text for text in texts) and any(re.fullmatch(r"\d+\.\d{3}", text) for text in texts)


def count_from_text(text: str) -> tuple[int, int | None]:
    """Read a count of flukes: a whole number, ``>50`` or ``10-20``; the limits, both included.

    Returns
    -------
    tuple of int and (int or None)
        Lowest and highest count; None for no upper limit.

    Raises
    ------
    CellError

    Examples
    --------
    >>> count_from_text("12"), count_from_text(">50"), count_from_text("10-20")
    ((12, 12), (51, None), (10, 20))
    """
    plain = re.sub(r"\s", "", text).replace("–", "-").replace("—", "-")
    if match := re.fullmatch(r"(\d{1,9})([.,]0*)?", plain):
        low, high = int(match[1]), int(match[1])
    elif match := re.fullmatch(r"(>=|≥|>)(\d{1,9})", plain):
        low, high = int(match[2]) + (match[1] == ">"), None
    elif match := re.fullmatch(r"(\d{1,9})-(\d{1,9})", plain):
        low, high = int(match[1]), int(match[2])
        if low > high:
            raise CellError(f"Write the lower limit first: {high}-{low}.")
    else:
        raise CellError(_count_fix(plain))
    if max(low, high or 0) > _MOST_FLUKES:
        raise CellError("Check the figure: nobody counts a million flukes.")
    return low, high


def _count_fix(plain: str) -> str:
    if re.fullmatch(r"-\d+([.,]\d+)?", plain):
        return "A count cannot be negative: 0 for looked and none, empty for unreadable."
    if re.fullmatch(r"\d+[.,]\d+", plain):
        return "Flukes are whole: write the count itself, not a mean."
    if re.search(r"\d-[A-Za-z]|[A-Za-z]-\d|\d{4}-\d|\d[./]\d", plain):
        return "Has a spreadsheet made a date of 10-20? Set the column to text and write it again."
    return "For too many to count write >50; leave the cell empty for unreadable."


def days_first(texts: Iterable[str]) -> bool:
    """Tell whether a column's dates such as 03/04/2026 have the day first, by those that leave no choice.

    Examples
    --------
    >>> days_first(["03/04/2026", "25/04/2026"]), days_first(["03/04/2026"])
    (True, False)
    """
    found = [_PARTS.match(text) for text in texts]
    pairs = [(int(m[1]), int(m[3])) for m in found if m and m[2] != "."]
    return any(a > 12 for a, _ in pairs) and not any(b > 12 for _, b in pairs)


def day_from_text(text: str, *, day_first: bool = False) -> date:
    """Read a date: 2026-05-10, 10.05.2026, or 10/05/2026 where the day can only be the first.

    Parameters
    ----------
    text : str
    day_first : bool
        Whether the column shows that the day comes first (see `days_first`).

    Raises
    ------
    CellError
        For what is no date, or could be two.

    Examples
    --------
    >>> day_from_text("10.05.2026").isoformat(), day_from_text("25/05/2026").isoformat()
    ('2026-05-10', '2026-05-25')
    """
    text = text.strip()
    if match := _ISO.fullmatch(text):
        return _date(int(match[1]), int(match[2]), int(match[3]))
    match = _PARTS.fullmatch(text)
    if not match:
        raise CellError(_date_fix(text))
    first, second, year = int(match[1]), int(match[3]), int(match[4])
    if second > 12 >= first and match[2] != ".":
        fix = f"The month seems to come first: write {year}-{first:02d}-{second:02d}."
        raise CellError(fix, "a date as 2026-05-10")
    if match[2] != "." and not day_first and first <= 12 and first != second:
        either = f"{year}-{second:02d}-{first:02d} or {year}-{first:02d}-{second:02d}"
        raise CellError(f"It could be {either}: write the one that is meant.", "a date that can be read one way")
    return _date(year, second, first)


def _date(year: int, month: int, day: int) -> date:
    try:
        found = date(year, month, day)
    except ValueError:
        raise CellError("There is no such day in the calendar: check day and month.") from None
    if not _YEARS[0] <= year <= _YEARS[1]:
        raise CellError(f"Check the year: it must lie between {_YEARS[0]} and {_YEARS[1]}.")
    return found


def _date_fix(text: str) -> str:
    if re.fullmatch(r"\d{5}([.,]\d+)?", text):
        day = date(1899, 12, 30) + timedelta(days=int(text[:5]))
        return f"A spreadsheet's day number? {text[:5]} is {day.isoformat()}."
    if re.fullmatch(r"\d{1,2}[./-]\d{1,2}[./-]\d{2}", text):
        return "Write the year with four digits, as 2026-05-10."
    return "Write the date as 2026-05-10."


def moment_from_text(text: str, *, day_first: bool = False) -> datetime:
    """Read a date with or without a time of day; noon stands for a date alone, a UTC offset is dropped.

    Raises
    ------
    CellError

    Examples
    --------
    >>> moment_from_text("10.05.2026 7:30").isoformat()
    '2026-05-10T07:30:00'
    """
    day, _, clock = re.sub(r"(?<=\d)T(?=\d)", " ", text.strip()).partition(" ")
    found = day_from_text(day, day_first=day_first)
    if not clock.strip():
        return datetime.combine(found, time(12))
    clock = clock.strip()
    try:
        moment = time.fromisoformat(clock if re.match(r"\d\d", clock) else f"0{clock}")
    except ValueError:
        raise CellError("Write the time as 14:30, after the date.") from None
    return datetime.combine(found, moment.replace(tzinfo=None))

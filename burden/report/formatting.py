"""Numbers, dates and names as a report says them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from burden.case import Uncertain
from burden.treatment.dose_result import DoseResult
from burden.utils.dates import MONTHS
from burden.utils.formatting import interval, plain, product_words
from burden.utils.results import CredibleInterval
from burden.utils.safe_text import one_line

__all__ = [
    "UNITS",
    "about",
    "about_in",
    "day_label",
    "days_label",
    "on_day",
    "spread",
    "unbroken",
    "weighed",
]

#: no-break spaces: within a number a narrow one, before its unit a plain one
_NARROW, _JOINED = "\u202f", "\u00a0"
#: units that stay with their number
UNITS = ("%", "°C", "mg", "g", "kg", "t", "mL", "L", "m³", "mm", "min", "h", "d", "mS")
#: the space between a number and its unit
_BEFORE_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(UNITS)})(?!\w))")


def about(value: float | None, digits: int = 2) -> str:
    """Write an estimated number: two figures that count."""
    return plain(value, digits)


def spread(triple: CredibleInterval | Uncertain, scale: float = 1.0, digits: int = 2) -> str:
    """Write "median (low to high)", or that it cannot be given."""
    middle = triple.median if isinstance(triple, CredibleInterval) else triple.value
    return interval(middle * scale, triple.low * scale, triple.high * scale, digits)


def weighed(given: DoseResult) -> str:
    """Say how much of a product one dose takes in all, by weight or by volume."""
    return product_words(*given.product_times(given.in_all))


def about_in(text: str) -> str:
    """Round numbers inside a sentence that claim more figures than they are worth.

    Examples
    --------
    >>> about_in("fewer than 150.892 flukes, 5.29 mg/L"), about_in("at 150.73 flukes a fish")
    ('fewer than about 150 flukes, 5.29 mg/L', 'at about 150 flukes a fish')
    """

    def rounded(found: re.Match[str]) -> str:
        whole, decimals = found[1].split(".")
        enough = len(decimals) < 3 and len(whole.lstrip("0")) + len(decimals) < 5
        return found[1] if enough else f"about {about(float(found[1]))}"

    return re.sub(r"(?<![\d.])(\d+\.\d+)(?![\d.])", rounded, text)


def _inked(text: str) -> str:
    """Text of several lines without what acts on a page instead of standing on it."""
    return "\n".join(one_line(line) for line in text.split("\n"))


def unbroken(value: Any) -> Any:
    """Keep a number together with its groups and its unit where a line ends; what is no plain text stays as it is.

    Examples
    --------
    >>> unbroken("5 of 1 000, 5 of 100") == "5 of 1\u202f000, 5 of 100"
    True
    >>> unbroken("2 (25 to 80 %) at 5 mg/L") == "2 (25 to 80\u00a0%) at 5\u00a0mg/L"
    True
    """
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    printable = value if value.isprintable() else _inked(value)
    return _BEFORE_UNIT.sub(_JOINED, re.sub(r"(?<=\d) (?=\d{3}(?!\d))", _NARROW, printable))


def day_label(day: date) -> str:
    """Write a date on an axis.

    Examples
    --------
    >>> day_label(date(2026, 5, 4))
    '4 May'
    """
    return f"{day.day} {MONTHS[day.month - 1]}"


def days_label(days: Iterable[date]) -> str:
    """Write several dates, each month once.

    Examples
    --------
    >>> days_label([date(2026, 5, 4), date(2026, 5, 11), date(2026, 6, 1)])
    '4, 11 May, 1 Jun'
    """
    days = list(days)
    last = [i + 1 == len(days) or days[i + 1].month != day.month for i, day in enumerate(days)]
    return ", ".join(day_label(day) if ends else str(day.day) for day, ends in zip(days, last, strict=True))


def on_day(start: date, day: float) -> date:
    """Return the date so many days after another."""
    return start + timedelta(days=round(float(day)))

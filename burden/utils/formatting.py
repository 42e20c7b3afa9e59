"""Numbers, names and dates as people write them, the same in every locale."""

from __future__ import annotations

import math
from datetime import date

__all__ = [
    "MONTHS",
    "counted",
    "day_in_words",
    "named",
    "plain",
    "plain_number",
    "product_words",
    "say_date",
    "uncapitalised",
]

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def named(name: str) -> str:
    """Write a name of the glossary as words.

    Examples
    --------
    >>> named("potassium_permanganate")
    'potassium permanganate'
    """
    return name.replace("_", " ")


def uncapitalised(text: str) -> str:
    """Return a sentence as it goes on after a colon."""
    return text[:1].lower() + text[1:]


def day_in_words(day: date) -> str:
    """Write a date with the name of its month, the same in every locale."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def plain_number(value: float) -> str:
    """Write a number as it was given, thousands spaced, without an exponent.

    Examples
    --------
    >>> plain_number(12000.0), plain_number(0.25)
    ('12 000', '0.25')
    """
    text = f"{value:,.4f}".rstrip("0").rstrip(".")
    return text.replace(",", " ")


def counted(number: int, noun: str) -> str:
    """Write a number with its noun.

    Examples
    --------
    >>> counted(1, "row"), counted(2, "row")
    ('1 row', '2 rows')
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


#: from this many on, g are said in kg and mL in L
_LARGE = 10_000.0


def product_words(product_g: float | None, product_ml: float | None) -> str:
    """Say how much of a product, three figures, in units a scale or a can has: kg and L from 10 000 g or mL on.

    Parameters
    ----------
    product_g, product_ml : float or None
        Of a solid [g] or of a liquid [mL]; the other None.

    Examples
    --------
    >>> product_words(96.4321, None), product_words(220000.0, None), product_words(None, 11377.9)
    ('96.4 g', '220 kg', '11.4 L')
    """
    value, small, large = (product_g, "g", "kg") if product_ml is None else (product_ml, "mL", "L")
    if value is not None and value >= _LARGE:
        value, small = value / 1000, large
    if value is None or value < 1000:
        return f"{plain(value)} {small}"
    return f"{plain(float(f'{value:.3g}'))} {small}"


def plain(value: float | None, digits: int = 3) -> str:
    """Write a number with so many significant digits, without an exponent, thousands spaced.

    Examples
    --------
    >>> plain(22.9358), plain(12000.0), plain(0.05)
    ('22.9', '12 000', '0.05')
    """
    if value is None:
        return "-"
    if value == 0:
        return "0"
    decimals = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:,.{decimals}f}".replace(",", " ")
    return text.rstrip("0").rstrip(".") if "." in text else text


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def say_date(day: date, year: int | None = None) -> str:
    """Return a date as people say it, the same in every locale.

    Parameters
    ----------
    day : date
    year : int, optional
        Of the visit; a date of another year is then said with its own.

    Examples
    --------
    >>> say_date(date(2026, 5, 4)), say_date(date(2026, 5, 4), 2026), say_date(date(2027, 2, 4), 2026)
    ('Mon 4 May', 'Mon 4 May', 'Thu 4 Feb 2027')
    """
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    said = f"{names[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
    return said if year in (None, day.year) else f"{said} {day.year}"

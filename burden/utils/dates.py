"""How a date is written: one writer, the same in every locale."""

from __future__ import annotations

from datetime import date

__all__ = ["MONTHS", "day_in_words", "say_date"]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def day_in_words(day: date) -> str:
    """Write a date with its year.

    Examples
    --------
    >>> day_in_words(date(2026, 5, 4))
    '4 May 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def say_date(day: date, year: int | None = None) -> str:
    """Write a date with its weekday, and with its year only where that is another one.

    Parameters
    ----------
    day : date
    year : int, optional
        Of the visit.

    Examples
    --------
    >>> say_date(date(2026, 5, 4)), say_date(date(2026, 5, 4), 2026), say_date(date(2027, 2, 4), 2026)
    ('Mon 4 May', 'Mon 4 May', 'Thu 4 Feb 2027')
    """
    said = f"{_WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
    return said if year in (None, day.year) else f"{said} {day.year}"

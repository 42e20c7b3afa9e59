"""How a date is written, and read back."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from burden.utils.dates import MONTHS, day_in_words, say_date


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(1990, 2100))
@settings(max_examples=100, deadline=None)
def test_a_date_reads_back(day, year):
    words = day_in_words(day).split()
    assert date(int(words[2]), MONTHS.index(words[1]) + 1, int(words[0])) == day
    said = say_date(day, year).split()
    assert said[0] == say_date(day + timedelta(days=7)).split()[0]
    assert (len(said) == 3) == (day.year == year)


def test_weekdays_are_those_of_the_calendar():
    """10 May 2026 is a Sunday: date.isoweekday of the standard library."""
    assert say_date(date(2026, 5, 10)) == "Sun 10 May"
    assert date(2026, 5, 10).isoweekday() == 7

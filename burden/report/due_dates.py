"""What is due at several ponds in a week, taken from each pond's own day-book; what is overdue keeps its date."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from datetime import date as Date
from datetime import timedelta
from typing import Any

from burden.report.page.index import Water

__all__ = ["due_dates"]

#: days from the first of a round of which dates are shown: a week
_SHOWN_DAYS = 7
#: what is still to be done when its day has passed; looks, water and steps of a day are done then or not at all
_STAYS_DUE = ("dose", "other", "trial", "water", "sample")


def due_dates(waters: Sequence[Water], first: Date, looked_at: Container[str]) -> tuple[Mapping[str, Any], ...]:
    """Return what is due in the week from a day on, and what is overdue by then, earliest first.

    Parameters
    ----------
    waters : sequence of Water
    first : Date
    looked_at : container of str
        Names of ponds that are looked at anyway: their own looks before the end of that week are left out.
    """
    rows = [row for water in waters for row in _of_one(water, first, water.name in looked_at)]
    return tuple(sorted(rows, key=lambda row: (row["date"], row["title"])))


def _of_one(water: Water, first: Date, looked_at: bool) -> Iterator[Mapping[str, Any]]:
    visit, end = water.visit, (first + timedelta(days=_SHOWN_DAYS)).isoformat()
    dose_missed = any(day["kind"] == "dose" and day["date"] < first.isoformat() for day in water.due)
    for day in (*water.due, *water.today):
        overdue = day["date"] < first.isoformat()
        done = overdue and (day["kind"] not in _STAYS_DUE or (day["kind"] == "water" and day["date"] == visit))
        # the few fish treated first are part of a missed dose, and how fish do after it cannot be looked at yet
        skipped = day["kind"] in ("none", *(("trial", "look") if dose_missed else ()))
        skipped |= looked_at and day["kind"] == "sample"
        if day["date"] < end and not done and not skipped:
            yield {"case": water.name, "title": water.title, **day, "overdue": overdue}

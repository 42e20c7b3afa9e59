"""Which preparations of a case a run reads: by day within it, and looks from before it begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from burden.case import Case, Preparation
from burden.evidence import load_parasite
from burden.inference.earlier_visits import EarlierLook
from burden.inference.prior import LONGEST_HISTORY_DAYS

__all__ = ["earlier_looks", "fish_at_look", "is_read", "rows_by_day", "rows_of"]


def rows_of(case: Case, parasite: str) -> list[Preparation]:
    """Readable preparations of a set."""
    return [row for row in case.samples if row.readable and row.parasite in (None, parasite)]


def is_read(case: Case, parasite: str, row: Preparation) -> bool:
    """Whether a preparation is from a site whose counts the estimate reads.

    Gill flukes found on the skin are few and strayed: read with a wide share that strays, unless the case says no.
    """
    strayed = row.site in ("skin", "fin") and load_parasite(parasite).site == "gill"
    return case.gill_flukes_on_skin or not strayed


def fish_at_look(case: Case, rows: Sequence[Preparation]) -> int:
    """Fish of which those looked at on a day were chosen: the living, and those found dead or killed for the look."""
    gone = {row.fish for row in rows if row.chosen == "dead" or row.lethal}
    return case.fish_on(rows[0].date) + len(gone) if rows else case.fish_count


def rows_by_day(case: Case, parasite: str, clean: bool = False) -> dict[float, list[Preparation]]:
    """Preparations of a set that the run reads, by day; with `clean` those of the visit alone, each count read as 0."""
    found: dict[float, list[Preparation]] = {}
    for row in rows_of(case, parasite):
        day = float(case.day_of(row.date))
        read = is_read(case, parasite, row) and day >= -LONGEST_HISTORY_DAYS
        if read and not (clean and row.date != case.visit_date):
            found.setdefault(day, []).append(replace(row, count_low=0, count_high=0) if clean else row)
    return found


def earlier_looks(case: Case, parasite: str) -> list[EarlierLook]:
    """Return the looks at a set from before the longest run, by date."""
    by_date: dict[date, list[Preparation]] = {}
    for row in rows_of(case, parasite):
        if is_read(case, parasite, row) and case.day_of(row.date) < -LONGEST_HISTORY_DAYS:
            by_date.setdefault(row.date, []).append(row)
    return [EarlierLook(rows, fish_at_look(case, rows)) for _, rows in sorted(by_date.items())]

"""The dates of a visit, worded for people: what to do on each day, and what to look for."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, timedelta

from burden.evidence import load_agent
from burden.report.formatting import about, about_in, several, weighed
from burden.treatment.dose_result import DoseResult
from burden.utils.formatting import plain, say_date
from burden.visit import DayBookEntry, Visit

__all__ = ["Day", "days_of", "folded", "recheck_words", "short_step"]


_COUNTED = r"\(day (\d+) after [^)]*\)"


@dataclass(frozen=True)
class Day:
    """One entry of the day-book.

    Parameters
    ----------
    date : date
    kind : str
        dose, care, look, late, food, later, sample or none.
    headline : str
        The day's action.
    steps, look_for : tuple of str
        What to do, in order, and what to watch.
    year : int or None
        Of the visit; a date of another year is said with its own.
    """

    date: date
    kind: str
    headline: str
    steps: tuple[str, ...] = ()
    look_for: tuple[str, ...] = ()
    year: int | None = None

    @property
    def label(self) -> str:
        """The date as people say it."""
        return say_date(self.date, self.year)


def days_of(visit: Visit) -> tuple[Day, ...]:
    """Return the day-book of a visit, in the order of its dates."""
    doses, days = iter(visit.doses), []
    first: dict[str, date] = {}
    for entry in visit.day_book:
        if entry.kind == "dose":
            given = next(doses)
            days.append(_dose_day(entry, given, first.get(given.agent), visit.case.visit_date.year))
            first.setdefault(given.agent, entry.date)
        elif entry.kind == "sample":
            days.append(Day(entry.date, "sample", "look again at the fish", (recheck_words(visit),)))
        elif entry.kind == "none":
            days.append(Day(entry.date, entry.kind, entry.action, entry.steps))  # its reason is said like the answer
        else:
            days.append(Day(entry.date, entry.kind, about_in(entry.action), tuple(map(about_in, entry.steps))))
    return tuple(replace(day, year=visit.case.visit_date.year) for day in days)


def folded(days: tuple[Day, ...]) -> list[Day]:
    """Return the day-book with what follows from a dose folded into its entry, so that a page shows it at a glance.

    The calendar keeps every date apart.
    """
    kept: list[Day] = []
    after: dict[int, list[Day]] = {}
    for day in days:
        dose = _dose_before(kept, day)
        if day.kind == "late":
            continue  # said with the dose it is about
        if day.kind in ("care", "look") and dose is not None:
            after.setdefault(dose, []).append(day)
        else:
            kept.append(day)
    said: set[str] = set()
    for i, followers in after.items():
        kept[i] = replace(kept[i], look_for=(*kept[i].look_for, *_ranges(followers, said)))
    return kept


def _dose_before(kept: list[Day], day: Day) -> int | None:
    """Place of the dose a day belongs to: the one its words count from, else the last one before it."""
    counted = re.search(_COUNTED, day.headline)
    # a look on the day of a dose is for the dose before it
    start = day.date - timedelta(days=int(counted[1]) if counted else 1)
    doses = [i for i, other in enumerate(kept) if other.kind == "dose" and other.date <= start]
    return doses[-1] if doses else None


def _ranges(days: list[Day], said: set[str]) -> list[str]:
    """One phrase for all days with the same headline; what was said before is not said again."""
    by_text: dict[str, list[Day]] = {}
    for day in days:
        by_text.setdefault(re.sub(f" {_COUNTED}", "", day.headline), []).append(day)
    phrases = []
    for text, mine in by_text.items():
        daily = len(mine) > 1 and (mine[-1].date - mine[0].date).days == len(mine) - 1
        when = f"{mine[0].label} to {mine[-1].label}, daily" if daily else several(day.label for day in mine)
        phrases.append(f"{when}: {text.split(':')[0].split(';')[0] if text in said else text}")
        said.add(text)
    return phrases


def _dose_day(entry: DayBookEntry, given: DoseResult, before: date | None, year: int) -> Day:
    if before is not None:
        same = (f"everything else as on {say_date(before, year)}",)
        left = (entry.left,) if entry.left else ()
        return Day(entry.date, "dose", entry.action, (*same, *left, *_late(entry)))
    agent = load_agent(given.agent)
    # days of care stand in the day-book one by one
    care = () if agent.aftercare_days else agent.aftercare
    return Day(entry.date, "dose", entry.action, (_amount(given), *entry.steps, *_late(entry)), care)


def _late(entry: DayBookEntry) -> tuple[str, ...]:
    """From when on the dose is too late; the name of the dose stands above it already."""
    return (f"if late: {entry.late.partition(': ')[2]}",) if entry.late else ()


def _amount(given: DoseResult) -> str:
    strength = f"{given.strength_percent:g} %"
    kind = f"a {strength} solution" if given.product_ml is not None else f"a product with {strength} active substance"
    each = f" for each {plain(given.volume_l)} L" if given.apart else ""
    return f"{weighed(given)} of {kind}{each}"


def recheck_words(visit: Visit) -> str:
    """Say how many fish to look at when, and what a clean look then means."""
    plan = visit.recheck
    if plan is None:
        return "no look can be planned: the evidence gives no window"
    sample = plan.sample
    if plan.fish is None:
        reached, wanted = (f"{100 * share:.0f} %" for share in (sample.confidence_reached, sample.confidence))
        return (
            f"{sample.preparations} preparations of as many fish as can be netted; even all {sample.population} clean "
            f"mean with {reached} confidence only, not {wanted}, fewer than about {about(sample.level)} flukes a fish"
        )
    return (
        f"{sample.preparations} preparations of each of {plan.fish} fish; all clean means, with "
        f"{100 * sample.confidence:.0f} % confidence, fewer than about {about(sample.level)} flukes a fish"
    )


def short_step(step: str) -> str:
    """Leave the source out of a step: it stands in full under the cautions.

    Examples
    --------
    >>> short_step("Aerate strongly (common practice, no source).")
    'Aerate strongly'
    """
    return re.sub(r"\s*\((common practice[^)]*|[a-z0-9]+\d{4}[a-z]?)\)", "", step).rstrip(".")

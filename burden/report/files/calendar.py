"""The day-book as a calendar file: all-day events with a reminder on the day before."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from burden import __version__
from burden.decision import Assessment
from burden.report.text.day_book import Day, days_of
from burden.utils.safe_text import one_line

if TYPE_CHECKING:
    from icalendar import Calendar, Event

__all__ = ["calendar_bytes", "joined_calendar", "looks_calendar"]

#: nine in the morning of the day before, counted from the midnight an all-day event begins with
_REMIND_BEFORE = timedelta(hours=15)
_SPACE = uuid.uuid5(uuid.NAMESPACE_OID, "burden dates")


def calendar_bytes(visit: Assessment) -> bytes:
    """Return the dates of a visit as an iCalendar file (RFC 5545).

    Notes
    -----
    The stamp is the noon of the visit, and an event is known by its case, visit, kind and number in order: the same
    case gives the same bytes, and a second import moves an event instead of doubling it.
    """
    calendar = _empty()
    seen: Counter[str] = Counter()
    for day in days_of(visit):
        seen[day.kind] += 1
        calendar.add_component(_event(visit, day, seen[day.kind]))
    return calendar.to_ical(sorted=True)


def _empty() -> Calendar:
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", f"-//burden//{__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    return calendar


def joined_calendar(calendars: Iterable[str]) -> bytes:
    """Return the events of several calendars as one; each keeps its identity, so that importing both doubles nothing.

    Parameters
    ----------
    calendars : iterable of str
        As `calendar_bytes` writes them.
    """
    from icalendar import Calendar

    whole = _empty()
    events = [event for text in calendars for event in Calendar.from_ical(text).walk("VEVENT")]
    for event in sorted(events, key=lambda event: (event.decoded("dtstart"), str(event["uid"]))):
        whole.add_component(event)
    return whole.to_ical(sorted=True)


def looks_calendar(looks: Iterable[tuple[str, str, date, str, str]]) -> str:
    """Return looks at several ponds as one calendar.

    Parameters
    ----------
    looks : iterable of (str, str, date, str, str)
        Case, its title, the day, what to do, and the reason.
    """
    calendar = _empty()
    for name, title, day, what, why in looks:
        known = f"{name}|{day.isoformat()}|round"
        calendar.add_component(_all_day(known, day, day, "sample", title, what, [why]))
    return calendar.to_ical(sorted=True).decode("utf-8")


def _event(visit: Assessment, day: Day, number: int) -> Event:
    case = visit.case
    name = f"{case.name}|{case.visit_date.isoformat()}|{day.kind}|{number}"
    steps = [*day.steps, *day.look_for]
    return _all_day(name, case.visit_date, day.date, day.kind, case.title or case.name, day.headline, steps)


def _all_day(known: str, stamp: date, day: date, kind: str, title: str, headline: str, steps: Sequence[str]) -> Event:
    """An event of a whole day, known by a name that stays, with a reminder on the day before."""
    from icalendar import Alarm, Event

    event = Event()
    event.add("uid", f"{uuid.uuid5(_SPACE, known)}@burden")
    event.add("dtstamp", datetime.combine(stamp, time(12), UTC))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", one_line(f"{title}: {headline}"))
    event.add("description", "\n".join(map(one_line, steps)) or headline)
    event.add("categories", [kind])
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", -_REMIND_BEFORE)
    alarm.add("description", f"Tomorrow: {headline}")
    event.add_component(alarm)
    return event

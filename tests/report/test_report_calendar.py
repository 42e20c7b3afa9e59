"""Calendars: what their format asks for, and one that holds the events of all ponds."""

from __future__ import annotations

import pytest
from report_cases import blind, koi, koi_files

from burden.report.files.calendar import calendar_bytes, joined_calendar

pytestmark = pytest.mark.usefixtures("each_case_once")


def events_of(content: bytes):
    from icalendar import Calendar

    return list(Calendar.from_ical(content).walk("VEVENT"))


def test_lines_of_the_calendar_are_folded():
    """RFC 5545, 3.1: lines end in CRLF and are at most 75 octets long."""
    for line in koi_files()["dates.ics"].split(b"\r\n"):
        assert len(line) <= 75
        assert b"\n" not in line


def test_one_calendar_holds_the_events_of_all_ponds():
    from icalendar import Calendar

    alone = [calendar_bytes(visit).decode() for visit in (koi(), blind())]
    ids = [str(event["uid"]) for text in alone for event in Calendar.from_ical(text).walk("VEVENT")]
    whole = Calendar.from_ical(joined_calendar(alone).decode())
    assert sorted(str(event["uid"]) for event in whole.walk("VEVENT")) == sorted(ids)
    assert ids

"""Every place a decision is shown, read back as dates, numbers and names: no sentence is compared.

A dose is read wherever "dose n of N" or a row of a table shows one; what a surface does not show is None.
"""

from __future__ import annotations

import csv
import html
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import icalendar
from click.testing import CliRunner

from burden.cli import main
from burden.evidence import agent_names

__all__ = ["DOSES_IN", "SIMULATED", "Shown", "Surfaces", "shown_in"]

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DATE = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(_MONTHS)})[a-z]*\b(?: (\d{{4}}))?")
_DOSE = re.compile(r"\bdose (\d+) of (\d+)|\bone dose\b")
_NUMBER = r"(\d[\d  ]*(?:\.\d+)?)"
_AMOUNT = re.compile(rf"{_NUMBER} ?(mg|g|kg|mL|L) of")
_STRENGTH = re.compile(rf"{_NUMBER} ?mg/L")
_IN_G = {"mg": 0.001, "g": 1.0, "kg": 1000.0}


@dataclass(frozen=True)
class Shown:
    """One dose as one surface shows it; None for what it leaves out.

    Parameters
    ----------
    day : date
    agent : str
    number, of : int or None
    mg_l : float or None
        [mg/L].
    mass_g : float or None
        Of a solid [g].
    """

    day: date
    agent: str | None = None
    number: int | None = None
    of: int | None = None
    mg_l: float | None = None
    mass_g: float | None = None


def plain_text(markup: str) -> str:
    """Words of some HTML, with plain spaces; drawings and styles left out."""
    markup = re.sub(r"(?s)<(style|script|svg)\b.*?</\1>", " ", markup)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", markup)).replace("\u202f", " ").replace("\xa0", " ").split())


def dates_in(words: str, year: int) -> list[date]:
    """Dates as people write them, in order; without a year they are of the visit's."""
    found = _DATE.findall(words)
    return [date(int(own or year), _MONTHS.index(month) + 1, int(day)) for day, month, own in found]


def shown_in(words: str, day: date) -> Shown:
    """Read a dose out of the words of one day; what stands before it, a title, is not of it."""
    dose = _DOSE.search(words)
    words = words if dose is None else words[dose.start() :]
    amount, strength = _AMOUNT.search(words), _STRENGTH.search(words)
    named = [name for name in agent_names() if name.replace("_", " ") in words]
    mass = None if amount is None or amount[2] not in _IN_G else _number(amount[1]) * _IN_G[amount[2]]
    return Shown(
        day,
        min(named, key=lambda name: words.index(name.replace("_", " ")), default=None),
        None if dose is None else int(dose[1] or 1),
        None if dose is None else int(dose[2] or 1),
        None if strength is None else _number(strength[1]),
        mass,
    )


def _number(text: str) -> float:
    return float("".join(text.split()))


def _decided(doses: Sequence[Mapping[str, Any]]) -> list[Shown]:
    return [
        Shown(date.fromisoformat(d["date"]), d["agent"], d["number"], d["of"], d["mg_l"], d["mass_g"]) for d in doses
    ]


@dataclass(frozen=True)
class Surfaces:
    """What was written and printed for one case.

    Parameters
    ----------
    visit_date : date
    decision : mapping
        The object everything else is to agree with.
    folder : Path
        Its report.
    index : str
        Page of several waters, cut down to this one.
    printed : str
        What the report prints of this case alone.
    forecast : mapping
        The object of `burden forecast --json`.
    """

    visit_date: date
    decision: Mapping[str, Any]
    folder: Path
    index: str
    printed: str
    forecast: Mapping[str, Any]

    @cached_property
    def page(self) -> str:
        return (self.folder / "report.html").read_text(encoding="utf-8")

    def section(self, kind: str) -> str:
        """HTML of the page's section of a class."""
        found = re.search(rf'(?s)<section class="{kind}".*?</section>', self.page)
        assert found is not None, f"the page has no section {kind}"
        return found[0]

    def table(self, name: str) -> list[dict[str, str]]:
        """Rows of one of the report's tables."""
        with (self.folder / "tables" / name).open(encoding="utf-8-sig", newline="") as file:
            return list(csv.DictReader(file))

    @cached_property
    def planned(self) -> list[Shown]:
        """The doses to give as things stand."""
        return _decided(self.decision["plan"])

    @cached_property
    def simulated(self) -> list[Shown]:
        """The doses that are simulated: the plan, or what follows once the water is right."""
        return self.planned or _decided(self.decision["after_water"])

    @cached_property
    def events(self) -> list[tuple[str, date, str]]:
        """Kind, date and summary of every event of dates.ics."""
        calendar = icalendar.Calendar.from_ical((self.folder / "dates.ics").read_bytes())
        return [
            (event["categories"].to_ical().decode(), event.decoded("dtstart"), str(event["summary"]))
            for event in calendar.walk("VEVENT")
        ]

    def everything_said(self) -> Iterator[tuple[str, str]]:
        """All text a person may read, by surface."""
        yield "page", plain_text(self.page)
        yield "index", plain_text(self.index)
        yield "printed", self.printed
        yield "calendar", " ".join(summary for _, _, summary in self.events)
        yield "day_book.csv", (self.folder / "tables" / "day_book.csv").read_text(encoding="utf-8-sig")


def _listed(markup: str) -> list[Shown]:
    """Doses of a list of days, by the day's own mark."""
    items = re.findall(r'(?s)<li class="dose"[^>]*>\s*<time datetime="([\d-]+)".*?>(.*?)</li>', markup)
    return [shown_in(plain_text(words), date.fromisoformat(day)) for day, words in items]


def _said(markup: str, year: int) -> list[Shown]:
    """Doses of items that begin with their date and hold a dose of so many."""
    items = [plain_text(item) for item in re.findall(r"(?s)<(?:li|p)[^>]*>(.*?)</(?:li|p)>", markup)]
    return [shown_in(item, dates_in(item, year)[0]) for item in items if _DOSE.search(item) and dates_in(item, year)]


def in_day_book(s: Surfaces) -> list[Shown]:
    return _listed(s.page)


def in_owners_page(s: Surfaces) -> list[Shown]:
    return _said(s.section("sheet owner"), s.visit_date.year)


def in_record(s: Surfaces) -> list[Shown]:
    """Rows of the treatment record."""
    rows = re.findall(r'(?s)<tr><th scope="row">([^<]*)</th>(<td data-head="agent, route">.*?)</tr>', s.page)
    found = []
    for day, cells in rows:
        by_head = {head: plain_text(cell) for head, cell in re.findall(r'data-head="([^"]*)">(.*?)</td>', cells)}
        words = f"{by_head['amount']} of {by_head['agent, route'].lower()} ({by_head['mg/L']} mg/L)"
        found.append(shown_in(words, dates_in(plain_text(day), s.visit_date.year)[0]))
    return found


def in_index(s: Surfaces) -> list[Shown]:
    """Doses in the list of dates, one of which the water's own section may say too."""
    return list(dict.fromkeys(_said(re.sub(r"</?time[^>]*>", " ", s.index), s.visit_date.year)))


def in_calendar(s: Surfaces) -> list[Shown]:
    return [shown_in(summary, day) for kind, day, summary in s.events if kind == "dose"]


def in_day_book_table(s: Surfaces) -> list[Shown]:
    rows = s.table("day_book.csv")
    said = dict.fromkeys((row["date"], row["action"]) for row in rows if _DOSE.search(row["action"]))
    return [shown_in(action, date.fromisoformat(day)) for day, action in said]


def in_schedules_table(s: Surfaces) -> list[Shown]:
    chosen = [row for row in s.table("schedules.csv") if row["role"] == "recommended"]
    return [
        Shown(date.fromisoformat(day), agent)
        for row in chosen
        for day, agent in zip(row["dates"].split(), row["agents"].split(), strict=True)
    ]


def in_forecast(s: Surfaces) -> list[Shown]:
    """Doses of the course that `burden forecast` calls recommended."""
    course = s.forecast["recommended"]
    doses: Sequence[Mapping[str, Any]] = [] if course is None else course["doses"]
    return [Shown(date.fromisoformat(d["date"]), d["agent"], None, None, d["mg_l"], d["mass_g"]) for d in doses]


#: those of them that show what was simulated, whether it can be given today or not
SIMULATED = ("schedules.csv", "forecast")
#: surface to the doses it shows
DOSES_IN = {
    "day-book": in_day_book,
    "owner's page": in_owners_page,
    "treatment record": in_record,
    "index of several": in_index,
    "dates.ics": in_calendar,
    "day_book.csv": in_day_book_table,
    "schedules.csv": in_schedules_table,
    "forecast": in_forecast,
}


def command(*words: object) -> str:
    """Standard output of a command."""
    ran = CliRunner().invoke(main, [str(word) for word in words])
    assert ran.exit_code == 0, ran.output
    return ran.stdout


def json_of(*words: object) -> dict[str, Any]:
    """The object a command prints."""
    return json.loads(command(*words, "--json"))

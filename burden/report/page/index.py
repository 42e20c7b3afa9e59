"""One page for several waters: what is due where and when, which first, and what must not travel between them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from burden import __version__
from burden.decision import Assessment
from burden.report.files.calendar import calendar_bytes
from burden.report.formatting import about, spread
from burden.report.page.answer import title_of
from burden.report.page.page import template
from burden.report.text.day_book import Day, days_of, look_today_of
from burden.report.text.decision import headline, withheld_text
from burden.report.text.plan import doses_text
from burden.utils.dates import day_in_words
from burden.utils.formatting import counted, percent

__all__ = ["Water", "cleanest_first", "in_order", "render_ponds", "water_of"]


#: which action comes first among several waters
_RANK = {"water_first": 0, "dose": 1, "look_first": 2, "watch": 3, "discharge": 4}


@dataclass(frozen=True)
class Water:
    """What the page of several waters, and the answer of a run over them, need of one: plain values alone.

    Parameters
    ----------
    name, title : str
        Of the case.
    row : mapping
        Its entry on the page.
    urgency, walk : tuple
        What it is ordered by: who is dosed first, and in which order to walk the waters on one day.
    due : tuple of mapping
        Its dates, ISO, with what is to be done.
    answer : mapping
        First action, reason for withholding, answer in words, changes, warnings.
    visit : str
        Day of the visit, ISO.
    calendar : str
        Its dates as an iCalendar file.
    today : tuple of mapping
        As `due`: the look that the visit itself asks for.
    """

    name: str
    title: str
    row: Mapping[str, Any]
    urgency: tuple[int, str, float]
    walk: tuple[bool, float]
    due: tuple[Mapping[str, str], ...]
    answer: Mapping[str, Any]
    visit: str
    calendar: str = ""
    today: tuple[Mapping[str, str], ...] = ()


def water_of(visit: Assessment) -> Water:
    """Return what is needed of one visit beside the others."""
    heaviest = max(e.mean_abundance.median * e.probability_infected for e in visit.estimates)
    return Water(
        calendar=calendar_bytes(visit).decode("utf-8"),
        name=visit.case.name,
        title=title_of(visit),
        row=_row(visit),
        urgency=(_RANK[visit.decision.action], _first(visit), -_share_lost(visit)),
        walk=("virus_suspected" in visit.case.findings.diseases, float(heaviest)),
        due=_dated(day for day in days_of(visit) if day.kind != "care"),
        visit=visit.case.visit_date.isoformat(),
        today=_dated(look_today_of(visit)),
        answer={
            "first_action": headline(visit.decision),
            "withheld_reason": withheld_text(visit.decision),
            "decision": visit.decision.as_dict(),
            "text": visit.decision.brief(),
            "changes": [None if c is None else c.as_dict() for c in visit.changes],
            "late_doses": [late.as_dict() for late in visit.late],
            "warnings": list(dict.fromkeys((*visit.case.warnings, *(w for e in visit.estimates for w in e.warnings)))),
        },
    )


def _dated(days: Iterable[Day]) -> tuple[Mapping[str, str], ...]:
    return tuple(
        {"date": day.date.isoformat(), "label": f"{day.label} {day.date.year}", "what": day.headline, "kind": day.kind}
        for day in days
    )


def in_order(waters: Sequence[Water]) -> list[Water]:
    """Return waters by urgency: earliest dose first; on one day the water that loses most of its fish if left alone.

    Waters where nothing is given stand last, by the same share.
    """
    return sorted(waters, key=lambda w: (*w.urgency, w.name))


def _first(visit: Assessment) -> str:
    return min((dose.date for dose in visit.decision.plan), default=visit.case.visit_date).isoformat()


def _share_lost(visit: Assessment) -> float:
    return max(f.untreated.deaths_end.median for f in visit.forecasts) / max(visit.case.fish_count, 1)


def cleanest_first(waters: Sequence[Water]) -> list[Water]:
    """Return waters in the order to walk them on one day: fewest flukes first, a suspected virus last."""
    return sorted(waters, key=lambda w: (*w.walk, w.name))


def render_ponds(waters: Sequence[Water], draws: int, seed: int) -> str:
    """Return the page as HTML."""
    return template("index.html.j2").render(
        waters=[w.row for w in in_order(waters)],
        due=_due(waters),
        walk=[w.title for w in cleanest_first(waters)],
        made=f"burden {__version__}, {draws} simulated ponds (--draws), seed {seed}",
    )


def _row(visit: Assessment) -> dict[str, Any]:
    from urllib.parse import quote

    e = max(visit.estimates, key=lambda e: e.mean_abundance.median)
    f = visit.forecasts[visit.estimates.index(e)]
    return {
        "title": title_of(visit),
        "page": f"{quote(visit.case.name)}/report.html",
        "visit": day_in_words(visit.case.visit_date),
        "action": headline(visit.decision),
        "missed": visit.estimates[0].missed,
        "flukes": f"{spread(e.mean_abundance)} flukes a fish; chance of any: {percent(e.probability_infected)}",
        "lost": f"flukes kill {spread(f.untreated.fluke_deaths_end)} of {counted(visit.case.fish_count, 'fish')} in "
        f"{about(f.horizon_days, 3)} d",
        "doses": doses_text(visit.decision.plan, visit.case.visit_date.year) if visit.decision.plan else "",
    }


def _due(waters: Sequence[Water]) -> list[dict[str, str]]:
    """Every date of every water, by date."""
    rows = sorted(((day["date"], day["kind"], w.title, day) for w in waters for day in w.due), key=lambda row: row[:3])
    return [{"date": day["label"], "water": title, "what": day["what"], "kind": kind} for _, kind, title, day in rows]

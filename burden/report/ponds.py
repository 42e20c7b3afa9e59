"""One page for several waters: what is due where and when, which first, and what must not travel between them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from burden import __version__
from burden.report.answer import doses_in_words, title_of
from burden.report.daybook import days_of
from burden.report.page import template
from burden.report.words import about, long_date, of_100, spread
from burden.visit import Visit

__all__ = ["cleanest_first", "in_order", "render_ponds"]


def in_order(visits: Sequence[Visit]) -> list[Visit]:
    """Return visits by urgency: earliest dose first; on one day the water that loses most of its fish if left alone.

    Waters where nothing is given stand last, by the same share.
    """
    return sorted(visits, key=lambda v: (v.withheld_reason is not None, _first(v), -_share_lost(v), v.case.name))


def _first(visit: Visit) -> str:
    doses = [entry.date for entry in visit.day_book if entry.kind == "dose"]
    return min(doses, default=visit.case.visit_date).isoformat()


def _share_lost(visit: Visit) -> float:
    return max(f.untreated.deaths_end.median for f in visit.forecasts) / max(visit.case.fish_count, 1)


def cleanest_first(visits: Sequence[Visit]) -> list[Visit]:
    """Return visits in the order to walk them on one day: fewest flukes first, a suspected virus last."""
    return sorted(
        visits,
        key=lambda v: ("virus_suspected" in v.case.findings.other,
                       max(e.mean_abundance.median * e.probability_infected for e in v.estimates), v.case.name),
    )  # fmt: skip


def render_ponds(visits: Sequence[Visit]) -> str:
    """Return the page as HTML."""
    return template("index.html.j2").render(
        waters=[_water(v) for v in in_order(visits)],
        due=_due(visits),
        walk=[title_of(v) for v in cleanest_first(visits)],
        made=f"burden {__version__}, {visits[0].draws} draws, seed {visits[0].seed}",
    )


def _water(visit: Visit) -> dict[str, Any]:
    from urllib.parse import quote

    e = max(visit.estimates, key=lambda e: e.mean_abundance.median)
    f = visit.forecasts[visit.estimates.index(e)]
    return {
        "title": title_of(visit),
        "page": f"{quote(visit.case.name)}/report.html",
        "visit": long_date(visit.case.visit_date),
        "action": visit.first_action,
        "missed": visit.estimates[0].missed,
        "flukes": f"{spread(e.mean_abundance)} flukes a fish, there at all in {of_100(e.probability_infected)}",
        "lost": f"{spread(f.untreated.deaths_end)} of {visit.case.fish_count} fish in {about(f.horizon_days, 3)} d",
        "doses": "" if visit.withheld_reason else doses_in_words(visit),
    }


def _due(visits: Sequence[Visit]) -> list[dict[str, str]]:
    """Every date of every water, by date."""
    rows = [(day, title_of(v)) for v in visits for day in days_of(v) if day.kind != "care"]
    return [
        {"date": f"{day.label} {day.date.year}", "water": title, "what": day.headline, "kind": day.kind}
        for day, title in sorted(rows, key=lambda row: (row[0].date, row[0].kind, row[1]))
    ]

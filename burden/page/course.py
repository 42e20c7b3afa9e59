"""The visits of one water side by side: what was found, and what the report before had expected of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.io.form import read_form
from burden.page.library import Library, in_words, mean_burden, report_rows
from burden.report.formatting import day_label
from burden.utils.dates import day_in_words
from burden.utils.errors import InputError

__all__ = ["course_of", "trend_svg"]

_EXPECTED = {"median": "flukes_per_fish_50", "low": "flukes_per_fish_5", "high": "flukes_per_fish_95"}


def course_of(library: Library, name: str) -> list[dict[str, Any]]:
    """Return the visits of a water in order, each with what was found and what had been expected of that day.

    Parameters
    ----------
    library : Library
    name : str
        Of any of its visits.
    """
    found: list[dict[str, Any]] = []
    before: tuple[Path, Case] | None = None
    for visit in library.visits_of(name):
        folder = library.root / visit
        try:
            case = read_form(folder).case
        except InputError:
            continue
        expected, since = (None, None) if before is None else (_expected(*before, case), before[1].visit_date)
        found.append({
            "name": visit,
            "date": case.visit_date,
            "words": day_in_words(case.visit_date),
            "found": mean_burden(report_rows(folder, "estimate.csv")),
            "expected": expected,
            "since": "" if since is None else day_in_words(since),
        })  # fmt: skip
        before = (folder, case)
    return found


def _expected(folder: Path, before: Case, case: Case) -> dict[str, float] | None:
    """What the report of the visit before expected of this day: of the course that was followed since."""
    dosed = any(dose.date >= before.visit_date for dose in case.doses_given)
    wanted = (("planned", "recommended") if before.planned else ("recommended", "planned")) if dosed else ("untreated",)
    day = case.visit_date.isoformat()
    rows = [row for row in report_rows(folder, "forecast.csv") if row.get("date") == day]
    for course in wanted:
        for row in rows:
            if row.get("course") == course:
                return {key: float(row[column]) for key, column in _EXPECTED.items()}
    return None


def trend_svg(points: Sequence[Mapping[str, Any]], small: bool = False) -> str:
    """Return the course as a figure: a dot and a bar a visit, a pale band where one was expected; a log scale.

    Parameters
    ----------
    points : sequence of mapping
        From `course_of`.
    small : bool
        Without words, for the list.
    """
    shown = [p for p in points if p["found"] or p["expected"]]
    if not shown:
        return ""
    width, height, left, foot = (200, 44, 4, 4) if small else (640, 260, 56, 34)
    first, last = shown[0]["date"], shown[-1]["date"]
    span = max((last - first).days, 1)
    ends = [v for p in shown for one in (p["found"], p["expected"]) if one for v in one.values()]
    bottom, top = math.floor(math.log10(max(min(ends), 0.1))), math.ceil(math.log10(max(max(ends), 1.0)) + 0.01)

    def x(day: Any) -> float:
        return round(left + 14 + (width - left - 28) * (day - first).days / span, 1)

    def y(value: float) -> float:
        share = (math.log10(max(value, 10.0**bottom)) - bottom) / max(top - bottom, 1)
        return round(height - foot - (height - foot - 10) * share, 1)

    marks = "".join(_mark(p, x(p["date"]), y, small) for p in shown)
    line = " ".join(f"{x(p['date'])},{y(p['found']['median'])}" for p in shown if p["found"])
    words = "; ".join(f"{p['words']}: {in_words(p['found'])}" for p in shown if p["found"])
    axis = "" if small else _axis(bottom, top, y, width, left) + "".join(_date(p, x(p["date"]), height) for p in shown)
    return (
        f'<svg class="trend{"" if small else " wide"}" viewBox="0 0 {width} {height}" role="img" aria-label="{words}">'
        f'{axis}<polyline points="{line}" fill="none" stroke="#5d666d" stroke-width="1"/>{marks}</svg>'
    )


def _mark(point: Mapping[str, Any], at: float, y: Any, small: bool) -> str:
    said, wide = "", 5 if small else 12
    if point["expected"]:
        low, high = y(point["expected"]["low"]), y(point["expected"]["high"])
        said += f'<rect x="{at - wide}" y="{high}" width="{2 * wide}" height="{max(low - high, 1)}" fill="#cddde8"/>'
    if point["found"]:
        low, high, middle = (y(point["found"][key]) for key in ("low", "high", "median"))
        said += f'<line x1="{at}" x2="{at}" y1="{low}" y2="{high}" stroke="#1b4965" stroke-width="2"/>'
        said += f'<circle cx="{at}" cy="{middle}" r="{3 if small else 5}" fill="#1b4965"/>'
    return said


def _axis(bottom: int, top: int, y: Any, width: int, left: int) -> str:
    said = ""
    for power in range(bottom, top + 1):
        at, label = y(10.0**power), f"{10.0**power:,.0f}".replace(",", " ") if power >= 0 else f"{10.0**power:g}"
        said += f'<line x1="{left}" x2="{width}" y1="{at}" y2="{at}" stroke="#cddde8"/>'
        said += f'<text x="{left - 6}" y="{at + 4}" text-anchor="end" font-size="12" fill="#5d666d">{label}</text>'
    return said


def _date(point: Mapping[str, Any], at: float, height: int) -> str:
    words = day_label(point["date"])
    return f'<text x="{at}" y="{height - 12}" text-anchor="middle" font-size="12" fill="#22303a">{words}</text>'

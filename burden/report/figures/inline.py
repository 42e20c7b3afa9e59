"""The figures of one visit: inline for the page in two widths, and as files."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from burden.decision import Assessment
from burden.report.figures.concentration import draw_concentration
from burden.report.figures.forecast import draw_forecast
from burden.report.figures.history import draw_history
from burden.report.figures.interval import Given, customary_marks, draw_interval_chart, interval_curves
from burden.report.figures.style import figure_bytes, inline_svg, svg_bytes
from burden.utils.formatting import named

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["figures_of"]

#: draws narrow, for a telephone, or wide
_Draw = Callable[[bool], "Figure"]


def figures_of(visit: Assessment, png: bool = False) -> tuple[dict[str, dict[str, str]], dict[str, bytes]]:
    """Return the figures of a visit.

    Parameters
    ----------
    visit : Assessment
    png : bool
        Whether the files are PNG too, for a letter or a slide.

    Returns
    -------
    dict, dict
        Name to its forms as inline SVG, wide and, for forecast and history, narrow; file name to content.
    """
    inline: dict[str, dict[str, str]] = {}
    files: dict[str, bytes] = {}
    for title, (name, draw, says) in _drawings(visit).items():
        kinds = ("svg", "png") if png else ("svg",)
        written = dict(zip(kinds, figure_bytes(partial(draw, False), name, *kinds), strict=True))
        inline[title] = {"wide": inline_svg(written["svg"], f"{name}-w", says)}
        if title.startswith(("forecast", "history")):
            narrow = svg_bytes(partial(draw, True), f"{name}-narrow")
            inline[title]["narrow"] = inline_svg(narrow, f"{name}-n", says)
        files |= {f"{name}.{kind}": content for kind, content in written.items()}
    return inline, files


def _drawings(visit: Assessment) -> dict[str, tuple[str, _Draw, str]]:
    several = len(visit.estimates) > 1
    found: dict[str, tuple[str, _Draw, str]] = {}
    for i, forecast in enumerate(visit.forecasts):
        end = f"_{_file_name(forecast.parasite)}" if several else ""
        found[f"forecast {forecast.parasite}"] = (
            f"forecast{end}",
            partial(draw_forecast, forecast),
            f"Flukes per fish and deaths by day, {named(forecast.parasite)}; the numbers are in tables/forecast.csv",
        )
        if chart := _interval(visit, i):
            found[f"interval {forecast.parasite}"] = (
                f"interval{end}",
                chart,
                f"Repeat interval in days against water temperature, {named(forecast.parasite)}",
            )
    for history in visit.histories:
        end = f"_{_file_name(history.parasite)}" if several else ""
        found[f"history {history.parasite}"] = (
            f"history{end}",
            partial(draw_history, history),
            f"All visits by date: flukes a fish, counts, water and deaths, {named(history.parasite)}; the numbers are "
            "in tables/history.csv",
        )
    for agent in dict.fromkeys(d.agent for d in visit.doses if not d.apart):
        found[f"concentration {agent}"] = (
            f"concentration_{_file_name(agent)}",
            _one_width(partial(draw_concentration, visit, agent)),
            f"{named(agent)} in the water over the course, in milligrams per litre, under its ceiling",
        )
    return found


def _one_width(draw: Callable[[], Figure]) -> _Draw:
    return lambda narrow: draw()


def _file_name(parasite: str) -> str:
    return re.sub(r"[^a-z0-9_]", "_", parasite.lower())


def _interval(visit: Assessment, i: int) -> _Draw | None:
    """The chart of one set with this case's own draws, or None where the set has no windows."""
    pond = visit.estimates[i].pond
    p = pond.setting.parameters
    if not pond.has_windows:
        return None
    agent = visit.doses[0].agent if visit.doses else next(iter(pond.effects))
    curves = interval_curves(p, pond.effects[agent].sheltered_fraction)
    today = pond.setting.temperature.median_at(0.0)
    marks = [*customary_marks(p.evidence), *_own_gaps(visit, pond)]
    return lambda narrow: draw_interval_chart(curves, today, marks)


def _own_gaps(visit: Assessment, pond: Any) -> list[Given]:
    """Each gap of the recommended doses at the water of its middle day; the words stand at one in the middle."""
    chosen = visit.decision.recommendation.recommended if visit.decision.doses else None
    if chosen is None or chosen.doses < 2:
        return []
    days = np.array(chosen.plan.days)
    gaps = np.diff(days)
    low, high = f"{gaps.min():g}", f"{gaps.max():g}"
    says = f"{chosen.doses} doses, {low if low == high else f'{low} to {high}'} d apart"
    warmth = [pond.setting.temperature.median_at(day) for day in (days[1:] + days[:-1]) / 2]
    return [Given(t, g, says if k == len(gaps) // 2 else "") for k, (t, g) in enumerate(zip(warmth, gaps, strict=True))]

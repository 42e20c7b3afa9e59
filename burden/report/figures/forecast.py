"""Flukes per fish and deaths by day, a column a course of action."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE, MARK, bare, figure_of_size
from burden.report.formatting import day_label, on_day, spread
from burden.schedule.forecast import Forecast
from burden.schedule.projection import BANDS, Projection

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["COURSE_WORDS", "draw_forecast", "plain_powers"]

COURSE_WORDS = {"untreated": "Untreated", "planned": "As the case plans", "recommended": "As recommended"}
_MIDDLE = BANDS.index(0.5)
#: share of a panel's width that "20 of 20 doses" takes, in the narrowest of them
_WORDS_SHARE = 0.45


def draw_forecast(forecast: Forecast, narrow: bool = False) -> Figure:
    """Draw every course of a forecast.

    Parameters
    ----------
    forecast : Forecast
    narrow : bool
        One column, for a telephone.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown and not saved.

    Notes
    -----
    The line is the median of the draws, the dark band holds half of them, the light band nine of ten. The lower edge
    of the upper panels is one fluke on all the fish together.
    """
    courses = forecast.courses()
    if narrow:
        figure = figure_of_size(3.6, 1.85 * 2 * len(courses), h_pad=0.05, w_pad=0.05)
        axes = figure.subplots(2 * len(courses), 1, squeeze=False).reshape(len(courses), 2).T
    else:
        figure = figure_of_size(7.2, 2.75, h_pad=0.05, w_pad=0.05)
        axes = figure.subplots(2, len(courses), squeeze=False, sharex=True, height_ratios=(1.25, 1))
    limits = _limits(forecast)
    for column, (name, course) in enumerate(courses.items()):
        _flukes(axes[0, column], forecast, name, course, limits, first=narrow or column == 0)
        _deaths(axes[1, column], forecast, name, course, limits, first=narrow or column == 0)
    return figure


def _limits(forecast: Forecast) -> dict[str, tuple[float, float]]:
    """Scales shared by all panels of a row."""
    courses = forecast.courses().values()
    floor = 1.0 / max(forecast.case.fish_count, 1)
    flukes = max(float(course.abundance.max()) for course in courses)
    dead = max(float(course.deaths.max()) for course in courses)
    return {"flukes": (floor, max(2.0 * flukes, 10 * floor)), "dead": (0.0, max(1.1 * dead, 1.0))}


def _bands(axis: Axes, days: np.ndarray, values: np.ndarray) -> None:
    low, lower, middle, upper, high = values
    axis.fill_between(days, low, high, color=BAND_90, linewidth=0, zorder=2)
    axis.fill_between(days, lower, upper, color=BAND_50, linewidth=0, zorder=3)
    axis.plot(days, middle, color=LINE, linewidth=1.7, zorder=4)


def _flukes(axis: Axes, forecast: Forecast, name: str, course: Projection, limits: dict, first: bool) -> None:
    low, high = limits["flukes"]
    axis.set_yscale("log")
    axis.set_ylim(low, high)
    _bands(axis, course.days, np.clip(course.abundance, low, None))
    if name != "untreated":
        _left_alone(axis, course.days, np.clip(forecast.untreated.abundance[_MIDDLE], low, None), words=True)
    _doses(axis, forecast, course)
    plain_powers(axis)
    end = on_day(forecast.case.visit_date, course.days[-1])
    _title(axis, COURSE_WORDS[name], f"{day_label(end)}: {spread(course.abundance_end)} a fish")
    _frame(axis, forecast, "flukes per fish" if first else "", first)


def _deaths(axis: Axes, forecast: Forecast, name: str, course: Projection, limits: dict, first: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    axis.set_ylim(*limits["dead"])
    _bands(axis, course.days, course.deaths)
    if name != "untreated":
        _left_alone(axis, course.days, forecast.untreated.deaths[_MIDDLE], words=False)
    axis.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    _title(axis, "", f"dead: {spread(course.deaths_end)} of {forecast.case.fish_count}")
    _frame(axis, forecast, "fish dead" if first else "", first)


def _left_alone(axis: Axes, days: np.ndarray, values: np.ndarray, words: bool) -> None:
    """The median of the course left alone, for comparison."""
    axis.plot(days, values, color=GREY, linewidth=1.0, linestyle=(0, (4, 2)), zorder=5)
    if words:
        axis.annotate("untreated", (days[-1], values[-1]), xytext=(-2, 2), textcoords="offset points", ha="right",
                      va="bottom", fontsize=7, color=INK, zorder=7)  # fmt: skip


def _doses(axis: Axes, forecast: Forecast, course: Projection) -> None:
    """A notch on top of the panel for every dose up to the horizon, and how many they are."""
    days = sorted(forecast.case.day_of(dose.date) for dose in course.doses)
    shown = [day for day in days if day <= forecast.horizon_days]
    if shown:
        axis.plot(shown, np.full(len(shown), 0.965), "v", color=MARK, markersize=5, clip_on=False, zorder=6,
                  transform=axis.get_xaxis_transform())  # fmt: skip
    if days:
        of_all = f" of {len(days)}" if len(shown) < len(days) else ""
        day, height, side = _room_for_words(shown, forecast.horizon_days)
        axis.text(day, height, f"{len(shown)}{of_all} dose{'s' * (len(days) > 1)}", fontsize=7.5, color=MARK, ha=side,
                  va="center", transform=axis.get_xaxis_transform(), zorder=6)  # fmt: skip


def _room_for_words(days: list[int], horizon: float) -> tuple[float, float, Literal["left", "center"]]:
    """Return the day, the height and the side of the words about the notches.

    After the last notch, else in the widest gap, else under them: words beyond a panel would take the room they need
    from all panels.
    """
    edges = [0, *days, horizon]
    needed = _WORDS_SHARE * horizon
    if horizon - edges[-2] >= needed:
        return edges[-2] + horizon / 30, 0.965, "left"
    gap, middle = max((b - a, (a + b) / 2) for a, b in pairwise(edges))
    return (middle, 0.965, "center") if gap >= needed else (horizon / 2, 0.86, "center")


def plain_powers(axis: Axes) -> None:
    """Label an axis of a log scale with plain numbers."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    axis.yaxis.set_major_locator(LogLocator(base=10))
    axis.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{y:,.10g}".replace(",", " ")))
    axis.yaxis.set_minor_locator(NullLocator())


def _title(axis: Axes, bold: str, rest: str) -> None:
    if bold:
        axis.set_title(f"{bold}\n", fontsize=9, fontweight="bold", loc="left", color=INK, linespacing=1.25)
    axis.annotate(rest, (0, 1), xytext=(0, 4), xycoords="axes fraction", textcoords="offset points", fontsize=8,
                  color=INK, annotation_clip=False)  # fmt: skip


def _frame(axis: Axes, forecast: Forecast, label: str, first: bool) -> None:
    horizon = forecast.horizon_days
    step = next((s for s in (7, 10, 14, 20, 30, 60, 90) if horizon / s <= 3.2), 120)
    ticks = np.arange(0, horizon + 0.5, step)
    axis.set_xlim(0, horizon)
    axis.set_xticks(ticks, [day_label(on_day(forecast.case.visit_date, t)) for t in ticks])
    axis.set_ylabel(label, fontsize=8, color=INK)
    bare(axis)
    axis.tick_params(axis="y", labelleft=first)

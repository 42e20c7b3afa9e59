"""All visits of one pond in one figure: burden with its band, what was counted, warmth, doses and deaths by date."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from burden.case import RecordedTemperature
from burden.inference.pond_history import History
from burden.report.figures.forecast import plain_powers
from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE, MARK, bare, figure_of_size
from burden.report.formatting import day_label, on_day
from burden.utils.dates import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_history"]

#: heights of the panels
_HEIGHTS = (2.2, 1.0, 0.8, 0.8)
#: width of a forecast's bar, as a share of the time shown, and least time shown [d]
_BAR, _LEAST_DAYS = 0.012, 14.0


def draw_history(found: History, narrow: bool = False) -> Figure:
    """Draw burden, counts, temperature and deaths by date, one under the other.

    Parameters
    ----------
    found : History
    narrow : bool
        For a telephone.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown and not saved.

    Notes
    -----
    Dots and lines: the burden of each visit by what is known now; band: between the visits; pale bars: what was
    expected the visit before; triangles: doses.
    """
    figure = figure_of_size(3.6 if narrow else 7.2, 4.6, h_pad=0.03, w_pad=0.05)
    axes = figure.subplots(4, 1, sharex=True, height_ratios=_HEIGHTS)
    first = min([found.case.day_of(visit.date) for visit in found.visits], default=0)
    span = max(-float(first), _LEAST_DAYS)
    _burden(axes[0], found, span)
    _counts(axes[1], found, span)
    _warmth(axes[2], found)
    _deaths(axes[3], found, -span)
    for axis in axes:
        axis.set_xlim(-1.04 * span, 0.04 * span)
        bare(axis, 7.5)
    _dates(axes[-1], found.case.visit_date, span, narrow)
    return figure


def _burden(axis: Axes, found: History, span: float) -> None:
    axis.set_yscale("log")
    floor = 0.5 / max(found.case.fish_count, 1)
    shown = found.days >= -span
    low, middle, high = np.clip(found.course[:, shown], floor, None)
    if any(not visit.alone for visit in found.visits):
        axis.fill_between(found.days[shown], low, high, color=BAND_90, linewidth=0, zorder=1)
        axis.plot(found.days[shown], middle, color=BAND_50, linewidth=1.2, zorder=3)
    for one in found.forecasts:
        day, (bottom, top) = found.case.day_of(one.date), np.maximum((one.burden.low, one.burden.high), floor)
        _expected(axis, day, bottom, top, span)
    for visit in found.visits:
        day, ends = found.case.day_of(visit.date), np.maximum((visit.burden.low, visit.burden.high), floor)
        axis.plot([day, day], ends, color=LINE, linewidth=1.8, zorder=4)
        shape = "s" if visit.alone else "o"
        axis.plot(day, max(visit.burden.median, floor), shape, color=LINE, markersize=4.5, zorder=5)
    doses = [day for dose in found.case.doses_given if (day := found.case.day_of(dose.date)) >= -span]
    if doses:
        axis.plot(doses, np.full(len(doses), 0.965), "v", color=MARK, markersize=5, clip_on=False, zorder=6,
                  transform=axis.get_xaxis_transform())  # fmt: skip
    plain_powers(axis)
    _head(axis, "flukes a fish")


def _counts(axis: Axes, found: History, span: float) -> None:
    """Flukes a preparation, as counted; bars of what was expected."""
    for one in found.forecasts:
        visit = next(v for v in found.visits if v.date == one.date)
        day, many = found.case.day_of(one.date), max(visit.preparations, 1)
        _expected(axis, day, one.counts.low / many, one.counts.high / many, span)
    for visit in found.visits:
        many = max(visit.preparations, 1)
        axis.plot(found.case.day_of(visit.date), visit.counted / many, "o", color=LINE, markersize=4.5, zorder=5)
    axis.set_ylim(bottom=0)
    _head(axis, "counted, a preparation")


def _expected(axis: Axes, day: float, low: float, high: float, span: float) -> None:
    """What was to be expected the visit before, as a hatched bar."""
    axis.bar(day, high - low, _BAR * span, low, color="none", edgecolor=GREY, hatch="////", linewidth=0.6, zorder=2)


def _warmth(axis: Axes, found: History) -> None:
    from matplotlib.ticker import MaxNLocator

    days = [found.case.day_of(visit.date) for visit in found.visits]
    spec = found.case.water.temperature
    if isinstance(spec, RecordedTemperature):
        read = [found.case.day_of(time.date()) for time in spec.times]
        axis.plot(read, spec.temperatures_c, color=BAND_50, linewidth=0.8)
    axis.plot(days, [visit.temperature_c for visit in found.visits], "o", color=LINE, markersize=3)
    low, high = axis.get_ylim()
    axis.set_ylim(min(low, high - 2), max(high, low + 2))
    axis.yaxis.set_major_locator(MaxNLocator(3))
    _head(axis, "water, °C")


def _deaths(axis: Axes, found: History, first: float) -> None:
    from matplotlib.ticker import MaxNLocator

    rows = [row for row in found.case.deaths if found.case.day_of(row.date) - row.days_covered >= 1.04 * first]
    ends = np.array([found.case.day_of(row.date) for row in rows], float)
    covered = np.array([row.days_covered for row in rows], float)
    if rows:
        axis.bar(ends - covered / 2, [row.deaths for row in rows], np.maximum(0.9 * covered, 0.5), color=BAND_50)
    axis.set_ylim(0, max([row.deaths for row in rows], default=1) or 1)
    axis.yaxis.set_major_locator(MaxNLocator(3, integer=True))
    _head(axis, "fish found dead" if rows else "fish found dead: no log")


def _head(axis: Axes, words: str) -> None:
    axis.set_title(words, fontsize=8, loc="left", color=INK, pad=3)


def _dates(axis: Axes, visit: date, span: float, narrow: bool) -> None:
    """Whole dates of a short record; the firsts of months, with the year where it begins, of a long one."""
    most = 4 if narrow else 8
    if span <= 120:
        step = max(int(np.ceil(span / most / 7)) * 7, 7)
        ticks = np.arange(-(span // step) * step, 0.5, step)
        axis.set_xticks(ticks, [day_label(on_day(visit, day)) for day in ticks])
        return
    firsts = _firsts_of_months(visit - timedelta(days=int(span)), visit)
    kept = firsts[:: max(int(np.ceil(len(firsts) / most)), 1)]
    new_year = [i == 0 or day.year != kept[i - 1].year for i, day in enumerate(kept)]
    labels = [MONTHS[day.month - 1] + f"\n{day.year}" * new for day, new in zip(kept, new_year, strict=True)]
    axis.set_xticks([(day - visit).days for day in kept], labels)


def _firsts_of_months(start: date, end: date) -> list[date]:
    months = range(start.year * 12 + start.month, end.year * 12 + end.month)
    return [date(month // 12, month % 12 + 1, 1) for month in months]

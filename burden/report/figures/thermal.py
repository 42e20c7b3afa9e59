"""Figure of what a parasite set makes of a temperature: laws with bands, points with their readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from burden.model.lifecycle.thermal_curves import Curve
from burden.report.figures.style import BAND_90, GREY, INK, LINE, MARK, bare, figure_of_size
from burden.report.reference.parasite_sheet import ParasiteSheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_thermal_laws"]

_LOG_FROM = 8.0  # ratio of largest to smallest above which an axis is logarithmic
_MOST_DAYS = 150.0  # longer durations are left out: nobody plans by them


def draw_thermal_laws(sheet: ParasiteSheet) -> Figure:
    """Draw every curve of a sheet, a panel each.

    Parameters
    ----------
    sheet : ParasiteSheet

    Returns
    -------
    matplotlib.figure.Figure
        Not shown and not saved.

    Notes
    -----
    The line is the median of the draws, the band their 5 to 95 % points; points carry the range of their reading.
    Outside the measured temperatures the panel is hatched.
    """
    curves = [curve for curve in sheet.curves if np.isfinite(curve.median).any()]
    rows = -(-len(curves) // 2)
    figure = figure_of_size(9.0, 0.7 + 2.9 * rows, h_pad=0.08, w_pad=0.08)
    axes = figure.subplots(rows, 2, squeeze=False).ravel()
    span = _span(curves)
    for axis, curve in zip(axes, curves, strict=False):
        _panel(axis, curve, span)
    for axis in axes[len(curves) :]:
        axis.set_axis_off()
    figure.suptitle(sheet.evidence.title, fontsize=11, color=INK, x=0.01, ha="left")
    figure.supxlabel(
        "line: median; band: 5 to 95 %; bars: what a reading allows; hatched: not measured",
        fontsize=8,
        color=INK,
    )
    return figure


def _span(curves: list[Curve]) -> tuple[float, float]:
    """Temperatures worth showing: what was measured and some degrees beyond [°C]."""
    known = [edge for curve in curves if curve.measured_c for edge in curve.measured_c]
    return (max(min(known) - 5.0, 0.0), min(max(known) + 5.0, 40.0)) if known else (0.0, 35.0)


def _panel(axis: Axes, curve: Curve, span: tuple[float, float]) -> None:
    t, (low, median, high) = curve.temperature_c, (_bounded(curve, part) for part in ("low", "median", "high"))
    # a band whose slow end is out of sight reaches to the top
    top = np.where(np.isnan(high) & ~np.isnan(low), _MOST_DAYS if curve.unit == "d" else np.nan, high)
    axis.fill_between(t, low, top, color=BAND_90, linewidth=0, zorder=2)
    axis.plot(t, median, color=LINE, linewidth=1.6, zorder=3)
    for point in curve.points:
        reading = [[point.value - point.low], [point.high - point.value]]
        axis.errorbar(point.temperature_c, point.value, yerr=reading, fmt="o", markersize=4.5, color=MARK,
                      markerfacecolor="white", markeredgewidth=1.3, capsize=2.5, linewidth=1.1, zorder=4)  # fmt: skip
    axis.set_xlim(*span)
    _scale(axis, curve, span, low, top)
    _outside(axis, curve, span)
    _words(axis, curve)


def _bounded(curve: Curve, part: str) -> np.ndarray:
    values = getattr(curve, part)
    return np.where(values <= _MOST_DAYS, values, np.nan) if curve.unit == "d" else values


def _scale(axis: Axes, curve: Curve, span: tuple[float, float], low: np.ndarray, high: np.ndarray) -> None:
    seen = (curve.temperature_c >= span[0]) & (curve.temperature_c <= span[1])
    values = np.concatenate([low[seen], high[seen]])
    values = values[np.isfinite(values)]
    if curve.unit == "d" and values.size and values.min() > 0 and values.max() / values.min() > _LOG_FROM:
        from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

        axis.set_yscale("log")
        axis.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{y:g}"))
        axis.yaxis.set_minor_formatter(NullFormatter())
        axis.set_ylim(0.8 * values.min(), min(1.1 * values.max(), _MOST_DAYS))
    elif curve.quantity == "growth_rate_per_day":
        middle = curve.median[seen]
        axis.set_ylim(max(-0.2, values.min()), 1.3 * np.nanmax(high[seen][middle > -1]))
        axis.axhline(0.0, color=INK, linewidth=0.6, zorder=1)
    else:
        axis.set_ylim(0, 1.15 * values.max() if values.size else 1.0)


def _outside(axis: Axes, curve: Curve, span: tuple[float, float]) -> None:
    """Hatch the temperatures nobody measured."""
    inside = curve.measured_c or (span[1], span[1])
    for start, end in ((span[0], inside[0]), (inside[1], span[1])):
        if end > start:
            axis.axvspan(start, end, facecolor="none", edgecolor=GREY, hatch="///", alpha=0.35, linewidth=0,
                         zorder=1)  # fmt: skip
    if curve.measured_c and curve.measured_c[0] == curve.measured_c[1]:
        axis.axvline(curve.measured_c[0], color=GREY, linewidth=0.8, linestyle=":", zorder=1)


def _words(axis: Axes, curve: Curve) -> None:
    owner = f", points of {curve.borrowed_from}" if curve.borrowed_from else ""
    axis.set_title(curve.label + owner, fontsize=9, loc="left", color=INK)
    number = "share" if "share" in curve.quantity else "number"
    axis.set_ylabel({"d": "days", "1/d": "per day", "-": number}[curve.unit], fontsize=8)
    axis.set_xlabel("water temperature [°C]", fontsize=8)
    bare(axis)
    _label_measured(axis, curve)


def _label_measured(axis: Axes, curve: Curve) -> None:
    if curve.measured_c is None:
        words: dict[str, Any] = {"x": 0.97, "s": "nothing measured", "ha": "right"}
    else:
        low, high = curve.measured_c
        s = f"measured at {low:g} °C" if low == high else f"measured {low:g} to {high:g} °C"
        words = {"x": 0.97, "s": s, "ha": "right"}
    axis.text(y=0.93, va="top", transform=axis.transAxes, fontsize=7.5, color=INK, zorder=5,
              bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5}, **words)  # fmt: skip

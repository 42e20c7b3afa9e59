"""Chart of the repeat interval against water temperature: where the next dose must fall, and how well that is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from burden.evidence import ParasiteSet, load_parasite
from burden.model.lifecycle.parameters import Parameters
from burden.model.temperature import Temperature
from burden.model.windows import windows_after
from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE, MARK, bare, figure_of_size, write_figure
from burden.schedule.interval import interval
from burden.schedule.interval_result import IntervalAnswer
from burden.schedule.reference_pond import drawn_for, even_draws
from burden.utils.errors import InputError, Problem

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "TEMPERATURES_C",
    "Given",
    "IntervalCurves",
    "customary_marks",
    "draw_interval_chart",
    "interval_curves",
    "write_interval_chart",
]

_POINTS = (0.05, 0.25, 0.5, 0.75, 0.95)
TEMPERATURES_C = np.arange(5.0, 30.01, 0.5)
_LONGEST_DAYS = 120.0


@dataclass(frozen=True)
class Given:
    """A gap marked on the chart: water [°C], days between two doses [d], and what it is in words.

    Customary or printed gaps are marked with a circle, those of this answer with a diamond.
    """

    temperature_c: float
    gap_days: float
    says: str
    customary: bool = False


@dataclass(frozen=True)
class IntervalCurves:
    """What bounds the repeat interval, by temperature.

    Parameters
    ----------
    temperature_c : numpy.ndarray
        Shape (T,) [°C].
    safe_gap, last_dose : numpy.ndarray
        Longest gap at which no settler can lay, and day before which the last dose must not be, at the 5, 25, 50, 75
        and 95 % points of the draws, shape (5, T) [d].
    first_hatch : numpy.ndarray
        Median day of the first hatch, shape (T,) [d].
    two_doses : numpy.ndarray
        Share of draws in which some gap of two doses suffices, shape (T,).
    measured : mapping
        Name of what was measured, to its lowest and highest temperature [°C].
    """

    temperature_c: np.ndarray
    safe_gap: np.ndarray
    last_dose: np.ndarray
    first_hatch: np.ndarray
    two_doses: np.ndarray
    measured: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def two_dose_region(self) -> np.ndarray:
        """Whether the medians leave a gap at which two doses suffice, shape (T,)."""
        return self.last_dose[2] <= self.safe_gap[2]


def interval_curves(
    parameters: Parameters, sheltered_fraction: np.ndarray, temperatures_c: np.ndarray = TEMPERATURES_C
) -> IntervalCurves:
    """Work out the curves from draws of an egg-layer.

    Parameters
    ----------
    parameters : Parameters
        M draws.
    sheltered_fraction : numpy.ndarray
        Of the agent, shape (M,) [-].
    temperatures_c : numpy.ndarray
        Shape (T,) [°C].

    Notes
    -----
    The windows follow from durations alone; no course of doses is searched at each temperature.
    """
    found = [windows_after(parameters, sheltered_fraction, Temperature.constant(float(t))) for t in temperatures_c]
    development = parameters.of_eggs
    return IntervalCurves(
        temperatures_c,
        np.array([_points(w.longest_safe_gap) for w in found]).T,
        np.array([_points(w.last_dose_not_before) for w in found]).T,
        np.array([_points(w.first_hatch)[2] for w in found]),
        np.array([float(np.mean(w.two_doses_suffice)) for w in found]),
        {"hatching": development.hatch.measured_c, "maturity": development.maturity.measured_c},
    )


def _points(days: np.ndarray) -> np.ndarray:
    """Points of the draws; a draw without end stands beyond any chart."""
    return np.quantile(np.nan_to_num(np.where(np.isfinite(days), days, 10 * _LONGEST_DAYS)), _POINTS)


def draw_interval_chart(curves: IntervalCurves, today_c: float | None = None, given: Sequence[Given] = ()) -> Figure:
    """Draw the chart, as wide as a telephone or half a page.

    Parameters
    ----------
    curves : IntervalCurves
    today_c : float, optional
        Today's water [°C].
    given : sequence of Given
        Gaps to mark.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown and not saved.
    """
    figure = figure_of_size(3.6, 2.7, h_pad=0.03, w_pad=0.04)
    axis, strip = figure.subplots(2, 1, sharex=True, height_ratios=(9, 1.7))
    _scales(axis, curves)
    _curves(axis, curves)
    _today(axis, today_c)
    _marks(axis, given)
    _measured(strip, curves)
    return figure


def _curves(axis: Axes, curves: IntervalCurves) -> None:
    t, safe, last = curves.temperature_c, curves.safe_gap, curves.last_dose
    axis.fill_between(t, last[0], last[4], facecolor="none", edgecolor=GREY, hatch="////", linewidth=0, alpha=0.6,
                      zorder=1)  # fmt: skip
    axis.plot(t, last[2], color=GREY, linewidth=1.5, linestyle=(0, (5, 2)), zorder=4)
    axis.fill_between(t, safe[0], safe[4], color=BAND_90, linewidth=0, zorder=2)
    axis.fill_between(t, safe[1], safe[3], color=BAND_50, linewidth=0, zorder=3)
    axis.plot(t, safe[2], color=LINE, linewidth=1.8, zorder=4)
    if curves.two_dose_region.any():
        axis.fill_between(t, last[2], safe[2], where=curves.two_dose_region, facecolor="none", edgecolor=MARK,
                          hatch="xxx", linewidth=0, zorder=5)  # fmt: skip
    _beside(axis, t, last[4], "last dose not before", 1.1, "bottom", INK)
    _beside(axis, t, safe[0], "longest gap at which\nno young fluke can lay", 0.92, "top", LINE)


def _beside(axis: Axes, t: np.ndarray, values: np.ndarray, words: str, off: float, side: str, colour: str) -> None:
    """Words at the edge of a band, near its right end, where no other band is."""
    seen = t >= t[0] + 0.68 * (t[-1] - t[0])
    edge = values[seen].max() if side == "bottom" else values[seen].min()
    axis.text(float(t[-1]) - 0.3, off * float(edge), words, fontsize=7.5, color=colour, ha="right", va=side, zorder=7,
              bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.5})  # fmt: skip


def customary_marks(evidence: ParasiteSet) -> list[Given]:
    """Return the gaps that custom or print gives for a set."""
    rows = evidence.published_intervals
    return [Given(float(row.temperature_c), float(row.gap_days), "", True) for row in rows]


def _today(axis: Axes, today_c: float | None) -> None:
    if today_c is None:
        return
    axis.axvline(today_c, color=MARK, linewidth=0.9, linestyle=":", zorder=4)
    right = today_c > 22
    axis.annotate(f"today {today_c:.1f} °C", (today_c, 0.985), xycoords=axis.get_xaxis_transform(),
                  xytext=(-3 if right else 3, 0), textcoords="offset points", ha="right" if right else "left",
                  va="top", fontsize=8, color=MARK, zorder=7)  # fmt: skip


def _marks(axis: Axes, given: Sequence[Given]) -> None:
    for mark in given:
        axis.plot(mark.temperature_c, mark.gap_days, "o" if mark.customary else "D", color=MARK, markersize=5,
                  markerfacecolor="white", markeredgewidth=1.3, zorder=8)  # fmt: skip
    for mark in given:
        if mark.says:
            left = mark.temperature_c > 15
            axis.annotate(mark.says, (mark.temperature_c, mark.gap_days), xytext=(-7 if left else 7, 1),
                          textcoords="offset points", ha="right" if left else "left", va="center", fontsize=8,
                          color=MARK, zorder=9,
                          bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.8})  # fmt: skip


def _scales(axis: Axes, curves: IntervalCurves) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axis.set_yscale("log")
    shown = np.concatenate([curves.safe_gap.ravel(), curves.last_dose.ravel()])
    top = float(np.clip(1.15 * shown.max(), 10, _LONGEST_DAYS))
    axis.set_ylim(0.42 * float(shown.min()), top)
    axis.yaxis.set_major_locator(FixedLocator([0.5, 1, 2, 3, 5, 7, 10, 14, 21, 30, 60, 120]))
    axis.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{y:g}"))
    axis.yaxis.set_minor_locator(NullLocator())
    axis.set_xlim(float(curves.temperature_c[0]), float(curves.temperature_c[-1]))
    axis.set_ylabel("days after a dose", fontsize=8, color=INK)
    bare(axis)


def _measured(strip: Axes, curves: IntervalCurves) -> None:
    """Bars of where anything was measured, under the chart."""
    strip.set_ylim(-0.6, len(curves.measured) - 0.4)
    low_edge, high_edge = curves.temperature_c[0], curves.temperature_c[-1]
    for row, (low, high) in enumerate(reversed(curves.measured.values())):
        strip.plot([max(low, low_edge), min(high, high_edge)], [row, row], color=LINE, linewidth=3.5,
                   solid_capstyle="butt", zorder=3)  # fmt: skip
        if low == high:
            strip.plot([low], [row], "s", color=LINE, markersize=4, zorder=3)
        strip.plot([low_edge, high_edge], [row, row], color=BAND_90, linewidth=1, zorder=1)
    strip.set_yticks(range(len(curves.measured)), list(reversed(curves.measured)))
    strip.set_xlabel("water temperature [°C]; bars: where it was measured", fontsize=8, color=INK)
    bare(strip)
    strip.tick_params(axis="y", length=0, labelsize=7.5)
    strip.spines["left"].set_visible(False)


def write_interval_chart(
    parasite: str,
    agent: str,
    path: Path,
    *,
    today_c: float,
    draws: int = 200,
    seed: int = 1,
    answer: IntervalAnswer | None = None,
) -> Path:
    """Write the chart of one set and one agent, SVG or PNG by the ending of the path.

    Parameters
    ----------
    parasite, agent : str
        Names of a set and of an agent.
    path : Path
        Ends in .svg or .png.
    today_c : float
        Water to mark [°C].
    draws, seed : int
        Number of draws and seed.
    answer : IntervalAnswer, optional
        The answer at `today_c` where it is known already; else it is worked out for the mark.

    Raises
    ------
    InputError
        For an ending that is neither, or a set without windows.
    """
    evidence = load_parasite(parasite)
    problems = []
    if path.suffix.lower() not in (".svg", ".png"):
        problems.append(Problem("command line", "--plot", str(path), "a name ending in .svg or .png", "Rename it."))
    if reason := _no_chart(parasite):
        problems.append(Problem("command line", "--plot", parasite, "an egg-layer with measured windows", reason))
    if problems:
        raise InputError(problems)
    answer = answer or interval(parasite, today_c, agent, draws, seed)
    with even_draws(draws, seed):
        drawn = drawn_for(evidence, agent, draws, seed)
    curves = interval_curves(drawn.parameters, drawn.effect.sheltered_fraction)
    course = answer.recommended
    marks = [Given(today_c, course.gap_days, f"{course.doses} doses, {course.gap_days:g} d apart")] if course else []
    write_figure(path, lambda: draw_interval_chart(curves, today_c, marks), "interval")
    return path


def _no_chart(parasite: str) -> str | None:
    evidence = load_parasite(parasite)
    if not evidence.lays_eggs:
        return "A live-bearer lays no eggs: no window has to be waited for."
    return evidence.refusal("windows")

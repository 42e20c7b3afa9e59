"""Figures of sampling plans: the card with its stop lines, and more fish against more of each fish."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE, MARK, PALE, bare, figure_of_size
from burden.report.text.sampling_sizes import aim_of, wanted_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from burden.sampling import MeanPlan, StopCard

__all__ = ["draw_effort", "draw_stop_card"]


def draw_stop_card(card: StopCard) -> Figure:
    """Draw the total count after each fish against the lines at which to stop.

    Parameters
    ----------
    card : StopCard
    """
    from matplotlib.ticker import MaxNLocator

    drawn = figure_of_size(6.4, 4.4)
    axis = drawn.add_subplot()
    lines = {name: _line(card, name) for name in card.lines[0] if name != "fish"}
    fish = np.array([line["fish"] for line in card.lines], float)
    upper = lines["high_at_least" if "high_at_least" in lines else "stop_at_least"]
    top = 1.15 * np.nanmax(upper) if np.isfinite(upper).any() else 10.0
    _zone(axis, fish, upper, np.full(fish.size, top), "stop: high" if "high_at_least" in lines else "stop", BAND_50)
    if "low_at_most" in lines:
        _zone(axis, fish, np.zeros(fish.size), lines["low_at_most"], "stop: low", BAND_90)
    lower = np.nan_to_num(lines.get("low_at_most", np.zeros(fish.size)))
    middle = 0.5 * (lower + np.where(np.isfinite(upper), upper, top))
    at = fish.size // 2
    axis.text(fish[at], middle[at], "go on", color=GREY, ha="center", va="center")
    axis.set(xlim=(1, max(fish[-1], 2)), ylim=(0, top), xlabel="fish looked at", ylabel="flukes seen in all")
    axis.set_title(aim_of(card), loc="left", fontsize=9, color=INK)
    axis.xaxis.set_major_locator(MaxNLocator(integer=True))
    axis.grid(color=PALE, linewidth=0.6)
    axis.set_axisbelow(True)
    bare(axis)
    return drawn


def _line(card: StopCard, name: str) -> np.ndarray:
    return np.array([np.nan if line[name] is None else line[name] for line in card.lines], float)


def _zone(axis: Axes, fish: np.ndarray, low: np.ndarray, high: np.ndarray, says: str, colour: str) -> None:
    """A zone in which to stop, its edge a line, its name inside."""
    there = np.isfinite(low) & np.isfinite(high)
    if not there.any():
        return
    edge = low if says != "stop: low" else high
    axis.fill_between(fish[there], low[there], high[there], color=colour, linewidth=0)
    axis.plot(fish[there], edge[there], color=LINE, linewidth=1.6, marker="o", markersize=3)
    at = int(np.flatnonzero(there)[-1 - there.sum() // 4])
    axis.text(fish[at], 0.5 * (low[at] + high[at]), says, color=MARK, ha="center", va="center")


def draw_effort(plan: MeanPlan) -> Figure:
    """Draw fish, and the work of catching and looking, against preparations of each fish.

    Parameters
    ----------
    plan : MeanPlan
        Work is drawn where the handling of a fish was given.
    """
    served = [option for option in plan.options if option["fish"] is not None]
    worked = [option for option in served if option["work"] is not None]
    drawn = figure_of_size(7.4 if worked else 4.4, 3.6)
    axes = drawn.subplots(1, 2 if worked else 1, squeeze=False)[0]
    _bars(axes[0], served, "fish", plan.preparations, "fish to look at")
    if worked:
        _bars(axes[1], worked, "work", plan.preparations, "work, in preparations")
    axes[0].set_title(wanted_of(plan), loc="left", fontsize=9, color=INK)
    return drawn


def _bars(axis: Axes, options: list, name: str, chosen: int, label: str) -> None:
    """One bar a number of preparations, its number on it, the plan's own dark."""
    x = [option["preparations"] for option in options]
    y = [option[name] for option in options]
    colours = [LINE if preparations == chosen else BAND_50 for preparations in x]
    axis.bar(x, y, 0.7, color=colours)
    for place, height in zip(x, y, strict=True):
        axis.text(place, height, f"{height:.0f}", ha="center", va="bottom", color=INK)
    axis.set(xlabel="preparations of each fish", ylabel=label, xticks=x)
    bare(axis)

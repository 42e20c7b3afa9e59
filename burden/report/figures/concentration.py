"""What stays in the water of each agent over a course, under the ceiling of the agent."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from burden.decision import Assessment
from burden.evidence import load_agent
from burden.model.elimination.probability import DoseSchedule
from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE, figure_of_size
from burden.report.formatting import day_label, on_day
from burden.schedule.projection import BANDS
from burden.treatment.bath import loss_draws
from burden.treatment.concentration import concentration_curve
from burden.utils.formatting import named

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["course_in_water", "draw_concentration"]

#: shown after the last dose [d]
_AFTER_DAYS = 7.0


def course_in_water(visit: Assessment, agent: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the concentration of one agent over the recommended course.

    Parameters
    ----------
    visit : Assessment
        With a recommendation.
    agent : str

    Returns
    -------
    days : numpy.ndarray
        From the visit, shape (T,) [d].
    mg_l : numpy.ndarray
        5, 25, 50, 75 and 95 % of the draws, shape (5, T) [mg/L].

    Notes
    -----
    Doses add up where the one before has not faded. A filter that meets the agent for the first time is adapted from
    the second dose on; one that has met it is adapted from the first. Where the pond holds less water than was
    reckoned with, the same mass gives more.
    """
    case, pond = visit.case, visit.estimates[0].pond
    plan = _course(visit)
    evidence, n = load_agent(agent), pond.size
    met = any(action.agent == agent for action in case.given)
    first, later = (loss_draws(evidence, case.water.filter, n, pond.seed, met_before=m) for m in (met, True))
    given = [(d, r.mg_l) for d, a, r in zip(plan.days, plan.agents, visit.doses, strict=True) if a == agent]
    exchange = pond.setting.exchange_per_day
    curve = concentration_curve(given, first, exchange, loss_adapted_per_day=later)
    days = np.unique([*np.arange(0.0, plan.days[-1] + _AFTER_DAYS, 0.1), *(d - 1e-6 for d, _ in given if d > 0)])
    volume = pond.setting.volume_m3 * 1000 / case.water.volume_l.value
    return days, np.quantile(curve.at(days) / np.reshape(volume, (-1, 1)), BANDS, axis=0)


def _course(visit: Assessment) -> DoseSchedule:
    chosen = visit.decision.recommendation.recommended if visit.decision.doses else None
    if chosen is None:
        raise ValueError(f"{visit.case.name}: no course is recommended, so there is no concentration to draw")
    return chosen.plan


def draw_concentration(visit: Assessment, agent: str) -> Figure:
    """Draw the concentration of one agent with its ceiling.

    Parameters
    ----------
    visit : Assessment
        With a recommendation.
    agent : str

    Returns
    -------
    matplotlib.figure.Figure
        Not shown and not saved.
    """
    days, bands = course_in_water(visit, agent)
    ceiling = load_agent(agent).ceiling.mg_l_prolonged
    figure = figure_of_size(5.4, 2.2)
    axis = figure.subplots()
    axis.fill_between(days, bands[0], bands[4], color=BAND_90, linewidth=0)
    axis.fill_between(days, bands[1], bands[3], color=BAND_50, linewidth=0)
    axis.plot(days, bands[2], color=LINE, linewidth=1.7)
    axis.axhline(ceiling, color=GREY, linewidth=0.9, linestyle="--")
    axis.text(days[-1], ceiling, f"ceiling {ceiling:g} mg/L ", ha="right", va="bottom", fontsize=8, color=INK)
    axis.set_ylim(0, 1.2 * max(ceiling, float(bands[4].max())))
    axis.set_xlim(0, days[-1])
    plan = _course(visit)
    marks = [day for day, given in zip(plan.days, plan.agents, strict=True) if given == agent]
    axis.set_xticks(marks, [day_label(on_day(visit.case.visit_date, day)) for day in marks], fontsize=8, color=INK)
    axis.set_ylabel(f"{named(agent)}, mg/L", fontsize=8, color=INK)
    axis.tick_params(labelsize=8, colors=INK)
    axis.spines[["top", "right"]].set_visible(False)
    return figure

"""Courses of doses at one gap in the reference pond: the chance that nothing is left, and the fewest doses for it.

By the backward equations with both brakes off, the cautious choice for elimination; control is judged as the decision
judges it, by `burden.schedule.search` on the same pond.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch
from burden.model.elimination.probability import none_left, time_grid
from burden.model.elimination.renewal import Habitat, backward
from burden.model.elimination.waiting_times import Memo, farthest
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.stable_stages import Population
from burden.model.temperature import Temperature
from burden.model.windows import Windows
from burden.schedule.aim import ERADICATION_CHANCE
from burden.schedule.candidates import LONGEST_GAP_DAYS, MOST_DOSES
from burden.schedule.evaluation import TIE
from burden.schedule.reference_pond import REFERENCE_VOLUME_M3, STAGES, reference_population
from burden.utils.progress import track
from burden.utils.results import CredibleInterval, Probability, number

__all__ = [
    "DOSES",
    "Regimen",
    "eradicate",
    "evaluate_courses",
    "gaps_searched",
    "step_for",
]

DOSES = range(2, MOST_DOSES + 1)
_GROUP = 20  # gaps walked together: most of a step is the same for few schedules and for many
_MOST_GAPS = 16  # gaps tried to eradicate: where the longest is longer than so many days, every second day or fewer


@dataclass(frozen=True)
class Regimen:
    """A number of doses at one gap, and what it does to the reference pond.

    Parameters
    ----------
    gap_days : float
        [d]
    doses : int
    survivors_per_1000 : CredibleInterval
        Flukes on the fish a day after the last dose, of 1,000 before the first.
    elimination_probability : Probability
        No fluke, egg or larva left 365 d after the last dose.
    chance : float or None
        Of reaching the aim it is judged by [-]; None before it is judged.
    """

    gap_days: float
    doses: int
    survivors_per_1000: CredibleInterval
    elimination_probability: Probability
    chance: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "gap_days": self.gap_days,
            "doses": self.doses,
            "survivors_per_1000": self.survivors_per_1000.as_dict(),
            "elimination_probability": self.elimination_probability.as_dict(),
            "chance": None if self.chance is None else number(self.chance),
        }


def gaps_searched(windows: Windows, least_days: int) -> np.ndarray:
    """Gaps tried to eradicate: whole days from the shortest to last hatch, larval life and maturity together [d].

    Parameters
    ----------
    windows : Windows
        Finite ones.
    least_days : int
        The bath is over and the day is out [d].
    """
    longest = np.median(windows.last_hatch) + np.median(windows.larval_life) + np.median(windows.earliest_maturity)
    longest = max(min(float(np.ceil(longest)), LONGEST_GAP_DAYS), least_days)
    count = int(min(longest - least_days + 1, _MOST_GAPS))
    return np.unique(np.round(np.linspace(least_days, longest, count)))


def eradicate(courses: Sequence[Regimen]) -> tuple[Regimen, bool]:
    """Fewest doses whose mean probability of elimination is high enough, and whether it is; else the best of all.

    Parameters
    ----------
    courses : sequence of Regimen

    Notes
    -----
    Of gaps that do as well within `TIE` the shortest is taken, and where the aim is out of reach the fewest doses.
    """
    for doses in sorted({c.doses for c in courses}):
        mine = [c for c in courses if c.doses == doses]
        if max(c.elimination_probability.mean for c in mine) >= ERADICATION_CHANCE:
            return _best(mine, ERADICATION_CHANCE), True
    return _best(courses, 0.0), False


def _best(courses: Sequence[Regimen], least: float) -> Regimen:
    top = max(c.elimination_probability.mean for c in courses)
    as_good = [c for c in courses if c.elimination_probability.mean >= max(top - TIE, least)]
    return min(as_good, key=lambda c: (c.doses, c.gap_days))


def step_for(parameters: Parameters, temperature_c: float, unit_days: float = 0.5, parts: int = 12) -> float:
    """Step of the backward equations: a whole part of a unit of days, so many of them at least a first hatch [d]."""
    first = float(np.median(parameters.of_eggs.hatch.quantile_days(0.01, temperature_c)))
    return unit_days / max(int(np.ceil(unit_days * parts / min(first, 1e3))), 1)


def _window_days(parameters: Parameters, temperature_c: float) -> float:
    """How long even steps go on: what all but a slow tenth of the draws take for their last, within 120 d [d].

    Beyond it steps are longer for all draws, which moves the probability by less than 2e-4.
    """
    development = parameters.of_eggs
    slowest = [
        farthest(table.shape_at(temperature_c)) / np.maximum(table.rate(temperature_c), 1e-9)
        for table in (development.hatch, development.maturity)
    ]
    return float(min(max(np.quantile(days, 0.9, method="nearest") for days in slowest), 120.0))


def evaluate_courses(
    parameters: Parameters,
    effect: DoseEffect,
    temperature_c: float,
    gaps_days: np.ndarray,
    doses: Sequence[int],
    parts: int = 12,
) -> list[Regimen]:
    """Judge every number of doses at every gap in the reference pond.

    Parameters
    ----------
    parameters : Parameters
        M draws of an egg-layer, with `establishment` at the reference density.
    effect : DoseEffect
        One dose, M draws.
    temperature_c : float
        [°C]
    gaps_days : numpy.ndarray
        Multiples of half a day, shape (G,) [d].
    doses : sequence of int
        Numbers of doses.
    parts : int
        Steps of the backward equations that a first hatch is cut into, at least.

    Returns
    -------
    list of Regimen
        By gap, then by number of doses.
    """
    unit = float(np.gcd.reduce(np.round(2 * gaps_days).astype(int))) / 2
    dt = step_for(parameters, temperature_c, unit, parts)
    population = reference_population(parameters, temperature_c)
    reach = _window_days(parameters, temperature_c)
    found: list[Regimen] = []
    memo: Memo = {}
    groups = np.array_split(gaps_days, max(int(np.ceil(len(gaps_days) / _GROUP)), 1))
    for group in track(groups, "judging intervals"):
        found += _judge_group(parameters, effect, temperature_c, group, list(doses), dt, reach, population, memo)
    return found


def _judge_group(
    parameters: Parameters,
    effect: DoseEffect,
    temperature_c: float,
    gaps: np.ndarray,
    doses: list[int],
    dt: float,
    reach: float,
    population: Population,
    memo: Memo,
) -> list[Regimen]:
    """All gaps of a group share the day of their last dose, so one walk gives every number of doses of each."""
    most = max(doses)
    span = (most - 1) * float(gaps.max())
    last = round(span / dt)
    steps = np.array([[last - round(k * gap / dt) for k in range(most)] for gap in gaps])
    batch = Batch(steps, np.zeros_like(steps), [effect])
    starts = [steps[:, n - 1] for n in doses]
    stages = (len(population.fresh_eggs), *STAGES)
    around = (Temperature.constant(temperature_c), population.fish / REFERENCE_VOLUME_M3, 0.0)
    habitat = Habitat(parameters, *around, *time_grid(0.0, span, dt, reach + 2 * dt), memo)
    probabilities = [none_left(v, population) for v in backward(habitat, batch, starts, stages)]
    day = dt * np.ceil(1.0 / dt - 1e-9)  # a whole number of steps, so that both grids share their durations
    short = Habitat(parameters, *around, *time_grid(0.0, span, dt, reach + day, after_days=day), memo)
    left = backward(short, batch, starts, stages, linear=True, on_fish_only=True)
    before = population.adults + population.juveniles.sum(0)
    survivors = [1000 * sum(v.expected(population)) / before for v in left]
    return [
        Regimen(float(gap), n, CredibleInterval.of(survivors[c][s]), Probability.of(probabilities[c][s]))
        for s, gap in enumerate(gaps)
        for c, n in enumerate(doses)
    ]

"""Courses of doses in a reference pond: every gap and number of doses judged, and the best for either aim.

The reference pond holds 40 fish of 400 g in 10 m³ with 50 adults a fish in the stable stage mix of the temperature,
without exchange, cleaning, fish deaths or brakes; each dose acts at once and leaves no residue.
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
from burden.model.lifecycle.stable_stages import Population, stable_population
from burden.model.lifecycle.transitions import Parameters, Surroundings, build_cycle
from burden.model.temperature import Temperature
from burden.model.windows import Windows
from burden.utils.errors import CannotAnswerError
from burden.utils.progress import track
from burden.utils.results import CredibleInterval, Probability
from burden.utils.wording import Remark

__all__ = [
    "CONTROL_PER_1000",
    "DOSES",
    "ERADICATION",
    "LONGEST_GAP_DAYS",
    "REFERENCE_ADULTS",
    "REFERENCE_FISH",
    "REFERENCE_VOLUME_M3",
    "TIE",
    "NoControl",
    "NoEradication",
    "Regimen",
    "control",
    "eradicate",
    "evaluate_courses",
    "gaps_searched",
    "search_courses",
    "step_for",
]

REFERENCE_FISH, REFERENCE_VOLUME_M3, REFERENCE_ADULTS = 40, 10.0, 50
CONTROL_PER_1000 = 10.0  # most flukes on the fish left of 1,000, a day after the last dose
ERADICATION = 0.9  # least mean probability of elimination
TIE = 0.005  # differences of a probability that do not count
DOSES = range(2, 9)
LONGEST_GAP_DAYS = 60.0
_STAGES = (30, 30)
_GROUP = 20  # gaps walked together: most of a step is the same for few schedules and for many
_COARSE_GAPS, _COARSE_PARTS, _FINE_PARTS = 16, 6, 10  # where every half day would be many gaps: rounds and steps


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
    """

    gap_days: float
    doses: int
    survivors_per_1000: CredibleInterval
    elimination_probability: Probability

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "gap_days": self.gap_days,
            "doses": self.doses,
            "survivors_per_1000": self.survivors_per_1000.as_dict(),
            "elimination_probability": self.elimination_probability.as_dict(),
        }


@dataclass(frozen=True)
class NoControl(Remark):
    """No gap leaves at most so many of 1,000 flukes with up to so many doses."""

    doses: int
    per_1000: float


@dataclass(frozen=True)
class NoEradication(Remark):
    """No course reaches the mean probability of elimination that is wanted; the best one searched."""

    best: Regimen
    wanted: float


def gaps_searched(windows: Windows) -> np.ndarray:
    """Gaps searched: from half a day to last hatch, larval life and maturity together, by half days [d]."""
    longest = np.median(windows.last_hatch) + np.median(windows.larval_life) + np.median(windows.earliest_maturity)
    if not np.isfinite(longest):
        waits = "eggs do not hatch" if np.isinf(np.median(windows.last_hatch)) else "settled larvae do not mature"
        raise CannotAnswerError(f"in water this cold most {waits} within 400 d")
    return np.arange(0.5, min(longest, LONGEST_GAP_DAYS) + 0.25, 0.5)


def search_courses(parameters: Parameters, effect: DoseEffect, temperature_c: float, gaps: np.ndarray) -> list[Regimen]:
    """Judge every half day, or where that is many gaps, a coarse grid first and then every half day where it matters.

    The coarse stride follows development, a twelfth of the first hatch or a sixteenth of the longest gap, and so does
    its step. What decides is judged again in the fine step: around every course that may win, and around the best
    gap of one dose less where that came close.
    """
    first = float(np.median(parameters.of_eggs.hatch.quantile_days(0.01, temperature_c)))
    stride = max(round(first / 12 / 0.5), int(np.ceil(len(gaps) / _COARSE_GAPS)))
    if stride == 1:
        return evaluate_courses(parameters, effect, temperature_c, gaps, DOSES)
    coarse = evaluate_courses(parameters, effect, temperature_c, gaps[stride - 1 :: stride], DOSES, _COARSE_PARTS)
    courses = {(c.gap_days, c.doses): c for c in coarse}
    for doses, centres in _worth_refining(coarse).items():
        fine = [g for g in gaps if any(abs(g - centre) <= 0.5 * stride for centre in centres)]
        found = evaluate_courses(parameters, effect, temperature_c, np.array(fine), range(2, doses + 1), _FINE_PARTS)
        courses |= {(c.gap_days, c.doses): c for c in found}
    return sorted(courses.values(), key=lambda c: (c.gap_days, c.doses))


def _worth_refining(courses: Sequence[Regimen]) -> dict[int, set[float]]:
    """Gaps around which the answer may lie, by number of doses [d]."""
    found: dict[int, set[float]] = {}
    for rule, worth in ((control, _near_control), (eradicate, _near_eradication)):
        chosen = rule(courses)[0]
        last = chosen.doses if chosen is not None else max(c.doses for c in courses)
        for doses in (last - 1, last):
            near = worth([c for c in courses if c.doses == doses])
            if near:
                top = max(near, key=lambda c: c.elimination_probability.mean)
                few = min(near, key=lambda c: c.survivors_per_1000.median)
                tied = [chosen] if chosen is not None and doses == last else []
                found.setdefault(doses, set()).update(c.gap_days for c in (top, few, *tied))
    return found


def _near_control(courses: Sequence[Regimen]) -> list[Regimen]:
    """Those that meet the limit or may do so half a stride away."""
    return [c for c in courses if c.survivors_per_1000.median <= 1.5 * CONTROL_PER_1000]


def _near_eradication(courses: Sequence[Regimen]) -> list[Regimen]:
    good = [c for c in courses if c.elimination_probability.mean >= ERADICATION - 0.05]
    return [max(good, key=lambda c: c.elimination_probability.mean)] if good else []


def _controlling(courses: Sequence[Regimen]) -> list[Regimen]:
    return [c for c in courses if c.survivors_per_1000.median <= CONTROL_PER_1000]


def control(courses: Sequence[Regimen]) -> tuple[Regimen | None, NoControl | None]:
    """Fewest doses that leave at most the limit on the fish, or none and why.

    Parameters
    ----------
    courses : sequence of Regimen
    """
    for doses in sorted({c.doses for c in courses}):
        if good := _controlling([c for c in courses if c.doses == doses]):
            return _best(good), None
    return None, NoControl(max(c.doses for c in courses), CONTROL_PER_1000)


def eradicate(courses: Sequence[Regimen]) -> tuple[Regimen | None, NoEradication | None]:
    """Fewest doses whose mean probability of elimination is high enough, or none and why.

    Parameters
    ----------
    courses : sequence of Regimen
    """
    for doses in sorted({c.doses for c in courses}):
        mine = [c for c in courses if c.doses == doses]
        if max(c.elimination_probability.mean for c in mine) >= ERADICATION:
            return _best(mine), None
    best = max(courses, key=lambda c: c.elimination_probability.mean)
    return None, NoEradication(best, ERADICATION)


def _best(courses: Sequence[Regimen], tie: float = TIE) -> Regimen:
    """Highest mean probability; among those within the tie the shortest gap."""
    top = max(c.elimination_probability.mean for c in courses)
    return min((c for c in courses if c.elimination_probability.mean >= top - tie), key=lambda c: c.gap_days)


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
    m = parameters.size
    wear = next((form.stages for form in build_cycle(parameters.evidence).forms if form.name == "fresh_egg"), 0)
    around = Surroundings(np.full(m, REFERENCE_FISH / REFERENCE_VOLUME_M3))
    fish, adults = np.full(m, float(REFERENCE_FISH)), np.full(m, float(REFERENCE_FISH * REFERENCE_ADULTS))
    population = stable_population(parameters, temperature_c, around, adults, fish, (wear, *_STAGES))
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
    stages = (len(population.fresh_eggs), *_STAGES)
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

"""What schedules do to a pond: who dies, what is left on the fish, and the chance that all flukes are gone.

Many schedules run side by side along the axis of draws, each dose acting in the columns of its own schedule alone:
so many columns cost little more than those of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from burden.elimination import Plan, eliminations
from burden.pond import Pond
from burden.result import Probability, Triple
from burden.simulate import COARSE_STEP_DAYS, Event, State, Trajectory, simulate

__all__ = ["Judged", "first_draws", "judge", "left_per_1000", "left_untreated", "log_all_gone"]

#: days after the last dose on which what is left is counted
_LOOK_AFTER_DAYS = 1.0


@dataclass(frozen=True)
class Judged:
    """A schedule and what it does.

    Parameters
    ----------
    plan : Plan
    elimination : Probability
        Both brakes off.
    left_per_1000 : Triple
        Flukes on a live fish a day after the last dose, of 1,000 today.
    deaths : Triple
        Fish dead by `deaths_by_day`, from the visit.
    """

    plan: Plan
    elimination: Probability
    left_per_1000: Triple
    deaths: Triple
    deaths_by_day: float

    @property
    def doses(self) -> int:
        """Number of doses."""
        return len(self.plan.days)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "days": list(self.plan.days),
            "agents": list(self.plan.agents),
            "elimination_probability": self.elimination.as_dict(),
            "left_per_1000": self.left_per_1000.as_dict(),
            "deaths": self.deaths.as_dict(),
        }


def first_draws(ponds: Sequence[tuple[Pond, State]], most: int) -> list[tuple[Pond, State]]:
    """Return ponds and states with at most so many of their draws, the first."""
    few = np.arange(min(most, ponds[0][0].size))
    return [(pond.take(few), state.take(few)) for pond, state in ponds]


def log_all_gone(ponds: Sequence[tuple[Pond, State]], plans: Sequence[Plan]) -> np.ndarray:
    """Log-probability that all sets are gone by each plan, both brakes off, shape (S, M).

    Parameters
    ----------
    ponds : sequence of (Pond, State)
        One a parasite set, M draws each.
    plans : sequence of Plan
        S of them.
    """
    return reduce(np.add, (eliminations(pond.setting, state, plans, pond.effects) for pond, state in ponds))


def judge(
    ponds: Sequence[tuple[Pond, State]],
    plans: Sequence[Plan],
    horizon_days: float,
    eliminated: np.ndarray | None = None,
) -> list[Judged]:
    """Judge schedules by the forward and the backward equations.

    Parameters
    ----------
    ponds : sequence of (Pond, State)
        One a parasite set, M draws each.
    plans : sequence of Plan
        S of them.
    horizon_days : float
        Deaths are counted up to here, or to the day after the last dose where that is later [d].
    eliminated : numpy.ndarray, optional
        Probability that all sets are gone, shape (S, M), where it is known already.

    Returns
    -------
    list of Judged
        One a plan.
    """
    if eliminated is None:
        eliminated = np.exp(log_all_gone(ponds, plans))
    _, ends, left, deaths = _courses(ponds, plans, horizon_days)
    return [
        Judged(plan, Probability.of(gone), Triple.of(ratio), Triple.of(dead), float(end))
        for plan, gone, ratio, dead, end in zip(plans, eliminated, left, deaths, ends, strict=True)
    ]


def left_per_1000(ponds: Sequence[tuple[Pond, State]], plans: Sequence[Plan]) -> np.ndarray:
    """Flukes on a live fish a day after the last dose, of 1,000 before the first, shape (S, M).

    Parameters
    ----------
    ponds : sequence of (Pond, State)
        One a parasite set, M draws each; the set that has most left counts.
    plans : sequence of Plan
        S of them.
    """
    return _courses(ponds, plans, 0.0)[2]


def left_untreated(ponds: Sequence[tuple[Pond, State]], day: float) -> np.ndarray:
    """Flukes on a live fish on a day without any dose, of 1,000 on day 0, shape (M,).

    Parameters
    ----------
    ponds : sequence of (Pond, State)
        One a parasite set, M draws each; the set that has most left counts.
    day : float
        From the visit [d].
    """
    left = np.zeros(ponds[0][0].size)
    for pond, state in ponds:
        then = simulate(pond.setting, state, np.array([0.0, day]), pond.given, COARSE_STEP_DAYS).abundance[-1]
        now = state.flukes_per_fish(pond.setting.fish)
        left = np.maximum(left, 1000 * np.divide(then, now, out=np.zeros_like(then), where=now > 1e-9))
    return left


def _courses(
    ponds: Sequence[tuple[Pond, State]], plans: Sequence[Plan], horizon_days: float
) -> tuple[list[float], list[float], np.ndarray, np.ndarray]:
    """Day of the look and last day of each plan, what is left of 1,000 and who has died, shape (S, M) each."""
    looks = [max(plan.days, default=-_LOOK_AFTER_DAYS) + _LOOK_AFTER_DAYS for plan in plans]
    ends = [max(horizon_days, look) for look in looks]
    days = np.unique([0.0, *looks, *ends])
    left, deaths = np.zeros((2, len(plans), ponds[0][0].size))
    for number, (pond, state) in enumerate(ponds):
        run = _side_by_side(pond, state, plans, days)
        now = state.flukes_per_fish(pond.setting.fish)  # a course's first point is after a dose of that day
        for s, (look, end) in enumerate(zip(looks, ends, strict=True)):
            mine = slice(s * pond.size, (s + 1) * pond.size)
            then = run.abundance[np.searchsorted(days, look), mine]
            ratio = np.divide(then, now, out=np.zeros_like(then), where=now > 1e-9)
            left[s] = np.maximum(left[s], 1000 * ratio)
            # what kills without flukes kills once, however many sets are on the fish
            dead, before = (run.fluke_deaths, state.fluke_deaths) if number else (run.deaths, state.deaths)
            deaths[s] += dead[np.searchsorted(days, end), mine] - before
    return looks, ends, left, deaths


def _side_by_side(pond: Pond, state: State, plans: Sequence[Plan], days: np.ndarray) -> Trajectory:
    """Run every plan in its own columns."""
    columns = np.tile(np.arange(pond.size), len(plans))
    of = np.repeat(np.arange(len(plans)), pond.size)
    wide = pond.take(columns)
    given: dict[tuple[float, str], list[int]] = {}
    for number, plan in enumerate(plans):
        for day, agent in zip(plan.days, plan.agents, strict=True):
            given.setdefault((day, agent), []).append(number)
    doses = [
        Event.dose(day, wide.effects[agent].within(np.isin(of, numbers)), wide.setting.cycle)
        for (day, agent), numbers in sorted(given.items())
    ]
    return simulate(wide.setting, state.take(columns), days, [*wide.given, *doses], COARSE_STEP_DAYS)

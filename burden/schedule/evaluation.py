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

from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.model.forward import COARSE_STEP_DAYS, Event, State, Trajectory, simulate
from burden.utils.results import CredibleInterval, Probability

__all__ = [
    "EvaluatedSchedule",
    "first_draws",
    "judge",
    "judge_runs",
    "judge_untreated",
    "left_per_1000",
    "log_all_gone",
    "looked_at",
]

#: days after the last dose on which what is left is counted
_LOOK_AFTER_DAYS = 1.0


@dataclass(frozen=True)
class EvaluatedSchedule:
    """A schedule and what it does.

    Parameters
    ----------
    plan : DoseSchedule
    elimination : Probability
        Both brakes off.
    left_per_1000 : CredibleInterval
        Flukes on a live fish a day after the last dose, of 1,000 today.
    deaths : CredibleInterval
        Fish dead by `deaths_by_day`, from the visit.
    """

    plan: DoseSchedule
    elimination: Probability
    left_per_1000: CredibleInterval
    deaths: CredibleInterval
    deaths_by_day: float

    @property
    def doses(self) -> int:
        """Number of doses."""
        return len(self.plan.days)

    def text(self) -> str:
        """Return the schedule and what it does in words."""
        named = [f"{agent} on day {day:g}" for day, agent in zip(self.plan.days, self.plan.agents, strict=True)]
        left = f"; {self.left_per_1000.text()} of 1 000 flukes left on the fish the day after the last" if named else ""
        return (
            f"{', '.join(named) or 'no dose'}{left}; {self.deaths.text()} fish dead by day {self.deaths_by_day:g}; "
            f"rid of the flukes in {100 * self.elimination.mean:.0f} of 100"
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "days": list(self.plan.days),
            "agents": list(self.plan.agents),
            "elimination_probability": self.elimination.as_dict(),
            "left_per_1000": self.left_per_1000.as_dict(),
            "deaths": self.deaths.as_dict(),
        }


def first_draws(ponds: Sequence[Posterior], most: int) -> list[Posterior]:
    """Return ponds and states with at most so many of their draws, the first."""
    few = np.arange(min(most, ponds[0][0].size))
    return [posterior.take(few) for posterior in ponds]


def log_all_gone(ponds: Sequence[Posterior], plans: Sequence[DoseSchedule]) -> np.ndarray:
    """Log-probability that all sets are gone by each plan, both brakes off, shape (S, M).

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each.
    plans : sequence of DoseSchedule
        S of them.
    """
    return reduce(np.add, (eliminations(pond.setting, state, plans, pond.effects) for pond, state in ponds))


def judge(
    ponds: Sequence[Posterior],
    plans: Sequence[DoseSchedule],
    horizon_days: float,
    eliminated: np.ndarray | None = None,
) -> list[EvaluatedSchedule]:
    """Judge schedules by the forward and the backward equations.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each.
    plans : sequence of DoseSchedule
        S of them.
    horizon_days : float
        Deaths are counted up to here, or to the day after the last dose where that is later [d].
    eliminated : numpy.ndarray, optional
        Probability that all sets are gone, shape (S, M), where it is known already.

    Returns
    -------
    list of EvaluatedSchedule
        One a plan.
    """
    if eliminated is None:
        eliminated = np.exp(log_all_gone(ponds, plans))
    counted = _side_by_side(ponds, plans, horizon_days)
    return [one.judged(gone, horizon_days) for one, gone in zip(counted, eliminated, strict=True)]


def judge_untreated(ponds: Sequence[Posterior], horizon_days: float) -> tuple[EvaluatedSchedule, np.ndarray]:
    """Judge doing nothing, and return what is left at the horizon of 1,000 flukes on a live fish today, shape (M,).

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each; the set that has most left counts.
    horizon_days : float
        [d]
    """
    plan = DoseSchedule((), ())
    (counted,) = _side_by_side(ponds, [plan], horizon_days)
    gone = np.exp(log_all_gone(ponds, [plan]))[0]
    return counted.judged(gone, horizon_days), counted.left(horizon_days)


def judge_runs(
    ponds: Sequence[Posterior],
    plan: DoseSchedule,
    runs: Sequence[Trajectory],
    horizon_days: float,
    eliminated: np.ndarray,
) -> EvaluatedSchedule:
    """Judge a schedule whose runs there are already.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each.
    plan : DoseSchedule
    runs : sequence of Trajectory
        One a parasite set, with a row on the day of `looked_at` and one at the horizon.
    horizon_days : float
        As `judge` takes it [d].
    eliminated : numpy.ndarray
        Probability that all sets are gone, shape (M,).
    """
    return _Counted(ponds, plan, runs, slice(None)).judged(eliminated, horizon_days)


def looked_at(plan: DoseSchedule) -> float:
    """Return the day on which what a plan left is counted [d]: that after the last dose, day 0 without any."""
    return max(plan.days, default=-_LOOK_AFTER_DAYS) + _LOOK_AFTER_DAYS


def left_per_1000(ponds: Sequence[Posterior], plans: Sequence[DoseSchedule]) -> np.ndarray:
    """Flukes on a live fish a day after the last dose, of 1,000 before the first, shape (S, M).

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each; the set that has most left counts.
    plans : sequence of DoseSchedule
        S of them.
    """
    return np.array([one.left(looked_at(one.plan)) for one in _side_by_side(ponds, plans, 0.0)])


@dataclass(frozen=True)
class _Counted:
    """What one schedule did: its columns of one run a parasite set."""

    ponds: Sequence[Posterior]
    plan: DoseSchedule
    runs: Sequence[Trajectory]
    columns: slice

    def judged(self, eliminated: np.ndarray, horizon_days: float) -> EvaluatedSchedule:
        look = looked_at(self.plan)
        end = max(horizon_days, look)
        left, dead = CredibleInterval.of(self.left(look)), CredibleInterval.of(self.dead(end))
        return EvaluatedSchedule(self.plan, Probability.of(eliminated), left, dead, float(end))

    def left(self, day: float) -> np.ndarray:
        """Flukes on a live fish of 1,000 before the first dose, of the set that has most left, (M,)."""
        left = np.zeros(self.ponds[0][0].size)
        for (pond, state), run in zip(self.ponds, self.runs, strict=True):
            now = state.flukes_per_fish(pond.setting.fish)  # a course's first point is after a dose of that day
            then = run.abundance[np.searchsorted(run.days, day), self.columns]
            left = np.maximum(left, 1000 * np.divide(then, now, out=np.zeros_like(then), where=now > 1e-9))
        return left

    def dead(self, day: float) -> np.ndarray:
        """Fish dead from the visit on, (M,); what kills without flukes kills once, however many sets are on them."""
        total = np.zeros(self.ponds[0][0].size)
        for number, ((_, state), run) in enumerate(zip(self.ponds, self.runs, strict=True)):
            died, before = (run.fluke_deaths, state.fluke_deaths) if number else (run.deaths, state.deaths)
            total += died[np.searchsorted(run.days, day), self.columns] - before
        return total


def _side_by_side(ponds: Sequence[Posterior], plans: Sequence[DoseSchedule], horizon_days: float) -> list[_Counted]:
    """Run every plan in its own columns, to the horizon or to the day it is looked at."""
    looks = [looked_at(plan) for plan in plans]
    days = np.unique([0.0, *looks, *(max(horizon_days, look) for look in looks)])
    runs = [_run(pond, state, plans, days) for pond, state in ponds]
    size = ponds[0][0].size
    return [_Counted(ponds, plan, runs, slice(s * size, (s + 1) * size)) for s, plan in enumerate(plans)]


def _run(pond: Ensemble, state: State, plans: Sequence[DoseSchedule], days: np.ndarray) -> Trajectory:
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

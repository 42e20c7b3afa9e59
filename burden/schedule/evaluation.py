"""What schedules do to a pond: whether the aim is met, who dies, what is left, and the chance that all flukes are gone.

Many schedules run side by side along the axis of draws, each dose acting in the columns of its own schedule alone:
so many columns cost little more than those of one, and all are compared on the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior, side_by_side
from burden.model.demographic_noise import whole_deaths
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.model.forward import COARSE_STEP_DAYS, Event, State, Trajectory, simulate
from burden.schedule.aim import Aim, check_day, check_days
from burden.utils.results import CredibleInterval, Probability, number

__all__ = [
    "TIE",
    "EvaluatedSchedule",
    "beats",
    "evaluate",
    "evaluate_each",
    "first_draws",
    "left_per_1000",
    "log_all_gone",
    "looked_at",
    "run_beside",
    "with_elimination",
]

#: days after the last dose on which what is left is counted, for the share left
_LOOK_AFTER_DAYS = 1.0
#: days between two looks at the burden from the check day on: burdens move over weeks [d]
_EVERY_DAYS = 3.0
#: a chance higher by less than this is no better: an assumption about what a vet would act on [-]
TIE = 0.02
#: a difference smaller than so many of its standard errors is not shown by the draws
_STANDARD_ERRORS = 2.0
#: columns run together: beyond this arrays no longer fit the processor's cache
_MOST_COLUMNS = 4000


@dataclass(frozen=True, eq=False)
class EvaluatedSchedule:
    """A schedule and what it does.

    Parameters
    ----------
    plan : DoseSchedule
    check_day, end_day : float
        The burden has to be low from the one to the other; on the day of the harvest alone, where the fish are
        harvested before anybody can judge it [d].
    kept : numpy.ndarray
        Chance, draw by draw, that it is, shape (M,).
    highest : tuple of CredibleInterval
        Highest mean burden in those days, one a parasite set [flukes per fish].
    left_per_1000 : CredibleInterval
        Flukes on a live fish a day after the last dose, of 1,000 today.
    deaths, fluke_deaths, other_deaths : CredibleInterval
        Whole fish dead by the horizon, or by the harvest of all fish before it: all, by flukes, and by everything
        else.
    dead_by_flukes, mean_fluke_deaths : numpy.ndarray
        Whole fish that flukes kill by the horizon, with the same luck in every schedule, and how many they are
        expected to kill, shape (M,) each.
    days : numpy.ndarray
        Days from the visit on which the burden is known, rising, shape (K,) [d].
    burden : tuple of numpy.ndarray
        Mean burden on those days, one a parasite set, shape (K, M) each [flukes per fish].
    gone : numpy.ndarray or None
        Chance, draw by draw, that no fluke, egg or larva is left a year after the last dose, both brakes off, shape
        (M,); None where it was not asked for.
    """

    plan: DoseSchedule
    check_day: float
    end_day: float
    kept: np.ndarray = field(repr=False)
    highest: tuple[CredibleInterval, ...]
    left_per_1000: CredibleInterval
    deaths: CredibleInterval
    fluke_deaths: CredibleInterval
    other_deaths: CredibleInterval
    dead_by_flukes: np.ndarray = field(repr=False)
    mean_fluke_deaths: np.ndarray = field(repr=False)
    days: np.ndarray = field(repr=False)
    burden: tuple[np.ndarray, ...] = field(repr=False)
    gone: np.ndarray | None = field(default=None, repr=False)

    @property
    def doses(self) -> int:
        """Number of doses."""
        return len(self.plan.days)

    @property
    def elimination(self) -> Probability:
        """Chance that nothing is left a year after the last dose, both brakes off."""
        return Probability.missing() if self.gone is None else Probability.of(self.gone)

    def burden_on(self, day: float) -> tuple[np.ndarray, ...]:
        """Return the mean burden on the first known day from `day` on, one a parasite set, shape (M,) each."""
        row = min(int(np.searchsorted(self.days, day)), len(self.days) - 1)
        return tuple(burden[row] for burden in self.burden)

    def highest_from(self, day: float) -> tuple[np.ndarray, ...]:
        """Return the highest mean burden from a day on to the last on which it has to be low, (M,) a parasite set."""
        first = min(int(np.searchsorted(self.days, day)), len(self.days) - 1)
        last = max(int(np.searchsorted(self.days, self.end_day, side="right")), first + 1)
        return tuple(burden[first:last].max(0) for burden in self.burden)

    def reached(self, aim: Aim) -> np.ndarray:
        """Chance, draw by draw, of reaching an aim, shape (M,)."""
        if aim.kind == "control":
            return self.kept
        if self.gone is None:
            raise ValueError("elimination was not worked out for this schedule: ask `with_elimination` first")
        return self.gone

    def chance(self, aim: Aim) -> float:
        """Chance of reaching an aim, over all draws [-]."""
        return float(np.mean(self.reached(aim)))

    def meets(self, aim: Aim) -> bool:
        """Whether it reaches an aim with the chance that the aim asks for."""
        return self.chance(aim) >= aim.chance

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "days": list(self.plan.days),
            "agents": list(self.plan.agents),
            "control_chance": number(float(np.mean(self.kept))),
            "check_day": self.check_day,
            "end_day": self.end_day,
            "highest_burden_from_check_day": [level.as_dict() for level in self.highest],
            "elimination_probability": self.elimination.as_dict(),
            "left_per_1000": self.left_per_1000.as_dict(),
            "deaths": self.deaths.as_dict(),
            "fluke_deaths": self.fluke_deaths.as_dict(),
            "other_deaths": self.other_deaths.as_dict(),
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


def evaluate(ponds: Sequence[Posterior], plans: Sequence[DoseSchedule], aim: Aim) -> list[EvaluatedSchedule]:
    """Evaluate schedules by the forward equations; for eradication by the backward ones as well.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set, M draws each.
    plans : sequence of DoseSchedule
        S of them, none too; doses on whole days.
    aim : Aim

    Returns
    -------
    list of EvaluatedSchedule
        One a plan, all on the same draws.
    """
    if not plans:
        return []
    waits = check_days(ponds, (max(plan.days, default=0.0) for plan in plans))
    found: list[EvaluatedSchedule] = []
    many = max(_MOST_COLUMNS // max(ponds[0][0].size, 1), 1)
    for start in range(0, len(plans), many):
        some = plans[start : start + many]
        checks = [waits[max(plan.days, default=0.0)] for plan in some]
        found += _side_by_side([ponds] * len(some), some, checks, aim)
    return with_elimination(ponds, found) if aim.kind == "eradicate" else found


def evaluate_each(
    ways: Sequence[Sequence[Posterior]], plans: Sequence[DoseSchedule], aim: Aim
) -> list[EvaluatedSchedule]:
    """Evaluate schedules each in ponds of its own, which differ as `side_by_side` lets them.

    Parameters
    ----------
    ways : sequence of sequence of Posterior
        S ways the ponds may turn out, one a parasite set each, with the same states.
    plans : sequence of DoseSchedule
        S of them.
    aim : Aim
    """
    checks = [check_day(ponds, plan) for ponds, plan in zip(ways, plans, strict=True)]
    found = _side_by_side(ways, plans, checks, aim)
    if aim.kind != "eradicate":
        return found
    return [with_elimination(ponds, [one])[0] for ponds, one in zip(ways, found, strict=True)]


def with_elimination(ponds: Sequence[Posterior], schedules: Sequence[EvaluatedSchedule]) -> list[EvaluatedSchedule]:
    """Return schedules with the chance that nothing is left a year on, worked out for those without it in one walk.

    Parameters
    ----------
    ponds : sequence of Posterior
        Those the schedules were evaluated on.
    schedules : sequence of EvaluatedSchedule
    """
    plans = list(dict.fromkeys(one.plan for one in schedules if one.gone is None))
    if not plans:
        return list(schedules)
    gone = dict(zip(plans, np.exp(log_all_gone(ponds, plans)), strict=True))
    return [one if one.gone is not None else replace(one, gone=gone[one.plan]) for one in schedules]


def beats(one: EvaluatedSchedule, other: EvaluatedSchedule, aim: Aim) -> bool:
    """Whether the draws show that one schedule reaches the aim more often than another.

    Parameters
    ----------
    one, other : EvaluatedSchedule
        On the same draws.
    aim : Aim
    """
    gain = one.reached(aim) - other.reached(aim)
    error = float(np.std(gain) / np.sqrt(gain.size))
    return float(np.mean(gain)) > max(TIE, _STANDARD_ERRORS * error)


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
    days = np.unique([0.0, *(looked_at(plan) for plan in plans)])
    counted = _counted([ponds] * len(plans), plans, days)
    return np.array([one.left(looked_at(one.plan)) for one in counted])


@dataclass(frozen=True)
class _Counted:
    """What one schedule did: its columns of one run a parasite set."""

    ponds: Sequence[Posterior]
    plan: DoseSchedule
    runs: Sequence[Trajectory]
    columns: slice

    def evaluated(self, check: float, end: float, aim: Aim) -> EvaluatedSchedule:
        highest = self.highest(min(check, end), end)
        by_flukes, expected = self.dead(aim.deaths_until_day)
        flukes, every = (self.whole(number_) for number_ in (by_flukes, expected))
        return EvaluatedSchedule(
            plan=self.plan,
            check_day=check,
            end_day=end,
            kept=aim.share_kept(highest),
            highest=tuple(CredibleInterval.of(burden) for burden in highest),
            left_per_1000=CredibleInterval.of(self.left(looked_at(self.plan))),
            deaths=CredibleInterval.of(every),
            fluke_deaths=CredibleInterval.of(flukes),
            other_deaths=CredibleInterval.of(every - flukes),
            dead_by_flukes=flukes,
            mean_fluke_deaths=by_flukes,
            days=self.runs[0].days,
            burden=tuple(run.abundance[:, self.columns] for run in self.runs),
        )

    def highest(self, start: float, end: float) -> list[np.ndarray]:
        """Highest mean burden between two days, one a parasite set, (M,) each."""
        found = []
        for run in self.runs:
            rows = (run.days >= start) & (run.days <= end)
            found.append(run.abundance[rows, self.columns].max(0))
        return found

    def left(self, day: float) -> np.ndarray:
        """Flukes on a live fish of 1,000 before the first dose, of the set that has most left, (M,)."""
        left = np.zeros(self.ponds[0][0].size)
        for (pond, state), run in zip(self.ponds, self.runs, strict=True):
            now = state.flukes_per_fish(pond.setting.fish)  # a course's first point is after a dose of that day
            then = run.abundance[np.searchsorted(run.days, day), self.columns]
            left = np.maximum(left, 1000 * np.divide(then, now, out=np.zeros_like(then), where=now > 1e-9))
        return left

    def dead(self, day: float) -> tuple[np.ndarray, np.ndarray]:
        """Fish that flukes, and that flukes and all else, are expected to have killed since the visit, (M,) each.

        What kills without flukes kills once, however many sets are on the fish.
        """
        row = np.searchsorted(self.runs[0].days, day)
        each = [
            run.fluke_deaths[row, self.columns] - state.fluke_deaths
            for (_, state), run in zip(self.ponds, self.runs, strict=True)
        ]
        others = self.runs[0].deaths[row, self.columns] - self.ponds[0].state.deaths - each[0]
        flukes = np.sum(each, axis=0)
        return flukes, flukes + others

    def whole(self, expected: np.ndarray) -> np.ndarray:
        """Whole fish: the same fish have the same luck whatever is done, and those flukes kill are among all dead."""
        fish = round(float(self.ponds[0].state.alive.sum((0, 1)).max()))
        return whole_deaths(expected[None, :], fish, self.ponds[0].pond.seed)[0]


def _side_by_side(
    ways: Sequence[Sequence[Posterior]], plans: Sequence[DoseSchedule], checks: Sequence[float], aim: Aim
) -> list[EvaluatedSchedule]:
    """Evaluate every plan in its own columns, from its check day to the end that the aim has for it."""
    ends = [aim.end_day(plan, check) for plan, check in zip(plans, checks, strict=True)]
    looks = np.arange(0.0, max(*ends, aim.horizon_days), _EVERY_DAYS)
    days = np.unique(
        [0.0, aim.horizon_days, aim.deaths_until_day, *checks, *ends, *looks, *(looked_at(plan) for plan in plans)]
    )
    counted = _counted(ways, plans, days)
    return [one.evaluated(check, end, aim) for one, check, end in zip(counted, checks, ends, strict=True)]


def _counted(ways: Sequence[Sequence[Posterior]], plans: Sequence[DoseSchedule], days: np.ndarray) -> list[_Counted]:
    sets = range(len(ways[0]))
    runs = [run_beside([ponds[i].pond for ponds in ways], ways[0][i].state, plans, days) for i in sets]
    size = ways[0][0].pond.size
    return [
        _Counted(ponds, plan, runs, slice(s * size, (s + 1) * size))
        for s, (ponds, plan) in enumerate(zip(ways, plans, strict=True))
    ]


def run_beside(ponds: Sequence[Ensemble], state: State, plans: Sequence[DoseSchedule], days: np.ndarray) -> Trajectory:
    """Run schedules side by side, each in the columns of its own pond.

    Parameters
    ----------
    ponds : sequence of Ensemble
        S of them, M draws each, as `side_by_side` takes them.
    state : State
        Of all of them on the first day.
    plans : sequence of DoseSchedule
        S of them.
    days : numpy.ndarray
        Days to report [d].

    Returns
    -------
    Trajectory
        Of S·M columns, M a schedule.
    """
    of, columns = np.divmod(np.arange(len(plans) * ponds[0].size), ponds[0].size)
    wide = side_by_side(ponds)
    given: dict[tuple[float, str], list[int]] = {}
    for number_, plan in enumerate(plans):
        for day, agent in zip(plan.days, plan.agents, strict=True):
            given.setdefault((day, agent), []).append(number_)
    doses = [
        Event.dose(day, wide.effects[agent].within(np.isin(of, numbers)), wide.setting.cycle)
        for (day, agent), numbers in sorted(given.items())
    ]
    return simulate(wide.setting, state.take(columns), days, [*wide.given, *doses], COARSE_STEP_DAYS)

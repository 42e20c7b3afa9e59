"""The day on which a late dose becomes a mistake, for each dose of a schedule that follows another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.evaluation import first_draws, left_per_1000, log_all_gone
from burden.schedule.fixed_interval import CONTROL_PER_1000
from burden.utils.results import CredibleInterval

__all__ = ["DELAYS_DAYS", "LATE_DRAWS", "MISTAKE_FACTOR", "RARER", "LateDose", "first_delay", "late_doses"]

#: delays judged, a dose and all that follow it [d]; what lies between is read off a straight line
DELAYS_DAYS = (1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 14.0)
#: a late dose is a mistake where it leaves so many times what it leaves in time, and more than control allows
MISTAKE_FACTOR = 2.0
#: fall of the mean probability of elimination that counts [-]
RARER = 0.05
LATE_DRAWS = 40


@dataclass(frozen=True)
class LateDose:
    """One dose of a schedule, given late.

    Parameters
    ----------
    number : int
        2 for the second dose.
    day : float
        Its day in the schedule, from the visit [d].
    settlers_lay_from_day : CredibleInterval
        Day from which larvae that settled after the dose before, or sat too young for it, lay; not a number for
        live-bearers, whose young are born on the fish [d].
    mistake_from_day : CredibleInterval
        Day from which giving it leaves more than 10 of 1,000 flukes and twice as many as in time; the day 14 d late
        where that comes later, or never [d].
    mistake_within : float
        Share of draws in which it is a mistake within 14 d [-].
    rarer_from_day : float or None
        First day judged on which the mean probability of elimination is lower than in time by `RARER` or more; None
        where 14 d late it is not [d].
    """

    number: int
    day: float
    settlers_lay_from_day: CredibleInterval
    mistake_from_day: CredibleInterval
    mistake_within: float
    rarer_from_day: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "dose": self.number,
            "day": self.day,
            "settlers_lay_from_day": self.settlers_lay_from_day.as_dict(),
            "mistake_from_day": self.mistake_from_day.as_dict(),
            "mistake_within_14_days_probability": self.mistake_within,
            "elimination_rarer_from_day": self.rarer_from_day,
        }


def late_doses(ponds: Sequence[Posterior], plan: DoseSchedule, draws: int = LATE_DRAWS) -> tuple[LateDose, ...]:
    """Find from which day on each next dose is too late.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set.
    plan : DoseSchedule
        Doses after a late one are taken to keep their distance from it.
    draws : int
        At most so many.

    Returns
    -------
    tuple of LateDose
        One a dose after the first.
    """
    if len(plan.days) < 2:
        return ()
    ponds = first_draws(ponds, draws)
    late = [_late(plan, which, delay) for which in range(1, len(plan.days)) for delay in DELAYS_DAYS]
    left = left_per_1000(ponds, [plan, *late])
    gone = np.exp(log_all_gone(ponds, [plan, *late])).mean(1)
    each = left[1:].reshape(len(plan.days) - 1, len(DELAYS_DAYS), -1)
    rid = gone[1:].reshape(len(plan.days) - 1, -1)
    return tuple(
        replace(_of_one(ponds, plan, i, left[0], each[i - 1]), rarer_from_day=_rarer(plan.days[i], gone[0], rid[i - 1]))
        for i in range(1, len(plan.days))
    )


def _rarer(day: float, in_time: float, late: np.ndarray) -> float | None:
    """First day judged on which the pond is rid of them more rarely than may be."""
    return next((float(day + d) for d, p in zip(DELAYS_DAYS, late, strict=True) if p <= in_time - RARER), None)


def _late(plan: DoseSchedule, which: int, delay: float) -> DoseSchedule:
    return DoseSchedule((*plan.days[:which], *(day + delay for day in plan.days[which:])), plan.agents)


def _of_one(
    ponds: Sequence[Posterior], plan: DoseSchedule, which: int, in_time: np.ndarray, left: np.ndarray
) -> LateDose:
    delays = first_delay(in_time, left)
    day = plan.days[which]
    lay = [_lay_from(pond, plan, which) for pond, _ in ponds]
    first = np.fmin.reduce(lay)
    return LateDose(
        number=which + 1,
        day=float(day),
        settlers_lay_from_day=CredibleInterval.of(first),
        mistake_from_day=CredibleInterval.of(day + np.minimum(delays, DELAYS_DAYS[-1])),
        mistake_within=float(np.mean(np.isfinite(delays))),
    )


def first_delay(in_time: np.ndarray, left: np.ndarray) -> np.ndarray:
    """First delay at which more is left than may be, shape (M,) [d]; infinite where none of those judged does it.

    Parameters
    ----------
    in_time : numpy.ndarray
        Left of 1,000 without delay, shape (M,).
    left : numpy.ndarray
        Left at each of `DELAYS_DAYS`, shape (D, M).
    """
    limit = np.maximum(CONTROL_PER_1000, MISTAKE_FACTOR * in_time)
    found = np.full(in_time.shape, np.inf)
    before, at = in_time, 0.0
    for delay, now in zip(DELAYS_DAYS, left, strict=True):
        crossing = np.isinf(found) & (now > limit)
        part = (limit - before) / np.where(crossing, now - before, 1.0)
        found[crossing] = (at + (delay - at) * np.clip(part, 0, 1))[crossing]
        before, at = now, delay
    return found


def _lay_from(pond: Ensemble, plan: DoseSchedule, which: int) -> np.ndarray:
    if not pond.has_windows:
        return np.full(pond.size, np.nan)
    effect, p = pond.effects[plan.agents[which - 1]], pond.setting.parameters
    before = plan.days[which - 1]
    return before + windows_after(p, effect.sheltered_fraction, pond.setting.temperature, before).longest_safe_gap

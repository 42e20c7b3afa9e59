"""Until when a late dose still serves, for each dose of a schedule that follows another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import safe_gap_after
from burden.schedule.aim import Aim
from burden.schedule.evaluation import EvaluatedSchedule, beats, evaluate, first_draws
from burden.schedule.what_if import postponed
from burden.utils.results import CredibleInterval

__all__ = ["DELAYS_DAYS", "LATE_DRAWS", "LateDose", "late_doses"]

#: delays tried, a dose and all that follow it [d]
DELAYS_DAYS = (1.0, 2.0, 4.0, 7.0, 10.0)
#: draws they are tried on; what is lost against the same draws in time is taken off the chance in time
LATE_DRAWS = 150


@dataclass(frozen=True)
class LateDose:
    """One dose of a schedule, given late.

    Parameters
    ----------
    number : int
        Place in the schedule from today on: 2 for its second dose.
    day : float
        Its day in the schedule, from the visit [d].
    settlers_lay_from_day : CredibleInterval
        Day from which larvae that settled after the dose before, or sat too young for it, lay; not a number for
        live-bearers, whose young are born on the fish [d].
    aim_met_until_day : float or None
        Last day tried on which the aim is still met with the chance it asks for; None where it is not even in time
        [d].
    worse_from_day : float or None
        First day tried on which the draws show a lower chance than in time; None where the longest does not [d].
    chances : tuple of float
        Chance of the aim in time, and at each of `DELAYS_DAYS` [-].
    """

    number: int
    day: float
    settlers_lay_from_day: CredibleInterval
    aim_met_until_day: float | None
    worse_from_day: float | None
    chances: tuple[float, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "dose": self.number,
            "day": self.day,
            "settlers_lay_from_day": self.settlers_lay_from_day.as_dict(),
            "aim_met_until_day": self.aim_met_until_day,
            "worse_from_day": self.worse_from_day,
            "delays_days": [0.0, *DELAYS_DAYS],
            "chances": list(self.chances),
        }


def late_doses(ponds: Sequence[Posterior], planned: EvaluatedSchedule, aim: Aim) -> tuple[LateDose, ...]:
    """Find until when each next dose may wait.

    Parameters
    ----------
    ponds : sequence of Posterior
        Those the schedule was evaluated on.
    planned : EvaluatedSchedule
        Doses after a late one are taken to keep their distance from it.
    aim : Aim

    Returns
    -------
    tuple of LateDose
        One a dose after the first.
    """
    which = range(1, planned.doses)
    late = [postponed(planned.plan, i, delay) for i in which for delay in DELAYS_DAYS]
    if not late:
        return ()
    few = first_draws(ponds, LATE_DRAWS)
    in_time, *found = evaluate(few, [planned.plan, *late], aim)
    size = len(DELAYS_DAYS)
    return tuple(_of_one(few, planned, in_time, i, found[(i - 1) * size : i * size], aim) for i in which)


def _of_one(
    ponds: Sequence[Posterior],
    planned: EvaluatedSchedule,
    in_time: EvaluatedSchedule,
    which: int,
    late: Sequence[EvaluatedSchedule],
    aim: Aim,
) -> LateDose:
    day = planned.plan.days[which]
    lay = np.fmin.reduce([_lay_from(pond, planned.plan, which) for pond, _ in ponds])
    whole, part = planned.chance(aim), in_time.chance(aim)
    chances = [whole, *(max(whole + one.chance(aim) - part, 0.0) for one in late)]
    met = 0
    while met < len(chances) and chances[met] >= aim.chance:
        met += 1
    worse = next((d for d, one in zip(DELAYS_DAYS, late, strict=True) if beats(in_time, one, aim)), None)
    return LateDose(
        number=which + 1,
        day=float(day),
        settlers_lay_from_day=CredibleInterval.of(lay),
        aim_met_until_day=day + (0.0, *DELAYS_DAYS)[met - 1] if met else None,
        worse_from_day=None if worse is None else day + worse,
        chances=tuple(chances),
    )


def _lay_from(pond: Ensemble, plan: DoseSchedule, which: int) -> np.ndarray:
    if not pond.has_windows:
        return np.full(pond.size, np.nan)
    effect, p = pond.effects[plan.agents[which - 1]], pond.setting.parameters
    before = plan.days[which - 1]
    return before + safe_gap_after(p, effect.sheltered_fraction, pond.setting.temperature, before)

"""Doses for eggs that cold water keeps waiting: when they hatch, and when the doses that meet them have to go in.

A course that ends before the eggs hatch leaves few flukes on the fish whatever it is worth: who was to come has not
come yet. Dates follow from rates summed over the case's own water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.forward import COARSE_STEP_DAYS, State, simulate
from burden.model.windows import MAX_DAYS, Windows, windows_after
from burden.utils.results import CredibleInterval

__all__ = ["MOST_LATER_DOSES", "DelayedHatch", "later_doses"]

#: later doses dated at most: beyond them the fish are looked at anew
MOST_LATER_DOSES = 4


@dataclass(frozen=True)
class DelayedHatch:
    """Eggs that have not hatched when a course ends, and the doses for them.

    Parameters
    ----------
    parasite : str
    eggs_per_1000 : CredibleInterval
        Eggs in the water a day after the last dose, for 1,000 flukes on the fish today.
    hatched_share : float
        Share of the eggs laid today that hatch by then, median [-].
    hatch_from_day, hatch_until_day : CredibleInterval
        1 % of the eggs laid today, and 99 % of those laid up to the last dose, have hatched; infinite where the water
        is too cold for 400 d [d].
    days : tuple of CredibleInterval
        Latest days of the later doses: no settler can lay before the first, none between them, and the last finds
        every larva settled and out of its shelter [d].
    """

    parasite: str
    eggs_per_1000: CredibleInterval
    hatched_share: float
    hatch_from_day: CredibleInterval
    hatch_until_day: CredibleInterval
    days: tuple[CredibleInterval, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "parasite": self.parasite,
            "eggs_per_1000": self.eggs_per_1000.as_dict(),
            "hatched_share": self.hatched_share,
            "hatch_from_day": self.hatch_from_day.as_dict(),
            "hatch_until_day": self.hatch_until_day.as_dict(),
            "days": [day.as_dict() for day in self.days],
        }


def later_doses(ponds: Sequence[Posterior], plan: DoseSchedule) -> DelayedHatch | None:
    """Date the doses for eggs that wait beyond a course; None where most have hatched by its end, or lay none.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set.
    plan : DoseSchedule
        The course.
    """
    look = max(plan.days, default=0.0) + 1.0
    for pond, state in ponds:
        if not pond.has_windows:
            continue
        today = _windows(pond, plan, 0.0)
        if np.median(today.mean_hatch) > look:
            return _dated(pond, state, plan, look, today.first_hatch)
    return None


def _windows(pond: Ensemble, plan: DoseSchedule, day: float) -> Windows:
    effect = pond.effects[plan.agents[-1]]
    return windows_after(pond.setting.parameters, effect.sheltered_fraction, pond.setting.temperature, day)


def _dated(pond: Ensemble, state: State, plan: DoseSchedule, look: float, first: np.ndarray) -> DelayedHatch:
    last = plan.days[-1] + _windows(pond, plan, plan.days[-1]).last_hatch
    days = _dates(pond, plan, first, last) if np.isfinite(np.median(first)) else ()
    return DelayedHatch(
        parasite=pond.parasite,
        eggs_per_1000=CredibleInterval.of(_eggs_left(pond, state, plan, look)),
        hatched_share=_hatched(pond, look),
        hatch_from_day=CredibleInterval.of(first),
        hatch_until_day=CredibleInterval.of(last),
        days=days,
    )


def _dates(pond: Ensemble, plan: DoseSchedule, first: np.ndarray, last: np.ndarray) -> tuple[CredibleInterval, ...]:
    """Latest dates: a longest safe gap apart from the first settlers on, until the last larva is out of shelter."""
    found: list[CredibleInterval] = []
    day = first
    end = min(float(np.median(last)), MAX_DAYS)
    while len(found) < MOST_LATER_DOSES:
        middle = float(np.median(day))
        if middle >= MAX_DAYS:
            break
        w = _windows(pond, plan, middle)
        found.append(CredibleInterval.of(day + w.longest_safe_gap))
        if found[-1].median >= end + float(np.median(w.larval_life + w.sheltered_age)):
            break
        day = day + w.longest_safe_gap
    return tuple(found)


def _hatched(pond: Ensemble, look: float) -> float:
    """Share of the eggs laid today that hatch by `look`, in the median draw."""
    from scipy.special import gammainc

    hatch, course = pond.setting.parameters.of_eggs.hatch, pond.setting.temperature
    middles = np.arange(0.25, look, 0.5)
    done = 0.5 * sum(hatch.rate(course.at(day)) for day in middles)
    shape = hatch.shape_at(course.at(0.0))
    return float(np.median(gammainc(shape, done * shape)))


def _eggs_left(pond: Ensemble, state: State, plan: DoseSchedule, look: float) -> np.ndarray:
    """Eggs in the water on a day, for 1,000 flukes on the fish today, shape (M,)."""
    doses = pond.doses(plan.days, plan.agents)
    run = simulate(pond.setting, state, np.array([0.0, look]), [*pond.given, *doses], COARSE_STEP_DAYS)
    eggs = sum(chain.sum(0) for form, chain in run.end.water.items() if form.endswith("egg"))
    flukes = state.flukes(pond.setting.fish)
    return 1000 * np.divide(eggs, flukes, out=np.zeros_like(eggs), where=flukes > 1e-9)

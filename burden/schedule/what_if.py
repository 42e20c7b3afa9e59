"""If it turns out otherwise: the recommended schedule in other water, given late, or killing less."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import safe_gap_after
from burden.schedule.aim import Aim
from burden.schedule.evaluation import EvaluatedSchedule, evaluate_each
from burden.utils.results import number

__all__ = ["COLDER_C", "LATE_DAYS", "WhatIf", "postponed", "shifted", "weakened", "what_ifs"]

COLDER_C, LATE_DAYS = 3.0, 2.0
_ATTACHED = ("adult", "juvenile", "young", "mother")


@dataclass(frozen=True)
class WhatIf:
    """One way things may turn out.

    Parameters
    ----------
    code : str
        as_planned, colder, warmer, late or weaker.
    by : float
        How much: [°C], [d], or the share then killed [-]; 0 as planned.
    was : float
        What it was: the share killed as planned, for weaker; 0 otherwise.
    schedule : EvaluatedSchedule
    chance : float
        Of reaching the aim [-].
    safe_gap_days : float or None
        Longest gap at which no settler can lay, median [d]; None for live-bearers.
    """

    code: str
    by: float
    was: float
    schedule: EvaluatedSchedule
    chance: float
    safe_gap_days: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "name": self.code,
            "by": self.by,
            "was": self.was,
            "chance": self.chance,
            "left_per_1000": self.schedule.left_per_1000.as_dict(),
            "elimination_probability": self.schedule.elimination.as_dict(),
            "longest_safe_gap_days": number(self.safe_gap_days),
        }


def what_ifs(ponds: Sequence[Posterior], planned: EvaluatedSchedule, aim: Aim) -> tuple[WhatIf, ...]:
    """Evaluate a schedule as it may turn out.

    Parameters
    ----------
    ponds : sequence of Posterior
        Those the schedule was evaluated on.
    planned : EvaluatedSchedule
        Kept to in every case but that of the late dose.
    aim : Aim

    Returns
    -------
    tuple of WhatIf
        As planned first.
    """
    kill = _kill(ponds[0].pond, planned.plan)
    less = 0.9 if kill > 0.91 else 0.8 * kill
    more = (1 - less) / max(1 - kill, 1e-6)
    changes: list[tuple[str, float, float, Callable[[Ensemble], Ensemble], DoseSchedule]] = [
        ("colder", COLDER_C, 0.0, lambda p: shifted(p, -COLDER_C), planned.plan),
        ("warmer", COLDER_C, 0.0, lambda p: shifted(p, COLDER_C), planned.plan),
        ("late", LATE_DAYS, 0.0, lambda p: p, postponed(planned.plan, min(1, planned.doses - 1), LATE_DAYS)),
        ("weaker", less, kill, lambda p: weakened(p, more), planned.plan),
    ]
    ways = [[Posterior(change(pond), state) for pond, state in ponds] for *_, change, _ in changes]
    found = evaluate_each(ways, [plan for *_, plan in changes], aim)
    rows = [_row("as_planned", 0.0, 0.0, planned, ponds, aim)]
    for (code, by, was, *_), one, changed in zip(changes, found, ways, strict=True):
        rows.append(_row(code, by, was, one, changed, aim))
    return tuple(rows)


def _row(
    code: str, by: float, was: float, evaluated: EvaluatedSchedule, ponds: Sequence[Posterior], aim: Aim
) -> WhatIf:
    return WhatIf(code, by, was, evaluated, evaluated.chance(aim), _safe_gap(ponds[0].pond, evaluated.plan))


def _kill(pond: Ensemble, plan: DoseSchedule) -> float:
    """Mean share of grown flukes that the first dose kills."""
    form = next(form for form in _ATTACHED if any(f.name == form for f in pond.setting.cycle.forms))
    return float(np.mean(pond.effects[plan.agents[0]].kill_of(form)))


def shifted(pond: Ensemble, by_c: float) -> Ensemble:
    """Return the pond with water warmer by so much all along [°C]."""
    return replace(pond, setting=replace(pond.setting, temperature=pond.setting.temperature.shifted(by_c)))


def weakened(pond: Ensemble, more_left: float) -> Ensemble:
    """Return the pond with doses that leave so many times more of what sits on the fish [-]."""

    def weaken(effect: DoseEffect) -> DoseEffect:
        left = {
            form: 1 - np.clip((1 - share) * more_left, 0, 1) if form in _ATTACHED else share
            for form, share in effect.by_form.items()
        }
        return replace(effect, by_form=left)

    return replace(pond, effects={name: weaken(effect) for name, effect in pond.effects.items()})


def postponed(plan: DoseSchedule, which: int, by_days: float) -> DoseSchedule:
    """Return the schedule with one dose late and all after it as far from it as before.

    Parameters
    ----------
    plan : DoseSchedule
    which : int
        0 for the first dose.
    by_days : float
        [d]
    """
    return DoseSchedule((*plan.days[:which], *(day + by_days for day in plan.days[which:])), plan.agents)


def _safe_gap(pond: Ensemble, plan: DoseSchedule) -> float | None:
    if not pond.has_windows:
        return None
    effect, p = pond.effects[plan.agents[0]], pond.setting.parameters
    return float(np.median(safe_gap_after(p, effect.sheltered_fraction, pond.setting.temperature)))

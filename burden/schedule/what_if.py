"""If it turns out otherwise: the recommended schedule in other water, given late, or killing less."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble, Posterior
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.evaluation import first_draws, left_per_1000, log_all_gone
from burden.utils.formatting import plain
from burden.utils.results import CredibleInterval, Probability, number

__all__ = ["OTHERWISE_DRAWS", "WhatIf", "otherwise", "would_change_words"]

OTHERWISE_DRAWS = 60
_COLDER_C, _LATE_DAYS = 3.0, 2.0
_ATTACHED = ("adult", "juvenile", "young", "mother")


@dataclass(frozen=True)
class WhatIf:
    """One way things may turn out.

    Parameters
    ----------
    name : str
        In words.
    left_per_1000 : CredibleInterval
        Flukes left a day after the last dose, of 1,000 today.
    elimination : Probability
        Both brakes off.
    safe_gap_days : float or None
        Longest gap at which no settler can lay, median [d]; None for live-bearers.
    """

    name: str
    left_per_1000: CredibleInterval
    elimination: Probability
    safe_gap_days: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "name": self.name,
            "left_per_1000": self.left_per_1000.as_dict(),
            "elimination_probability": self.elimination.as_dict(),
            "longest_safe_gap_days": number(self.safe_gap_days),
        }


def otherwise(ponds: Sequence[Posterior], plan: DoseSchedule, draws: int = OTHERWISE_DRAWS) -> tuple[WhatIf, ...]:
    """Judge a schedule as it may turn out, with a part of the draws.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set.
    plan : DoseSchedule
        Kept to in every case but that of the late dose.
    draws : int
        At most so many: enough to see a direction, not to rank.

    Returns
    -------
    tuple of WhatIf
        As reckoned first.
    """
    ponds = first_draws(ponds, draws)
    few = np.arange(ponds[0][0].size)
    kill = float(np.mean(ponds[0][0].effects[plan.agents[0]].kill_of(_form(ponds[0][0]))))
    less = 0.9 if kill > 0.91 else 0.8 * kill
    changes = [
        ("as reckoned", 0.0, 1.0),
        (f"water {_COLDER_C:g} °C colder", -_COLDER_C, 1.0),
        (f"water {_COLDER_C:g} °C warmer", _COLDER_C, 1.0),
        (f"{100 * less:.0f} % killed, not {100 * kill:.0f} %", 0.0, (1 - less) / max(1 - kill, 1e-6)),
    ]
    # a change in its own columns each, so that all are judged in one run; the late dose is another plan
    wide = [Posterior(_changed(p, few.size, changes), s.take(np.tile(few, len(changes)))) for p, s in ponds]
    plans = [plan, _late(plan)]
    left, gone = left_per_1000(wide, plans), np.exp(log_all_gone(wide, plans))
    rows = [(name, i, 0) for i, (name, *_) in enumerate(changes)]
    rows.insert(3, (_late_name(plan), 0, 1))
    return tuple(_row(name, wide[0][0], plan, few.size, i, left[s], gone[s]) for name, i, s in rows)


def _changed(pond: Ensemble, size: int, changes: Sequence[tuple[str, float, float]]) -> Ensemble:
    """The pond once a change: with other water, and with doses that leave so many times more."""
    wide = pond.take(np.tile(np.arange(size), len(changes)))
    warmer, more = (np.repeat([change[k] for change in changes], size) for k in (1, 2))
    setting = replace(wide.setting, temperature=wide.setting.temperature.shifted(warmer))
    return _weaker(replace(wide, setting=setting), more)


def _row(
    name: str, pond: Ensemble, plan: DoseSchedule, size: int, i: int, left: np.ndarray, gone: np.ndarray
) -> WhatIf:
    mine = np.arange(i * size, (i + 1) * size)
    return WhatIf(name, CredibleInterval.of(left[mine]), Probability.of(gone[mine]), _safe_gap(pond.take(mine), plan))


def _form(pond: Ensemble) -> str:
    return next(form for form in ("adult", *_ATTACHED) if any(f.name == form for f in pond.setting.cycle.forms))


def _weaker(pond: Ensemble, more_left: np.ndarray) -> Ensemble:
    """Every dose leaves so many times more of what sits on the fish, by draw."""

    def weaken(effect: DoseEffect) -> DoseEffect:
        left = {
            form: 1 - np.clip((1 - share) * more_left, 0, 1) if form in _ATTACHED else share
            for form, share in effect.by_form.items()
        }
        return replace(effect, by_form=left)

    return replace(pond, effects={name: weaken(effect) for name, effect in pond.effects.items()})


def _late_name(plan: DoseSchedule) -> str:
    return f"{'second dose' if len(plan.days) > 1 else 'dose'} {_LATE_DAYS:g} d late"


def _late(plan: DoseSchedule) -> DoseSchedule:
    """One dose late; a later one gives way where it would fall on the same day or before."""
    days = list(plan.days)
    which = 1 if len(days) > 1 else 0
    days[which] += _LATE_DAYS
    for i in range(which + 1, len(days)):
        days[i] = max(days[i], days[i - 1] + 1.0)
    return DoseSchedule(tuple(days), plan.agents)


def _safe_gap(pond: Ensemble, plan: DoseSchedule) -> float | None:
    if not pond.has_windows:
        return None
    effect, p = pond.effects[plan.agents[0]], pond.setting.parameters
    return float(np.median(windows_after(p, effect.sheltered_fraction, pond.setting.temperature).longest_safe_gap))


#: a change by less than this factor is called small: an assumption of wording
_SMALL_FACTOR = 1.25


def would_change_words(rows: Sequence[WhatIf]) -> str:
    """Say what changes, and from what to what, where a schedule turns out otherwise; empty without rows.

    Parameters
    ----------
    rows : sequence of WhatIf
        From `otherwise`, as reckoned first.
    """
    if not rows:
        return ""
    reckoned, others = rows[0], rows[1:]
    base = reckoned.left_per_1000.median
    parts = []
    for row in others:
        left, ratio = row.left_per_1000.median, (row.left_per_1000.median + 1e-9) / (base + 1e-9)
        small = 1 / _SMALL_FACTOR < ratio < _SMALL_FACTOR
        parts.append(
            f"{row.name}: {_round(left)}"
            + (" (hardly a change)" if small else "")
            + f", rid of them in {100 * row.elimination.mean:.0f}"
        )
    return (
        f"as reckoned, with at most {OTHERWISE_DRAWS} draws, the same dates leave {_round(base)} of 1 000 flukes and "
        f"rid the pond of them in {100 * reckoned.elimination.mean:.0f} of 100; {'; '.join(parts)}"
    )


def _round(value: float) -> str:
    return plain(value, 2) if value >= 0.01 else "fewer than 0.01"

"""From look to look a pond strays from the equations: settling comes in waves, fish crowd, rain falls.

A run that must pass exactly through every earlier count takes its own law of growth for more than it is, and pulls
whole counts towards it. So the burden on the fish may step up or down once between two looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from burden.case import Case
from burden.model.forward import Event
from burden.model.lifecycle.transitions import LifeCycle
from burden.utils.random_streams import uniform_draws

__all__ = ["unexplained_changes"]

#: how far the log of a burden strays in a fortnight, as the scale of a Student t of so many degrees of freedom:
#: assumptions. Mostly within half or double, now and then a fifth or fivefold
_STRAYS, _FREEDOM = 0.5, 4.0
_FORTNIGHT_DAYS = 14.0
#: how long before a look all of it has come about: the look then shows it whole [d]
_AHEAD_DAYS = 1.0
#: after so long what strayed has come back to what the pond bears, an assumption [d]
_FORGOTTEN_DAYS = 56.0


def unexplained_changes(
    case: Case, looks: Sequence[date], first_day: float, cycle: LifeCycle, m: int, seed: int
) -> list[Event]:
    """Return a step of the burden shortly before each look but the first, shape (m,) each.

    Parameters
    ----------
    case : Case
    looks : sequence of date
        On which fish were looked at, rising.
    first_day : float
        Of the run; looks before it are none of its [d].
    cycle : LifeCycle
        Whose flukes on the fish change, all stages alike.
    m, seed : int

    Returns
    -------
    list of Event
        None where fish were looked at once: then nothing has been foretold that could have been missed.

    Notes
    -----
    A random walk of the log burden, seen at the looks: its variance grows with the days between them (an assumption).
    """
    days = [float(case.day_of(look)) for look in looks]
    steps = [(a, b) for a, b in pairwise(days) if a >= first_day]
    return [_step(a, b, uniform_draws(f"straying up to {b:g}", m, seed), cycle) for a, b in steps]


def _step(after: float, before: float, rank: np.ndarray, cycle: LifeCycle) -> Event:
    fortnights = min(before - after, _FORGOTTEN_DAYS) / _FORTNIGHT_DAYS
    gone = -np.expm1(np.sqrt(fortnights) * _STRAYS * stdtrit(_FREEDOM, rank))  # below zero: flukes have become more
    return Event(max(0.5 * (after + before), before - _AHEAD_DAYS), dict.fromkeys(cycle.on_fish(), gone))

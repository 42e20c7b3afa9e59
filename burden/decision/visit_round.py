"""Which ponds to look at with so many fish and so many hours: the plan that saves most fish.

Of each pond one look is chosen, or none; each costs fish and minutes, the way there counted once. A knapsack with two
limits and several sizes a pond, solved exactly by dynamic programming (Kellerer, Pferschy and Pisinger 2004, Knapsack
Problems, chapters 9 and 11), so there is nothing between the plan and the best one but the minutes a step stands for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["BestRound", "Choice", "best_round"]

#: cells of the table of one pond, and of all ponds together; a step is a minute until more are needed
_MOST_CELLS, _MOST_IN_ALL = 250_000, 50_000_000


@dataclass(frozen=True)
class Choice:
    """One way to visit a pond: so many fish, so many minutes with the way there, and what it saves [fish]."""

    fish: int
    minutes: float
    value: float


@dataclass(frozen=True)
class BestRound:
    """The best choices, and what other limits would bring.

    Parameters
    ----------
    chosen : tuple of (int or None)
        Which of its choices each pond gets.
    value : float
        What they save [fish].
    value_with_more_fish, value_with_more_time : float
        What the best plan would save with the further fish, or the further minutes, that were asked about [fish].
    """

    chosen: tuple[int | None, ...]
    value: float
    value_with_more_fish: float
    value_with_more_time: float


def best_round(
    ponds: Sequence[Sequence[Choice]], fish: int, minutes: float, more_fish: int = 5, more_minutes: float = 60.0
) -> BestRound:
    """Choose one look, or none, of each pond.

    Parameters
    ----------
    ponds : sequence of sequence of Choice
    fish : int
        At most so many in all.
    minutes : float
        At most so many in all [min].
    more_fish, more_minutes : int, float
        For which the gain is worked out as well [fish], [min].
    """
    cells = min(_MOST_CELLS, _MOST_IN_ALL // max(len(ponds), 1))
    step = max(1, math.ceil((fish + more_fish + 1) * (minutes + more_minutes + 1) / cells))
    time, more = int(minutes // step), int((minutes + more_minutes) // step)
    best = np.zeros((fish + more_fish + 1, more + 1))
    taken = []
    for choices in ponds:
        best, which = _with_pond(best, choices, step)
        taken.append(which)
    return BestRound(
        _followed_back(taken, ponds, fish, time, step),
        float(best[fish, time]),
        float(best[-1, time]),
        float(best[fish, -1]),
    )


def _with_pond(best: np.ndarray, choices: Sequence[Choice], step: int) -> tuple[np.ndarray, np.ndarray]:
    """Most that can be saved within each pair of limits with one pond more, and which choice does it, -1 for none."""
    now, which = best.copy(), np.full(best.shape, -1, np.int8)
    for i, choice in enumerate(choices):
        f, t = choice.fish, math.ceil(choice.minutes / step)
        if choice.value <= 0 or f >= best.shape[0] or t >= best.shape[1]:
            continue
        reached = best[: best.shape[0] - f, : best.shape[1] - t] + choice.value
        better = reached > now[f:, t:] + 1e-12
        now[f:, t:][better] = reached[better]
        which[f:, t:][better] = i
    return now, which


def _followed_back(
    taken: Sequence[np.ndarray], ponds: Sequence[Sequence[Choice]], fish: int, time: int, step: int
) -> tuple[int | None, ...]:
    found: list[int | None] = []
    for which, choices in zip(reversed(taken), reversed(ponds), strict=True):
        i = int(which[fish, time])
        found.append(None if i < 0 else i)
        if i >= 0:
            fish, time = fish - choices[i].fish, time - math.ceil(choices[i].minutes / step)
    return tuple(reversed(found))

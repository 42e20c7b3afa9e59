"""How many fish, and how much of each, to find flukes or to show a burden is below a level.

The chance that one fish shows nothing follows from burden, aggregation, share looked at and clumping. Fish of a stock
are alike in law, so a small group changes nothing but how many fish there are to take.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from burden.sampling.detection import smallest_sample
from burden.sampling.look import Look, log_chance_of_nothing
from burden.sampling.plan import MOST_PREPARATIONS, SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.statistics import zero_share
from burden.utils.results import CredibleInterval

__all__ = ["CleanSamplePlan", "find_by_burden", "level_shown"]

_MOST_FISH = 10_000
#: what all clean fish leave open is not sought beyond [flukes per fish]
_HIGHEST_SHOWN = 1e5


@dataclass(frozen=True, kw_only=True)
class CleanSamplePlan(SamplingPlan):
    """Fish, and preparations of each, that show something unless the burden is below a level.

    Parameters
    ----------
    level : float
        Mean abundance that must not be missed; the median where it differs between draws [flukes per fish].
    target_prevalence : float or None
        Share of fish infected that must not be missed, where the level was asked for as one [-].
    confidence : float
        Chance of at least one find at that level [-].
    confidence_reached : float
        With this plan; with all fish, or 10,000 of a large group, where `fish` is None [-].
    preparations : int
        Of each live fish.
    prevalence, detection_per_fish : CredibleInterval
        Share of fish infected at that level, and chance that an infected fish is recognised [-].
    population : int or None
        Fish in the group.
    level_shown : float or None
        Where `fish` is None: what all of them clean would show the burden to be below; infinity where nothing
        [flukes per fish].
    lethal_allowed : int
        Healthy fish that may be killed.
    options : tuple of mapping
        Live fish needed at each number of preparations.
    choices : tuple of mapping
        By number of fish killed and looked at whole, 0 first: fish in all or None, and the confidence reached.
    """

    level: float
    target_prevalence: float | None
    confidence: float
    confidence_reached: float
    preparations: int
    prevalence: CredibleInterval
    detection_per_fish: CredibleInterval
    population: int | None
    level_shown: float | None
    lethal_allowed: int
    options: tuple[Mapping[str, Any], ...]
    choices: tuple[Mapping[str, Any], ...]

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices between more fish and more preparations, one a row."""
        return [dict(option) for option in self.options]


def find_by_burden(
    level: ArrayLike,
    k: ArrayLike,
    look: Look,
    confidence: float = 0.95,
    population: int | None = None,
    lethal_allowed: int = 0,
    target_prevalence: float | None = None,
) -> CleanSamplePlan:
    """How many fish to look at so that this mean burden, or more, is not missed.

    Parameters
    ----------
    level : array_like
        Mean abundance that must not be missed, scalar or draws, as from `level_at_prevalence` [flukes per fish].
    k : array_like
        Aggregation, scalar or draws [-].
    look : Look
        What is taken from each live fish; a killed one is looked at whole.
    confidence : float
        Chance of at least one find, averaged over the draws [-].
    population : int, optional
        Fish in the group.
    lethal_allowed : int
        Healthy fish that may be killed; 0 leaves the moribund alone to be looked at whole.
    target_prevalence : float, optional
        The prevalence behind `level`, to be said [-].

    Returns
    -------
    CleanSamplePlan
        Live fish first; fish are killed only where live fish alone do not reach the confidence.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    All n fish are clean with chance E[p₀ⁿ] over the draws, p₀ the chance that one fish shows nothing: the
    draws share one k and one clumping shape between all fish, so E[p₀]ⁿ would promise too much.

    Examples
    --------
    >>> plan = find_by_burden(5.0, 0.8, Look(0.01, preparations=3))
    >>> plan.fish, plan.fish_killed
    (23, 0)
    """
    numbers = {"confidence": confidence, "population": population, "lethal_allowed": lethal_allowed, **look.numbers()}
    check_numbers(level=level if target_prevalence is None else None, k=k, **numbers)
    live, whole = (log_chance_of_nothing(level, k, one) for one in (look, look.of_whole_fish()))
    most = min(population or _MOST_FISH, _MOST_FISH)
    choices = tuple(_choice(live, whole, dead, 1 - confidence, most) for dead in range(min(lethal_allowed, most) + 1))
    best = next((choice for choice in choices if choice["fish"] is not None), None)
    options = _options(level, k, look, confidence, most)
    return CleanSamplePlan(
        fish=None if best is None else best["fish"],
        fish_killed=0 if best is None else best["killed"],
        level=float(np.median(np.asarray(level, float))),
        target_prevalence=target_prevalence,
        confidence=confidence,
        confidence_reached=(best or choices[0])["confidence_reached"],
        preparations=look.preparations,
        prevalence=CredibleInterval.of(np.atleast_1d(1 - zero_share(level, k))),
        detection_per_fish=CredibleInterval.of(np.atleast_1d(look.detection(level, k))),
        population=population,
        level_shown=level_shown(most, k, look, confidence) if best is None else None,
        lethal_allowed=lethal_allowed,
        options=options,
        choices=choices,
        reason=_reason(best, options),
        what_would_change=("aggregation", "share_seen", "not_at_random", "too_young"),
    )


def _reason(best: Mapping[str, Any] | None, options: tuple[Mapping[str, Any], ...]) -> str:
    if best is not None:
        return "killed_needed" if best["killed"] else "smallest_sample"
    return "more_preparations" if any(row["fish"] is not None for row in options) else "too_few_fish"


def _choice(live: np.ndarray, whole: np.ndarray, dead: int, allowed: float, most: int) -> dict[str, Any]:
    """Fewest fish with so many of them killed, and the confidence they, or all, reach."""
    miss = _miss(live, whole, dead)
    fish = smallest_sample(miss, allowed, most)
    killed = dead if fish is None else min(dead, fish)
    return {"killed": killed, "fish": fish, "confidence_reached": 1 - miss(most if fish is None else fish)}


def _miss(live: np.ndarray, whole: np.ndarray, dead: int) -> Callable[[int], float]:
    """Chance that n fish, `dead` of them killed and looked at whole, all show nothing."""
    return lambda n: float(np.mean(np.exp(max(n - dead, 0) * live + min(dead, n) * whole)))


def _options(level: ArrayLike, k: ArrayLike, look: Look, confidence: float, most: int) -> tuple[Mapping[str, Any], ...]:
    rows = []
    for preparations in sorted({*range(1, MOST_PREPARATIONS + 1), look.preparations}):
        nothing = log_chance_of_nothing(level, k, replace(look, preparations=preparations))
        fish = smallest_sample(_miss(nothing, nothing, 0), 1 - confidence, most)
        total = None if fish is None else fish * preparations
        rows.append({"preparations": preparations, "fish": fish, "preparations_in_all": total})
    return tuple(rows)


def level_shown(
    fish: int, k: ArrayLike, look: Look, confidence: float = 0.95, killed: int = 0, highest: float = _HIGHEST_SHOWN
) -> float:
    """Mean burden below which a clean sample of so many fish shows the stock to be.

    Parameters
    ----------
    fish : int
        Live fish looked at, all clean.
    k : array_like
        Aggregation, scalar or draws [-].
    look : Look
        What was taken from each live fish.
    confidence : float
        Of the statement [-].
    killed : int
        Fish looked at whole besides, all clean.
    highest : float
        Search up to here [flukes per fish].

    Returns
    -------
    float
        [flukes per fish]; infinity where even `highest` could have been missed.

    Examples
    --------
    >>> round(level_shown(23, 0.8, Look(0.01, preparations=3)), 1)
    4.9
    """
    from scipy.optimize import brentq

    def surplus(log_level: float) -> float:
        level = float(np.exp(log_level))
        nothing = fish * log_chance_of_nothing(level, k, look)
        if killed:
            nothing = nothing + killed * log_chance_of_nothing(level, k, look.of_whole_fish())
        return float(np.mean(np.exp(nothing))) - (1 - confidence)

    lowest, top = np.log(1e-6), np.log(highest)
    return float("inf") if surplus(top) > 0 else float(np.exp(brentq(surplus, lowest, top, xtol=1e-9)))

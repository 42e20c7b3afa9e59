"""How many fish, and how much of each, to find flukes or to show a burden is below a level.

The chance that one fish shows nothing follows from burden, aggregation, share looked at and clumping. Fish of a stock
are alike in law, so a small group changes nothing but how many fish there are to take.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from burden.sampling.detection import smallest_sample
from burden.sampling.plan import AT_RANDOM, MOST_PREPARATIONS, SamplingPlan, check_numbers, percent, percent_range
from burden.statistics import detection_per_fish, gamma_quadrature, log_mean_over_fish, log_part_count, zero_share
from burden.utils.results import CredibleInterval

__all__ = ["CleanSamplePlan", "Look", "find_by_burden", "level_shown", "log_chance_of_nothing"]

_MOST_FISH = 10_000


@dataclass(frozen=True)
class Look:
    """How much of a fish is looked at.

    Parameters
    ----------
    fraction_examined : array_like
        Share of the site that one preparation of a live fish shows, scalar or draws [-].
    preparations : int
        Preparations of each live fish.
    detection_per_fluke : array_like
        Chance that a fluke in view is counted, scalar or draws [-].
    part_shape : array_like
        Clumping shape, scalar or draws; an assumption for gills [-].
    """

    fraction_examined: ArrayLike
    preparations: int = 1
    detection_per_fluke: ArrayLike = 1.0
    part_shape: ArrayLike = 1.0

    @property
    def in_view(self) -> np.ndarray:
        """Share of a fish's flukes that all its preparations together count, scalar or draws [-]."""
        share = np.asarray(self.fraction_examined, float) * np.asarray(self.detection_per_fluke, float)
        return self.preparations * share


def log_chance_of_nothing(mean: ArrayLike, k: ArrayLike, look: Look) -> np.ndarray:
    """Log of the chance that what is taken from one fish of the stock shows no fluke.

    Parameters
    ----------
    mean, k : array_like
        Mean abundance [flukes] and aggregation [-], scalar or draws.
    look : Look
        How much of the fish is looked at.

    Returns
    -------
    numpy.ndarray
        Shape (draws,) [-].

    Examples
    --------
    >>> bool(np.isclose(np.exp(log_chance_of_nothing(10.0, 0.5, Look(1.0))), 21**-0.5))
    True
    """
    mean, k, q, d, a = np.broadcast_arrays(mean, k, look.fraction_examined, look.detection_per_fluke, look.part_shape)
    rate, log_weight = gamma_quadrature(k, mean / k)
    return log_mean_over_fish(look.preparations * log_part_count(0, 0, rate, q, d, a), log_weight)


@dataclass(frozen=True, kw_only=True)
class CleanSamplePlan(SamplingPlan):
    """Fish, and preparations of each, that show something unless the burden is below a level.

    Parameters
    ----------
    level : float
        Mean abundance that must not be missed [flukes per fish].
    confidence : float
        Chance of at least one find at that level [-].
    confidence_reached : float
        With this plan [-].
    preparations : int
        Of each live fish.
    prevalence, detection_per_fish : CredibleInterval
        Share of fish infected at that level, and chance that an infected fish is recognised [-].
    population : int or None
        Fish in the group.
    options : tuple of mapping
        Fish needed at each number of preparations.
    """

    level: float
    confidence: float
    confidence_reached: float
    preparations: int
    prevalence: CredibleInterval
    detection_per_fish: CredibleInterval
    population: int | None
    options: tuple[Mapping[str, Any], ...]

    def headline(self) -> str:
        """Return fish and preparations in one line."""
        if self.fish is None:
            return (
                f"{self.preparations} preparations of each of all {self.population} fish reach "
                f"{percent(self.confidence_reached)}, not {percent(self.confidence)} confidence."
            )
        return (
            f"Look at {self.preparations} preparations of each of {self.fish} fish; all clean means, with "
            f"{percent(self.confidence)} confidence, fewer than {self.level:.3g} flukes a fish on average."
        )

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices between more fish and more preparations, one a row."""
        return [dict(option) for option in self.options]


def find_by_burden(
    level: float,
    k: ArrayLike,
    look: Look,
    confidence: float = 0.95,
    population: int | None = None,
    lethal_allowed: int = 0,
    whole_look: Look | None = None,
) -> CleanSamplePlan:
    """How many fish to look at so that this mean burden, or more, is not missed.

    Parameters
    ----------
    level : float
        Mean abundance that must not be missed [flukes per fish].
    k : array_like
        Aggregation, scalar or draws [-].
    look : Look
        What is taken from each live fish.
    confidence : float
        Chance of at least one find, averaged over the draws [-].
    population : int, optional
        Fish in the group.
    lethal_allowed : int
        Healthy fish that may be killed; 0 leaves the moribund alone to be looked at whole.
    whole_look : Look, optional
        What a killed fish shows; the whole site and the same chance per fluke when not given.

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
    _check(level, k, look, confidence, population, lethal_allowed)
    whole = whole_look or Look(1.0, 1, look.detection_per_fluke, look.part_shape)
    live, killed = (log_chance_of_nothing(level, k, one) for one in (look, whole))
    most = population or _MOST_FISH
    fish, dead, reached = _fish_needed(live, killed, 1 - confidence, most, min(lethal_allowed, most))
    prevalence = CredibleInterval.of(np.atleast_1d(1 - zero_share(level, k)))
    seen = CredibleInterval.of(np.atleast_1d(_detection(level, k, look)))
    options = _options(level, k, look, confidence, most)
    return CleanSamplePlan(
        fish=fish,
        fish_killed=dead,
        level=level,
        confidence=confidence,
        confidence_reached=reached,
        preparations=look.preparations,
        prevalence=prevalence,
        detection_per_fish=seen,
        population=population,
        options=options,
        reason=_reason(fish, dead, level, prevalence, seen, options)
        + (_what_can_be_shown(most, k, look, confidence) if fish is None else ""),
        what_would_change=(
            "aggregation: with a smaller k more fish are clean and more must be looked at",
            "the share of the site seen and its clumping: for gills the clumping shape is an assumption",
            AT_RANDOM,
            "flukes too young to be recognised, and eggs, are not seen by any sample",
        ),
    )


def _detection(level: float, k: ArrayLike, look: Look) -> np.ndarray:
    return detection_per_fish(
        level, k, look.fraction_examined, look.preparations, look.detection_per_fluke, look.part_shape
    )


def _check(
    level: float,
    k: ArrayLike,
    look: Look,
    confidence: float,
    population: int | None,
    lethal_allowed: int,
) -> None:
    q, d = np.asarray(look.fraction_examined), np.asarray(look.detection_per_fluke)
    share = "above 0, at most 1"
    check_numbers(
        [
            ("--level", level, level > 0, "flukes per fish, above 0", "Half a fluke a fish is 0.5."),
            ("--k", k, bool(np.all(np.asarray(k) > 0)), "above 0", "0.3 to 2 is usual; small is clumped."),
            ("--fraction-examined", q, bool(np.all((q > 0) & (q <= 1))), share, "For 1 % write 0.01."),
            ("--detection-per-fluke", d, bool(np.all((d > 0) & (d <= 1))), share, "1 if none is missed."),
            ("--preparations", look.preparations, look.preparations >= 1, "1 or more", "Take one at least."),
            ("--confidence", confidence, 0 < confidence < 1, "between 0 and 1", "For 95 % write 0.95."),
            ("--population", population, population is None or population >= 1, "1 or more", "Leave it out."),
            ("--lethal", lethal_allowed, lethal_allowed >= 0, "0 or more fish", "0 for none."),
        ]
    )


def _fish_needed(
    live: np.ndarray, killed: np.ndarray, allowed: float, most: int, lethal_allowed: int
) -> tuple[int | None, int, float]:
    """Return fish, killed among them, and confidence reached; the fewest killed that serve."""
    for dead in range(lethal_allowed + 1):
        miss = _miss(live, killed, dead)
        fish = smallest_sample(miss, allowed, most)
        if fish is not None:
            return fish, dead, 1 - miss(fish)
    return None, 0, 1 - _miss(live, killed, 0)(most)


def _miss(live: np.ndarray, killed: np.ndarray, dead: int) -> Callable[[int], float]:
    """Chance that n fish, `dead` of them killed and looked at whole, all show nothing."""
    return lambda n: float(np.mean(np.exp(max(n - dead, 0) * live + min(dead, n) * killed)))


def _options(level: float, k: ArrayLike, look: Look, confidence: float, most: int) -> tuple[Mapping[str, Any], ...]:
    rows = []
    for preparations in range(1, max(MOST_PREPARATIONS, look.preparations) + 1):
        one = Look(look.fraction_examined, preparations, look.detection_per_fluke, look.part_shape)
        nothing = log_chance_of_nothing(level, k, one)
        fish = smallest_sample(_miss(nothing, nothing, 0), 1 - confidence, most)
        total = None if fish is None else fish * preparations
        rows.append({"preparations": preparations, "fish": fish, "preparations_in_all": total})
    return tuple(rows)


def _reason(
    fish: int | None,
    dead: int,
    level: float,
    prevalence: CredibleInterval,
    seen: CredibleInterval,
    options: tuple[Mapping[str, Any], ...],
) -> str:
    at_level = (
        f"At {level:g} flukes a fish {percent_range(prevalence)} of fish are infected, and what is taken from "
        f"an infected fish shows a fluke with {percent_range(seen)} chance."
    )
    if fish is not None:
        killed = " Live fish alone would not do." if dead else ""
        return f"{at_level} One fish fewer would miss too often.{killed}"
    reachable = [row for row in options if row["fish"] is not None]
    if reachable:
        first = reachable[0]
        return f"{at_level} With {first['preparations']} preparations of each, {first['fish']} fish would do."
    return f"{at_level} There are too few fish to show so low a level."


def _what_can_be_shown(fish: int, k: ArrayLike, look: Look, confidence: float) -> str:
    level = level_shown(fish, k, look, confidence)
    return f" All {fish} clean, as asked for, would show fewer than {level:.2g} flukes a fish."


def level_shown(
    fish: int, k: ArrayLike, look: Look, confidence: float = 0.95, killed: int = 0, highest: float = 1e5
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

    whole = Look(1.0, 1, look.detection_per_fluke, look.part_shape)

    def surplus(log_level: float) -> float:
        level = float(np.exp(log_level))
        nothing = fish * log_chance_of_nothing(level, k, look)
        if killed:
            nothing = nothing + killed * log_chance_of_nothing(level, k, whole)
        return float(np.mean(np.exp(nothing))) - (1 - confidence)

    lowest, top = np.log(1e-6), np.log(highest)
    return float("inf") if surplus(top) > 0 else float(np.exp(brentq(surplus, lowest, top, xtol=1e-9)))

"""How many fish for a mean of a stated precision.

References
----------
Elliott 1977 FBA Sci Publ 25 (fish for a mean of a negative binomial).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from burden.sampling.detection import MOST_FISH
from burden.sampling.look import Look
from burden.sampling.plan import MOST_PREPARATIONS, SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.statistics import part_count_size
from burden.utils.results import INTERVAL_LEVEL, CredibleInterval

__all__ = ["MeanPlan", "fish_for_mean", "mean", "relative_variance"]


def relative_variance(mean_abundance: ArrayLike, k: ArrayLike, look: Look | None = None) -> np.ndarray:
    """Variance over squared mean of what is seen on one fish.

    Parameters
    ----------
    mean_abundance, k : array_like
        Mean [flukes] and aggregation [-], scalar or draws.
    look : Look, optional
        What is taken from each fish; the whole of it when not given.

    Returns
    -------
    numpy.ndarray
        Shape (draws,) [-].

    Notes
    -----
    With r preparations of share q, detection d and part-count size s = (a+q)/(1−q):
    1/(r q d mean) + (1 + 1/k)/(r s) + 1/k. More preparations shrink the first two; the third, the difference
    between fish, only more fish shrink. For whole fish (q = d = 1) it is 1/mean + 1/k.

    Examples
    --------
    >>> float(relative_variance(5.0, 0.5))
    2.2
    """
    look = look or Look()
    m, k, r = np.asarray(mean_abundance, float), np.asarray(k, float), look.preparations
    size = part_count_size(look.fraction_examined, look.part_shape)
    in_view = r * np.asarray(look.fraction_examined, float) * look.detection_per_fluke
    return 1 / (in_view * m) + (1 + 1 / k) / (r * size) + 1 / k


def fish_for_mean(
    mean_abundance: ArrayLike, k: ArrayLike, relative_error: float, look: Look | None = None
) -> np.ndarray:
    """Fish for a standard error of this share of the mean: relative variance over its square.

    Parameters
    ----------
    mean_abundance, k : array_like
        Mean [flukes] and aggregation [-], scalar or draws.
    relative_error : float
        Standard error over mean [-].
    look : Look, optional
        What is taken from each fish.

    Returns
    -------
    numpy.ndarray
        Fish, not rounded.

    Examples
    --------
    >>> float(fish_for_mean(5.0, 0.5, 0.2).round(6))
    55.0
    """
    return relative_variance(mean_abundance, k, look) / relative_error**2


@dataclass(frozen=True, kw_only=True)
class MeanPlan(SamplingPlan):
    """Fish, and preparations of each, for a mean within a stated precision.

    Parameters
    ----------
    preparations : int
        Of each fish.
    precision : float
        Half-width of the interval as a share of the mean [-].
    level : float
        Level of the interval [-].
    share_between_fish : float
        Share of the variance that lies between fish and shrinks with more fish alone [-].
    fish_range : CredibleInterval
        Fish over the draws of mean and k; `fish` serves 95 % of them. Missing where no number serves some.
    population : int or None
        Fish in the group.
    fish_needed : int or None
        Fish of a large group that it would take, however many; None for a group of known size.
    options : tuple of mapping
        Fish and work at each number of preparations.
    """

    preparations: int
    precision: float
    level: float
    share_between_fish: float
    fish_range: CredibleInterval
    population: int | None
    fish_needed: int | None
    options: tuple[Mapping[str, Any], ...]

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices between more fish and more preparations, one a row."""
        return [dict(option) for option in self.options]


def mean(
    mean_abundance: ArrayLike,
    k: ArrayLike,
    precision: float,
    look: Look | None = None,
    handling: float | None = None,
    interval_level: float = INTERVAL_LEVEL,
    population: int | None = None,
) -> MeanPlan:
    """How many fish for a mean abundance within a stated precision.

    Parameters
    ----------
    mean_abundance, k : array_like
        Expected mean [flukes] and aggregation [-], scalar or draws.
    precision : float
        Half-width of the interval as a share of the mean [-].
    look : Look, optional
        What is taken from each fish; whole fish when not given.
    handling : float, optional
        Work of catching and returning one fish, in preparations. When given, the number of preparations with
        the least work is chosen; else the one in `look` stands.
    interval_level : float
        Level of the interval [-].
    population : int, optional
        Fish in the group.

    Returns
    -------
    MeanPlan
        With draws, enough fish for 95 % of them.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    Relative variance of one fish (see `relative_variance`) times (z/precision)². In a group of N fish whose
    burden now is asked for, a part-count of every fish still varies: only the share of variance between fish
    falls, by 1 − n/N, and whole-fish counts of all N leave none. An error in the share of the site examined
    moves the mean in proportion, however many fish are taken.

    Examples
    --------
    >>> mean(10.0, 1.0, 0.5).fish
    12
    >>> plan = mean(100.0, 0.8, 0.5, Look(0.01), handling=3.0)
    >>> plan.fish, plan.preparations
    (31, 2)
    """
    look = look or Look()
    numbers = {"precision": precision, "interval_level": interval_level, "population": population}
    check_numbers(mean=mean_abundance, k=k, handling=handling, **numbers, **look.numbers())
    z = float(ndtri(0.5 + interval_level / 2))
    options = _mean_options(mean_abundance, k, precision / z, look, handling, population)
    best = _best_option(options, look.preparations, handling)
    chosen = replace(look, preparations=best["preparations"])
    needed = _finite_fish(mean_abundance, k, precision / z, chosen, population)
    at_hand = best["fish"] is not None and best["fish"] <= MOST_FISH
    return MeanPlan(
        fish=best["fish"] if at_hand else None,
        preparations=best["preparations"],
        precision=precision,
        level=interval_level,
        share_between_fish=_share_between(mean_abundance, k, chosen),
        fish_range=CredibleInterval.of(np.ravel(needed)) if np.isfinite(needed).all() else CredibleInterval.missing(),
        population=population,
        options=options,
        fish_needed=best["fish"] if population is None else None,
        reason="between_fish" if at_hand else "more_preparations" if best["fish"] is None else "beyond_reach",
        what_would_change=("aggregation", "share_of_site", "not_at_random"),
    )


def _mean_options(
    mean_abundance: ArrayLike,
    k: ArrayLike,
    relative_error: float,
    look: Look,
    handling: float | None,
    population: int | None,
) -> tuple[Mapping[str, Any], ...]:
    whole = bool(np.all(np.asarray(look.fraction_examined) == 1))
    choices = [1] if whole else sorted({*range(1, MOST_PREPARATIONS + 1), look.preparations})
    rows = []
    for preparations in choices:
        one = replace(look, preparations=preparations)
        over_draws = np.sort(np.ravel(_finite_fish(mean_abundance, k, relative_error, one, population)))
        needed = over_draws[math.ceil(0.95 * over_draws.size) - 1]
        fish = math.ceil(needed - 1e-9) if math.isfinite(needed) else None
        work = None if fish is None or handling is None else fish * (handling + preparations)
        rows.append({"preparations": preparations, "fish": fish, "work": work})
    return tuple(rows)


def _finite_fish(
    mean_abundance: ArrayLike, k: ArrayLike, relative_error: float, look: Look, population: int | None
) -> np.ndarray:
    """Fish not rounded, infinity where all fish do not serve: n = total/(D² + between/N), at most N."""
    total = relative_variance(mean_abundance, k, look)
    if population is None:
        return total / relative_error**2
    # the burden the group has now: between its own fish a sample of all of them leaves no error
    between = 1 / np.asarray(mean_abundance, float) + 1 / np.asarray(k, float)
    needed = total / (relative_error**2 + between / population)
    return np.where(needed <= population * (1 + 1e-9), needed, math.inf)


def _best_option(
    options: tuple[Mapping[str, Any], ...], preparations: int, handling: float | None
) -> Mapping[str, Any]:
    if handling is None:
        return next((row for row in options if row["preparations"] == preparations), options[0])
    return min(options, key=lambda row: math.inf if row["work"] is None else row["work"])


def _share_between(mean_abundance: ArrayLike, k: ArrayLike, look: Look) -> float:
    """Share of the variance of what is seen on one fish that lies between fish [-]."""
    total = np.median(relative_variance(mean_abundance, k, look))
    return float(np.median(1 / np.asarray(k, float)) / total)

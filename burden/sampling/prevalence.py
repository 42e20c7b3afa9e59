"""How many fish for a prevalence of a stated precision.

References
----------
Wilson 1927 J Am Stat Assoc 22:209 (interval of a share).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from scipy.special import ndtri

from burden.sampling.detection import MOST_FISH
from burden.sampling.plan import SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.utils.results import INTERVAL_LEVEL

__all__ = ["PrevalencePlan", "prevalence_within"]


@dataclass(frozen=True, kw_only=True)
class PrevalencePlan(SamplingPlan):
    """Fish for a prevalence interval of a stated half-width.

    Parameters
    ----------
    prevalence, half_width, level : float
        Expected prevalence, half-width and level of the interval [-].
    sensitivity : float
        Chance that an infected fish is recognised [-].
    population : int or None
        Fish in the group.
    fish_needed : int
        Fish that it would take, however many there are.
    """

    prevalence: float
    half_width: float
    level: float
    sensitivity: float
    population: int | None
    fish_needed: int


def prevalence_within(
    prevalence: float,
    half_width: float,
    interval_level: float = INTERVAL_LEVEL,
    population: int | None = None,
    sensitivity: float = 1.0,
) -> PrevalencePlan:
    """How many fish for a prevalence interval of this half-width.

    Parameters
    ----------
    prevalence : float
        Expected share of fish infected; 0.5 needs most [-].
    half_width : float
        Half the width of the Wilson interval, 0.1 for ten percentage points [-].
    interval_level : float
        Level of the interval [-].
    population : int, optional
        Fish in the group: the sample shrinks to n/(1 + b (n − 1)/N), b the share of the variance between fish.
    sensitivity : float
        Known chance that an infected fish is recognised: the interval of what is seen, over it [-].

    Returns
    -------
    PrevalencePlan
        `fish` is None where not even all fish serve.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    Of the variance s(1 − s), s = p·sensitivity, sensitivity²·p(1 − p) lies between fish and goes once all are looked
    at; whether an infected one is recognised varies all the same.

    Examples
    --------
    >>> prevalence_within(0.5, 0.05, interval_level=0.95).fish
    381
    >>> prevalence_within(0.5, 0.05, interval_level=0.95, population=200).fish
    132
    """
    asked: dict[str, Any] = {
        "prevalence": prevalence,
        "half_width": half_width,
        "population": population,
        "sensitivity": sensitivity,
    }
    check_numbers(interval_level=interval_level, **asked)
    fish = _wilson_fish(prevalence * sensitivity, half_width * sensitivity, float(ndtri(0.5 + interval_level / 2)))
    if population is not None:
        between = sensitivity * (1 - prevalence) / (1 - prevalence * sensitivity)
        fish = math.ceil(fish / (1 + between * (fish - 1) / population) - 1e-9)
    enough = fish <= (population or MOST_FISH)
    too_many = "beyond_reach" if population is None else "more_preparations"
    return PrevalencePlan(
        fish=fish if enough else None,
        level=interval_level,
        fish_needed=fish,
        reason="smallest_sample" if enough else too_many,
        what_would_change=("nearer_one_half", "uncertain_sensitivity", "not_at_random"),
        **asked,
    )


def _wilson_fish(share: float, half_width: float, z: float) -> int:
    """Smallest n with z·√(p(1−p)/n + z²/4n²)/(1 + z²/n) <= half_width, solved as a quadratic in z²/n."""
    v, h2, z2 = share * (1 - share), half_width**2, z**2
    # (1/4 − h²)·u² + (v − 2h²)·u − h² = 0 with u = z²/n, of which the positive root
    a, b = 0.25 - h2, v - 2 * h2
    u = (-b + math.sqrt(b * b + 4 * a * h2)) / (2 * a)
    return max(1, math.ceil(z2 / u - 1e-9))

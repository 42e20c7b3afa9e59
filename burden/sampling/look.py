"""How much of a fish is looked at, and the chance that it shows nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from burden.statistics import detection_per_fish, gamma_quadrature, log_mean_over_fish, log_part_count

__all__ = ["Look", "level_at_prevalence", "log_chance_of_nothing"]

_MOST_FLUKES = 1e6  # no fish carries more [flukes]


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

    fraction_examined: ArrayLike = 1.0
    preparations: int = 1
    detection_per_fluke: ArrayLike = 1.0
    part_shape: ArrayLike = 1.0

    @property
    def in_view(self) -> np.ndarray:
        """Share of a fish's flukes that all its preparations together count, scalar or draws [-]."""
        share = np.asarray(self.fraction_examined, float) * np.asarray(self.detection_per_fluke, float)
        return self.preparations * share

    def of_whole_fish(self) -> Look:
        """Return the look at a killed fish: the whole site, flukes in view found as before."""
        return replace(self, fraction_examined=1.0, preparations=1)

    def numbers(self) -> dict[str, ArrayLike]:
        """Return what is checked before a plan is made."""
        return {
            "fraction_examined": self.fraction_examined,
            "preparations": self.preparations,
            "detection_per_fluke": self.detection_per_fluke,
            "part_shape": self.part_shape,
        }

    def detection(self, mean: ArrayLike, k: ArrayLike) -> np.ndarray:
        """Chance that what is taken from an infected fish shows a fluke, scalar or draws [-]."""
        seen = (self.fraction_examined, self.preparations, self.detection_per_fluke, self.part_shape)
        return detection_per_fish(mean, k, *seen)


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
    >>> bool(np.isclose(np.exp(log_chance_of_nothing(10.0, 0.5, Look())), 21**-0.5))
    True
    """
    mean, k, q, d, a = np.broadcast_arrays(mean, k, look.fraction_examined, look.detection_per_fluke, look.part_shape)
    rate, log_weight = gamma_quadrature(k, mean / k)
    return log_mean_over_fish(look.preparations * log_part_count(0, 0, rate, q, d, a), log_weight)


def level_at_prevalence(prevalence: float, k: ArrayLike) -> np.ndarray:
    """Mean abundance at which this share of fish carries a fluke, scalar or draws [flukes per fish].

    Parameters
    ----------
    prevalence : float
        [-]
    k : array_like
        Aggregation, scalar or draws [-].

    Notes
    -----
    The zero class of a negative binomial turned round: k((1 − prevalence)^(−1/k) − 1).

    Examples
    --------
    >>> float(level_at_prevalence(1 - 3**-0.5, 0.5).round(9))
    1.0
    """
    k = np.asarray(k, float)
    return np.minimum(k * np.expm1(np.minimum(-np.log1p(-prevalence) / k, 500.0)), _MOST_FLUKES)

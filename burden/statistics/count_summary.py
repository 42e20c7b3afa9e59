"""The counts as they stand, without a model of what a preparation misses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from burden.statistics.aggregation import k_maximum_likelihood, mean_intensity
from burden.statistics.point_estimate import PointEstimate
from burden.statistics.prevalence import prevalence
from burden.utils.results import INTERVAL_LEVEL, Result

__all__ = ["CountedSummary", "counted_summary"]


@dataclass(frozen=True)
class CountedSummary(Result):
    """Prevalence, mean intensity and k of the counts themselves.

    Parameters
    ----------
    fish : int
        Fish counted.
    prevalence, mean_intensity, k : PointEstimate
        Of what was seen, not of what is there.
    """

    fish: int
    prevalence: PointEstimate
    mean_intensity: PointEstimate
    k: PointEstimate

    def as_dict(self) -> dict[str, Any]:
        """Return prevalence, mean_intensity and k, each with estimate, low, high and method."""
        return {name: getattr(self, name).as_dict() for name in _NAMES}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a measure."""
        return [{"measure": words, **getattr(self, name).as_dict()} for name, words in _NAMES.items()]


_NAMES = {"prevalence": "prevalence", "mean_intensity": "mean intensity", "k": "aggregation k"}


def counted_summary(counts: Sequence[int], level: float = INTERVAL_LEVEL, seed: int = 1) -> CountedSummary:
    """Summarise counts as they stand, one a fish.

    Parameters
    ----------
    counts : sequence of int
        Flukes seen on each fish; add up the preparations of one fish, and take the lower bound of a censored
        count.
    level : float
        Confidence level of the intervals [-].
    seed : int
        Of the bootstrap.

    Returns
    -------
    CountedSummary
        Prevalence (Clopper-Pearson), mean intensity (BCa bootstrap) and k (maximum likelihood, profile
        likelihood). Parts that the counts do not give are missing and say why.

    Raises
    ------
    ValueError
        For a count that is negative or not whole.

    Examples
    --------
    >>> summary = counted_summary([0, 0, 1, 2, 2, 4, 11, 30])
    >>> print(summary.prevalence)
    0.75 (0.4 to 0.954; Clopper-Pearson, 90 % interval)
    >>> print(summary.k)
    0.47 (0.179 to 1.12; k by maximum likelihood, profile likelihood, 90 % interval)
    """
    wrong = [c for c in counts if c < 0 or c != int(c)]
    if wrong:
        raise ValueError(f"counts must be whole numbers, 0 or more, not {wrong}")
    positive = sum(c > 0 for c in counts)
    return CountedSummary(
        len(counts),
        prevalence(positive, len(counts), "clopper_pearson", level),
        mean_intensity(counts, level, seed=seed),
        k_maximum_likelihood(counts, level),
    )

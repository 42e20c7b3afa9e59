"""Reduction of counts after a dose, from counts as they stand.

References
----------
Coles et al. 1992 Vet Parasitol 44:35 (log ratio of means with Student's t; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from burden.statistics.point_estimate import PointEstimate
from burden.statistics.prevalence import prevalence
from burden.utils.results import INTERVAL_LEVEL

__all__ = ["paired_reduction", "reduction", "share_left"]

#: flukes counted after a dose, in all, below which the spread of the counts says nothing of their mean: an assumption
_NEAR_ZERO = 3
#: relative variance that is nought but for rounding
_NO_SPREAD = 1e-20


#: counts by fish: one number a fish, or those of its preparations
_Counts = Sequence[float | Sequence[float]] | np.ndarray


def reduction(before: _Counts, after: _Counts, level: float = INTERVAL_LEVEL) -> PointEstimate:
    """Reduction of the mean count, fish before and after being different ones [%].

    Parameters
    ----------
    before, after : sequence
        Counts of each fish: a number, or the counts of its preparations, of which the mean is taken.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        100 (1 − m_after/m_before), with limits from Student's t on the log ratio; with no or next to no fluke after,
        or fish all alike on either day, which show no spread, from `share_left`; missing where nothing was before.

    Notes
    -----
    The variance of the log ratio is s²_T/(n_T m²_T) + s²_C/(n_C m²_C), with n_T + n_C − 2 degrees of freedom.

    Examples
    --------
    >>> print(reduction([40, 22, 61, 35], [5, 2, 9, 4]))
    87.3 (74.6 to 93.7; log ratio of means, Student's t, 90 % interval)
    """
    from scipy.special import stdtrit

    first, second = _means(before), _means(after)
    if not first.size or not second.size or first.sum() == 0:
        return PointEstimate.missing("no fluke was counted before", level)
    if _flukes_and_looks(after)[0] < _NEAR_ZERO:
        return share_left(before, after, level)
    left = second.mean() / first.mean()
    if min(first.size, second.size) < 2:
        return PointEstimate(100 * (1 - left), math.nan, math.nan, "ratio of means; one fish has no spread", level)
    variance = sum(float(np.var(x, ddof=1)) / (x.size * float(x.mean()) ** 2) for x in (first, second))
    if variance < _NO_SPREAD:
        return share_left(before, after, level)
    reach = float(stdtrit(first.size + second.size - 2, 0.5 + level / 2)) * math.sqrt(variance)
    low, high = (100 * (1 - left * math.exp(side)) for side in (reach, -reach))
    return PointEstimate(100 * (1 - left), low, high, "log ratio of means, Student's t", level)


def paired_reduction(before: _Counts, after: _Counts, level: float = INTERVAL_LEVEL) -> PointEstimate:
    """Reduction of the mean count of the same fish, looked at before and after [%].

    Parameters
    ----------
    before, after : sequence
        Counts of the same fish in the same order, as in `reduction`.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        Delta method on the log ratio, which takes in how the two counts of a fish go together, with Student's t; from
        `share_left` where next to nothing was left, or every fish, or the one with any flukes, lost the same share.

    Raises
    ------
    ValueError
        For sequences of different length.

    Examples
    --------
    >>> print(paired_reduction([40, 22, 61, 35], [5, 2, 9, 4]))
    87.3 (84.3 to 89.8; paired log ratio of means, delta method, Student's t, 90 % interval)
    """
    from scipy.special import stdtrit

    first, second = _means(before), _means(after)
    if first.size != second.size:
        raise ValueError(f"the same fish before and after: {first.size} counts before, {second.size} after")
    if not first.size or first.sum() == 0:
        return PointEstimate.missing("no fluke was counted before", level)
    if _flukes_and_looks(after)[0] < _NEAR_ZERO or first.size < 2:
        return share_left(before, after, level)
    left = second.mean() / first.mean()
    # influence of each fish on the log ratio
    pull = second / second.mean() - first / first.mean()
    if float(np.var(pull)) < _NO_SPREAD:
        return share_left(before, after, level)
    reach = float(stdtrit(first.size - 1, 0.5 + level / 2)) * math.sqrt(float(np.var(pull, ddof=1)) / first.size)
    low, high = (100 * (1 - left * math.exp(side)) for side in (reach, -reach))
    return PointEstimate(100 * (1 - left), low, high, "paired log ratio of means, delta method, Student's t", level)


def share_left(before: _Counts, after: _Counts, level: float = INTERVAL_LEVEL) -> PointEstimate:
    """Reduction with no or next to no fluke after, from flukes alone [%].

    Parameters
    ----------
    before, after : sequence
        Counts as in `reduction`, as many fish before as after or not.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        Given all flukes counted, those counted after are binomial (Clopper-Pearson), and the ratio of rates follows.
        Too narrow where flukes are clumped: a lower bound of what is uncertain.

    Examples
    --------
    >>> print(share_left([40, 22, 61, 35], [0, 0, 0, 0]))
    100 (98.1 to 100; exact binomial of flukes, clumping left out, 90 % interval)
    """
    (first, looks_first), (second, looks_second) = _flukes_and_looks(before), _flukes_and_looks(after)
    share = prevalence(second, first + second, "clopper_pearson", level)

    def gone(p: float) -> float:
        rates = math.inf if p >= 1 else p / (1 - p) * looks_first / looks_second
        return 100 * (1 - rates)

    method = "exact binomial of flukes, clumping left out"
    return PointEstimate(gone(share.estimate), gone(share.high), gone(share.low), method, level)


def _means(counts: _Counts) -> np.ndarray:
    """Mean count of each fish, shape (fish,) [flukes]."""
    return np.array([float(np.mean(fish)) for fish in counts])


def _flukes_and_looks(counts: _Counts) -> tuple[int, int]:
    """Flukes counted in all, and on how many preparations."""
    each = [count for fish in counts for count in np.atleast_1d(fish)]
    return round(float(sum(each))), len(each)

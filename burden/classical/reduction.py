"""Reduction of counts after a dose, from counts as they stand.

References
----------
Coles et al. 1992 Vet Parasitol 44:35 (log ratio of means with Student's t; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from burden.classical.estimate import Estimate
from burden.classical.prevalence import prevalence
from burden.result import INTERVAL_LEVEL

__all__ = ["paired_reduction", "reduction", "share_left"]

#: flukes counted after a dose, in all, below which the spread of the counts says nothing of their mean: an assumption
_NEAR_ZERO = 3


def reduction(before: Sequence[float], after: Sequence[float], level: float = INTERVAL_LEVEL) -> Estimate:
    """Reduction of the mean count, fish before and after being different ones [%].

    Parameters
    ----------
    before, after : sequence of float
        Counts, one a fish.
    level : float
        Confidence level [-].

    Returns
    -------
    Estimate
        100 (1 − m_after/m_before), with limits from Student's t on the log ratio; with no or next to no fluke after,
        from `share_left`; missing where nothing was there before.

    Notes
    -----
    The variance of the log ratio is s²_T/(n_T m²_T) + s²_C/(n_C m²_C), with n_T + n_C − 2 degrees of freedom.

    Examples
    --------
    >>> print(reduction([40, 22, 61, 35], [5, 2, 9, 4]))
    87.3 (74.6 to 93.7; log ratio of means, Student's t, 90 % interval)
    """
    from scipy.special import stdtrit

    first, second = np.asarray(before, float), np.asarray(after, float)
    if not first.size or not second.size or first.sum() == 0:
        return Estimate.missing("no fluke was counted before", level)
    if second.sum() < _NEAR_ZERO:
        return share_left(first, second, level)
    left = second.mean() / first.mean()
    if min(first.size, second.size) < 2:
        return Estimate(100 * (1 - left), math.nan, math.nan, "ratio of means; one fish has no spread", level)
    variance = sum(float(np.var(x, ddof=1)) / (x.size * float(x.mean()) ** 2) for x in (first, second))
    reach = float(stdtrit(first.size + second.size - 2, 0.5 + level / 2)) * math.sqrt(variance)
    low, high = (100 * (1 - left * math.exp(side)) for side in (reach, -reach))
    return Estimate(100 * (1 - left), low, high, "log ratio of means, Student's t", level)


def paired_reduction(before: Sequence[float], after: Sequence[float], level: float = INTERVAL_LEVEL) -> Estimate:
    """Reduction of the mean count of the same fish, looked at before and after [%].

    Parameters
    ----------
    before, after : sequence of float
        Counts of the same fish in the same order.
    level : float
        Confidence level [-].

    Returns
    -------
    Estimate
        Delta method on the log ratio, which takes in how the two counts of a fish go together, with Student's t.

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

    first, second = np.asarray(before, float), np.asarray(after, float)
    if first.size != second.size:
        raise ValueError(f"the same fish before and after: {first.size} counts before, {second.size} after")
    if not first.size or first.sum() == 0:
        return Estimate.missing("no fluke was counted before", level)
    if second.sum() < _NEAR_ZERO or first.size < 2:
        return share_left(first, second, level)
    left = second.mean() / first.mean()
    # influence of each fish on the log ratio
    pull = second / second.mean() - first / first.mean()
    reach = float(stdtrit(first.size - 1, 0.5 + level / 2)) * math.sqrt(float(np.var(pull, ddof=1)) / first.size)
    low, high = (100 * (1 - left * math.exp(side)) for side in (reach, -reach))
    return Estimate(100 * (1 - left), low, high, "paired log ratio of means, delta method, Student's t", level)


def share_left(before: ArrayLike, after: ArrayLike, level: float = INTERVAL_LEVEL) -> Estimate:
    """Reduction with no or next to no fluke after, from flukes alone [%].

    Parameters
    ----------
    before, after : sequence of float
        Counts, one a fish, as many fish before as after or not.
    level : float
        Confidence level [-].

    Returns
    -------
    Estimate
        Given all flukes counted, those counted after are binomial (Clopper-Pearson), and the ratio of rates follows.
        Too narrow where flukes are clumped: a lower bound of what is uncertain.

    Examples
    --------
    >>> print(share_left([40, 22, 61, 35], [0, 0, 0, 0]))
    100 (98.1 to 100; exact binomial of flukes, clumping left out, 90 % interval)
    """
    first, second = np.asarray(before, float), np.asarray(after, float)
    total = round(float(first.sum())) + round(float(second.sum()))
    share = prevalence(round(float(second.sum())), total, "clopper_pearson", level)

    def gone(p: float) -> float:
        rates = math.inf if p >= 1 else p / (1 - p) * first.size / second.size
        return 100 * (1 - rates)

    method = "exact binomial of flukes, clumping left out"
    return Estimate(gone(share.estimate), gone(share.high), gone(share.low), method, level)

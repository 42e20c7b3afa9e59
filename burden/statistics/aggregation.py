"""Mean, k and other measures of how flukes are spread over fish, from whole counts.

Every measure names its method: on strongly aggregated counts estimators of k differ several-fold.

References
----------
Bliss & Fisher 1953 Biometrics 9:176 (k by moments, zero class, maximum likelihood).
Elliott 1977 FBA Sci Publ 25 (corrected moments).
Lloyd 1967 J Anim Ecol 36:1 (mean crowding).
Poulin 1993 Int J Parasitol 23:937 (index of discrepancy).
Efron & Tibshirani 1993 An Introduction to the Bootstrap ch. 14 (BCa).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaln, ndtr, ndtri, polygamma, psi, xlogy

from burden.statistics.negative_binomial import log_count
from burden.statistics.point_estimate import PointEstimate
from burden.utils.results import INTERVAL_LEVEL

__all__ = [
    "bootstrap_estimate",
    "k_corrected_moments",
    "k_maximum_likelihood",
    "k_moments",
    "k_zero_class",
    "log_likelihood_k",
    "mean_abundance",
    "mean_crowding",
    "mean_intensity",
    "poulin_d",
    "standard_error_k",
    "variance_to_mean",
]

_RESAMPLES = 4999
_CHUNK = 2_000_000  # counts resampled together
_K_BOUNDS = (1e-6, 1e7)  # outside it the likelihood is flat to rounding


def bootstrap_estimate(
    counts: Sequence[float],
    statistic: Callable[..., np.ndarray],
    method: str,
    level: float = INTERVAL_LEVEL,
    resamples: int = _RESAMPLES,
    seed: int = 1,
) -> PointEstimate:
    """Estimate with a seeded BCa bootstrap interval.

    Parameters
    ----------
    counts : sequence of float
        One a fish.
    statistic : callable
        Takes an array and `axis`.
    method : str
        Name of the estimator.
    level : float
        Confidence level [-].
    resamples, seed : int
        Of the bootstrap.

    Returns
    -------
    PointEstimate
        Without interval where all fish are alike or fewer than two.
    """
    values = np.asarray(counts, float)
    if not values.size:
        return PointEstimate.missing("no fish", level)
    point = float(statistic(values, axis=0))
    if values.size < 2 or np.ptp(values) == 0:
        return PointEstimate(point, math.nan, math.nan, f"{method}; no interval: all fish alike", level)
    low, high = _bca_limits(values, statistic, level, resamples, seed)
    return PointEstimate(point, low, high, f"{method}, BCa bootstrap", level)


def _bca_limits(
    values: np.ndarray, statistic: Callable[..., np.ndarray], level: float, resamples: int, seed: int
) -> tuple[float, float]:
    """Bias-corrected and accelerated limits; not a number where few, tied fish leave none (Efron & Tibshirani 14.3).

    As `scipy.stats.bootstrap` has them, without the second that importing it takes.
    """
    fish, rng = values.size, np.random.default_rng(seed)
    sizes = np.diff([*range(0, resamples, max(1, _CHUNK // fish)), resamples])
    with np.errstate(divide="ignore", invalid="ignore"):
        again = np.concatenate([statistic(values[rng.integers(0, fish, (size, fish))], axis=-1) for size in sizes])
        point = statistic(values, axis=-1)
        bias = ndtri((np.mean(again < point) + np.mean(again <= point)) / 2)
        ends = bias + ndtri([(1 - level) / 2, (1 + level) / 2])
        shares = ndtr(bias + ends / (1 - _acceleration(values, statistic) * ends))
        low, high = np.quantile(again, shares) if np.isfinite(shares).all() else (math.nan, math.nan)
    return float(low), float(high)


def _acceleration(values: np.ndarray, statistic: Callable[..., np.ndarray]) -> float:
    """How the statistic's error changes with its value, from leaving out each fish in turn."""
    fish = values.size
    rows = np.array_split(np.arange(fish), math.ceil(fish**2 / _CHUNK))
    others = np.arange(fish - 1)
    left = np.concatenate([statistic(values[others + (others >= row[:, None])], axis=-1) for row in rows])
    off = left.mean() - left
    return float((off**3).sum() / (6 * (off**2).sum() ** 1.5))


def mean_abundance(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """Mean flukes over all fish looked at [flukes].

    Examples
    --------
    >>> mean_abundance([0, 0, 3, 5], resamples=99).estimate
    2.0
    """
    return bootstrap_estimate(counts, np.mean, "mean", level, **bootstrap)


def mean_intensity(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """Mean flukes over infected fish [flukes].

    Examples
    --------
    >>> mean_intensity([0, 0, 3, 5], resamples=99).estimate
    4.0
    """
    infected = [c for c in counts if c > 0]
    if not infected:
        return PointEstimate.missing("no infected fish", level)
    return bootstrap_estimate(infected, np.mean, "mean of infected fish", level, **bootstrap)


def variance_to_mean(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """Variance over mean: 1 for random spread, more when aggregated [-].

    Examples
    --------
    >>> variance_to_mean([0, 0, 0, 10], resamples=99).estimate
    10.0
    """
    return _index(counts, _variance_to_mean, "variance to mean", level, **bootstrap)


def mean_crowding(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """Mean number of companions of a fluke, mean + variance/mean − 1 (Lloyd) [flukes].

    Examples
    --------
    >>> mean_crowding([0, 0, 0, 10], resamples=99).estimate
    11.5
    """
    return _index(counts, _mean_crowding, "Lloyd's mean crowding", level, **bootstrap)


def poulin_d(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """Index of discrepancy: 0 when all fish carry the same, near 1 when one carries all [-].

    Examples
    --------
    >>> poulin_d([0, 0, 0, 10], resamples=99).estimate
    0.6
    """
    return _index(counts, _discrepancy, "Poulin's D", level, **bootstrap)


def _index(
    counts: Sequence[int], statistic: Callable[..., np.ndarray], method: str, level: float, **options: int
) -> PointEstimate:
    if sum(counts) == 0:
        return PointEstimate.missing("no fluke counted", level)
    return bootstrap_estimate(counts, statistic, method, level, **options)


def _variance_to_mean(values: np.ndarray, axis: int = -1) -> np.ndarray:
    mean = values.mean(axis)
    # a resample of clean fish alone has no ratio; 1 is its limit under random spread
    return np.where(mean > 0, values.var(axis, ddof=1) / np.where(mean > 0, mean, 1.0), 1.0)


def _mean_crowding(values: np.ndarray, axis: int = -1) -> np.ndarray:
    return values.mean(axis) + _variance_to_mean(values, axis) - 1


def _discrepancy(values: np.ndarray, axis: int = -1) -> np.ndarray:
    ordered = np.moveaxis(np.sort(values, axis), axis, -1)
    n, total = ordered.shape[-1], ordered.sum(-1)
    below = np.cumsum(ordered, -1).sum(-1)
    return np.where(total > 0, 1 - 2 * below / (np.where(total > 0, total, 1.0) * (n + 1)), 0.0)


def k_moments(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """k by moments, mean²/(variance − mean) [-].

    Notes
    -----
    1/k is bootstrapped, which is finite where k is not, and turned over. No aggregation: k has no bound.

    Examples
    --------
    >>> k_moments([0, 0, 1, 9], resamples=99).estimate.__round__(4)
    0.3788
    """
    return _from_inverse(counts, _inverse_k_moments, "k by moments", level, **bootstrap)


def k_corrected_moments(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """k by corrected moments, (mean² − variance/n)/(variance − mean) [-].

    Examples
    --------
    >>> k_corrected_moments([0, 0, 1, 9], resamples=99).estimate.__round__(4)
    0.0909
    """
    return _from_inverse(counts, _inverse_k_corrected, "k by corrected moments", level, **bootstrap)


def k_zero_class(counts: Sequence[int], level: float = INTERVAL_LEVEL, **bootstrap: int) -> PointEstimate:
    """k from the share of clean fish, (1 + mean/k)^−k = share [-].

    Examples
    --------
    >>> k_zero_class([0, 0, 1, 9], resamples=99).estimate.__round__(3)
    0.318
    """
    if min(counts, default=0) > 0:
        return PointEstimate.missing("no clean fish: the zero class gives no k", level)
    return _from_inverse(counts, _inverse_k_zero, "k by the zero class", level, **bootstrap)


def _from_inverse(
    counts: Sequence[int], inverse: Callable[..., np.ndarray], method: str, level: float, **options: int
) -> PointEstimate:
    """Turn an estimate of 1/k into one of k; 1/k at or below 0 is a k without bound."""
    if sum(counts) == 0:
        return PointEstimate.missing("no fluke counted", level)
    turned = bootstrap_estimate(counts, inverse, method, level, **options)
    estimate, low, high = (_turn(v) for v in (turned.estimate, turned.high, turned.low))
    return PointEstimate(estimate, low, high, turned.method, level)


def _turn(inverse: float) -> float:
    return math.inf if inverse <= 0 else 1 / inverse


def _inverse_k_moments(values: np.ndarray, axis: int = -1) -> np.ndarray:
    mean = values.mean(axis)
    return np.where(mean > 0, (values.var(axis, ddof=1) - mean) / np.where(mean > 0, mean, 1.0) ** 2, 0.0)


def _inverse_k_corrected(values: np.ndarray, axis: int = -1) -> np.ndarray:
    mean, variance = values.mean(axis), values.var(axis, ddof=1)
    top = mean**2 - variance / values.shape[axis]
    # one fish with nearly all flukes leaves nothing on top: k is at its bound 0, 1/k beyond any number
    return np.where(top > 0, (variance - mean) / np.where(top > 0, top, 1.0), 1 / _K_BOUNDS[0])


def _inverse_k_zero(values: np.ndarray, axis: int = -1) -> np.ndarray:
    """Bisect 1/k in the log; the share of clean fish grows with 1/k from its Poisson value."""
    mean, clean = values.mean(axis), (values == 0).mean(axis)
    low, high = np.full(mean.shape, -math.log(_K_BOUNDS[1])), np.full(mean.shape, -math.log(_K_BOUNDS[0]))
    for _ in range(60):
        middle = (low + high) / 2
        more = np.exp(log_count(0, mean, np.exp(-middle))) < clean
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.where(clean > np.exp(-mean), np.exp((low + high) / 2), 0.0)


def log_likelihood_k(k: float, counts: ArrayLike) -> float:
    """Log-likelihood of k with the mean at its estimate, the sample mean [-]."""
    values = np.asarray(counts, float)
    return float(np.sum(log_count(values, values.mean(), k)))


def standard_error_k(k: float, counts: Sequence[int]) -> float:
    """Standard error of the maximum-likelihood k, from the observed information [-].

    Notes
    -----
    Mean and k are orthogonal at the maximum, so the curvature in k alone serves.
    """
    values = np.asarray(counts, float)
    mean = values.mean()
    curvature = np.sum(polygamma(1, values + k) - polygamma(1, k)) + values.size * mean / (k * (k + mean))
    return math.sqrt(-1 / float(curvature)) if curvature < 0 else math.nan


def k_maximum_likelihood(counts: Sequence[int], level: float = INTERVAL_LEVEL) -> PointEstimate:
    """k by maximum likelihood, with a profile-likelihood interval.

    Parameters
    ----------
    counts : sequence of int
        One a fish.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        k without bound (infinity) where variance <= mean; limits without bound where the counts set none.

    Notes
    -----
    Likelihood: counts independent, negative binomial, the mean at the sample mean, which maximises it for any
    k. The limits are where twice the loss of log-likelihood reaches the χ² point.

    Examples
    --------
    >>> print(k_maximum_likelihood([0] * 70 + [1] * 38 + [2] * 17 + [3] * 10 + [4] * 9 + [5] * 3 + [6, 6, 7]))
    1.02 (0.675 to 1.66; k by maximum likelihood, profile likelihood, 90 % interval)
    """
    if sum(counts) == 0:
        return PointEstimate.missing("no fluke counted", level)
    values = np.asarray(counts, float)
    best = _score_root(values)
    top = log_likelihood_k(best, values)
    drop = top - float(ndtri(0.5 + level / 2)) ** 2 / 2
    low, high = _profile_limits(values, best, drop)
    return PointEstimate(best, low, high, "k by maximum likelihood, profile likelihood", level)


def _score_root(values: np.ndarray) -> float:
    from scipy.optimize import brentq

    mean = values.mean()
    if values.var() <= mean:  # the likelihood then rises to the Poisson distribution
        return math.inf

    def score(log_k: float) -> float:
        k = math.exp(log_k)
        return float(np.sum(psi(values + k) - psi(k)) - values.size * math.log1p(mean / k))

    low, high = (math.log(b) for b in _K_BOUNDS)
    return math.inf if score(high) > 0 else math.exp(brentq(score, low, high, xtol=1e-13))


def _profile_limits(values: np.ndarray, best: float, drop: float) -> tuple[float, float]:
    from scipy.optimize import brentq

    def gap(log_k: float) -> float:
        return log_likelihood_k(math.exp(log_k), values) - drop

    bottom, top = (math.log(b) for b in _K_BOUNDS)
    middle = min(math.log(best), top) if best < math.inf else top
    low = 0.0 if gap(bottom) > 0 else math.exp(brentq(gap, bottom, middle))
    poisson = float(np.sum(xlogy(values, values.mean()) - values.mean() - gammaln(values + 1)))
    high = math.inf if poisson > drop or best == math.inf else math.exp(brentq(gap, middle, top))
    return low, high

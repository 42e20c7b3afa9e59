"""Averages over fish: which fish are chosen, quadrature over their rates, and the chance that one shows a fluke.

References
----------
Takahasi & Mori 1974 Publ RIMS 9:721 (double exponential substitution; from memory).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainccinv, gammaln, logsumexp

from burden.statistics.negative_binomial import log_count, log_part_count

__all__ = ["detection_per_fish", "gamma_quadrature", "log_mean_over_fish", "pick_pressure", "tilted_gamma"]

# the gamma's mass that the quadrature leaves out below and above: small against any likelihood that matters
_LOWER_MASS = 1e-40
_UPPER_MASS = 1e-60
# step of the quadrature over the width of the likelihood: the trapezoid rule errs by 2·exp(−2π²/0.95²) there
_STEP_PER_WIDTH = 0.95
# where the pressure of picking is solved, between them it is interpolated
_PRESSURE_LOG_K = np.log([*np.geomspace(0.05, 20.0, 25), 40.0, 100.0, 300.0, 1000.0])
_PRESSURE_TILT = np.linspace(0.0, 1.0, 21)


def tilted_gamma(k: ArrayLike, mean: ArrayLike, selection_bias: ArrayLike = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Distribution of Λ among fish chosen with probability proportional to Λ^tilt.

    Parameters
    ----------
    k, mean : array_like
        Aggregation [-] and mean abundance [flukes] of all fish.
    selection_bias : array_like
        0 for random fish, 1 for fish chosen fully in proportion to burden; above −k [-].

    Returns
    -------
    shape, scale : numpy.ndarray
        Of the gamma distribution: k + tilt [-], mean/k [flukes].

    Notes
    -----
    Gamma density times Λ^tilt is a gamma density with the same scale. The chosen fish's mean is
    mean·(1 + tilt/k).

    Examples
    --------
    >>> shape, scale = tilted_gamma(0.5, 20.0, 1.0)
    >>> float(shape * scale)  # a moribund fish carries three times the mean
    60.0
    """
    k, mean = np.asarray(k, float), np.asarray(mean, float)
    return k + np.asarray(selection_bias, float), mean / k


def pick_pressure(k: ArrayLike, selection_bias: ArrayLike, share: float) -> np.ndarray:
    """How hard a stock of few fish is picked over, by their burden, until a share of it has been taken.

    Parameters
    ----------
    k, tilt : array_like
        Aggregation and tilt, as in `tilted_gamma`, shape (draws,) [-].
    share : float
        Of the fish, above 0 and below 1 [-].

    Returns
    -------
    numpy.ndarray
        τ, shape (draws,): a fish of rate Λ has been taken with chance 1 − exp(−τ y^tilt), y = Λ k/mean [-].

    Notes
    -----
    To pick one fish after the other in proportion to y^tilt is to let each wait an exponential time of that rate and
    to take those that come first. τ is the time by which the share is taken on average, to 1 % between the nodes of a
    grid; whoever uses it norms the chances. As the share goes to 0 those taken follow the tilted gamma, as it goes to 1
    all fish. ln E exp(−τ y^tilt) is convex in τ, so Newton's method from the left rises to the root. Beyond the grid
    fish are all but alike, y is k, and τ falls as k^−tilt.

    Examples
    --------
    >>> float(pick_pressure(1.0, 1.0, 0.5).round(2))  # exponential rates: E exp(−τ y) = 1/(1 + τ)
    1.0
    """
    at_k = np.interp(np.log(k), _PRESSURE_LOG_K, np.arange(_PRESSURE_LOG_K.size))
    at_tilt = np.interp(np.asarray(selection_bias, float), _PRESSURE_TILT, np.arange(_PRESSURE_TILT.size))
    row = np.minimum(at_k.astype(int), _PRESSURE_LOG_K.size - 2)
    column = np.minimum(at_tilt.astype(int), _PRESSURE_TILT.size - 2)
    table, across, along = _pressures(share), at_k - row, at_tilt - column
    low = (1 - along) * table[row, column] + along * table[row, column + 1]
    high = (1 - along) * table[row + 1, column] + along * table[row + 1, column + 1]
    beyond = np.maximum(np.log(k) - _PRESSURE_LOG_K[-1], 0.0)
    return np.exp((1 - across) * low + across * high - beyond * selection_bias)


@lru_cache(maxsize=64)
def _pressures(share: float) -> np.ndarray:
    """ln τ on the grid of ln k and tilt."""
    k, selection_bias = (x.ravel() for x in np.meshgrid(np.exp(_PRESSURE_LOG_K), _PRESSURE_TILT, indexing="ij"))
    y, log_weight = gamma_quadrature(k, np.ones_like(k), largest_count=20.0)
    waiting, log_rest = np.maximum(y, 1e-290) ** selection_bias, np.log1p(-share)
    pressure = -log_rest / (np.exp(log_weight) * waiting).sum(0)
    for _ in range(12):
        there = np.exp(log_weight - pressure * waiting)
        rest = there.sum(0)
        pressure = pressure + (np.log(rest) - log_rest) * rest / (there * waiting).sum(0)
    return np.log(pressure).reshape(_PRESSURE_LOG_K.size, _PRESSURE_TILT.size)


def gamma_quadrature(
    shape: ArrayLike, scale: ArrayLike, largest_count: float = 100.0, smallest_rate: float = 0.1
) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and log-weights that average a likelihood over fish.

    Parameters
    ----------
    shape, scale : array_like
        Of the gamma distribution of Λ, shape (draws,) or scalar [-], [flukes].
    largest_count : float
        Largest whole-site count of one fish that the likelihood will hold; sets the step. Of clumped
        part-counts x of size s only 1/(1/x + 1/s) counts, a few flukes [flukes].
    smallest_rate : float
        Rate below which nearly every fish is clean and nodes may lie far apart [flukes].

    Returns
    -------
    rate, log_weight : numpy.ndarray
        Each of shape (nodes, draws): Λ [flukes] and the log of its share of fish [-].

    Notes
    -----
    Trapezoid rule in t with ln(Λ/scale) = t − exp(c − t): steps are even in ln Λ above `smallest_rate` and
    widen double-exponentially below, so that a gamma with k far below 1, unbounded at 0, costs little.
    The likelihood of a whole-site count x has width 1/√(x + shape) in ln Λ, and the step is kept below it:
    the relative error is below 1e-6 for shape 0.05 to 9 and mean up to 3000 (tested), nodes about 130 to 250.

    Examples
    --------
    >>> rate, log_weight = gamma_quadrature(0.5, 40.0)
    >>> zero = np.exp(log_weight - rate).sum()
    >>> bool(np.isclose(zero, (1 + 40.0) ** -0.5, rtol=1e-9))
    True
    """
    shape, scale = np.broadcast_arrays(np.asarray(shape, float), np.asarray(scale, float))
    bend = np.minimum(np.log(smallest_rate / scale), 0.0)
    last = np.log(gammainccinv(shape, _UPPER_MASS))
    first = np.minimum((np.log(_LOWER_MASS) + gammaln(shape + 1)) / shape, bend)
    start = _bent_time(first - bend) + bend
    widest = _STEP_PER_WIDTH / np.sqrt(largest_count + shape)
    nodes = 1 + int(np.ceil(np.max((last - start) / widest)))
    t, step = np.linspace(start, last, nodes, retstep=True)
    log_y = t - np.exp(bend - t)
    log_weight = shape * log_y - np.exp(log_y) - gammaln(shape) + np.log1p(np.exp(bend - t)) + np.log(step)
    return scale * np.exp(log_y), log_weight


def _bent_time(target: np.ndarray) -> np.ndarray:
    """Solve t − exp(−t) = target for t, by Newton's method, which rises to the root from the left."""
    t = np.where(target < -2, -np.log(np.maximum(-target, 1.0)), target)
    for _ in range(30):
        t = t - (t - np.exp(-t) - target) / (1 + np.exp(-t))
    return t


def log_mean_over_fish(log_likelihood: ArrayLike, log_weight: ArrayLike) -> np.ndarray:
    """Log of a likelihood averaged over fish.

    Parameters
    ----------
    log_likelihood : array_like
        At the nodes, shape (nodes, …); for several preparations of one fish, their sum [-].
    log_weight : array_like
        From `gamma_quadrature`, shape (nodes, …) [-].

    Returns
    -------
    numpy.ndarray
        Shape (…) [-].
    """
    return logsumexp(np.asarray(log_likelihood) + np.asarray(log_weight), axis=0)


def detection_per_fish(
    mean: ArrayLike,
    k: ArrayLike,
    fraction_examined: ArrayLike,
    preparations: ArrayLike = 1,
    detection_per_fluke: ArrayLike = 1.0,
    part_shape: ArrayLike = 1.0,
    selection_bias: ArrayLike = 0.0,
) -> np.ndarray:
    """Chance that the preparations taken from one infected fish show a fluke.

    Parameters
    ----------
    mean, k : array_like
        Mean abundance of the stock [flukes] and aggregation [-]; all arguments broadcast to (draws,).
    fraction_examined : array_like
        Share of the site that one preparation shows [-].
    preparations : array_like
        Preparations of each fish [-].
    detection_per_fluke, part_shape : array_like
        As in `log_part_count` [-].
    selection_bias : array_like
        How the fish are chosen, as in `tilted_gamma` [-].

    Returns
    -------
    numpy.ndarray
        Shape (draws,) [-].

    Notes
    -----
    P(a fluke seen)/P(the fish is infected): without false finds, only an infected fish can show one.

    Examples
    --------
    >>> detection_per_fish(16.3, 0.3, 0.02, [1, 2, 6]).round(2).tolist()
    [0.24, 0.38, 0.63]
    """
    shape, scale, q, n, d, a = np.broadcast_arrays(
        *tilted_gamma(k, mean, selection_bias), fraction_examined, preparations, detection_per_fluke, part_shape
    )
    rate, log_weight = gamma_quadrature(shape, scale)
    empty = n * log_part_count(0, 0, rate, q, d, a)
    seen = -np.expm1(log_mean_over_fish(empty, log_weight))
    infected = -np.expm1(log_count(0, shape * scale, shape))
    # whole-fish looks at d = 1 meet the two only to the quadrature's 1e-9
    return np.minimum(seen / infected, 1.0)

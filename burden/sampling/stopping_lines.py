"""Lines of sequential plans, and the exact course of a count that follows them.

References
----------
Kuno 1969 Res Popul Ecol 11:127; Green 1970 Res Popul Ecol 12:249 (fixed precision).
Wald 1947 Sequential Analysis; Waters 1955 For Sci 1:68 (two thresholds, probability ratio).
Iwao 1975 Res Popul Ecol 16:281 (one threshold).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.signal import fftconvolve

from burden.statistics import log_count, log_count_range

__all__ = ["green_line", "iwao_lines", "kuno_line", "sprt_lines", "walk_to_decision"]

#: totals told apart on the way through a card
_MOST_STEPS = 4096


def kuno_line(n: np.ndarray, precision: float, alpha: float, beta: float) -> np.ndarray:
    """Total count at which the mean of n fish has this precision, by the mean-crowding regression.

    Parameters
    ----------
    n : array_like
        Fish counted so far.
    precision : float
        Standard error over mean [-].
    alpha, beta : float
        Intercept and slope of mean crowding on mean; 0 and 1 + 1/k for a negative binomial [flukes], [-].

    Returns
    -------
    numpy.ndarray
        (alpha + 1)/(precision² − (beta − 1)/n); NaN while n is too small for any total [flukes].

    Examples
    --------
    >>> kuno_line([10, 20, 40], 0.25, 0.0, 2.0).round(4).tolist()
    [nan, 80.0, 26.6667]
    """
    left = precision**2 - (beta - 1) / np.asarray(n, float)
    return np.where(left > 0, (alpha + 1) / np.where(left > 0, left, 1.0), math.nan)


def green_line(n: np.ndarray, precision: float, a: float, b: float) -> np.ndarray:
    """Total count at which the mean of n fish has this precision, by variance = a·mean^b.

    Parameters
    ----------
    n : array_like
        Fish counted so far.
    precision : float
        Standard error over mean [-].
    a, b : float
        Factor and exponent of variance on mean (Taylor), b not 2 [-].

    Returns
    -------
    numpy.ndarray
        (precision²/a)^(1/(b−2)) · n^((b−1)/(b−2)) [flukes].

    Examples
    --------
    >>> green_line([5, 20], 0.25, 2.0, 1.5).tolist()
    [204.8, 51.2]
    """
    return (precision**2 / a) ** (1 / (b - 2)) * np.asarray(n, float) ** ((b - 1) / (b - 2))


def sprt_lines(
    low: float, high: float, k: float, call_high: float = 0.1, call_low: float = 0.1
) -> tuple[float, float, float]:
    """Stop lines of the probability-ratio test between two means of a negative binomial.

    Parameters
    ----------
    low, high : float
        Means: at or below the one no action, at or above the other action [flukes].
    k : float
        Aggregation, common to both [-].
    call_high, call_low : float
        Chance of calling a low burden high, and a high one low [-].

    Returns
    -------
    slope, lower, upper : float
        The total is low below slope·n + lower, high above slope·n + upper [flukes].

    Examples
    --------
    >>> [round(v, 4) for v in sprt_lines(1.0, 2.0, 1.0)]
    [1.4094, -7.6377, 7.6377]
    """
    ratio = math.log(high * (k + low) / (low * (k + high)))
    slope = k * math.log((k + high) / (k + low)) / ratio
    lower, upper = math.log(call_low / (1 - call_high)), math.log((1 - call_low) / call_high)
    return slope, lower / ratio, upper / ratio


def iwao_lines(n: np.ndarray, threshold: float, alpha: float, beta: float, z: float) -> tuple[np.ndarray, np.ndarray]:
    """Stop lines about one threshold: n·threshold ± z·√(n·variance at the threshold).

    Parameters
    ----------
    n : array_like
        Fish counted so far.
    threshold : float
        Mean to decide about [flukes].
    alpha, beta : float
        As in `kuno_line`.
    z : float
        Normal point of the error allowed [-].

    Returns
    -------
    lower, upper : numpy.ndarray
        [flukes]

    Examples
    --------
    >>> [line.round(3).tolist() for line in iwao_lines([10], 2.0, 0.0, 2.0, 1.645)]
    [[7.258], [32.742]]
    """
    n = np.asarray(n, float)
    half = z * np.sqrt(n * ((alpha + 1) * threshold + (beta - 1) * threshold**2))
    return n * threshold - half, n * threshold + half


def walk_to_decision(lines: tuple[Mapping[str, Any], ...], seen_mean: float, k: float) -> tuple[float, float, float]:
    """Chance of each call and mean number of fish of a two-line card, for counts of a negative binomial.

    Parameters
    ----------
    lines : tuple of mapping
        Rows of a `StopCard` by `stop_at_threshold`.
    seen_mean, k : float
        Mean [flukes] and aggregation [-] of what is seen on a fish.

    Returns
    -------
    called_low, called_high, fish : float
        Chances [-], and fish looked at until a call or the end of the card.

    Notes
    -----
    The distribution of the total among cards still open, one convolution a fish. Exact while no line lies above 4,096
    flukes; above that counts are taken in steps of the highest line over 4,096, each count at the middle of its step.

    Examples
    --------
    >>> lines = ({"fish": 1, "low_at_most": 0, "high_at_least": 1},)
    >>> [round(v, 6) for v in walk_to_decision(lines, 1.0, 1.0)]
    [0.5, 0.5, 1.0]
    """
    width = math.ceil(max(line["high_at_least"] for line in lines) / _MOST_STEPS)
    step = _share_of_steps(math.ceil(max(line["high_at_least"] for line in lines) / width), width, seen_mean, k)
    open_total, called_low, called_high, fish = np.ones(1), 0.0, 0.0, 0.0
    for line in lines:
        still = float(open_total.sum())
        fish += still
        total = fftconvolve(open_total, step)[: math.ceil(line["high_at_least"] / width)]
        called_high += still - float(total.sum())
        low_steps = 0 if line["low_at_most"] is None else line["low_at_most"] // width + 1
        called_low += float(total[:low_steps].sum())
        total[:low_steps] = 0.0
        open_total = total
    return called_low, called_high, fish


def _share_of_steps(steps: int, width: int, mean: float, k: float) -> np.ndarray:
    """Chance of a count in each step, shape (steps,): of each whole number, or of `width` of them about its middle."""
    at = np.arange(steps) * width
    if width == 1:
        return np.exp(log_count(at, mean, k))
    return np.exp(log_count_range(np.maximum(at - width // 2, 0), at + (width - 1) // 2, mean, k))

"""Whole fish and whole flukes: what chance adds to a course that the equations give as means."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri, pdtrik

from burden.utils.random_streams import uniform_draws

__all__ = ["whole_deaths", "whole_flukes"]

#: fish of a stock up to which each has its own day of death; above, the number is normal about its mean
_EACH = 300
#: flukes above which their number is normal about its mean
_NORMAL = 1000.0


def whole_deaths(expected: np.ndarray, fish: int, seed: int) -> np.ndarray:
    """Fish dead by day as whole numbers, shape (K, M).

    Parameters
    ----------
    expected : numpy.ndarray
        Mean number dead by each day, never falling, shape (K, M).
    fish : int
        Alive at the start.
    seed : int
        Same seed, same luck of every fish: two courses of the same draws differ by what is done alone.

    Notes
    -----
    A fish's susceptibility is a draw of its own, so the number dead by a day is binomial, and a fish that is dead
    stays so: each has one uniform number and is dead once the expected share exceeds it.
    """
    share = np.clip(expected / max(fish, 1), 0, 1)
    m = expected.shape[1]
    if fish <= _EACH:
        luck = np.sort(np.random.default_rng([seed, 7919]).random((m, fish)), axis=1)
        return np.stack([np.searchsorted(luck[i], share[:, i]) for i in range(m)], axis=1).astype(float)
    z = ndtri(uniform_draws("luck of the fish", m, seed))
    number = np.rint(fish * share + z * np.sqrt(fish * share * (1 - share)))
    return np.maximum.accumulate(np.clip(number, 0, fish), axis=0)


def whole_flukes(expected: np.ndarray, seed: int) -> np.ndarray:
    """Flukes on all fish as whole numbers, Poisson about their mean, shape (K, M).

    Parameters
    ----------
    expected : numpy.ndarray
        Mean number on each day, shape (K, M).
    seed : int
        Same seed, same luck.

    Notes
    -----
    Of many that may each survive, or hatch and settle, few do: their number is Poisson. What begets its own kin from
    a handful spreads wider than that.
    """
    u = uniform_draws("luck of the flukes", expected.shape[1], seed)[None, :]
    few = np.minimum(expected, _NORMAL)
    none = u <= np.exp(-few)
    with np.errstate(invalid="ignore"):
        number = np.where(none, 0.0, np.ceil(pdtrik(np.broadcast_to(u, few.shape), np.maximum(few, 1e-12))))
    number = np.where(np.isfinite(number), number, few)
    return np.where(expected > _NORMAL, np.maximum(expected + ndtri(u) * np.sqrt(expected), 0.0), number)

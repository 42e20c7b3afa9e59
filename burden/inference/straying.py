"""From look to look a pond strays from the equations: settling comes in waves, fish crowd, rain falls.

A run that must pass exactly through every earlier count takes its own law of growth for more than it is, and pulls
whole counts towards it. So the flukes on the fish are those of the run times a factor that wanders. It is summed over
for every draw, so that the sampler need not look for it, and drawn at the end from what the counts leave.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp, stdtr, stdtrit

from burden.utils.random_streams import uniform_draws

__all__ = ["Drift", "Strayed", "stray", "strayed_ahead"]

#: how far the log of a burden strays in a fortnight, as the scale of a Student t of so many degrees of freedom:
#: assumptions. Mostly within half or double, now and then a fifth or fivefold
_STRAYS, _FREEDOM = 0.5, 4.0
_FORTNIGHT_DAYS = 14.0
#: after so long what strayed has come back to what the pond bears, an assumption [d]
_FORGOTTEN_DAYS = 56.0
#: logs of the factor at which counts are weighed, and the finer ones over which they are interpolated; a cell of these
_NODES, _GRID = np.linspace(-3.0, 3.0, 9), np.linspace(-3.0, 3.0, 61)
_CELL = _GRID[1] - _GRID[0]
#: log-likelihood of what cannot be, and how far below the best node nothing is told apart any more
_IMPOSSIBLE, _BEYOND = -1e6, 1e4


@dataclass(frozen=True)
class Drift:
    """By what factor each pond has strayed over a run.

    Parameters
    ----------
    days : tuple of float
        Of the looks, rising, shape (L,) [d].
    log_factor : numpy.ndarray
        Shape (L, M).
    """

    days: tuple[float, ...]
    log_factor: np.ndarray

    def at(self, day: float) -> np.ndarray:
        """Return the factor on a day, shape (M,): evenly between two looks, and as at the nearest outside them."""
        i = int(np.searchsorted(self.days, day))
        if i in (0, len(self.days)):
            return np.asarray(np.exp(self.log_factor[min(i, len(self.days) - 1)]))
        share = (day - self.days[i - 1]) / (self.days[i] - self.days[i - 1])
        return np.asarray(np.exp((1 - share) * self.log_factor[i - 1] + share * self.log_factor[i]))


@dataclass(frozen=True)
class Strayed:
    """How far ponds have strayed at each look of a run, M draws; at the first they stand where they are drawn.

    Parameters
    ----------
    days : tuple of float
        Of the looks, rising, L of them [d].
    log_likelihood : numpy.ndarray
        Of each look given those before, shape (L, M).
    log_chance : numpy.ndarray
        Of each log factor of the grid given the looks so far, shape (L, G, M).
    """

    days: tuple[float, ...]
    log_likelihood: np.ndarray
    log_chance: np.ndarray

    def draw(self, seed: int) -> Drift:
        """Draw how each pond strayed from what all looks leave.

        Notes
        -----
        Backward from the last look (Carter and Kohn 1994, Biometrika 81:541, from memory).
        """
        chance, found = np.exp(self.log_chance[-1]), []
        for i in range(len(self.days) - 1, 0, -1):
            node, log_factor = _drawn(chance, f"strayed by day {self.days[i]:g}", seed)
            found.append(log_factor)
            step = _steps(self.days[i] - self.days[i - 1])
            chance = np.exp(self.log_chance[i - 1]) * step[:, node]
        return Drift(self.days, np.array([*found, np.zeros(chance.shape[1])])[::-1])

    def foretold(self, i: int, seed: int) -> np.ndarray:
        """Draw the log of the factor at a look from what the looks before it leave, shape (M,)."""
        chance = _steps(self.days[i] - self.days[i - 1]).T @ np.exp(self.log_chance[i - 1])
        return _drawn(chance, f"strayed by day {self.days[i]:g} as foretold", seed)[1]


def strayed_ahead(days: float, m: int, seed: int) -> np.ndarray:
    """Draw by what factor ponds stray from what is foretold of them, so many days after a look, shape (M,) [-].

    Parameters
    ----------
    days : float
        [d]
    m : int
        Ponds.
    seed : int
    """
    log_factor = _scale(days) * stdtrit(_FREEDOM, uniform_draws("strayed by the next look", m, seed))
    return np.asarray(np.exp(np.clip(log_factor, _GRID[0], _GRID[-1])))


def _drawn(chance: np.ndarray, name: str, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Node of the grid drawn by its chance, and a log factor anywhere in its cell, shape (M,) each."""
    m, up_to = chance.shape[1], np.cumsum(chance, axis=0)
    node = np.minimum((up_to < uniform_draws(name, m, seed) * up_to[-1]).sum(0), _GRID.size - 1)
    return node, np.asarray(_GRID[node] + _CELL * (uniform_draws(f"{name}, within", m, seed) - 0.5))


def stray(days: Sequence[float], log_likelihood: Callable[[float, np.ndarray], np.ndarray], m: int) -> Strayed:
    """Sum the looks of a run over how far its ponds may have strayed at each.

    Parameters
    ----------
    days : sequence of float
        Of the looks, rising [d].
    log_likelihood : callable
        (day, factors by which the burden is multiplied, shape (Q,)) to the log-likelihood of what was seen that day,
        shape (Q, m).
    m : int
        Draws.

    Notes
    -----
    The log of the factor is a random walk whose scale grows with the square root of the days (an assumption), filtered
    forward on a grid. Between nodes the log-likelihood is a cubic spline.
    """
    start = np.full((_GRID.size, m), -np.inf)
    start[_GRID.size // 2] = 0.0
    likely, chances = [log_likelihood(days[0], np.ones(1))[0]], [start]
    between = _between_nodes()
    for before, day in pairwise(days):
        ahead = _steps(day - before).T @ np.exp(chances[-1])
        here = between @ _finite(log_likelihood(day, np.exp(_NODES))) + np.log(np.maximum(ahead, 1e-300))
        likely.append(logsumexp(here, axis=0))
        chances.append(here - likely[-1])
    return Strayed(tuple(days), np.array(likely), np.array(chances))


def _finite(log_likelihood: np.ndarray) -> np.ndarray:
    """Keep a spline off infinity: flukes counted where a pond has none are all but impossible."""
    return np.maximum(log_likelihood, np.maximum(log_likelihood.max(0), _IMPOSSIBLE) - _BEYOND)


def _scale(days: float) -> float:
    """How far the log of a burden strays in so many days, as the scale of its Student t [-]."""
    return float(_STRAYS * np.sqrt(min(days, _FORGOTTEN_DAYS) / _FORTNIGHT_DAYS))


@cache
def _between_nodes() -> np.ndarray:
    """Cubic splines through the nodes as a matrix, (grid, nodes)."""
    return np.asarray(CubicSpline(_NODES, np.eye(_NODES.size))(_GRID))


@cache
def _steps(days: float) -> np.ndarray:
    """Chance of each cell of the grid so many days after each of its points, (from, to)."""
    scale = _scale(days)
    apart = _GRID - _GRID[:, None]
    chance = stdtr(_FREEDOM, (apart + _CELL / 2) / scale) - stdtr(_FREEDOM, (apart - _CELL / 2) / scale)
    return np.asarray(chance / chance.sum(1, keepdims=True))

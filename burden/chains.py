"""How a chain of equal stages moves in one time step, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["ChainKernel", "chain_kernel"]


@dataclass(frozen=True)
class ChainKernel:
    """How a chain of n stages moves in one step, exactly, by the number of stages passed.

    Events fall at the total rate of passing a stage and of being taken; each is a passing with probability
    `n pace / (n pace + hazard)`, and an individual that is there at the end met only passings.
    """

    stages: int
    forward: np.ndarray  # rate of passing one stage, (M,) [1/d]
    shift: np.ndarray  # share that has moved on by j stages and lives, (J, M)
    exit: np.ndarray  # share of those m + 1 stages from the end that completes, (J, M)
    entry: np.ndarray  # share of an even inflow found at stage j, (J, M)
    tilt: np.ndarray  # the same of an inflow that rises by one over the step and adds up to nothing, (J, M)
    entry_exit: np.ndarray  # share of an even inflow that completes, (M,)


def chain_kernel(stages: int, pace: np.ndarray | float, hazard: np.ndarray | float, dt: float) -> ChainKernel:
    """Return the kernel of a chain for one step.

    Parameters
    ----------
    stages : int
        Number of equal stages n.
    pace, hazard : array_like
        Development per day and death rate, shape (M,) or a number [1/d].
    dt : float
        [d]
    """
    forward = stages * np.atleast_1d(np.asarray(pace, float))
    total = forward + hazard
    success = np.divide(forward, total, out=np.zeros_like(total), where=total > 0)
    events = total * dt
    largest = float(events.max())
    terms = min(stages, _terms(largest))
    pmf, more = _poisson(events, terms)
    powers = success ** np.arange(terms + 1)[:, None]
    # an even inflow waits an even time: the mean over it of Pois(j; events · time), and of that times time
    some = events > 1e-6
    even = np.divide(more[:-1], events, out=np.zeros_like(pmf), where=some)
    even[0][~some] = 1.0
    order = np.arange(1, terms + 1)[:, None]
    late = np.divide(order * more[1:], events**2, out=0.5 * even, where=some)
    entry_exit = np.zeros_like(events)
    if terms == stages:
        entry_exit = success**stages * np.maximum(1 - even.sum(0), 0)
    return ChainKernel(
        stages,
        forward,
        shift=pmf * powers[:-1],
        exit=more[:-1] * powers[1:],
        entry=even * powers[:-1],
        tilt=(0.5 * even - late) * powers[:-1],
        entry_exit=entry_exit,
    )


def _terms(mean: float) -> int:
    """Terms of a Poisson number beyond which less than 1e-12 lies."""
    return int(np.ceil(mean + 6.5 * np.sqrt(mean) + 7))


def _poisson(mean: np.ndarray, terms: int) -> tuple[np.ndarray, np.ndarray]:
    """P(N = j) for j < terms, and P(N >= j + 1) for j <= terms; each with a first axis of j."""
    pmf = np.empty((terms + 1, mean.size))
    pmf[0] = np.exp(-mean)
    for j in range(1, terms + 1):
        pmf[j] = pmf[j - 1] * mean / j
    more = np.maximum(1 - np.cumsum(pmf, 0), 0)
    more[0] = -np.expm1(-mean)
    return pmf[:-1], more

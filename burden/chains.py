"""How a chain of equal stages moves in one time step, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["ChainKernel", "chain_kernel", "chain_passage"]


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
    bend: np.ndarray  # the same of one that is one more at both ends, less between, and adds up to nothing, (J, M)
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
    if stages == 1:
        pmf, more, (even, late, later) = _of_one(events)
        terms = 1
    else:
        reach = _terms(float(events.max()))
        terms = min(stages, reach)
        pmf, more = _poisson(events, reach + 2)
        even, late, later = _waits(events, more, terms)
    powers = np.ones((terms + 1, success.size))
    np.multiply.accumulate(np.broadcast_to(success, (terms, success.size)), out=powers[1:])
    entry_exit = np.zeros_like(events)
    if terms == stages:
        entry_exit = success**stages * np.maximum(1 - even.sum(0), 0)
    return ChainKernel(
        stages,
        forward,
        shift=pmf[:terms] * powers[:-1],
        exit=more[:terms] * powers[1:],
        entry=even * powers[:-1],
        tilt=(0.5 * even - late) * powers[:-1],
        bend=(6 * (later - late) + even) * powers[:-1],
        entry_exit=entry_exit,
    )


def chain_passage(
    stages: int, pace: np.ndarray | float, hazard: np.ndarray | float, dt: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return `shift` and `exit` of the kernel of a chain alone, for those who look back and let nobody enter.

    Parameters
    ----------
    stages, pace, hazard, dt
        As `chain_kernel` takes them.

    Returns
    -------
    shift, exit : numpy.ndarray
        As in `ChainKernel`, shape (J, M) each.
    """
    forward = stages * np.atleast_1d(np.asarray(pace, float))
    total = forward + hazard
    success = np.divide(forward, total, out=np.zeros_like(total), where=total > 0)
    events = total * dt
    terms = min(stages, _terms(float(events.max())))
    pmf = np.empty((terms, events.size))
    pmf[0] = np.exp(-events)
    for j in range(1, terms):
        np.multiply(pmf[j - 1], events / j, out=pmf[j])
    more = np.maximum(1 - np.cumsum(pmf, 0), 0)
    more[0] = -np.expm1(-events)
    passed = np.multiply.accumulate(np.broadcast_to(success, (terms, success.size)))
    more *= passed
    pmf[1:] *= passed[:-1]
    return pmf, more


def _of_one(events: np.ndarray) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, ...]]:
    """P(N = 0), P(N >= 1), and means over an even wait s of exp(−events · s) times 1, s and s², for one stage alone."""
    gone = np.exp(-events)
    some = events > 0.1
    safe = np.where(some, events, 1.0)
    even = -np.expm1(-events) / safe
    late = (even - gone) / safe
    later = (2 * late - gone) / safe
    if not some.all():
        few = events[~some]
        for moment, found in enumerate((even, late, later), 1):  # differences of nearly equal numbers: a series
            found[~some] = 1 / moment + few * (-1 / (moment + 1) + few * (
                1 / (2 * moment + 4) + few * (-1 / (6 * moment + 18) + few * (1 / (24 * moment + 96)))
            ))  # fmt: skip
    return gone[None], -np.expm1(-events)[None], (even[None], late[None], later[None])


def _waits(events: np.ndarray, more: np.ndarray, terms: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means over a wait s, even between 0 and 1, of Pois(j; events · s), and of that times s and s², (J, M) each."""
    some = events > 1e-3
    safe = np.where(some, events, 1.0)
    order = np.arange(1, terms + 1)[:, None]
    even = more[:terms] / safe
    late = order * more[1 : terms + 1] / safe**2
    later = order * (order + 1) * more[2 : terms + 2] / safe**3
    if not some.all():
        for moment, found in enumerate((even, late, later)):
            found[:, ~some] = 0.0
            for j in range(min(terms, 2)):  # two events or more in such a step are beyond rounding
                found[j, ~some] = events[~some] ** j * (1 / (moment + j + 1) - events[~some] / (moment + j + 2))
    return even, late, later


def _terms(mean: float) -> int:
    """Terms of a Poisson number beyond which less than 1e-8 lies, far less where the mean is small."""
    return int(np.ceil(mean + 5.5 * np.sqrt(mean) + 7))


def _poisson(mean: np.ndarray, terms: int) -> tuple[np.ndarray, np.ndarray]:
    """P(N = j) and P(N >= j + 1) for j < terms; each with a first axis of j. Tails are summed from the far end."""
    pmf = np.empty((terms + 1, mean.size))
    pmf[0] = np.exp(-mean)
    for j in range(1, terms + 1):
        np.multiply(pmf[j - 1], mean / j, out=pmf[j])
    return pmf[:-1], np.cumsum(pmf[:0:-1], 0)[::-1]

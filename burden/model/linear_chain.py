"""How a chain of equal stages moves in one time step, exactly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

__all__ = ["ChainKernel", "chain_kernel", "chain_passage", "folded", "looked_back", "moved_on"]


@dataclass(frozen=True)
class ChainKernel:
    """How a chain of n stages moves in one step, exactly, by the number of stages passed.

    Events fall at the total rate of passing a stage and of being taken; each is a passing with probability
    `n pace / (n pace + hazard)`, and an individual that is there at the end met only passings.

    A kernel of m columns also moves chains of M = S·m columns, S times those of the kernel side by side.
    """

    stages: int
    forward: np.ndarray  # rate of passing one stage, (M,) [1/d]
    shift: np.ndarray  # share that has moved on by j stages and lives, (J, m)
    exit: np.ndarray  # share of those j + 1 stages from the end that completes, (J, m)
    # share of an inflow found at stage j, (3, J, m): of an even one; of one that rises by one over the step and adds up
    # to nothing; of one that is one more at both ends, less between, and adds up to nothing
    entry: np.ndarray
    entry_exit: np.ndarray  # share of an even inflow that completes, (M,)

    def side_by_side(self, times: int) -> ChainKernel:
        """Return the kernel of so many times the columns."""

        def all_of(row: np.ndarray) -> np.ndarray:
            return row if times == 1 or row.size == 1 else np.tile(row, times)

        return replace(self, forward=all_of(self.forward), entry_exit=all_of(self.entry_exit))

    def completed(self, chain: np.ndarray) -> np.ndarray:
        """How many of a chain, (n, …, M), complete it in the step, without those that enter, (…, M)."""
        last = folded(chain[len(chain) - len(self.exit) :][::-1], self.exit)
        return np.einsum("j...m,jm->...m", last, self.exit).reshape(chain.shape[1:])

    def entered(self, parts: np.ndarray) -> np.ndarray:
        """Where in the chain those are after the step that entered it, (3, …, M) -> (J, …, M)."""
        found = np.einsum("kjm,k...m->j...m", self.entry, folded(parts, self.entry))
        return found.reshape(-1, *parts.shape[1:])


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
        return _kernel_of_one(forward, success, events)
    reach = _terms(float(events.max()))
    terms = min(stages, reach)
    shift, more = _poisson(events, reach + 2)
    entry = _waits(events, more, terms)
    powers = np.ones((terms + 1, success.size))
    powers[1:] = success
    _run_up(np.multiply, powers)
    entry_exit = np.zeros_like(events)
    if terms == stages:
        entry_exit = success**stages * np.maximum(1 - entry[0].sum(0), 0)
    shift = shift[:terms]
    shift *= powers[:-1]
    entry *= powers[:-1]
    return ChainKernel(stages, forward, shift, more[:terms] * powers[1:], entry, entry_exit)


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
    pmf = _masses(events, terms)
    more = np.maximum(1 - _run_up(np.add, pmf.copy()), 0)
    more[0] = -np.expm1(-events)
    passed = _run_up(np.multiply, np.tile(success, (terms, 1)))
    more *= passed
    pmf[1:] *= passed[:-1]
    return pmf, more


def folded(columns: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    """Part the last axis into so many times the columns of a kernel, (…, S·m) -> (…, S, m)."""
    return columns.reshape(*columns.shape[:-1], -1, kernel.shape[-1])


def moved_on(chain: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """Return a chain after a step, without what enters.

    Parameters
    ----------
    chain : numpy.ndarray
        Number in each stage, shape (n, …, M), M a multiple of m.
    shift : numpy.ndarray
        Share that has moved on by j stages, shape (J, m).
    """
    if len(chain) == 1:
        return (folded(chain, shift) * shift[0]).reshape(chain.shape)
    reach = len(shift) - 1
    padded = np.zeros((len(chain) + reach, *chain.shape[1:]))
    padded[reach:] = chain
    come_from = sliding_window_view(padded, reach + 1, axis=0)[..., ::-1]  # stages 0, 1, 2 … before each
    times = chain.shape[-1] // shift.shape[-1]
    moved: np.ndarray = np.einsum("n...mj,jm->n...m", come_from, np.tile(shift, times) if times > 1 else shift)
    return moved


def looked_back(
    later: np.ndarray, shift: np.ndarray, exit_share: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return what a chain's stages were worth a step before, and how else the step may have ended.

    Parameters
    ----------
    later : numpy.ndarray
        Worth of each stage after the step, shape (n, …, M).
    shift, exit_share : numpy.ndarray
        From `chain_passage`, shape (J, M) each.

    Returns
    -------
    worth : numpy.ndarray
        Of those still in the chain after the step, by stage before it, shape (n, …, M).
    completed, taken : numpy.ndarray
        Share that has completed the chain, and share that met its hazard, shape (n, M) each.
    """
    n = len(later)
    worth = moved_on(later[::-1], shift)[::-1]
    stay = moved_on(np.ones((n, shift.shape[1])), shift)[::-1]
    completed = np.zeros_like(stay)
    completed[n - len(exit_share) :] = exit_share[::-1]
    return worth, completed, 1 - stay - completed


def _kernel_of_one(forward: np.ndarray, success: np.ndarray, events: np.ndarray) -> ChainKernel:
    left, gone = np.exp(-events), -np.expm1(-events)
    entry = _waits_of_one(events, left, gone)
    entry_exit = success * np.maximum(1 - entry[0], 0)
    return ChainKernel(1, forward, left[None], (gone * success)[None], entry[:, None], entry_exit)


def _waits_of_one(events: np.ndarray, left: np.ndarray, gone: np.ndarray) -> np.ndarray:
    """Share of each kind of inflow still there, for one stage alone, (3, M): `entry` of a kernel.

    From the events to expect in a step, exp(−events) and one less it.
    """
    some = events > 0.1
    all_some = some.all()
    pace = 1 / (events if all_some else np.where(some, events, 1.0))
    waits = np.empty((3, events.size))
    np.multiply(gone, pace, out=waits[0])
    np.multiply(waits[0] - left, pace, out=waits[1])
    np.multiply(2 * waits[1] - left, pace, out=waits[2])
    if not all_some:
        few = events[~some]
        for moment, found in enumerate(waits, 1):  # differences of nearly equal numbers: a series
            found[~some] = 1 / moment + few * (-1 / (moment + 1) + few * (
                1 / (2 * moment + 4) + few * (-1 / (6 * moment + 18) + few * (1 / (24 * moment + 96)))
            ))  # fmt: skip
    return _by_kind(waits)


def _waits(events: np.ndarray, more: np.ndarray, terms: int) -> np.ndarray:
    """Share of each kind of inflow that has passed j stages, dead or alive, (3, J, M)."""
    some = events > 1e-3
    pace = 1 / np.where(some, events, 1.0)
    order = np.arange(1, terms + 1)[:, None]
    waits = np.empty((3, terms, events.size))
    np.multiply(more[:terms], pace, out=waits[0])
    np.multiply(more[1 : terms + 1], order * pace**2, out=waits[1])
    np.multiply(more[2 : terms + 2], order * (order + 1) * pace**3, out=waits[2])
    if not some.all():
        for moment, found in enumerate(waits):
            found[:, ~some] = 0.0
            for j in range(min(terms, 2)):  # two events or more in such a step are beyond rounding
                found[j, ~some] = events[~some] ** j * (1 / (moment + j + 1) - events[~some] / (moment + j + 2))
    return _by_kind(waits)


def _by_kind(waits: np.ndarray) -> np.ndarray:
    """From means over an even wait s of what is found after it, times 1, s and s², to the three kinds of inflow.

    In place; shape (3, …) in and out.
    """
    even, late, later = waits
    later -= late
    later *= 6
    later += even
    np.subtract(0.5 * even, late, out=late)
    return waits


def _terms(mean: float) -> int:
    """Terms of a Poisson number beyond which some 1e-8 lies at most, far less where the mean is small."""
    return int(np.ceil(mean + 5.5 * np.sqrt(mean) + 7))


def _run_up(operation: np.ufunc, rows: np.ndarray) -> np.ndarray:
    """Running sum or product down the rows, in place. Row by row: `accumulate` goes through memory column by column."""
    for before, row in pairwise(rows):
        operation(before, row, out=row)
    return rows


def _masses(mean: np.ndarray, terms: int) -> np.ndarray:
    """P(N = j) of a Poisson number for j < terms, shape (J, M)."""
    factors = np.empty((terms, mean.size))
    factors[0] = np.exp(-mean)
    np.divide(mean, np.arange(1, terms)[:, None], out=factors[1:])
    return _run_up(np.multiply, factors)


def _poisson(mean: np.ndarray, terms: int) -> tuple[np.ndarray, np.ndarray]:
    """P(N = j) and P(N >= j + 1) for j < terms; each with a first axis of j. Tails are summed from the far end."""
    pmf = _masses(mean, terms + 1)
    more = pmf[1:].copy()
    _run_up(np.add, more[::-1])
    return pmf[:-1], more

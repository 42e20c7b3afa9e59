"""When durations that start at a grid time end: in which interval, death on the way included, with the measured spread.

The gamma of a duration is summed over development, so the water's temperature may take any course. In water that keeps
its temperature every start reads one table by whole steps; only where the steps grow is anything reckoned for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import gammainc

__all__ = ["Ends", "Leaving", "Memo", "Waiting", "farthest"]

#: tables already computed, by what determines them
Memo = dict[tuple[object, ...], Any]


@dataclass(frozen=True)
class Ends:
    """When durations that start together end, U ways to start.

    Parameters
    ----------
    blocks : sequence of (int, numpy.ndarray)
        First interval of a block, counted from the start, and the share that ends, alive, in each of its K intervals,
        shape (U, K, M). Nothing ends in other intervals.
    ended : numpy.ndarray
        Share ended had nothing died, shape (U, R, M).
    alive : numpy.ndarray
        Share that death has spared, shape (R, M).
    rows : numpy.ndarray of int
        Row of `ended` and `alive` at each grid time from the start on.
    """

    blocks: Sequence[tuple[int, np.ndarray]]
    ended: np.ndarray
    alive: np.ndarray
    rows: np.ndarray

    def summed(self, start: int, horizon: int, worth: np.ndarray) -> np.ndarray:
        """Sum what ends in the intervals from a start to the horizon, times its worth, (N, S, M) -> (U, S, M)."""
        parts = []
        for first, shares in self.blocks:
            count = min(shares.shape[1], horizon - start - first)
            if count > 0:
                here = worth[start + first : start + first + count]
                parts.append(np.einsum("ukm,ksm->usm", shares[:, :count], here))
        return sum(parts[1:], parts[0]) if parts else np.zeros((len(self.ended), *worth.shape[1:]))

    def left_at(self, time: int) -> np.ndarray:
        """Share alive and not ended so many grid times after the start, (U, M); none beyond the last."""
        if time >= len(self.rows):
            return np.zeros_like(self.ended[:, 0])
        row = self.rows[time]
        return (1 - self.ended[:, row]) * self.alive[row]


@dataclass(frozen=True)
class _Table:
    """What has ended after so many of the shortest steps, K + 1 times, and the share that ends in each of the K."""

    ended: np.ndarray  # (U, K + 1, M)
    alive: np.ndarray  # (K + 1, M)
    root: np.ndarray  # square root of it: what dies within an interval counts in part
    shares: np.ndarray  # (U, K, M)
    skip: int  # steps in which nothing ends yet

    @classmethod
    def of(cls, ended: np.ndarray, alive: np.ndarray) -> _Table:
        root = np.sqrt(alive)
        shares = _ending(ended, root)
        some = np.flatnonzero((shares > 1e-12).any((0, 2)))
        return cls(ended, alive, root, shares, int(some[0]) if some.size else shares.shape[1])

    def read(self, whole: np.ndarray, even: int) -> Ends:
        """Read the table at whole steps, rising from 0; the first `even` grow by one and stand there already."""
        last = len(self.alive) - 1
        rows = np.minimum(whole, last)
        even = min(even, last)
        blocks = [(self.skip, self.shares[:, self.skip : even])] if even > self.skip else []
        if even < min(last, len(rows) - 1):
            grown = rows[even : int(np.searchsorted(whole, last)) + 1]
            blocks.append((even, _ending(self.ended[:, grown], self.root[grown])))
        return Ends(blocks, self.ended, self.alive, rows)


def _ending(ended: np.ndarray, root: np.ndarray) -> np.ndarray:
    """Share that ends, alive, between one row and the next."""
    shares = ended[:, 1:] - ended[:, :-1]
    shares *= root[1:]
    shares *= root[:-1]
    return shares


class Waiting:
    """Distribution of the interval in which a duration that starts at a grid time ends, survival included.

    Parameters
    ----------
    times : numpy.ndarray
        Grid, shape (N + 1,) [d].
    rows : sequence of mapping of str to numpy.ndarray
        Rates of every interval; intervals of one temperature share one mapping.
    memo : dict
        Tables already computed.
    rate, shape, loss : str
        Names of the pace of development, of the gamma's shape and of the death rate among the rates.
    """

    def __init__(
        self, times: np.ndarray, rows: Sequence[Mapping[str, np.ndarray]], memo: Memo, rate: str, shape: str, loss: str
    ) -> None:
        self.times, self.rows, self.memo = times, rows, memo
        self.rate, self.shape, self.loss = rate, shape, loss
        self.progress = self._summed(rate)
        self.worn = self._summed(loss)
        self._same = _runs(rows)
        shortest = np.diff(times).min()
        span = times[-1] - times[0]
        self._step = float(span / round(span / shortest))  # of the whole span, so that no rounding adds up along it
        passed = (times - times[0]) / self._step
        whole = np.round(passed).astype(int)
        self._whole = whole if np.abs(passed - whole).max() <= 1e-6 else None  # grid times in shortest steps
        self._even = _even(whole)
        self._last = self._reaches()
        self._parts: tuple[tuple[int, int], Ends] | None = None

    def _summed(self, rate: str) -> np.ndarray:
        """A rate summed over the grid from its first time on, (N + 1, M)."""
        draws = self.rows[0][self.shape].size
        paces = np.array([np.broadcast_to(row[rate], (draws,)) for row in self.rows]) * np.diff(self.times)[:, None]
        return np.concatenate([np.zeros((1, draws)), np.cumsum(paces, 0)])

    def _reaches(self) -> np.ndarray:
        """Grid time at which all but a ten-millionth of those that started at each have ended, for every draw."""
        count = len(self.rows)
        last = np.full(count + 1, count)
        reach = count
        for i in range(count - 1, -1, -1):
            limit = self.progress[i] + farthest(self.rows[i][self.shape])
            while reach - 1 > i and (self.progress[reach - 1] >= limit).all():
                reach -= 1
            last[i] = reach
        return last

    def from_start(self, i: int) -> Ends:
        """Those that start at grid time i, one way to start."""
        return self._find(i, (0.0,))

    def from_stages(self, i: int, stages: int) -> Ends:
        """Those in the middle of each of `stages` equal parts of development at grid time i.

        The last answer is kept: several numbers of doses may ask for the same start.
        """
        if self._parts is None or self._parts[0] != (i, stages):
            self._parts = ((i, stages), self._find(i, tuple((np.arange(stages) + 0.5) / stages)))
        return self._parts[1]

    def _find(self, i: int, done: tuple[float, ...]) -> Ends:
        """Look a distribution up by what determines it; where the temperature changes that is the start itself."""
        last = self._last[i]
        row = self.rows[min(i, len(self.rows) - 1)]
        if self._same[i] < last or self._whole is None:
            ended = np.array([self._ended(i, last, share, row[self.shape]) for share in done])
            table = _Table.of(ended, np.exp(self.worn[i] - self.worn[i : last + 1]))
            return table.read(np.arange(len(table.alive)), len(table.alive))
        return self._table(done, row).read(self._whole[i : last + 1] - self._whole[i], min(self._even[i], last - i))

    def _ended(self, i: int, last: int, done: float, shape: np.ndarray) -> np.ndarray:
        """Share ended by each grid time after a start, in water of any course of temperature, (K + 1, M)."""
        return _given(done, _gamma_share(shape, done + self.progress[i : last + 1] - self.progress[i]))

    def _table(self, done: tuple[float, ...], row: Mapping[str, np.ndarray]) -> _Table:
        """By whole steps, in water that keeps its temperature."""
        step, shape, pace = self._step, row[self.shape], row[self.rate]
        key = (self.rate, done, row["temperature"].tobytes(), round(step, 9))  # the same for grids of other spans
        if key not in self.memo:
            longest = float((farthest(shape) / np.maximum(pace, 1e-9)).max())  # nothing moves in the cold
            count = int(min(np.ceil(longest / step), np.ceil((self.times[-1] - self.times[0]) / step))) + 1
            days = step * np.arange(count + 1)[:, None]
            ended = np.array([_given(share, _gamma_share(shape, share + days * pace)) for share in done])
            self.memo[key] = _Table.of(ended, np.exp(-np.broadcast_to(row[self.loss], shape.shape) * days))
        table: _Table = self.memo[key]
        return table

    def reaching(self, horizon: int, starts: np.ndarray, more: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Find when `more` development is added since grid times: the grid time before it, and share of the step.

        Parameters
        ----------
        horizon : int
            Grid time at which what is not reached before is put.
        starts : numpy.ndarray of int
            Grid times, shape (N, 1), at most the horizon.
        more : numpy.ndarray
            Shape (N, M), or any that goes with the starts [-].
        """
        goal = self.progress[starts[:, 0]] + more
        columns = np.arange(self.progress.shape[1])
        step, beyond = np.broadcast_to(starts, goal.shape), np.full(goal.shape, horizon)
        while (beyond - step > 1).any():  # bisection: the last grid time at which the goal is not reached
            middle = (step + beyond) // 2
            short = self.progress[middle, columns] < goal
            step, beyond = np.where(short, middle, step), np.where(short, beyond, middle)
        start, end = self.progress[step, columns], self.progress[np.minimum(step + 1, horizon), columns]
        share = np.divide(goal - start, end - start, out=np.zeros_like(goal), where=end > start)
        # Values are joined by straight lines between grid times, which spreads the jump at the edge of the shelter over
        # a step on either side; half a step earlier keeps its area, so the error stays of second order.
        place = np.maximum(step + np.clip(share, 0, 1) - 0.5, starts)
        return np.minimum(place.astype(int), horizon), place % 1


@dataclass(frozen=True)
class Leaving:
    """When those that start at each grid time pass a share of their development.

    Parameters
    ----------
    step : numpy.ndarray of int
        Grid time before it, shape (N + 1, M).
    share : numpy.ndarray
        How far on in the step, shape (N + 1, M) [-].
    """

    step: np.ndarray
    share: np.ndarray

    @classmethod
    def of(cls, waiting: Waiting, horizon: int, last: int, fraction: np.ndarray) -> Leaving:
        """Reckon it for starts up to the grid time `last`; later ones are never asked for but at the start itself."""
        return cls(*waiting.reaching(horizon, np.arange(last + 1)[:, None], fraction))

    def at(self, i: int) -> tuple[np.ndarray, np.ndarray]:
        """Return grid time and share of the step for those that start at grid time i, (M,) each."""
        if i < len(self.step):
            return self.step[i], self.share[i]
        return np.full_like(self.step[0], i), np.zeros_like(self.share[0])


def farthest(shape: np.ndarray) -> np.ndarray:
    """Development beyond the 1 − 1e-7 point of a gamma of mean 1.

    Parameters
    ----------
    shape : numpy.ndarray
        Shapes of the gamma.
    """
    return 1 + 6.5 / np.sqrt(shape) + 12 / shape


def _gamma_share(shape: np.ndarray, development: np.ndarray) -> np.ndarray:
    """Distribution function of a gamma of mean 1, reckoned only where it is neither 0 nor 1 to 1e-10."""
    ended = (development > 1).astype(float)
    inside = (development > 1 - 6.5 / np.sqrt(shape)) & (development < farthest(shape))
    shapes = np.broadcast_to(shape, development.shape)[inside]
    ended[inside] = gammainc(shapes, shapes * development[inside])
    return ended


def _given(done: float, ended: np.ndarray) -> np.ndarray:
    """Condition a distribution function on not having ended at its first point, where something was done by then.

    Those far beyond end at once.
    """
    if done == 0:
        return ended
    left = 1 - ended[0]
    given = np.divide(ended - ended[0], left, out=np.ones_like(ended), where=left > 1e-9)
    given[0] = 0.0
    return given


def _runs(rows: Sequence[object]) -> np.ndarray:
    """For every interval, the number of the first one after it with other rates; one more entry for the end."""
    same = np.full(len(rows) + 1, len(rows))
    for i in range(len(rows) - 2, -1, -1):
        same[i] = same[i + 1] if rows[i] is rows[i + 1] else i + 1
    return same


def _even(whole: np.ndarray) -> list[int]:
    """For every grid time, how many of the steps after it in a row are the shortest."""
    count = [0] * len(whole)
    for i in range(len(whole) - 2, -1, -1):
        count[i] = count[i + 1] + 1 if whole[i + 1] - whole[i] == 1 else 0
    return count

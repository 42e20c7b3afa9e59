"""Whether an agent kills less than it did: a line in time through the kill of several treatments of one pond.

Every treatment comes as the likelihood of its counts at each kill in each of M ponds. The ponds are the same for all
treatments, so that how flukes are spread over fish, seen in a preparation and replaced between two looks is learnt from
all of them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit, logit, logsumexp

from burden.statistics.adaptive_importance import effective_size
from burden.utils.results import CredibleInterval

__all__ = ["KILLS_TRIED", "KillTrend", "Trials"]

#: grid that kills are read from, even in their logit [-]
_LOGITS = np.linspace(-5.0, 6.0, 111)
#: the kills of that grid, shape (111,) [-]
KILLS_TRIED = expit(_LOGITS)
#: any kill from 0 to 1 as likely as any other, on the grid
_FLAT = KILLS_TRIED * (1 - KILLS_TRIED) / (KILLS_TRIED * (1 - KILLS_TRIED)).sum()
#: the rule of suspicion, both assumptions: the last leaves so many times more flukes than the first, and kills less
_TIMES_MORE, _STILL_GOOD = 2.0, 0.9
#: what is believed before any count, all assumptions: change of the logit of the kill from first to last treatment, as
#: likely up as down (a kill of 0.99 that falls to 0.5 is 1.5 of it); scatter of single treatments about the line; share
#: of treatments that did any share of what they should: half of the share of single doses (`burden.inference.history`),
#: as what goes wrong on one day seldom holds for all doses of a treatment
_CHANGE_SD, _SCATTER, _FAILED = 3.0, (0.3, 0.7, 1.2), 0.1
#: logits of the kill of the first treatment, and changes of it up to the last
_STEP = 0.25
_FIRST, _CHANGE = np.arange(-3.0, 5.01, _STEP), np.arange(-7.0, 7.01, _STEP)
_ABOUT = np.arange(-14.0, 14.01, _STEP)
#: ponds that must share the weight; where many treatments leave fewer, all count for less
_LEAST_PONDS = 40.0


@dataclass(frozen=True)
class KillTrend:
    """How the share of flukes that an agent leaves changed from its first to its last treatment, at equal doses.

    Parameters
    ----------
    times_more_left : CredibleInterval
        Share left at the last over that at the first [-].
    chance : float
        That the last leaves at least twice as many as the first and kills less than 0.9 of them [-].
    chance_before : float
        The same before any count [-].
    """

    times_more_left: CredibleInterval
    chance: float
    chance_before: float


@dataclass(frozen=True)
class Trials:
    """Treatments of one pond, each by the likelihood of its counts.

    Parameters
    ----------
    days : sequence of float
        Of the treatments, rising [d].
    log_likelihoods : sequence of numpy.ndarray
        At the kills of `KILLS_TRIED` in each of M ponds, shape (111, M) each.
    expected : sequence of float
        Kill that published trials lead one to expect of the doses of each [-].
    """

    days: Sequence[float]
    log_likelihoods: Sequence[np.ndarray]
    expected: Sequence[float]

    @cached_property
    def _of_pond(self) -> list[np.ndarray]:
        """Log-likelihood of each treatment where any kill is as likely as any other, shape (M,) each."""
        return [logsumexp(log, axis=0, b=_FLAT[:, None]) for log in self.log_likelihoods]

    @cached_property
    def _weight(self) -> np.ndarray:
        """Weight of each pond by all treatments, tempered where too few would share it, shape (M,); sums to one."""
        log, low, high = np.sum(self._of_pond, axis=0), 0.0, 1.0
        least = min(_LEAST_PONDS, log.size / 2)
        if effective_size(log) < least:
            for _ in range(30):
                middle = (low + high) / 2
                low, high = (middle, high) if effective_size(middle * log) >= least else (low, middle)
            log = low * log
        return np.exp(log - logsumexp(log))

    @cached_property
    def _shapes(self) -> list[np.ndarray]:
        """Likelihood of each treatment at each kill, over that of any kill, shape (111, M) each."""
        return [np.exp(log - own) for log, own in zip(self.log_likelihoods, self._of_pond, strict=True)]

    def kill(self, i: int) -> tuple[CredibleInterval, np.ndarray]:
        """Kill of one treatment by the counts, any share as likely before, and the chance of each of `KILLS_TRIED` [-].

        Parameters
        ----------
        i : int
            Its place.
        """
        chance = _FLAT * (self._shapes[i] @ self._weight)
        return CredibleInterval.of(KILLS_TRIED, chance), chance / chance.sum()

    def trend(self, which: Sequence[int]) -> KillTrend:
        """Weigh every course that the kill of an agent may have taken.

        Parameters
        ----------
        which : sequence of int
            Places of its treatments, two or more.

        Notes
        -----
        logit κ_i = logit e_i + a + b t_i + s ε_i, where e_i is what is expected of dose i, t_i runs from 0 at the first
        to 1 at the last treatment and ε is standard normal; any κ_1 is as likely before; one in ten treatments did any
        share of what it should, so that one failure alone is no trend. Summed over grids and over the ponds.
        """
        days = np.array([self.days[i] for i in which], float)
        time = (days - days[0]) / max(days[-1] - days[0], 1.0)
        stronger = logit(np.clip([self.expected[i] for i in which], 0.02, 0.995))
        log = np.zeros((_FIRST.size, _CHANGE.size, len(_SCATTER), self._weight.size))
        for i, at, more in zip(which, time, stronger - stronger[0], strict=True):
            log += np.log((1 - _FAILED) * self._about(i, _FIRST[:, None] + _CHANGE * at + more) + _FAILED)
        prior = np.broadcast_to(_prior()[..., None], log.shape[:3])
        return _summary(prior, prior * (np.exp(log - log.max()) @ self._weight))

    def _about(self, i: int, logits: np.ndarray) -> np.ndarray:
        """Likelihood of a treatment whose kill scatters about some logit, shape (…, scatter, M)."""
        apart = _LOGITS[None, None, :] - _ABOUT[:, None, None]
        density = np.exp(-0.5 * (apart / np.array(_SCATTER)[:, None]) ** 2) + 1e-300
        of_grid = (density / density.sum(-1, keepdims=True)) @ self._shapes[i]
        at = np.clip((logits - _ABOUT[0]) / _STEP, 0, _ABOUT.size - 1.001)
        below = at.astype(int)
        share = (at - below)[..., None, None]
        return (1 - share) * of_grid[below] + share * of_grid[below + 1]


def _prior() -> np.ndarray:
    """Of first logit and change, shape (first, change)."""
    return expit(_FIRST)[:, None] * expit(-_FIRST)[:, None] * np.exp(-0.5 * (_CHANGE / _CHANGE_SD) ** 2)


def _summary(prior: np.ndarray, weight: np.ndarray) -> KillTrend:
    # the share left is what the kill spares; a line that falls without bound leaves all of them
    first, last = expit(-_FIRST)[:, None], expit(-(_FIRST[:, None] + _CHANGE))
    more = last / first
    fell = (more >= _TIMES_MORE) & (last > 1 - _STILL_GOOD)
    now, before = weight.sum(-1), prior.sum(-1)
    return KillTrend(
        CredibleInterval.of(more.ravel(), now.ravel()),
        float(np.average(fell, weights=now)),
        float(np.average(fell, weights=before)),
    )

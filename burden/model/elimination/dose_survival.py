"""What the doses of many schedules spare, by grid time, as the backward equations ask for it on their way back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from burden.model.dose_effect import DoseEffect

__all__ = ["Batch", "Doses"]

#: fadings after which nothing dissolved is left
_FADED = 40.0
#: kill above which the logarithm of what is spared is cut off: one of a total kill's 10¹⁵ lives
_NEAR_TOTAL = 1 - 1e-15


@dataclass(frozen=True)
class Batch:
    """S schedules over one habitat, each of at most D doses.

    Parameters
    ----------
    dose_steps : numpy.ndarray of int
        Grid time of each dose, shape (S, D); -1 for none.
    effect_of : numpy.ndarray of int
        Which effect each dose has, shape (S, D).
    effects : sequence of DoseEffect
        M draws each.
    laying, settling : numpy.ndarray, optional
        Share that the brakes leave in each interval, shape (N, S, M), along the draw's own path; None for both off.
    """

    dose_steps: np.ndarray
    effect_of: np.ndarray
    effects: Sequence[DoseEffect]
    laying: np.ndarray | None = None
    settling: np.ndarray | None = None

    def given(self, effect: int, times: int) -> np.ndarray:
        """Number of doses of one effect given up to and including each grid time, shape (N + 1, S)."""
        count = np.zeros((times, len(self.dose_steps)))
        for s, (steps, kinds) in enumerate(zip(self.dose_steps, self.effect_of, strict=True)):
            for step in steps[(kinds == effect) & (steps >= 0)]:
                count[step:, s] += 1
        return count

    @property
    def last(self) -> int:
        """Grid time of the last dose of all; 0 without any."""
        return int(max(self.dose_steps.max(), 0))


class Doses:
    """The doses of a batch on a grid. Nothing about them changes from one dose to the next, so answers are kept.

    Parameters
    ----------
    batch : Batch
    times : numpy.ndarray
        Grid [d].
    horizon : int
        Last grid time that is asked for.
    """

    def __init__(self, batch: Batch, times: np.ndarray, horizon: int) -> None:
        self.batch, self.times = batch, times
        self.given = [batch.given(k, horizon + 1) for k in range(len(batch.effects))]
        #: whether any schedule has a dose at each grid time
        self.some = np.zeros(horizon + 1, bool)
        self.some[batch.dose_steps[batch.dose_steps >= 0]] = True
        self._stretch = np.cumsum(self.some).tolist()  # number of the stretch between two doses
        self._logs: dict[str, list[np.ndarray | None]] = {}
        self._until: dict[str, tuple[int, np.ndarray | float]] = {}
        self._whole: dict[str, np.ndarray | float] = {}
        lasting = [k for k, e in enumerate(batch.effects) if e.larva_hazard.any() or e.settler_kill.any()]
        self._lasting = [(batch.effects[k], self._days_of(k)) for k in lasting]

    def _days_of(self, effect: int) -> np.ndarray:
        """Day of each dose of one effect, infinite where there is none, (D, S)."""
        mine = (self.batch.effect_of == effect) & (self.batch.dose_steps >= 0)
        return np.where(mine, self.times[self.batch.dose_steps], np.inf).T

    def at(self, form: str, i: int) -> np.ndarray | float:
        """Share of a form that the doses of grid time i spare, (S, M); "sheltered" for juveniles too young."""
        share = 1.0
        if not self.some[i]:
            return share
        for given, effect in zip(self.given, self.batch.effects, strict=True):
            now = given[i] - (given[i - 1] if i else 0)
            if now.any():
                share = share * (1 - now[:, None] * effect.kill_of(form))
        return share

    def log(self, form: str, given: Sequence[np.ndarray]) -> np.ndarray | float:
        """Log of what so many doses of each effect spare, (S,) or (…, S, M) each -> (…, S, M); 0 if none kills."""
        if form not in self._logs:
            kills = [effect.kill_of(form) for effect in self.batch.effects]
            self._logs[form] = [np.log1p(-np.minimum(k, _NEAR_TOTAL)) if k.any() else None for k in kills]
        total = 0.0
        for count, logs in zip(given, self._logs[form], strict=True):
            if logs is not None and count.any():
                total = total + (count if count.ndim > 1 else count[:, None]) * logs
        return total

    def until(self, form: str, i: int) -> np.ndarray | float:
        """Share of a form that all doses up to grid time i spare; kept until a dose is passed on the way back."""
        kept = self._until.get(form)
        if kept is None or kept[0] != self._stretch[i]:
            kept = self._until[form] = (self._stretch[i], np.exp(self.log(form, [g[i] for g in self.given])))
        return kept[1]

    def whole(self, form: str) -> np.ndarray | float:
        """Share of a form that all doses together spare, (S, M)."""
        if form not in self._whole:
            self._whole[form] = np.exp(self.log(form, [g[-1] for g in self.given]))
        return self._whole[form]

    def dissolved(self, day: float) -> tuple[np.ndarray | float, np.ndarray | float]:
        """Death rate of larvae and share of settlers killed by what is still in the water, (S, M)."""
        hazard, spared = 0.0, 1.0
        for effect, days in self._lasting:
            slowest = float(effect.fade_per_day.min())
            for waited in day - days:
                working = (waited >= 0) & (waited * slowest < _FADED)
                if not working.any():
                    continue
                left = working[:, None] * np.exp(-effect.fade_per_day * np.where(working, waited, 0.0)[:, None])
                hazard = hazard + left * effect.larva_hazard
                spared = spared * (1 - left * effect.settler_kill)
        return hazard, 1 - spared

"""What kills fish beside flukes and background: a steady rate, and an outbreak that sets in, grows and fades."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

__all__ = ["OtherDeaths"]


@dataclass(frozen=True)
class OtherDeaths:
    """Courses of a death rate, M of them.

    Parameters
    ----------
    steady : numpy.ndarray
        On every day, shape (M,) [1/d].
    peak : numpy.ndarray
        Highest rate of the outbreak, shape (M,); 0 where there is none [1/d].
    onset_day : numpy.ndarray
        Day on which it sets in, counted from the visit, shape (M,) [d].
    growth_days : numpy.ndarray
        From its onset to its peak, in a straight line, shape (M,) [d].
    fade_days : numpy.ndarray
        In which it then falls to 1/e, shape (M,) [d].

    Examples
    --------
    >>> one = OtherDeaths(*(np.array([x]) for x in (0.0, 0.02, -10.0, 5.0, 20.0)))
    >>> [round(float(one.at(day)[0]), 4) for day in (-12, -7.5, -5, 15)]
    [0.0, 0.01, 0.02, 0.0074]
    """

    steady: np.ndarray
    peak: np.ndarray
    onset_day: np.ndarray
    growth_days: np.ndarray
    fade_days: np.ndarray

    def __len__(self) -> int:
        return self.steady.size

    @classmethod
    def constant(cls, rate: np.ndarray) -> OtherDeaths:
        """Return steady rates without an outbreak, shape (M,) [1/d]."""
        none, one = np.zeros_like(rate), np.ones_like(rate)
        return cls(rate, none, none, one, one)

    def at(self, day: float) -> np.ndarray:
        """Death rate on a day, shape (M,) [1/d]."""
        since = day - self.onset_day
        rise = np.clip(since / self.growth_days, 0, 1)
        return self.steady + self.peak * rise * np.exp(-np.maximum(since - self.growth_days, 0) / self.fade_days)

    def mean_rate(self, start: float, end: float) -> np.ndarray:
        """Mean death rate from one day to a later one, shape (M,) [1/d]."""
        return self.steady + (self._outbreak_until(end) - self._outbreak_until(start)) / (end - start)

    def _outbreak_until(self, day: float) -> np.ndarray:
        """Death rate of the outbreak, summed over all days up to one, shape (M,) [-]."""
        since = np.maximum(day - self.onset_day, 0)
        rising, after = np.minimum(since, self.growth_days), np.maximum(since - self.growth_days, 0)
        fell = -self.fade_days * np.expm1(-after / self.fade_days)
        return self.peak * (rising**2 / (2 * self.growth_days) + fell)

    def take(self, places: np.ndarray) -> OtherDeaths:
        """Return the courses at some positions, repeats allowed."""
        return OtherDeaths(*(getattr(self, part.name)[places] for part in fields(self)))

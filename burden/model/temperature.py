"""Water: its temperature over time. Days count from the visit, day 0; negative days lie before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

__all__ = ["Temperature"]


@dataclass(frozen=True)
class Temperature:
    """A piecewise-linear course of water temperature, with what is unknown beyond the record.

    Parameters
    ----------
    knots_days : numpy.ndarray
        Strictly rising, shape (K,), K >= 1 [d].
    values_c : numpy.ndarray
        Temperature at the knots, shape (K,) [°C]. Constant beyond the first and the last knot.
    drift_c : numpy.ndarray or None
        Each draw's departure from the course beyond `known_until_days`: shape (M,), grown to over the `ramp_days` that
        follow and then kept; or shape (J, M), on `drift_days` and in lines between them [°C].
    known_until_days : float
        Last day on which the temperature is known [d].
    ramp_days : float
        [d].
    drift_days : numpy.ndarray or None
        Rising, shape (J,), the first `known_until_days` [d].
    offset_c : float or numpy.ndarray
        Added on every day, one for all draws or shape (M,) [°C].

    Examples
    --------
    >>> course = Temperature.linear([0, 10], [12.0, 14.0])
    >>> float(course.at(5.0)), float(course.at(20.0))
    (13.0, 14.0)
    """

    knots_days: np.ndarray
    values_c: np.ndarray
    drift_c: np.ndarray | None = None
    known_until_days: float = np.inf
    ramp_days: float = field(default=7.0)
    offset_c: float | np.ndarray = 0.0
    drift_days: np.ndarray | None = None

    @classmethod
    def ahead(
        cls, known_days: np.ndarray, known_c: np.ndarray, ahead_days: np.ndarray, ahead_c: np.ndarray
    ) -> Temperature:
        """Return a record followed by what it may become.

        Parameters
        ----------
        known_days, known_c : numpy.ndarray
            The record, shape (K,) [d], [°C].
        ahead_days : numpy.ndarray
            Rising, the first the record's last day, shape (J,) [d].
        ahead_c : numpy.ndarray
            Each draw's temperature on these days, shape (J, M) [°C].
        """
        middle = np.median(ahead_c, axis=1)
        middle[0] = known_c[-1]
        return cls(
            np.concatenate([known_days, ahead_days[1:]]),
            np.concatenate([known_c, middle[1:]]),
            ahead_c - middle[:, None],
            known_until_days=float(ahead_days[0]),
            drift_days=ahead_days,
        )

    @classmethod
    def constant(cls, temperature_c: float) -> Temperature:
        """Return water that keeps one temperature [°C]."""
        return cls.linear([0.0], [temperature_c])

    @classmethod
    def linear(cls, knots_days: Sequence[float], values_c: Sequence[float]) -> Temperature:
        """Return the course through the knots, with nothing unknown."""
        return cls(np.asarray(knots_days, float), np.asarray(values_c, float))

    @classmethod
    def yearly(
        cls,
        mean_c: float,
        swing_c: float,
        days_since_warmest: float,
        reach_days: tuple[int, int] = (-800, 1600),
    ) -> Temperature:
        """Return a yearly cosine, with a knot every five days.

        Parameters
        ----------
        mean_c, swing_c : float
            Yearly mean, and the swing to either side of it [°C].
        days_since_warmest : float
            Days from the warmest day of the year to the visit [d].
        reach_days : tuple of int
            First and last day covered [d].

        Notes
        -----
        A chord of five days departs from the cosine by at most swing · (2π/365)² · 25/8, below 0.01 °C for a
        swing of 10 °C.
        """
        days = np.arange(reach_days[0], reach_days[1] + 1, 5, dtype=float)
        return cls(days, mean_c + swing_c * np.cos(2 * np.pi * (days + days_since_warmest) / 365.25))

    def at(self, day: float) -> np.ndarray | float:
        """Temperature on a day: a scalar while it is known, shape (M,) beyond the record [°C]."""
        base = np.interp(day, self.knots_days, self.values_c) + self.offset_c
        if self.drift_c is None or day <= self.known_until_days:
            return base
        if self.drift_days is not None:
            return base + _between(self.drift_days, self.drift_c, day)
        share = min((day - self.known_until_days) / self.ramp_days, 1.0)
        return base + share * self.drift_c

    def median_at(self, day: float) -> float:
        """Temperature of the median draw on a day [°C]."""
        return float(np.median(self.at(day)))

    def mean(self, start_day: float, end_day: float) -> np.ndarray | float:
        """Mean temperature between two days, by the midpoints of quarter days [°C]."""
        count = max(int(np.ceil((end_day - start_day) * 4)), 1)
        edges = np.linspace(start_day, end_day, count + 1)
        return sum(self.at(day) for day in 0.5 * (edges[1:] + edges[:-1])) / count

    def is_constant(self, start_day: float, end_day: float) -> bool:
        """Tell whether the temperature is one and the same between two days, for every draw."""
        if self.drift_c is not None and end_day > self.known_until_days:
            return False
        inner = self.values_c[(self.knots_days > start_day) & (self.knots_days < end_day)]
        ends = np.interp([start_day, end_day], self.knots_days, self.values_c)
        return bool(np.ptp(np.concatenate([ends, inner])) == 0)

    def warmest(self, start_day: float, end_day: float) -> float:
        """Return the warmer end of a stretch without a knot, in the warmest draw, the unknown left aside [°C]."""
        return float(np.interp([start_day, end_day], self.knots_days, self.values_c).max() + np.max(self.offset_c))

    def slope(self, start_day: float, end_day: float) -> float:
        """Return how fast the known course changes over a stretch without a knot [°C/d]."""
        ends = np.interp([start_day, end_day], self.knots_days, self.values_c)
        return float((ends[1] - ends[0]) / (end_day - start_day))

    def take(self, draws: np.ndarray) -> Temperature:
        """Return the course of the draws at some positions, repeats allowed."""
        drift = None if self.drift_c is None else self.drift_c[..., draws]
        offset = self.offset_c[draws] if isinstance(self.offset_c, np.ndarray) else self.offset_c
        return replace(self, drift_c=drift, offset_c=offset)

    def shifted(self, by_c: float | np.ndarray) -> Temperature:
        """Return the same course, warmer by `by_c`, one for all draws or shape (M,) [°C]."""
        return replace(self, offset_c=self.offset_c + by_c)

    def breaks(self, start_day: float, end_day: float) -> np.ndarray:
        """Return the knots strictly between two days, on which a step must land [d]."""
        knots = self.knots_days[(self.knots_days > start_day) & (self.knots_days < end_day)]
        if self.drift_c is None:
            return knots
        ramp = self.drift_days
        if ramp is None:
            ramp = np.array([self.known_until_days, self.known_until_days + self.ramp_days])
        return np.unique(np.concatenate([knots, ramp[(ramp > start_day) & (ramp < end_day)]]))


def _between(days: np.ndarray, values: np.ndarray, day: float) -> np.ndarray:
    """Row of a table, (J, M), on a day, in lines between its days and kept beyond the last."""
    right = int(np.clip(np.searchsorted(days, day), 1, days.size - 1))
    share = min((day - days[right - 1]) / (days[right] - days[right - 1]), 1.0)
    return values[right - 1] * (1 - share) + values[right] * share

"""What a classical estimator returns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from burden.utils.results import INTERVAL_LEVEL, Result, number

__all__ = ["PointEstimate"]


@dataclass(frozen=True)
class PointEstimate(Result):
    """A point estimate with its confidence interval and the method that gave it.

    Parameters
    ----------
    estimate, low, high : float
        Estimate and confidence limits; NaN where the data give none, infinity where they set no bound.
    method : str
        Estimator and interval, by name: different methods give different numbers on the same counts.
    level : float
        Confidence level of the interval [-].

    Examples
    --------
    >>> print(PointEstimate(0.3, 0.1, 0.6, "Wilson"))
    0.3 (0.1 to 0.6; Wilson, 90 % interval)
    """

    estimate: float
    low: float
    high: float
    method: str
    level: float = INTERVAL_LEVEL

    @classmethod
    def missing(cls, method: str, level: float = INTERVAL_LEVEL) -> PointEstimate:
        """Return the estimate that cannot be given; `method` says why."""
        return cls(math.nan, math.nan, math.nan, method, level)

    def as_dict(self) -> dict[str, Any]:
        """Return estimate, low, high and method, null where a number cannot be given."""
        numbers = {name: number(getattr(self, name)) for name in ("estimate", "low", "high")}
        return {**numbers, "method": self.method}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row."""
        return [{**self.as_dict(), "level": self.level}]

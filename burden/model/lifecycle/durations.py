"""Durations at every temperature, and how far apart the first and the last are.

A duration has a gamma distribution whose shape follows from the ratio of its first to its last, so its spread is
measured, not chosen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv

from burden.model.lifecycle.thermal_laws import GRID_C

__all__ = ["FIRST", "LAST", "SHAPES", "DurationTable", "gamma_shape_of_ratio", "mean_rate_of", "on_grid"]

#: first and last are the 1 and 99 % points of a duration
FIRST, LAST = 0.01, 0.99


def _ratio_table() -> tuple[np.ndarray, np.ndarray]:
    shapes = np.geomspace(1.0, 20000.0, 400)
    return shapes, np.log(gammaincinv(shapes, LAST) / gammaincinv(shapes, FIRST))


#: gamma shapes, and the log of the ratio of last to first of each, shape (400,)
SHAPES, _LOG_RATIOS = _ratio_table()


def gamma_shape_of_ratio(ratio: np.ndarray | float) -> np.ndarray:
    """Shape of the gamma distribution whose 99 % point is `ratio` times its 1 % point, any array shape.

    Parameters
    ----------
    ratio : array_like
        Last over first [-].

    Examples
    --------
    The four measured ratios of D. vastator ask for some 400, 84, 26 and 46 sub-stages.

    >>> np.round(gamma_shape_of_ratio(np.array([24 / 19, 5 / 3, 5 / 2, 3 / 1.5]))).tolist()
    [397.0, 84.0, 26.0, 46.0]
    """
    return np.exp(np.interp(-np.log(ratio), -_LOG_RATIOS, np.log(SHAPES)))


@dataclass(frozen=True)
class DurationTable:
    """A gamma-distributed duration at every temperature, one law a draw.

    Parameters
    ----------
    mean_rate : numpy.ndarray
        One over the mean duration on the temperature grid, shape (G, M) [1/d].
    shape : numpy.ndarray
        Gamma shape on the grid, shape (G, M); the coefficient of variation is its root's inverse.
    measured_c : tuple of float
        Coldest and warmest temperature measured [°C].
    """

    mean_rate: np.ndarray
    shape: np.ndarray
    measured_c: tuple[float, float]

    def rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Development per day, shape (M,) [1/d]."""
        return on_grid(self.mean_rate, temperature_c)

    def shape_at(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Gamma shape of the duration, shape (M,)."""
        return on_grid(self.shape, temperature_c)

    def quantile_days(self, probability: float, temperature_c: np.ndarray | float) -> np.ndarray:
        """Day by which a share has finished at constant temperature, shape (M,) [d]; infinite where none does."""
        shape = self.shape_at(temperature_c)
        with np.errstate(divide="ignore"):
            return gammaincinv(shape, probability) / shape / self.rate(temperature_c)

    def mean_days(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Mean duration at constant temperature, shape (M,) [d]; infinite where development stands still."""
        with np.errstate(divide="ignore"):
            return 1.0 / self.rate(temperature_c)

    def take(self, draws: np.ndarray) -> DurationTable:
        """Return the draws at some positions, repeats allowed."""
        return DurationTable(self.mean_rate[:, draws], self.shape[:, draws], self.measured_c)

    def extrapolates(self, temperature_c: float) -> bool:
        """Tell whether a temperature lies outside the measured range."""
        return not self.measured_c[0] <= temperature_c <= self.measured_c[1]


def on_grid(table: np.ndarray, temperature_c: np.ndarray | float) -> np.ndarray:
    """Interpolate a (G, M) table on the temperature grid at one temperature, or at one a draw."""
    place = np.clip((np.asarray(temperature_c, float) - GRID_C[0]) / (GRID_C[1] - GRID_C[0]), 0, len(GRID_C) - 1.001)
    left = place.astype(int)
    share = place - left
    if left.ndim == 0:
        return table[left] * (1 - share) + table[left + 1] * share
    columns = np.arange(table.shape[1])
    return table[left, columns] * (1 - share) + table[left + 1, columns] * share


def mean_rate_of(rate: np.ndarray, shape: np.ndarray, probability: float) -> np.ndarray:
    """One over the mean of a gamma duration whose point at `probability` is one over `rate`."""
    table = gammaincinv(SHAPES, probability) / SHAPES
    return rate * np.interp(np.log(shape), np.log(SHAPES), table)

"""Windows of a repeat dose: when eggs hatch, when settlers lay, and what lies between.

At constant temperature everything follows from the durations of the set; at varying temperature durations are summed
as rates over the case's own course, so the answer is dates rather than one interval.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv

from burden.model.lifecycle.durations import FIRST, LAST
from burden.model.lifecycle.parameters import Parameters
from burden.model.temperature import Temperature
from burden.utils.errors import CannotAnswerError
from burden.utils.results import CredibleInterval

__all__ = ["MAX_DAYS", "WARMEST_SEARCHED_C", "Windows", "safe_below_c", "safe_gap_after", "windows_after"]

#: beyond this a duration is not followed: the water is too cold for the question [d]
MAX_DAYS = 400.0
#: up to here it is asked where two weeks are too long a gap; few hosts live in warmer water: an assumption [°C]
WARMEST_SEARCHED_C = 35.0
#: step in which rates are summed [d], and steps looked up together
_STEP, _AT_ONCE = 0.05, 256


@dataclass(frozen=True)
class Windows:
    """Days after a dose that matter, M draws each [d]; infinite where the water is too cold.

    Parameters
    ----------
    first_hatch, mean_hatch, last_hatch : numpy.ndarray
        1 %, mean and 99 % of the eggs laid at the dose that hatch.
    larval_life : numpy.ndarray
        Age by which 95 % of larvae without a fish are dead.
    earliest_maturity : numpy.ndarray
        1 % of the larvae that settle at the dose lay.
    sheltered_age : numpy.ndarray
        Age below which a settler survives a dose.
    """

    first_hatch: np.ndarray
    mean_hatch: np.ndarray
    last_hatch: np.ndarray
    larval_life: np.ndarray
    earliest_maturity: np.ndarray
    sheltered_age: np.ndarray

    @property
    def longest_safe_gap(self) -> np.ndarray:
        """Longest gap at which no settler can lay before the next dose, shape (M,) [d].

        A settler too young for one dose must still be a juvenile at the next: earliest maturity less sheltered age.
        """
        return _safe_gap(self.earliest_maturity, self.sheltered_age)

    @property
    def last_dose_not_before(self) -> np.ndarray:
        """Earliest day of the last dose, shape (M,) [d]: the last larva has hatched, settled and left its shelter."""
        return self.last_hatch + self.larval_life + self.sheltered_age

    @property
    def two_doses_suffice(self) -> np.ndarray:
        """Whether one gap satisfies both, shape (M,). Sufficient for total kill with hard limits, not necessary.

        Where the last egg does not hatch in the time reckoned, no gap does.
        """
        return np.isfinite(self.last_dose_not_before) & (self.last_dose_not_before <= self.longest_safe_gap)

    def triples(self) -> dict[str, CredibleInterval]:
        """Return the triples of the interval contract."""
        return {
            "first_hatch_days": CredibleInterval.of(self.first_hatch),
            "mean_hatch_days": CredibleInterval.of(self.mean_hatch),
            "last_hatch_days": CredibleInterval.of(self.last_hatch),
            "earliest_maturity_days": CredibleInterval.of(self.earliest_maturity),
            "longest_safe_gap_days": CredibleInterval.of(self.longest_safe_gap),
            "last_dose_not_before_day": CredibleInterval.of(self.last_dose_not_before),
        }

    def two_dose_window(self) -> tuple[float, float] | None:
        """Return the window of the medians, or None where there is none; open to infinity if no settler lays [d]."""
        start, end = np.median(self.last_dose_not_before), np.median(self.longest_safe_gap)
        return (float(start), float(end)) if start <= end and np.isfinite(start) else None


def windows_after(
    parameters: Parameters, sheltered_fraction: np.ndarray, temperature: Temperature, day: float = 0.0
) -> Windows:
    """Windows after a dose on a day.

    Parameters
    ----------
    parameters : Parameters
        M draws of an egg-layer.
    sheltered_fraction : numpy.ndarray
        Share of juvenile development that the agent does not reach, shape (M,) [-].
    temperature : Temperature
    day : float
        Day of the dose [d].

    Raises
    ------
    CannotAnswerError
        For live-bearers, which have no egg to wait for.
    """
    development = parameters.development
    if development is None:
        raise CannotAnswerError("a live-bearer has no eggs and no window: newborn flukes are on the fish already")
    start = temperature.at(day)
    life = parameters["larval_life_days"] / parameters["larval_life_q10"] ** ((start - 20.0) / 10.0)
    hatch = development.hatch
    hatch_shape = hatch.shape_at(start)
    hatched = _days_to(
        hatch.rate,
        temperature,
        day,
        [
            gammaincinv(hatch_shape, FIRST) / hatch_shape,
            np.ones(parameters.size),
            gammaincinv(hatch_shape, LAST) / hatch_shape,
        ],
    )
    matured = _matured(parameters, sheltered_fraction, temperature, day)
    return Windows(hatched[0], hatched[1], hatched[2], life, matured[0], matured[1])


def safe_gap_after(
    parameters: Parameters, sheltered_fraction: np.ndarray, temperature: Temperature, day: float = 0.0
) -> np.ndarray:
    """Longest gap after a dose at which no settler can lay, shape (M,) [d]: that of `windows_after`, alone."""
    return _safe_gap(*_matured(parameters, sheltered_fraction, temperature, day))


def _safe_gap(earliest_maturity: np.ndarray, sheltered_age: np.ndarray) -> np.ndarray:
    return earliest_maturity - np.where(np.isfinite(sheltered_age), sheltered_age, 0.0)


def _matured(
    parameters: Parameters, sheltered_fraction: np.ndarray, temperature: Temperature, day: float
) -> list[np.ndarray]:
    """Days after which the first settlers of a day lay, and leave their shelter, shape (M,) each [d]."""
    maturity = parameters.of_eggs.maturity
    shape = maturity.shape_at(temperature.at(day))
    return _days_to(maturity.rate, temperature, day, [gammaincinv(shape, FIRST) / shape, sheltered_fraction])


def _days_to(
    rate: Callable[[np.ndarray | float], np.ndarray], temperature: Temperature, day: float, amounts: list[np.ndarray]
) -> list[np.ndarray]:
    """Days from `day` until so much development is done, by summing rates, shape (M,) each [d]."""
    if temperature.is_constant(day, day + MAX_DAYS):
        with np.errstate(divide="ignore"):
            days = 1.0 / rate(temperature.at(day))
        # no development at all takes no time, however cold the water
        return [_capped(np.where(amount > 0, amount * days, 0.0)) for amount in amounts]
    found = [np.full(np.shape(amount), np.inf) for amount in amounts]
    done, now = np.zeros((1, *amounts[0].shape)), np.zeros(1)
    while now[-1] < MAX_DAYS and any(np.isinf(f).any() for f in found):
        now = np.cumsum([now[-1], *[_STEP] * _AT_ONCE])
        now = now[: np.searchsorted(now, MAX_DAYS) + 1]
        course = [temperature.at(day + start + 0.5 * _STEP) for start in now[:-1]]
        paces = rate(np.array([np.broadcast_to(warmth, done.shape[1:]) for warmth in course]))
        done = np.cumsum([done[-1], *(paces * _STEP)], axis=0)
        for amount, reached in zip(amounts, found, strict=True):
            columns = np.flatnonzero(np.isinf(reached) & (done[-1] >= amount))
            row = (done[1:, columns] >= amount[columns]).argmax(0)
            rest = (amount[columns] - done[row, columns]) / np.maximum(paces[row, columns], 1e-12)
            reached[columns] = now[row] + rest
    return found


def _capped(days: np.ndarray) -> np.ndarray:
    return np.where(days < MAX_DAYS, days, np.inf)


def safe_below_c(parameters: Parameters, sheltered_fraction: np.ndarray, gap_days: float) -> np.ndarray:
    """Temperature below which no settler can lay within a gap, shape (M,) [°C].

    Parameters
    ----------
    parameters : Parameters
        M draws of an egg-layer.
    sheltered_fraction : numpy.ndarray
        Share of juvenile development that the agent does not reach, shape (M,) [-].
    gap_days : float
        Time between two doses [d].

    Notes
    -----
    The longest safe gap, earliest maturity less sheltered age, shortens as the water warms, until it is too warm for
    the flukes themselves; searched by a tenth of a degree from 1 °C to the first that is too warm. 1 °C where even
    that is.
    """
    maturity = parameters.of_eggs.maturity
    found, safe = np.full(parameters.size, 1.0), np.ones(parameters.size, bool)
    for temperature in np.arange(10, 10 * WARMEST_SEARCHED_C + 1) / 10:
        shape = maturity.shape_at(temperature)
        need = gammaincinv(shape, FIRST) / shape - sheltered_fraction
        safe &= maturity.rate(temperature) * gap_days <= need
        if not safe.any():
            break
        found[safe] = temperature
    return found

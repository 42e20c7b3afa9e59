"""An agent's concentration in the water over time: added by doses, lost by breakdown, exchange and water changes.

Between two events the loss is first order, so the course is exact at any time and so is every integral of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from burden.utils.errors import InputError, Problem

__all__ = [
    "Concentration",
    "Restored",
    "concentration_curve",
    "effective_hours",
    "loss_from_clearance",
    "restore_mg",
]


@dataclass(frozen=True)
class Concentration:
    """Course of a concentration; exact, piecewise exponential.

    Parameters
    ----------
    days : numpy.ndarray
        Days of the events, rising, shape (K,) [d].
    start_mg_l : numpy.ndarray
        Concentration just after each event, shape (draws, K) [mg/L].
    loss_per_day : numpy.ndarray
        Breakdown and exchange from each event to the next, shape (draws, K) [1/d].
    """

    days: np.ndarray
    start_mg_l: np.ndarray
    loss_per_day: np.ndarray

    def at(self, times_days: Sequence[float] | np.ndarray) -> np.ndarray:
        """Concentration at times, just after an event of that time; 0 before the first, shape (draws, times) [mg/L]."""
        times = np.atleast_1d(np.asarray(times_days, float))
        piece = np.searchsorted(self.days, times, side="right") - 1
        known = np.maximum(piece, 0)
        course = self.start_mg_l[:, known] * np.exp(-self.loss_per_day[:, known] * (times - self.days[known]))
        return np.where(piece >= 0, course, 0.0)

    def exposure_hours(
        self,
        from_day: float,
        to_day: float,
        reference_mg_l: float = 1.0,
        exponent: float | np.ndarray = 1.0,
    ) -> np.ndarray:
        """Hours at the reference concentration that act as much as the course does, shape (draws,) [h].

        Parameters
        ----------
        from_day, to_day : float
            Time counted [d].
        reference_mg_l : float
            [mg/L]
        exponent : float or array_like
            Power of the concentration the hazard grows with, scalar or shape (draws,) [-].

        Notes
        -----
        ∫ (c/c_ref)^γ dt, closed form on each piece. With γ = 1 and c_ref = 1 mg/L it is concentration times
        time [mg h/L].
        """
        ends = np.append(self.days[1:], np.inf)
        begin, end = np.clip(self.days, from_day, to_day), np.clip(ends, from_day, to_day)
        here = self.start_mg_l * np.exp(-self.loss_per_day * (begin - self.days))
        power = np.broadcast_to(np.asarray(exponent, float), (len(self.start_mg_l),))[:, None]
        acting = (here / reference_mg_l) ** power * _decay_integral(power * self.loss_per_day, end - begin)
        return 24.0 * np.where(here > 0, acting, 0.0).sum(1)


def concentration_curve(
    doses: Sequence[tuple[float, float]],
    loss_per_day: float | np.ndarray,
    exchange_per_day: float | np.ndarray = 0.0,
    water_changes: Sequence[tuple[float, float]] = (),
    loss_adapted_per_day: float | np.ndarray | None = None,
    extra_loss: Sequence[tuple[float, float, float | np.ndarray]] = (),
) -> Concentration:
    """Build the course of a concentration from what was added, and what takes it away.

    Parameters
    ----------
    doses : sequence of (float, float)
        Day, and concentration added to the whole water [d], [mg/L].
    loss_per_day : float or array_like
        Breakdown, scalar or shape (draws,): `loss_per_day_naive`, `_adapted` or `_none` of the agent [1/d].
    exchange_per_day : float or array_like
        Share of the water replaced a day by inflow, mixed, scalar or shape (draws,) [1/d].
    water_changes : sequence of (float, float)
        Day, and share of the water changed at once [d], [-]. On the day of a dose the change comes first.
    loss_adapted_per_day : float or array_like, optional
        Breakdown from the second dose on, where the filter was naive at the first [1/d].
    extra_loss : sequence of (float, float, float or array_like)
        From day, to day, added loss, for carbon or ultraviolet light left on [d], [d], [1/d].

    Returns
    -------
    Concentration

    Raises
    ------
    InputError
        For a share outside 0 to 1, or a negative dose or loss.

    Notes
    -----
    dc/dt = −(k + e) c between events; a dose adds, a change of share f leaves (1 − f) c. Repeated doses build up to at
    most Δ/(1 − exp(−(k + e) τ)) at a spacing τ.

    Examples
    --------
    >>> course = concentration_curve([(0.0, 5.0)], loss_per_day=np.log(2), water_changes=[(1.0, 0.5)])
    >>> course.at([0.0, 1.0]).round(3).tolist()
    [[5.0, 1.25]]
    """
    _check(doses, water_changes, loss_per_day, exchange_per_day, loss_adapted_per_day)
    edges = [edge for start, end, _ in extra_loss for edge in (start, end)]
    days = np.unique(np.array([day for day, _ in (*doses, *water_changes)] + edges, float))
    draws = np.broadcast_shapes(
        (1,), *(np.shape(x) for x in (loss_per_day, exchange_per_day, loss_adapted_per_day) if x is not None)
    )[0]
    rate = _rates(days, doses, draws, loss_per_day, exchange_per_day, loss_adapted_per_day, extra_loss)
    start = np.zeros((draws, len(days)))
    now = np.zeros(draws)
    for k, day in enumerate(days):
        if k:
            now = now * np.exp(-rate[:, k - 1] * (day - days[k - 1]))
        now = now * np.prod([1 - share for when, share in water_changes if when == day])
        now = now + sum(added for when, added in doses if when == day)
        start[:, k] = now
    return Concentration(days, start, rate)


def effective_hours(
    loss_per_day: float | np.ndarray, bath_hours: float | np.ndarray, exponent: float | np.ndarray = 1.0
) -> np.ndarray:
    """Hours at the starting concentration that act as much as a bath that fades.

    Parameters
    ----------
    loss_per_day : float or array_like
        Breakdown and exchange, scalar or shape (draws,) [1/d].
    bath_hours : float or array_like
        Length of the bath; infinite where nothing is changed afterwards [h].
    exponent : float or array_like
        Power of the concentration the hazard grows with [-].

    Returns
    -------
    numpy.ndarray
        [h]

    Notes
    -----
    (1 − exp(−γ k t))/(γ k).

    Examples
    --------
    >>> float(effective_hours(0.0, 24.0))
    24.0
    """
    rate = np.asarray(exponent, float) * np.asarray(loss_per_day, float)
    return 24.0 * _decay_integral(rate, np.asarray(bath_hours, float) / 24.0)


def loss_from_clearance(start_mg_l: float, detection_limit_mg_l: float, days: float) -> float:
    """First-order loss that takes a concentration to the detection limit in so many days [1/d].

    Examples
    --------
    >>> round(loss_from_clearance(2.0, 0.01, 8.0), 3)
    0.662
    """
    return float(np.log(start_mg_l / detection_limit_mg_l) / days)


@dataclass(frozen=True)
class Restored:
    """What to add after a water change, shapes as the loss given.

    Parameters
    ----------
    removed_mg, faded_mg, total_mg : numpy.ndarray
        Carried off by the change; faded since the dose; both together [mg].
    """

    removed_mg: np.ndarray
    faded_mg: np.ndarray
    total_mg: np.ndarray


def restore_mg(
    target_mg_l: float,
    volume_l: float,
    share_changed: float,
    loss_per_day: float | np.ndarray = 0.0,
    days_since_dose: float = 0.0,
) -> Restored:
    """Work out what brings the water back to its concentration after a change.

    Parameters
    ----------
    target_mg_l : float
        Concentration of the dose, and the one wanted again [mg/L].
    volume_l : float
        [L]
    share_changed : float
        Share of the water changed, 0 to 1 [-].
    loss_per_day : float or array_like
        Breakdown; 0 for a stable agent [1/d].
    days_since_dose : float
        [d]

    Returns
    -------
    Restored

    Notes
    -----
    For a stable agent f·C·V, neither C·V nor nothing. For one that fades C·V·(1 − (1 − f) exp(−k t)), of which the
    faded part C·V·(1 − exp(−k t)) may be left to go if the bath was to end by fading.

    Examples
    --------
    >>> float(restore_mg(5.0, 1000.0, 0.3).total_mg)
    1500.0
    """
    _check([(0.0, target_mg_l), (0.0, volume_l)], [(days_since_dose, share_changed)], loss_per_day)
    left = np.exp(-np.asarray(loss_per_day, float) * days_since_dose)
    whole = target_mg_l * volume_l
    removed, faded = share_changed * left * whole, (1 - left) * whole
    return Restored(removed, faded, removed + faded)


def _rates(
    days: np.ndarray,
    doses: Sequence[tuple[float, float]],
    draws: int,
    loss: float | np.ndarray,
    exchange: float | np.ndarray,
    adapted: float | np.ndarray | None,
    extra_loss: Sequence[tuple[float, float, float | np.ndarray]],
) -> np.ndarray:
    """Loss from each event to the next, shape (draws, K) [1/d]."""
    rate = np.empty((draws, len(days)))
    dose_days = sorted({day for day, _ in doses})
    for k, day in enumerate(days):
        met_before = adapted is not None and len(dose_days) > 1 and day >= dose_days[1]
        extra = sum((np.asarray(added) for start, end, added in extra_loss if start <= day < end), np.zeros(()))
        rate[:, k] = np.asarray(adapted if met_before else loss, float) + exchange + extra
    return rate


def _decay_integral(rate: np.ndarray, length: np.ndarray) -> np.ndarray:
    """∫ exp(−rate·t) dt from 0 to length, exact also at rate 0 and at an infinite length."""
    rate, length = np.broadcast_arrays(np.asarray(rate, float), np.asarray(length, float))
    moving = rate > 0
    safe = np.where(moving, rate, 1.0)
    return np.where(moving, -np.expm1(-safe * np.where(moving, length, 0.0)) / safe, length)


def _check(
    doses: Sequence[tuple[float, float]], changes: Sequence[tuple[float, float]], *losses: ArrayLike | None
) -> None:
    problems = [
        Problem("concentration", f"dose on day {day:g}", str(added), "0 or more", "Give mg/L added.")
        for day, added in doses
        if not added >= 0
    ]
    problems += [
        Problem("concentration", f"water change on day {day:g}", str(share), "0 to 1", "Give the share changed.")
        for day, share in changes
        if not 0 <= share <= 1
    ]
    problems += [
        Problem("concentration", "loss per day", str(np.min(loss)), "0 or more", "Give the rate as a positive number.")
        for loss in losses
        if loss is not None and not np.all(np.asarray(loss, float) >= 0)
    ]
    if problems:
        raise InputError(problems)

"""The course of a case's water: what was read, and what is taken to follow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from scipy.special import ndtri

from burden.case import Case, ConstantTemperature, Place, RecordedTemperature, YearlyTemperature
from burden.model.temperature import Temperature
from burden.model.temperature_outlook import STEADY, WEATHER_C, YearlyPrior, draw_ahead, of_latitude, thinned
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval

__all__ = ["DATES_HOLD_DAYS", "DRIFT_C", "TemperatureOutlook", "dates_hold_until", "outlook_of", "temperature_of"]

#: standard deviation of the mean temperature beyond the record about its last week, where no season moves it [°C]: an
#: assumption
DRIFT_C = 1.5
#: how far ahead a dose may be dated where nobody says what the temperature will do [d]
DATES_HOLD_DAYS = 42.0
#: parts of a day within which readings are averaged [1/d]
_READINGS_A_DAY = 4
#: chance that no season moves the water, where nobody says: assumptions
_STEADY_CHANCE = 0.4
#: chance that outdoor water of no stated place lies north of the equator: an assumption
_NORTH = 0.87
#: its yearly course by medium: as wide as the temperate zone: assumptions
_ANYWHERE = {
    "fresh": YearlyPrior(13.0, 5.0, 9.0, 3.5, 203.0, 15.0, WEATHER_C["fresh"]),
    "sea": YearlyPrior(16.0, 6.0, 5.0, 2.5, 228.0, 20.0, WEATHER_C["sea"]),
}
#: how far a course that the case states may be off: mean and swing [°C], warmest day [d]: assumptions
_STATED_OFF = (1.0, 1.0, 7.0)


@dataclass(frozen=True)
class TemperatureOutlook:
    """What is taken of the temperature after the last reading.

    Parameters
    ----------
    kind : str
        course (the case gives the whole year), indoors, heated, place, stated (a yearly course beside readings), or
        unstated.
    chance_steady : float
        Chance, after the readings, that no season moves the water [-].
    by_day : tuple of (float, CredibleInterval)
        Temperature some days after the visit [d], [°C].
    dates_hold_days : float
        How far ahead a dose may be dated; infinite where the case says what the temperature will do [d].
    """

    kind: Literal["course", "indoors", "heated", "place", "stated", "unstated"]
    chance_steady: float
    by_day: tuple[tuple[float, CredibleInterval], ...]
    dates_hold_days: float


def dates_hold_until(case: Case) -> float:
    """Return the day from the visit up to which a dose may be dated [d]; infinite where the outlook is stated.

    Beyond it a dose belongs to a state of the water ("at x °C for y days"), not to a date.
    """
    return math.inf if case.water.outlook_known else DATES_HOLD_DAYS


def outlook_of(
    case: Case, days: tuple[float, ...] = (14.0, 42.0, 90.0), n: int = 500, seed: int = 1
) -> TemperatureOutlook:
    """Return what is taken of a case's temperature ahead.

    Parameters
    ----------
    case : Case
    days : tuple of float
        Days after the visit that are wanted [d].
    n, seed : int
        Number of draws and seed.
    """
    course = temperature_of(case, n, seed)
    by_day = tuple((day, CredibleInterval.of(np.broadcast_to(course.at(day), (n,)))) for day in days)
    kind, priors = _kind(case), _priors(case)
    chance = 1.0 if kind in ("indoors", "heated") else 0.0
    if kind == "unstated":
        chance = float(_ahead(case, *_readings(case), priors, 1, seed)[2][0])
    return TemperatureOutlook(kind, chance, by_day, dates_hold_until(case))


def _kind(case: Case) -> Literal["course", "indoors", "heated", "place", "stated", "unstated"]:
    if isinstance(case.water.temperature, YearlyTemperature):
        return "course"
    match case.water.outlook:
        case None:
            return "unstated"
        case Place():
            return "place"
        case YearlyTemperature():
            return "stated"
        case word:
            return word


def temperature_of(case: Case, n: int, seed: int) -> Temperature:
    """Course of a case's water; days count from noon of the visit.

    Parameters
    ----------
    case : Case
    n, seed : int
        Number of draws and seed.

    Notes
    -----
    A yearly course is taken as it stands. Where no season moves the water (indoors, heated) one temperature holds, and
    a record stays at the mean of its last seven days, with a departure that grows over a week to a standard deviation
    of 1.5 °C (an assumption), one a draw. Else a forecast follows the last reading
    (`burden.model.temperature_outlook.draw_ahead`); where nobody says anything of the place, some draws stay and the
    others follow a season, by how well each fits the readings.
    """
    spec = case.water.temperature
    if isinstance(spec, YearlyTemperature):
        return Temperature.yearly(spec.mean_c, spec.swing_c, spec.days_since_warmest(case.visit_date))
    days, readings = _readings(case)
    if case.water.outlook in ("indoors", "heated"):
        if isinstance(spec, ConstantTemperature):
            return Temperature.constant(spec.temperature_c)
        return _staying(days, readings, n, seed)
    ahead_days, ahead_c, _ = _ahead(case, days, readings, _priors(case), n, seed)
    return Temperature.ahead(days, readings, ahead_days, ahead_c)


def _readings(case: Case) -> tuple[np.ndarray, np.ndarray]:
    """Days and temperatures of what was read, shape (K,) each; one temperature was read on the visit day."""
    spec = case.water.temperature
    if isinstance(spec, RecordedTemperature):
        days = np.array([case.day_of(t.date()) + (t.hour + t.minute / 60) / 24 - 0.5 for t in spec.times])
        return thinned(days, np.array(spec.temperatures_c), 1 / _READINGS_A_DAY)
    assert isinstance(spec, ConstantTemperature)
    return np.zeros(1), np.array([spec.temperature_c])


def _staying(days: np.ndarray, readings: np.ndarray, n: int, seed: int) -> Temperature:
    """The mean of the last week from then on, give or take a drift."""
    last = float(np.average(readings[days >= days[-1] - 7]))
    knots = np.concatenate([days, [days[-1] + 1.0]])
    drift = DRIFT_C * ndtri(uniform_draws("temperature beyond the record", n, seed))
    return Temperature(knots, np.concatenate([readings, [last]]), drift, known_until_days=float(days[-1]))


def _priors(case: Case) -> list[tuple[float, YearlyPrior]]:
    """What the yearly course may be, by what the case says of the place; steady water first where it may be."""
    outlook, medium = case.water.outlook, case.water.medium
    if isinstance(outlook, Place):
        return [(1.0, of_latitude(outlook.latitude, medium))]
    if isinstance(outlook, YearlyTemperature):
        warmest = float(date(2001, outlook.warmest_day[0], min(outlook.warmest_day[1], 28)).timetuple().tm_yday)
        off = _STATED_OFF
        course = YearlyPrior(outlook.mean_c, off[0], outlook.swing_c, off[1], warmest, off[2], WEATHER_C[medium])
        return [(1.0, course)]
    north, seasonal = _ANYWHERE[medium], 1 - _STEADY_CHANCE
    south = YearlyPrior(*(vars(north) | {"warmest_day": north.warmest_day + 182.6}).values())
    return [(_STEADY_CHANCE, STEADY), (seasonal * _NORTH, north), (seasonal * (1 - _NORTH), south)]


def _ahead(
    case: Case,
    days: np.ndarray,
    readings: np.ndarray,
    priors: list[tuple[float, YearlyPrior]],
    n: int,
    seed: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days, temperatures and the chances of the priors, of what follows the readings."""
    year_day = float(case.visit_date.timetuple().tm_yday)
    found = draw_ahead(days, readings, year_day, priors, case.water.medium, n, seed)
    return found.days, found.temperatures_c, found.chances

"""The water's temperature ahead: a yearly course and the weather about it, fitted to readings.

Readings are a yearly cosine, plus weather that is forgotten within weeks, plus an error of reading. What is believed of
the yearly course before any reading comes from the place. All of it is normal, so what the readings leave open is known
in closed form (a Gaussian process, Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, ch. 2), and a
draw of the weeks ahead is one draw of course and weather.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from burden.utils.random_streams import uniform_draws

__all__ = ["STEADY", "WEATHER_C", "Ahead", "YearlyPrior", "draw_ahead", "of_latitude", "thinned"]

#: weather about the yearly course of shallow water and of the sea: what is forgotten within days, and what a season
#: keeps, standard deviations [°C], and how long each lasts [d]: assumptions, held against tables of air and sea in
#: tests/model/test_temperature_outlook.py
WEATHER_C = {"fresh": (2.0, 0.8), "sea": (0.8, 1.5)}
_LASTS_DAYS = (10.0, 120.0)
#: how much of that weather this water takes: deep, large water little, a tub all; each as likely before the readings
_TAKES = (0.5, 1.0, 1.4)
#: error of one reading: thermometer, depth and time of day [°C]: an assumption
_READING_C = 0.4
#: day of the year on which shallow fresh water and the sea are warmest, north of the equator: assumptions
_WARMEST = {"fresh": 203.0, "sea": 228.0}
_YEAR_DAYS = 365.25
#: days ahead on which the weather is drawn, and those between which the course is a line [d]
_WEATHER_KNOTS = np.array([3.0, 7.0, 14.0, 21.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 270.0, 365.0, 550.0, 800.0])
_KNOTS = np.concatenate([np.arange(1.0, 15.0, 2.0), np.arange(15.0, 120.0, 5.0), np.arange(120.0, 1100.0, 10.0)])
#: what the water can be [°C]: under ice; as warm as shallow water gets
_LIMITS_C = {"fresh": (0.3, 38.0), "sea": (-1.9, 36.0)}
#: readings kept for the fit; more are averaged
_MOST_READINGS = 150


@dataclass(frozen=True)
class YearlyPrior:
    """What is believed of a yearly course before any reading: a mean, and standard deviations.

    Parameters
    ----------
    mean_c, mean_sd : float
        [°C]
    swing_c, swing_sd : float
        Half of warmest less coldest [°C].
    warmest_day, warmest_sd : float
        Day of the year, and how many days it may be off [d].
    weather_c : (float, float)
        Standard deviations of the weather about the course: of days, and of a season [°C].
    """

    mean_c: float
    mean_sd: float
    swing_c: float
    swing_sd: float
    warmest_day: float
    warmest_sd: float
    weather_c: tuple[float, float]

    def weather(self, days: np.ndarray, others: np.ndarray, takes: float) -> np.ndarray:
        """Covariance of the weather of some days with that of others, in water that takes a share of it."""
        apart = np.abs(days[:, None] - others)
        parts = zip(self.weather_c, _LASTS_DAYS, strict=True)
        scaled = [(takes * size, np.sqrt(3) * apart / lasts) for size, lasts in parts]
        return sum(size**2 * (1 + far) * np.exp(-far) for size, far in scaled)

    def moments(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean (3,) and covariance (3, 3) of mean, cosine and sine part, the warmest day off by little."""
        phase = 2 * np.pi * self.warmest_day / _YEAR_DAYS
        along, across = np.array([np.cos(phase), np.sin(phase)]), np.array([-np.sin(phase), np.cos(phase)])
        off = self.swing_c * 2 * np.pi * self.warmest_sd / _YEAR_DAYS
        spread = self.swing_sd**2 * np.outer(along, along) + off**2 * np.outer(across, across)
        covariance = np.zeros((3, 3))
        covariance[0, 0], covariance[1:, 1:] = self.mean_sd**2, spread
        return np.array([self.mean_c, *(self.swing_c * along)]), covariance


#: water whose temperature no season moves: a room, a heater, a spring; weather of a room
STEADY = YearlyPrior(17.0, 7.0, 0.0, 0.0, 0.0, 0.0, (1.5, 0.8))


def of_latitude(latitude: float, medium: str) -> YearlyPrior:
    """Return what a latitude says of the water's yearly course.

    Parameters
    ----------
    latitude : float
        [degrees], negative south of the equator.
    medium : str
        fresh (shallow water that follows the air) or sea.

    Notes
    -----
    Means at sea level fall from some 27 °C by 0.45 °C a degree beyond 15°, swings rise from 1 °C by 0.18 °C a degree,
    by 0.1 in the sea: from memory of climate tables, so with wide spreads (height, coast, depth). The tests hold them
    against tables of air and sea.
    """
    away = abs(latitude)
    per_degree = 0.18 if medium == "fresh" else 0.10
    swing = 1.0 + per_degree * away
    warmest = _WARMEST[medium] + (0.0 if latitude >= 0 else 0.5 * _YEAR_DAYS)
    mean = 27.0 - 0.45 * max(away - 15.0, 0.0)
    # between the tropics currents and rains move the warm months about, by more than the sun does
    tropical = max(1 - away / 23.4, 0.0)
    return YearlyPrior(mean, 3.0, swing, 0.3 * swing + tropical, warmest, 10.0 + 30 * tropical, WEATHER_C[medium])


@dataclass(frozen=True)
class Ahead:
    """The temperature ahead, M draws.

    Parameters
    ----------
    days : numpy.ndarray
        Rising, the first the last reading's, shape (J,) [d].
    temperatures_c : numpy.ndarray
        Shape (J, M) [°C].
    which : numpy.ndarray of int
        Which of the priors each draw follows, shape (M,).
    chances : numpy.ndarray
        Chance of each prior after the readings [-].
    """

    days: np.ndarray
    temperatures_c: np.ndarray
    which: np.ndarray
    chances: np.ndarray


def draw_ahead(
    days: np.ndarray,
    readings_c: np.ndarray,
    visit_day_of_year: float,
    priors: list[tuple[float, YearlyPrior]],
    medium: str,
    n: int,
    seed: int,
) -> Ahead:
    """Draw the temperature after the last reading.

    Parameters
    ----------
    days, readings_c : numpy.ndarray
        From the visit, rising, and what was read, shape (K,) [d], [°C].
    visit_day_of_year : float
        Of day 0.
    priors : list of (float, YearlyPrior)
        What the yearly course may be, each with its chance before any reading.
    medium : str
        fresh or sea.
    n, seed : int
        Number of draws and seed.

    Returns
    -------
    Ahead

    Notes
    -----
    Each prior is weighed by the density it gives the readings. The weather is smooth, of the Matérn kind
    with 3/2: what the last readings depart from the course by is forgotten, most of it within days.
    """
    days, readings_c = thinned(days, readings_c, max(int(np.ceil(days.size / _MOST_READINGS)), 1))
    last = float(days[-1])
    weather_days = last + _WEATHER_KNOTS
    courses = [(chance, prior, takes) for chance, prior in priors for takes in _TAKES]
    fits = [_Fit.of(prior, takes, days, readings_c, weather_days, visit_day_of_year) for _, prior, takes in courses]
    log = np.array([np.log(course[0]) + fit.log_density for course, fit in zip(courses, fits, strict=True)])
    chances = np.exp(log - log.max())
    chances /= chances.sum()
    which = np.searchsorted(np.cumsum(chances), uniform_draws("temperature ahead: which course", n, seed))
    which = np.minimum(which, len(courses) - 1)
    size = fits[0].mean.size
    normal = np.array([ndtri(uniform_draws(f"temperature ahead: {i}", n, seed)) for i in range(size)])
    knots = np.concatenate([[last], last + _KNOTS])
    course = np.empty((knots.size, n))
    for i, fit in enumerate(fits):
        mine = which == i
        course[:, mine] = fit.course(knots, normal[:, mine], weather_days, visit_day_of_year)
    course = np.clip(course, *_LIMITS_C[medium])
    course[0] = readings_c[-1]
    return Ahead(knots, course, which // len(_TAKES), chances.reshape(-1, len(_TAKES)).sum(1))


@dataclass(frozen=True)
class _Fit:
    """Course and weather ahead given the readings: normal, with a root of its covariance."""

    mean: np.ndarray
    root: np.ndarray
    log_density: float

    @classmethod
    def of(
        cls,
        prior: YearlyPrior,
        takes: float,
        days: np.ndarray,
        readings: np.ndarray,
        ahead: np.ndarray,
        year_day: float,
    ) -> _Fit:
        theta, spread = prior.moments()
        basis = _basis(days, year_day)
        later, between = prior.weather(ahead, ahead, takes), prior.weather(ahead, days, takes)
        seen = basis @ spread @ basis.T + prior.weather(days, days, takes) + _READING_C**2 * np.eye(days.size)
        off = readings - basis @ theta
        cross = np.vstack([spread @ basis.T, between])
        before = np.zeros((3 + ahead.size,) * 2)
        before[:3, :3], before[3:, 3:] = spread, later
        gain = np.linalg.solve(seen, cross.T).T
        mean = np.concatenate([theta, np.zeros(ahead.size)]) + gain @ off
        values, vectors = np.linalg.eigh(before - gain @ cross.T)
        root = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
        log_density = -0.5 * (off @ np.linalg.solve(seen, off) + np.linalg.slogdet(seen)[1])
        return cls(mean, root, float(log_density))

    def course(self, days: np.ndarray, normal: np.ndarray, weather_days: np.ndarray, year_day: float) -> np.ndarray:
        """Temperatures on some days, (J, draws), of standard normals (parts, draws)."""
        drawn = self.mean[:, None] + self.root @ normal
        right = np.clip(np.searchsorted(weather_days, days), 1, weather_days.size - 1)
        share = (days - weather_days[right - 1]) / (weather_days[right] - weather_days[right - 1])
        share = np.clip(share, 0.0, 1.0)[:, None]
        weather = drawn[3:][right - 1] * (1 - share) + drawn[3:][right] * share
        return _basis(days, year_day) @ drawn[:3] + weather


def _basis(days: np.ndarray, year_day: float) -> np.ndarray:
    angle = 2 * np.pi * (days + year_day) / _YEAR_DAYS
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)


def thinned(days: np.ndarray, values: np.ndarray, days_together: float) -> tuple[np.ndarray, np.ndarray]:
    """Average readings within stretches of so many days, so that a logger of many readings sets no pace."""
    part = np.floor(days / days_together).astype(int)
    _, place, count = np.unique(part, return_inverse=True, return_counts=True)
    return np.bincount(place, days) / count, np.bincount(place, values) / count

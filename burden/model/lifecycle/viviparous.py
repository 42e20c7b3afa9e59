"""Births and deaths of live-bearing flukes: rates by temperature, their fit to life tables, and what follows from them.

A live-bearer has no egg and no larva. A newborn gives birth after `first_birth_days`, a mother again every
`birth_interval_days`; both ages vary as chains of `BIRTH_STAGES` stages do. Births and deaths quicken with warmth by
their own factors per 10 °C, deaths once more after the first birth, and near an upper limit births fail and flukes die.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from burden.evidence import ParasiteSet, Point
from burden.utils.errors import CannotAnswerError
from burden.utils.random_streams import uniform_draws

__all__ = [
    "BIRTH_STAGES",
    "LIFE_TABLE",
    "REFERENCE_C",
    "LifeTableFit",
    "Rates",
    "birth_rate",
    "births_per_life",
    "draw_life_table",
    "fit_life_table",
    "fluke_life_days",
    "growth_rate",
    "heat_share",
    "live_bearer_rates",
    "lone_line_ends",
]

REFERENCE_C = 20.0  # temperature at which the values are given [°C]
#: stages of the chain to a birth. Later births come 2 to 2.5 d apart (Scott 1982): a coefficient of variation of at
#: most 0.1 to 0.3; a mother with four stages would bear 5 % more and grow a fifth faster than one without spread
BIRTH_STAGES = 12
#: values a life table is fitted through; each enters with its own range as what was believed before
LIFE_TABLE = ("first_birth_days", "birth_interval_days", "birth_q10", "death_rate", "death_q10", "mother_death_factor")

Rates = Mapping[str, np.ndarray]
"""Rates of a live-bearer by name, shape (M,) each [1/d]"""


def heat_share(values: Mapping[str, np.ndarray], temperature_c: np.ndarray | float) -> np.ndarray | float:
    """How far the water is on the way from harmless to unbearable heat, 0 to 1, shape (M,) [-].

    Parameters
    ----------
    values : mapping of str to numpy.ndarray
        With `heat_from_c` and `heat_full_c` where an upper limit was measured; without them the share is 0.
    temperature_c : array_like
        [°C]
    """
    if "heat_full_c" not in values:
        return 0.0
    start = np.minimum(values["heat_from_c"], values["heat_full_c"] - 0.25)
    return np.clip((temperature_c - start) / (values["heat_full_c"] - start), 0.0, 1.0)


def live_bearer_rates(values: Mapping[str, np.ndarray], temperature_c: np.ndarray | float) -> dict[str, np.ndarray]:
    """Every rate and share of the live-bearer's transitions at one temperature.

    Parameters
    ----------
    values : mapping of str to numpy.ndarray
        The names of `LIFE_TABLE`, where an upper limit was measured `heat_from_c`, `heat_full_c` and
        `heat_death_rate`, and where life is longest at some warmth `longest_life_c` and `cold_death_q10`; each
        shape (M,).
    temperature_c : float or numpy.ndarray
        One temperature, or one a draw, shape (M,) [°C].

    Returns
    -------
    dict of str to numpy.ndarray
        Rates [1/d] and shares [-], each shape (M,).
    """
    warmth = (temperature_c - REFERENCE_C) / 10.0
    heat = heat_share(values, temperature_c)
    pace = values["birth_q10"] ** warmth * (1.0 - heat)
    death = _death_rate(values, temperature_c)
    killed = heat * values["heat_death_rate"] if "heat_death_rate" in values else 0.0
    return {
        "first_birth_rate": pace / values["first_birth_days"],
        "later_birth_rate": pace / values["birth_interval_days"],
        "young_loss": death + killed,
        "mother_loss": death * values["mother_death_factor"] + killed,
        "birth_success": np.ones_like(death),
    }


def _death_rate(values: Mapping[str, np.ndarray], temperature_c: np.ndarray | float) -> np.ndarray:
    """Death rate before the first birth, shape (M,) [1/d]: quicker in warmth, and in cold below the longest life."""
    rate, q10 = values["death_rate"], values["death_q10"]
    if "longest_life_c" not in values:
        return rate * q10 ** ((temperature_c - REFERENCE_C) / 10.0)
    longest = values["longest_life_c"]
    quickened = values["cold_death_q10"] ** (np.maximum(longest - temperature_c, 0.0) / 10.0)
    return rate * q10 ** ((np.maximum(temperature_c, longest) - REFERENCE_C) / 10.0) * quickened


def _passed(pace: np.ndarray, hazard: np.ndarray, stages: int) -> np.ndarray:
    """Share that reaches the end of a chain against a hazard; 0 where the chain stands still."""
    ratio = np.divide(hazard, stages * pace, out=np.full_like(hazard, np.inf), where=pace > 0)
    return (1.0 + np.maximum(ratio, -1.0 + 1e-9)) ** -float(stages)


def births_per_life(rates: Rates, discount: np.ndarray | float = 0.0, stages: int = BIRTH_STAGES) -> np.ndarray:
    """Young that a newborn bears in its life, shape (M,) [-].

    Parameters
    ----------
    rates : mapping of str to numpy.ndarray
        From `live_bearer_rates`.
    discount : array_like
        Rate r at which a birth at age a counts exp(−r a) [1/d].
    stages : int
        Stages of the chain to a birth; with one, and equal rates, births fall at a constant rate.
    """
    first = _passed(rates["first_birth_rate"], rates["young_loss"] + discount, stages)
    again = _passed(rates["later_birth_rate"], rates["mother_loss"] + discount, stages)
    # a mother that bears again with certainty bears without end
    return first * np.divide(1.0, 1.0 - again, out=np.full_like(again, np.inf), where=again < 1.0)


def fluke_life_days(rates: Rates, stages: int = BIRTH_STAGES) -> np.ndarray:
    """Mean life of a newborn, shape (M,) [d]."""
    first = _passed(rates["first_birth_rate"], rates["young_loss"], stages)
    return (1.0 - first) / rates["young_loss"] + first / rates["mother_loss"]


def birth_rate(rates: Rates, stages: int = BIRTH_STAGES) -> np.ndarray:
    """Births per fluke and day, those of a life over its length, shape (M,) [1/d]."""
    return births_per_life(rates, stages=stages) / fluke_life_days(rates, stages)


def growth_rate(rates: Rates, stages: int = BIRTH_STAGES) -> np.ndarray:
    """Growth rate of a population of any age mix that has settled, without regulation, shape (M,) [1/d].

    Notes
    -----
    Root of the characteristic equation: what a newborn bears, discounted by exp(−r age), is one. By bisection; the
    growth rate cannot fall below minus the death rate, the bound where nothing is born.
    """
    low = -np.minimum(rates["young_loss"], rates["mother_loss"])
    high = np.full_like(low, 5.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        grows = births_per_life(rates, middle, stages) > 1
        low, high = np.where(grows, middle, low), np.where(grows, high, middle)
    return 0.5 * (low + high)


def lone_line_ends(rates: Rates, stages: int = BIRTH_STAGES) -> np.ndarray:
    """Probability that the line of one newborn dies out, without regulation, shape (M,) [-].

    Notes
    -----
    The smallest root of e = 1 − c + c e m(e) with c the chance of a first birth, and m(e) = 1 − g + g e m(e) the
    chance that a mother and all she will bear end, g her chance to bear again; by iteration from 0.
    """
    first = _passed(rates["first_birth_rate"], rates["young_loss"], stages)
    again = _passed(rates["later_birth_rate"], rates["mother_loss"], stages)
    newborn = np.zeros_like(first)
    for _ in range(500):
        mother = (1.0 - again) / (1.0 - again * newborn)
        newborn = 1.0 - first + first * newborn * mother
    return newborn


# --- fit to life tables ----------------------------------------------------------------------------------------------
_READINGS: Mapping[str, Callable[[Mapping[str, np.ndarray]], np.ndarray]] = {
    "fluke_life_days": fluke_life_days,
    "births_per_life": births_per_life,
    "births_per_day": birth_rate,
    "growth_rate_per_day": growth_rate,
}


@dataclass(frozen=True)
class LifeTableFit:
    """The values of a life table as its measured points leave them.

    Parameters
    ----------
    points : tuple of Point
        What was fitted, P of them.
    fitted, left_out : numpy.ndarray
        The fit at each point, and its prediction of the point from all the others, shape (P,), each in the point's
        unit.
    mean : numpy.ndarray
        Logarithms of the fitted values, in the order of `LIFE_TABLE`, shape (6,).
    root : numpy.ndarray
        Root of their covariance, lower triangle, shape (6, 6).
    """

    points: tuple[Point, ...]
    fitted: np.ndarray
    left_out: np.ndarray
    mean: np.ndarray
    root: np.ndarray

    @property
    def values(self) -> dict[str, float]:
        """The fitted medians by name."""
        return dict(zip(LIFE_TABLE, np.exp(self.mean).tolist(), strict=True))

    @property
    def residuals(self) -> np.ndarray:
        """Fitted less measured, shape (P,)."""
        return self.fitted - np.array([p.value for p in self.points])


def fit_life_table(evidence: ParasiteSet) -> LifeTableFit:
    """Fit births and deaths to the measured points of a live-bearing set.

    Parameters
    ----------
    evidence : ParasiteSet
        With points named fluke_life_days, births_per_life, births_per_day or growth_rate_per_day, and the values of
        `LIFE_TABLE` with the ranges believed before.

    Raises
    ------
    CannotAnswerError
        Where no such point was measured.

    Notes
    -----
    Least squares on the log scale: each point against what the rates give at its temperature, over its reading, and
    each value against its own median, over its own range, so what the points say nothing of keeps its range. The
    draws are normal on the log scale about the optimum, with the curvature there.
    """
    points = _table_points(evidence)
    if not points:
        raise CannotAnswerError(f"{evidence.name}: no life table was measured at any temperature")
    mean, root = _posterior(evidence, points)
    left_out = [
        _reading(evidence, points[i], _posterior(evidence, points[:i] + points[i + 1 :])[0]) for i in range(len(points))
    ]
    fitted = [_reading(evidence, point, mean) for point in points]
    return LifeTableFit(points, np.array(fitted), np.array(left_out), mean, root)


def draw_life_table(evidence: ParasiteSet, n: int, seed: int) -> dict[str, np.ndarray]:
    """Draw the values of `LIFE_TABLE` from the fit to the points, each shape (n,); a case's own values stay its own."""
    from scipy.special import ndtri

    mean, root = _posterior(evidence, _table_points(evidence))
    z = np.array([ndtri(uniform_draws(f"{evidence.name}life table {i}", n, seed)) for i in range(len(LIFE_TABLE))])
    drawn = dict(zip(LIFE_TABLE, np.exp(mean[:, None] + root @ z), strict=True))
    drawn["mother_death_factor"] = np.maximum(drawn["mother_death_factor"], 1.0)
    own = evidence.overridden & drawn.keys()
    return drawn | {name: evidence.values[name].draw(n, seed, evidence.name) for name in own}


def _table_points(evidence: ParasiteSet) -> tuple[Point, ...]:
    return tuple(p for p in evidence.points if p.quantity in _READINGS)


def _posterior(evidence: ParasiteSet, points: Sequence[Point]) -> tuple[np.ndarray, np.ndarray]:
    """Optimum on the log scale, shape (6,), and the root of the covariance about it, shape (6, 6)."""
    from scipy.optimize import least_squares

    before = [evidence.values[name] for name in LIFE_TABLE]
    centre = np.log([v.value for v in before])
    width = np.maximum(np.log([v.high for v in before]) - np.log([v.low for v in before]), 1e-6) / _RANGE_IN_SD

    def misfit(logs: np.ndarray) -> np.ndarray:
        seen = [
            np.log(max(_reading(evidence, p, logs), 1e-6) / p.value) / (np.log(p.high / p.low) / _RANGE_IN_SD)
            for p in points
        ]
        return np.concatenate([(logs - centre) / width, seen])

    best = least_squares(misfit, centre)
    return best.x, np.linalg.cholesky(np.linalg.inv(best.jac.T @ best.jac))


#: standard deviations between the 5 and 95 % points
_RANGE_IN_SD = 2 * 1.6448536269514722


def _reading(evidence: ParasiteSet, point: Point, logs: np.ndarray) -> float:
    """What the rates give where a point was measured."""
    values = {name: np.array([value]) for name, value in zip(LIFE_TABLE, np.exp(logs), strict=True)}
    for name in ("heat_from_c", "heat_full_c", "heat_death_rate", "longest_life_c", "cold_death_q10"):
        if name in evidence.values:
            values[name] = np.array([evidence.values[name].value])
    return float(_READINGS[point.quantity](live_bearer_rates(values, point.temperature_c))[0])

"""How likely one row of a death log is, given the deaths to be expected, and what a dose itself may have killed."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from burden.case import Case

__all__ = ["ROW_SHAPE", "drawn_deaths", "kills_of_dose", "log_row", "log_row_after_dose", "may_be_of_dose"]

#: deaths of a row over those to be expected vary from row to row beyond chance, as a gamma of this shape (a third up or
#: down): fish die in clumps and are found late. With chance alone a log of hundreds of deaths is held to a few percent,
#: closer than any list of causes comes to it, and flukes are fitted to what the list lacks. An assumption
ROW_SHAPE = 8.0
#: a bath may itself kill fish, within so many days [d]; the chance that it does, and the share of the stock that then
#: dies of it in a row of the log, log-uniform between these: assumptions, wide, as strength, water and the fish decide
_DOSE_DAYS, _DOSE_KILLS, _DOSE_SHARE = 3.0, 0.2, (1e-4, 0.3)
#: shares looked at, near enough that a row cannot fall between them
_DOSE_STEPS = 16


def log_row(deaths: float | np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Log chance of the deaths of one row of a log, negative binomial, shape of `expected`."""
    mean = np.maximum(expected, 1e-12)
    ways = gammaln(deaths + ROW_SHAPE) - gammaln(ROW_SHAPE) - gammaln(deaths + 1.0)
    whole = (deaths + ROW_SHAPE) * np.log(ROW_SHAPE + mean)
    return np.asarray(ways + ROW_SHAPE * np.log(ROW_SHAPE) + deaths * np.log(mean) - whole)


def drawn_deaths(expected: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw the deaths of rows of a log, shape of `expected`."""
    return rng.poisson(expected * rng.gamma(ROW_SHAPE, 1 / ROW_SHAPE, expected.shape))


def kills_of_dose(stock: float) -> tuple[np.ndarray, np.ndarray]:
    """Fish that a dose may itself kill in a row, none first, and the log chance of each, shape (J,).

    Parameters
    ----------
    stock : float
        Fish that were there [-].
    """
    low, high = _DOSE_SHARE
    share = low * (high / low) ** ((np.arange(_DOSE_STEPS) + 0.5) / _DOSE_STEPS)
    chance = np.full(_DOSE_STEPS, _DOSE_KILLS / _DOSE_STEPS)
    return stock * np.append(0.0, share), np.log(np.append(1 - _DOSE_KILLS, chance))


def log_row_after_dose(deaths: float, expected: np.ndarray, stock: float) -> np.ndarray:
    """Log chance of a row that holds days after a dose, averaged over what the dose may have killed."""
    # against the best that any expectation gives, which no dose falls short of by so much that the sum vanishes
    best = log_row(deaths, np.array(float(deaths)))
    kills = zip(*kills_of_dose(stock), strict=True)
    return np.asarray(best + np.log(sum(np.exp(chance + log_row(deaths, expected + n) - best) for n, chance in kills)))


def may_be_of_dose(case: Case, start: float, end: float) -> bool:
    """Whether a dose of the record may have killed fish that died between two days; on its own day too.

    Parameters
    ----------
    case : Case
    start, end : float
        [d]
    """
    days = [case.day_of(action.date) for action in case.given if action.action == "dose"]
    return any(day <= end and start < day + _DOSE_DAYS for day in days)

"""What may kill fish beside flukes and background, as a list of courses that a death log chooses from.

The list is the same for all ponds, so that each pond's chance of its log is a sum over it, and no draw of a pond is
lost because the cause drawn with it does not fit. All of its numbers are assumptions, and wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from burden.inference.death_rows import log_row
from burden.model.other_deaths import OtherDeaths

__all__ = [
    "HIGHEST_PEAK",
    "OTHER_CAUSE",
    "OTHER_CAUSE_FOUND_FACTOR",
    "CourseList",
    "courses_for",
    "other_cause_rates",
]

#: deaths that neither flukes nor the background explain: half of ponds in trouble have another cause, whose steady
#: hazard lies between these [1/d]: an assumption, so that a death log does not convict the flukes by itself
OTHER_CAUSE = (1e-4, 2e-2)
#: how much larger the largest of these may be where another disease was found: an assumption
OTHER_CAUSE_FOUND_FACTOR = 2.5
#: an outbreak of another disease: rate at its peak [1/d], days from onset to peak, days in which it fades, log-uniform
#: between these, and how long before the record it may have set in [d]: assumptions
HIGHEST_PEAK = 0.15
_PEAK, _GROWTH_DAYS, _FADE_DAYS, _BEFORE_DAYS = (2e-3, HIGHEST_PEAK), (2.0, 60.0), (4.0, 120.0), 30.0
#: share of ponds with a death log that have such an outbreak, and where another disease was found: assumptions
_OUTBREAK, _OUTBREAK_FOUND = 0.5, 0.75
#: outbreaks drawn, and how many of them are kept for their prior, and as many for how they fit the log
_POOL, _KEPT = 4096, 160
#: power of the likelihood by which outbreaks are kept: they must fit beside some deaths by flukes too
_POWER = 0.5


def other_cause_rates(findings: Sequence[str] = (), n: int = 64) -> np.ndarray:
    """Equally likely steady death rates from what is neither flukes nor background, shape (n,) [1/d]; half of them 0.

    Parameters
    ----------
    findings : sequence of str
        Other diagnoses of the case: with any, three in four ponds have another cause, which may weigh more.
    n : int
        A multiple of four.
    """
    low, high = np.log(OTHER_CAUSE)
    several = n // 2
    if findings:
        several, high = 3 * n // 4, high + np.log(OTHER_CAUSE_FOUND_FACTOR)
    share = (np.arange(several) + 0.5) / several
    return np.concatenate([np.zeros(n - several), np.exp(low + (high - low) * share)])


@dataclass(frozen=True)
class CourseList:
    """Courses of death from another cause, K of them, and the log of the prior chance of each, shape (K,)."""

    courses: OtherDeaths
    log_prior: np.ndarray

    def drawn(self, log_likelihood: np.ndarray, uniform: np.ndarray) -> OtherDeaths:
        """Draw a course for each pond given its log, of likelihoods (K, M), by uniform draws (M,)."""
        chance = np.exp(log_likelihood + self.log_prior[:, None])
        below = np.cumsum(chance / chance.sum(0), axis=0)
        return self.courses.take(np.minimum((below < uniform).sum(0), len(self.log_prior) - 1))

    def log_evidence(self, log_likelihood: np.ndarray) -> np.ndarray:
        """Log chance of each pond's log, whatever else killed fish, shape (M,)."""
        return logsumexp(log_likelihood + self.log_prior[:, None], axis=0)


def courses_for(
    findings: Sequence[str],
    first_day: float,
    spans: np.ndarray,
    deaths: np.ndarray,
    fish_days: np.ndarray,
    background: float,
    of_dose: np.ndarray,
) -> CourseList:
    """List the courses for a death log; without one, steady rates alone.

    Parameters
    ----------
    findings : sequence of str
        Other diagnoses of the case.
    first_day : float
        On which the record begins, counted from the visit [d].
    spans : numpy.ndarray
        First and last day of each row of the log, shape (R, 2) [d].
    deaths, fish_days : numpy.ndarray
        Of each row, shape (R,).
    background : float
        Death rate without flukes and other causes [1/d].
    of_dose : numpy.ndarray of bool
        Rows whose dead may be a dose's: no course is chosen to fit them, shape (R,).

    Notes
    -----
    Of a large pool half of the outbreaks are kept as they come and half by how well they explain the log with no fluke
    about; each carries the prior over the density it was kept by.
    """
    rates = other_cause_rates(findings, 32)
    steady = CourseList(OtherDeaths.constant(rates), np.full(rates.size, -np.log(rates.size)))
    if not spans.size:
        return steady
    pool = _pool(first_day)
    mean = np.array([pool.mean_rate(*span) for span in spans])
    expected = (mean + background) * fish_days[:, None]
    log_fit = log_row(deaths[~of_dose, None], expected[~of_dose]).sum(0)
    places, log_ratio = _kept(_POWER * log_fit)
    kept = pool.take(places)
    share = _OUTBREAK_FOUND if findings else _OUTBREAK
    return CourseList(
        OtherDeaths(*(np.concatenate(pair) for pair in zip(_parts(steady.courses), _parts(kept), strict=True))),
        np.concatenate([np.log1p(-share) + steady.log_prior, np.log(share) + log_ratio - logsumexp(log_ratio)]),
    )


def _pool(first_day: float) -> OtherDeaths:
    """Outbreaks drawn from what is believed of them, evenly: a lattice of golden ratios in four dimensions."""
    root = 1.0
    for _ in range(60):  # the root of x^5 = x + 1
        root = (1 + root) ** 0.2
    at = (0.5 + np.outer(1 / root ** np.arange(1, 5), np.arange(_POOL))) % 1.0

    def between(u: np.ndarray, ends: tuple[float, float]) -> np.ndarray:
        return ends[0] * (ends[1] / ends[0]) ** u

    onset = (first_day - _BEFORE_DAYS) * (1 - at[0])
    return OtherDeaths(
        np.zeros(_POOL), between(at[1], _PEAK), onset, between(at[2], _GROWTH_DAYS), between(at[3], _FADE_DAYS)
    )


def _kept(log_fit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places kept of the pool, each once, and the log of prior over the density they were kept by."""
    fit = np.exp(log_fit - logsumexp(log_fit))
    density = 0.5 / log_fit.size + 0.5 * fit
    points = (np.arange(2 * _KEPT) + 0.5) / (2 * _KEPT)
    chosen = np.searchsorted(np.cumsum(density) / density.sum(), points)
    places, times = np.unique(np.minimum(chosen, log_fit.size - 1), return_counts=True)
    return places, np.log(times) - np.log(density[places])


def _parts(courses: OtherDeaths) -> tuple[np.ndarray, ...]:
    return courses.steady, courses.peak, courses.onset_day, courses.growth_days, courses.fade_days

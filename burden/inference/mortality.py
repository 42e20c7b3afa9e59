"""What the death log says: how likely a pond makes it, and how many of its dead the flukes killed.

The log fixes the sum of what kills: the background, another cause, and hazard per burden times burden. Which of them it
was, samples and log tell together, or they do not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
from scipy.special import gammaln

from burden.case import Case
from burden.inference.prior import OTHER_CAUSE, OTHER_CAUSE_FOUND_FACTOR
from burden.model.forward import Trajectory
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval
from burden.utils.wording import Remark, text_of

__all__ = [
    "DeathAttribution",
    "DeathLog",
    "DeathPattern",
    "MoreThanOtherCauses",
    "beyond_other_causes",
    "explain",
    "other_given_deaths",
    "pattern_of_deaths",
    "read_log",
]

#: largest distance between the distributions of the number before and after the samples and the log were read, over
#: all numbers, below which the answer is the prior's; and share of all numbers in an interval that says nothing:
#: assumptions
_SAME, _NEARLY_ALL = 0.2, 0.9
#: dead fish of one row and day, and their share of the stock, from which they are many at once; and how long single
#: deaths must go on to be called so [d]: assumptions
_MANY, _MANY_SHARE, _MONTHS_DAYS = 3, 0.05, 28
#: share of the largest death rate of another cause from which the log may well hold more: an assumption
_NEAR_LIMIT = 0.85
#: fish lighter than this are fry [g], a stock denser than this is crowded [kg/m³]: assumptions
_FRY_G, _CROWDED_KG_M3 = 5.0, 10.0


@dataclass(frozen=True)
class DeathLog:
    """The rows of a death log as M ponds make them.

    Parameters
    ----------
    deaths : numpy.ndarray
        Written down, shape (R,).
    fluke, background : numpy.ndarray
        Deaths to be expected from each over the days of a row, shape (R, M).
    exposure : numpy.ndarray
        Live fish times days, shape (R, M) [d].
    """

    deaths: np.ndarray
    fluke: np.ndarray
    background: np.ndarray
    exposure: np.ndarray

    def take(self, draws: np.ndarray) -> DeathLog:
        """Return the ponds at some positions, repeats allowed."""
        return DeathLog(self.deaths, *(x[:, draws] for x in (self.fluke, self.background, self.exposure)))

    def log_likelihood(self, other: np.ndarray) -> np.ndarray:
        """Poisson log-likelihood of the rows at each death rate `other` from another cause, shape (rates, M)."""
        total = np.zeros((other.size, self.exposure.shape[1]))
        for deaths, fluke, background, exposure in zip(
            self.deaths, self.fluke, self.background, self.exposure, strict=True
        ):
            expected = np.maximum(fluke + background + other[:, None] * exposure, 1e-12)
            total = total + deaths * np.log(expected) - expected - gammaln(deaths + 1)
        return total


def read_log(case: Case, run: Trajectory, clean_hazard: np.ndarray | None = None) -> DeathLog:
    """Read the rows of a case's log that a run covers, each over the days it covers.

    Parameters
    ----------
    case : Case
    run : Trajectory
        From the start of the record.
    clean_hazard : numpy.ndarray, optional
        With it no fluke was there, and as many fish as were counted died at this rate, shape (M,) [1/d].
    """
    days, m = run.days, run.alive.shape[-1]
    found: dict[str, list[np.ndarray]] = {"fluke": [], "background": [], "exposure": []}
    deaths = []
    for row in case.deaths:
        end = float(case.day_of(row.date))
        start = end - row.days_covered
        if case.fish_since is not None:  # days on which there was no fish to die do not count
            start = max(start, float(case.day_of(case.fish_since)))
        if start < days[0] or start >= end:
            continue
        alive = 0.5 * (_at(days, run.alive, start) + _at(days, run.alive, end))
        fluke, whole = (_at(days, x, end) - _at(days, x, start) for x in (run.fluke_deaths, run.deaths))
        own = whole - fluke
        if clean_hazard is not None:
            fluke, own = np.zeros(m), clean_hazard * (case.fish_on(row.date) + 0.5 * row.deaths) * (end - start)
        deaths.append(row.deaths)
        for name, value in (("fluke", fluke), ("background", own), ("exposure", alive * (end - start))):
            found[name].append(np.broadcast_to(value, (m,)))
    arrays = {name: np.array(values).reshape(len(deaths), m) for name, values in found.items()}
    return DeathLog(np.array(deaths, float), **arrays)


def other_given_deaths(log_likelihood: np.ndarray, rates: np.ndarray, of: np.ndarray, seed: int) -> np.ndarray:
    """Death rate from another cause of each way, drawn given its pond's death log, shape (n,) [1/d]."""
    chance = np.exp(log_likelihood - log_likelihood.max(0))
    below = np.cumsum(chance / chance.sum(0), axis=0)[:, of]
    place = (below < uniform_draws("other cause given the deaths", of.size, seed)).sum(0)
    return rates[np.minimum(place, rates.size - 1)]


def _at(days: np.ndarray, values: np.ndarray, day: float) -> np.ndarray:
    i = int(np.clip(np.searchsorted(days, day, side="right") - 1, 0, len(days) - 2)) if len(days) > 1 else 0
    if len(days) == 1:
        return values[0]
    share = np.clip((day - days[i]) / (days[i + 1] - days[i]), 0, 1)
    return values[i] * (1 - share) + values[i + 1] * share


@dataclass(frozen=True)
class DeathPattern(Remark):
    """What the course of deaths speaks for (common practice, no source).

    Parameters
    ----------
    kind : str
        Many at once where flukes of grown fish seldom kill so; many at once in fry or crowded stock, where that rules
        nothing out; or single deaths over months, which fit gill flukes.
    deaths : int
        Of the worst row; all of them where they are single.
    days : float
        Over which they died [d].
    until : date
        Last of these days.
    """

    kind: Literal["many_unusual", "many_any_cause", "single_over_months"]
    deaths: int
    days: float
    until: date


@dataclass(frozen=True)
class MoreThanOtherCauses(Remark):
    """More fish die than the model lets die of anything but flukes, at most `most_per_day` [1/d]."""

    most_per_day: float


@dataclass(frozen=True)
class DeathAttribution:
    """How many of the dead in the log the flukes killed.

    Parameters
    ----------
    deaths : int
        In the rows that are reckoned with.
    by_flukes, believed : CredibleInterval
        Of them killed by flukes: after samples and log, and before either was read.
    told : bool
        Whether samples and log have said anything: the number is not the one believed before, and not any number.
    rates : mapping of str to CredibleInterval
        Death rates over the log from flukes and from all else [1/d].
    pattern : DeathPattern or None
        What many at once or single deaths speak for.
    """

    deaths: int
    by_flukes: CredibleInterval
    believed: CredibleInterval
    told: bool
    rates: Mapping[str, CredibleInterval]
    pattern: DeathPattern | None

    @property
    def mostly_else(self) -> bool:
        """Whether most of the dead are surely not the flukes': half of them at the upper end of the interval."""
        return self.told and self.by_flukes.high < 0.5 * self.deaths

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "deaths": self.deaths,
            "by_flukes": self.by_flukes.as_dict(),
            "by_flukes_believed_before": self.believed.as_dict(),
            "verdict": "told" if self.told else "cannot_tell",
            "rates_per_day": {name: rate.as_dict() for name, rate in self.rates.items()},
            "pattern": "" if self.pattern is None else str(self.pattern),
            "pattern_code": None if self.pattern is None else self.pattern.as_dict(),
        }

    def text(self) -> str:
        """Return the finding in words."""
        return text_of(self)


def explain(
    case: Case,
    home: str,
    log: DeathLog,
    other: np.ndarray,
    carries: np.ndarray,
    before: tuple[DeathLog, np.ndarray, np.ndarray],
    seed: int,
) -> DeathAttribution | None:
    """Split the dead of a log between flukes and all else; None where no row is reckoned with or none died.

    Parameters
    ----------
    case : Case
    home : str
        The set's own site.
    log, other, carries
        Of the posterior ponds: their log, death rate from another cause, and whether they ever carried flukes.
    before : (DeathLog, numpy.ndarray, numpy.ndarray)
        Of the prior ponds: their log, death rate from another cause, and weight.
    seed : int

    Notes
    -----
    Given a pond, each of the dead of a row is the flukes' with the chance that their share of its expected deaths has;
    so the number is binomial, row by row, and the spread over ponds comes on top.
    """
    dead = int(log.deaths.sum())
    if dead == 0:
        return None
    after = _by_flukes(log, other, seed) * carries
    prior_log, prior_other, weight = before
    prior = _by_flukes(prior_log, prior_other, seed + 1)
    number = CredibleInterval.of(after)
    anything = number.high - number.low >= _NEARLY_ALL * dead
    told = not anything and _distance(after, prior, weight) >= _SAME
    exposure = np.maximum(log.exposure.sum(0), 1e-9)
    rates = {
        "flukes": CredibleInterval.of(log.fluke.sum(0) / exposure * carries),
        "all_else": CredibleInterval.of(log.background.sum(0) / exposure + other),
    }
    return DeathAttribution(
        dead, number, CredibleInterval.of(prior, weight), told, rates, pattern_of_deaths(case, home)
    )


def _by_flukes(log: DeathLog, other: np.ndarray, seed: int) -> np.ndarray:
    """Number of the dead that flukes killed, a whole one a pond, shape (M,)."""
    rng = np.random.default_rng([seed, 1709])
    whole = log.fluke + log.background + other * log.exposure
    share = np.divide(log.fluke, whole, out=np.zeros_like(whole), where=whole > 0)
    return rng.binomial(log.deaths.astype(int)[:, None], np.clip(share, 0, 1)).sum(0).astype(float)


def _distance(after: np.ndarray, prior: np.ndarray, weight: np.ndarray) -> float:
    """Largest difference of the two distribution functions (Kolmogorov), looked for where one of them steps."""
    steps = np.union1d(after, prior)
    order = np.argsort(prior, kind="stable")
    mass = np.concatenate([[0.0], np.cumsum(weight[order])])
    below = np.searchsorted(np.sort(after), steps, "right") / len(after)
    return float(np.max(np.abs(below - mass[np.searchsorted(prior[order], steps, "right")] / mass[-1])))


def beyond_other_causes(case: Case, explained: DeathAttribution | None) -> list[MoreThanOtherCauses]:
    """Say that more fish die than the model lets die of anything but flukes, as a forecast is then too low.

    Parameters
    ----------
    case : Case
    explained : DeathAttribution or None
    """
    most = OTHER_CAUSE[1] * (OTHER_CAUSE_FOUND_FACTOR if case.findings.other else 1.0)
    if explained is None or explained.rates["all_else"].median < _NEAR_LIMIT * most:
        return []
    return [MoreThanOtherCauses(most)]


def pattern_of_deaths(case: Case, home: str) -> DeathPattern | None:
    """Say what many deaths at once, or single ones over months, speak for (common practice, no source)."""
    rows = [row for row in case.deaths if row.deaths > 0]
    if not rows or home != "gill":
        return None
    volume_m3 = case.water.volume_l.value / 1000
    kilograms = sum(g.count * g.weight_g.value for g in case.fish) / 1000
    open_to_all = case.mean_weight_g.value < _FRY_G or kilograms / volume_m3 > _CROWDED_KG_M3
    many = [
        row
        for row in rows
        if row.deaths / max(row.days_covered, 1.0) >= max(_MANY, _MANY_SHARE * (case.fish_on(row.date) + row.deaths))
    ]
    if many:
        worst = max(many, key=lambda row: row.deaths / max(row.days_covered, 1.0))
        kind: Literal["many_any_cause", "many_unusual"] = "many_any_cause" if open_to_all else "many_unusual"
        return DeathPattern(kind, worst.deaths, worst.days_covered, worst.date)
    span = (rows[-1].date - rows[0].date).days + rows[0].days_covered
    if span >= _MONTHS_DAYS and len(rows) > 1 and not open_to_all:
        return DeathPattern("single_over_months", sum(row.deaths for row in rows), span, rows[-1].date)
    return None

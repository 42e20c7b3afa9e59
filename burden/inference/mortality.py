"""What the death log says: how likely a pond makes it, and how many of its dead the flukes killed.

The log fixes the sum of what kills: the background, another cause, and hazard per burden times burden. Which of them it
was, samples and log tell together, or they do not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

import numpy as np
from scipy.special import gammaln

from burden.case import Case
from burden.evidence import load_parasite
from burden.inference.other_cause import HIGHEST_PEAK, CourseList, courses_for
from burden.model.forward import Trajectory
from burden.model.other_deaths import OtherDeaths
from burden.utils.results import CredibleInterval, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "DeathAttribution",
    "DeathLog",
    "DeathPattern",
    "MoreThanOtherCauses",
    "beyond_other_causes",
    "explain",
    "other_courses",
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
    spans : numpy.ndarray
        First and last day of each row, shape (R, 2) [d].
    """

    deaths: np.ndarray
    fluke: np.ndarray
    background: np.ndarray
    exposure: np.ndarray
    spans: np.ndarray

    def take(self, draws: np.ndarray) -> DeathLog:
        """Return the ponds at some positions, repeats allowed."""
        fluke, background, exposure = (x[:, draws] for x in (self.fluke, self.background, self.exposure))
        return DeathLog(self.deaths, fluke, background, exposure, self.spans)

    def by_other(self, courses: OtherDeaths) -> np.ndarray:
        """Deaths to be expected of each pond's own course of another cause, shape (R, M)."""
        if not self.deaths.size:
            return np.zeros_like(self.exposure)
        return np.array([courses.mean_rate(*span) for span in self.spans]) * self.exposure

    def log_likelihood(self, courses: OtherDeaths) -> np.ndarray:
        """Poisson log-likelihood of the rows under each of K courses of another cause, shape (K, M)."""
        total = np.zeros((len(courses), self.exposure.shape[1]))
        rows = zip(self.deaths, self.fluke + self.background, self.exposure, self.spans, strict=True)
        for deaths, own, exposure, span in rows:
            expected = np.maximum(own + courses.mean_rate(*span)[:, None] * exposure, 1e-12)
            total -= expected
            if deaths:  # most rows of most logs have none, and logarithms are what costs
                total += deaths * np.log(expected) - gammaln(deaths + 1)
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

    Notes
    -----
    The fish that could die are those counted, whatever the run lost: it knows of no other cause. A run with more live
    fish than were counted has its deaths scaled down to these.
    """
    days, m = run.days, run.alive.shape[-1]
    found: dict[str, list[np.ndarray]] = {"fluke": [], "background": [], "exposure": []}
    deaths, spans = [], []
    for row in case.deaths:
        end = float(case.day_of(row.date))
        start = end - row.days_covered
        if case.fish_since is not None:  # days on which there was no fish to die do not count
            start = max(start, float(case.day_of(case.fish_since)))
        if start < days[0] or start >= end:
            continue
        there = case.fish_on(row.date) + 0.5 * row.deaths
        alive = 0.5 * (_at(days, run.alive, start) + _at(days, run.alive, end))
        fewer = np.minimum(there / np.maximum(alive, 1e-9), 1.0)
        fluke, whole = (_at(days, x, end) - _at(days, x, start) for x in (run.fluke_deaths, run.deaths))
        own = whole - fluke
        if clean_hazard is not None:
            fluke, own, fewer = np.zeros(m), clean_hazard * there * (end - start), np.ones(m)
        deaths.append(row.deaths)
        spans.append((start, end))
        rates = {"fluke": fluke * fewer, "background": own * fewer, "exposure": there * (end - start)}
        for name, value in rates.items():
            found[name].append(np.broadcast_to(value, (m,)))
    arrays = {name: np.array(values, float).reshape(len(deaths), m) for name, values in found.items()}
    return DeathLog(np.array(deaths, float), **arrays, spans=np.array(spans, float).reshape(len(deaths), 2))


def other_courses(case: Case, log: DeathLog, first_day: float, background: float) -> CourseList:
    """List what else may have killed the fish of a log; see `burden.inference.other_cause`."""
    fish_days = log.exposure[:, 0] if log.exposure.size else np.zeros(0)
    return courses_for(case.findings.diseases, first_day, log.spans, log.deaths, fish_days, background)


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
    by_draw : numpy.ndarray
        Of the dead, those killed by flukes in each draw of the estimate, shape (M,).
    bled : bool
        Whether fish lack blood and the flukes drink it: whatever the log says, it does not acquit these.
    looked : bool
        Whether any fish was looked at: where none was, the log alone says nothing of what killed.
    """

    deaths: int
    by_flukes: CredibleInterval
    believed: CredibleInterval
    told: bool
    rates: Mapping[str, CredibleInterval]
    pattern: DeathPattern | None
    by_draw: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False, compare=False)
    bled: bool = False
    looked: bool = True

    @property
    def share_by_flukes(self) -> CredibleInterval:
        """Share of the dead that the flukes killed [-]."""
        return CredibleInterval(
            *(x / self.deaths for x in (self.by_flukes.median, self.by_flukes.low, self.by_flukes.high))
        )

    @property
    def cannot_tell(self) -> bool:
        """Whether samples and log leave open how many the flukes killed."""
        return not self.told

    @property
    def surely_flukes(self) -> bool:
        """Whether most of the dead are surely the flukes': half of them at the lower end of the interval."""
        return self.told and self.by_flukes.low > 0.5 * self.deaths

    @property
    def mostly_flukes(self) -> np.ndarray:
        """Whether flukes killed more than half of the dead, in each draw of the estimate, shape (M,)."""
        return self.by_draw > 0.5 * self.deaths

    @property
    def mostly_else(self) -> bool:
        """Whether most of the dead are surely not the flukes': half of them at the upper end of the interval."""
        return not self.bled and self.told and self.by_flukes.high < 0.5 * self.deaths

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "deaths": self.deaths,
            "by_flukes": self.by_flukes.as_dict(),
            "by_flukes_believed_before": self.believed.as_dict(),
            "verdict": "told" if self.told else "cannot_tell",
            "fish_looked_at": self.looked,
            "share_by_flukes": self.share_by_flukes.as_dict(),
            "mostly_flukes_probability": number(float(np.mean(self.mostly_flukes))) if self.by_draw.size else None,
            "surely_flukes": self.surely_flukes,
            "surely_other": self.mostly_else,
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
    other: OtherDeaths,
    carries: np.ndarray,
    before: tuple[DeathLog, OtherDeaths],
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
    before : (DeathLog, OtherDeaths)
        Of equally likely prior ponds.
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
    prior = _by_flukes(*before, seed + 1)
    killed = CredibleInterval.of(after)
    anything = killed.high - killed.low >= _NEARLY_ALL * dead
    looked = case.has_samples
    told = looked and not anything and _distance(after, prior, np.ones_like(prior)) >= _SAME
    exposure = np.maximum(log.exposure.sum(0), 1e-9)
    rates = {
        "flukes": CredibleInterval.of(log.fluke.sum(0) / exposure * carries),
        "all_else": CredibleInterval.of((log.background + log.by_other(other)).sum(0) / exposure),
    }
    bled = bool(case.findings.anaemic) and any(load_parasite(name).blood_feeder for name in case.parasites)
    pattern = pattern_of_deaths(case, home)
    return DeathAttribution(dead, killed, CredibleInterval.of(prior), told, rates, pattern, after, bled, looked)


def _by_flukes(log: DeathLog, other: OtherDeaths, seed: int) -> np.ndarray:
    """Number of the dead that flukes killed, a whole one a pond, shape (M,)."""
    rng = np.random.default_rng([seed, 1709])
    whole = log.fluke + log.background + log.by_other(other)
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
    most = HIGHEST_PEAK
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

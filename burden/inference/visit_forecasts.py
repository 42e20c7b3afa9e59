"""What was to be expected of each visit with what was known the visit before, and what was then seen.

Every draw of an estimate is a pond with a past. Weighed by the rows up to one visit alone, the same ponds say what the
next was to show: flukes on the fish, flukes counted in the very preparations that were made, and dead fish. If the
model is right, each visit's place in its forecast is uniform and independent of those before (Dawid 1984, J R Stat Soc
A 147:278), so how often they fall outside is a test of the tool on this pond.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date as Date
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Preparation
from burden.inference.arrivals import PRIOR_NONE, in_order_of_arrival
from burden.inference.death_log import DeathLog
from burden.inference.death_rows import drawn_deaths
from burden.inference.earlier_visits import ROUGH_NODES
from burden.inference.estimate_result import Estimate
from burden.inference.history import (
    HistoryRuns,
    history_days,
    log_likelihood_before,
    run_past,
    stage_shares,
    strayed,
    with_drift,
)
from burden.inference.looks_on_record import fish_at_look, rows_by_day, rows_of
from burden.inference.observation import fineness, fish_alike
from burden.inference.observation_parameters import shown
from burden.inference.picked_fish import rates_of_chosen, shares_picked
from burden.inference.straying import Strayed
from burden.statistics import part_count_size
from burden.statistics.adaptive_importance import effective_size
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval, number

__all__ = ["PastPonds", "VisitForecast", "counts_of", "past_ponds", "visit_forecasts", "with_numbers_of"]

#: ponds run again, at most, and the powers of the likelihood by which they are chosen, an equal share each: what was
#: known early is fitted by ponds that all rows together do not speak for
_PONDS, _POWERS = 800, (0.0, 0.0, 0.05, 0.2, 1.0)
#: draws that a forecast must be worth: an assumption
_LEAST_DRAWS = 20.0
#: days between two points of the course that is drawn [d]
_STEP_DAYS = 4.0
#: how long before a dose of a day the course is drawn once more [d]
_AHEAD_DAYS = 0.05


@dataclass(frozen=True)
class VisitForecast:
    """One visit as it was to be expected, and as it came.

    Parameters
    ----------
    date, known_until : Date
        Of the visit, and of that before: nothing later is in the forecast but what was given and how warm it was.
    burden, found : CredibleInterval
        Flukes a fish as expected, and as estimated with everything known now.
    counts : CredibleInterval
        Flukes that the preparations of the visit were to show.
    counted : int
        What they showed, at least.
    place : float
        Share of the forecast below what was counted, ties halved [-].
    deaths : CredibleInterval or None
        Fish to die between the visits, over the days the log covers; None without a log.
    dead : int or None
        Those that did.
    effective_draws : float
    """

    date: Date
    known_until: Date
    burden: CredibleInterval
    found: CredibleInterval
    counts: CredibleInterval
    counted: int
    place: float
    deaths: CredibleInterval | None
    dead: int | None
    effective_draws: float

    @property
    def can_be_judged(self) -> bool:
        """Whether enough of the ponds fit what was known the visit before."""
        return self.effective_draws >= _LEAST_DRAWS

    @property
    def verdict(self) -> str:
        """More or fewer flukes counted than the band holds, as_expected, or cannot_tell."""
        if not self.can_be_judged:
            return "cannot_tell"
        if self.counted > self.counts.high:
            return "more"
        return "fewer" if self.counted < self.counts.low else "as_expected"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "date": self.date.isoformat(),
            "known_until": self.known_until.isoformat(),
            "burden_expected": self.burden.as_dict(),
            "burden_found": self.found.as_dict(),
            "counts_expected": self.counts.as_dict(),
            "counted": self.counted,
            "place": number(self.place),
            "deaths_expected": None if self.deaths is None else self.deaths.as_dict(),
            "deaths": self.dead,
            "verdict": self.verdict,
            "effective_draws": number(self.effective_draws),
        }


@dataclass(frozen=True)
class PastPonds:
    """Ponds of an estimate run through the record once more, with days between for a figure.

    Parameters
    ----------
    runs : HistoryRuns
        M ponds.
    log_prior : numpy.ndarray
        Log weight of each as a draw of the prior, shape (M,).
    log_before : numpy.ndarray
        Log-likelihood of the looks from before the run begins, shape (M,).
    log_weight : numpy.ndarray
        Log weight of each as a draw of the posterior, shape (M,).
    strayed : Strayed or None
        How they may have strayed at each look; None where nobody looked within the run.
    """

    runs: HistoryRuns
    log_prior: np.ndarray
    log_before: np.ndarray
    log_weight: np.ndarray
    strayed: Strayed | None

    @property
    def weight(self) -> np.ndarray:
        """Weights of the posterior, shape (M,); the largest is 1."""
        return np.exp(self.log_weight - self.log_weight.max())

    def burden(self, day: float) -> np.ndarray:
        """Flukes a fish on a day that was reported, with everything known now, shape (M,)."""
        return self.runs.burden(day)

    def learned(self, day: float) -> np.ndarray:
        """Log-likelihood of the look of a day given those before it, shape (M,)."""
        return self._looks.log_likelihood[self._looks.days.index(day)]

    def foretold(self, day: float, seed: int) -> np.ndarray:
        """Draw flukes a fish on the day of a look, with what is known from those before it, shape (M,)."""
        log_factor = self._looks.foretold(self._looks.days.index(day), seed)
        return self.runs.by_day[day]["all"] * np.exp(log_factor)

    @property
    def _looks(self) -> Strayed:
        if self.strayed is None:
            raise ValueError("nobody looked at fish within this run")
        return self.strayed


def past_ponds(found: Estimate) -> PastPonds:
    """Run ponds of an estimate through its record again.

    Parameters
    ----------
    found : Estimate
    """
    if found.pool is None:
        raise ValueError("this estimate kept no draws to look back with")
    log_prior, log_likelihood = found.pool.log_prior, found.pool.log_likelihood
    tempered = [log_prior + power * log_likelihood for power in _POWERS]
    log_mix = logsumexp([one - logsumexp(one) for one in tempered], axis=0) - np.log(len(_POWERS))
    points = (np.arange(_PONDS) + uniform_draws("ponds to look back with", 1, found.seed)[0]) / _PONDS
    mass = np.cumsum(np.exp(log_mix))
    chosen = np.minimum(np.searchsorted(mass / mass[-1], points), log_mix.size - 1)
    places, times = np.unique(chosen, return_counts=True)
    runs = run_past(
        found.case, found.parasite, places.size, found.seed, found.pool.at(places), tuple(_days_between(found))
    )
    weight = log_prior[places] - log_mix[places] + np.log(times)
    before = log_likelihood_before(runs, found.parasite)
    finer = before - log_likelihood_before(runs, found.parasite, ROUGH_NODES)
    looks = strayed(runs, found.parasite)
    runs = with_drift(runs, found.parasite, found.seed, looks)
    return PastPonds(runs, weight, before, weight + log_likelihood[places] + finer, looks)


def _days_between(found: Estimate) -> Iterator[float]:
    """Days of the course besides those of the record, and just before each dose."""
    first = float(history_days(found.case)[0])
    yield from np.arange(first + _STEP_DAYS, 0.0, _STEP_DAYS)
    yield from (day - _AHEAD_DAYS for dose in found.case.doses_given if (day := found.case.day_of(dose.date)) > first)


def visit_forecasts(found: Estimate, past: PastPonds) -> tuple[VisitForecast, ...]:
    """Return each visit of the run but the first, as it was to be expected and as it came.

    Parameters
    ----------
    found : Estimate
    past : PastPonds
        From `past_ponds`.

    Notes
    -----
    What was given between two visits, and how warm the water then was, count as known; so a forecast is that of the
    course that was followed. Findings of gills and blood are of the last visit and in none.
    """
    rows = dict(sorted(rows_by_day(found.case, found.parasite).items()))
    known, forecasts = _Known(found, past), []
    for before, day in pairwise(rows):
        known.learn(before, rows[before])
        forecasts.append(_forecast(known, before, day, rows[day]))
    return tuple(forecasts)


class _Known:
    """Log weights of the ponds as the visits go by."""

    def __init__(self, found: Estimate, past: PastPonds) -> None:
        self.found, self.past, self.runs = found, past, past.runs
        self.day, self.flukes_seen = -np.inf, False
        self.looks = past.log_before
        self.by_course = np.zeros((len(past.runs.courses.log_prior), past.runs.pond.size))
        self.clean_by_course = np.zeros_like(self.by_course)

    def learn(self, day: float, rows: Sequence[Preparation]) -> None:
        """Add a look, and the deaths and arrivals up to it."""
        case, seen = self.found.case, self.runs.seen
        self.looks = self.looks + self.past.learned(day)
        if self.found.parasite == case.parasites[0]:
            for came, i, _ in in_order_of_arrival(case, min(self.runs.by_day)):
                if self.day < came <= day:
                    newcomers = self.runs.pond.newcomers[i]
                    self.looks = self.looks + newcomers.log_likelihood(self.runs.pond, seen, {})
        for log, total in ((self.runs.dead, self.by_course), (self.runs.dead_clean, self.clean_by_course)):
            total += _rows_between(log, self.day, day).log_likelihood(self.runs.courses.courses)
        self.day = day
        seen_of = [row for row in rows_of(case, self.found.parasite) if case.day_of(row.date) <= day]
        self.flukes_seen = any(row.count_low > 0 for row in seen_of)

    @property
    def log_weight(self) -> np.ndarray:
        return self.past.log_prior + self.looks + self.runs.courses.log_evidence(self.by_course)

    @property
    def never(self) -> float:
        """Chance that there was no fluke at all, by what is known so far."""
        if self.flukes_seen:
            return 0.0
        whole = float(logsumexp(self.past.log_prior))
        clean = self.runs.courses.log_evidence(self.clean_by_course)
        without = np.log(PRIOR_NONE) + float(logsumexp(self.past.log_prior + clean)) - whole
        carrying = np.log1p(-PRIOR_NONE) + float(logsumexp(self.log_weight)) - whole
        return float(np.exp(without - np.logaddexp(without, carrying)))


def _rows_between(log: DeathLog, after: float, until: float) -> DeathLog:
    """Rows of a log that end after one day and up to another."""
    if not log.deaths.size:
        return log
    mine = (log.spans[:, 1] > after) & (log.spans[:, 1] <= until)
    return log.rows(mine)


def _forecast(known: _Known, before: float, day: float, rows: Sequence[Preparation]) -> VisitForecast:
    runs, found, log_weight = known.runs, known.found, known.log_weight
    weight = np.exp(log_weight - log_weight.max())
    m = runs.pond.size
    none = uniform_draws(f"no fluke yet {day:g}", m, found.seed) < known.never
    rng = np.random.default_rng([found.seed, zlib.crc32(f"what {rows[0].date} was to show".encode())])
    mean = known.past.foretold(day, found.seed)
    shown_by_draw = np.where(none, 0, counts_of(runs, mean, rows, stage_shares(runs, day), rng))
    counted = sum(row.count_low for row in rows)
    below = np.average((shown_by_draw < counted) + 0.5 * (shown_by_draw == counted), weights=weight)
    deaths, dead = _deaths(known, before, day, rng, weight)
    to_date = found.case.visit_date
    return VisitForecast(
        date=to_date + timedelta(days=day),
        known_until=to_date + timedelta(days=before),
        burden=CredibleInterval.of(np.where(none, 0.0, mean), weight),
        found=found.mean_abundance if day == 0 else CredibleInterval.of(known.past.burden(day), known.past.weight),
        counts=_whole(shown_by_draw, weight),
        counted=counted,
        place=float(below),
        deaths=deaths,
        dead=dead,
        effective_draws=effective_size(log_weight),
    )


def _whole(values: np.ndarray, weight: np.ndarray) -> CredibleInterval:
    """Median and 5 and 95 % points of whole numbers: the least that hold so much of the mass."""
    order = np.argsort(values, kind="stable")
    up_to = np.cumsum(weight[order]) / weight.sum()
    low, median, high = values[order][np.minimum(np.searchsorted(up_to, (0.05, 0.5, 0.95)), values.size - 1)]
    return CredibleInterval(float(median), float(low), float(high))


def _deaths(
    known: _Known, before: float, day: float, rng: np.random.Generator, weight: np.ndarray
) -> tuple[CredibleInterval | None, int | None]:
    """Fish to die between two visits, and those that did, over the rows of the log between them."""
    log = _rows_between(known.runs.dead, before, day)
    if not log.deaths.size:
        return None, None
    uniform = uniform_draws(f"other cause known {before:g}", weight.size, known.found.seed)
    other = known.runs.courses.drawn(known.by_course, uniform)
    expected = log.fluke + log.background + log.by_other(other)
    return _whole(drawn_deaths(expected, rng).sum(0), weight), int(log.deaths.sum())


def counts_of(
    runs: HistoryRuns,
    mean: np.ndarray,
    rows: Sequence[Preparation],
    stages: dict[str, np.ndarray],
    rng: np.random.Generator,
) -> np.ndarray:
    """Draw the flukes that preparations like these were to show, all together, shape (M,).

    Parameters
    ----------
    runs : HistoryRuns
        M ponds.
    mean : numpy.ndarray
        Flukes a fish that day, shape (M,).
    rows : sequence of Preparation
        Of that day; their counts say only how far they were read: "more than 50" reads 51 of whatever is more.
    stages : mapping of str to numpy.ndarray
        As `burden.inference.observation.log_likelihood_of_samples` takes them.
    rng : numpy.random.Generator

    Notes
    -----
    The same law as its likelihood: a rate a fish, by how it was chosen; clumped part-counts given it.
    """
    k, seen = runs.pond.setting.parameters["aggregation"], runs.seen
    home, weight_g = runs.pond.setting.parameters.evidence.site, runs.pond.setting.fish.weight_g.mean(0)
    alike = fish_alike(rows)
    picked = shares_picked(alike, fish_at_look(runs.pond.case, rows))
    total, every = np.zeros(mean.size), np.arange(mean.size)
    for preparations, times in alike.items():
        fine = fineness(preparations, seen, weight_g)
        rates, log_weight = rates_of_chosen(preparations[0].chosen, np.maximum(mean, 1e-9), k, seen, fine, picked)
        up_to = np.cumsum(np.exp(log_weight - logsumexp(log_weight, axis=0)), axis=0)
        for _ in range(times):
            node = np.minimum((up_to < rng.random(mean.size)).sum(0), len(rates) - 1)
            for row in preparations:
                here, share = shown(row, seen, home, weight_g, stages)
                size = part_count_size(share, seen.part_shape)
                total += _read_as(row, _part_count(rates[node, every] * here * share * seen.detection, size, rng))
    return total


def _part_count(expected: np.ndarray, size: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Negative binomial counts of a mean and a size; Poisson where the size has no bound."""
    finite = np.where(np.isfinite(size), size, 1.0)
    clump = np.where(np.isfinite(size), rng.gamma(finite) / finite, 1.0)
    return rng.poisson(np.minimum(expected * clump, 1e9))


def _read_as(row: Preparation, count: np.ndarray) -> np.ndarray:
    """What a count is read as on a row that was read in classes: the lower end of its own, where it lies in that."""
    high = np.inf if row.count_high is None else row.count_high
    return np.where((count >= row.count_low) & (count <= high), row.count_low, count)


def with_numbers_of(last: VisitForecast, burden: CredibleInterval, deaths: CredibleInterval | None) -> VisitForecast:
    """Return the forecast of the last visit with the burden and the deaths that another place of a report shows."""
    return replace(last, burden=burden, deaths=last.deaths if last.dead is None else deaths)

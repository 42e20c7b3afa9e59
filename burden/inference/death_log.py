"""A death log as ponds make it: which deaths are to be expected of each cause, row by row."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.special import logsumexp

from burden.case import Case
from burden.inference.death_rows import ROW_SHAPE, kills_of_dose, log_row, log_row_after_dose, may_be_of_dose
from burden.inference.other_cause import CourseList, courses_for
from burden.model.forward import Trajectory
from burden.model.other_deaths import OtherDeaths

__all__ = ["DeathLog", "other_courses", "read_log"]


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
    after_dose : numpy.ndarray of bool
        Whether a row holds days on which a dose may have killed, shape (R,).
    """

    deaths: np.ndarray
    fluke: np.ndarray
    background: np.ndarray
    exposure: np.ndarray
    spans: np.ndarray
    after_dose: np.ndarray

    def take(self, draws: np.ndarray) -> DeathLog:
        """Return the ponds at some positions, repeats allowed."""
        fluke, background, exposure = (x[:, draws] for x in (self.fluke, self.background, self.exposure))
        return replace(self, fluke=fluke, background=background, exposure=exposure)

    def rows(self, mine: np.ndarray) -> DeathLog:
        """Return some of the rows, by a mask of shape (R,)."""
        return DeathLog(*(getattr(self, part.name)[mine] for part in fields(self)))

    def by_other(self, courses: OtherDeaths) -> np.ndarray:
        """Deaths to be expected of each pond's own course of another cause, shape (R, M)."""
        if not self.deaths.size:
            return np.zeros_like(self.exposure)
        return np.array([courses.mean_rate(*span) for span in self.spans]) * self.exposure

    def log_likelihood(self, courses: OtherDeaths) -> np.ndarray:
        """Log-likelihood of the rows under each of K courses of another cause, shape (K, M).

        Notes
        -----
        A row is negative binomial about what is to be expected; where a dose may have killed, averaged over how many.
        """
        total, odds = np.zeros((len(courses), self.exposure.shape[1])), None
        for r, (deaths, own, exposure) in enumerate(
            zip(self.deaths, self.fluke + self.background, self.exposure, strict=True)
        ):
            expected = own + courses.mean_rate(*self.spans[r])[:, None] * exposure
            if self.after_dose[r]:
                total += log_row_after_dose(deaths, expected, self.stock(int(r)))
            elif deaths:
                total += log_row(deaths, expected)
            else:  # most rows of most logs have none, and logarithms are what costs
                odds = (1.0 if odds is None else odds) * (1 + expected / ROW_SHAPE)
                if r % 20 == 19:
                    total, odds = total - ROW_SHAPE * np.log(odds), None
        return total if odds is None else total - ROW_SHAPE * np.log(odds)

    def stock(self, r: int) -> float:
        """Fish that could die in a row [-]."""
        return float(self.exposure[r, 0] / (self.spans[r, 1] - self.spans[r, 0]))

    def by_dose(self, other: OtherDeaths, uniform: np.ndarray, read: bool = True) -> np.ndarray:
        """Deaths to be expected of the doses themselves, drawn for each pond given its row, shape (R, M).

        Parameters
        ----------
        other : OtherDeaths
            Of each pond, M of them.
        uniform : numpy.ndarray
            Shape (R, M).
        read : bool
            Whether the row was read; without it what was believed beforehand.
        """
        found, expected = np.zeros_like(self.exposure), self.fluke + self.background + self.by_other(other)
        for r in np.flatnonzero(self.after_dose):
            killed, log_prior = kills_of_dose(self.stock(int(r)))
            log_chance = np.repeat(log_prior[:, None], uniform.shape[1], 1)
            if read:
                log_chance = log_chance + log_row(self.deaths[r], expected[r] + killed[:, None])
            chance = np.cumsum(np.exp(log_chance - logsumexp(log_chance, axis=0)), axis=0)
            found[r] = killed[np.minimum((chance < uniform[r]).sum(0), killed.size - 1)]
        return found


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
    dosed = np.array([may_be_of_dose(case, *span) for span in spans], bool)
    ends = np.array(spans, float).reshape(len(deaths), 2)
    return DeathLog(np.array(deaths, float), **arrays, spans=ends, after_dose=dosed)


def other_courses(case: Case, log: DeathLog, first_day: float, background: float) -> CourseList:
    """List what else may have killed the fish of a log; see `burden.inference.other_cause`."""
    fish_days = log.exposure[:, 0] if log.exposure.size else np.zeros(0)
    return courses_for(
        case.findings.diseases, first_day, log.spans, log.deaths, fish_days, background, of_dose=log.after_dose
    )


def _at(days: np.ndarray, values: np.ndarray, day: float) -> np.ndarray:
    i = int(np.clip(np.searchsorted(days, day, side="right") - 1, 0, len(days) - 2)) if len(days) > 1 else 0
    if len(days) == 1:
        return values[0]
    share = np.clip((day - days[i]) / (days[i + 1] - days[i]), 0, 1)
    return values[i] * (1 - share) + values[i + 1] * share

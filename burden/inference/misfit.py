"""What of a record fits worst, where no pond fits all of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
from scipy.special import logsumexp

from burden.case import Case, Preparation
from burden.inference.death_rows import log_row, log_row_after_dose
from burden.inference.history import HistoryRuns, run_past, stage_shares, with_drift
from burden.inference.looks_on_record import fish_at_look, rows_by_day
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.sampler import Misfit, Sampled
from burden.statistics.adaptive_importance import tempered
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval

__all__ = ["worst_fitting"]

#: ponds looked at, and effective draws to which the likelihood is tempered for them
_PONDS, _EFFECTIVE = 200, 100.0


def worst_fitting(case: Case, parasite: str, found: Sampled[HistoryRuns], seed: int) -> Misfit | None:
    """Return the row of the log, or the fish, that the ponds make least likely against what might be; None of nothing.

    Parameters
    ----------
    case : Case
    parasite : str
    found : Sampled
        All draws, and the first round.
    seed : int

    Notes
    -----
    Few ponds fit all of the record, so those that fit it best are taken by a tempered likelihood. A row of the log is
    set beside a cause that kills just as many, a fish beside the prior pond that makes its counts likeliest.
    """
    log_weight = tempered(found.log_prior, found.log_likelihood, _EFFECTIVE)[1]
    weight = np.exp(log_weight - logsumexp(log_weight))
    places = np.searchsorted(np.cumsum(weight), (np.arange(_PONDS) + 0.5) / _PONDS)
    places = np.minimum(places, weight.size - 1)
    runs = with_drift(run_past(case, parasite, _PONDS, seed, found.at(places)), parasite, seed)
    misfits = [*_rows_of_log(runs, seed), *_fish(runs, found.before, parasite)]
    return max(misfits, key=lambda one: one.drop, default=None)


def _rows_of_log(runs: HistoryRuns, seed: int) -> Iterator[Misfit]:
    log, courses = runs.dead, runs.courses
    uniform = uniform_draws("other cause of the misfit", _PONDS, seed)
    other = courses.drawn(log.log_likelihood(courses.courses), uniform)
    expected = log.fluke + log.background + log.by_other(other)
    for r, dead in enumerate(log.deaths):
        chance = (
            log_row_after_dose(dead, expected[r], log.stock(r)) if log.after_dose[r] else log_row(dead, expected[r])
        )
        best = float(log_row(dead, np.array(max(dead, 1e-3))))
        day = runs.pond.case.visit_date + timedelta(days=round(float(log.spans[r, 1])))
        yield Misfit(day, "", int(dead), CredibleInterval.of(expected[r]), best - float(chance.mean()))


def _fish(runs: HistoryRuns, before: HistoryRuns, parasite: str) -> Iterator[Misfit]:
    case = runs.pond.case
    for day, rows in rows_by_day(case, parasite).items():
        pool = fish_at_look(case, rows)
        for label in dict.fromkeys(row.fish for row in rows):
            own = [row for row in rows if row.fish == label]
            here, ever = (_log_chance(past, own, day, pool) for past in (runs, before))
            counted = sum(row.count_low for row in own)
            yield Misfit(own[0].date, label, counted, CredibleInterval.missing(), float(ever.max() - here.mean()))


def _log_chance(past: HistoryRuns, rows: list[Preparation], day: float, pool: float) -> np.ndarray:
    p, weight_g = past.pond.setting.parameters, past.pond.setting.fish.weight_g.mean(0)
    mean, stages = past.burden(day), stage_shares(past, day)
    return log_likelihood_of_samples(
        rows, mean, p["aggregation"], past.seen, p.evidence.site, weight_g, stages, max(pool, len(rows))
    )

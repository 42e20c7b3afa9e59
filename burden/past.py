"""Prior ponds run through their past: what each makes of the samples and of the death log.

Every draw of the prior is a pond with a past. It starts when the record does, goes through its doses, and stands on
the day of each sample with a burden of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gammaln

from burden.case import Case, Preparation
from burden.evidence import uniform_draws
from burden.looking import Seen, draw_seen, log_likelihood_of_samples
from burden.pond import Pond, draw_pond, other_cause
from burden.simulate import COARSE_STEP_DAYS, Event, State, Trajectory, simulate

__all__ = ["LONGEST_HISTORY_DAYS", "Past", "history_days", "log_likelihood", "proposal_from", "rows_by_day", "run_past"]

LONGEST_HISTORY_DAYS = 120
#: ways in which a pond with a past is looked at (shares, clumping, tilt, other deaths): a pond is costly to run
_LOOKS = 10
#: how long before a dose of the same day a sample is reported [d]
_AHEAD_DAYS = 1e-3


@dataclass(frozen=True)
class Past:
    """M prior ponds on their sample days and at the visit, and n ways to look at them.

    `of` says which pond each way belongs to; `other` is its death rate from another cause.
    """

    pond: Pond
    abundance_then: np.ndarray  # at the start of the history, (M,)
    by_day: Mapping[float, Mapping[str, np.ndarray]]  # (M,) each
    state: State
    log_weight: np.ndarray  # prior over proposal, (M,)
    of: np.ndarray  # (n,)
    seen: Seen
    other: np.ndarray
    log_deaths: np.ndarray  # (n,)
    log_deaths_clean: np.ndarray  # the same had there been no flukes, (n,)

    @property
    def log_prior(self) -> np.ndarray:
        """Log weight of each way before anything was seen, shape (n,)."""
        return self.log_weight[self.of]


def history_days(case: Case) -> np.ndarray:
    """Days on which something was seen or done, the visit last; the first begins the run [d]."""
    days = {case.day_of(d) for d in (*case.sample_dates, *(a.date for a in case.given), *(d.date for d in case.deaths))}
    days |= {case.day_of(row.date) - row.days_covered for row in case.deaths}
    return np.array(sorted({max(day, -LONGEST_HISTORY_DAYS) for day in days} | {0}), float)


def run_past(case: Case, parasite: str, m: int, seed: int, proposal: tuple[float, float] | None) -> Past:
    """Draw m ponds and run each from the first day of the record to the visit.

    Parameters
    ----------
    case : Case
    parasite : str
        One of the case's sets.
    m, seed : int
        Number of ponds and seed.
    proposal : (float, float) or None
        Centre and width of the log abundance at the start about its prior median; None: from the prior.
    """
    pond = draw_pond(case, parasite, m, seed)
    log_abundance, log_weight = _draw_abundance(pond, pond.setting.fish.weight_g.mean(0), proposal)
    days = history_days(case)
    alive = _fish_at_start(case, days[0])
    start = pond.start(np.exp(log_abundance), alive, days[0], uniform_draws("resistance so far", m, seed))
    events = [e for e in pond.given if e.day >= days[0]]
    ahead = _days_ahead(case, events, days)
    run = simulate(pond.setting, start, np.union1d(days, list(ahead.values())), events, COARSE_STEP_DAYS)
    of = np.repeat(np.arange(m), _LOOKS if len(days) > 1 else 1)
    other = other_cause(of.size, seed)
    background = pond.setting.parameters["background_hazard"]
    return Past(
        pond=pond,
        abundance_then=np.exp(log_abundance),
        by_day=_burdens(pond, start, run, days, ahead),
        state=_as_many_as_counted(run.end, case),
        log_weight=log_weight,
        of=of,
        seen=draw_seen(pond.setting.parameters.evidence, of.size, seed),
        other=other,
        log_deaths=_log_likelihood_of_deaths(case, run, of, other),
        log_deaths_clean=_log_likelihood_of_deaths(case, run, of, other, background[of]),
    )


def _days_ahead(case: Case, events: Sequence[Event], days: np.ndarray) -> dict[float, float]:
    """Where to report for days with both a sample and a dose: the sample came first."""
    sampled = {float(max(case.day_of(d), -LONGEST_HISTORY_DAYS)) for d in case.sample_dates}
    dosed = {event.day for event in events if event.kill}
    return {day: max(day - _AHEAD_DAYS, days[0]) for day in sampled & dosed}


def _burdens(
    pond: Pond, start: State, run: Trajectory, days: np.ndarray, ahead: Mapping[float, float]
) -> dict[float, dict[str, np.ndarray]]:
    """Flukes a fish by day and stage, (M,) each, as a sample of that day finds them."""
    adult_forms = pond.setting.cycle.burden_forms
    found = {}
    for day in days:
        i = int(np.searchsorted(run.days, ahead.get(day, day)))
        by_form = {form: x[i] for form, x in run.fish.items()}
        if day == days[0]:  # a report on the first day is after its doses; the start is before them
            by_form = {form: chain.sum(0).mean(0) for form, chain in start.fish.items()}
        everyone, adults = sum(by_form.values()), sum(by_form[form] for form in adult_forms)
        found[float(day)] = {"all": everyone, "adult": adults, "juvenile": everyone - adults}
    return found


def _as_many_as_counted(state: State, case: Case) -> State:
    """The live fish of each group are counted at the visit: keep the mix of classes, set their number."""
    count = np.array([float(group.count) for group in case.fish])[:, None, None]
    total = state.alive.sum(1, keepdims=True)
    return replace(state, alive=np.divide(state.alive * count, total, out=np.zeros_like(state.alive), where=total > 0))


def _draw_abundance(
    pond: Pond, weight_g: np.ndarray, proposal: tuple[float, float] | None
) -> tuple[np.ndarray, np.ndarray]:
    """Log mean abundance at the start, shape (M,), and the log ratio of prior to proposal."""
    from scipy.stats import norm

    value = pond.setting.parameters.evidence.values["abundance"]
    middle = np.log(value.value * weight_g)
    spread = (np.log(value.high) - np.log(value.low)) / (2 * 1.6448536269514722)
    u = uniform_draws("abundance at the start", pond.size, pond.seed)
    if proposal is None:
        return middle + spread * norm.ppf(u), np.zeros(pond.size)
    centre, width = proposal
    from_prior = uniform_draws("proposal", pond.size, pond.seed) < 0.2
    drawn = np.where(from_prior, middle + spread * norm.ppf(u), middle + centre + width * norm.ppf(u))
    z = drawn - middle
    prior = norm.logpdf(z, 0, spread)
    mixed = np.logaddexp(np.log(0.2) + prior, np.log(0.8) + norm.logpdf(z, centre, width))
    return drawn, prior - mixed


def proposal_from(pilot: Past, log_posterior: np.ndarray) -> tuple[float, float]:
    """Centre and width of the log abundance at the start, about its prior median, seen by the pilot."""
    value = pilot.pond.setting.parameters.evidence.values["abundance"]
    z = (np.log(pilot.abundance_then) - np.log(value.value * pilot.pond.setting.fish.weight_g.mean(0)))[pilot.of]
    # tempered, so that a few lucky draws of a small pilot do not make the proposal too narrow
    weight = np.exp(0.5 * (log_posterior - log_posterior.max()))
    centre = float(np.average(z, weights=weight))
    width = float(np.sqrt(np.average((z - centre) ** 2, weights=weight)))
    return centre, max(width, 0.3)


def _fish_at_start(case: Case, day: float) -> np.ndarray:
    """Live fish of each group when the record begins, (G,): the count, the dead since, less the arrivals since."""
    died = sum(row.deaths for row in case.deaths if case.day_of(row.date) > day)
    total = max(case.fish_count, 1)
    counts = []
    for group in case.fish:
        came = sum(a.count for a in group.new_arrivals if day < case.day_of(a.date) <= 0)
        counts.append(max(group.count + died * group.count / total - came, 0.0))
    return np.array(counts)


def _log_likelihood_of_deaths(
    case: Case, run: Trajectory, of: np.ndarray, other: np.ndarray, clean_hazard: np.ndarray | None = None
) -> np.ndarray:
    """Poisson log-likelihood of the death log, shape (n,), each row over the days it covers.

    With `clean_hazard` no fluke was there, and as many fish as were counted died at that rate and the other cause's.
    """
    total, days = np.zeros(of.size), run.days
    for row in case.deaths:
        end = float(case.day_of(row.date))
        start = end - row.days_covered
        if start < days[0]:
            continue
        own = (_at(days, run.deaths, end) - _at(days, run.deaths, start))[of]
        alive = 0.5 * (_at(days, run.alive, start) + _at(days, run.alive, end))[of]
        if clean_hazard is not None:
            alive = case.fish_on(row.date) + 0.5 * row.deaths
            own = clean_hazard * alive * row.days_covered
        expected = np.maximum(own + other * alive * row.days_covered, 1e-12)
        total = total + row.deaths * np.log(expected) - expected - gammaln(row.deaths + 1)
    return total


def _at(days: np.ndarray, values: np.ndarray, day: float) -> np.ndarray:
    i = int(np.clip(np.searchsorted(days, day, side="right") - 1, 0, len(days) - 2)) if len(days) > 1 else 0
    if len(days) == 1:
        return values[0]
    share = np.clip((day - days[i]) / (days[i + 1] - days[i]), 0, 1)
    return values[i] * (1 - share) + values[i + 1] * share


def log_likelihood(past: Past, parasite: str, clean: bool = False) -> np.ndarray:
    """Log-likelihood of samples and deaths, shape (n,).

    With `clean` the preparations of the visit alone, every one read as clean.
    """
    case, p, of = past.pond.case, past.pond.setting.parameters, past.of
    home = p.evidence.about["site"]
    weight, k = past.pond.setting.fish.weight_g.mean(0)[of], p["aggregation"][of]
    total = np.zeros(of.size) if clean else past.log_deaths.copy()
    for day, rows in rows_by_day(case, parasite, clean).items():
        for stage in ("all", "adult", "juvenile"):
            mine = [row for row in rows if (row.stage or "all") == stage]
            if mine:
                mean = past.by_day[day][stage][of]
                total = total + log_likelihood_of_samples(mine, mean, k, past.seen, home, weight)
    return total


def rows_by_day(case: Case, parasite: str, clean: bool = False) -> dict[float, list[Preparation]]:
    """Readable preparations of a set by day; with `clean` those of the visit alone, every count read as 0."""
    found: dict[float, list[Preparation]] = {}
    for row in case.samples:
        if row.readable and row.parasite in (None, parasite) and not (clean and row.date != case.visit_date):
            day = float(max(case.day_of(row.date), -LONGEST_HISTORY_DAYS))
            found.setdefault(day, []).append(replace(row, count_low=0, count_high=0) if clean else row)
    return found

"""Prior ponds run through their past: what each makes of the samples and of the death log.

Every draw of the prior is a pond with a past. It starts when the record does, goes through its doses, and stands on
the day of each sample with a burden of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from burden.case import Case, Preparation
from burden.evidence import Value
from burden.inference.arrivals import arrive, in_order_of_arrival
from burden.inference.death_log import DeathLog, other_courses, read_log
from burden.inference.earlier_visits import NODES, ROUGH_NODES, BurdenLaw, log_likelihood_of_earlier
from burden.inference.gill_signs import draw_signs
from burden.inference.looks_on_record import earlier_looks, fish_at_look, rows_by_day
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters, draw_seen
from burden.inference.other_cause import CourseList
from burden.inference.prior import LONGEST_HISTORY_DAYS, Ensemble, draw_pond
from burden.inference.straying import Drift, Strayed, stray
from burden.model.forward import COARSE_STEP_DAYS, Event, State, Trajectory, simulate
from burden.utils.random_streams import steered, uniform_draws

__all__ = [
    "START_STREAM",
    "HistoryRuns",
    "abundance_at",
    "burden_law",
    "history_days",
    "log_likelihood",
    "log_likelihood_before",
    "run_past",
    "stage_shares",
    "strayed",
    "with_drift",
]

#: stream of how many flukes there were when the record starts
START_STREAM = "abundance at the start"
#: how long before a dose of the same day a sample is reported [d]
_AHEAD_DAYS = 1e-3
#: chance that a dose given did less than it should (a wrong volume, a filter that took it up, never given in full), and
#: then any share of it: an assumption, so that samples after a dose are not read as if it must have worked
_FELL_SHORT = 0.2


@dataclass(frozen=True)
class HistoryRuns:
    """M ponds on their sample days and at the visit, each looked at in a way of its own.

    Parameters
    ----------
    pond : Ensemble
    abundance_then : numpy.ndarray
        Flukes a fish at the start of the record, shape (M,).
    by_day : mapping
        Flukes a fish by day and stage, shape (M,) each.
    state : State
        At the visit.
    seen : ObservationParameters
    dead, dead_clean : DeathLog
        The rows of the death log as each pond makes them, and as it would had there been no flukes.
    courses : CourseList
        What else may have killed.
    log_deaths : numpy.ndarray
        Log chance of the death log, whatever else killed fish, shape (M,).
    log_signs, log_signs_clean : numpy.ndarray
        Log chance of what gills and blood showed at the visit, and had there been no flukes, shape (M,).
    ranks : mapping of str to numpy.ndarray
        Of every stream the ponds were drawn by, shape (M,) each.
    drift : Drift or None
        How they strayed from the equations from look to look, once it was drawn.
    """

    pond: Ensemble
    abundance_then: np.ndarray
    by_day: Mapping[float, Mapping[str, np.ndarray]]
    state: State
    seen: ObservationParameters
    dead: DeathLog
    dead_clean: DeathLog
    courses: CourseList
    log_deaths: np.ndarray
    log_signs: np.ndarray
    log_signs_clean: np.ndarray
    ranks: Mapping[str, np.ndarray]
    drift: Drift | None = None

    def burden(self, day: float) -> np.ndarray:
        """Flukes a fish on a day that was reported, shape (M,)."""
        return self.by_day[day]["all"] * self.strayed_by(day)

    def strayed_by(self, day: float) -> np.ndarray | float:
        """Return by what factor the ponds have strayed, shape (M,)."""
        return 1.0 if self.drift is None else self.drift.at(day)

    @property
    def log_deaths_clean(self) -> np.ndarray:
        """Log chance of the death log had there been no flukes, shape (M,)."""
        return self.courses.log_evidence(self.dead_clean.log_likelihood(self.courses.courses))


def history_days(case: Case) -> np.ndarray:
    """Days on which something was seen or done or fish came, the visit last; the first begins the run [d].

    Nothing is run before there are fish.
    """
    dates = (*case.sample_dates, *(a.date for a in case.given), *(d.date for d in case.deaths))
    days = {case.day_of(d) for d in dates} | {case.day_of(row.date) - row.days_covered for row in case.deaths}
    came = {case.day_of(arrival.date) for _, arrival in case.arrivals}
    first = (
        -LONGEST_HISTORY_DAYS if case.fish_since is None else max(case.day_of(case.fish_since), -LONGEST_HISTORY_DAYS)
    )
    found = {max(day, first) for day in days} | {day for day in came if day >= first} | {0}
    return np.array(sorted(found), float)


def run_past(
    case: Case,
    parasite: str,
    m: int,
    seed: int,
    ranks: Mapping[str, np.ndarray] | None = None,
    also: Sequence[float] = (),
) -> HistoryRuns:
    """Draw m ponds and run each from the first day of the record to the visit.

    Parameters
    ----------
    case : Case
    parasite : str
        One of the case's sets.
    m, seed : int
        Number of ponds and seed.
    ranks : mapping of str to numpy.ndarray, optional
        Draws of some streams, in (0, 1), shape (m,) each; all others, and all without it, come from the prior.
    also : sequence of float
        Days to report besides those of the record; none before its first [d].
    """
    with steered(m, seed, ranks or {}) as streams:
        pond, days = draw_pond(case, parasite, m, seed), history_days(case)
        seen, abundance = draw_seen(pond.setting.parameters.evidence, m, seed), _draw_abundance(pond)
        pond, start, came = _begin(pond, abundance, days[0])
        doses = [_as_it_went(e, i, m, seed) for i, e in enumerate(pond.given) if e.day >= days[0]]
        signs = draw_signs(m, seed)
    days = np.union1d(days, np.asarray(also, float)[np.asarray(also, float) > days[0]]) if len(also) else days
    events = [*doses, *came]
    ahead = _days_ahead(case, events, days)
    run = simulate(pond.setting, start, np.union1d(days, list(ahead.values())), events, COARSE_STEP_DAYS)
    background = pond.setting.parameters["background_hazard"]
    dead, clean = read_log(case, run), read_log(case, run, background)
    courses = other_courses(case, dead, days[0], pond.setting.parameters.evidence.values["background_hazard"].value)
    weight_g, p = pond.setting.fish.weight_g.mean(0), pond.setting.parameters
    now = run.abundance[-1] / weight_g
    return HistoryRuns(
        pond=pond,
        abundance_then=abundance,
        by_day=_burdens(pond, start, run, days, ahead),
        state=_as_many_as_counted(run.end, case),
        seen=seen,
        dead=dead,
        dead_clean=clean,
        courses=courses,
        log_deaths=courses.log_evidence(dead.log_likelihood(courses.courses)),
        log_signs=signs.log_likelihood(case.findings, p, now, run.haemoglobin[-1]),
        log_signs_clean=signs.log_likelihood(case.findings, p, np.zeros(m), np.ones(m)),
        ranks=streams.met,
    )


def _begin(pond: Ensemble, abundance: np.ndarray, day: float) -> tuple[Ensemble, State, list[Event]]:
    """State when the record begins, and the arrivals since; the burden drawn is that of the fish that were first.

    Where no fish was there before, or those there had never met the fluke, it is the burden of the first that came.
    """
    case = pond.case
    alive = _fish_at_start(case, day)
    came = [i for _, i, _ in in_order_of_arrival(case, day)]
    empty = case.fish_since is not None and case.day_of(case.fish_since) == day
    never_met = [group.naive is True for group in case.fish]
    if came and (empty or all(never_met)):
        first = pond.newcomers[came[0]].day  # all that came on that day carry alike
        alike = (replace(c, abundance=abundance) if c.day == first else c for c in pond.newcomers)
        pond, abundance = replace(pond, newcomers=tuple(alike)), np.zeros_like(abundance)
    if empty:
        start = arrive(pond, pond.newcomers[came[0]], alive)[1]
        return pond, start, [arrive(pond, pond.newcomers[i])[0] for i in came if pond.newcomers[i].day > day]
    resistant = np.average(np.logical_not(never_met), weights=alive) if alive.any() else 1.0
    start = pond.start(abundance, alive, day, resistant * uniform_draws("resistance so far", pond.size, pond.seed))
    return pond, start, [arrive(pond, pond.newcomers[i])[0] for i in came]


def _as_it_went(event: Event, number: int, m: int, seed: int) -> Event:
    """Let a dose do what it should, or, in some of the ponds, a share of it."""
    if event.effect is None:
        return event
    failed = uniform_draws(f"dose {number} fell short", m, seed) < _FELL_SHORT
    share = np.where(failed, uniform_draws(f"what dose {number} did", m, seed), 1.0)
    kill = {form: share * killed for form, killed in event.kill.items()}
    drug = event.drug and replace(
        event.drug, larva_hazard=share * event.drug.larva_hazard, settler_kill=share * event.drug.settler_kill
    )
    return replace(event, kill=kill, drug=drug)


def _days_ahead(case: Case, events: Sequence[Event], days: np.ndarray) -> dict[float, float]:
    """Where to report for days with both a sample and a dose: the sample came first.

    So does what an unknown drug was given to: nobody looked, and the drug hides how many there were.
    """
    sampled = {float(case.day_of(d)) for d in case.sample_dates}
    dosed = {event.day for event in events if event.kill}
    hidden = {float(case.day_of(d)) for d in case.unknown_doses}
    return {day: max(day - _AHEAD_DAYS, days[0]) for day in (sampled & dosed) | (hidden & set(days))}


def _burdens(
    pond: Ensemble, start: State, run: Trajectory, days: np.ndarray, ahead: Mapping[float, float]
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


def _draw_abundance(pond: Ensemble) -> np.ndarray:
    """Mean abundance at the start of the record, as it is believed before anybody looked, shape (M,)."""
    law = burden_law(pond)
    return np.exp(law.middle + law.spread * ndtri(uniform_draws(START_STREAM, pond.size, pond.seed)))


def burden_law(pond: Ensemble) -> BurdenLaw:
    """Return what is believed of the burden before anybody looked."""
    return _law_of(pond.setting.parameters.evidence.values["abundance"], pond.setting.fish.weight_g.mean(0))


def _law_of(per_gram: Value, weight_g: np.ndarray) -> BurdenLaw:
    spread = float((np.log(per_gram.high) - np.log(per_gram.low)) / (2 * ndtri(0.95)))
    return BurdenLaw(np.log(per_gram.value * weight_g), spread)


def abundance_at(rank: np.ndarray, per_gram: Value) -> np.ndarray:
    """Flukes per gram of fish at ranks of what is believed of them before anybody looked.

    Parameters
    ----------
    rank : numpy.ndarray
        In (0, 1), any shape.
    per_gram : Value
        Of the evidence [flukes/g].
    """
    law = _law_of(per_gram, np.ones(1))
    return np.asarray(np.exp(law.middle[0] + law.spread * ndtri(rank)))


def _fish_at_start(case: Case, day: float) -> np.ndarray:
    """Live fish of each group when the record begins, (G,): the count, the dead since, less the arrivals since."""
    died = sum(row.deaths for row in case.deaths if case.day_of(row.date) > day)
    total = max(case.fish_count, 1)
    counts = []
    # those that came on the first day of a tank that was empty before are its first fish
    since = day if case.fish_since is None or case.day_of(case.fish_since) != day else day + 1
    for group in case.fish:
        came = sum(a.count for a in group.new_arrivals if since <= case.day_of(a.date) <= 0)
        counts.append(max(group.count + died * group.count / total - came, 0.0))
    return np.array(counts)


def log_likelihood(past: HistoryRuns, parasite: str, clean: bool = False) -> np.ndarray:
    """Log-likelihood of samples and deaths, shape (M,).

    With `clean` the preparations of the visit alone, every one read as clean. Looks from before the run begins are
    read roughly: the ponds that fit are weighed by `log_likelihood_before` at the end.
    """
    case = past.pond.case
    total = np.zeros(past.pond.size) if clean else past.log_deaths + past.log_signs
    if not clean:
        total = total + log_likelihood_before(past, parasite, ROUGH_NODES)
    looks = strayed(past, parasite, clean)
    total = total if looks is None else total + looks.log_likelihood.sum(0)
    if not clean and parasite == case.parasites[0]:  # nobody says which set was seen on newcomers: the first
        for _, i, _ in in_order_of_arrival(case, min(past.by_day)):
            total = total + past.pond.newcomers[i].log_likelihood(past.pond, past.seen, {})
    return total


def strayed(past: HistoryRuns, parasite: str, clean: bool = False) -> Strayed | None:
    """Return the looks of a run, summed over how far its ponds strayed from the equations; None without a look.

    With `clean` the look of the visit alone, every preparation read as clean.
    """
    looks = rows_by_day(past.pond.case, parasite, clean)

    def log_likelihood_of(day: float, factors: np.ndarray) -> np.ndarray:
        mean = factors[:, None] * past.by_day[day]["all"]
        return _log_likelihood_of_look(past, looks[day], day, mean)

    return stray(sorted(looks), log_likelihood_of, past.pond.size) if looks else None


def with_drift(past: HistoryRuns, parasite: str, seed: int, looks: Strayed | None = None) -> HistoryRuns:
    """Draw how the ponds of a run strayed, from `looks` where `strayed` was asked; as they are after one look alone."""
    if len(rows_by_day(past.pond.case, parasite)) < 2:
        return past
    looks = looks or strayed(past, parasite)
    return past if looks is None else replace(past, drift=looks.draw(seed))


def _log_likelihood_of_look(past: HistoryRuns, rows: Sequence[Preparation], day: float, mean: np.ndarray) -> np.ndarray:
    """Log-likelihood of the preparations of a day for several burdens of each pond, shape of `mean` (Q, M)."""
    p, every = past.pond.setting.parameters, np.tile(np.arange(past.pond.size), len(mean))
    return log_likelihood_of_samples(
        rows,
        mean.ravel(),
        p["aggregation"][every],
        past.seen.take(every),
        p.evidence.site,
        past.pond.setting.fish.weight_g.mean(0)[every],
        {stage: share[every] for stage, share in stage_shares(past, day).items()},
        fish_at_look(past.pond.case, rows),
    ).reshape(mean.shape)


def log_likelihood_before(past: HistoryRuns, parasite: str, nodes: int = NODES) -> np.ndarray:
    """Log-likelihood of the looks from before the run begins, each by a burden of its own, shape (M,)."""
    p, looks = past.pond.setting.parameters, earlier_looks(past.pond.case, parasite)
    weight_g, law = past.pond.setting.fish.weight_g.mean(0), burden_law(past.pond)
    return log_likelihood_of_earlier(looks, law, p["aggregation"], past.seen, p.evidence.site, weight_g, nodes)


def stage_shares(past: HistoryRuns, day: float) -> dict[str, np.ndarray]:
    """Share of the flukes on the fish that are adult and juvenile on a day, (M,) each [-]."""
    by_stage = past.by_day[day]
    everyone = np.maximum(by_stage["all"], 1e-12)
    return {stage: np.clip(by_stage[stage] / everyone, 1e-9, 1.0) for stage in ("adult", "juvenile")}

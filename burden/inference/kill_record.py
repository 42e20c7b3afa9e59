"""What each treatment killed, over the years, and whether an agent kills less than it did.

Every treatment with a look at the fish before and after it is a trial in this very pond. Ponds are run between the two
looks with doses of every strength, and each strength weighed by how likely it makes the counts: an interval of the kill
that owes nothing to what the agent should do. The ponds are the same at every treatment, so that all looks together say
how flukes are spread over fish, seen, and replaced between two looks. A kill that falls from treatment to treatment
raises the suspicion of resistance; one treatment that failed does not, as a wrong volume or a filter does the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from burden.case import UNKNOWN_AGENT, Action, Case, Preparation
from burden.inference.earlier_visits import NODES, ROUGH_NODES, EarlierLook, log_likelihood_of_earlier
from burden.inference.history import burden_law
from burden.inference.kill_trend import KILLS_TRIED, KillTrend, Trials
from burden.inference.looks_on_record import is_read, rows_of
from burden.inference.observation_parameters import ObservationParameters, draw_seen
from burden.inference.paired_samples import Between, counts_by_fish, weakly_regulated
from burden.inference.prior import Ensemble, draw_pond
from burden.inference.sampler import Effort, sample
from burden.inference.treatment_failure import dulled
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Event
from burden.statistics.point_estimate import PointEstimate
from burden.utils.random_streams import steered, uniform_draws
from burden.utils.results import CredibleInterval, number

__all__ = ["LEAST_TRIALS", "SUSPECT", "WIDEST", "KillRecord", "Trial", "between_looks", "kill_records"]

#: kills tried [-]
_KILLS = np.array([0.0, 0.25, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.995])
#: ponds, the same at every treatment
_PONDS = 300
#: work put in to draw them
_EFFORT = Effort(300, 600, 100.0)
#: ponds that say what a dose should kill
_USUAL = 1000
#: longest time between two looks over which a kill is judged [d]: later, flukes on the fish are all new
_LONGEST_DAYS = 60
#: 90 % interval wider than this says nothing of one treatment [-]: an assumption
WIDEST = 0.6
#: chance of a kill below or above what is expected from which that is said: an assumption, the level of every interval
_SURE = 0.95
#: the rule of suspicion, all assumptions: so many treatments judged, and a chance that the kill fell
#: (`burden.inference.kill_trend`) of so much, chosen on simulated records (`tests/inference/test_kill_record.py`);
#: below the lower chance there is no sign of it
LEAST_TRIALS, SUSPECT, _NO_SIGN = 3, 0.7, 0.2
#: forms on the fish whose kill is meant, the first that a set has
_GROWN = ("adult", "mother", "young")


@dataclass(frozen=True)
class Trial:
    """One treatment between two looks.

    Parameters
    ----------
    agent : str
        Or `several`.
    first, last : date
        Of its doses.
    doses : int
    before, after : date
        Looks at the fish.
    kill : CredibleInterval
        Share of grown flukes that each dose killed, by the counts, any share as likely before [-].
    expected : CredibleInterval
        What published trials lead one to expect of doses as written down [-].
    chance_less : float
        That it killed less than a dose is expected to [-].
    counts_fell : PointEstimate or None
        Reduction of the mean count of preparations alike from look to look, without a model [%].
    """

    agent: str
    first: date
    last: date
    doses: int
    before: date
    after: date
    kill: CredibleInterval
    expected: CredibleInterval
    chance_less: float
    counts_fell: PointEstimate | None = None

    @property
    def verdict(self) -> str:
        """Less or more than expected where that is all but sure, as_expected, or cannot_tell."""
        if self.chance_less >= _SURE:
            return "less"
        if self.chance_less <= 1 - _SURE:
            return "more"
        return "cannot_tell" if self.kill.high - self.kill.low > WIDEST else "as_expected"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        days = {name: getattr(self, name).isoformat() for name in ("first", "last", "before", "after")}
        return {
            "agent": self.agent,
            "doses": self.doses,
            **days,
            "kill": self.kill.as_dict(),
            "expected_kill": self.expected.as_dict(),
            "chance_less_than_expected": number(self.chance_less),
            "counts_fell_percent": None if self.counts_fell is None else self.counts_fell.as_dict(),
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class KillRecord:
    """All treatments with one agent that can be judged, and their trend; no trend of fewer than two."""

    agent: str
    trials: tuple[Trial, ...]
    trend: KillTrend | None

    @property
    def verdict(self) -> str:
        """Suspect resistance, no_sign of it, or cannot_tell, also where the last one alone fell short; too_few."""
        if self.agent == "several" or self.trend is None or len(self.trials) < LEAST_TRIALS:
            return "too_few"
        if self.trend.chance >= SUSPECT:
            return "suspect"
        fell_short = self.trials[-1].verdict == "less"
        return "no_sign" if self.trend.chance <= _NO_SIGN and not fell_short else "cannot_tell"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        trend = self.trend
        return {
            "agent": self.agent,
            "trials": [trial.as_dict() for trial in self.trials],
            "times_more_left": None if trend is None else trend.times_more_left.as_dict(),
            "chance_of_a_fall": None if trend is None else number(trend.chance),
            "chance_of_a_fall_before": None if trend is None else number(trend.chance_before),
            "suspected_from": SUSPECT,
            "verdict": self.verdict,
        }


def kill_records(case: Case, parasite: str, seed: int) -> tuple[KillRecord, ...]:
    """Judge every treatment of a case that lies between two looks at the fish.

    Parameters
    ----------
    case : Case
    parasite : str
        One of its sets.
    seed : int
    """
    looks = between_looks(case, parasite)
    if not looks:
        return ()
    pond, seen = _ponds(case, parasite, seed)
    # what a dose should kill owes nothing to the counts
    usual = draw_pond(case, parasite, _USUAL, seed)
    given = [_Treatment.of(pond, seen, usual, *look) for look in looks]
    trials = Trials(
        [float((one.doses[0].date - given[0].doses[0].date).days) for one in given],
        [one.log_likelihood - one.log_looks_alone for one in given],
        [float(np.median(one.expected)) for one in given],
    )
    by_agent: dict[str, list[int]] = {}
    for i, one in enumerate(given):
        by_agent.setdefault(one.agent, []).append(i)
    return tuple(_record(agent, mine, given, trials) for agent, mine in by_agent.items())


def _ponds(case: Case, parasite: str, seed: int) -> tuple[Ensemble, ObservationParameters]:
    """Draw ponds that spread flukes over fish, and show them, as the counts of all looks let one believe.

    Each look has a burden of its own here, so that nothing is said of what lies between two of them.
    """
    looks = [EarlierLook(rows, np.inf) for rows in _looks(case, parasite).values()]

    def drawn(n: int, of: int, ranks: Mapping[str, np.ndarray]) -> tuple[None, Mapping[str, np.ndarray], np.ndarray]:
        with steered(n, of, ranks) as streams:
            pond, seen = _drawn(case, parasite, n, of)
        assert streams is not None
        return None, streams.met, _as_looks_alone(pond, seen, looks, ROUGH_NODES)

    found = sample(drawn, _EFFORT, seed, lambda number: None)
    up_to = np.cumsum(np.exp(found.log_weight - found.log_weight.max()))
    points = (np.arange(_PONDS) + uniform_draws("ponds to judge kills by", 1, seed)[0]) / _PONDS
    places = np.minimum(np.searchsorted(up_to / up_to[-1], points), up_to.size - 1)
    with steered(_PONDS, seed, found.at(places)):
        return _drawn(case, parasite, _PONDS, seed)


def _drawn(case: Case, parasite: str, n: int, seed: int) -> tuple[Ensemble, ObservationParameters]:
    pond = weakly_regulated(draw_pond(case, parasite, n, seed))
    return pond, draw_seen(pond.setting.parameters.evidence, n, seed)


def _as_looks_alone(
    pond: Ensemble, seen: ObservationParameters, looks: Sequence[EarlierLook], nodes: int = NODES
) -> np.ndarray:
    """Log-likelihood of looks, each with a burden of its own, shape (M,)."""
    p, weight_g = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
    return log_likelihood_of_earlier(looks, burden_law(pond), p["aggregation"], seen, p.evidence.site, weight_g, nodes)


def _record(agent: str, mine: Sequence[int], given: Sequence[_Treatment], trials: Trials) -> KillRecord:
    trend = None if agent == "several" or len(mine) < 2 else trials.trend(mine)
    return KillRecord(agent, tuple(given[i].judged(*trials.kill(i)) for i in mine), trend)


def between_looks(case: Case, parasite: str) -> list[tuple[list[Preparation], list[Preparation], list[Action]]]:
    """Return neighbouring looks with a dose from the first, which came before it, up to the day before the second.

    Parameters
    ----------
    case : Case
    parasite : str
        One of its sets.

    Returns
    -------
    list of (before, after, doses)
        Readable preparations of either look, and the doses between, no more than 60 d apart.
    """
    looks, found = _looks(case, parasite), []
    for first, second in pairwise(sorted(looks)):
        doses = [dose for dose in case.doses_given if first <= dose.date < second]
        if doses and (second - first).days <= _LONGEST_DAYS:
            found.append((looks[first], looks[second], doses))
    return found


def _looks(case: Case, parasite: str) -> dict[date, list[Preparation]]:
    """Readable preparations of a set by their date."""
    looks: dict[date, list[Preparation]] = {}
    for row in rows_of(case, parasite):
        if is_read(case, parasite, row):
            looks.setdefault(row.date, []).append(row)
    return looks


@dataclass(frozen=True)
class _Treatment:
    """One treatment in the ponds."""

    agent: str
    doses: Sequence[Action]
    before: Sequence[Preparation]
    after: Sequence[Preparation]
    expected: np.ndarray
    log_likelihood: np.ndarray
    log_looks_alone: np.ndarray

    @classmethod
    def of(
        cls,
        pond: Ensemble,
        seen: ObservationParameters,
        usual: Ensemble,
        before: Sequence[Preparation],
        after: Sequence[Preparation],
        doses: Sequence[Action],
    ) -> _Treatment:
        # ponds are the same at every treatment; what they carried before it is drawn anew
        between = Between.of_ponds(pond, seen, before, after, f" on {before[0].date.isoformat()}")
        agents = list(dict.fromkeys(dose.agent or UNKNOWN_AGENT for dose in doses))
        first, last = between.days
        effects = [event.effect for event in usual.given if event.effect is not None and first <= event.day < last]
        return cls(
            agents[0] if len(agents) == 1 else "several",
            doses,
            before,
            after,
            np.sort(np.concatenate([effect.kill_of(_grown(pond)) for effect in effects])),
            _log_likelihood_by_kill(between),
            _as_looks_alone(pond, seen, [EarlierLook(rows, np.inf) for rows in (before, after)]),
        )

    def judged(self, kill: CredibleInterval, chance: np.ndarray) -> Trial:
        less = 1 - np.searchsorted(self.expected, KILLS_TRIED) / self.expected.size
        return Trial(
            self.agent,
            self.doses[0].date,
            self.doses[-1].date,
            len(self.doses),
            self.before[0].date,
            self.after[0].date,
            kill,
            CredibleInterval.of(self.expected),
            float(less @ chance),
            _counts_fell(self.before, self.after),
        )


def _counts_fell(before: Sequence[Preparation], after: Sequence[Preparation]) -> PointEstimate | None:
    """Reduction of the counts of preparations alike, None where there are none: a clip is no whole gill."""
    from burden.statistics import reduction

    ways = {(row.site, row.method) for row in before} & {(row.site, row.method) for row in after}
    looks = ([row for row in rows if (row.site, row.method) in ways] for rows in (before, after))
    first, second = (list(counts_by_fish(rows).values()) for rows in looks)
    return reduction(first, second) if ways else None


def _grown(pond: Ensemble) -> str:
    return next(form for form in _GROWN if any(f.name == form for f in pond.setting.cycle.forms))


def _log_likelihood_by_kill(between: Between) -> np.ndarray:
    """Log-likelihood of both looks at `KILLS_TRIED` in each pond, from a few kills run side by side, shape (111, M)."""
    places = np.tile(np.arange(between.pond.size), _KILLS.size)
    wide = replace(
        between,
        pond=between.pond.take(places),
        seen=between.seen.take(places),
        start=between.start[places],
        log_before=between.log_before[places],
    )
    kill, form = np.repeat(_KILLS, between.pond.size), _grown(between.pond)

    def as_strong(event: Event) -> Event:
        if event.effect is None:
            return event
        return Event.dose(event.day, _with_kill(event.effect, form, kill), wide.pond.setting.cycle)

    log = wide.log_likelihood(wide.run(as_strong)).reshape(_KILLS.size, -1)
    # a log-likelihood is smooth in the hazard, which a kill of 1 has without bound
    return PchipInterpolator(-np.log1p(-_KILLS), log)(np.minimum(-np.log1p(-KILLS_TRIED), -np.log1p(-_KILLS[-1])))


def _with_kill(effect: DoseEffect, form: str, kill: np.ndarray) -> DoseEffect:
    """Return a dose as strong as kills that share of grown flukes; of the young as much less or more as before."""
    own = -np.log1p(-np.clip(effect.kill_of(form), 1e-4, 1 - 1e-9))
    with np.errstate(divide="ignore"):
        return dulled(effect, own / -np.log1p(-kill))

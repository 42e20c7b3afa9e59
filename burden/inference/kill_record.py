"""What each treatment killed, over the years, and whether an agent kills less than it did.

Every treatment with a look at the fish before and after it is a trial in this very pond. Ponds are run between the two
looks with doses of every strength, and each strength weighed by how likely it makes the counts: an interval of the kill
that owes nothing to what the agent should do. A kill that falls from treatment to treatment raises the suspicion of
resistance; one treatment that failed does not, as a wrong volume or a filter does the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Action, Case, Preparation
from burden.inference.history import is_read, rows_of
from burden.inference.paired_samples import Between
from burden.inference.prior import Ensemble
from burden.inference.treatment_failure import dulled
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Event
from burden.utils.results import CredibleInterval, number, weighted_quantile

__all__ = ["LEAST_TRIALS", "SUSPECT", "KillRecord", "KillTrend", "Trial", "kill_records", "trend_of"]

#: kills tried [-]
_KILLS = np.array([0.0, 0.25, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.995])
#: ponds a strength
_PONDS = 150
#: longest time between two looks over which a kill is judged [d]: later, flukes on the fish are all new
_LONGEST_DAYS = 60
#: fine grid of kills, even in the kill, that an interval is read from
_FINE = (np.arange(400) + 0.5) / 400
#: 90 % interval wider than this says nothing of one treatment [-]: an assumption
_WIDEST = 0.6
#: the rule of suspicion, all assumptions: so many treatments judged, the last leaves at least so many times more flukes
#: than the first and kills less than this share, with this chance; below the lower chance there is no sign of it
LEAST_TRIALS, _TIMES_MORE, _STILL_GOOD, SUSPECT, _NO_SIGN = 3, 2.0, 0.9, 0.8, 0.2
#: what is believed before any count: change of the log of the share left from first to last treatment, as likely up as
#: down; scatter of single treatments about it; share of treatments that did any share of what they should, as in the
#: estimate (`burden.inference.history`)
_CHANGE_SD, _SCATTER, _FAILED = 1.5, (0.2, 0.5, 1.0), 0.2
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
        Share of grown flukes that each dose killed, by the counts alone, any share as likely before [-].
    expected : CredibleInterval
        What published trials lead one to expect of doses as written down [-].
    log_likelihood : numpy.ndarray
        Of the counts at each kill of a fine grid of even steps from 0 to 1, shape (400,).
    """

    agent: str
    first: date
    last: date
    doses: int
    before: date
    after: date
    kill: CredibleInterval
    expected: CredibleInterval
    log_likelihood: np.ndarray

    @property
    def verdict(self) -> str:
        """As_expected, less or more than expected where the intervals lie apart, or cannot_tell."""
        if self.kill.high - self.kill.low > _WIDEST:
            return "cannot_tell"
        if self.kill.high < self.expected.low:
            return "less"
        return "more" if self.kill.low > self.expected.high else "as_expected"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        days = {name: getattr(self, name).isoformat() for name in ("first", "last", "before", "after")}
        return {
            "agent": self.agent,
            "doses": self.doses,
            **days,
            "kill": self.kill.as_dict(),
            "expected_kill": self.expected.as_dict(),
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class KillTrend:
    """How the share of flukes that an agent leaves changed from its first to its last treatment.

    Parameters
    ----------
    times_more_left : CredibleInterval
        Share left at the last over that at the first [-].
    chance : float
        That the last leaves at least twice as many as the first and kills less than 0.9 of them [-].
    chance_before : float
        The same before any count [-].
    """

    times_more_left: CredibleInterval
    chance: float
    chance_before: float


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
    trials: dict[str, list[Trial]] = {}
    for number_, (before, after, doses) in enumerate(_between_looks(case, parasite)):
        trial = _judged(case, parasite, before, after, doses, seed + 101 * number_)
        trials.setdefault(trial.agent, []).append(trial)
    return tuple(KillRecord(agent, tuple(mine), _trend(agent, mine)) for agent, mine in trials.items())


def _trend(agent: str, trials: Sequence[Trial]) -> KillTrend | None:
    if agent == "several" or len(trials) < 2:
        return None
    return trend_of([float((t.first - trials[0].first).days) for t in trials], [t.log_likelihood for t in trials])


def _between_looks(case: Case, parasite: str) -> list[tuple[list[Preparation], list[Preparation], list[Action]]]:
    """Neighbouring looks with a dose from the first, which came before it, up to the day before the second."""
    looks: dict[date, list[Preparation]] = {}
    for row in rows_of(case, parasite):
        if is_read(case, parasite, row):
            looks.setdefault(row.date, []).append(row)
    found = []
    for first, second in pairwise(sorted(looks)):
        doses = [dose for dose in case.doses_given if first <= dose.date < second]
        if doses and (second - first).days <= _LONGEST_DAYS:
            found.append((looks[first], looks[second], doses))
    return found


def _judged(
    case: Case,
    parasite: str,
    before: Sequence[Preparation],
    after: Sequence[Preparation],
    doses: Sequence[Action],
    seed: int,
) -> Trial:
    between = Between.of(case, parasite, before, after, _PONDS, seed)
    coarse = _log_likelihood_by_kill(between)
    # a log-likelihood is smooth in the hazard, which a kill of 1 has without bound
    fine = np.interp(-np.log1p(-_FINE), -np.log1p(-_KILLS), coarse)
    weight = np.exp(fine - fine.max())
    agents = list(dict.fromkeys(dose.agent or "unknown" for dose in doses))
    given = [event for event in between.pond.given if event.effect is not None and event.day >= between.days[0]]
    mine = [event for event in given if event.day < between.days[1]]
    usual = np.concatenate([event.effect.kill_of(_grown(between.pond)) for event in mine if event.effect is not None])
    return Trial(
        agent=agents[0] if len(agents) == 1 else "several",
        first=doses[0].date,
        last=doses[-1].date,
        doses=len(doses),
        before=before[0].date,
        after=after[0].date,
        kill=CredibleInterval.of(_FINE, weight),
        expected=CredibleInterval.of(usual),
        log_likelihood=fine,
    )


def _grown(pond: Ensemble) -> str:
    return next(form for form in _GROWN if any(f.name == form for f in pond.setting.cycle.forms))


def _log_likelihood_by_kill(between: Between) -> np.ndarray:
    """Log of the mean likelihood of both looks at each kill tried, all of them run side by side, shape (9,)."""
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
    return logsumexp(log, axis=1) - np.log(between.pond.size)


def _with_kill(effect: DoseEffect, form: str, kill: np.ndarray) -> DoseEffect:
    """Return a dose as strong as kills that share of grown flukes; of the young as much less or more as before."""
    own = -np.log1p(-np.clip(effect.kill_of(form), 1e-4, 1 - 1e-9))
    with np.errstate(divide="ignore"):
        return dulled(effect, own / -np.log1p(-kill))


def trend_of(days: Sequence[float], log_likelihoods: Sequence[np.ndarray]) -> KillTrend:
    """Weigh every course that the share left by an agent may have taken.

    Parameters
    ----------
    days : sequence of float
        Of the treatments, rising, two or more [d].
    log_likelihoods : sequence of numpy.ndarray
        Of the counts about each, at kills of even steps from 0 to 1, shape (N,) each.

    Notes
    -----
    The log of the share left is a straight line in time, about which single treatments scatter; a fifth of the
    treatments did any share of what they should, so that one failure alone is no trend. Summed over a grid.
    """
    kill = (np.arange(log_likelihoods[0].size) + 0.5) / log_likelihoods[0].size
    left = np.log1p(-kill)
    first = np.linspace(-5.0, -0.05, 34)[:, None, None]
    change = np.linspace(-4.0, 4.0, 41)[None, :, None]
    scatter = np.array(_SCATTER)[None, None, :]
    time = (np.asarray(days, float) - days[0]) / max(days[-1] - days[0], 1.0)
    prior = np.broadcast_to(-0.5 * (change / _CHANGE_SD) ** 2, np.broadcast(first, change, scatter).shape)
    total = prior.copy()
    for at, log in zip(time, log_likelihoods, strict=True):
        likely = np.exp(log - log.max())
        about = np.minimum(first + change * at, -0.01)[..., None]
        # even steps of the kill lie e^left apart in its log
        density = np.exp(-0.5 * ((left - about) / scatter[..., None]) ** 2) / np.exp(left)
        usual = (density * likely).sum(-1) / density.sum(-1)
        total = total + np.log((1 - _FAILED) * usual + _FAILED * likely.mean())
    return _summary(first, change, prior, total)


def _summary(first: np.ndarray, change: np.ndarray, prior: np.ndarray, total: np.ndarray) -> KillTrend:
    # the share left cannot exceed all of it
    last = np.broadcast_to(np.minimum(first + change, -0.01), total.shape)
    rise = last - np.broadcast_to(first, total.shape)
    fell = (rise >= math.log(_TIMES_MORE)) & (last > math.log1p(-_STILL_GOOD))
    weight, before = np.exp(total - total.max()), np.exp(prior - prior.max())
    ends = weighted_quantile(rise.ravel(), [0.5, 0.05, 0.95], weight.ravel())
    return KillTrend(
        CredibleInterval(*(float(np.exp(x)) for x in ends)),
        float(np.average(fell, weights=weight)),
        float(np.average(fell, weights=before)),
    )

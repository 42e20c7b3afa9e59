"""What changed since the last visit: the case as it was known then, estimated anew, beside the case of today."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from burden.case import Case, FishGroup, RecordedTemperature
from burden.inference.diagnostics import Quantity
from burden.inference.estimate import estimate
from burden.inference.estimate_result import Estimate
from burden.model.demographic_noise import whole_deaths, whole_flukes
from burden.model.forward import COARSE_STEP_DAYS, simulate
from burden.utils.progress import report_progress
from burden.utils.results import CredibleInterval, Result, frame, number

__all__ = ["Changes", "ParameterChange", "case_as_of", "last_visit", "what_changed"]

#: most draws the earlier case is estimated with
_DRAWS = 300
#: share of its width that an interval must lose before it is said to have narrowed
_NARROWER = 0.8


@dataclass(frozen=True)
class ParameterChange:
    """One quantity then and now.

    Parameters
    ----------
    name : str
        A code: of `burden.inference.diagnostics.Quantity`.
    then, now : CredibleInterval
    """

    name: str
    then: CredibleInterval
    now: CredibleInterval

    @property
    def verdict(self) -> str:
        """Higher, lower, narrowed, wider or unchanged, by the interval of then."""
        if not (math.isfinite(self.then.low) and math.isfinite(self.now.median)):
            return "cannot be compared"
        if self.now.median > self.then.high:
            return "higher"
        if self.now.median < self.then.low:
            return "lower"
        before, after = _width(self.then), _width(self.now)
        if after < _NARROWER * before:
            return "narrowed"
        return "wider" if before < _NARROWER * after else "unchanged"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "name": str(Quantity(self.name)),
            "code": self.name,
            "then": self.then.as_dict(),
            "now": self.now.as_dict(),
            "verdict": self.verdict,
        }


def _width(t: CredibleInterval) -> float:
    """Width of an interval: of the logarithm where it is above nought."""
    return math.log(t.high / t.low) if t.low > 0 else t.high - t.low


@dataclass(frozen=True)
class Changes(Result):
    """What moved between the last visit and this one, one parasite set.

    Parameters
    ----------
    since : date
        Last day before the visit on which a fish was looked at.
    today : ParameterChange
        Flukes a fish today: as foreseen then, with the doses given since; and as estimated now.
    deaths : CredibleInterval
        Dead since then, as foreseen.
    dead : int or None
        Written down since then; None without a log.
    others : tuple of ParameterChange
        What else the new rows taught.
    new_rows : mapping of str to int
        Rows added since, by kind.
    """

    case: Case
    parasite: str
    seed: int
    draws: int
    since: date
    today: ParameterChange
    deaths: CredibleInterval
    dead: int | None
    others: tuple[ParameterChange, ...]
    new_rows: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "since": self.since.isoformat(),
            "new_rows": dict(self.new_rows),
            "mean_abundance_today": self.today.as_dict(),
            "deaths_foreseen": self.deaths.as_dict(),
            "deaths_since": number(self.dead),
            "others": [moved.as_dict() for moved in self.others],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return then and now, a row a quantity."""
        named = (("then", "then"), ("now", "now"))
        return [
            {"quantity": str(Quantity(m.name)), "verdict": m.verdict}
            | {
                f"{word}_{end}": getattr(getattr(m, key), end)
                for word, key in named
                for end in ("median", "low", "high")
            }
            for m in (self.today, *self.others)
        ]

    @property
    def moved(self) -> tuple[ParameterChange, ...]:
        """What else moved."""
        return tuple(m for m in self.others if m.verdict not in ("unchanged", "cannot be compared"))


def last_visit(case: Case) -> date | None:
    """Return the last day before the visit on which a fish was looked at, or None."""
    earlier = [day for day in case.sample_dates if day < case.visit_date]
    return max(earlier, default=None)


def case_as_of(case: Case, day: date) -> Case:
    """Return a case as it was known on an earlier day; what has been given since is planned.

    Parameters
    ----------
    case : Case
    day : date
        Before the visit. Fish alive are counted back by the deaths and arrivals since.
    """
    spec = case.water.temperature
    if isinstance(spec, RecordedTemperature):
        kept = [i for i, time in enumerate(spec.times) if time.date() <= day]
        if kept:
            spec = RecordedTemperature(spec.times[: len(kept)], spec.temperatures_c[: len(kept)])
    return replace(
        case,
        visit_date=day,
        water=replace(case.water, temperature=spec),
        fish=_fish_then(case, day),
        given=tuple(a for a in case.given if a.date <= day),
        planned=tuple(a for a in case.given if a.date > day),
        samples=tuple(row for row in case.samples if row.date <= day),
        deaths=tuple(row for row in case.deaths if row.date <= day),
        warnings=(),
    )


def _fish_then(case: Case, day: date) -> tuple[FishGroup, ...]:
    """Fish of each group alive on an earlier day; the dead since are shared out by the groups' numbers."""
    died = sum(row.deaths for row in case.deaths if row.date > day)
    groups, left = [], died
    for i, group in enumerate(case.fish):
        share = left if i == len(case.fish) - 1 else round(died * group.count / max(case.fish_count, 1))
        came = sum(a.count for a in group.new_arrivals if day < a.date <= case.visit_date)
        kept = tuple(a for a in group.new_arrivals if a.date <= day)
        groups.append(replace(group, count=max(group.count + share - came, 1), new_arrivals=kept))
        left -= share
    return tuple(groups)


def what_changed(now: Estimate) -> Changes | None:
    """Leave later rows out, estimate again, and say what moved.

    Parameters
    ----------
    now : Estimate
        Of the whole case.

    Returns
    -------
    Changes or None
        None where no fish was looked at before this visit.

    Notes
    -----
    The case of then holds no row of later days; its estimate is run on to today with the doses given since, and what it
    foresaw stands beside what is estimated from everything.
    """
    case, day = now.case, last_visit(now.case)
    if day is None:
        return None
    report_progress(f"{now.parasite}: known on {day.isoformat()}")
    then = estimate(case_as_of(case, day), now.parasite, min(now.draws, _DRAWS), now.seed)
    flukes, deaths = _foreseen(then, float((case.visit_date - day).days))
    log = [row for row in case.deaths if row.date > day]
    return Changes(
        case=case,
        parasite=now.parasite,
        seed=now.seed,
        draws=now.draws,
        since=day,
        today=ParameterChange("abundance_today", flukes, now.mean_abundance),
        deaths=deaths,
        dead=sum(row.deaths for row in log) if log else None,
        others=tuple(_others(then, now)),
        new_rows=_new_rows(case, day),
    )


def _foreseen(then: Estimate, days: float) -> tuple[CredibleInterval, CredibleInterval]:
    """Flukes a fish and deaths by today as they were to be foreseen, with what has been given since."""
    pond, state = then.pond, then.state
    run = simulate(pond.setting, state, np.array([0.0, days]), [*pond.given, *pond.planned], COARSE_STEP_DAYS)
    alive = np.maximum(run.alive, 1e-9)
    flukes = whole_flukes(run.abundance * alive, pond.seed) / alive
    deaths = whole_deaths(run.deaths - state.deaths, then.case.fish_count, pond.seed)
    return CredibleInterval.of(flukes[-1]), CredibleInterval.of(deaths[-1])


def _others(then: Estimate, now: Estimate) -> Sequence[ParameterChange]:
    """What both estimates hold that does not change by itself."""
    before = {name: posterior for name, _, posterior in then.prior_and_posterior}
    return [
        ParameterChange(name, before[name], posterior)
        for name, _, posterior in now.prior_and_posterior
        if name in before and name != "abundance_before"
    ]


def _new_rows(case: Case, day: date) -> dict[str, int]:
    return {
        "preparations": sum(row.date > day for row in case.samples),
        "rows of deaths": sum(row.date > day for row in case.deaths),
        "doses and works": sum(action.date > day for action in case.given),
    }

"""Years of one pond: every visit with its burden, what was expected of it, and what each treatment killed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date as Date
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.special import bdtrc, ndtr

from burden.case import Case, Preparation
from burden.inference.earlier_visits import burden_at
from burden.inference.estimate import estimate
from burden.inference.estimate_result import Estimate
from burden.inference.history import burden_law
from burden.inference.kill_record import KillRecord, kill_records
from burden.inference.looks_on_record import earlier_looks, rows_by_day
from burden.inference.prior import LONGEST_HISTORY_DAYS
from burden.inference.sampler import Effort, TooFewDrawsError
from burden.inference.visit_comparison import Changes, case_as_of, what_changed
from burden.inference.visit_forecasts import (
    PastPonds,
    VisitForecast,
    past_ponds,
    visit_forecasts,
    with_numbers_of,
)
from burden.utils.progress import report_progress
from burden.utils.results import INTERVAL_LEVEL, CredibleInterval, Result, frame, number

__all__ = ["HISTORY_COLUMNS", "Calibration", "History", "PastVisit", "history", "history_of"]

#: chance below which so many misses, or misses to one side, are no accident: an assumption
_NO_ACCIDENT = 0.05
#: forecasts from which "as good as it says" means something: an assumption
_ENOUGH_CHECKS = 5
#: of estimates made as of earlier visits: the draws, and the work put in
_DRAWS, _EFFORT = 60, Effort(300, 700, 80.0)


@dataclass(frozen=True)
class PastVisit:
    """One day on which fish were looked at.

    Parameters
    ----------
    date : Date
    burden : CredibleInterval
        With everything known now [flukes/fish].
    alone : bool
        Whether it lies before the run of the estimate and stands on its own counts, with what all visits say of how
        flukes are spread and seen.
    fish, preparations, counted : int
        Looked at, and flukes counted at least.
    temperature_c : float
        Of the water, median [°C].
    dead : int or None
        Since the visit before; None without a row of the log.
    """

    date: Date
    burden: CredibleInterval
    alone: bool
    fish: int
    preparations: int
    counted: int
    temperature_c: float
    dead: int | None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "date": self.date.isoformat(),
            "mean_abundance": self.burden.as_dict(),
            "by_its_own_counts": self.alone,
            "fish": self.fish,
            "preparations": self.preparations,
            "counted": self.counted,
            "temperature_c": number(self.temperature_c),
            "deaths_since_last": self.dead,
        }


@dataclass(frozen=True)
class Calibration:
    """How the forecasts of a pond have held, by the flukes counted.

    Parameters
    ----------
    checked, more, fewer : int
        Visits that can be judged, and those that showed more or fewer flukes than nine of ten simulated looks.
    chance_outside : float
        Of as many visits outside or more, were the forecasts right [-].
    chance_lean : float
        Of counts that lie as far to one side of their forecasts, or farther, were they right [-].
    lean : float
        Mean place of the counts in their forecasts; 0.5 where they lean to neither side [-].
    """

    checked: int
    more: int
    fewer: int
    chance_outside: float
    chance_lean: float
    lean: float

    @classmethod
    def of(cls, forecasts: Sequence[VisitForecast]) -> Calibration:
        """Summarise forecasts; those that cannot be judged do not count.

        Notes
        -----
        Places in right forecasts are independent and uniform: misses are binomial, and the mean place of n is near
        normal with variance 1/(12 n). Counts are whole, and ties halved, so both tests are a little shy.
        """
        judged = [one for one in forecasts if one.can_be_judged]
        n = len(judged)
        more, fewer = (sum(one.verdict == verdict for one in judged) for verdict in ("more", "fewer"))
        if n == 0:
            return cls(0, 0, 0, 1.0, 1.0, 0.5)
        lean = float(np.mean([one.place for one in judged]))
        return cls(
            n,
            more,
            fewer,
            float(bdtrc(more + fewer - 1, n, 1 - INTERVAL_LEVEL)),
            float(2 * ndtr(-abs(lean - 0.5) * math.sqrt(12 * n))),
            lean,
        )

    @property
    def verdict(self) -> str:
        """Too_few, too_low or too_high (the forecasts), too_sure, or as_good_as_said."""
        if self.chance_lean < _NO_ACCIDENT and self.checked > 1:
            return "too_low" if self.lean > 0.5 else "too_high"
        if self.chance_outside < _NO_ACCIDENT:
            return "too_sure"
        return "as_good_as_said" if self.checked >= _ENOUGH_CHECKS else "too_few"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "checked": self.checked,
            "more_than_expected": self.more,
            "fewer_than_expected": self.fewer,
            "chance_of_so_many_outside": number(self.chance_outside),
            "chance_of_so_far_to_one_side": number(self.chance_lean),
            "mean_place": number(self.lean),
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class History(Result):
    """All visits of one pond, one parasite set.

    Parameters
    ----------
    visits : tuple of PastVisit
        By date.
    days : numpy.ndarray
        Of the course between visits, rising, shape (K,) [d].
    course : numpy.ndarray
        5 %, median and 95 % of flukes a fish on those days, shape (3, K).
    forecasts : tuple of VisitForecast
        By date; the first visit has none.
    kills : tuple of KillRecord
        One an agent.
    left_out : tuple of Date
        Visits near enough to that before whose forecast was not worked out, as they lie before the run of the estimate.
    """

    case: Case
    parasite: str
    seed: int
    draws: int
    visits: tuple[PastVisit, ...]
    days: np.ndarray = field(repr=False)
    course: np.ndarray = field(repr=False)
    forecasts: tuple[VisitForecast, ...]
    kills: tuple[KillRecord, ...]
    left_out: tuple[Date, ...] = ()

    @property
    def calibration(self) -> Calibration:
        """How the forecasts have held."""
        return Calibration.of(self.forecasts)

    @property
    def why_unchecked(self) -> str:
        """Why no forecast can be checked: one_visit, far_apart, few_ponds or not_worked_out; empty where one can."""
        if self.calibration.checked:
            return ""
        if self.forecasts:
            return "few_ponds"
        if self.left_out:
            return "not_worked_out"
        return "far_apart" if len(self.visits) > 1 else "one_visit"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        start = self.case.visit_date
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "visits": [visit.as_dict() for visit in self.visits],
            "doses": [
                {"date": dose.date.isoformat(), "agent": dose.agent or "unknown"} for dose in self.case.doses_given
            ],
            "course": [
                {"date": (start + timedelta(days=math.floor(day))).isoformat(), "day": float(day), **_ends(ends)}
                for day, ends in zip(self.days, self.course.T, strict=True)
            ],
            "forecasts": [forecast.as_dict() for forecast in self.forecasts],
            "calibration": {**self.calibration.as_dict(), "why_unchecked": self.why_unchecked or None},
            "kills": [kill.as_dict() for kill in self.kills],
            "forecasts_left_out": [day.isoformat() for day in self.left_out],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the visits, a row each, with what was expected of them."""
        expected = {one.date: one for one in self.forecasts}
        return [self._row(visit, expected.get(visit.date)) for visit in self.visits]

    def _row(self, visit: PastVisit, expected: VisitForecast | None) -> dict[str, Any]:
        nothing = CredibleInterval.missing()
        counts, burden, deaths = (
            (nothing, nothing, None) if expected is None else (expected.counts, expected.burden, expected.deaths)
        )
        return {
            "case": self.case.name,
            "parasite": self.parasite,
            "date": visit.date.isoformat(),
            "fish": visit.fish,
            "preparations": visit.preparations,
            "flukes_counted": visit.counted,
            **_columns("counted_expected", counts),
            **_columns("flukes_per_fish", visit.burden),
            **_columns("flukes_per_fish_expected", burden),
            "temperature_c": visit.temperature_c,
            "deaths_since_last": visit.dead,
            **_columns("deaths_expected", deaths or nothing),
            "verdict": "" if expected is None else expected.verdict,
        }


_ENDS = ("median", "low", "high")
#: heads of `History.rows`, so that a table without a row has them too
HISTORY_COLUMNS = (
    *("case", "parasite", "date", "fish", "preparations", "flukes_counted"),
    *(f"counted_expected_{end}" for end in _ENDS),
    *(f"flukes_per_fish_{end}" for end in _ENDS),
    *(f"flukes_per_fish_expected_{end}" for end in _ENDS),
    *("temperature_c", "deaths_since_last"),
    *(f"deaths_expected_{end}" for end in _ENDS),
    "verdict",
)


def _columns(name: str, t: CredibleInterval) -> dict[str, float | None]:
    return {f"{name}_{end}": number(getattr(t, end)) for end in _ENDS}


def _ends(ends: np.ndarray) -> dict[str, float | None]:
    low, median, high = (number(x) for x in ends)
    return {"median": median, "low": low, "high": high}


def history(case: Case, parasite: str | None = None, draws: int = 500, seed: int = 1) -> History:
    """Look back over every visit of a pond.

    Parameters
    ----------
    case : Case
        Samples of every visit stand in it, by date.
    parasite : str, optional
        One of the case's sets; the first when not given.
    draws, seed : int
        Posterior draws and seed: same case, draws and seed, same answer.

    Returns
    -------
    History

    Notes
    -----
    The estimate runs a pond over its last 120 days. Forecasts of visits before that are made as of these visits, each
    by an estimate of its own.
    """
    found = estimate(case, parasite, draws, seed)
    whole = history_of(found, what_changed(found))
    earlier = _earlier_forecasts(case, found.parasite, whole.left_out, seed)
    known = {one.date for one in earlier}
    left_out = tuple(day for day in whole.left_out if day not in known)
    return replace(whole, forecasts=(*earlier, *whole.forecasts), left_out=left_out)


def _earlier_forecasts(case: Case, parasite: str, visits: Sequence[Date], seed: int) -> tuple[VisitForecast, ...]:
    """Forecasts of visits before the run of the estimate, by estimates as of the latest of them that is left."""
    found: dict[Date, VisitForecast] = {}
    tried: set[Date] = set()
    for visit in reversed(visits):
        if visit in found or visit in tried:
            continue
        report_progress(f"{parasite}: known on {visit.isoformat()}")
        tried.add(visit)
        try:
            then = estimate(case_as_of(case, visit), parasite, _DRAWS, seed, _EFFORT)
        except TooFewDrawsError:
            continue
        if len(rows_by_day(then.case, parasite)) > 1:
            found |= {one.date: one for one in visit_forecasts(then, past_ponds(then)) if one.date not in found}
    return tuple(found[day] for day in sorted(found))


def history_of(found: Estimate, changes: Changes | None) -> History:
    """Look back with an estimate that was made; forecasts of visits before its run are left out.

    Parameters
    ----------
    found : Estimate
    changes : Changes or None
        What was expected of this visit, where that was worked out: these numbers are kept, so that a page shows one.
    """
    case, parasite = found.case, found.parasite
    report_progress(f"{parasite}: looking back over all visits")
    past = past_ponds(found)
    forecasts = visit_forecasts(found, past)
    if forecasts and changes is not None and forecasts[-1].date == case.visit_date:
        forecasts = (*forecasts[:-1], with_numbers_of(forecasts[-1], changes.today.then, changes.deaths))
    visits = _visits(found, past)
    expected = {one.date for one in forecasts}
    days, course = _course(found, past)
    return History(
        case=case,
        parasite=parasite,
        seed=found.seed,
        draws=found.draws,
        visits=visits,
        days=days,
        course=course,
        forecasts=forecasts,
        kills=kill_records(case, parasite, found.seed),
        left_out=tuple(
            visit.date
            for before, visit in pairwise(visits)
            if visit.date not in expected and (visit.date - before.date).days <= LONGEST_HISTORY_DAYS
        ),
    )


def _course(found: Estimate, past: PastPonds) -> tuple[np.ndarray, np.ndarray]:
    """Days of the run, and the band of the burden on each; today's is that of the estimate."""
    days = np.array(sorted(past.runs.by_day))
    bands = [CredibleInterval.of(past.burden(day), past.weight) for day in days[:-1]] + [found.mean_abundance]
    return days, np.array([[band.low, band.median, band.high] for band in bands]).T


def _visits(found: Estimate, past: PastPonds) -> tuple[PastVisit, ...]:
    case, setting = found.case, past.runs.pond.setting
    p, law = setting.parameters, burden_law(past.runs.pond)
    looks: list[tuple[Sequence[Preparation], CredibleInterval, bool]] = []
    for look in earlier_looks(case, found.parasite):
        k, weight_g = p["aggregation"], setting.fish.weight_g.mean(0)
        then = burden_at(look, law, k, past.runs.seen, p.evidence.site, weight_g, found.seed)
        looks.append((look.rows, CredibleInterval.of(then, past.weight), True))
    for day, rows in sorted(rows_by_day(case, found.parasite).items()):
        now = found.mean_abundance if day == 0 else CredibleInterval.of(past.burden(day), past.weight)
        looks.append((rows, now, False))
    since = [Date.min, *(rows[0].date for rows, _, _ in looks)]
    return tuple(
        _visit(found, past, rows, burden, alone, before)
        for (rows, burden, alone), before in zip(looks, since[:-1], strict=True)
    )


def _visit(
    found: Estimate, past: PastPonds, rows: Sequence[Preparation], burden: CredibleInterval, alone: bool, before: Date
) -> PastVisit:
    case, day = found.case, rows[0].date
    log = [row.deaths for row in case.deaths if before < row.date <= day]
    warmth = past.runs.pond.setting.temperature.at(float(case.day_of(day)))
    return PastVisit(
        date=day,
        burden=burden,
        alone=alone,
        fish=len({row.fish for row in rows}),
        preparations=len(rows),
        counted=sum(row.count_low for row in rows),
        temperature_c=float(np.median(warmth)),
        dead=sum(log) if log else None,
    )

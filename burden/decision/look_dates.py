"""When fish are looked at again: soon or late, once the water has warmed, after a look that asked for no dose."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from burden.case import Case
from burden.decision.look_records import NextLook, Outcome
from burden.inference.estimate_result import Estimate
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.sampling.development_times import SURE
from burden.schedule.aim import check_day
from burden.schedule.candidates import COLD_C
from burden.schedule.recommendation import Recommendation

__all__ = [
    "LOOK_LATE_DAYS",
    "LOOK_SOON_DAYS",
    "SOONEST_DAYS",
    "TOO_LONG_TO_WAIT_DAYS",
    "WARM_C",
    "before_cold",
    "clean_look_day",
    "last_shows_day",
    "look_after",
    "not_in_the_cold",
    "spring_day",
    "warm_day",
    "watch_day",
]

#: days after which fish that were left alone are looked at again: soon where the burden may rise, late where it hardly
#: will: common practice, no source [d]
LOOK_SOON_DAYS, LOOK_LATE_DAYS = 14.0, 28.0
#: and no sooner after the look of a visit: common practice, no source [d]
SOONEST_DAYS = 7.0
#: chance that the burden stays low from which it hardly rises: an assumption [-]
_HARDLY = 0.9
#: in cold water eggs hatch months after the last dose: from this wait on, what the doses left on the fish is looked at
#: after `LOOK_LATE_DAYS`, and what hatches later once more when it has (common practice, no source) [d]
TOO_LONG_TO_WAIT_DAYS = 42.0
#: fish left in peace in the cold are seen again once the water has been as warm as this for so long (common practice,
#: no source); looked for so far ahead: a winter, and what is left of the year before it [°C], [d], [d]
WARM_C, _WARM_FOR_DAYS, _WARM_WITHIN_DAYS = 10.0, 10, 365


def look_after(look: NextLook, outcome: Outcome) -> date:
    """Return when fish are looked at again after a result of a look that asks for no dose.

    Parameters
    ----------
    look : NextLook
    outcome : Outcome
        One of its results.
    """
    usual = LOOK_LATE_DAYS if outcome.chance_high <= 1 - _HARDLY else LOOK_SOON_DAYS
    return look.again or look.date + timedelta(days=int(usual))


def not_in_the_cold(case: Case, estimates: Sequence[Estimate], look: NextLook) -> NextLook:
    """Leave fish that need no dose in peace until spring, where the look after this one would fall in the cold.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        For their water.
    look : NextLook
        One that is itself in the cold has its reason, and so has the next after it.
    """
    later = [look_after(look, one) for one in look.outcomes if one.action == "watch"]
    settled = look.again is not None or look.purpose == "release" or not later
    if settled or before_cold(estimates, [look.day]) is None:
        return look
    warm = warm_day(estimates, float(case.day_of(min(later))))
    return look if warm is None else replace(look, again=case.visit_date + timedelta(days=int(warm)))


def watch_day(case: Case, estimates: Sequence[Estimate], found: Recommendation) -> float:
    """When to look again without a dose: once what was laid before the last shows, else in two to four weeks [d]."""
    usual = LOOK_LATE_DAYS if float(np.mean(found.untreated.kept)) >= _HARDLY else LOOK_SOON_DAYS
    if found.underway is None:
        return usual
    ponds = [e.posterior for e in estimates]
    due = check_day(ponds, DoseSchedule((found.underway.last_day,), (next(iter(ponds[0].pond.effects)),)))
    if due > TOO_LONG_TO_WAIT_DAYS and not found.underway.clean:
        return LOOK_LATE_DAYS
    if due >= SOONEST_DAYS:
        return due
    shows = last_shows_day(estimates, found.underway.last_day)
    return usual if shows is None or shows <= 0 else max(shows, SOONEST_DAYS)


def clean_look_day(estimates: Sequence[Estimate], plan: DoseSchedule) -> float | None:
    """Day from which a clean look means most; None where nothing lays eggs, or cold keeps some for too long [d].

    Parameters
    ----------
    estimates : sequence of Estimate
        One a parasite set; the slowest counts.
    plan : DoseSchedule
        With a dose at least.

    Notes
    -----
    By then every egg laid up to the last dose has hatched, its larva has settled and can be recognised, in as many
    simulated ponds as `burden.sampling.recheck` asks for: its rule, in the water of the case.
    """
    days = []
    for e in estimates:
        p = e.pond.setting.parameters
        if p.development is None:
            continue
        shelter = e.pond.effects[plan.agents[-1]].sheltered_fraction
        found = windows_after(p, shelter, e.pond.setting.temperature, plan.days[-1])
        days.append(
            float(np.quantile(found.last_hatch + found.larval_life + found.sheltered_age, SURE, method="higher"))
        )
    wait = max(days, default=np.inf)
    return float(np.ceil(plan.days[-1] + wait)) if wait <= TOO_LONG_TO_WAIT_DAYS else None


def before_cold(estimates: Sequence[Estimate], days: Sequence[float]) -> float | None:
    """The first of some days on which fish are not yet left in peace for the cold; None where they are on each [d]."""
    water = estimates[0].pond.setting.temperature
    return next((day for day in days if water.median_at(day) >= COLD_C), None)


def last_shows_day(estimates: Sequence[Estimate], last_day: float) -> float | None:
    """Day on which flukes of the last eggs show after a dose given; None as of `clean_look_day` [d].

    Parameters
    ----------
    estimates : sequence of Estimate
    last_day : float
        Of the dose, from the visit [d].
    """
    return clean_look_day(estimates, DoseSchedule((last_day,), (next(iter(estimates[0].pond.effects)),)))


def warm_day(estimates: Sequence[Estimate], day: float) -> float | None:
    """Day on which the water has been warm for a while, where it is cold on a day; None where it is not, or does not
    warm [d]."""
    return None if before_cold(estimates, [day]) is not None else _warmed(estimates, day)


def spring_day(estimates: Sequence[Estimate]) -> float | None:
    """Day on which water that is cold, or turns so, has been warm again for a while; None where it does not [d]."""
    water = estimates[0].pond.setting.temperature
    cold = next((day for day in _ahead(0.0) if water.median_at(day) < WARM_C), None)
    return None if cold is None else _warmed(estimates, cold)


def _warmed(estimates: Sequence[Estimate], start: float) -> float | None:
    """First whole day from a day on by which the median water has been warm long enough; None where there is none."""
    water, warm = estimates[0].pond.setting.temperature, 0
    for day in _ahead(start):
        warm = warm + 1 if water.median_at(day) >= WARM_C else 0
        if warm > _WARM_FOR_DAYS:
            return day
    return None


def _ahead(start: float) -> Iterator[float]:
    return map(float, range(int(np.ceil(start)), _WARM_WITHIN_DAYS))

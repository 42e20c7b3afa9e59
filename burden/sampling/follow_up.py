"""When a clean sample means most after a dose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.sampling.burden_threshold import CleanSamplePlan
from burden.sampling.development_times import SURE, DevelopmentTimes, LiveBearerTimes, NoTimes, Times
from burden.sampling.plan import SamplingPlan
from burden.utils.results import CredibleInterval

__all__ = ["LIVE_BEARER_RECHECK_DAYS", "RecheckPlan", "recheck"]

#: a week lets the few live-bearers that survived become enough to find (common practice, no source) [d]
LIVE_BEARER_RECHECK_DAYS = 7


@dataclass(frozen=True, kw_only=True)
class RecheckPlan(SamplingPlan):
    """When and how to look after a dose.

    Parameters
    ----------
    day : int or None
        Days after the last dose on which a clean sample means most; None where it cannot be given, with the reason [d].
    all_shown_days : CredibleInterval
        When the last eggs laid before the dose have hatched, settled and can be recognised [d].
    survivors_only_until_day : int or None
        Up to this day what is seen on a fish was on it at the dose: a look then judges the dose [d].
    offspring_from_day : CredibleInterval
        When settlers from those eggs may themselves lay: the cycle is closed again [d].
    share_shown : float
        Share of the draws that have all shown by `day` [-].
    why_no_day : str
        What the evidence says where no day can be given; else empty.
    sample : CleanSamplePlan
        How many fish, and how much of each, on that day.
    """

    day: int | None
    all_shown_days: CredibleInterval
    survivors_only_until_day: int | None
    offspring_from_day: CredibleInterval
    share_shown: float = SURE
    why_no_day: str = ""
    sample: CleanSamplePlan

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices between more fish and more preparations, one a row."""
        return self.sample.rows()


def recheck(times: Times, sample: CleanSamplePlan) -> RecheckPlan:
    """On which day after the last dose a clean sample means most.

    Parameters
    ----------
    times : DevelopmentTimes, LiveBearerTimes or NoTimes
        Of the parasite in the water after the dose.
    sample : CleanSamplePlan
        What is looked at on that day.

    Returns
    -------
    RecheckPlan
        Without a day where none can be given.

    Notes
    -----
    A dose spares eggs. Eggs laid up to the dose hatch until last hatch, live as larvae, settle, and can be
    recognised at some age: the day by which 95 % of the draws have all shown. A sample before that day can be
    clean while the next generation is still in the water; later, survivors have only multiplied, so a clean
    sample loses nothing but time, in which what was missed lays. The days hold if no dose is given between.

    Examples
    --------
    >>> from burden.sampling import Look, find_by_burden
    >>> days = np.array([5.0])
    >>> sample = find_by_burden(1.0, 0.8, Look(0.01, preparations=3))
    >>> plan = recheck(DevelopmentTimes(np.array([3.0]), days, days, 1.0), sample)
    >>> plan.day, plan.survivors_only_until_day
    (11, 5)
    """
    when = _without_eggs(times) if not isinstance(times, DevelopmentTimes) else _after_eggs(times)
    return RecheckPlan(fish=sample.fish, fish_killed=sample.fish_killed, sample=sample, **when)


def _after_eggs(times: DevelopmentTimes) -> dict[str, Any]:
    shown = times.all_shown()
    young = "recognised_younger" if times.recognised_age_days is None else "recognised_older"
    return {
        "day": int(np.ceil(np.quantile(shown, SURE))),
        "all_shown_days": CredibleInterval.of(shown),
        # eggs of every age lie in the water, so settlers may come from the day of the dose on
        "survivors_only_until_day": int(np.floor(np.quantile(times.recognised(), 1 - SURE))),
        "offspring_from_day": CredibleInterval.of(np.asarray(times.earliest_maturity_days, float)),
        "reason": "eggs_have_shown",
        "what_would_change": ("colder_water", young, "further_dose", "aggregation", "share_seen", "not_at_random"),
    }


def _without_eggs(times: LiveBearerTimes | NoTimes) -> dict[str, Any]:
    """No egg to wait for, or nobody knows how long."""
    if isinstance(times, NoTimes):
        unknown = CredibleInterval.missing()
        changes = ("warmer_water",) if times.code == "too_cold" else ("measured",)
        return {
            "day": None,
            "all_shown_days": unknown,
            "survivors_only_until_day": None,
            "offspring_from_day": unknown,
            "why_no_day": times.why,
            "reason": times.code,
            "what_would_change": (*changes, "not_at_random"),
        }
    at_once = CredibleInterval.of(np.zeros(1))
    return {
        "day": LIVE_BEARER_RECHECK_DAYS,
        "all_shown_days": at_once,
        "survivors_only_until_day": 0,
        "offspring_from_day": at_once,
        "reason": "live_bearer",
        "what_would_change": ("colder_slower_births", "aggregation", "share_seen", "not_at_random"),
    }

"""How long to hold new fish, and when to look at how many."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.sampling.burden_threshold import CleanSamplePlan
from burden.sampling.development_times import SURE, DevelopmentTimes, LiveBearerTimes, NoTimes, Times
from burden.sampling.plan import PlanRemark, SamplingPlan
from burden.utils.results import CredibleInterval

__all__ = ["ArrivalsPlan", "arrivals"]


@dataclass(frozen=True, kw_only=True)
class ArrivalsPlan(SamplingPlan):
    """How long to hold new fish, and when to look at how many.

    Parameters
    ----------
    new_fish : int
        Fish that came.
    hold_days : int or None
        Days until eggs carried in have hatched and their flukes shown, or, of live-bearers, until a tenth of the burden
        asked about has grown to it; None where it cannot be given, with the reason [d].
    all_shown_days : CredibleInterval
        The same, as draws; no upper end where it never comes in some draws [d].
    looks : tuple of mapping
        Days to look, fish, preparations, and a code of what the look sees.
    share_shown : float
        Share of the draws that have shown by `hold_days` [-].
    why_no_day : str
        What the evidence says where no day can be given; else empty.
    sample : CleanSamplePlan
        The last look, which decides.
    """

    new_fish: int
    hold_days: int | None
    all_shown_days: CredibleInterval
    looks: tuple[Mapping[str, Any], ...]
    share_shown: float
    why_no_day: str = ""
    sample: CleanSamplePlan

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, with what each look sees in words beside its code."""
        return {**super().as_dict(), "looks": self.rows()}

    def rows(self) -> list[dict[str, Any]]:
        """Return the looks, one a row."""
        said = {look["sees"]: str(PlanRemark(self, look["sees"], "reason")) for look in self.looks}
        return [{**look, "sees": said[look["sees"]], "sees_code": look["sees"]} for look in self.looks]


def arrivals(times: Times, sample: CleanSamplePlan, fish: int) -> ArrivalsPlan:
    """How long to hold new fish, and when to look, so that flukes carried in have shown.

    Parameters
    ----------
    times : DevelopmentTimes, LiveBearerTimes or NoTimes
        Of the parasite in the holding water.
    sample : CleanSamplePlan
        What is looked at each time; the last look decides.
    fish : int
        New fish.

    Returns
    -------
    ArrivalsPlan
        Without a hold where none can be given.

    Notes
    -----
    Adults on arrival show at once, to the extent that a part-count sees them; eggs carried in, on the fish or in
    their water, show when hatched, settled and recognised. Of live-bearers everything is on the fish on arrival, but a
    few flukes are missed: the second look waits until a tenth of the burden asked about has grown to it in most draws
    (median; the tenth is our choice). The earlier looks save time.

    Examples
    --------
    >>> from burden.sampling import Look, find_by_burden
    >>> days = np.array([5.0])
    >>> sample = find_by_burden(1.0, 0.8, Look(0.01, preparations=6), population=60)
    >>> plan = arrivals(DevelopmentTimes(np.array([3.0]), days, days, 1.0), sample, 60)
    >>> plan.hold_days, [row["day"] for row in plan.looks]
    (11, [0, 8, 11])
    """
    first: int | None = None
    changes: tuple[str, ...]
    if isinstance(times, NoTimes):
        hold, shown, sure = None, np.full(1, np.nan), 0.0
        reason, changes = times.code, ("warmer_water" if times.code == "too_cold" else "measured", "not_at_random")
    elif isinstance(times, LiveBearerTimes):
        hold, shown, sure = _days(times.tenfold_days, 0.5), times.tenfold_days, 0.5
        reason, changes = "dwindles" if hold is None else "live_bearer", ("colder_slower_births", *_CHANGES)
    else:
        shown, sure = times.all_shown(), SURE
        hold, first = _days(shown, SURE), _days(np.asarray(times.first_hatch_days, float) + times.recognised(), 0.5)
        reason, changes = "eggs_have_shown", ("holding_water", *_CHANGES)
    return ArrivalsPlan(
        fish=sample.fish,
        fish_killed=sample.fish_killed,
        new_fish=fish,
        hold_days=hold,
        all_shown_days=CredibleInterval.missing() if isinstance(times, NoTimes) else CredibleInterval.of(shown),
        looks=_looks(first, hold, sample, fish, isinstance(times, DevelopmentTimes)),
        share_shown=sure,
        why_no_day=times.why if isinstance(times, NoTimes) else "",
        sample=sample,
        reason=reason,
        what_would_change=changes,
    )


_CHANGES = ("find_restarts", "added_fish", "aggregation", "share_seen", "not_at_random")


def _days(days: np.ndarray, share: float) -> int | None:
    """Whole days by which so many of the draws have come to it; None where they never do."""
    day = np.quantile(days, share, method="higher" if np.isinf(days).any() else "linear")
    return int(np.ceil(day)) if np.isfinite(day) else None


def _looks(
    first_shown: int | None, hold: int | None, sample: CleanSamplePlan, fish: int, eggs: bool
) -> tuple[dict[str, Any], ...]:
    sees = {0: "flukes_on_arrival"}
    if first_shown is not None:
        sees[first_shown] = "first_from_eggs"
    if hold is not None:
        sees[hold] = "all_from_eggs" if eggs else "grown_young"
    number = fish if sample.fish is None else sample.fish
    return tuple(
        {"day": day, "fish": number, "preparations": sample.preparations, "sees": code}
        for day, code in sorted(sees.items())
    )

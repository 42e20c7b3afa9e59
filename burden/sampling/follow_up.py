"""When a clean sample means most: after a dose, and for fish that have just arrived.

Both need the development windows of a parasite set at the temperature of the water; the caller brings them as draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from burden.sampling.burden_threshold import CleanSamplePlan, Look, find_by_burden
from burden.sampling.plan import AT_RANDOM, SamplingPlan, check_numbers, percent
from burden.utils.errors import CannotAnswerError
from burden.utils.results import CredibleInterval

__all__ = ["ArrivalsPlan", "DevelopmentTimes", "RecheckPlan", "arrivals", "recheck"]

_SURE = 0.95  # of the draws have shown by the day given


@dataclass(frozen=True)
class DevelopmentTimes:
    """Development windows at the temperature of the water, as draws.

    Parameters
    ----------
    first_hatch_days, last_hatch_days : numpy.ndarray
        1 % and 99 % of eggs hatched, shape (draws,) [d].
    earliest_maturity_days : numpy.ndarray
        1 % of settlers mature, shape (draws,) [d].
    larval_life_days : array_like
        Longest life of a larva before it settles [d].
    recognised_age_days : numpy.ndarray, optional
        Age after settling from which a fluke is recognised in a preparation [d]; at maturity when not given,
        the cautious choice.
    last_larva_shown_days : numpy.ndarray, optional
        From the last hatch until its larva has settled and is recognised, in the water of that day; larval life and
        age recognised when not given [d].
    """

    first_hatch_days: np.ndarray
    last_hatch_days: np.ndarray
    earliest_maturity_days: np.ndarray
    larval_life_days: ArrayLike = 0.0
    recognised_age_days: np.ndarray | None = None
    last_larva_shown_days: np.ndarray | None = None

    def recognised(self) -> np.ndarray:
        """Age from which a settler is recognised, shape (draws,) [d]."""
        age = self.earliest_maturity_days if self.recognised_age_days is None else self.recognised_age_days
        return np.asarray(age, float)

    def all_shown(self) -> np.ndarray:
        """Day by which every egg of day 0 has hatched, settled and can be recognised, shape (draws,) [d].

        Examples
        --------
        >>> DevelopmentTimes(np.array([3.0]), np.array([5.0]), np.array([5.0]), 1.0).all_shown().tolist()
        [11.0]
        """
        shown = self.last_larva_shown_days
        after_hatch = self.larval_life_days + self.recognised() if shown is None else shown
        return np.asarray(self.last_hatch_days, float) + after_hatch

    def check(self) -> None:
        """Refuse windows that are not there or out of order."""
        first, last = np.asarray(self.first_hatch_days, float), np.asarray(self.last_hatch_days, float)
        mature = np.asarray(self.earliest_maturity_days, float)
        if np.isnan(first).any() or np.isnan(last).any() or np.isnan(mature).any():
            raise CannotAnswerError(
                "There is no egg window here (live-bearers lay none): what a fish carries shows at once. "
                "Sample now by burden, and again after the time one fluke takes to be born and bear."
            )
        order = bool(np.all((first > 0) & (first <= last) & (mature > 0)))
        age = self.recognised()
        check_numbers(
            [
                ("hatch days", [first.min(), last.max()], order, "0 < first <= last, maturity > 0", "Check them."),
                ("recognised age", age.min(), bool(np.all(age >= 0)), "0 days or more", "Leave it out."),
            ]
        )


@dataclass(frozen=True, kw_only=True)
class RecheckPlan(SamplingPlan):
    """When and how to look after a dose.

    Parameters
    ----------
    day : int
        Days after the last dose on which a clean sample means most [d].
    all_shown_days : CredibleInterval
        When the last eggs laid before the dose have hatched, settled and can be recognised [d].
    survivors_only_until_day : int
        Up to this day what is seen on a fish was on it at the dose: a look then judges the dose [d].
    offspring_from_day : CredibleInterval
        When settlers from those eggs may themselves lay: the cycle is closed again [d].
    sample : CleanSamplePlan
        How many fish, and how much of each, on that day.
    """

    day: int
    all_shown_days: CredibleInterval
    survivors_only_until_day: int
    offspring_from_day: CredibleInterval
    sample: CleanSamplePlan

    def headline(self, dosed: bool = True) -> str:
        """Return the day and the sample in one line; the days count from today where nothing is given."""
        when = "after the last dose" if dosed else "from today"
        return f"Look {self.day} days {when}. {self.sample.headline()}"

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices between more fish and more preparations, one a row."""
        return self.sample.rows()


def recheck(
    windows: DevelopmentTimes,
    level: float,
    k: ArrayLike,
    look: Look,
    confidence: float = 0.95,
    population: int | None = None,
    lethal_allowed: int = 0,
) -> RecheckPlan:
    """On which day after the last dose a clean sample means most, and how large it must be.

    Parameters
    ----------
    windows : DevelopmentTimes
        Of the parasite at the temperature of the water.
    level : float
        Mean abundance that a clean sample is to exclude [flukes per fish].
    k : array_like
        Aggregation after the dose, scalar or draws [-].
    look : Look
        What is taken from each live fish.
    confidence : float
        Chance of at least one find at that level [-].
    population : int, optional
        Fish in the group.
    lethal_allowed : int
        Healthy fish that may be killed.

    Returns
    -------
    RecheckPlan

    Raises
    ------
    CannotAnswerError
        For windows that are missing (live-bearers).
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    A dose spares eggs. Eggs laid up to the dose hatch until last hatch, live as larvae, settle, and can be
    recognised at some age: the day by which 95 % of the draws have all shown. A sample before that day can be
    clean while the next generation is still in the water; later, survivors have only multiplied, so a clean
    sample loses nothing but time, in which what was missed lays. The days hold if no dose is given between.

    Examples
    --------
    >>> days = np.array([5.0])
    >>> plan = recheck(DevelopmentTimes(np.array([3.0]), days, days, 1.0), 1.0, 0.8, Look(0.01, preparations=3))
    >>> plan.day, plan.survivors_only_until_day
    (11, 5)
    """
    windows.check()
    shown = windows.all_shown()
    day = int(np.ceil(np.quantile(shown, _SURE)))
    # eggs of every age lie in the water, so settlers may come from the day of the dose on
    early = int(np.floor(np.quantile(windows.recognised(), 1 - _SURE)))
    sample = find_by_burden(level, k, look, confidence, population, lethal_allowed)
    return RecheckPlan(
        fish=sample.fish,
        fish_killed=sample.fish_killed,
        day=day,
        all_shown_days=CredibleInterval.of(shown),
        survivors_only_until_day=early,
        offspring_from_day=CredibleInterval.of(np.asarray(windows.earliest_maturity_days, float)),
        sample=sample,
        reason=(
            f"Eggs laid before the dose are spared by it; in {percent(_SURE)} of draws all have hatched, settled "
            f"and can be recognised by day {day}. {_judges_the_dose(early)} {sample.reason}"
        ),
        what_would_change=(
            "colder water: the days lengthen; take the windows again",
            "flukes recognised younger than at maturity: the day comes earlier"
            if windows.recognised_age_days is None
            else "flukes recognised only when older: the day comes later",
            "a further dose starts the count again",
            *sample.what_would_change[:2],
            AT_RANDOM,
        ),
    )


def _judges_the_dose(early: int) -> str:
    if early < 1:
        return "New settlers may be seen within a day of the dose, so an earlier look does not judge the dose alone."
    return f"Up to day {early} only what survived the dose is seen, which judges the dose but not the cure."


@dataclass(frozen=True, kw_only=True)
class ArrivalsPlan(SamplingPlan):
    """How long to hold new fish, and when to look at how many.

    Parameters
    ----------
    hold_days : int
        Days until eggs carried in have hatched and their flukes shown [d].
    all_shown_days : CredibleInterval
        The same, as draws [d].
    looks : tuple of mapping
        Days to look, fish, preparations, and what the look sees.
    sample : CleanSamplePlan
        The last look, which decides.
    """

    hold_days: int
    all_shown_days: CredibleInterval
    looks: tuple[Mapping[str, Any], ...]
    sample: CleanSamplePlan

    def headline(self) -> str:
        """Return hold and last look in one line."""
        return f"Hold the new fish {self.hold_days} days. On the last day: {self.sample.headline()}"

    def rows(self) -> list[dict[str, Any]]:
        """Return the looks, one a row."""
        return [dict(look) for look in self.looks]


def arrivals(
    windows: DevelopmentTimes,
    fish: int,
    level: float,
    k: ArrayLike,
    look: Look,
    confidence: float = 0.95,
    lethal_allowed: int = 0,
) -> ArrivalsPlan:
    """How long to hold new fish, and how many to look at when, so that eggs carried in have hatched and shown.

    Parameters
    ----------
    windows : DevelopmentTimes
        Of the parasite at the temperature of the holding water.
    fish : int
        New fish.
    level : float
        Mean abundance that a clean last look is to exclude [flukes per fish].
    k : array_like
        Aggregation, scalar or draws [-].
    look : Look
        What is taken from each live fish.
    confidence : float
        Chance of at least one find at that level on the last look [-].
    lethal_allowed : int
        Healthy fish that may be killed.

    Returns
    -------
    ArrivalsPlan

    Raises
    ------
    CannotAnswerError
        For windows that are missing (live-bearers).
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    Adults on arrival show at once, to the extent that a part-count sees them; eggs carried in, on the fish or in
    their water, show when hatched, settled and recognised. The last look decides; the earlier ones save time.

    Examples
    --------
    >>> days = np.array([5.0])
    >>> plan = arrivals(DevelopmentTimes(np.array([3.0]), days, days, 1.0), 60, 1.0, 0.8, Look(0.01, preparations=6))
    >>> plan.hold_days, [row["day"] for row in plan.looks]
    (11, [0, 8, 11])
    """
    windows.check()
    check_numbers([("--fish", fish, fish >= 1, "1 or more new fish", "Count them.")])
    shown = windows.all_shown()
    hold = int(np.ceil(np.quantile(shown, _SURE)))
    first = np.asarray(windows.first_hatch_days, float) + windows.recognised()
    sample = find_by_burden(level, k, look, confidence, fish, lethal_allowed)
    looks = _looks(int(np.ceil(np.median(first))), hold, sample, fish)
    return ArrivalsPlan(
        fish=sample.fish,
        fish_killed=sample.fish_killed,
        hold_days=hold,
        all_shown_days=CredibleInterval.of(shown),
        looks=looks,
        sample=sample,
        reason=(
            f"Eggs carried in have hatched, settled and can be recognised by day {hold} in {percent(_SURE)} of "
            f"draws; before that a clean sample speaks of the flukes on arrival alone. {sample.reason}"
        ),
        what_would_change=(
            "colder holding water lengthens the hold, warmer shortens it within what the fish bear",
            "a find at any look: treat, and count the hold again from the last dose",
            "fish added to the group start the hold again for all",
            *sample.what_would_change[:2],
            AT_RANDOM,
        ),
    )


def _looks(first_shown: int, hold: int, sample: CleanSamplePlan, fish: int) -> tuple[dict[str, Any], ...]:
    number = sample.fish if sample.fish is not None else fish
    sees = {0: "flukes on arrival", first_shown: "the first flukes from eggs carried in"}
    sees[hold] = "every fluke from eggs carried in; this look decides"
    return tuple(
        {"day": day, "fish": number, "preparations": sample.preparations, "sees": words}
        for day, words in sorted(sees.items())
    )

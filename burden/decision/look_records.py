"""The next look at the fish, and what its results lead to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Date
from typing import Any

__all__ = ["CLEAN_LOOKS", "TAKEN_ONCE", "NextLook", "Outcome", "looks_needed"]

#: clean looks, weeks apart, after which newcomers that had a whole course may move: common practice, no source
CLEAN_LOOKS = 2
#: chance that any fluke is left where none shows from which one look more is asked for: an assumption [-]
_MORE_LOOKS_FROM = 0.2
#: what is taken of a fish once, however many clips or scrapes are
TAKEN_ONCE = ("gill_arch", "whole_organ")


def looks_needed(left: float) -> int:
    """Clean looks before newcomers move: one more where flukes may well be left all the same.

    Parameters
    ----------
    left : float
        Chance that any fluke is left where none shows [-].
    """
    return CLEAN_LOOKS + (left >= _MORE_LOOKS_FROM)


@dataclass(frozen=True)
class Outcome:
    """What a look may show, and what follows.

    Parameters
    ----------
    code : str
        none, few or many.
    flukes_max : int or None
        Most flukes counted on all preparations together; None for any number above the row before.
    chance : float
        Of this result [-].
    chance_high : float
        That the burden is above the tolerable level, were it seen [-].
    action : str
        One of `ACTIONS`, or harvest: too many, and too late for a dose that does not put the harvest off.
    """

    code: str
    flukes_max: int | None
    chance: float
    chance_high: float
    action: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "result": self.code,
            "flukes_max": self.flukes_max,
            "chance": self.chance,
            "chance_high": self.chance_high,
            "action": self.action,
        }


@dataclass(frozen=True)
class NextLook:
    """The next look at the fish.

    Parameters
    ----------
    date : Date
    day : float
        From the visit [d].
    purpose : str
        more_fish: today, as the fish seen cannot decide; check: whether the course worked; watch: whether flukes
        increase; in_time: what the doses left, while another may still go in before the harvest; release: whether
        newcomers are clean; survivors: what the doses left on the fish, while eggs wait for
        warmth; before_last: the same, before the last dose goes in, as the water is cold after it; result: once a virus
        was tested for; named: once the flukes are identified; harvest: at fish that are harvested; water: whether the
        water is right, and what the fish carry.
    fish : int
        To look at, never more than there are.
    all_fish : bool
    preparations_per_fish : int
        By each of the methods.
    methods : tuple of str
        How each fish is looked at: gill_clip, skin_scrape, or whole_organ where the last fish were counted whole.
    outcomes : tuple of Outcome
    again : date or None
        When all eggs have hatched, and a look judges the course, where this one comes before.
    once_c : float or None
        Water that the look waits for, where it is dated by that [°C].
    clean_from : date or None
        After a course: when flukes of the eggs that hatch last can be seen in nearly all simulated ponds, where that
        is after this look.
    late_for : date or None
        Of the harvest, where a dose that this look asked for would put it off.
    clean_before : int
        Looks at newcomers that showed none since the last dose, after a whole course.
    """

    date: Date
    day: float
    purpose: str
    fish: int
    all_fish: bool
    preparations_per_fish: int
    outcomes: tuple[Outcome, ...] = ()
    again: Date | None = None
    once_c: float | None = None
    clean_before: int = 0
    methods: tuple[str, ...] = ()
    clean_from: Date | None = None
    late_for: Date | None = None

    @property
    def clean_is_enough(self) -> bool:
        """Whether newcomers may move where this look shows none."""
        return self.clean_looks == 1

    @property
    def clean_looks(self) -> int:
        """Clean looks after which newcomers may move, this one counted and none before it."""
        if any(one.code == "none" and one.action == "discharge" for one in self.outcomes) or not self.outcomes:
            return 1
        left = max((one.chance_high for one in self.outcomes if one.code == "none"), default=0.0)
        return max(looks_needed(left) - self.clean_before, 1)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "date": self.date.isoformat(),
            "purpose": self.purpose,
            "fish": self.fish,
            "all_fish": self.all_fish,
            "preparations_per_fish": self.preparations_per_fish,
            "methods": list(self.methods),
            "outcomes": [one.as_dict() for one in self.outcomes],
            "clean_from": None if self.clean_from is None else self.clean_from.isoformat(),
            "again": None if self.again is None else self.again.isoformat(),
            "once_c": self.once_c,
            "late_for": None if self.late_for is None else self.late_for.isoformat(),
            "last_if_clean": self.clean_before > 0 and self.clean_is_enough,
            "clean_looks": self.clean_looks,
        }

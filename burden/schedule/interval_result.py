"""The answer to why this repeat interval: the courses compared, and what is to be said beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from burden.model.windows import Windows
from burden.schedule.aim import Aim
from burden.schedule.fixed_interval import Regimen
from burden.schedule.search import UNSURE
from burden.utils.formatting import plain
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "Borrowed",
    "Control",
    "Extrapolated",
    "IntervalAnswer",
    "LongerThanSafe",
    "MixedKinds",
    "NoEggs",
    "NoEradication",
    "NoRoom",
    "NotNeeded",
]


@dataclass(frozen=True)
class NoEggs(Remark):
    """A live-bearer has no window to wait for."""


@dataclass(frozen=True)
class Extrapolated(Remark):
    """What was measured from `low_c` to `high_c` alone is read at `to_c` [°C]."""

    what: str
    low_c: float
    high_c: float
    to_c: float


@dataclass(frozen=True)
class Borrowed(Remark):
    """Values of relatives, or their timing, as "value from set"."""

    names: tuple[str, ...]
    timing: bool


@dataclass(frozen=True)
class MixedKinds(Remark):
    """Nobody told the flukes apart: a share of the ponds hold the second of two kinds, the names of the sets [-]."""

    kinds: tuple[str, str]
    second_share: float


@dataclass(frozen=True)
class LongerThanSafe(Remark):
    """The recommended gap is longer than the longest at which no settler can lay [d]."""

    gap_days: float
    safe_days: float


@dataclass(frozen=True)
class NotNeeded(Remark):
    """In the reference pond the aim of control is met without a dose; its chance [-]."""

    chance: float


@dataclass(frozen=True)
class NoRoom(Remark):
    """Every gap worth trying is longer than a course may wait."""


@dataclass(frozen=True)
class NoEradication(Remark):
    """No course reaches the mean probability of elimination that is wanted; the best one searched."""

    best: Regimen
    wanted: float


@dataclass(frozen=True)
class Control:
    """The course that keeps the burden low, and what it was compared with, all on the same draws.

    Parameters
    ----------
    aim : Aim
    why : str
        fewest, custom or best, as the decision has it.
    course : Regimen
    check_day : float
        From this day on the burden has to be low [d].
    untreated : float
        Chance of the aim without a dose [-].
    one_more, one_less : Regimen or None
        The same course with one dose more, and one less.
    fewer_as_good, more_better : bool
        As in `Recommendation`.
    """

    aim: Aim
    why: str
    course: Regimen
    check_day: float
    untreated: float
    one_more: Regimen | None
    one_less: Regimen | None
    fewer_as_good: bool
    more_better: bool

    @property
    def aim_met(self) -> bool:
        """Whether the course reaches the aim with the chance that it asks for."""
        return (self.course.chance or 0.0) >= self.aim.chance

    @property
    def fewer_may_do(self) -> bool:
        """Whether one dose less lies so near the aim that the draws cannot say that it misses it."""
        less = self.one_less
        return self.aim_met and less is not None and (less.chance or 0.0) >= self.aim.chance - UNSURE

    @property
    def may_miss(self) -> bool:
        """Whether the course lies so near the aim that the draws cannot say that it meets it."""
        return self.aim_met and (self.course.chance or 0.0) < self.aim.chance + UNSURE


@dataclass(frozen=True)
class IntervalAnswer(Result):
    """The answer to `burden interval`. Courses are None where no number of doses serves, with the reason."""

    parasite: str
    title: str
    temperature_c: float
    agent: str
    mg_l: float
    hours: float
    seed: int
    draws: int
    windows: Windows | None
    control: Control | None
    eradication: Regimen | None
    why_not: Mapping[str, Remark | str]
    customary: Sequence[tuple[Regimen, str]]
    extrapolated: Sequence[str]
    sources: Sequence[str]
    remarks: Sequence[Remark | str]
    nearest_eradication: Regimen | None = None
    courses: Sequence[Regimen] = field(default=())
    two_weeks_safe_below_c: CredibleInterval = field(default_factory=CredibleInterval.missing)

    @property
    def bath(self) -> str:
        """The bath of every dose."""
        return f"{plain(self.mg_l)} mg/L for {plain(self.hours)} h"

    @property
    def recommended(self) -> Regimen | None:
        """The course to control flukes; the best there is where none meets the aim."""
        return None if self.control is None else self.control.course

    @property
    def reasons(self) -> dict[str, str]:
        """Why a course is None, in words."""
        return {aim: text_of(why) for aim, why in self.why_not.items()}

    @property
    def warnings(self) -> list[str]:
        """What is extrapolated, borrowed or longer than safe, in words."""
        return list(map(text_of, self.remarks))

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        names = (
            "first_hatch_days",
            "mean_hatch_days",
            "last_hatch_days",
            "earliest_maturity_days",
            "longest_safe_gap_days",
            "last_dose_not_before_day",
        )
        triples = self.windows.triples() if self.windows else dict.fromkeys(names, CredibleInterval.missing())
        window = self.windows.two_dose_window() if self.windows else None
        chance = float(np.mean(self.windows.two_doses_suffice)) if self.windows else None
        return {
            **frame(self.seed, self.draws),
            "parasite": self.parasite,
            "temperature_c": self.temperature_c,
            "agent": self.agent,
            "bath": self.bath,
            **{name: triples[name].as_dict() for name in names},
            "two_dose_window_days": list(window) if window else None,
            "two_dose_window_probability": number(chance),
            "recommended": _json(self.recommended),
            "eradication": _json(self.eradication),
            "nearest_eradication": _json(self.nearest_eradication),
            **self._of_control(),
            "custom": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "two_weeks_safe_below_c": self.two_weeks_safe_below_c.as_dict(),
            "reasons": self.reasons,
            "customary": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "extrapolated": list(self.extrapolated),
            "sources": list(self.sources),
            "warnings": self.warnings,
            "remarks": [remark.as_dict() for remark in self.remarks if isinstance(remark, Remark)],
        }

    def _of_control(self) -> dict[str, Any]:
        """What stands beside the course recommended; the same keys where there is none."""
        c = self.control
        return {
            "aim": c and c.aim.as_dict(),
            "aim_met": c and c.aim_met,
            "why": c and c.why,
            "check_day": c and c.check_day,
            "untreated_chance": c and number(c.untreated),
            "one_more": c and _json(c.one_more),
            "one_less": c and _json(c.one_less),
            "fewer_as_good": c and (c.fewer_as_good or c.fewer_may_do),
            "more_better": c and c.more_better,
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return every course computed, a row each."""
        return [
            {
                "gap_days": c.gap_days,
                "doses": c.doses,
                "survivors_per_1000": c.survivors_per_1000.median,
                "survivors_low": c.survivors_per_1000.low,
                "survivors_high": c.survivors_per_1000.high,
                "elimination_probability": c.elimination_probability.mean,
            }
            for c in self.courses
        ]


def _json(course: Regimen | None) -> dict[str, Any] | None:
    return None if course is None else course.as_dict()

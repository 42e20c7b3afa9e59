"""What a search comes to: the schedule to give, what it was compared with, and how surely it is the better one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.schedule.aim import Aim
from burden.schedule.candidates import Underway
from burden.schedule.customary import Custom
from burden.schedule.evaluation import EvaluatedSchedule

__all__ = ["WHY_CHOSEN", "Compared", "Recommendation"]

#: why a schedule was chosen. fewest: the fewest doses that meet the aim. near: one dose fewer than that, as it comes so
#: near that another seed may find the aim met. custom: no schedule is clearly better than the customary course.
#: goes_on: what is left of the customary course under way is likely enough. best: none meets the aim, this one comes
#: nearest. none_needed: without a dose the aim is met. no_plan: no dose can be given within the limits
WHY_CHOSEN = ("fewest", "near", "custom", "goes_on", "best", "none_needed", "no_plan")


@dataclass(frozen=True)
class Compared:
    """A schedule that stands beside the one recommended.

    Parameters
    ----------
    name : str
        untreated, recommended, one_more, one_less, custom or planned; best in place of recommended where the decision
        gives no dose.
    schedule : EvaluatedSchedule
    custom : Custom or None
        Where it is one.
    """

    name: str
    schedule: EvaluatedSchedule
    custom: Custom | None = None

    def as_dict(self, aim: Aim) -> dict[str, Any]:
        """Return the JSON form, with the chance of an aim."""
        return {
            "name": self.name,
            "chance": self.schedule.chance(aim),
            "custom": None if self.custom is None else self.custom.as_dict(),
            **self.schedule.as_dict(),
        }


@dataclass(frozen=True)
class Recommendation:
    """What is recommended, and what it was compared with; every schedule on the same draws.

    Parameters
    ----------
    aim : Aim
    untreated : EvaluatedSchedule
        No further dose.
    recommended : EvaluatedSchedule or None
        The schedule to give from today on; None where no dose can be given, or none is needed.
    why : str
        One of `WHY_CHOSEN`.
    compared : tuple of Compared
        Every schedule shown, the one recommended among them.
    fewer_as_good : bool
        Whether the draws cannot tell this number of doses from one fewer.
    more_better : bool
        Whether the draws show that one dose more does better.
    underway : Underway or None
        The course that has begun, so that its doses are counted on.
    change_water_first : bool
        Whether what earlier doses left in the water has to go before the next.
    risks : tuple of str
        Which differences decided between schedules that do as well: other_findings, formalin, agents.
    """

    aim: Aim
    untreated: EvaluatedSchedule
    recommended: EvaluatedSchedule | None
    why: str
    compared: tuple[Compared, ...] = ()
    fewer_as_good: bool = False
    more_better: bool = False
    underway: Underway | None = None
    change_water_first: bool = False
    risks: tuple[str, ...] = ()

    @property
    def given(self) -> int:
        """Doses of the course that has begun."""
        return 0 if self.underway is None else self.underway.doses

    @property
    def saves(self) -> float:
        """Fish that the recommended schedule saves from the flukes, in the median; none where there is none [fish]."""
        if self.recommended is None:
            return 0.0
        return float(np.median(self.untreated.mean_fluke_deaths - self.recommended.mean_fluke_deaths))

    @property
    def aim_met(self) -> bool:
        """Whether what is recommended, or doing nothing, meets the aim."""
        return (self.recommended or self.untreated).meets(self.aim)

    def named(self, name: str) -> EvaluatedSchedule | None:
        """Return a schedule compared, by its name; None where there is none."""
        return next((one.schedule for one in self.compared if one.name == name), None)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "aim": self.aim.as_dict(),
            "why": self.why,
            "recommended": None if self.recommended is None else self.recommended.as_dict(),
            "compared": [one.as_dict(self.aim) for one in self.compared],
            "fewer_as_good": self.fewer_as_good,
            "more_better": self.more_better,
            "doses_given": self.given,
            "change_water_first": self.change_water_first,
            "risks": list(self.risks),
        }

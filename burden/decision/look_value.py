"""What a look at a pond is worth: the harm it avoids by changing what is done, in fish.

A pond is either given a course or left alone. Left alone, flukes kill fish or stay too many; a course costs what a vet
would give it for. A look shows a count, and the count may change which of the two costs less. Expected value of sample
information (Raiffa and Schlaifer 1961, Applied Statistical Decision Theory), over the draws of the decision itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.decision.action import LIKELY, WORTH_FISH, WORTH_SHARE
from burden.decision.assessment import Assessment
from burden.decision.look_counts import counts_seen
from burden.decision.look_records import NextLook, Outcome
from burden.decision.next_look import look_today
from burden.inference.infection_pressure import withheld_forecast
from burden.schedule.evaluation import EvaluatedSchedule
from burden.utils.results import number

__all__ = ["NUMBERS", "Look", "PondValue", "look_at", "value_of_pond"]

#: numbers of fish a look is weighed for; a vet nets no more in a visit: common practice, no source
NUMBERS = (3, 5, 8, 10, 15, 20, 30)
#: courses that a pond left with too many flukes counts as: two, so that an even chance of it is worth one course, as
#: from `burden.decision.action.LIKELY` on the decision gives one
_TOO_MANY_COUNTS = 1 / LIKELY
#: chance of a change below which no fish is netted for it: an assumption [-]
_LEAST_CHANCE = 0.05
#: fish lost for each that is netted, sedated and clipped: an assumption
_LOST_BY_HANDLING = 0.002


@dataclass(frozen=True)
class Look:
    """A look at so many fish of one pond.

    Parameters
    ----------
    fish : int
    value : float
        Fish it saves on average, less those lost by handling [fish].
    chance : float
        That it changes what is done [-].
    worth : float
        What the change then saves on average; 0 where none is likely [fish].
    plan : NextLook or None
        The look itself, with what each count leads to, as the decision has it.
    """

    fish: int
    value: float
    chance: float
    worth: float
    plan: NextLook | None = None

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """What each count leads to."""
        return () if self.plan is None else self.plan.outcomes

    @property
    def more_than(self) -> int | None:
        """Flukes in all preparations above which a dose follows; None where none does whatever is counted."""
        below = [one for one in self.outcomes if one.action != "dose"]
        limits = [one.flukes_max for one in below]
        return None if len(below) == len(self.outcomes) or None in limits else max((n or 0 for n in limits), default=-1)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "fish": self.fish,
            "value": number(self.value),
            "chance_of_change": number(self.chance),
            "saved_if_changed": number(self.worth),
            "course_if_more_flukes_than": self.more_than,
            "outcomes": [one.as_dict() for one in self.outcomes],
        }


@dataclass(frozen=True)
class PondValue:
    """What looks at one pond are worth.

    Parameters
    ----------
    action : str
        Today's, as the decision has it.
    why_not : str
        Code of why no look is weighed: no_fish, not_foretold, no_course, water, virus, newcomers, under_way; empty
        where looks are.
    fish_there : int
    lost_untreated, lost_treated : float
        Fish that flukes kill by the horizon, on average [fish].
    high_untreated, high_treated : float
        Chance that flukes stay too many [-].
    course_costs : float
        What a course counts for [fish].
    course_first : bool
        Whether the decision gives a course without a look.
    looks : tuple of Look
        By rising number of fish.
    """

    action: str
    why_not: str
    fish_there: int
    lost_untreated: float
    lost_treated: float
    high_untreated: float
    high_treated: float
    course_costs: float
    course_first: bool
    looks: tuple[Look, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "action": self.action,
            "why_no_look": self.why_not,
            "fish_lost_untreated": number(self.lost_untreated),
            "fish_lost_treated": number(self.lost_treated),
            "chance_high_untreated": number(self.high_untreated),
            "chance_high_treated": number(self.high_treated),
            "course_counts_as_fish": number(self.course_costs),
            "course_by_what_is_known": self.course_first,
            "looks": [look.as_dict() for look in self.looks],
        }


def value_of_pond(found: Assessment) -> PondValue:
    """Weigh looks at a pond on the day of its assessment.

    Parameters
    ----------
    found : Assessment

    Notes
    -----
    A course counts as the fish it must save before the decision would give it (`burden.decision.action`): half a fish,
    or half a percent of a larger stock; and too many flukes as two courses.
    """
    case, left = found.case, found.decision.recommendation.untreated
    course, aim = _course(found), found.decision.recommendation.aim
    costs = max(WORTH_FISH, WORTH_SHARE * case.fish_count)
    if (why := _why_not(found, course)) or course is None:
        return PondValue(found.decision.action, why, case.fish_count, np.nan, np.nan, np.nan, np.nan, costs, False)
    high, high_treated = 1 - left.reached(aim), 1 - course.reached(aim)
    saved = left.mean_fluke_deaths - course.mean_fluke_deaths + costs * (_TOO_MANY_COUNTS * (high - high_treated) - 1)
    there = case.fish_count
    numbers = [n for n in NUMBERS if n < there] + ([there] if there <= NUMBERS[-1] else [])
    return PondValue(
        found.decision.action,
        "",
        there,
        float(left.mean_fluke_deaths.mean()),
        float(course.mean_fluke_deaths.mean()),
        float(high.mean()),
        float(high_treated.mean()),
        costs,
        found.decision.action == "dose",
        tuple(_weighed(found, n, saved) for n in numbers),
    )


def _weighed(found: Assessment, fish: int, saved: np.ndarray) -> Look:
    """Weigh a look at so many fish; its results lead where those of the decision's own look would."""
    decision = found.decision
    look = look_today(found.case, found.estimates, decision.recommendation, numbers=(fish,))
    return look_at(fish, _counts(found, fish), saved, look, decision.action == "dose")


def _course(found: Assessment) -> EvaluatedSchedule | None:
    """The course that would be given: that recommended, else the best, else the customary one."""
    searched = found.decision.recommendation
    named = (searched.named(name) for name in ("recommended", "best", "custom"))
    return searched.recommended or next((one for one in named if one is not None and one.doses), None)


def _why_not(found: Assessment, course: EvaluatedSchedule | None) -> str:
    if found.case.fish_count == 0:
        return "no_fish"
    if found.decision.action == "water_first":
        return "water"  # the water has to be right before any count leads to a dose
    if withheld_forecast(found.case):
        return "not_foretold"
    if "virus_suspected" in found.case.findings.diseases:
        return "virus"
    if found.decision.recommendation.aim.kind == "eradicate":
        return "newcomers"
    if found.decision.action == "dose" and found.decision.recommendation.underway is not None:
        return "under_way"  # a course begun goes on; the look after its last dose judges it
    return "no_course" if course is None else ""


def _counts(found: Assessment, fish: int) -> np.ndarray:
    """Flukes that so many fish would show today, all parasite sets together, shape (M,)."""
    today = found.decision.recommendation.untreated.burden_on(0.0)
    return np.sum([counts_seen(e, burden, fish) for e, burden in zip(found.estimates, today, strict=True)], axis=0)


def look_at(fish: int, counts: np.ndarray, saved: np.ndarray, plan: NextLook, course: bool) -> Look:
    """Weigh one look.

    Parameters
    ----------
    fish : int
        Looked at.
    counts : numpy.ndarray
        Flukes they show, draw by draw, shape (M,).
    saved : numpy.ndarray
        Fish that a course saves, less what it counts for; below 0 where it costs more than it saves, shape (M,).
    plan : NextLook
        What each count leads to, by the decision's own rule.
    course : bool
        Whether a course is given without a look.

    Notes
    -----
    A gain within its standard error counts as none, and so does one that hangs on a change that hardly ever comes.
    """
    leads = [one.action == "dose" for one in plan.outcomes]
    limits = [np.inf if one.flukes_max is None else one.flukes_max for one in plan.outcomes]
    treat = np.array(leads)[np.searchsorted(limits, counts).clip(max=len(limits) - 1)]
    gain = saved * (treat.astype(float) - course)
    value = float(gain.mean())
    chance = sum(one.chance for one, dose in zip(plan.outcomes, leads, strict=True) if dose != course)
    if value <= gain.std() / np.sqrt(gain.size) or chance < _LEAST_CHANCE:  # no more than the draws may show of nothing
        value = 0.0
    worth = value / chance if value > 0 else 0.0
    return Look(fish, value - _LOST_BY_HANDLING * fish, chance, worth, plan)

"""Ways of treating a pond that is visited every two weeks: by the tool, by custom, at every sight, never."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from burden.case import Action, Case
from burden.decision import Decision, decide
from burden.inference.sampler import TooFewDrawsError

__all__ = ["WAYS", "Told", "Visit", "Way", "by_tool", "custom", "custom_at_sight", "dose_on", "every_sight", "never"]

#: most fish looked at beside the first few of a visit: common practice, no source
MORE_FISH = 10
#: custom: doses of a course; days between two by the least temperature they are meant for; counts a clip, of those of
#: the first course, from which a relapse is clear; least days after the last dose at which one is told
_COURSE, _GAPS = 3, ((23.0, 5), (15.0, 7), (-np.inf, 14))
_RELAPSE, _RELAPSE_AFTER_DAYS = 0.5, 14
#: strength and hours of the customary baths [mg/L], [h]
_BATHS = {"praziquantel": (5.0, 24.0), "formalin": (25.0, 24.0)}


@dataclass(frozen=True)
class Visit:
    """What a way of treating knows on one visit.

    Parameters
    ----------
    case : Case
    again : callable
        Looks at so many more fish today, and returns the case with them in it.
    """

    case: Case
    again: Callable[[int], Case]


@dataclass
class Told:
    """What a way answers: doses from now on, and for the tool what it said."""

    doses: tuple[Action, ...] = ()
    case: Case | None = None
    said: dict[str, object] = field(default_factory=dict)


Way = Callable[[Visit], Told]


def by_tool(draws: int) -> Way:
    """Return the way of the tool, asked with so many draws."""

    def tool(visit: Visit) -> Told:
        case, began = visit.case, time.process_time()
        decision = _asked(case, draws)
        first = "refused" if decision is None else decision.action
        if decision is not None and decision.look is not None and _more_today(decision):
            case = visit.again(min(decision.look.fish, MORE_FISH))
            decision = _asked(case, draws)
        seconds = time.process_time() - began
        if decision is None:
            return Told((), case, {"first": first, "action": "refused", "seconds": seconds})
        return Told(_actions(decision), case, {"first": first, **_said(decision), "seconds": seconds})

    return tool


def _asked(case: Case, draws: int) -> Decision | None:
    try:
        return decide(case, draws=draws, seed=1)
    except TooFewDrawsError:
        return None


def _more_today(decision: Decision) -> bool:
    return decision.action == "look_first" and decision.look is not None and decision.look.purpose == "more_fish"


def _actions(decision: Decision) -> tuple[Action, ...]:
    return tuple(dose_on(d.date, d.agent, d.mg_l, d.hours) for d in decision.plan)


def dose_on(when: date, agent: str, mg_l: float, hours: float) -> Action:
    return Action(when, agent=agent, route="bath", mg_l=mg_l, hours=hours)


def _said(decision: Decision) -> dict[str, object]:
    """Action, reasons and chances, and what is planned."""
    found, numbers = decision.recommendation, decision.reasons[0].numbers
    return {
        "action": decision.action,
        "reasons": " ".join(reason.code for reason in decision.reasons),
        "plan": " ".join(f"{d.day:g}:{d.agent[:4]}" for d in decision.plan),
        "why": found.why,
        "present": numbers["chance_present"],
        "high_now": numbers["chance_high_now"],
        "high": numbers["chance_high"],
        "aim_planned": decision.chances.get("aim_planned", ""),
        "check_day": found.untreated.check_day,
    }


def custom(visit: Visit) -> Told:
    """The customary course once a fluke is seen, carried through, and again on a clear relapse."""
    return _course_again(visit, _RELAPSE)


def custom_at_sight(visit: Visit) -> Told:
    """The customary course once a fluke is seen, carried through, and again as soon as a fluke is seen after it."""
    return _course_again(visit, 0.0)


def _course_again(visit: Visit, relapse: float) -> Told:
    case = visit.case
    given, today = case.doses_given, case.visit_date
    gap = next(days for least, days in _GAPS if case.water.temperature.temperatures_c[-1] >= least)
    left = -len(given) % _COURSE
    if left:
        return Told(_course(case, max(given[-1].date + timedelta(gap), today), left, gap))
    seen = _a_clip(case, today)
    first = max((r.date for r in case.samples if given and r.date <= given[0].date), default=today)
    waited = not given or (today - given[-1].date).days >= _RELAPSE_AFTER_DAYS
    if seen > 0 and waited and seen >= relapse * _a_clip(case, first):
        return Told(_course(case, today + timedelta(1), _COURSE, gap))
    return Told()


def _course(case: Case, start: date, doses: int, gap: int) -> tuple[Action, ...]:
    """The last `doses` of a course of three."""
    line = ["praziquantel", "formalin" if gap == _GAPS[-1][1] else "praziquantel", "praziquantel"][_COURSE - doses :]
    return tuple(dose_on(start + timedelta(i * gap), agent, *_BATHS[agent]) for i, agent in enumerate(line))


def _a_clip(case: Case, day: date) -> float:
    """Flukes a clip on a day."""
    rows = case.samples_on(day)
    return sum(row.count_low for row in rows) / max(len(rows), 1)


def every_sight(visit: Visit) -> Told:
    """A dose on the day after each visit that shows a fluke."""
    case = visit.case
    seen = _a_clip(case, case.visit_date) > 0
    return Told((dose_on(case.visit_date + timedelta(1), "praziquantel", *_BATHS["praziquantel"]),) if seen else ())


def never(visit: Visit) -> Told:
    """No dose."""
    return Told()


#: ways beside the tool
WAYS: dict[str, Way] = {
    "custom": custom,
    "custom at sight": custom_at_sight,
    "every sight": every_sight,
    "never": never,
}

"""From which chance a result of the next look asks for a dose: that of the action on that day."""

from __future__ import annotations

from burden.case import Case
from burden.decision.action import FEW_NOW, LIKELY, WELL_FISH
from burden.decision.agents_tried import usual_doses
from burden.decision.facts import trouble_in
from burden.decision.grounds import Grounds
from burden.schedule.evaluation import EvaluatedSchedule

__all__ = ["chance_due", "short_of_usual"]


def short_of_usual(grounds: Grounds, shown: EvaluatedSchedule) -> bool:
    """Whether a course has fewer doses than a usual one after all that are planned, so that it may go on.

    Parameters
    ----------
    grounds : Grounds
    shown : EvaluatedSchedule
        The schedule to be given.
    """
    lays = any(e.pond.has_windows for e in grounds.estimates)
    doses = grounds.found.given + shown.doses
    return lays and doses < usual_doses(grounds.estimates) and not trouble_in(grounds.case)


def chance_due(case: Case) -> float:
    """Return the chance of too many on the day of a later look from which a dose follows, as the action has it [-].

    Parameters
    ----------
    case : Case
    """
    if trouble_in(case):
        return FEW_NOW
    seen = any(row.count_low > 0 for row in case.samples if row.readable)
    return LIKELY if case.doses_given or seen else WELL_FISH

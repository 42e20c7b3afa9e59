"""The next look beside a harvest: in time for a last dose where it can tell something by then, else with what is left.

Food fish have a last day for a dose: the harvest less the withdrawal. A look after it can ask for no dose that leaves
the harvest where it is.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from burden.case import Case
from burden.decision.facts import LOOKS_APART_DAYS, harvest_soon, trouble_in
from burden.decision.grounds import Grounds
from burden.decision.look_counts import plain_look
from burden.decision.look_dates import LOOK_SOON_DAYS, SOONEST_DAYS
from burden.decision.look_records import NextLook, Outcome
from burden.schedule.candidates import gone_day, least_gap
from burden.schedule.evaluation import EvaluatedSchedule

__all__ = ["beside_harvest", "day_in_time"]


def day_in_time(grounds: Grounds, shown: EvaluatedSchedule | None, usual: float) -> float:
    """Return the day of the next look: the usual one, or a sooner one from which a dose is still in time [d].

    Parameters
    ----------
    grounds : Grounds
    shown : EvaluatedSchedule or None
        The schedule to be given.
    usual : float
        Where nothing is harvested [d].

    Notes
    -----
    Soonest on the day on which a dose may follow the last, or a week after a look that asked for none; before that it
    tells nothing. Where no day is left the look stays where it is.
    """
    case, last = grounds.case, _last_day(grounds, shown)
    if usual <= last:
        return usual
    soonest = SOONEST_DAYS if shown is None else shown.plan.days[-1] + least_gap(case)
    begun = shown is not None or grounds.found.underway is not None or case.limits.first_dose == "today"
    before = 0 if begun else 1  # a few fish are treated on the day of the look, the pond on the next
    possible = (day for day in range(int(last), int(soonest) - 1, -1) if _possible(case, day))
    found = next((float(day - before) for day in possible), -1.0)
    return found if found >= soonest else usual


def _possible(case: Case, day: int) -> bool:
    return case.dose_possible_on(case.visit_date + timedelta(days=day))


def beside_harvest(grounds: Grounds, shown: EvaluatedSchedule | None, look: NextLook) -> NextLook:
    """Return a look with what can still be done after it: fish to be harvested are looked at then, or dosed in time.

    Parameters
    ----------
    grounds : Grounds
    shown : EvaluatedSchedule or None
        The schedule to be given.
    look : NextLook
        As it would be without a harvest.
    """
    case, gone = grounds.case, gone_day(grounds.case)
    if _put_off(grounds, shown):
        return look
    too_near = harvest_soon(case, look.date) and not trouble_in(case)
    late = too_near or look.day > _last_day(grounds, shown)
    if late:
        look = replace(look, outcomes=tuple(map(_too_late, look.outcomes)), late_for=case.harvest_date)
    if not 0 < gone < np.inf or look.date <= case.visit_date:
        return look
    leads_to = {one.action for one in look.outcomes}
    idle = bool(leads_to) and leads_to <= {"watch", "harvest"} and shown is None
    if look.day >= gone or idle or (late and look.day + LOOKS_APART_DAYS > gone):
        return plain_look(case, gone, "harvest")  # those that are killed show what the others carry
    return _until(look, case, gone)


def _until(look: NextLook, case: Case, gone: float) -> NextLook:
    """The look with no other dated beyond the day on which all fish are harvested."""
    end = case.visit_date + timedelta(days=int(gone))
    again = look.again or (look.date + timedelta(days=int(LOOK_SOON_DAYS)))
    near = look.clean_from is not None and look.clean_from + timedelta(days=LOOKS_APART_DAYS) > end
    return replace(look, again=end if again >= end else look.again, clean_from=None if near else look.clean_from)


def _too_late(one: Outcome) -> Outcome:
    return replace(one, action="harvest") if one.action == "dose" else one


def _put_off(grounds: Grounds, shown: EvaluatedSchedule | None) -> bool:
    """Whether the harvest planned comes too early after doses given, or after those of the schedule."""
    ends = grounds.withdrawals_given if shown is None else grounds.withdrawals
    return any(one.harvest is not None for one in ends)


def _last_day(grounds: Grounds, shown: EvaluatedSchedule | None) -> float:
    """Last day on which a dose of any agent does not put the harvest off; infinity where there is none [d]."""
    if _put_off(grounds, shown):
        return np.inf
    return max((grounds.found.aim.last_days.get(agent, np.inf) for agent in grounds.agents), default=np.inf)

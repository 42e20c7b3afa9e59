"""Which dates and agents are worth evaluating: every limit of the case holds in each of them.

Gaps are counted in development, not in days: a candidate repeats after a fixed share of what an egg needs to hatch, so
in warming water its dates draw together by themselves. Customary courses stand among the candidates under their name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from burden.case import Action, Case
from burden.evidence import agent_names, load_agent
from burden.inference.prior import Ensemble
from burden.inference.temperature_ahead import dates_hold_until
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.treatment.flowing_bath import bath_in_flow
from burden.treatment.residues import builds_up

__all__ = [
    "COLD_C",
    "DEFAULT_MOST_DOSES",
    "FORMALIN_REST_DAYS",
    "LEAST_GAP_DAYS",
    "LIVE_BEARER_DOSES",
    "LONGEST_GAP_DAYS",
    "MOST_DOSES",
    "NO_END",
    "PLANNED_AHEAD_DAYS",
    "Underway",
    "allowed",
    "candidate_plans",
    "course_dates",
    "first_days",
    "gone_day",
    "in_season",
    "in_time",
    "least_gap",
    "nearest_possible",
    "one_more",
    "rest_of",
    "underway",
    "usual_gap_days",
]

LONGEST_GAP_DAYS = 45
#: doses planned at once to control flukes: then the fish are looked at before more are planned (common practice, no
#: source)
DEFAULT_MOST_DOSES = 4
#: the same against live-bearers, which have no eggs to wait for: common practice, no source
LIVE_BEARER_DOSES = 3
#: no dose outdoors is dated later than this after the first of a course: the weather decides by then, and fish are
#: looked at again (common practice, no source) [d]
PLANNED_AHEAD_DAYS = 35
#: doses up to which a course is of one agent
_ONE_AGENT_UP_TO = 2
#: days before the harvest in which no further bath is given, as what hatches does no harm by then: an assumption [d]
_NO_MORE_DAYS = 7
#: last days of agents where none has one
NO_END: Mapping[str, float] = MappingProxyType({})
#: most doses of a course, whatever a case allows
MOST_DOSES = 8
#: least days between two baths that are left in the water for half a day or longer, before each of which fish are not
#: fed: common practice, no source ("every fourth day at the most")
LEAST_GAP_DAYS = 4.0
#: least days between two baths that hold formalin: common practice, no source ("not to be given too often")
FORMALIN_REST_DAYS = 7
#: gaps tried, in mean durations of hatching; after longer ones the first larvae of an egg laid in between have settled,
#: grown up and laid
_GAPS = (0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6)
_USUAL_GAP = 1.2
#: gaps after which the next dose of a course under way may fall due, in the same unit
_NEXT_GAPS = (0.8, 1.2, 1.75)
#: water in which fish that are well are left in peace, and below which no dose of a course begun in warmer water is
#: dated: what hatches then waits for spring (common practice, no source) [°C]
COLD_C = 8.0
#: a dose given longer ago than this, or than three times the time an egg takes to hatch, began no course that is still
#: under way: an assumption [d]
_COURSE_OVER_DAYS = 21.0
#: a dose weaker than this share of the customary one began no course: an assumption [-]
_COUNTS_FROM = 0.6


@dataclass(frozen=True)
class Underway:
    """A course that has begun: doses given, the day of the last one, its agent, and whether fish are clean since.

    Parameters
    ----------
    doses : int
        Given so far in this course.
    last_day : float
        Day of the last one, from the visit on: 0 or negative [d].
    agent : str
    clean : bool
        Whether fish were looked at since, and none showed a fluke.
    """

    doses: int
    last_day: float
    agent: str
    clean: bool = False


def underway(case: Case, pond: Ensemble, spent: Sequence[str] = ()) -> Underway | None:
    """Return the course under way, or None where no dose that counts was given lately.

    Parameters
    ----------
    case : Case
    pond : Ensemble
        For how fast eggs hatch in this water.
    spent : sequence of str
        Agents whose course has failed: it is over.

    Notes
    -----
    A product nobody knows, or a dose far weaker than the customary one, began no course: the first dose is to come.
    """
    doses = [dose for dose in case.doses_given if _counts(dose)]
    if not doses or doses[-1].agent in spent:
        return None
    reach = max(_COURSE_OVER_DAYS, 3 * min(_gap_days(pond, 0.0, 1.0), LONGEST_GAP_DAYS))
    count, after = 0, 0
    for action in reversed(doses):
        day = case.day_of(action.date)
        if after - day > reach or action.agent in spent:
            break
        count, after = count + 1, day
    if not count:
        return None
    last = doses[-1]
    shown = [row.count_low > 0 for row in case.samples if row.readable and row.date > last.date]
    return Underway(count, float(case.day_of(last.date)), last.agent or "unknown", clean=bool(shown) and not any(shown))


def _counts(dose: Action) -> bool:
    """Whether a dose is one of a course: of an agent that is known, and not far weaker than it is given."""
    if dose.agent not in agent_names():
        return False
    strength = dose.concentration_mg_l
    return strength is None or strength >= _COUNTS_FROM * load_agent(dose.agent).customary.mg_l


def first_days(case: Case, pond: Ensemble, not_before: float = 0.0, spent: Sequence[str] = ()) -> tuple[float, ...]:
    """Days on which the next dose may go in, the earliest first; empty where none does within three weeks.

    Parameters
    ----------
    case : Case
    pond : Ensemble
        For how fast eggs hatch in this water.
    not_before : float
        Until then the water is put right [d].
    spent : sequence of str
        Agents whose course has failed: another begins.

    Notes
    -----
    A few fish are treated on the day of the visit and the pond on the next (common practice, no source), unless the
    case says otherwise or the fish had the agent before. Within a course the next dose may wait for its own day. The
    fish of a cage were fed this morning, and boat and tarpaulin are not there: no bath today either.
    """
    course = underway(case, pond, spent)
    known = case.limits.first_dose == "today" or (course is not None and case.water.kind != "cage")
    earliest = _next_possible(case, max(0.0 if known else 1.0, not_before))
    if earliest is None:
        return ()
    if course is None:
        return (earliest,)
    least = course.last_day + least_gap(case)
    due = [course.last_day + _gap_days(pond, course.last_day, gap) for gap in _NEXT_GAPS]
    days = [nearest_possible(case, day, max(least, earliest)) for day in (earliest, *due) if math.isfinite(day)]
    return tuple(sorted({day for day in days if day is not None}))


def candidate_plans(
    case: Case,
    pond: Ensemble,
    agents: Sequence[str],
    doses: int,
    carried: bool = True,
    not_before: float = 0.0,
    spent: Sequence[str] = (),
    until: Mapping[str, float] = NO_END,
) -> list[DoseSchedule]:
    """Schedules of so many doses worth evaluating, each once.

    Parameters
    ----------
    case : Case
        Its limits hold: days on site, shortest gap, formalin in all, what stays in the water.
    pond : Ensemble
        For how fast eggs hatch in this water.
    agents : sequence of str
        Agents that may be given.
    doses : int
        Still to be given.
    carried : bool
        Whether what was given before is still in the water.
    not_before : float
        Until then the water is put right [d].
    spent : sequence of str
        Agents whose course has failed: another begins.
    until : mapping of str to float
        Last day of an agent, where it has one [d].
    """
    plans: dict[DoseSchedule, None] = {}
    for first in first_days(case, pond, not_before, spent):
        for line in _lines(agents, doses):
            for gap in _GAPS if doses > 1 else _GAPS[:1]:
                days = course_dates(case, first, doses, partial(_waited, pond, gap, rest_of(line)))
                if days is None or not allowed(case, days, line, carried):
                    continue
                if in_season(pond, days) and in_time(days, line, until):
                    plans[DoseSchedule(tuple(days), line)] = None
    return list(plans)


def one_more(
    case: Case, pond: Ensemble, plan: DoseSchedule, until: Mapping[str, float] = NO_END
) -> DoseSchedule | None:
    """Return the same schedule with one dose more at its own gap, or None where the limits allow none.

    Parameters
    ----------
    case : Case
    pond : Ensemble
        For how fast eggs hatch, where the schedule has no gap of its own.
    plan : DoseSchedule
        At least one dose.
    until : mapping of str to float
        As `candidate_plans` takes it.
    """
    days = plan.days
    gap = days[-1] - days[-2] if len(days) > 1 else _gap_days(pond, days[-1], 1.0)
    if not gap <= LONGEST_GAP_DAYS:
        return None
    least = days[-1] + least_gap(case)
    day = nearest_possible(case, days[-1] + gap, least)
    agents = (*plan.agents, plan.agents[-2] if len(plan.agents) > 1 else plan.agents[-1])
    if day is None or day > dates_hold_until(case) or not allowed(case, (*days, day), agents):
        return None
    if not in_season(pond, (*days, day)) or not in_time((*days, day), agents, until):
        return None
    return DoseSchedule((*days, day), agents)


def _lines(agents: Sequence[str], doses: int) -> list[tuple[str, ...]]:
    """Orders of agents: one agent throughout, or from three doses on another in turn; each agent alone always stands
    among them, so that one agent more at hand never makes a course worse."""
    alone = [(agent,) * doses for agent in agents]
    if doses <= _ONE_AGENT_UP_TO:
        return alone
    turns = [
        tuple(main if i % 2 == 0 else other for i in range(doses))
        for main in agents
        for other in agents
        if other != main
    ]
    # a dose whose agent must not come often is best not the first choice by turns
    return alone + [line for line in turns if line.count("formalin") <= doses // 2]


def least_gap(case: Case) -> float:
    """Return the least days between two doses: as the case says, else as custom has it [d].

    Parameters
    ----------
    case : Case
    """
    return LEAST_GAP_DAYS if case.limits.shortest_gap_days is None else max(case.limits.shortest_gap_days, 1.0)


def _next_possible(case: Case, day: float) -> float | None:
    """First day from `day` on, within three weeks, on which the limits let a dose go in."""
    for step in range(22):
        if case.dose_possible_on(case.visit_date + timedelta(days=int(day) + step)):
            return float(int(day) + step)
    return None


def course_dates(case: Case, first: float, count: int, gap_at: Callable[[float], float]) -> list[float] | None:
    """Dates of a course, each so long after the one before, on days on which a dose can go in [d].

    Parameters
    ----------
    case : Case
    first : float
        Day of the first dose [d].
    count : int
        Doses.
    gap_at : callable
        Days to wait after a dose on a day [d].

    Returns
    -------
    list of float or None
        None where a gap is too long, no day is free, or nobody knows what the water will do by then.
    """
    days = [first]
    least = least_gap(case)
    while len(days) < count:
        wanted = days[-1] + max(gap_at(days[-1]), least)
        if wanted - days[-1] > LONGEST_GAP_DAYS:
            return None
        found = nearest_possible(case, wanted, days[-1] + least)
        if found is None:
            return None
        days.append(found)
    # beyond this day nobody said what the water will do: a dose there cannot be dated
    ahead = np.inf if case.water.outlook == "indoors" else first + PLANNED_AHEAD_DAYS
    return days if days[-1] <= min(dates_hold_until(case), ahead) else None


def nearest_possible(case: Case, wanted: float, earliest: float) -> float | None:
    """Return the day nearest to the wanted one on which a dose can go in, or None where there is none in two weeks.

    Parameters
    ----------
    case : Case
    wanted, earliest : float
        The day wanted, and the first that will do [d].
    """
    for step in range(15):
        for day in (round(wanted) - step, round(wanted) + step):
            if day >= earliest and case.dose_possible_on(case.visit_date + timedelta(days=day)):
                return float(day)
    return None


def usual_gap_days(pond: Ensemble) -> float:
    """Days between doses where custom says nothing: a little more than an egg of today takes to hatch in the mean [d].

    Where the last larva has hatched before the first can lay, no sooner than that.

    Parameters
    ----------
    pond : Ensemble
    """
    usual = min(_gap_days(pond, 0.0, _USUAL_GAP), float(LONGEST_GAP_DAYS))
    parameters = pond.setting.parameters
    if parameters.development is None:
        return usual
    shelter = next(iter(pond.effects.values())).sheltered_fraction
    free = windows_after(parameters, shelter, pond.setting.temperature)
    opens, closes = float(np.median(free.last_hatch)), float(np.median(free.longest_safe_gap))
    return max(usual, float(np.ceil(opens))) if opens <= closes else usual


def rest_of(line: Sequence[str]) -> float:
    """Least days between two doses of a course by its agents: formalin after formalin needs a rest [d].

    Parameters
    ----------
    line : sequence of str
        Agents, one a dose.
    """
    return float(FORMALIN_REST_DAYS) if ("formalin", "formalin") in pairwise(line) else 0.0


def _waited(pond: Ensemble, gap: float, rest: float, day: float) -> float:
    return max(_gap_days(pond, day, gap), rest)


def _gap_days(pond: Ensemble, day: float, gap: float) -> float:
    """Days from `day` until a share `gap` of the mean time to hatch has been done, in the median draw."""
    development = pond.setting.parameters.development
    if development is None:
        return 4.0 * gap  # live-bearers have nothing to wait for; gaps are those a fish and a filter can bear
    done = 0.0
    for step in range(int(LONGEST_GAP_DAYS) * 2 + 2):
        rate = float(np.median(development.hatch.rate(pond.setting.temperature.at(day + 0.5 * step + 0.25))))
        if done + 0.5 * rate >= gap:
            return 0.5 * step + (gap - done) / rate
        done += 0.5 * rate
    return np.inf


def _too_near_harvest(case: Case, days: Sequence[float], line: Sequence[str]) -> bool:
    """Whether an agent after which fish may be eaten at once is given when they are gone, or again just before.

    What asks for a withdrawal has a last day of its own, or puts the harvest off.
    """
    gone = gone_day(case)
    last = (gone, *(gone - _NO_MORE_DAYS for _ in days[1:]))
    each = zip(days, line, last, strict=True)
    return any(day >= end and not load_agent(agent).withdrawal.degree_days for day, agent, end in each)


def gone_day(case: Case) -> float:
    """Return the day on which the last fish are to be harvested: none is bathed from then on; infinity without [d].

    Parameters
    ----------
    case : Case
    """
    return np.inf if case.emptied_on is None else float(case.day_of(case.emptied_on))


def in_time(days: Sequence[float], line: Sequence[str], until: Mapping[str, float]) -> bool:
    """Whether no agent is given after its last day.

    Parameters
    ----------
    days : sequence of float
        [d]
    line : sequence of str
        Agents, one a day.
    until : mapping of str to float
        Last day of an agent, where it has one [d].
    """
    return all(day <= until.get(agent, np.inf) for day, agent in zip(days, line, strict=True))


def in_season(pond: Ensemble, days: Sequence[float]) -> bool:
    """Whether a course begun before the cold ends before it.

    Parameters
    ----------
    pond : Ensemble
        For its water.
    days : sequence of float
        Of the doses, rising [d].
    """
    first, last = (pond.setting.temperature.median_at(day) for day in (days[0], days[-1]))
    return not last < COLD_C <= first


def allowed(case: Case, days: Sequence[float], line: Sequence[str], carried: bool = True) -> bool:
    """Whether the rest between formalin baths, the ceiling of what stays in the water and the case's total hold, and
    the fish are still there to be bathed.

    Parameters
    ----------
    case : Case
    days : sequence of float
        [d]
    line : sequence of str
        Agents, one a day.
    carried : bool
        Whether what was given before is still in the water.
    """
    before = [float(case.day_of(a.date)) for a in case.given if a.agent == "formalin"]
    formalin = [*before[-1:], *(day for day, agent in zip(days, line, strict=True) if agent == "formalin")]
    if any(b - a < FORMALIN_REST_DAYS for a, b in pairwise(formalin)) or builds_up(case, days, line, carried):
        return False
    if _too_near_harvest(case, days, line):
        return False
    limit = case.limits.max_formalin_mg_l_total
    if limit is None:
        return True
    given = sum(a.concentration_mg_l or 0 for a in case.given if a.agent == "formalin")
    each = bath_in_flow(case, "formalin").mg_l
    return bool(given + each * line.count("formalin") <= limit)

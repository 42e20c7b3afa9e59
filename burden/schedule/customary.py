"""Customary courses and the case's own plan, on the days a dose can go in; the windows between doses of each set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.case import Action, Case
from burden.evidence.parasite_set import PublishedInterval
from burden.inference.estimate_result import Estimate
from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import Windows, windows_after
from burden.schedule.candidates import (
    NO_END,
    allowed,
    course_dates,
    first_days,
    in_season,
    in_time,
    nearest_possible,
    rest_of,
    underway,
)
from burden.treatment.flowing_bath import bath_in_flow

__all__ = ["Custom", "customs_for", "planned_course", "windows_of"]

#: customary courses are meant for water this near to their own temperature: an assumption [°C]
_CUSTOM_WITHIN_C = 5.0
#: days ahead over which the water's temperature decides which custom is meant [d]
_CUSTOM_LOOKS_AHEAD_DAYS = 14
#: a planned dose this near to the customary strength is compared as one of it [-]
_SAME_STRENGTH = 0.1


@dataclass(frozen=True)
class Custom:
    """A customary or printed course on the days a dose can go in.

    Parameters
    ----------
    plan : DoseSchedule
        What of it is still to be given.
    gap_days : float
        [d]
    doses : int
        In all.
    temperature_c : float
        Water it is meant for [°C].
    known : str
        How it is known: as the evidence has it.
    parasite : str
    """

    plan: DoseSchedule
    gap_days: float
    doses: int
    temperature_c: float
    known: str
    parasite: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "days": list(self.plan.days),
            "agents": list(self.plan.agents),
            "gap_days": self.gap_days,
            "doses": self.doses,
            "temperature_c": self.temperature_c,
            "known": self.known,
            "parasite": self.parasite,
        }


def customs_for(
    case: Case,
    ponds: Sequence[Posterior],
    agents: Sequence[str],
    not_before: float = 0.0,
    spent: Sequence[str] = (),
    until: Mapping[str, float] = NO_END,
) -> list[Custom]:
    """Customary and printed courses for this water, each with what of it is still to be given.

    Parameters
    ----------
    case : Case
    ponds : sequence of Posterior
        One a parasite set.
    agents : sequence of str
        Agents that may be given, the one to begin with first.
    not_before : float
        Until then the water is put right [d].
    spent : sequence of str
        Agents whose course has failed: another begins.
    until : mapping of str to float
        Last day of an agent, where it has one [d].
    """
    found = []
    for pond, _ in ponds:
        now = _water_ahead(pond)
        rows = pond.setting.parameters.evidence.published_intervals
        near = sorted((abs(row.temperature_c - now), i) for i, row in enumerate(rows))
        for distance, i in near[:1]:
            if distance <= _CUSTOM_WITHIN_C and agents:
                found += _custom(case, pond, rows[i], agents, not_before, spent)
    return [one for one in found if in_time(one.plan.days, one.plan.agents, until)]


def planned_course(case: Case, pond: Ensemble, of_any_strength: bool = False) -> DoseSchedule | None:
    """Return the doses that the case itself plans, or None where it plans none that can be compared.

    Parameters
    ----------
    case : Case
    pond : Ensemble
        For the agents that are at hand.
    of_any_strength : bool
        Whether its days alone are asked for, to give what is customary on them.

    Notes
    -----
    Others are compared at the customary strength, so a plan of another strength is not (the forecast follows it).
    """
    doses = [dose for dose in case.doses_planned if case.day_of(dose.date) >= 0]
    comparable = all(dose.agent in pond.effects and (of_any_strength or _as_customary(case, dose)) for dose in doses)
    days = tuple(float(case.day_of(dose.date)) for dose in doses)
    if not doses or not comparable or len(set(days)) < len(days):
        return None
    return DoseSchedule(days, tuple(str(dose.agent) for dose in doses))


def _as_customary(case: Case, dose: Action) -> bool:
    strength = dose.concentration_mg_l
    usual = bath_in_flow(case, str(dose.agent)).mg_l
    return dose.route in (None, "bath") and (strength is None or abs(strength / usual - 1) <= _SAME_STRENGTH)


def _water_ahead(pond: Ensemble) -> float:
    """Median temperature of the next two weeks [°C]."""
    days = np.arange(0.0, _CUSTOM_LOOKS_AHEAD_DAYS + 1.0)
    return float(np.median([pond.setting.temperature.median_at(day) for day in days]))


def _custom(
    case: Case, pond: Ensemble, row: PublishedInterval, agents: Sequence[str], not_before: float, spent: Sequence[str]
) -> list[Custom]:
    course = underway(case, pond, spent)
    given = 0 if course is None else min(course.doses, row.doses)
    left = row.doses - given
    first = first_days(case, pond, not_before, spent)
    if left == 0 or not first:
        return []
    gap = float(row.gap_days)
    start = first[0]
    if course is not None:
        due = nearest_possible(case, course.last_day + gap, first[0])
        if due is None:
            return []
        start = due
    main = agents[0]
    middle = row.middle_agent if row.middle_agent in agents else main
    line = tuple(str(middle) if (given + i) % 2 == 1 else main for i in range(left))
    gap = max(gap, rest_of(line))
    days = course_dates(case, start, left, lambda _: gap)
    if days is None or not allowed(case, days, line) or not in_season(pond, days):
        return []
    plan = DoseSchedule(tuple(days), line)
    return [Custom(plan, gap, row.doses, row.temperature_c, row.known, pond.parasite)]


def windows_of(estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[tuple[str, Windows], ...]:
    """Windows after a dose today, by egg-laying set."""
    found = []
    for e in estimates:
        if e.pond.setting.parameters.development is not None:
            effect = e.pond.first_effect(agents)
            found.append(
                (
                    e.parasite,
                    windows_after(e.pond.setting.parameters, effect.sheltered_fraction, e.pond.setting.temperature),
                )
            )
    return tuple(found)

"""A bath against another disease that comes before the flukes: the dose, when it is given, and how."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from burden.decision import Assessment, PlannedDose
from burden.decision.plan import is_tried_first, planned_dose
from burden.decision.records import OtherTreatment
from burden.evidence import load_agent
from burden.report.text.bath_end import end_text, let_out_text
from burden.report.text.handling import aftercare_days, handling_of, notes_of_filter, unfed_text
from burden.report.text.plan import dose_text
from burden.schedule.eligibility import dose_of
from burden.treatment.dose_result import DoseResult
from burden.utils.formatting import counted, named, uncapitalised

__all__ = ["baths_against_others", "day_of_bath", "steps_of_bath", "title_of_bath"]


def baths_against_others(found: Assessment) -> list[tuple[OtherTreatment, PlannedDose, DoseResult]]:
    """Return every bath whose amount a page prints for another disease, with the dose it is of.

    Parameters
    ----------
    found : Assessment
    """
    baths = []
    for other in found.decision.others:
        if other.bath is not None and other.at_hand is not None:
            given = dose_of(found.case, other.at_hand)
            day = day_of_bath(found, other) or found.decision.visit_date
            baths.append((other, planned_dose(found.case, given, day), given))
    return baths


def day_of_bath(found: Assessment, other: OtherTreatment) -> date | None:
    """Return the day of a bath that comes first, without a dose; None where water comes first.

    It is today where these fish have had the agent before, else tomorrow: a few fish are treated first.

    Parameters
    ----------
    found : Assessment
    other : OtherTreatment
    """
    if not other.to_treat_first or found.decision.action == "water_first":
        return None
    taken = {dose.date for dose in found.decision.plan}
    day = found.decision.visit_date + timedelta(days=int(is_tried_first(found.case, other.at_hand)))
    while day in taken:
        day += timedelta(days=1)
    return day


def title_of_bath(other: OtherTreatment, dose: PlannedDose) -> str:
    """Write what is done on the day of the bath."""
    return f"treat the {named(other.finding)}: one bath, {dose_text(dose)}"


def steps_of_bath(found: Assessment, dose: PlannedDose) -> Iterator[str]:
    """Yield how a bath is given, in order, without full stops; its cautions stand with those of the page.

    Parameters
    ----------
    found : Assessment
    dose : PlannedDose
    """
    agent = named(dose.agent)
    yield unfed_text(dose, found.decision.visit_date.year)
    yield from (str(line).rstrip(".") for line in handling_of(found.case, dose))
    yield from (str(line).rstrip(".") for line in notes_of_filter(found.case, dose.agent, dose.apart))
    yield uncapitalised(end_text(found.case, dose)).rstrip(".")
    if out := let_out_text(found.case, dose):
        yield out
    if days := aftercare_days(found.case, dose.agent, dose.apart):
        yield f"measure ammonia and nitrite every day for {counted(days, 'day')} after {agent}"
    yield from (f"{agent}: {uncapitalised(people)}".rstrip(".") for people in _for_people(dose.agent))
    yield "read the cautions of the report before the bath"


def _for_people(agent: str) -> list[str]:
    return [for_people for for_people in load_agent(agent).cautions if for_people.kind == "people"]

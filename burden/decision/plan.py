"""The doses of a decision by date, counted on from those given, and the other diseases found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

from burden.case import Case
from burden.decision.records import Missing, OtherTreatment, PlannedDose
from burden.evidence import load_agent
from burden.inference.prior import Ensemble, Posterior
from burden.schedule.aim import Aim, aim_of, emptied_day
from burden.schedule.eligibility import Notes, dose_of
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.recommendation import Recommendation
from burden.treatment.dose_result import DoseResult
from burden.treatment.withdrawal import Withdrawal, last_dose_before_harvest, withdrawals_of

__all__ = [
    "agents_missing",
    "aim_for",
    "doses_of",
    "is_tried_first",
    "other_treatments",
    "planned_dose",
    "planned_doses",
    "withdrawals_after",
]

#: findings that are treated, or settled, before flukes: common practice, no source
_COME_FIRST = ("virus_suspected", "ciliates", "white_spot", "flagellates", "bacterial_gill_disease")

#: so few fish are all treated at once: none is put into a tub for a trial. An assumption
_TOO_FEW_TO_TRY = 4
#: notes that keep an agent from flukes and from nothing else
_OF_FLUKES_ALONE = ("little_effect", "efficacy_contradicted")


def doses_of(case: Case, chosen: EvaluatedSchedule | None, accept_unpublished: bool) -> tuple[DoseResult, ...]:
    """Return what to weigh for each dose of a schedule.

    Parameters
    ----------
    case : Case
    chosen : EvaluatedSchedule or None
        None for no dose.
    accept_unpublished : bool
        Work out doses no source gives.

    Raises
    ------
    InputError
        For a dose outside the published range that was not accepted.
    """
    if chosen is None:
        return ()
    return tuple(dose_of(case, agent, accept_unpublished) for agent in chosen.plan.agents)


def planned_doses(
    case: Case, found: Recommendation, chosen: EvaluatedSchedule | None, doses: Sequence[DoseResult]
) -> tuple[PlannedDose, ...]:
    """Return the doses by date, counted on from those given.

    Parameters
    ----------
    case : Case
    found : Recommendation
        For the course under way.
    chosen : EvaluatedSchedule or None
    doses : sequence of DoseResult
        One a dose of it.
    """
    if chosen is None:
        return ()
    planned: list[PlannedDose] = []
    for number, (day, dose) in enumerate(zip(chosen.plan.days, doses, strict=True), start=found.given + 1):
        new = dose.agent not in {one.agent for one in planned}
        when = case.visit_date + timedelta(days=int(day))
        trial = _tried_on(case, when) if new and is_tried_first(case, dose.agent) else None
        planned.append(planned_dose(case, dose, when, number, found.given + chosen.doses, trial))
    return tuple(planned)


def planned_dose(
    case: Case, dose: DoseResult, when: date, number: int = 1, of: int = 1, trial_date: date | None = None
) -> PlannedDose:
    """Return one dose on a day.

    Parameters
    ----------
    case : Case
    dose : DoseResult
        Of the case.
    when : date
    number, of : int
        Its place in the course.
    trial_date : date, optional
        When a few fish are treated first.
    """
    return PlannedDose(
        date=when,
        day=float(case.day_of(when)),
        number=number,
        of=of,
        agent=dose.agent,
        mg_l=dose.mg_l,
        hours=dose.hours,
        mass_g=None if dose.apart else dose.mass_g,
        product_g=dose.product_g,
        product_ml=dose.product_ml,
        strength_percent=dose.strength_percent,
        bath_volume_l=dose.volume_l,
        apart=dose.apart,
        trial_date=trial_date,
        fast_from=max(when - timedelta(days=1), case.visit_date),
        place=dose.place or "water",
        drip_per_hour=dose.drip_per_hour,
    )


def is_tried_first(case: Case, agent: str | None) -> bool:
    """Whether a few fish are treated before the others: with an agent these fish never had, where there are some.

    Parameters
    ----------
    case : Case
    agent : str or None
    """
    return agent not in {dose.agent for dose in case.doses_given} and case.fish_count > _TOO_FEW_TO_TRY


def _tried_on(case: Case, when: date) -> date:
    """Day on which a few fish are treated first: the last before a dose on which one may be given, else the visit."""
    days = (when - timedelta(days=n) for n in range(1, (when - case.visit_date).days + 1))
    return next((day for day in days if case.dose_possible_on(day)), case.visit_date)


def agents_missing(case: Case, agents: Sequence[str]) -> tuple[Missing, ...]:
    """Return one bath of each agent that is not at hand and would serve.

    Parameters
    ----------
    case : Case
    agents : sequence of str
    """
    baths = [dose_of(case, agent) for agent in agents]
    return tuple(
        Missing(d.agent, d.mg_l, d.hours, d.product_g, d.product_ml, d.strength_percent, d.volume_l, d.place or "water")
        for d in baths
    )


def other_treatments(
    case: Case, agents: Sequence[str], fit: Sequence[str], notes: Notes | None = None
) -> tuple[OtherTreatment, ...]:
    """Return every other disease found, those that come first first, with the agent of the plan that meets it.

    Parameters
    ----------
    case : Case
    agents : sequence of str
        Of the plan.
    fit : sequence of str
        Agents that may be given.
    notes : mapping of str to sequence of SafetyNote, optional
        What speaks against each agent at hand: what kills too few flukes may serve against another disease.
    """
    withheld = {
        name: tuple(note for note in own if note.level == "withhold" and note.code not in _OF_FLUKES_ALONE)
        for name, own in (notes or {}).items()
    }
    fit = tuple(dict.fromkeys((*fit, *(name for name, own in withheld.items() if not own))))
    found = []
    for finding in case.findings.diseases:
        agent = _meets(finding, agents)
        at_hand = None if agent is not None else _works(finding, fit)
        test = case.findings.virus_test if finding == "virus_suspected" else None
        bath = None if at_hand is None else agents_missing(case, (at_hand,))[0]
        barred = None if agent or at_hand else _works(finding, tuple(withheld))
        kept_out = () if barred is None else withheld[barred]
        found.append(OtherTreatment(finding, finding in _COME_FIRST, agent, at_hand, test, bath, kept_out))
    return tuple(sorted(found, key=lambda one: (not one.first, one.finding)))


def _meets(finding: str, agents: Sequence[str]) -> str | None:
    """The first of some agents whose course against flukes meets a finding as well."""
    return next((agent for agent in agents if finding in load_agent(agent).works_on), None)


def _works(finding: str, agents: Sequence[str]) -> str | None:
    """The first of some agents that works on a finding, along with flukes or by dates of its own."""
    return next((a for a in agents if finding in load_agent(a).works_on | load_agent(a).works_apart), None)


def withdrawals_after(case: Case, pond: Ensemble, chosen: EvaluatedSchedule | None) -> tuple[Withdrawal, ...]:
    """Return the withdrawals after a schedule, or after what was given where there is none.

    Parameters
    ----------
    case : Case
    pond : Ensemble
        For the water's temperature.
    chosen : EvaluatedSchedule or None
    """
    coming = ((), ()) if chosen is None else (chosen.plan.days, chosen.plan.agents)
    return withdrawals_of(case, *coming, pond.setting.temperature)


def aim_for(case: Case, ponds: Sequence[Posterior]) -> Aim:
    """Return the aim of a case, judged up to the harvest of all fish where that can be on its day.

    Parameters
    ----------
    case : Case
    ponds : sequence of Posterior
        One a parasite set.
    """
    late = any(one.harvest is not None for one in withdrawals_after(case, ponds[0].pond, None))
    pond = ponds[0].pond
    known = (last_dose_before_harvest(case, agent, pond.setting.temperature) for agent in pond.effects)
    last = {one.agent: -1.0 if one.date is None else float(case.day_of(one.date)) for one in known if one is not None}
    return replace(aim_of(case, ponds), emptied_day=None if late else emptied_day(case), last_days=last)

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
    "TOO_FEW_TO_TRY",
    "agents_missing",
    "aim_for",
    "doses_of",
    "other_treatments",
    "planned_doses",
    "withdrawals_after",
]

#: findings that are treated, or settled, before flukes: common practice, no source
_COME_FIRST = ("virus_suspected", "ciliates", "white_spot", "flagellates", "bacterial_gill_disease")

#: so few fish are all treated at once: none is put into a tub for a trial. An assumption
TOO_FEW_TO_TRY = 4
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
    given = 0 if found.underway is None else found.underway.doses
    known = {dose.agent for dose in case.doses_given}
    planned: list[PlannedDose] = []
    for i, (day, d) in enumerate(zip(chosen.plan.days, doses, strict=True)):
        when = case.visit_date + timedelta(days=int(day))
        trial = d.agent not in known and d.agent not in {p.agent for p in planned} and case.fish_count > TOO_FEW_TO_TRY
        before = when - timedelta(days=1)
        planned.append(
            PlannedDose(
                date=when,
                day=float(day),
                number=given + i + 1,
                of=given + chosen.doses,
                agent=d.agent,
                mg_l=d.mg_l,
                hours=d.hours,
                mass_g=None if d.apart else d.mass_g,
                product_g=d.product_g,
                product_ml=d.product_ml,
                strength_percent=d.strength_percent,
                bath_volume_l=d.volume_l,
                apart=d.apart,
                trial_date=_tried_on(case, when) if trial else None,
                fast_from=max(before, case.visit_date),
                place=d.place or "water",
                drip_per_hour=d.drip_per_hour,
            )
        )
    return tuple(planned)


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

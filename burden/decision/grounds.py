"""What a decision stands on: estimates, water, agents and the schedule found, all of the same draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from burden.case import Case
from burden.decision.agents_tried import agents_to_plan
from burden.decision.plan import aim_for, withdrawals_after
from burden.inference.estimate import estimate
from burden.inference.estimate_result import Estimate
from burden.schedule.eligibility import Notes, agents_and_notes
from burden.schedule.recommendation import Recommendation
from burden.schedule.search import search
from burden.treatment.gates import Gate, days_to_mend, gates_of
from burden.treatment.withdrawal import Withdrawal
from burden.utils.progress import report_progress

__all__ = ["Grounds", "grounds_of"]


@dataclass(frozen=True, eq=False)
class Grounds:
    """What a decision stands on.

    Parameters
    ----------
    case : Case
    estimates : tuple of Estimate
        One a parasite set.
    gates : tuple of Gate
        What the water forbids or asks for.
    agents : tuple of str
        Those that may be given, the one to begin with first.
    notes : mapping of str to sequence of SafetyNote
        What speaks against each agent.
    found : Recommendation
        From the search, on the draws of the estimates.
    spent : tuple of str
        Agents that are changed for another, as their course has failed.
    withdrawals, withdrawals_given : tuple of Withdrawal
        Of food fish, were the schedule found given, and after what was given before.
    """

    case: Case
    estimates: tuple[Estimate, ...]
    gates: tuple[Gate, ...]
    agents: tuple[str, ...]
    notes: Notes
    found: Recommendation
    spent: tuple[str, ...]
    withdrawals: tuple[Withdrawal, ...]
    withdrawals_given: tuple[Withdrawal, ...]


def grounds_of(case: Case, draws: int, seed: int, made: Sequence[Estimate] | None = None) -> Grounds:
    """Estimate and search.

    Parameters
    ----------
    case : Case
    draws, seed : int
        Posterior draws and seed.
    made : sequence of Estimate, optional
        Of this case with these draws and this seed, one a parasite set, where they were made before.
    """
    estimates = tuple(made or (estimate(case, parasite, draws, seed) for parasite in case.parasites))
    ponds = [e.posterior for e in estimates]
    gates = gates_of(case, ponds[0].pond.setting.temperature.median_at(0.0))
    agents, notes = agents_and_notes(case, estimates)
    report_progress("searching for dates")
    fit, spent = agents_to_plan(case, estimates, agents)
    found = search(case, ponds, fit, aim_for(case, ponds), not_before=days_to_mend(gates), spent=spent)
    return Grounds(
        case,
        estimates,
        gates,
        agents,
        notes,
        found,
        spent,
        withdrawals=withdrawals_after(case, ponds[0].pond, found.recommended),
        withdrawals_given=withdrawals_after(case, ponds[0].pond, None),
    )

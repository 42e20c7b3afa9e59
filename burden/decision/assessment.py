"""One case on one visit: everything known of it, joined into one decision.

What `burden report`, `burden decide` and `burden forecast` show is taken from here, so that they cannot differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from burden.case import Case
from burden.decision.answer import answer_on
from burden.decision.facts import shortfall
from burden.decision.grounds import grounds_of
from burden.decision.records import Decision
from burden.inference.estimate_result import Estimate
from burden.inference.pond_history import History, history_of
from burden.inference.response_result import Response
from burden.inference.treatment_response import response
from burden.inference.visit_comparison import Changes, what_changed
from burden.model.windows import Windows
from burden.schedule.customary import windows_of
from burden.schedule.delayed_hatch import DelayedHatch, later_doses
from burden.schedule.eligibility import notes_on
from burden.schedule.forecast import Forecast, forecast_of
from burden.schedule.husbandry import Alternative, alternatives
from burden.schedule.late_dose import LateDose, late_doses
from burden.schedule.what_if import WhatIf, what_ifs
from burden.treatment.dose_result import DoseResult
from burden.treatment.safety_note import SafetyNote
from burden.treatment.withdrawal import Withdrawal
from burden.utils.progress import report_progress

__all__ = ["HORIZON_DAYS", "Assessment", "assess", "decide", "forecast_case"]

HORIZON_DAYS = 60.0


@dataclass(frozen=True, eq=False)
class Assessment:
    """Everything about one case on one visit, around its decision.

    Parameters
    ----------
    case : Case
    decision : Decision
    estimates, forecasts, responses, changes : tuple
        One a parasite set.
    doses : tuple of DoseResult
        What to weigh for each dose of the plan, or of that to follow once the water is right.
    notes : tuple of SafetyNote
        What speaks against a dose, by agent, withholding ones first.
    windows : tuple of (str, Windows)
        By egg-laying set, after a dose today.
    what_ifs, late, alternatives : tuple
        The plan as it may turn out, until when its doses may wait, and moves beside it.
    later : DelayedHatch or None
        In cold water, for eggs that have not hatched when the course is over.
    histories : tuple of History
        One a parasite set, of a pond that was visited before; empty at a first visit.
    """

    case: Case
    decision: Decision
    estimates: tuple[Estimate, ...]
    forecasts: tuple[Forecast, ...]
    responses: tuple[Response, ...]
    changes: tuple[Changes | None, ...]
    doses: tuple[DoseResult, ...]
    notes: tuple[SafetyNote, ...]
    windows: tuple[tuple[str, Windows], ...]
    what_ifs: tuple[WhatIf, ...] = ()
    late: tuple[LateDose, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    later: DelayedHatch | None = None
    histories: tuple[History, ...] = ()

    @property
    def withdrawals(self) -> tuple[Withdrawal, ...]:
        """For food fish, an example of each agent of the course, or of what was given."""
        return self.decision.withdrawals

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "case": self.case.name,
            "decision": self.decision.as_dict(),
            "estimates": [e.as_dict() for e in self.estimates],
            "forecasts": [f.as_dict() for f in self.forecasts],
            "responses": [r.as_dict() for r in self.responses],
            "doses": [d.as_dict() for d in self.doses],
            "notes": [n.as_dict() for n in self.notes],
            "alternatives": [a.as_dict() for a in self.alternatives],
            "otherwise": [w.as_dict() for w in self.what_ifs],
            "late_doses": [d.as_dict() for d in self.late],
            "withdrawals": [w.as_dict() for w in self.withdrawals],
            "later_doses": None if self.later is None else self.later.as_dict(),
            "changes": [None if c is None else c.as_dict() for c in self.changes],
            "histories": [h.as_dict() for h in self.histories],
        }


def decide(case: Case, draws: int = 500, seed: int = 1, accept_unpublished: bool = False) -> Decision:
    """Decide what to do today.

    Parameters
    ----------
    case : Case
    draws, seed : int
        Posterior draws and seed: same case, draws and seed, same decision.
    accept_unpublished : bool
        Work out doses no source gives.

    Returns
    -------
    Decision
    """
    return answer_on(grounds_of(case, draws, seed), draws, seed, accept_unpublished).decision


def assess(
    case: Case,
    draws: int = 500,
    seed: int = 1,
    accept_unpublished: bool = False,
    *,
    estimates: Sequence[Estimate] | None = None,
) -> Assessment:
    """Decide, and work out everything that a report shows beside the decision.

    Parameters
    ----------
    case, draws, seed, accept_unpublished
        As `decide` takes them.
    estimates : sequence of Estimate, optional
        Of this case with these draws and this seed, one a parasite set, where they were made before.

    Returns
    -------
    Assessment
        Its decision is that of `decide`.
    """
    grounds = grounds_of(case, draws, seed, estimates)
    answer = answer_on(grounds, draws, seed, accept_unpublished)
    estimates, planned = grounds.estimates, answer.shown
    ponds, aim = [e.posterior for e in estimates], grounds.found.aim
    plan = None if planned is None else planned.plan
    report_progress("following flukes and fish")
    forecasts = tuple(forecast_of(e, plan, answer.doses, aim.deaths_until_day) for e in estimates)
    changes = tuple(what_changed(e) for e in estimates)
    report_progress("what would change the plan")
    return Assessment(
        case=case,
        decision=answer.decision,
        estimates=estimates,
        forecasts=forecasts,
        responses=tuple(response(case, e.parasite, draws, seed, shortfall(case, e)) for e in estimates),
        changes=changes,
        doses=answer.doses,
        notes=notes_on(grounds.notes, () if plan is None else plan.agents),
        windows=windows_of(estimates, grounds.agents),
        what_ifs=() if planned is None else what_ifs(ponds, planned, aim),
        late=() if planned is None else late_doses(ponds, planned, aim),
        alternatives=() if planned is None else alternatives(case, ponds, planned, aim),
        later=None if plan is None else later_doses(ponds, plan),
        histories=tuple(history_of(e, c) for e, c in zip(estimates, changes, strict=True) if c is not None),
    )


def forecast_case(
    case: Case, days: float = HORIZON_DAYS, draws: int = 500, seed: int = 1, parasite: str | None = None
) -> Forecast:
    """Forecast one parasite set of a case: untreated, as planned, as the decision recommends.

    Parameters
    ----------
    case : Case
    days : float
        How far; no further than the harvest of all fish [d].
    draws, seed : int
        As `decide` takes them.
    parasite : str, optional
        One of the case's sets; the first when not given.
    """
    grounds = grounds_of(case, draws, seed)
    answer = answer_on(grounds, draws, seed, True)
    mine = grounds.estimates[0 if parasite is None else case.parasites.index(parasite)]
    plan = None if answer.shown is None else answer.shown.plan
    harvest = grounds.found.aim.emptied_day
    return forecast_of(mine, plan, answer.doses, days if harvest is None else min(days, harvest))

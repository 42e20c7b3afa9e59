"""One case on one visit: everything known of it, joined into one decision.

What `burden report`, `burden decide` and `burden forecast` show is taken from here, so that they cannot differ.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.decision.action import CLEAN_LOOKS, Facts, choose
from burden.decision.doses_given import counts_beside_doses, underdosed
from burden.decision.facts import (
    LOOKS_APART_DAYS,
    agents_to_plan,
    facts_of,
    shortfall,
)
from burden.decision.next_look import look_of
from burden.decision.plan import (
    agents_missing,
    aim_for,
    doses_of,
    other_treatments,
    planned_doses,
    withdrawals_after,
)
from burden.decision.reason_numbers import reason_numbers
from burden.decision.records import Decision, Reason
from burden.inference.estimate import Estimate, estimate
from burden.inference.infection_pressure import withheld_eradication, withheld_forecast
from burden.inference.pond_history import History, history_of
from burden.inference.temperature_ahead import dates_hold_until
from burden.inference.treatment_response import Response, response
from burden.inference.visit_comparison import Changes, what_changed
from burden.model.windows import Windows
from burden.schedule.customary import windows_of
from burden.schedule.delayed_hatch import DelayedHatch, later_doses
from burden.schedule.eligibility import Notes, agents_and_notes, agents_to_get, notes_on
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.forecast import Forecast, forecast_of
from burden.schedule.husbandry import Alternative, alternatives
from burden.schedule.late_dose import LateDose, late_doses
from burden.schedule.recommendation import Recommendation
from burden.schedule.search import search
from burden.schedule.what_if import WhatIf, what_ifs
from burden.treatment.dose_result import DoseResult
from burden.treatment.gates import Gate, days_to_mend, gates_of
from burden.treatment.safety import SafetyNote
from burden.treatment.withdrawal import Withdrawal
from burden.utils.progress import report_progress
from burden.utils.results import CredibleInterval

__all__ = ["HORIZON_DAYS", "Assessment", "assess", "decide", "forecast_case", "killed_by_dose"]

HORIZON_DAYS = 60.0
#: how many times as many fish as flukes other causes have to kill for the answer to ask after them, how many fish and
#: what share of the stock: assumptions [-], [fish], [-]
_FAR_MORE, _SOME_FISH, _SOME_SHARE = 5.0, 5.0, 0.05
#: reasons that ask after another cause
_OTHER_CAUSE = {"look_for_another_cause", "deaths_of_other_cause", "other_first"}


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


@dataclass(frozen=True, eq=False)
class _Core:
    """What the decision itself is made of."""

    case: Case
    estimates: tuple[Estimate, ...]
    gates: tuple[Gate, ...]
    agents: tuple[str, ...]
    notes: Notes
    found: Recommendation
    decision: Decision
    doses: tuple[DoseResult, ...]


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
    return _decided(case, draws, seed, accept_unpublished).decision


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
    core = _decided(case, draws, seed, accept_unpublished, estimates)
    estimates, decision = core.estimates, core.decision
    ponds, aim = [e.posterior for e in estimates], core.found.aim
    planned = _planned(core)
    plan = None if planned is None else planned.plan
    report_progress("following flukes and fish")
    forecasts = tuple(forecast_of(e, plan, core.doses, aim.deaths_until_day) for e in estimates)
    changes = tuple(what_changed(e) for e in estimates)
    report_progress("what would change the plan")
    return Assessment(
        case=case,
        decision=decision,
        estimates=estimates,
        forecasts=forecasts,
        responses=tuple(response(case, e.parasite, draws, seed, shortfall(case, e)) for e in estimates),
        changes=changes,
        doses=core.doses,
        notes=notes_on(core.notes, () if plan is None else plan.agents),
        windows=windows_of(estimates, core.agents),
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
    core = _decided(case, draws, seed, True)
    mine = core.estimates[0 if parasite is None else case.parasites.index(parasite)]
    planned = _planned(core)
    plan, harvest = None if planned is None else planned.plan, core.found.aim.emptied_day
    return forecast_of(mine, plan, core.doses, days if harvest is None else min(days, harvest))


def _planned(core: _Core) -> EvaluatedSchedule | None:
    """The schedule that is shown: that of the plan, or that to follow once the water is right."""
    return core.found.recommended if core.decision.doses else None


def _decided(
    case: Case, draws: int, seed: int, accept_unpublished: bool, made: Sequence[Estimate] | None = None
) -> _Core:
    estimates = tuple(made or (estimate(case, parasite, draws, seed) for parasite in case.parasites))
    ponds = [e.posterior for e in estimates]
    gates = gates_of(case, float(np.median(ponds[0].pond.setting.temperature.at(0.0))))
    agents, notes = agents_and_notes(case, estimates)
    report_progress("searching for dates")
    fit, spent = agents_to_plan(case, estimates, agents)
    given = withdrawals_after(case, ponds[0].pond, None)
    found = search(case, ponds, fit, aim_for(case, ponds), not_before=days_to_mend(gates), spent=spent)
    withdrawals = withdrawals_after(case, ponds[0].pond, found.recommended)
    facts = facts_of(case, estimates, gates, notes, agents, found, spent, withdrawals, given)
    action, reasons = choose(facts)
    numbers = reason_numbers(case, estimates, gates, found, spent, withdrawals)
    # what follows once the water is right is what would be done today in good water
    follows = "dose" in (action, choose(replace(facts, stopped=False))[0] if action == "water_first" else "")
    shown = found.recommended if follows else None
    doses = doses_of(case, shown, accept_unpublished)
    plan = planned_doses(case, found, shown, doses)
    decision = Decision(
        case_name=case.name,
        parasites=case.parasites,
        visit_date=case.visit_date,
        seed=seed,
        draws=draws,
        action=action,
        reasons=tuple(
            replace(reason, numbers=numbers) for reason in _reported(reasons, facts, case, action, found, estimates)
        ),
        gates=gates,
        recommendation=found,
        plan=plan if action == "dose" else (),
        after_water=plan if action == "water_first" else (),
        look=look_of(case, estimates, action, reasons, found, shown, _measured_again(gates)),
        others=other_treatments(case, () if shown is None else shown.plan.agents, agents),
        chances=_known(case, _chances(estimates, found, shown)),
        deaths={} if facts.forecast_withheld else _deaths(found, shown),
        dated_until=_dated_until(case),
        withdrawals=given if shown is None else withdrawals,
        on_record=_on_record(case),
        **_without_agent(case, estimates, notes, action, reasons),
    )
    return _Core(case, estimates, gates, agents, notes, found, _released(decision, facts.eradicate), doses)


def _on_record(case: Case) -> dict[str, int]:
    before, after, latest = counts_beside_doses(case)
    around = {
        f"{what}_{when}": number
        for when, rows in (("before", before), ("after", after), ("latest", latest))
        if rows
        for what, number in (("flukes", sum(row.count_low for row in rows)), ("preparations", len(rows)))
    }
    between = [d for d in case.doses_given if before and after and before[0].date <= d.date <= after[0].date]
    around["doses_between"] = len(between)
    return {
        "preparations": sum(row.readable for row in case.samples),
        "deaths": sum(row.deaths for row in case.deaths),
        "ulcers": int(bool(case.findings.ulcers)),
        "gasping": int(bool(case.findings.gasping)),
        **(around if before and after else {}),
    }


def _measured_again(gates: Sequence[Gate]) -> float:
    """Day on which the water is measured again: tomorrow where fish are short of air, else once it may be right [d]."""
    short = any(gate.level == "stop" and gate.code in ("oxygen_low", "gasping") for gate in gates)
    return 1.0 if short else max(days_to_mend(tuple(gates)), 1.0)


def _without_agent(
    case: Case, estimates: Sequence[Estimate], notes: Notes, action: str, reasons: Sequence[Reason]
) -> dict[str, Any]:
    """What keeps every agent out and which one would serve, where a dose is wanted and none can be given."""
    if not {"no_dose_possible", "doses_fell_short"} & {reason.code for reason in reasons} or action == "dose":
        return {}
    said = tuple(note for note in notes_on(notes, ()) if note.level == "withhold")
    return {"withheld": said, "to_get": agents_missing(case, agents_to_get(case, estimates))}


def _reported(
    reasons: Sequence[Reason],
    facts: Facts,
    case: Case,
    action: str,
    found: Recommendation,
    estimates: Sequence[Estimate],
) -> tuple[Reason, ...]:
    """Add what is to be known besides, after why this is done today: flukes to report, what was given or planned."""
    codes = {reason.code for reason in reasons}
    besides = {
        "others_kill_more": facts.trouble
        and not codes & _OTHER_CAUSE
        and _others_kill_more(found, facts.fish)
        and all(_few_by_flukes(e) for e in estimates),
        "weak_before": action in ("dose", "water_first") and "doses_fell_short" not in codes and underdosed(case),
        "planned_waits": action in ("watch", "look_first") and bool(case.doses_planned),
        "dose_killed": action in ("dose", "water_first") and any(killed_by_dose(e) for e in estimates),
        "notifiable": facts.notifiable and "identify_first" not in codes,
        "unknown_product": facts.unknown_given,
        "dosed_by_calendar": facts.by_calendar,
    }
    return (*reasons, *(Reason(code) for code, holds in besides.items() if holds))


def _few_by_flukes(found: Estimate) -> bool:
    """Whether the flukes killed fewer than half of the dead, at the upper end; true where no death is on record."""
    told = found.deaths_explained
    return told is None or told.by_flukes.high < told.deaths / 2


def killed_by_dose(found: Estimate) -> bool:
    """Whether a dose given before likely killed fish itself.

    Parameters
    ----------
    found : Estimate
    """
    return found.deaths_explained is not None and found.deaths_explained.dose_killed


def _others_kill_more(found: Recommendation, fish: float) -> bool:
    """Whether other causes are expected to kill a share of the stock, and far more than the flukes do."""
    others = found.untreated.other_deaths.median
    return bool(others >= max(_FAR_MORE * found.untreated.fluke_deaths.median, _SOME_FISH, _SOME_SHARE * fish))


def _chances(estimates: Sequence[Estimate], found: Recommendation, shown: EvaluatedSchedule | None) -> dict[str, float]:
    chances = {
        "flukes_present": max(e.probability_infected for e in estimates),
        "kept_untreated": float(np.mean(found.untreated.kept)),
        "gone_untreated": found.untreated.elimination.mean,
        "aim_untreated": found.untreated.chance(found.aim),
    }
    if shown is not None:
        chances |= {
            "kept_planned": float(np.mean(shown.kept)),
            "gone_planned": shown.elimination.mean,
            "aim_planned": shown.chance(found.aim),
        }
        more = found.named("one_more")
        if more is not None:
            chances["aim_one_more"] = more.chance(found.aim)
    return chances


def _known(case: Case, chances: dict[str, float]) -> dict[str, float]:
    """Chances that can be given: none of elimination where larvae come in, none at all where nobody knows how many."""
    unknown = {name for name in chances if name.startswith("gone")} if withheld_eradication(case) else set()
    if withheld_forecast(case):
        unknown |= set(chances) - {"flukes_present"}
    return {name: math.nan if name in unknown else value for name, value in chances.items()}


def _deaths(found: Recommendation, shown: EvaluatedSchedule | None) -> dict[str, CredibleInterval]:
    deaths = {"flukes_untreated": found.untreated.fluke_deaths, "other": found.untreated.other_deaths}
    if shown is not None:
        deaths["flukes_planned"] = shown.fluke_deaths
        deaths["flukes_avoided"] = CredibleInterval.of(found.untreated.dead_by_flukes - shown.dead_by_flukes)
    return deaths


def _dated_until(case: Case) -> date | None:
    """Beyond which date a dose is not dated, as nobody said what the water will do; None where it was said."""
    until = dates_hold_until(case)
    return case.visit_date + timedelta(days=until) if math.isfinite(until) else None


def _released(decision: Decision, eradicate: bool) -> Decision:
    """Newcomers may move on the day of the look that shows them clean, for the second time where none did before."""
    if not eradicate:
        return decision
    if decision.action == "discharge":
        return replace(decision, release_date=decision.visit_date)
    if decision.look is None:
        return decision
    once_more = 0 if decision.look.clean_is_enough else LOOKS_APART_DAYS * (CLEAN_LOOKS - 1)
    return replace(decision, release_date=decision.look.date + timedelta(days=once_more))

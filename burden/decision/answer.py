"""One decision out of its grounds: action, reasons, plan, look, chances and deaths, as numbers and codes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.decision.action import choose
from burden.decision.action_facts import Facts
from burden.decision.doses_given import came_since, counts_beside_doses, last_dose, read_since, underdosed
from burden.decision.facts import LOOKS_APART_DAYS, facts_of
from burden.decision.grounds import Grounds
from burden.decision.look_records import NextLook
from burden.decision.next_look import look_of, look_today, settles_little
from burden.decision.plan import agents_missing, doses_of, other_treatments, planned_doses
from burden.decision.reason_numbers import carp_or_koi, reason_numbers
from burden.decision.records import Decision, Reason
from burden.inference.estimate_result import Estimate
from burden.inference.infection_pressure import withheld_eradication, withheld_forecast
from burden.inference.temperature_ahead import dates_hold_until
from burden.schedule.eligibility import agents_to_get, notes_on
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.recommendation import Recommendation
from burden.treatment.dose_result import DoseResult
from burden.treatment.gates import Gate, days_to_mend
from burden.treatment.withdrawal import LastDose, last_dose_before_harvest
from burden.utils.results import CredibleInterval

__all__ = ["LEAST_VISITS", "MOST_VISITS", "Answer", "answer_on", "killed_by_dose"]

#: reasons that ask after another cause
_OTHER_CAUSE = {"look_for_another_cause", "deaths_of_other_cause", "other_first"}


@dataclass(frozen=True, eq=False)
class Answer:
    """A decision, the schedule it shows, and what to weigh for each dose of it.

    Parameters
    ----------
    decision : Decision
    shown : EvaluatedSchedule or None
        That of the plan, or that to follow once the water is right.
    doses : tuple of DoseResult
    """

    decision: Decision
    shown: EvaluatedSchedule | None
    doses: tuple[DoseResult, ...]


#: visits without a dose between them from which a trend is told, and most that a sentence has room for: assumptions
LEAST_VISITS, MOST_VISITS = 3, 6


def answer_on(grounds: Grounds, draws: int, seed: int, accept_unpublished: bool) -> Answer:
    """Decide.

    Parameters
    ----------
    grounds : Grounds
    draws, seed : int
        By which they were made.
    accept_unpublished : bool
        Work out doses no source gives.
    """
    case, found = grounds.case, grounds.found
    facts, asked = _weighed(grounds, facts_of(grounds))
    action, reasons = choose(facts)
    # what follows once the water is right is what would be done today in good water
    then, why = choose(replace(facts, stopped=False)) if action == "water_first" else (action, reasons)
    shown = found.recommended if then == "dose" else None
    doses = doses_of(case, shown, accept_unpublished)
    plan = planned_doses(case, found, shown, doses)
    decision = Decision(
        case_name=case.name,
        parasites=case.parasites,
        visit_date=case.visit_date,
        seed=seed,
        draws=draws,
        action=action,
        reasons=_reported(grounds, facts, action, reasons, doses),
        gates=grounds.gates,
        recommendation=found,
        plan=plan if action == "dose" else (),
        after_water=plan if action == "water_first" else (),
        look=look_of(grounds, action, reasons, shown, _measured_again(grounds.gates), asked),
        others=other_treatments(case, () if shown is None else shown.plan.agents, grounds.agents, grounds.notes),
        chances=_chances(grounds, shown),
        deaths={} if facts.forecast_withheld else _deaths(found, shown),
        dated_until=_dated_until(case),
        withdrawals=grounds.withdrawals_given if shown is None else grounds.withdrawals,
        last_dose=_last_dose(grounds, facts, action),
        on_record=_on_record(case),
        **_without_agent(grounds, then, why),
    )
    return Answer(_released(decision, facts.eradicate), shown, doses)


def _weighed(grounds: Grounds, facts: Facts) -> tuple[Facts, NextLook | None]:
    """The facts, with whether more fish would settle what to do where that is the question, and that look."""
    _, reasons = choose(facts)
    if not {"more_fish", "may_stay_low"} <= {reason.code for reason in reasons}:
        return facts, None
    look = look_today(grounds.case, grounds.estimates, grounds.found)
    return replace(facts, looks_settle=not settles_little(look)), look


def _last_dose(grounds: Grounds, facts: Facts, action: str) -> LastDose | None:
    """Until when a dose of the first agent may still follow, where the next look may ask for one before the harvest."""
    told = facts.harvest_too_early and action != "water_first"  # the reasons say that the harvest comes first
    asked = action != "discharge" and facts.ever_seen and not told
    if not asked or not grounds.agents:
        return None
    water, horizon = grounds.estimates[0].pond.setting.temperature, grounds.found.aim.deaths_until_day
    chosen = grounds.found.recommended
    agent = grounds.agents[0] if chosen is None else chosen.plan.agents[0]
    last = last_dose_before_harvest(grounds.case, agent, water)
    far = last is not None and last.date is not None and grounds.case.day_of(last.date) > horizon
    return None if far else last


def _on_record(case: Case) -> dict[str, int]:
    return {
        "preparations": sum(row.readable for row in case.samples),
        "flukes": sum(row.count_low for row in case.samples if row.readable),
        "deaths": sum(row.deaths for row in case.deaths),
        "ulcers": int(bool(case.findings.ulcers)),
        "gasping": int(bool(case.findings.gasping)),
        "uv": int(bool(case.water.uv)),
        "food": int(case.food_fish),
        "carp": int(carp_or_koi(case)),
        "pond": int(case.water.kind in (None, "pond")),
        "dying": int(any(row.chosen == "moribund" for row in case.samples if row.date == case.visit_date)),
        **_around_doses(case),
        **_over_visits(case),
    }


def _over_visits(case: Case) -> dict[str, int]:
    """What looks alike counted at each visit since the last dose, the latest last; nothing of fewer than three."""
    rows = [row for row in read_since(case, last_dose(case)) if row.count_high is not None]
    days = sorted({row.date for row in rows})[-MOST_VISITS:]
    looks = [[row for row in rows if row.date == day] for day in days]
    if len(looks) < LEAST_VISITS or len({frozenset((row.method, row.site) for row in look) for look in looks}) > 1:
        return {}
    found: dict[str, int] = {"visits": len(looks)}
    for i, look in enumerate(looks, 1):
        found |= {f"visit_{i}_flukes": sum(row.count_low for row in look), f"visit_{i}_preparations": len(look)}
    return found


def _around_doses(case: Case) -> dict[str, int]:
    """What looks alike counted around the last doses, and how many doses lie between them; nothing where none did."""
    before, after, latest = counts_beside_doses(case)
    if not before:
        return {}
    found: dict[str, int] = {}
    for when, rows in (("before", before), ("after", after), ("latest", latest)):
        if rows:
            found |= {f"flukes_{when}": sum(row.count_low for row in rows), f"preparations_{when}": len(rows)}
    between = [dose for dose in case.doses_given if before[0].date <= dose.date <= after[0].date]
    return {**found, "doses_between": len(between)}


def _measured_again(gates: Sequence[Gate]) -> float:
    """Day on which the water is measured again: tomorrow where fish are short of air, else once it may be right [d]."""
    short = any(gate.level == "stop" and gate.code in ("oxygen_low", "gasping") for gate in gates)
    return 1.0 if short else max(days_to_mend(tuple(gates)), 1.0)


def _without_agent(grounds: Grounds, action: str, reasons: Sequence[Reason]) -> dict[str, Any]:
    """What keeps every agent out and which one would serve, where a dose is wanted and none can be given."""
    if not {"no_dose_possible", "doses_fell_short"} & {reason.code for reason in reasons} or action == "dose":
        return {}
    said = tuple(note for note in notes_on(grounds.notes, ()) if note.level == "withhold")
    return {"withheld": said, "to_get": agents_missing(grounds.case, agents_to_get(grounds.case, grounds.estimates))}


def _reported(
    grounds: Grounds, facts: Facts, action: str, reasons: Sequence[Reason], doses: Sequence[DoseResult]
) -> tuple[Reason, ...]:
    """Add what is to be known besides, after why this is done today: flukes to report, what was given or planned."""
    case, codes = grounds.case, {reason.code for reason in reasons}
    besides = {
        "others_kill_more": facts.trouble
        and not codes & _OTHER_CAUSE
        and facts.others_far_more
        and all(_few_by_flukes(e) for e in grounds.estimates),
        "weak_before": action in ("dose", "water_first") and "doses_fell_short" not in codes and underdosed(case),
        "planned_waits": action in ("watch", "look_first", "discharge") and bool(case.doses_planned),
        "dose_killed": action in ("dose", "water_first") and any(killed_by_dose(e) for e in grounds.estimates),
        "treat_neighbours": bool(doses) and case.water.neighbours in ("some", "many"),
        "newcomers_untreated": action != "discharge"
        and bool(came_since(case))
        and not (facts.eradicate or facts.virus or case.findings.virus_test == "positive"),
        "notifiable": facts.notifiable and "identify_first" not in codes,
        "unknown_product": facts.unknown_given,
        "dosed_by_calendar": facts.by_calendar,
    }
    told = (*reasons, *(Reason(code) for code, holds in besides.items() if holds))
    numbers = {
        **reason_numbers(grounds),
        "dosed_now": float(action == "dose"),
        "done": float(action == "discharge"),
    }
    return tuple(replace(reason, numbers=numbers) for reason in told)


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


def _chances(grounds: Grounds, shown: EvaluatedSchedule | None) -> dict[str, float]:
    found = grounds.found
    chances = {
        "flukes_present": max(e.probability_infected for e in grounds.estimates),
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
    return _known(grounds.case, chances)


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
    once_more = LOOKS_APART_DAYS * (decision.look.clean_looks - 1)
    return replace(decision, release_date=decision.look.date + timedelta(days=once_more))

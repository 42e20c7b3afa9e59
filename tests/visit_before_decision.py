"""The decision object derived from `burden.visit`, for as long as there is no `burden.decide`; then this file goes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from burden.visit import Visit, visit

from burden.case import Case

__all__ = ["decision_of"]

_WATER = ("oxygen", "ammonia", "nitrite", "temperature")


def decision_of(case: Case, draws: int, seed: int) -> dict[str, Any]:
    """Run a visit and put it into the shape of the decision."""
    found = visit(case, draws, seed)
    plan = _plan(found)
    return {
        "action": _action(found, plan),
        "plan": plan,
        "gates": [{"code": code} for code in _WATER if any(code in note.text for note in found.notes)],
        "look": _look(found, plan),
        "other_treatments": [{"finding": other} for other in case.findings.other],
    }


def _action(found: Visit, plan: list[dict[str, Any]]) -> str:
    """What the first line comes to."""
    reason = found.withheld_reason or ""
    if plan:
        return "dose"
    if any(word in reason for word in ("oxygen is", "ammonia is", "nitrite is")):
        return "water_first"
    return "look_first" if "look" in reason or "looked" in reason else "watch"


def _plan(found: Visit) -> list[dict[str, Any]]:
    chosen = found.choice.recommended
    if chosen is None or found.withheld_reason is not None:
        return []
    dosed = enumerate(zip(chosen.plan.days, found.doses, strict=True), start=1)
    return [
        {
            "date": (found.case.visit_date + timedelta(days=day)).isoformat(),
            "number": number,
            "of": len(found.doses),
            "agent": dose.agent,
            "mg_l": dose.mg_l,
            "mass_g": dose.mass_g,
        }
        for number, (day, dose) in dosed
    ]


def _look(found: Visit, plan: list[dict[str, Any]]) -> dict[str, Any] | None:
    if found.recheck is None:
        return None
    last = max(found.choice.recommended.plan.days) if plan and found.choice.recommended is not None else 0.0
    day = found.case.visit_date + timedelta(days=last + found.recheck.day)
    return {"date": day.isoformat(), "fish": found.recheck.fish}

"""Plans the page offers at a tap: recommended, customary, as planned, nothing; and a tried plan as planned doses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.page.library import report_rows
from burden.page.what_if import HORIZON_DAYS
from burden.treatment.flowing_bath import bath_in_flow

__all__ = ["plans_of", "with_planned"]


def plans_of(folder: Path, case: Case, customary: Sequence[Mapping[str, Any]] = ()) -> dict[str, Any]:
    """Return the plans there are for a case, each a list of {day, agent}, and what the strip must know.

    Parameters
    ----------
    folder : Path
        Whose last report names the recommended plan.
    case : Case
    customary : sequence of mapping
        The doses of the customary course, once they are known.
    """
    named = {
        "recommended": _recommended(folder, case),
        "customary": list(customary),
        "planned": [
            {"day": case.day_of(dose.date), "agent": dose.agent}
            for dose in case.doses_planned
            if 0 <= case.day_of(dose.date) <= HORIZON_DAYS
        ],
    }
    days = [case.visit_date + timedelta(days=day) for day in range(HORIZON_DAYS + 1)]
    return {
        "named": {name: doses for name, doses in named.items() if doses},
        "visit": case.visit_date.isoformat(),
        "shut": [number for number, day in enumerate(days) if not case.dose_possible_on(day)],
    }


def _recommended(folder: Path, case: Case) -> list[dict[str, Any]]:
    for row in report_rows(folder, "schedules.csv"):
        if row.get("role") == "recommended":
            dates, agents = row.get("dates", "").split(), row.get("agents", "").split()
            days = [case.day_of(date.fromisoformat(day)) for day in dates]
            return [{"day": day, "agent": agent} for day, agent in zip(days, agents, strict=False) if day >= 0]
    return []


def with_planned(form: Mapping[str, Any], case: Case, plan: Mapping[str, Any]) -> dict[str, Any]:
    """Return a form whose planned doses are those of a plan; planned moves that are no dose stay.

    Parameters
    ----------
    form : mapping
    case : Case
    plan : mapping
        doses, each {day, agent}.
    """
    kept = [row for row in form.get("planned", []) if row.get("action", "dose") != "dose"]
    doses = sorted((int(dose["day"]), str(dose["agent"])) for dose in plan.get("doses", ()))
    rows = [_planned(case, case.visit_date + timedelta(days=day), agent) for day, agent in doses]
    return {**form, "planned": sorted([*kept, *rows], key=lambda row: str(row.get("date")))}


def _planned(case: Case, day: date, agent: str) -> dict[str, Any]:
    bath = bath_in_flow(case, agent)
    return {"date": day.isoformat(), "agent": agent, "route": "bath", "mg_l": bath.mg_l, "hours": bath.hours}

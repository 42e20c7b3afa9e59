"""One row a pond: what is due next, of what how much, why, and how many flukes there are.

For whoever keeps a farm in a spreadsheet. The tidy table (`burden.report.tidy`) has everything, a row a quantity.
"""

from __future__ import annotations

from typing import Any

from burden.decision import Assessment
from burden.evidence import FRESH_WATER
from burden.inference.estimate_result import Estimate
from burden.report.page.answer import title_of
from burden.report.text.day_book import days_of, look_today_of
from burden.report.text.decision import headline
from burden.report.text.reasons import reason_text
from burden.utils.formatting import significant

__all__ = ["POND_COLUMNS", "POND_DATES", "POND_NUMBERS", "pond_row"]

POND_DATES = ("visit_date", "next_date", "dose_date", "look_date")
POND_NUMBERS = (
    *(
        "amount",
        "amount_for_l",
        "dose_mg_l",
        "bath_hours",
        "flukes_per_fish",
        "flukes_per_fish_low",
        "flukes_per_fish_high",
    ),
    *("chance_infected", "chance_few_untreated", "chance_few_planned", "chance_aim_untreated", "chance_aim_planned"),
    *("deaths_by_flukes_untreated", "deaths_by_flukes_untreated_low", "deaths_by_flukes_untreated_high"),
)
#: in order; `aim` is control or eradicate, `chance_aim_…` that it is met, `amount` that for `amount_for_l` of water;
#: `low` and `high` are the 5 and 95 % points, chances run from 0 to 1, and numbers have three digits
POND_COLUMNS = (
    *("pond", "case", "visit_date", "next_date", "next_step", "action", "answer", "reason"),
    *("dose_date", "agent", "amount", "amount_unit", "amount_for_l", "dose_mg_l", "bath_hours"),
    *("doses_given", "doses_planned", "look_date", "look_fish", "aim", "parasite", "fish_alive"),
    *(*POND_NUMBERS[4:], "draws", "seed"),
)
#: entries of a day-book that are no step of their own
_NO_STEP = ("none", "care", "food", "later", "empty")


def pond_row(visit: Assessment) -> dict[str, Any]:
    """Return one visit as one row.

    Parameters
    ----------
    visit : Assessment

    Returns
    -------
    dict
        Keys of `POND_COLUMNS`; dates as `datetime.date`, what does not apply None. Of several parasite sets it holds
        the one with the most flukes.
    """
    case, decision = visit.case, visit.decision
    heaviest = max(visit.estimates, key=lambda e: e.mean_abundance.median * e.probability_infected)
    row: dict[str, Any] = {
        "pond": title_of(visit),
        "case": case.name,
        "visit_date": case.visit_date,
        "action": decision.action,
        "answer": headline(decision),
        "reason": reason_text(decision.reasons[0]) if decision.reasons else None,
        "doses_given": len(case.doses_given),
        "doses_planned": len(decision.plan),
        "look_date": None if decision.look is None else decision.look.date,
        "look_fish": None if decision.look is None else decision.look.fish,
        "aim": decision.recommendation.aim.kind,
        "fish_alive": case.fish_count,
        "draws": decision.draws,
        "seed": decision.seed,
        **_next(visit),
        **_dose(visit),
        **_numbers(visit, heaviest),
    }
    return {name: row.get(name) for name in POND_COLUMNS}


def _next(visit: Assessment) -> dict[str, Any]:
    days = [day for day in (*days_of(visit), *look_today_of(visit)) if day.kind not in _NO_STEP]
    if not days:
        return {}
    first = min(days, key=lambda day: day.date)
    return {"next_date": first.date, "next_step": first.headline}


def _dose(visit: Assessment) -> dict[str, Any]:
    """The first dose of the plan; its amount in g or mL of the product."""
    if not visit.decision.plan:
        return {}
    dose = visit.decision.plan[0]
    amount, unit = (dose.product_g, "g") if dose.product_ml is None else (dose.product_ml, "mL")
    if dose.agent == FRESH_WATER:
        return {"dose_date": dose.date, "agent": dose.agent, "bath_hours": significant(dose.hours)}
    return {
        "dose_date": dose.date,
        "agent": dose.agent,
        "amount": significant(amount),
        "amount_unit": None if amount is None else unit,
        "amount_for_l": significant(dose.bath_volume_l),
        "dose_mg_l": significant(dose.mg_l),
        "bath_hours": significant(dose.hours),
    }


def _numbers(visit: Assessment, e: Estimate) -> dict[str, Any]:
    chances, deaths = visit.decision.chances, visit.decision.deaths.get("flukes_untreated")
    found = {
        "chance_infected": e.probability_infected,
        "chance_few_untreated": chances.get("kept_untreated"),
        "chance_few_planned": chances.get("kept_planned") if visit.decision.plan else None,
        "chance_aim_untreated": chances.get("aim_untreated"),
        "chance_aim_planned": chances.get("aim_planned") if visit.decision.plan else None,
    }
    for name, value in (("flukes_per_fish", e.mean_abundance), ("deaths_by_flukes_untreated", deaths)):
        if value is not None:
            found |= {name: value.median, f"{name}_low": value.low, f"{name}_high": value.high}
    return {"parasite": e.parasite, **{name: significant(value) for name, value in found.items()}}

"""The treatments of a case as a table for the file and the authority: given, then planned; no personal data.

Blank cells are what nobody wrote down: a batch is known to whoever gave the dose.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from burden.case import Action
from burden.decision import Assessment
from burden.decision.records import PlannedDose
from burden.evidence import FRESH_WATER, agent_names
from burden.report.text.decision import tells_authority
from burden.treatment.withdrawal import withdrawals
from burden.utils.formatting import significant

__all__ = ["TREATMENT_COLUMNS", "treatments_of"]

TREATMENT_COLUMNS = (
    *("state", "date", "agent", "route", "batch", "strength_percent", "dose_mg_l", "dose_mg_per_kg", "hours"),
    *("water_l", "product_g", "product_ml", "fish", "species", "mean_weight_g", "food_fish"),
    *("withdrawal_degree_days", "withdrawal_end", "product_g_per_m3", "product_ml_per_m3"),
    "only_once",
)


_OF_A_PRODUCT = (
    *("strength_percent", "dose_mg_l", "product_g", "product_ml", "product_g_per_m3", "product_ml_per_m3"),
)


def treatments_of(visit: Assessment) -> list[dict[str, Any]]:
    """Return the doses given and planned, a row each, by date.

    Parameters
    ----------
    visit : Assessment

    Returns
    -------
    list of dict
        Keys of `TREATMENT_COLUMNS`. `only_once` is authority_told where a planned dose waits for that.
        `withdrawal_end` counts from that dose alone, for food fish, as the example that
        the evidence gives: the label and local rules decide.
    """
    return [*(_given(visit, one) for one in sorted(visit.case.doses_given, key=lambda one: one.date)), *_planned(visit)]


def _given(visit: Assessment, one: Action) -> dict[str, Any]:
    water = visit.case.water.volume_l.value if one.volume_l_believed is None else one.volume_l_believed
    return {
        **_about(visit, one.date, one.agent),
        "state": "given",
        "route": one.route,
        "batch": one.batch,
        "strength_percent": one.strength_percent,
        "dose_mg_l": one.concentration_mg_l,
        "dose_mg_per_kg": one.mg_per_kg_fish,
        "hours": one.hours,
        "water_l": None if one.route in ("in_feed", "dip") else float(water),
        **_without_product(one.agent),
    }


def _planned(visit: Assessment) -> Iterator[dict[str, Any]]:
    for planned, dose in zip(visit.decision.plan, visit.doses, strict=False):
        yield {
            **_about(visit, planned.date, planned.agent),
            "state": "planned",
            "route": dose.route,
            "strength_percent": dose.strength_percent,
            "dose_mg_l": planned.mg_l,
            "hours": planned.hours,
            "only_once": "authority_told" if tells_authority(visit.decision) else None,
            **_amounts(planned),
            **_without_product(planned.agent),
        }


def _amounts(planned: PlannedDose) -> dict[str, float | None]:
    """How much into all the water; into each cubic metre of a bath apart, whose size nobody knows yet."""
    share = planned.in_all * (1000 / planned.bath_volume_l if planned.apart else 1)
    grams, millilitres = map(significant, planned.product_times(share))
    if planned.apart:
        return {"product_g_per_m3": grams, "product_ml_per_m3": millilitres}
    return {"water_l": planned.bath_volume_l, "product_g": grams, "product_ml": millilitres}


def _without_product(agent: str | None) -> dict[str, None]:
    """A bath in water alone has no strength, no dose and nothing to weigh."""
    return dict.fromkeys(_OF_A_PRODUCT) if agent == FRESH_WATER else {}


def _about(visit: Assessment, day: date, agent: str | None) -> dict[str, Any]:
    """What a row says of the fish, and until when nobody may eat them."""
    case = visit.case
    return {
        "date": day.isoformat(),
        "agent": agent,
        "fish": case.fish_on(min(day, case.visit_date)),
        "species": " ".join(dict.fromkeys(group.species for group in case.fish)),
        "mean_weight_g": float(case.mean_weight_g.value),
        "food_fish": "yes" if case.food_fish else "no",
        **_withdrawal(visit, day, agent),
    }


def _withdrawal(visit: Assessment, day: date, agent: str | None) -> dict[str, Any]:
    if not visit.case.food_fish or agent not in agent_names():
        return {}
    temperature = visit.estimates[0].posterior.pond.setting.temperature
    (found,) = withdrawals([float(visit.case.day_of(day))], [agent], temperature)
    end = None if found.latest_day is None else visit.decision.date_of(found.latest_day).isoformat()
    # whether a product is approved the table cannot know
    return {"withdrawal_degree_days": found.longest_degree_days, "withdrawal_end": end}

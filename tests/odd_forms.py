"""Forms in which numbers look odd or lie out of their limits: for what looks at them with Python and without."""

from __future__ import annotations

__all__ = ["ODD_FORMS", "OUT_OF_LIMITS", "a_form"]


def a_form(**tables):
    """A whole form, with some of its tables changed in some keys, others in place of its own."""
    base = {
        "case": {"visit_date": "2026-05-10"},
        "water": {"volume_l": 18000, "medium": "fresh", "temperature_c": 18},
        "fish": [koi(1200)],
        "parasite": {"set": "dactylogyrus"},
        "samples": [a_row("12"), a_row(">50", fish="2")],
        "given": [{"date": "2026-05-01", "agent": "praziquantel", "mg_l": 2.5}],
    }
    return {
        name: {**base[name], **new} if name in base and isinstance(new, dict) else new for name, new in tables.items()
    } | {name: table for name, table in base.items() if name not in tables}


def a_row(count, **more):
    row = {"date": "2026-05-10", "fish": "1", "chosen": "netted", "site": "gill", "method": "gill_clip"}
    return {**row, "count": count, **more}


def koi(grams, **more):
    return {"species": "koi", "count": 24, "food_fish": "no", "mean_weight_g": grams, **more}


#: every rule of the program is met by one of these, some by several rows
ODD_FORMS = (
    a_form(),
    a_form(water={"oxygen_mg_l": 0.4, "total_ammonia_n_mg_l": 30, "nitrite_n_mg_l": 20.5, "exchange_per_day": 5}),
    a_form(water={"exchange_per_day": 5, "kind": "raceway", "salinity_g_l": 33}),
    a_form(water={"salinity_g_l": 3.5, "medium": "sea"}),
    a_form(water={"volume_l": {"value": 18, "low": 17, "high": 19}}),
    a_form(fish=[koi(0.4)]),
    a_form(fish=[koi(0.4, length_mm=28)]),
    a_form(fish=[koi({"value": 6e4, "low": 5e4, "high": 7e4})]),
    a_form(samples=[a_row("46315"), a_row(">20000", fish="2"), a_row("12000", method="whole_organ", fish="3")]),
    a_form(samples=[a_row("3", date="2022-05-10"), a_row("3")]),
    a_form(samples=[a_row("3", date="2025-05-10"), a_row("4", date="2025-05-09")]),
    a_form(
        given=[
            {"date": "2021-05-01", "agent": "unknown"},
            {"date": "2026-05-01", "agent": "formalin", "mg_l": 20, "strength_percent": 0.37},
            {"date": "2026-05-02", "agent": "formalin", "mg_l": 20, "strength_percent": 0.4, "volume_l_believed": 18},
            {"date": "2026-05-03", "action": "water_change", "water_change_after": 0.3},
        ],
        planned=[{"date": "2027-05-20", "action": "water_change", "water_change_after": 0.3}],
    ),
    a_form(deaths=[{"date": "2022-01-01", "deaths": "1"}, {"date": "2026-04-30", "deaths": "2"}]),
)
OUT_OF_LIMITS = a_form(
    water={"ph": 12, "oxygen_mg_l": 26, "temperature_c": 72, "volume_l": 0},
    findings={"haematocrit_percent": 81},
    given=[{"date": "2026-05-01", "agent": "formalin", "mg_l": 0, "hours": 0}],
)

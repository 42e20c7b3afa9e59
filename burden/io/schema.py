"""The shape of case.toml. Each field's description is what the problem list calls "expected".

This module needs pydantic at import; `burden.io` imports it only when a case is read.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag

from burden.io.schema_values import (
    AtLeast0,
    Day,
    Name,
    Positive,
    Temperature,
    Text,
    YesNo,
    as_list,
    choice,
    day_of_year,
    form_of,
    label,
    number,
    or_yes_no,
    visit_day,
    water_share,
    whole,
    wrong,
)
from burden.utils.safe_text import one_line

__all__ = [
    "OTHER_FINDINGS",
    "TABLES",
    "WEIGHT_LIMITS_G",
    "ActionTable",
    "ArrivalBlock",
    "ArrivalTable",
    "CaseTable",
    "FindingsTable",
    "FishFindingsTable",
    "FishTable",
    "LimitsTable",
    "LookingTable",
    "NumberOrRange",
    "OverrideTable",
    "ParasiteTable",
    "PlaceTable",
    "RangeTable",
    "WaterTable",
    "YearlyTable",
]

OTHER_FINDINGS = (
    *("ciliates", "white_spot", "flagellates", "bacterial_gill_disease", "fungus", "leeches", "crustaceans"),
    *("virus_suspected", "unknown"),
)

#: a larva that has just hatched, and more than any fish, or all of a pond taken for one: assumptions [g]
WEIGHT_LIMITS_G = (0.0001, 10_000_000.0)


def _outlook_form(value: Any) -> str:
    """Name the form of what is said of the temperature ahead."""
    if isinstance(value, BaseModel):
        return "form:place" if isinstance(value, PlaceTable) else "form:table"
    if isinstance(value, Mapping):
        return "form:place" if "latitude" in value else "form:table"
    return "form:text"


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RangeTable(_Table):
    """A number with its own range."""

    value: Positive = Field(description="a number above 0")
    low: Positive = Field(description="the lower end of the range (5 % point), above 0")
    high: Positive = Field(description="the upper end of the range (95 % point)")
    how: Text = Field("as given", description="how it was measured, in words")


NumberOrRange = Annotated[
    Annotated[Positive, Tag("form:number")] | Annotated[RangeTable, Tag("form:table")],
    Discriminator(lambda value: "form:table" if isinstance(value, Mapping | RangeTable) else "form:number"),
]


def _between(low: float, high: float) -> AfterValidator:
    """Accept a number or a range that lies between two limits."""

    def check(value: float | RangeTable) -> float | RangeTable:
        ends = (value.value, value.low, value.high) if isinstance(value, RangeTable) else (value,)
        if min(ends) < low or max(ends) > high:
            raise wrong(f"It must be from {low:.12g} to {high:.12g}. Check the unit.")
        return value

    return AfterValidator(check)


class YearlyTable(_Table):
    """A yearly cosine of the temperature."""

    mean_c: Temperature = Field(description="the mean over the year in °C")
    swing_c: Annotated[float, number(0, 25)] = Field(description="half of highest minus lowest, in °C")
    warmest_day: Annotated[tuple[int, int], BeforeValidator(day_of_year)] = Field(
        description="the warmest day, a date or MM-DD"
    )


class PlaceTable(_Table):
    """A place outdoors."""

    latitude: Annotated[float, number(-75, 75)] = Field(
        description="degrees from the equator, −75 to 75, south negative"
    )


class CaseTable(_Table):
    """[case]"""

    visit_date: Day = Field(description="the date of decision, as 2026-05-10")
    title: Text = Field("", description="a title in words")
    trouble_since: Day | None = Field(None, description="the date the trouble began")
    aim: Annotated[str, choice("control", "eradicate")] | None = Field(None, description="control or eradicate")


class WaterTable(_Table):
    """[water]"""

    volume_l: NumberOrRange = Field(description="litres of water in all, above 0")
    medium: Annotated[str, choice("fresh", "sea")] = Field(description="fresh or sea")
    temperature_c: Annotated[
        Annotated[Temperature, Tag("form:number")]
        | Annotated[Text, Tag("form:text")]
        | Annotated[YearlyTable, Tag("form:table")],
        Discriminator(lambda value: form_of(value) if form_of(value) != "form:list" else "form:number"),
    ] = Field(description="the temperature in °C (−2.5 to 40), a file name, or {mean_c, swing_c, warmest_day}")
    exchange_per_day: Annotated[float, number(0, 200)] | None = Field(
        None, description="share of the water replaced a day, 0.1 for 10 %"
    )
    egg_removal_per_day: Annotated[float, number(0, 20)] | None = Field(
        None, description="rate at which cleaning and a mechanical filter carry eggs off, 0.1 for 10 % a day"
    )
    oxygen_mg_l: Annotated[float, number(0, 25)] | None = Field(None, description="oxygen in mg/L, 0 to 25")
    salinity_g_l: Annotated[float, number(0, 80)] | None = Field(None, description="salinity in g/L, 0 to 80")
    ph: Annotated[float, number(3, 11)] | None = Field(None, description="pH, 3 to 11")
    alkalinity_mg_l_caco3: Annotated[float, number(0, 1000)] | None = Field(
        None, description="alkalinity in mg/L as CaCO3, 0 to 1000"
    )
    alkalinity_dkh: Annotated[float, number(0, 56)] | None = Field(
        None, description="alkalinity (carbonate hardness) in °dKH, 0 to 56"
    )
    total_ammonia_n_mg_l: Annotated[float, number(0, 500)] | None = Field(
        None, description="total ammonia in mg/L of nitrogen, 0 to 500"
    )
    nitrite_n_mg_l: Annotated[float, number(0, 500)] | None = Field(
        None, description="nitrite in mg/L of nitrogen, 0 to 500"
    )
    filter: Annotated[str, choice("none", "naive", "adapted")] | None = Field(
        None, description="none, naive (has not met the agent) or adapted"
    )
    outlook: (
        Annotated[
            Annotated[str, choice("indoors", "heated"), Tag("form:text")]
            | Annotated[PlaceTable, Tag("form:place")]
            | Annotated[YearlyTable, Tag("form:table")],
            Discriminator(_outlook_form),
        ]
        | None
    ) = Field(None, description='"indoors", "heated", {latitude} or {mean_c, swing_c, warmest_day}')
    kind: Annotated[str, choice("pond", "tank", "raceway", "cage")] | None = Field(
        None, description="pond, tank, raceway or cage"
    )
    neighbours: Annotated[str, choice("none", "some", "many")] | None = Field(
        None, description="fish with flukes upstream or near in the same water: none, some or many"
    )
    chloride_mg_l: Annotated[float, number(0, 25_000)] | None = Field(
        None, description="chloride in mg/L, 0 to 25000: it protects fish from nitrite"
    )
    tap_chlorine_mg_l: Annotated[float, number(0, 10)] | None = Field(
        None, description="free chlorine of the water filled in, in mg/L, 0 to 10; on record only"
    )
    uv: YesNo | None = Field(None, description="yes or no")
    aeration: YesNo | None = Field(None, description="yes or no")


class ArrivalTable(_Table):
    """One entry of new_arrivals"""

    date: Day = Field(description="the date the fish came, as 2026-05-10")
    count: Annotated[int, whole(1)] = Field(description="how many came, 1 or more")
    flukes_seen: Annotated[int, whole(0)] | None = Field(None, description="flukes seen on arrival, 0 or more")
    preparations: Annotated[int, whole(1)] | None = Field(
        None, description="how many preparations, of a fish each, showed them, 1 or more"
    )
    treated: YesNo | None = Field(None, description="yes or no: treated against flukes on arrival")
    naive: YesNo | None = Field(None, description="yes or no: whether they had never met the fluke")


class ArrivalBlock(ArrivalTable):
    """One [[arrivals]]"""

    species: Text | None = Field(None, description="the species of a [[fish]] block, where there are several")


class FishTable(_Table):
    """[fish], or one [[fish]]"""

    species: Text = Field(description="the species, in words")
    count: Annotated[int, whole(1)] = Field(description="fish alive on the visit date, 1 or more")
    food_fish: YesNo = Field(description="yes or no")
    mean_weight_g: Annotated[NumberOrRange, _between(*WEIGHT_LIMITS_G)] | None = Field(
        None, description="the mean weight in g, {:.12g} to {:.12g}".format(*WEIGHT_LIMITS_G)
    )
    length_mm: Annotated[float, number(1, 5000)] | None = Field(None, description="the mean length in mm, 1 to 5000")
    new_arrivals: tuple[ArrivalTable, ...] = Field((), description="a list of {date, count}")
    lethal_sampling_allowed: (
        Annotated[
            Annotated[YesNo, Tag("form:yes_no")] | Annotated[int, whole(0), Tag("form:number")],
            Discriminator(or_yes_no),
        ]
        | None
    ) = Field(None, description="how many fish may be killed to look at, 0 or more; or yes or no")
    naive: YesNo | None = Field(None, description="yes or no: whether the fish here first had never met the fluke")
    newcomers_apart: YesNo | None = Field(
        None, description="yes or no: bought-in fish, held apart until they may join others"
    )
    harvest_date: Day | None = Field(None, description="the date food fish are to be harvested, as 2026-05-10")


class OverrideTable(_Table):
    """[parasite.override.NAME]"""

    value: Annotated[float, number(-math.inf)] = Field(description="a number in the evidence's unit")
    low: Annotated[float, number(-math.inf)] | None = Field(None, description="the 5 % point")
    high: Annotated[float, number(-math.inf)] | None = Field(None, description="the 95 % point")
    source: Text = Field("no source given", description="where it is from, in words")


class ParasiteTable(_Table):
    """[parasite]"""

    set: Annotated[tuple[Name, ...], BeforeValidator(as_list), Field(min_length=1)] = Field(
        description="the name of a parasite set, or a list of names"
    )
    gill_flukes_on_skin: YesNo = Field(True, description="yes or no: read skin scrapes for gill flukes too")
    override: dict[str, OverrideTable] = Field(
        default_factory=dict, description="tables [parasite.override.NAME] with value, low, high, source"
    )


class FishFindingsTable(_Table):
    """One entry of [findings] fish"""

    fish: Annotated[str, BeforeValidator(label), Field(min_length=1)] = Field(
        description="the label the fish has in samples.csv on the visit date"
    )
    gill_colour: Annotated[str, choice("normal", "pale", "brown")] | None = Field(
        None, description="normal, pale or brown"
    )
    gill_mucus: YesNo | None = Field(None, description="yes or no: whether its gills are covered in mucus")
    gill_swollen: YesNo | None = Field(None, description="yes or no: whether its gills are swollen or damaged")


class FindingsTable(_Table):
    """[findings]"""

    other: Annotated[tuple[Annotated[str, choice(*OTHER_FINDINGS)], ...], BeforeValidator(as_list)] = Field(
        (), description=f"a list out of {', '.join(OTHER_FINDINGS)}"
    )
    gill_colour: Annotated[str, choice("normal", "pale", "brown")] | None = Field(
        None, description="normal, pale or brown"
    )
    gill_mucus: YesNo | None = Field(None, description="yes or no: whether the gills are covered in mucus")
    gill_swollen: YesNo | None = Field(None, description="yes or no: whether the gills are swollen")
    haematocrit_percent: Annotated[float, number(0, 80)] | None = Field(
        None, description="red cells in the blood in percent, 0 to 80"
    )
    anaemia: YesNo | None = Field(None, description="yes or no: whether the fish are anaemic")
    gasping: YesNo | None = Field(None, description="yes or no: whether fish gasp today")
    fish: tuple[FishFindingsTable, ...] = Field((), description="a list of {fish, gill_colour, …}, one a fish")
    feeding: Annotated[str, choice("normal", "less", "none")] | None = Field(
        None, description="normal, less or none: how fish feed"
    )
    ulcers: YesNo | None = Field(None, description="yes or no: whether fish have ulcers; on record only")
    virus_test: Annotated[str, choice("sent", "negative", "positive")] | None = Field(
        None, description="sent, negative or positive: the test of a virus that is suspected in other"
    )
    note: Annotated[str, AfterValidator(one_line)] = Field("", description="a note in words")


class LookingTable(_Table):
    """[looking]"""

    gill_clip_share: NumberOrRange | None = Field(None, description="share of all gills on one slide, above 0 to 1")


class LimitsTable(_Table):
    """[limits]"""

    agents: Annotated[tuple[Name, ...], BeforeValidator(as_list)] | None = Field(
        None, description="a list of agent names"
    )
    max_doses: Annotated[int, whole(0)] | None = Field(
        None, description="a whole number, 0 or more: doses of a course, those given counted"
    )
    visit_days: (
        Annotated[
            tuple[Annotated[str | dt.date | int, BeforeValidator(visit_day)], ...],
            BeforeValidator(as_list),
        ]
        | None
    ) = Field(None, description="a list of weekdays, dates, or whole days after the visit")
    shortest_gap_days: AtLeast0 | None = Field(None, description="days between two doses, 0 or more")
    max_formalin_mg_l_total: AtLeast0 | None = Field(None, description="mg/L over all doses, 0 or more")
    can_heat_to_c: Temperature | None = Field(None, description="a temperature in °C, −2.5 to 40")
    spare_tank: YesNo | None = Field(None, description="yes or no")
    tolerable_flukes_per_fish: Annotated[float, number(0, 1e7, above=True)] | None = Field(
        None, description="the mean number of flukes a fish that may stay, above 0"
    )
    strength_percent: dict[Name, Annotated[float, number(0, 100, above=True)]] = Field(
        default_factory=dict, description="a table of agents, the strength of each product in percent"
    )
    first_dose: Annotated[str, choice("today", "tomorrow")] | None = Field(None, description="today or tomorrow")


class ActionTable(_Table):
    """One [[given]] or [[planned]]"""

    date: Day = Field(description="a date as 2026-05-10")
    action: Annotated[str, choice("dose", "water_change", "move_fish", "drain_dry", "heat")] = Field(
        "dose", description="dose, water_change, move_fish, drain_dry or heat"
    )
    agent: Name | None = Field(None, description='the name of an agent, or "unknown"')
    route: Annotated[str, choice("bath", "in_feed", "dip")] | None = Field(None, description="bath, in_feed or dip")
    mg_l: Positive | None = Field(None, description="mg/L, above 0")
    mg_per_kg_fish: Positive | None = Field(None, description="mg per kg of fish, above 0")
    g_l: Annotated[float, number(0, 400, above=True)] | None = Field(None, description="g/L, above 0 to 400")
    hours: Positive | None = Field(None, description="hours, above 0")
    strength_percent: Annotated[float, number(0, 100, above=True)] | None = Field(
        None, description="percent, above 0 to 100"
    )
    volume_l_believed: Positive | None = Field(None, description="litres, above 0")
    water_change_after: (
        Annotated[
            Annotated[YesNo, Tag("form:yes_no")]
            | Annotated[float, number(0, 1), BeforeValidator(water_share), Tag("form:number")],
            Discriminator(or_yes_no),
        ]
        | None
    ) = Field(None, description="the share of the water changed, 0 to 1; or yes or no")
    uv_or_carbon_on: YesNo | None = Field(None, description="yes or no")
    told_by: Annotated[str, choice("owner", "record")] | None = Field(None, description="owner or record")
    batch: Text | None = Field(None, description="the batch number on the pack, in quotes")


#: tables of case.toml: model, required, a list of blocks
TABLES: dict[str, tuple[type[BaseModel], bool, bool]] = {
    "case": (CaseTable, True, False),
    "water": (WaterTable, True, False),
    "fish": (FishTable, True, True),
    "arrivals": (ArrivalBlock, False, True),
    "parasite": (ParasiteTable, True, False),
    "looking": (LookingTable, False, False),
    "findings": (FindingsTable, False, False),
    "limits": (LimitsTable, False, False),
    "given": (ActionTable, False, True),
    "planned": (ActionTable, False, True),
}

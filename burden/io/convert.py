"""From the tables of case.toml to the types of a case: units, ranges and names in one form."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from burden.case import (
    ASSUMED_EXCHANGE_PER_DAY,
    UNKNOWN_AGENT,
    Action,
    Arrival,
    ConstantTemperature,
    Findings,
    FishFindings,
    FishGroup,
    Limits,
    Outlook,
    Override,
    Place,
    TemperatureSpec,
    Uncertain,
    Water,
    YearlyTemperature,
)
from burden.evidence import Value, agent_names, load_parasite, parasite_names, unsuitable
from burden.io.case_toml import CASE_FILE
from burden.io.csv_logs import read_temperature
from burden.io.files import Notes, hint
from burden.treatment.published_dose import LEAST_STRENGTH_PERCENT
from burden.utils.errors import Problem
from burden.utils.formatting import counted, named

if TYPE_CHECKING:
    from burden.io.schema import (
        ActionTable,
        ArrivalBlock,
        ArrivalTable,
        FindingsTable,
        FishTable,
        LimitsTable,
        LookingTable,
        OverrideTable,
        ParasiteTable,
        PlaceTable,
        RangeTable,
        WaterTable,
        YearlyTable,
    )

__all__ = [
    "ASSUMED_WATER_CHANGE",
    "MG_L_CACO3_PER_DKH",
    "build_actions",
    "build_clip_share",
    "build_findings",
    "build_fish",
    "build_limits",
    "build_overrides",
    "build_parasites",
    "build_water",
    "with_arrivals",
]

#: share of the water meant by a water change of no stated size [-]: an assumption
ASSUMED_WATER_CHANGE = 0.5
#: 1 °dKH is 10 mg/L of CaO as carbonate: 10 × 100.09 / 56.08 = 17.85, by convention 17.8 [mg/L CaCO3]
MG_L_CACO3_PER_DKH = 17.8


def build_water(folder: Path, table: WaterTable, notes: Notes) -> Water | None:
    """Return the water, its temperature record read; None where that cannot be read."""
    volume = _uncertain(table.volume_l, "[water] volume_l", notes)
    temperature = _temperature(folder, table, notes)
    alkalinity = table.alkalinity_mg_l_caco3
    if table.alkalinity_dkh is not None:
        converted = round(table.alkalinity_dkh * MG_L_CACO3_PER_DKH, 3)
        if alkalinity is not None and abs(alkalinity - converted) > 0.05 * converted:
            fix = f"{table.alkalinity_dkh:g} °dKH is {converted:g} mg/L CaCO3: keep one of the two keys."
            expected = "one alkalinity"
            notes.problem(CASE_FILE, "[water] alkalinity_mg_l_caco3", alkalinity, expected, fix)
        alkalinity = converted if alkalinity is None else alkalinity
    if volume is None or temperature is None:
        return None
    own = {"volume_l", "temperature_c", "alkalinity_mg_l_caco3", "alkalinity_dkh", "outlook"}
    rest: dict[str, Any] = table.model_dump(exclude=own)
    rest["egg_removal_per_day"] = rest["egg_removal_per_day"] or 0.0
    if rest["exchange_per_day"] is None:
        rest["exchange_per_day"] = ASSUMED_EXCHANGE_PER_DAY.get(table.kind or "", 0.0)
    outlook = _outlook(table.outlook, notes)
    return Water(volume, temperature=temperature, alkalinity_mg_l_caco3=alkalinity, outlook=outlook, **rest)


def _outlook(table: str | PlaceTable | YearlyTable | None, notes: Notes) -> Outlook | None:
    from burden.io.schema import PlaceTable, YearlyTable

    if isinstance(table, PlaceTable):
        return Place(table.latitude)
    if isinstance(table, YearlyTable):
        return _yearly(table, "[water] outlook", notes)
    return "heated" if table == "heated" else None if table is None else "indoors"


def _temperature(folder: Path, table: WaterTable, notes: Notes) -> TemperatureSpec | None:
    given = table.temperature_c
    place = "[water] temperature_c"
    if given is None:  # could not be read, and was noted
        return None
    if isinstance(given, float):
        return ConstantTemperature(given)
    if isinstance(given, str):
        if given.replace(",", ".").rstrip("°C ").replace(".", "", 1).isdigit():
            notes.problem(CASE_FILE, place, given, "a number", "Write it without quotes and without unit.")
            return None
        before = len(notes.problems)
        record = read_temperature(folder, given, notes)
        for number, problem in enumerate(notes.problems[before:], start=before):
            if problem.place == "file":  # the name is at fault: tell where it stands
                fix = f"{problem.fix} Or give a number."
                notes.problems[number] = Problem(CASE_FILE, place, given, problem.expected, fix)
        return record
    return _yearly(given, place, notes)


def _yearly(table: YearlyTable, place: str, notes: Notes) -> YearlyTemperature:
    if table.mean_c + table.swing_c > 40:
        fix = "swing_c is half of highest minus lowest."
        notes.problem(CASE_FILE, place, table.mean_c + table.swing_c, "a highest of at most 40 °C", fix)
    return YearlyTemperature(table.mean_c, table.swing_c, table.warmest_day)


def _uncertain(given: float | RangeTable | None, place: str, notes: Notes) -> Uncertain | None:
    if given is None or isinstance(given, float):
        return None if given is None else Uncertain.plain(given)
    if not given.low <= given.value <= given.high:
        shown = f"{given.low:g}, {given.value:g}, {given.high:g}"
        notes.problem(CASE_FILE, place, shown, "low <= value <= high", "Put the three in order.")
        return None
    return Uncertain(given.value, given.low, given.high, given.how)


def build_clip_share(table: LookingTable | None, notes: Notes) -> Uncertain | None:
    """Return what one clip shows of all gills, where the case says so."""
    share = _uncertain(table.gill_clip_share, "[looking] gill_clip_share", notes) if table else None
    if share is not None and max(share.value, share.high) > 1:
        fix = "For half a percent write 0.005."
        notes.problem(CASE_FILE, "[looking] gill_clip_share", share.high, "a share of all gills, above 0 to 1", fix)
        return None
    return share


def build_fish(table: FishTable, place: str, notes: Notes) -> FishGroup:
    """Return one group of fish."""
    return FishGroup(
        table.species,
        table.count,
        table.food_fish,
        mean_weight_g=_uncertain(table.mean_weight_g, f"{place} mean_weight_g", notes),
        length_mm=table.length_mm,
        new_arrivals=tuple(
            _arrival(a, f"{place} new_arrivals {i}", notes) for i, a in enumerate(table.new_arrivals, 1)
        ),
        lethal_sampling_allowed=_lethal_limit(table, notes),
        naive=table.naive,
        newcomers_apart=table.newcomers_apart,
        harvest_date=table.harvest_date,
    )


def _arrival(table: ArrivalTable, place: str, notes: Notes) -> Arrival:
    if (table.flukes_seen is None) != (table.preparations is None):
        missing = "preparations" if table.preparations is None else "flukes_seen"
        fix = "Give both, or neither where nobody looked."
        notes.problem(CASE_FILE, f"{place} {missing}", "missing", "flukes_seen and preparations together", fix)
    return Arrival(**table.model_dump(exclude={"species"}))


def with_arrivals(
    groups: tuple[FishGroup, ...], tables: tuple[ArrivalBlock | None, ...], notes: Notes
) -> tuple[FishGroup, ...]:
    """Return the groups with the fish of [[arrivals]] beside those of their own new_arrivals, by date."""
    came: dict[int, list[Arrival]] = {}
    for number, table in enumerate(tables, start=1):
        if table is None:
            continue
        place, species = f"[[arrivals]] {number}", [group.species for group in groups]
        if table.species is None and len(groups) > 1:
            fix = "Add species, as its [[fish]] block has it."
            notes.problem(CASE_FILE, f"{place} species", "missing", f"one of {', '.join(species)}", fix)
        elif table.species is not None and groups and table.species not in species:
            fix = hint(table.species, species)
            notes.problem(CASE_FILE, f"{place} species", table.species, f"one of {', '.join(species)}", fix)
        else:
            mine = 0 if table.species is None else species.index(table.species)
            came.setdefault(mine, []).append(_arrival(table, place, notes))
    return tuple(
        replace(group, new_arrivals=tuple(sorted((*group.new_arrivals, *came.get(g, ())), key=lambda a: a.date)))
        for g, group in enumerate(groups)
    )


def _lethal_limit(table: FishTable, notes: Notes) -> int | None:
    """Return how many fish may be killed; a plain yes sets no limit but the stock."""
    if table.lethal_sampling_allowed is not True:
        return None if table.lethal_sampling_allowed is None else int(table.lethal_sampling_allowed)
    notes.assume(f"How many {table.species} may be killed to look at is not given: we assume no limit.")
    return table.count


def build_parasites(table: ParasiteTable, notes: Notes) -> tuple[str, ...]:
    """Return the sets the case names, each once; an unknown name is a problem with its near miss."""
    known = parasite_names()
    names = tuple(dict.fromkeys(table.set))
    for name in names:
        if name not in known:
            fix = hint(name, known)
            notes.problem(CASE_FILE, "[parasite] set", name, f"one of {', '.join(known)}", fix)
    return tuple(name for name in names if name in known)


def build_overrides(table: ParasiteTable, sets: tuple[str, ...], notes: Notes) -> Mapping[str, Override]:
    """Return the case's own values; where no range is given, the evidence's range moves along."""
    values: dict[str, Value] = {}
    for name in reversed(sets):
        values |= load_parasite(name).values
    found = {}
    for name, own in table.override.items():
        place = f"[parasite.override.{name}]"
        if sets and name not in values:
            fix = hint(name, values)
            notes.problem(CASE_FILE, place, name, f"a value of {' or '.join(sets)}", fix)
        elif sets and (override := _override(own, values[name], place, notes)) is not None:
            found[name] = override
    return MappingProxyType(found)


def _override(own: OverrideTable, value: Value, place: str, notes: Notes) -> Override | None:
    floor, ceiling = {"log": (0.0, math.inf), "logit": (0.0, 1.0)}.get(value.scale, (-math.inf, math.inf))
    given = [x for x in (own.low, own.value, own.high) if x is not None]
    shown = ", ".join(f"{x:g}" for x in given)
    if not all(floor < x < ceiling for x in given):
        limits = "above 0" if math.isinf(ceiling) else "between 0 and 1"
        notes.problem(CASE_FILE, place, shown, f"numbers {limits} [{value.unit}]", "Check value and unit.")
        return None
    if given != sorted(given):
        notes.problem(CASE_FILE, place, shown, "low <= value <= high", "Put the three in order.")
        return None
    low, high = (_moved(edge, value, own.value) for edge in (value.low, value.high))
    low = low if own.low is None else own.low
    high = high if own.high is None else own.high
    return Override(value.name, own.value, min(low, own.value), max(high, own.value), own.source)


def _moved(edge: float, value: Value, to: float) -> float:
    """Move an end of the evidence's range along with its median, on the value's own scale."""
    if value.scale == "linear":
        return to + edge - value.value
    if value.scale == "log":
        return to * edge / value.value

    def odds(share: float) -> float:
        return share / (1 - share)

    moved = odds(to) * odds(edge) / odds(value.value)
    return moved / (1 + moved)


def build_findings(table: FindingsTable | None, notes: Notes) -> Findings:
    """Return the other findings; signs of the stock that are not said follow from those of single fish."""
    if table is None:
        return Findings()
    said: dict[str, Any] = table.model_dump(exclude={"other", "note", "fish"})
    fish = tuple(FishFindings(**one.model_dump()) for one in table.fish)
    follow = {name: _of_most(fish, name) for name in _SIGNS if said[name] is None}
    if any(sign is not None for sign in follow.values()):
        notes.assume(
            f"Gills were described for {counted(len(fish), 'fish')}: what half of them or more show counts "
            "for the stock."
        )
    return Findings(tuple(dict.fromkeys(table.other)), table.note.strip(), **said | follow, fish=fish)


#: signs of the gills that stand for single fish and for the stock
_SIGNS = ("gill_colour", "gill_mucus", "gill_swollen")


def _of_most(fish: Sequence[FishFindings], sign: str) -> Any:
    """Return what at least half of the fish show of a sign, the ill before the sound: an assumption.

    Examples
    --------
    >>> _of_most([FishFindings("1", gill_colour="pale"), FishFindings("2", gill_colour="normal")], "gill_colour")
    'pale'
    """
    seen = [value for one in fish if (value := getattr(one, sign)) is not None]
    ill = [value for value in dict.fromkeys(seen) if value not in ("normal", False)]
    most = next((value for value in ill if 2 * seen.count(value) >= len(seen)), None)
    sound = next((value for value in seen if value in ("normal", False)), None)
    return most if most is not None else sound


def build_limits(table: LimitsTable | None, notes: Notes) -> Limits:
    """Return the limits, the agents' names checked."""
    if table is None:
        return Limits()
    for name in table.agents or ():
        _check_agent(name, "[limits] agents", agent_names(), notes)
    for name, percent in table.strength_percent.items():
        place = "[limits] strength_percent"
        _check_agent(name, place, agent_names(), notes)
        if percent < LEAST_STRENGTH_PERCENT:
            fix = f"Write percent: a share of {percent:g} is {100 * percent:g}."
            notes.problem(CASE_FILE, f"{place} {name}", percent, f"at least {LEAST_STRENGTH_PERCENT:g} percent", fix)
    strengths = MappingProxyType(dict(table.strength_percent))
    return Limits(**{**table.model_dump(), "strength_percent": strengths})


def build_actions(kind: str, tables: tuple[ActionTable | None, ...], notes: Notes) -> tuple[Action, ...]:
    """Return what was given, or is planned, by rising date.

    Parameters
    ----------
    kind : str
        given or planned.
    tables : tuple of ActionTable or None
        None for a block that could not be read.
    notes : Notes
    """
    numbered = [(i, table) for i, table in enumerate(tables, start=1) if table is not None]
    for number, table in numbered:
        _check_action(table, kind, f"[[{kind}]] {number}", notes)
    actions = (
        Action(**{**table.model_dump(), **_product(table), "water_change_after": _share_changed(table, notes)})
        for _, table in numbered
    )
    return tuple(sorted(actions, key=lambda action: action.date))


def _product(table: ActionTable) -> dict[str, str]:
    """What was given that is no agent against flukes: its effect on them counts as that of an unknown one."""
    bad = None if table.agent is None else unsuitable(table.agent)
    return {} if bad is None else {"agent": UNKNOWN_AGENT, "product": bad.name}


def _share_changed(table: ActionTable, notes: Notes) -> float | None:
    """Return the share of the water changed; of a plain yes, a half: an assumption."""
    if table.water_change_after is not True:
        return None if table.water_change_after is None else float(table.water_change_after)
    notes.assume(f"How much water was changed after {table.date} is not given: we assume half.")
    return ASSUMED_WATER_CHANGE


def _check_action(table: ActionTable, kind: str, place: str, notes: Notes) -> None:
    known = agent_names()
    if table.agent is not None:
        _check_agent(table.agent, f"{place} agent", (*known, UNKNOWN_AGENT) if kind == "given" else known, notes)
    elif table.action == "dose":
        expected = 'the name of an agent, or "unknown"' if kind == "given" else "the name of an agent"
        fix = f"Add agent; known: {', '.join(known)}."
        notes.problem(CASE_FILE, f"{place} agent", "missing", expected, fix)
    amounts = [key for key in ("mg_l", "mg_per_kg_fish", "g_l") if getattr(table, key) is not None]
    if len(amounts) > 1:
        fix = "Keep the amount as it was given and remove the others."
        notes.problem(CASE_FILE, place, ", ".join(amounts), "one amount", fix)
    if table.route == "in_feed" and "mg_per_kg_fish" not in amounts and amounts:
        fix = "Give mg_per_kg_fish, or the route bath."
        notes.problem(CASE_FILE, f"{place} {amounts[0]}", "in feed", "mg_per_kg_fish for in_feed", fix)


_LEAVE_OUT = (
    "Leave it out here. If it went into this water, write it as a [[given]] dose; that it is at hand can stand in note."
)


def _check_agent(name: str, place: str, known: tuple[str, ...], notes: Notes) -> None:
    bad = unsuitable(name)
    if name in known or (bad is not None and UNKNOWN_AGENT in known):
        return
    fix = hint(name, known)
    if bad is not None:
        fix = f"{named(bad.name).capitalize()} {bad.verdict}: {bad.text} ({', '.join(bad.sources)}). {_LEAVE_OUT}"
    notes.problem(CASE_FILE, place, name, f"one of {', '.join(known)}", fix)

"""A case read back in plain sentences, so that whoever wrote it sees what was read as what."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING

from burden.case.records import Action, Preparation
from burden.case.stock import Arrival, ConstantTemperature, FishGroup, TemperatureSpec, Uncertain, YearlyTemperature
from burden.utils.formatting import MONTHS, counted, day_in_words, named, plain_number

if TYPE_CHECKING:
    from burden.case import Case

__all__ = ["sentences"]


def sentences(case: Case) -> list[str]:
    """Return the case in words: date and parasites, water, fish, doses, samples, deaths.

    Parameters
    ----------
    case : Case

    Returns
    -------
    list of str
        One sentence or two an entry, in the order of the case file.
    """
    parts = [_opening(case), *_water(case)]
    parts += [_group(case, group) for group in case.fish]
    parts += _own_values(case) + _findings(case) + _limits(case)
    parts += [f"Given: {_action(case, action)}." for action in case.given]
    parts += [f"Planned: {_action(case, action)}." for action in case.planned]
    return [*parts, *_samples(case), _deaths(case)]


def _since(case: Case, day: date) -> str:
    days = case.day_of(day)
    if days == 0:
        return "the visit day"
    return f"{abs(days)} d {'before' if days < 0 else 'after'} the visit"


def _range(number: Uncertain, unit: str) -> str:
    value, low, high = (plain_number(x) for x in (number.value, number.low, number.high))
    return f"{value} {unit} ({low} to {high}; {number.how})"


def _opening(case: Case) -> str:
    title = f"{case.title}: visit" if case.title else f"{case.name}: visit"
    since = f", trouble since {day_in_words(case.trouble_since)}" if case.trouble_since else ""
    aim = {"control": " Aim: few flukes.", "eradicate": " Aim: no fluke left."}.get(case.aim or "", "")
    return f"{title} on {day_in_words(case.visit_date)}{since}. Parasite sets: {', '.join(case.parasites)}.{aim}"


def _water(case: Case) -> list[str]:
    water = case.water
    measured = {
        "oxygen": (water.oxygen_mg_l, "mg/L"),
        "salinity": (water.salinity_g_l, "g/L"),
        "pH": (water.ph, ""),
        "alkalinity": (water.alkalinity_mg_l_caco3, "mg/L CaCO3"),
        "total ammonia nitrogen": (water.total_ammonia_n_mg_l, "mg/L"),
        "nitrite nitrogen": (water.nitrite_n_mg_l, "mg/L"),
    }
    given = [f"{name} {plain_number(v)} {unit}".strip() for name, (v, unit) in measured.items() if v is not None]
    fittings = [f"filter {water.filter}"] if water.filter else []
    fittings += [f"{word} {'on' if on else 'off'}" for word, on in _switches(case) if on is not None]
    exchange = f"{plain_number(100 * water.exchange_per_day)} % of the water replaced a day"
    if water.egg_removal_per_day:
        exchange += f", {plain_number(100 * water.egg_removal_per_day)} % of the eggs cleaned or filtered off a day"
    return [
        f"Water: {_range(water.volume_l, 'L')}, {water.medium}, {exchange}.",
        f"Temperature: {_temperature(water.temperature)}.",
        *([f"Water values: {', '.join([*given, *fittings])}."] if given or fittings else []),
    ]


def _switches(case: Case) -> tuple[tuple[str, bool | None], ...]:
    return (("UV", case.water.uv), ("aeration", case.water.aeration))


def _temperature(spec: TemperatureSpec) -> str:
    if isinstance(spec, ConstantTemperature):
        return f"{plain_number(spec.temperature_c)} °C throughout"
    if isinstance(spec, YearlyTemperature):
        month, day = spec.warmest_day
        swing = f"{plain_number(spec.mean_c)} ± {plain_number(spec.swing_c)} °C over the year"
        return f"{swing}, warmest on {day} {MONTHS[month - 1]}"
    first, last = spec.times[0].date(), spec.times[-1].date()
    low, high = min(spec.temperatures_c), max(spec.temperatures_c)
    span = f"{day_in_words(first)} to {day_in_words(last)}"
    return f"{counted(len(spec.times), 'reading')}, {span}, {plain_number(low)} to {plain_number(high)} °C"


def _group(case: Case, group: FishGroup) -> str:
    kind = "food fish" if group.food_fish else "not food fish"
    text = f"Fish: {group.count} {group.species} alive, {kind}, mean weight {_range(group.weight_g, 'g')}."
    text += "".join(f" {_arrival(case, arrival)}" for arrival in group.new_arrivals)
    if group.naive is not None:
        text += f" Those here first {'had never met' if group.naive else 'had met'} the fluke."
    if group.newcomers_apart:
        text += " They are newcomers, held apart."
    if group.lethal_sampling_allowed is not None:
        text += f" {group.lethal_sampling_allowed} may be killed to look at."
    return text


def _arrival(case: Case, arrival: Arrival) -> str:
    verb = "come" if case.day_of(arrival.date) > 0 else "came"
    parts = [f"{arrival.count} {verb} on {day_in_words(arrival.date)} ({_since(case, arrival.date)})"]
    if arrival.flukes_seen is not None:
        looked = counted(arrival.preparations or 1, "preparation")
        parts.append(f"{counted(arrival.flukes_seen, 'fluke')} on {looked}")
    if arrival.treated is not None:
        parts.append(f"{'' if arrival.treated else 'not '}treated on arrival")
    if arrival.naive is not None:
        parts.append("had never met the fluke" if arrival.naive else "had met the fluke before")
    return f"{', '.join(parts)}."


def _own_values(case: Case) -> list[str]:
    words = []
    for own in case.overrides.values():
        value, low, high = (plain_number(x) for x in (own.value, own.low, own.high))
        words.append(f"The case's own {own.name}: {value} ({low} to {high}), {own.source}.")
    return words


def _findings(case: Case) -> list[str]:
    found = case.findings
    words = [f"Also found: {named(', '.join(found.other))}."] if found.other else []
    gills = [found.gill_colour] if found.gill_colour else []
    gills += [name for name, yes in (("swollen", found.gill_swollen), ("covered in mucus", found.gill_mucus)) if yes]
    if gills:
        words.append(f"Gills: {', '.join(gills)}.")
    if found.haematocrit_percent is not None:
        words.append(f"Haematocrit {plain_number(found.haematocrit_percent)} %.")
    if found.anaemia is not None:
        words.append("The fish are anaemic." if found.anaemia else "The fish are not anaemic.")
    if found.gasping is not None:
        words.append("Fish gasp today." if found.gasping else "No fish gasps.")
    return words + ([f"Note: {found.note}"] if found.note else [])


def _limits(case: Case) -> list[str]:
    limits = case.limits
    days = limits.visit_days
    said = {
        "agents at hand": None if limits.agents is None else ", ".join(limits.agents) or "none",
        "doses at most": limits.max_doses,
        "doses only on": None if days is None else ", ".join(_visit_day(d) for d in days),
        "shortest gap [d]": limits.shortest_gap_days,
        "formalin in all, at most [mg/L]": limits.max_formalin_mg_l_total,
        "can heat to [°C]": limits.can_heat_to_c,
        "spare tank": None if limits.spare_tank is None else "yes" if limits.spare_tank else "no",
        "flukes a fish that may stay": limits.tolerable_flukes_per_fish,
        "first dose": limits.first_dose,
    }
    parts = [f"{name} {v if isinstance(v, str) else plain_number(v)}" for name, v in said.items() if v is not None]
    return [f"Limits: {'; '.join(parts)}."] if parts else []


def _visit_day(day: str | date | int) -> str:
    if isinstance(day, date):
        return day_in_words(day)
    return day.capitalize() if isinstance(day, str) else f"day {day} after the visit"


def _action(case: Case, action: Action) -> str:
    """Return one action in words, without a full stop."""
    amounts = (
        (action.mg_l, "{} mg/L"),
        (action.mg_per_kg_fish, "{} mg per kg of fish"),
        (action.g_l, "{} g/L"),
        (action.hours, "for {} h"),
        (action.strength_percent, "product of {} % strength"),
        (action.volume_l_believed, "weighed out for {} L"),
    )
    what = named(action.action)
    parts = [f"{what} of {action.agent}" if action.agent else what]
    parts += [named(action.route)] if action.route else []
    parts += [form.format(plain_number(value)) for value, form in amounts if value is not None]
    if action.water_change_after is not None:
        after = " afterwards" if action.action == "dose" else ""
        parts.append(f"{plain_number(100 * action.water_change_after)} % of the water changed{after}")
    if action.uv_or_carbon_on is not None:
        parts.append(f"UV or carbon {'on' if action.uv_or_carbon_on else 'off'}")
    parts += [f"as told by the {action.told_by}"] if action.told_by else []
    return f"{day_in_words(action.date)} ({_since(case, action.date)}), {', '.join(parts)}"


def _samples(case: Case) -> list[str]:
    if not case.samples:
        return ["Samples: none."]
    days = [_sample_day(case, day) for day in case.sample_dates]
    return [*days, *(_clip(share, rows) for share, rows in _clips(case).items())]


def _clips(case: Case) -> Counter[Uncertain]:
    return Counter(row.clip_share for row in case.samples if row.clip_share is not None)


def _clip(share: Uncertain, rows: int) -> str:
    value, low, high = (plain_number(float(f"{100 * x:.2g}")) for x in (share.value, share.low, share.high))
    return f"A clip shows {value} % of the gills ({low} to {high} %; {share.how}), in {counted(rows, 'preparation')}."


def _sample_day(case: Case, day: date) -> str:
    rows = [row for row in case.samples if row.date == day]
    fish = {row.fish for row in rows}
    ways = ", ".join(sorted({row.chosen for row in rows}))
    counts = ", ".join(_count(row) for row in rows[:12]) + (", …" if len(rows) > 12 else "")
    return (
        f"Samples of {day_in_words(day)} ({_since(case, day)}): {counted(len(rows), 'preparation')} of "
        f"{len(fish)} fish ({ways}), counts {counts}."
    )


def _count(row: Preparation) -> str:
    if not row.readable:
        return "unreadable"
    if row.count_high is None:
        return f"at least {row.count_low}"
    return str(row.count_low) if row.exact else f"{row.count_low} to {row.count_high}"


def _deaths(case: Case) -> str:
    if not case.deaths:
        return "Deaths: nobody kept a log."
    total = sum(row.deaths for row in case.deaths)
    watched = sum(row.days_covered for row in case.deaths)
    first, last = case.deaths[0].date, case.deaths[-1].date
    return f"Deaths: {total} in {watched} d watched, rows of {day_in_words(first)} to {day_in_words(last)}."

"""A case read back in plain sentences, so that whoever wrote it sees what was read as what."""

from __future__ import annotations

from collections import Counter
from datetime import date

from burden.case import Case
from burden.case.records import Action, Findings, FishFindings, Limits, Preparation
from burden.case.stock import (
    Arrival,
    ConstantTemperature,
    FishGroup,
    Place,
    TemperatureSpec,
    Uncertain,
    Water,
    YearlyTemperature,
)
from burden.utils.dates import MONTHS, day_in_words
from burden.utils.formatting import as_given, counted, named, percent, plain, several
from burden.utils.wording import writes, writes_lines

__all__: list[str] = []  # writers are found by the type they write


@writes
def _text(case: Case) -> str:
    return "\n".join(_lines(case))


@writes_lines
def _lines(case: Case) -> list[str]:
    """One sentence or two an entry, in the order of the case file."""
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
    # what is ours claims three digits, what somebody wrote keeps its own
    ours = as_given if not number.assumed else plain
    value = (as_given if number.assumption == "plain_number" else ours)(number.value)
    low, high = ours(number.low), ours(number.high)
    return f"{value} {unit} ({low} to {high}{_how(number)})"


def _how(number: Uncertain) -> str:
    """How a range is known, as its giver worded it or as we took it."""
    if not number.assumed:
        return f"; {number.how}" if number.how else ""
    half = f"±{percent(number.high / number.value - 1)}"
    words = {
        "plain_number": f"a plain number, taken as {half}",
        "from_length": f"from the length, as of a stout cyprinid, {half}",
        "nothing_given": "neither weight nor length was given",
        "group_mean": "mean of the groups",
    }
    return f"; assumption: {words[number.assumption]}"


def _opening(case: Case) -> str:
    title = f"{case.title}: visit" if case.title else f"{case.name}: visit"
    since = f", trouble since {day_in_words(case.trouble_since)}" if case.trouble_since else ""
    sets = "Parasite" if len(case.parasites) == 1 else "Parasites"
    aim = {"control": " Aim: few flukes.", "eradicate": " Aim: no fluke left."}.get(case.aim or "", "")
    return f"{title} on {day_in_words(case.visit_date)}{since}. {sets}: {', '.join(case.parasites)}.{aim}"


def _water(case: Case) -> list[str]:
    water = case.water
    measured = {
        "oxygen": (water.oxygen_mg_l, "mg/L"),
        "salinity": (water.salinity_g_l, "g/L"),
        "pH": (water.ph, ""),
        "alkalinity": (water.alkalinity_mg_l_caco3, "mg/L CaCO3"),
        "total ammonia nitrogen": (water.total_ammonia_n_mg_l, "mg/L"),
        "nitrite nitrogen": (water.nitrite_n_mg_l, "mg/L"),
        "chloride": (water.chloride_mg_l, "mg/L"),
        "chlorine of the tap water": (water.tap_chlorine_mg_l, "mg/L"),
    }
    given = [f"{name} {as_given(v)} {unit}".strip() for name, (v, unit) in measured.items() if v is not None]
    fittings = [f"filter {water.filter}"] if water.filter else []
    fittings += [f"{word} {'on' if on else 'off'}" for word, on in _switches(case) if on is not None]
    exchange = f"{as_given(100 * water.exchange_per_day)} % of the water replaced a day"
    if water.exchange_per_day > 1:
        exchange = f"all the water replaced {as_given(water.exchange_per_day)} times a day"
    if water.egg_removal_per_day:
        exchange += f", {as_given(100 * water.egg_removal_per_day)} % of the eggs cleaned or filtered out a day"
    return [
        f"Water: {_range(water.volume_l, 'L')}, {water.medium}, {exchange}.",
        *_open(water),
        f"Temperature: {_temperature(water.temperature)}.",
        *([f"Temperature ahead: {_outlook(water)}."] if not isinstance(water.temperature, YearlyTemperature) else []),
        *([f"Water values: {', '.join([*given, *fittings])}."] if given or fittings else []),
    ]


def _open(water: Water) -> list[str]:
    """What kind of water it is, and what may come with it."""
    if water.kind is None and water.neighbours is None and not water.is_open:
        return []
    kind = f"a {water.kind}" if water.kind else "water that runs through" if water.is_open else "the water"
    near = {"none": "no neighbours with flukes", "some": "some neighbours with flukes", "many": "many neighbours"}
    unsaid = "nothing is said of flukes from neighbours" if water.is_open else "no flukes from neighbours"
    return [f"It is {kind}; {near.get(water.neighbours or '', unsaid)}."]


def _switches(case: Case) -> tuple[tuple[str, bool | None], ...]:
    return (("UV", case.water.uv), ("aeration", case.water.aeration))


def _temperature(spec: TemperatureSpec) -> str:
    if isinstance(spec, ConstantTemperature):
        return f"{as_given(spec.temperature_c)} °C"
    if isinstance(spec, YearlyTemperature):
        month, day = spec.warmest_day
        swing = f"{as_given(spec.mean_c)} ± {as_given(spec.swing_c)} °C over the year"
        return f"{swing}, warmest on {day} {MONTHS[month - 1]}"
    first, last = spec.times[0].date(), spec.times[-1].date()
    low, high = min(spec.temperatures_c), max(spec.temperatures_c)
    span = f"{day_in_words(first)} to {day_in_words(last)}"
    return f"{counted(len(spec.times), 'reading')}, {span}, {as_given(low)} to {as_given(high)} °C"


def _outlook(water: Water) -> str:
    match water.outlook:
        case Place(latitude):
            side = "south" if latitude < 0 else "north"
            return f"outdoors, {as_given(abs(latitude))}° {side}, the season is followed"
        case YearlyTemperature() as course:
            return f"readings followed by {_temperature(course)}"
        case None:
            return (
                "nothing is said of the place, so it may stay or follow a season; no dose more than six weeks ahead "
                "is dated"
            )
        case word:
            return f"stays as it is, {word}"


def _group(case: Case, group: FishGroup) -> str:
    kind = "food fish" if group.food_fish else "not food fish"
    text = f"Fish: {as_given(group.count)} {group.species} alive, {kind}, mean weight {_range(group.weight_g, 'g')}."
    text += "".join(f" {_arrival(case, arrival)}" for arrival in group.new_arrivals)
    if group.naive is not None:
        text += f" Those here first {'had never met' if group.naive else 'had met'} the fluke."
    if group.harvest_date is not None:
        text += f" Harvest planned on {day_in_words(group.harvest_date)}."
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
        value, low, high = (as_given(x) for x in (own.value, own.low, own.high))
        words.append(f"The case's own {own.name}: {value} ({low} to {high}), {own.source}.")
    return words


def _findings(case: Case) -> list[str]:
    found = case.findings
    words = [f"Also found: {named(', '.join(found.other))}."] if found.other else []
    gills = [found.gill_colour] if found.gill_colour else []
    gills += [name for name, yes in (("swollen", found.gill_swollen), ("covered in mucus", found.gill_mucus)) if yes]
    if gills:
        words.append(f"Gills: {', '.join(gills)}.")
    words += [_gills_of(one) for one in found.fish]
    if found.haematocrit_percent is not None:
        words.append(f"Haematocrit {as_given(found.haematocrit_percent)} %.")
    if found.anaemia is not None:
        words.append("The fish are anaemic." if found.anaemia else "The fish are not anaemic.")
    if found.gasping is not None:
        words.append("Fish gasp today." if found.gasping else "No fish gasps.")
    words += _on_record(found)
    return words + ([f"Note: {found.note}"] if found.note else [])


def _gills_of(one: FishFindings) -> str:
    signs = ((one.gill_mucus, "much mucus", "no mucus"), (one.gill_swollen, "swollen or damaged", "not swollen"))
    seen = [one.gill_colour] if one.gill_colour else []
    seen += [there if yes else absent for yes, there, absent in signs if yes is not None]
    return f"Gills of fish {one.fish}: {', '.join(seen) or 'not described'}."


def _on_record(found: Findings) -> list[str]:
    """Signs that no number follows from; ulcers steer nothing at all."""
    feeding = {"normal": "Fish feed as usual.", "less": "Fish feed less than usual.", "none": "Fish do not feed."}
    test = {"sent": "sent, no result yet", "negative": "negative", "positive": "positive"}
    words = [feeding[found.feeding]] if found.feeding else []
    words += [f"Virus test: {test[found.virus_test]}."] if found.virus_test else []
    if found.ulcers is not None:
        ulcers = "Fish have ulcers." if found.ulcers else "No fish has ulcers."
        words.append(f"{ulcers} Said beside the answer, not used in it.")
    return words


def _limits(case: Case) -> list[str]:
    parts = [*_limits_of_doses(case.limits), *_limits_of_agents(case.limits)]
    return [f"Limits: {'; '.join(parts)}."] if parts else []


def _limits_of_doses(limits: Limits) -> list[str]:
    said = []
    if limits.max_doses is not None:
        said.append(f"at most {counted(limits.max_doses, 'dose')}")
    if limits.visit_days is not None:
        said.append(f"doses only on {several(map(_visit_day, limits.visit_days)) or 'no day'}")
    if limits.shortest_gap_days is not None:
        said.append(f"at least {as_given(limits.shortest_gap_days)} d between doses")
    if limits.first_dose is not None:
        said.append(f"first dose: {limits.first_dose}")
    if limits.tolerable_flukes_per_fish is not None:
        said.append(f"up to {as_given(limits.tolerable_flukes_per_fish)} flukes a fish may stay")
    return said


def _limits_of_agents(limits: Limits) -> list[str]:
    said = []
    if limits.agents is not None:
        said.append(f"drugs at hand: {', '.join(map(named, limits.agents)) or 'none'}")
    if limits.max_formalin_mg_l_total is not None:
        said.append(f"at most {as_given(limits.max_formalin_mg_l_total)} mg/L of formalin in all")
    if limits.can_heat_to_c is not None:
        said.append(f"can heat to {as_given(limits.can_heat_to_c)} °C")
    if limits.spare_tank is not None:
        said.append("a spare tank" if limits.spare_tank else "no spare tank")
    return said


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
    parts += [form.format(as_given(value)) for value, form in amounts if value is not None]
    if action.water_change_after is not None:
        after = " afterwards" if action.action == "dose" else ""
        parts.append(f"{as_given(100 * action.water_change_after)} % of the water changed{after}")
    if action.uv_or_carbon_on is not None:
        parts.append(f"UV or carbon {'on' if action.uv_or_carbon_on else 'off'}")
    parts += [_TOLD_BY[action.told_by]] if action.told_by else []
    return f"{day_in_words(action.date)} ({_since(case, action.date)}), {', '.join(parts)}"


_TOLD_BY = {"owner": "as the owner told", "record": "from the written record"}


def _samples(case: Case) -> list[str]:
    if not case.samples:
        return ["Samples: none."]
    days = [_sample_day(case, day) for day in case.sample_dates]
    return [*days, *(_clip(share, rows) for share, rows in _clips(case).items())]


def _clips(case: Case) -> Counter[Uncertain]:
    return Counter(row.clip_share for row in case.samples if row.clip_share is not None)


def _clip(share: Uncertain, rows: int) -> str:
    value, low, high = (plain(100 * x, 2) for x in (share.value, share.low, share.high))
    return f"A clip shows {value} % of the gills ({low} to {high} %{_how(share)}), in {counted(rows, 'preparation')}."


def _sample_day(case: Case, day: date) -> str:
    rows = case.samples_on(day)
    fish = {row.fish for row in rows}
    ways = ", ".join(sorted({row.chosen for row in rows}))
    counts = ", ".join(_count(row) for row in rows[:12]) + (", …" if len(rows) > 12 else "")
    return (
        f"Samples of {day_in_words(day)} ({_since(case, day)}): {counted(len(rows), 'preparation')} of "
        f"{counted(len(fish), 'fish')} ({ways}), counts {counts}."
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
    log = f"{day_in_words(first)} to {day_in_words(last)}, {as_given(watched)} d watched"
    return f"Deaths: {counted(total, 'fish')} in the log ({log})."

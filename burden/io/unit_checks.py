"""Numbers of a case that look as if they were meant in another unit: questions, as each may be right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from burden.case import UNKNOWN_AGENT, Action, Case, FishGroup, Override, Preparation
from burden.evidence import load_parasite
from burden.treatment.dose import LEAST_STRENGTH_PERCENT, odd_dose
from burden.utils.formatting import plain_number

__all__ = ["Asked", "odd_units"]

#: place of a case and a question about it
Asked = tuple[str, str]

#: more fish per litre of water than the densest farms keep, and fewer than a poor lake: assumptions [g/L]
_DENSEST_G_L, _THINNEST_G_L = 100.0, 0.005
#: a fish heavier than any in a pond or a cage, so likely the weight of all: an assumption [g]
_HEAVIEST_G = 50_000.0
#: a fish and its group's mean, the water a dose was weighed for and the water there is, differ by less: assumptions
_FISH_FACTOR, _VOLUME_FACTOR = 100.0, 10.0
#: fish do not live in less oxygen, and hardly in more nitrogen, whatever their species: assumptions [mg/L]
_LEAST_OXYGEN_MG_L, _MOST_NITROGEN_MG_L = 1.0, 20.0
#: nobody counts further under a microscope: an assumption [-]
_MOST_COUNTED = 10_000
#: a figure of the case's own lies no further beyond the range of the set: an assumption
_OVERRIDE_FACTOR = 3.0


def _plain(value: float) -> str:
    """Write a number as it was given; of one far out of any range, three hundred digits would help nobody."""
    return plain_number(value) if 0.001 <= value < 1e9 else f"{value:g}"


def odd_units(case: Case) -> Iterator[Asked]:
    """Return what in a case looks like a slip of the unit: its place, table and key, and a plain sentence."""
    weights = [
        (f"fish.{i}.mean_weight_g", sentence) for i, group in enumerate(case.fish) for sentence in _odd_group(group)
    ]
    # fish per litre tells of the volume where the weights are sound
    yield from weights or (("water.volume_l", sentence) for sentence in _odd_volume(case))
    yield from _odd_chemistry(case)
    rows = [(f"samples.{i}", row) for i, row in enumerate(case.samples)]
    yield from _one_for_all("row", ((f"{at}.weight_g", _odd_weight(case, row)) for at, row in rows))
    yield from _one_for_all("row", ((f"{at}.count", _odd_count(row)) for at, row in rows))
    actions = [
        (f"{kind}.{i}", action)
        for kind, listed in (("given", case.given), ("planned", case.planned))
        for i, action in enumerate(listed)
    ]
    for key, question in _OF_ACTIONS.items():
        yield from _one_for_all("entry", ((f"{at}.{key}", question(case, action)) for at, action in actions))
    for override in case.overrides.values():
        yield from (("parasite", sentence) for sentence in _odd_override(case, override))


def _one_for_all(noun: str, found: Iterable[Asked]) -> Iterator[Asked]:
    """The first question, and how many are like it: a whole column may be in kilograms."""
    asked = [(place, question) for place, question in found if question]
    if asked:
        nouns = {"row": "rows", "entry": "entries"}
        more = len(asked) - 1
        place, question = asked[0]
        yield place, question + (f" {more} more {nouns[noun] if more > 1 else noun} like it." if more else "")


def _odd_volume(case: Case) -> Iterator[str]:
    litres = case.water.volume_l.value
    least_g, most_g = (sum(g.count * getattr(g.weight_g, end) for g in case.fish) for end in ("low", "high"))
    if least_g / litres > _DENSEST_G_L or litres / case.fish_count < 1:
        yield (
            f"{_plain(litres)} L for {case.fish_count} fish is very little water. Units? volume_l is in litres: "
            f"{_plain(litres)} m³ would be {_plain(1000 * litres)}."
        )
    elif most_g / litres < _THINNEST_G_L:
        yield (
            f"{_plain(litres)} L for {case.fish_count} fish is very much water. Units? volume_l is in litres: "
            f"{_plain(litres)} mL would be {_plain(litres / 1000)}; weights are in grams, lengths in millimetres."
        )


def _odd_chemistry(case: Case) -> Iterator[Asked]:
    water = case.water
    if water.exchange_per_day > 1 and water.kind not in ("cage", "raceway"):
        times = f"{water.exchange_per_day:g}"
        yield (
            "water.exchange_per_day",
            f"exchange_per_day {times} means all the water {times} times a day: 10 % is 0.1.",
        )
    if water.oxygen_mg_l is not None and water.oxygen_mg_l < _LEAST_OXYGEN_MG_L:
        reading = f"{water.oxygen_mg_l:g}"
        sentence = f"oxygen_mg_l {reading}: do fish live in it? Units? It is in mg/L, no share of saturation."
        yield "water.oxygen_mg_l", sentence
    for key in ("total_ammonia_n_mg_l", "nitrite_n_mg_l"):
        if (value := getattr(water, key) or 0.0) > _MOST_NITROGEN_MG_L:
            sentence = f"{key} {value:g}: do fish live in it? Units? {value:g} µg/L would be {value / 1000:g} mg/L."
            yield f"water.{key}", sentence


def _odd_group(group: FishGroup) -> Iterator[str]:
    given, length = group.mean_weight_g, group.length_mm
    if given is None:
        return
    if length is not None:
        expected = FishGroup(group.species, group.count, group.food_fish, length_mm=length).weight_g.value
        if not 0.2 < given.value / expected < 5:
            yield (
                f"{group.species}: {given.value:g} g does not go with {length:g} mm (about {expected:.2g} g). "
                "Units? Grams and millimetres."
            )
    elif given.value < 1:
        yield (
            f"Mean weight of {group.species} is {given.value:g} g: are they as small as that? It is in grams, not "
            "kilograms."
        )
    elif given.value > _HEAVIEST_G:
        weight = _plain(given.value)
        yield f"Mean weight of {group.species} is {weight} g. Units? It is in grams, and of one fish, not of all."


def _odd_weight(case: Case, row: Preparation) -> str:
    groups = [group for group in case.fish if row.species in (None, group.species)] or case.fish
    means = [group.weight_g.value for group in groups]
    if row.weight_g is None or min(means) / _FISH_FACTOR < row.weight_g < max(means) * _FISH_FACTOR:
        return ""
    weight, mean = _plain(row.weight_g), _plain(max(means))
    return (
        f"samples.csv: fish {row.fish} of {row.date} weighs {weight} g, the others {mean} g on average. Units? Grams."
    )


def _odd_count(row: Preparation) -> str:
    whole = row.site == "whole_fish" or row.method == "whole_organ"
    if whole or not row.readable or row.count_low <= _MOST_COUNTED:
        return ""
    return (
        f"samples.csv: fish {row.fish} of {row.date} shows {_plain(row.count_low)} flukes: counted? "
        "A spreadsheet makes a day number, as 46 315, of 10-20."
    )


def _odd_strength(_: Case, action: Action) -> str:
    share = action.strength_percent
    if share is None or share >= LEAST_STRENGTH_PERCENT:
        return ""
    return f"strength_percent {share:g} on {action.date} is in percent: {100 * share:g} % is {100 * share:g}."


def _odd_believed(case: Case, action: Action) -> str:
    believed, litres = action.volume_l_believed, case.water.volume_l.value
    if believed is None or 1 / _VOLUME_FACTOR < believed / litres < _VOLUME_FACTOR:
        return ""
    return (
        f"The dose of {action.date} was weighed out for {_plain(believed)} L, and volume_l is {_plain(litres)}. "
        "Units? Both are in litres."
    )


def _odd_amount(_: Case, action: Action) -> str:
    mg_l = action.concentration_mg_l
    if mg_l is None or action.agent is None or action.agent == UNKNOWN_AGENT:
        return ""
    length = "" if action.hours is None else f" for {_plain(action.hours)} h"
    why = odd_dose(action.agent, mg_l, action.route or "bath", action.hours)
    return f"{action.agent} of {action.date}, {_plain(mg_l)} mg/L{length}: {why}" if why else ""


#: questions of one action, by the key they ask about
_OF_ACTIONS = {"strength_percent": _odd_strength, "volume_l_believed": _odd_believed, "mg_l": _odd_amount}


def _odd_override(case: Case, override: Override) -> Iterator[str]:
    for name in case.parasites:
        known = load_parasite(name).values.get(override.name)
        if known is None or known.scale != "log":
            continue
        if not known.low / _OVERRIDE_FACTOR <= override.value <= known.high * _OVERRIDE_FACTOR:
            yield (
                f"{override.name} {_plain(override.value)}: the range of {name} is {_plain(known.low)} to "
                f"{_plain(known.high)} {known.unit}. Units?"
            )

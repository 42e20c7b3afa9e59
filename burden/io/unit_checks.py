"""Numbers that look, beside others of a case, as if meant in another unit: questions, as each may be right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from burden.case import UNKNOWN_AGENT, Action, Case, FishGroup, Override, Preparation
from burden.evidence import load_parasite
from burden.io.odd_numbers import Asked, far_number
from burden.treatment.published_dose import odd_dose

__all__ = ["odd_units"]

#: more fish per litre of water than the densest farms keep, and fewer than a poor lake: assumptions [g/L]
_DENSEST_G_L, _THINNEST_G_L = 100.0, 0.005
#: a fish and its group's mean differ by less: an assumption
_FISH_FACTOR = 100.0
#: a figure of the case's own lies no further beyond the range of the set: an assumption
_OVERRIDE_FACTOR = 3.0


def odd_units(case: Case) -> Iterator[Asked]:
    """Return what in a case looks like a slip of the unit: its place, table and key, and a plain sentence."""
    weights = [
        (f"fish.{i}.mean_weight_g", sentence) for i, group in enumerate(case.fish) for sentence in _odd_group(group)
    ]
    # fish per litre tells of the volume where the weights are sound
    yield from weights or (("water.volume_l", sentence) for sentence in _odd_volume(case))
    rows = [(f"samples.{i}", row) for i, row in enumerate(case.samples)]
    yield from _one_for_all("row", ((f"{at}.weight_g", _odd_weight(case, row)) for at, row in rows))
    actions = [
        (f"{kind}.{i}", action)
        for kind, listed in (("given", case.given), ("planned", case.planned))
        for i, action in enumerate(listed)
    ]
    yield from _one_for_all("entry", ((f"{at}.mg_l", _odd_amount(action)) for at, action in actions))
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
    if litres / case.fish_count >= 1 and least_g / litres > _DENSEST_G_L:
        yield (
            f"{far_number(litres)} L for {case.fish_count} fish is very little water. Units? volume_l is in litres: "
            f"{far_number(litres)} m³ would be {far_number(1000 * litres)}."
        )
    elif most_g / litres < _THINNEST_G_L:
        yield (
            f"{far_number(litres)} L for {case.fish_count} fish is very much water. Units? volume_l is in litres: "
            f"{far_number(litres)} mL would be {far_number(litres / 1000)}; "
            "weights are in grams, lengths in millimetres."
        )


def _odd_group(group: FishGroup) -> Iterator[str]:
    given, length = group.mean_weight_g, group.length_mm
    if given is not None and length is not None:
        expected = FishGroup(group.species, group.count, group.food_fish, length_mm=length).weight_g.value
        if not 0.2 < given.value / expected < 5:
            yield (
                f"{group.species}: {given.value:g} g does not go with {length:g} mm (about {expected:.2g} g). "
                "Units? Grams and millimetres."
            )


def _odd_weight(case: Case, row: Preparation) -> str:
    groups = [group for group in case.fish if row.species in (None, group.species)] or case.fish
    means = [group.weight_g.value for group in groups]
    if row.weight_g is None or min(means) / _FISH_FACTOR < row.weight_g < max(means) * _FISH_FACTOR:
        return ""
    weight, mean = far_number(row.weight_g), far_number(max(means))
    return (
        f"samples.csv: fish {row.fish} of {row.date} weighs {weight} g, the others {mean} g on average. Units? Grams."
    )


def _odd_amount(action: Action) -> str:
    mg_l = action.concentration_mg_l
    if mg_l is None or action.agent is None or action.agent == UNKNOWN_AGENT:
        return ""
    length = "" if action.hours is None else f" for {far_number(action.hours)} h"
    why = odd_dose(action.agent, mg_l, action.route or "bath", action.hours)
    return f"{action.agent} of {action.date}, {far_number(mg_l)} mg/L{length}: {why}" if why else ""


def _odd_override(case: Case, override: Override) -> Iterator[str]:
    for name in case.parasites:
        known = load_parasite(name).values.get(override.name)
        if known is None or known.scale != "log":
            continue
        if not known.low / _OVERRIDE_FACTOR <= override.value <= known.high * _OVERRIDE_FACTOR:
            yield (
                f"{override.name} {far_number(override.value)}: the range of {name} is {far_number(known.low)} to "
                f"{far_number(known.high)} {known.unit}. Units?"
            )

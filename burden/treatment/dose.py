"""How much to weigh or measure out, and what to print beside it.

The dose is proportional to the volume, so a wrong volume is a wrong dose. A dose no source gives is refused unless it
is accepted in so many words.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from burden.evidence import FRESH_WATER, Agent, DoseRange, load_agent
from burden.evidence.cautions import Caution
from burden.treatment.concentration import restore_mg
from burden.treatment.dose_result import DoseReason, DoseResult, stock_solution
from burden.treatment.host_tolerance import HostAdvice, host_advice, withdrawal_text
from burden.treatment.water_chemistry import LEFT_IN_HOURS, oxygen_demand_mg_l
from burden.utils.errors import InputError, Problem
from burden.utils.formatting import alike, exposure, percent, plain, product_words, volumes

__all__ = ["LEAST_STRENGTH_PERCENT", "dose", "odd_dose", "range_words"]

#: weaker is likelier a share written for a percentage, which would give a hundred times the dose: an assumption [%]
LEAST_STRENGTH_PERCENT = 1.0


def dose(
    agent: Agent | str,
    volume_l: float,
    mg_l: float | None = None,
    strength_percent: float | None = None,
    route: str = "bath",
    hours: float | None = None,
    accept_unpublished: bool = False,
    temperature_c: float | None = None,
    species: str | None = None,
    volume_range_l: tuple[float, float] | None = None,
    food_fish: bool = False,
    where: str = "command line",
    filter_kind: str | None = None,
) -> DoseResult:
    """Work out what to weigh or measure out.

    Parameters
    ----------
    agent : Agent or str
        From `burden.evidence.load_agent`, or its name.
    volume_l : float
        Total water, filter, sump and pipes included [L].
    mg_l : float, optional
        Concentration, as the agent's basis words it; the customary one when not given [mg/L].
    strength_percent : float, optional
        Active substance in the product; 100 for solids and 37 for formalin when not given [%].
    route : str
        bath or dip.
    hours : float, optional
        Length of the bath; from the published range the dose falls in when not given [h].
    accept_unpublished : bool
        Work out a dose no source gives all the same.
    temperature_c : float, optional
        Water; where limits depend on it and it is not given, the warm-water limit holds [°C].
    species : str, optional
        Host, for its own limits and advice.
    volume_range_l : tuple of float, optional
        What the volume may be [L].
    food_fish : bool
        Print the withdrawal.
    where : str
        File named in a problem.
    filter_kind : str, optional
        none, naive or adapted; what fades within the bath is said for one new to the agent when not given.

    Returns
    -------
    DoseResult

    Raises
    ------
    InputError
        With every problem of the input; a dose outside every published range is one.

    Notes
    -----
    mass = mg_l × volume_l. A solid product weighs mass × 100 / strength; formalin measures
    mass / density × 37 / strength, density that of 37 % solution, at other strengths too.

    Examples
    --------
    >>> result = dose("formalin", 1000.0, 25.0)
    >>> result.mass_g, round(result.product_ml, 1)
    (25.0, 22.9)
    """
    agent = load_agent(agent) if isinstance(agent, str) else agent
    bath = agent.customary
    asked = _Asked(
        agent=agent,
        volume_l=volume_l,
        mg_l=bath.mg_l if mg_l is None else mg_l,
        customary=mg_l is None,
        strength_percent=agent.default_strength_percent if strength_percent is None else strength_percent,
        strength_given=strength_percent is not None,
        route=route,
        hours=hours,
        temperature_c=temperature_c,
        species=species,
        volume_range_l=volume_range_l,
        food_fish=food_fish,
        where=where,
        filter_kind=filter_kind or "naive",
    )
    if problems := _impossible(asked):
        raise InputError(problems)
    found = _published(asked)
    length = _length(asked, found)
    advice = None if species is None else host_advice(agent, species, asked.mg_l, length, temperature_c)
    if not accept_unpublished and (problems := _unpublished(asked, found, advice)):
        raise InputError(problems)
    return _result(asked, found, advice)


def odd_dose(agent: Agent | str, mg_l: float, route: str = "bath", hours: float | None = None) -> str:
    """Return what is published, and the unit that may have been meant, for a dose no source gives in any water.

    Parameters
    ----------
    agent : Agent or str
    mg_l : float
        Concentration [mg/L].
    route : str
        bath or dip; of another no amount is known.
    hours : float, optional
        Length of the bath [h].

    Returns
    -------
    str
        Empty where a source gives the dose.

    Examples
    --------
    >>> odd_dose("praziquantel", 2.5), odd_dose("praziquantel", 2500.0).rpartition(". ")[2]
    ('', 'Was 2 500 µg/L meant, that is 2.5 mg/L?')
    """
    agent = load_agent(agent) if isinstance(agent, str) else agent
    known = [r for r in agent.ranges if r.route == route]
    coldest = min((r.max_temperature_c for r in known if r.max_temperature_c is not None), default=None)
    asked = _Asked(agent, 1.0, mg_l, False, 100.0, False, route, hours, coldest, None, None, False, "")
    if not known or _published(asked) is not None:
        return ""
    return f"published are {'; '.join(range_words(r, agent.name) for r in known)}. {_other_unit(asked) or 'Units?'}"


@dataclass(frozen=True)
class _Asked:
    """The arguments of `dose`, defaults filled in."""

    agent: Agent
    volume_l: float
    mg_l: float
    customary: bool
    strength_percent: float
    strength_given: bool
    route: str
    hours: float | None
    temperature_c: float | None
    species: str | None
    volume_range_l: tuple[float, float] | None
    food_fish: bool
    where: str
    filter_kind: str = "naive"

    def problem(self, key: str, value: Any, expected: str, fix: str) -> Problem:
        option = "temperature" if key == "temperature_c" else key.replace("_", "-")
        place = f"--{option}" if self.where == "command line" else key
        return Problem(self.where, place, str(value), expected, fix)


def _impossible(asked: _Asked) -> list[Problem]:
    """Problems of the arguments themselves, before any source is asked."""
    problems = [
        asked.problem(key, value, "a number above 0", "Give a positive number.")
        for key in ("volume_l", "mg_l", "strength_percent", "hours")
        if (value := getattr(asked, key)) is not None and not (math.isfinite(value) and value > 0)
    ]
    if asked.strength_percent > 100:
        problems.append(
            asked.problem("strength_percent", asked.strength_percent, "at most 100", "Read the label of the product.")
        )
    if asked.temperature_c is not None and not -3 <= asked.temperature_c <= 45:
        problems.append(
            asked.problem("temperature_c", asked.temperature_c, "-3 to 45 °C", "Give the water temperature in °C.")
        )
    if asked.volume_range_l is not None and not 0 < asked.volume_range_l[0] <= asked.volume_range_l[1] < math.inf:
        problems.append(
            asked.problem("volume_range_l", asked.volume_range_l, "0 < low <= high", "Give low and high in litres.")
        )
    routes = asked.agent.routes
    if asked.route not in routes:
        fix = f"No {asked.route} dose of {asked.agent.name} is worked out here."
        problems.append(asked.problem("route", asked.route, " or ".join(routes), fix))
    return problems


def _published(asked: _Asked) -> DoseRange | None:
    """Return the published range a dose falls in, the customary one first; None where there is none."""
    ranges = asked.agent.ranges
    limits = [r.max_temperature_c for r in ranges if r.max_temperature_c is not None]
    # where no temperature is given, only what holds in the warmest water the agent is given in counts as published
    limit = asked.agent.ceiling.temperature_c
    warmest = max(limits, default=0.0) if limit is None else limit
    water = warmest if asked.temperature_c is None else asked.temperature_c
    for found in ranges:
        if (
            found.route == asked.route
            and found.mg_l[0] <= asked.mg_l <= found.mg_l[1]
            and (asked.hours is None or found.hours[0] <= asked.hours <= found.hours[1])
            and (found.max_temperature_c is None or water <= found.max_temperature_c)
        ):
            return found
    return None


def _unpublished(asked: _Asked, found: DoseRange | None, advice: HostAdvice | None) -> list[Problem]:
    """Problems of a dose that no source gives, or that is above what the host bears."""
    accept = "Choose a published dose, or accept an unpublished one with --accept-unpublished-dose."
    value = f"{plain(asked.mg_l)} mg/L" + ("" if asked.hours is None else f" for {plain(asked.hours)} h")
    problems = []
    if found is None:
        known = "; ".join(range_words(r, asked.agent.name) for r in asked.agent.ranges if r.route == asked.route)
        fix = f"{question} {accept}" if (question := _other_unit(asked)) else accept
        problems.append(asked.problem("mg_l", value, f"a published dose: {known}", fix))
    if advice and advice.over_limit:
        problems.append(asked.problem("mg_l", value, advice.text.rstrip("."), accept))
    if asked.strength_percent < LEAST_STRENGTH_PERCENT:
        share = plain(asked.strength_percent)
        fix = f"It is in percent: {plain(100 * asked.strength_percent)} % is {plain(100 * asked.strength_percent)}. "
        fix += "For so weak a product accept it with --accept-unpublished-dose."
        problems.append(asked.problem("strength_percent", f"{share} %", "percent, as on the label", fix))
    return problems


def _other_unit(asked: _Asked) -> str:
    """Ask whether another unit was meant, where the number would be a published dose in it; else empty."""
    agent = asked.agent
    units = {"g/L": 1000.0, "µg/L": 0.001}
    if agent.density is not None:  # measured out in mL, so that is the likelier slip
        units = {"mL per litre": 1000.0 * agent.density.g_ml, **units}
    for unit, factor in units.items():
        if _published(replace(asked, mg_l=asked.mg_l * factor)) is not None:
            return f"Was {plain(asked.mg_l)} {unit} meant, that is {plain(asked.mg_l * factor)} mg/L?"
    return ""


def range_words(found: DoseRange, agent: str = "") -> str:
    """Return a published range in words; of water alone how long it lasts, as it has no strength.

    Parameters
    ----------
    found : DoseRange
    agent : str
        Whose it is.
    """
    if agent == FRESH_WATER:
        return f"{_lengths(found)} ({found.name})"
    warm = f", water up to {plain(found.max_temperature_c)} °C" if found.max_temperature_c is not None else ""
    low, high = found.mg_l
    strength = plain(low) if low == high else f"{plain(low)} to {plain(high)}"
    return f"{strength} mg/L for {_lengths(found)} ({found.name}{warm})"


def _lengths(found: DoseRange) -> str:
    """Write how long a published bath lasts, the unit once where both ends share it."""
    first, last = found.hours
    if first >= 1:
        return f"{plain(first)} to {exposure(last)}"
    return f"{round(60 * first)} to {exposure(last)}" if last < 1 else f"{exposure(first)} to {exposure(last)}"


def _length(asked: _Asked, found: DoseRange | None) -> float:
    """Return the hours asked for, else the customary ones where the range allows them, else the longest it allows."""
    usual = float(asked.agent.customary.hours)
    if asked.hours is not None:
        return float(asked.hours)
    if found is None or found.hours[0] <= usual <= found.hours[1]:
        return usual
    return float(found.hours[1])


def _result(asked: _Asked, found: DoseRange | None, advice: HostAdvice | None) -> DoseResult:
    agent = asked.agent
    mass_mg = asked.mg_l * asked.volume_l
    product_g, product_ml = _product(asked, mass_mg / 1000)
    return DoseResult(
        agent=asked.agent.name,
        title=asked.agent.title,
        route=asked.route,
        volume_l=float(asked.volume_l),
        mg_l=float(asked.mg_l),
        hours=_length(asked, found),
        mass_mg=mass_mg,
        mass_g=mass_mg / 1000,
        product_g=product_g,
        product_ml=product_ml,
        strength_percent=float(asked.strength_percent),
        mass_of=agent.mass_of,
        basis=agent.basis,
        why=_why(asked, found),
        cautions=tuple(_cautions(asked, found, advice)),
        stock_solution=stock_solution(product_g, product_ml),
        sources=found.sources if found else (),
    )


def _why(asked: _Asked, found: DoseRange | None) -> DoseReason:
    if asked.customary:
        return DoseReason("customary", asked.agent.customary.text)
    return DoseReason("unpublished") if found is None else DoseReason("published", found.text, found.sources)


def _product(asked: _Asked, mass_g: float) -> tuple[float | None, float | None]:
    """Grams of a solid product or millilitres of a liquid one; the other None."""
    agent = asked.agent
    product_g = mass_g * agent.mass_strength_percent / asked.strength_percent
    if agent.density is None:
        return product_g, None
    return None, product_g / agent.density.at(asked.strength_percent)


def _cautions(asked: _Asked, found: DoseRange | None, advice: HostAdvice | None) -> Iterator[Caution]:
    agent = asked.agent
    if found is None:
        yield Caution("No source gives this dose; you accepted it as unpublished. Try it on a few fish first.", "trial")
    else:
        words = range_words(found, agent.name)
        yield Caution(f"Published: {words} ({', '.join(found.sources)}).", "bookkeeping")
        if asked.temperature_c is None and asked.where == "command line" and found.max_temperature_c is not None:
            yield Caution("Water temperature not given: the warm-water limit was used.", "bookkeeping")
    length = _length(asked, found)
    if agent.name == FRESH_WATER:  # neither an amount that can be wrong, nor a label to read
        yield Caution(f"A bath of {exposure(length)} must end on time: have nets ready and watch the clock.", "danger")
    else:
        yield from _product_cautions(asked, found, length)
    if advice is not None:
        yield Caution(advice.text, "danger" if advice.over_limit or advice.advice == "avoid" else "trial")
    if demand := oxygen_demand_mg_l(asked.agent, asked.mg_l, _length(asked, found)):
        takes = f"It takes about {plain(demand)} mg/L of oxygen from the water: measure before and during the bath."
        yield Caution(takes, "danger")
    if asked.food_fish:
        yield Caution(withdrawal_text(asked.agent, asked.temperature_c), "food")
    else:
        yield Caution(_WHO_DECIDES, "food")
    yield Caution(agent.pre_dissolve, "making_up")
    if length >= LEFT_IN_HOURS:  # nobody changes a part of a bath that is over within the hour
        yield Caution(_after_change(asked, length), "care")
    for heading in ("cautions", "handling", "does_not", "aftercare"):
        yield from (said for said in getattr(agent, heading) if said.of_bath(length < LEFT_IN_HOURS))


def _product_cautions(asked: _Asked, found: DoseRange | None, length: float) -> Iterator[Caution]:
    """What the volume, the length of a short bath and the product itself ask for."""
    yield from _volume_cautions(asked, found)
    if length < LEFT_IN_HOURS:
        where = "give it in a tub, or where all the water can be flushed"
        if asked.where == "case.toml":  # the plan says where it is given, and what ends it
            where = "watch the clock, and have ready what ends it"
        yield Caution(f"A bath of {exposure(length)} must end on time: {where}.", "danger")
    if not asked.strength_given:
        taken = plain(asked.strength_percent)
        yield Caution(f"Strength not given: {taken} % assumed. Read the label of the product.", "bookkeeping")
    if asked.agent.density is not None:
        yield Caution(f"Density taken as {asked.agent.density.text}.", "bookkeeping")


_WHO_DECIDES = (
    "Local rules and the licensed veterinarian decide whether it may be given, to food fish or others. If anyone could "
    "eat the fish, a withdrawal applies: ask first."
)
#: share of the water changed that the example of a top-up speaks of
_CHANGED = 0.2
_FILTER_WORDS = {
    "none": "no filter",
    "naive": "filter new to the drug",
    "adapted": "filter that has met the drug",
}


def _after_change(asked: _Asked, hours: float) -> str:
    """What to put back after a water change: for a stable agent the share changed of the dose, never the whole."""

    def amount(mg: float) -> str:
        grams, millilitres = _product(asked, mg / 1000)
        return product_words(grams, millilitres)

    days, loss = hours / 24, asked.agent.values[f"loss_per_day_{asked.filter_kind}"].value
    whole = asked.mg_l * asked.volume_l
    removed = restore_mg(asked.mg_l, asked.volume_l, _CHANGED).total_mg.item()
    faded = restore_mg(asked.mg_l, asked.volume_l, _CHANGED, loss, days).faded_mg.item()
    said = (
        f"If {percent(_CHANGED)} of the water is changed during the bath, put back that share of the dose "
        f"({amount(removed)}), not the whole"
    )
    if faded < 0.02 * whole:
        return f"{said}."
    return (
        f"{said}. After {plain(hours)} h about {percent(1 - faded / whole)} of the dose is still in the water "
        f"({_FILTER_WORDS[asked.filter_kind]}); {amount(faded)} more would bring it back to full strength, which is "
        "seldom needed."
    )


def _volume_cautions(asked: _Asked, found: DoseRange | None) -> Iterator[Caution]:
    if asked.volume_range_l is None:
        count = "An error in the volume is an equal error in the dose: count filter, sump and pipes, leave out stones."
        if asked.where == "case.toml":  # a bath apart
            count = "An error in the volume is an equal error in the dose: measure the water of the bath."
        yield Caution(count, "making_up")
        return
    small, large = asked.volume_range_l
    most, least = asked.mg_l * asked.volume_l / small, asked.mg_l * asked.volume_l / large
    yield Caution(f"In {volumes(small, large)} of water, this amount gives {alike(most, least)} mg/L.", "care")
    if found is not None and most > found.mg_l[1]:
        above = f"In the smallest volume that is above {plain(found.mg_l[1])} mg/L: measure the volume first."
        yield Caution(above, "trial")

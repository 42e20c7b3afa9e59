"""Which doses a source gives, and what is wrong with one that none does."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from burden.evidence import FRESH_WATER, Agent, DoseRange, load_agent
from burden.treatment.host_tolerance import HostAdvice
from burden.utils.errors import Problem
from burden.utils.formatting import exposure, plain

__all__ = [
    "LEAST_STRENGTH_PERCENT",
    "DoseAsked",
    "bath_hours",
    "impossible",
    "odd_dose",
    "published_range",
    "range_words",
    "unpublished",
]

#: weaker is likelier a share written for a percentage, which would give a hundred times the dose: an assumption [%]
LEAST_STRENGTH_PERCENT = 1.0


@dataclass(frozen=True)
class DoseAsked:
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
        """Name what is wrong with one argument, by its option or by its key in the case."""
        option = "temperature" if key == "temperature_c" else key.replace("_", "-")
        place = f"--{option}" if self.where == "command line" else key
        return Problem(self.where, place, str(value), expected, fix)


def published_range(asked: DoseAsked) -> DoseRange | None:
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


def bath_hours(asked: DoseAsked, found: DoseRange | None) -> float:
    """Return how long the bath lasts [h].

    The hours asked for, else the customary ones where the range allows them, else the longest it allows.
    """
    usual = float(asked.agent.customary.hours)
    if asked.hours is not None:
        return float(asked.hours)
    if found is None or found.hours[0] <= usual <= found.hours[1]:
        return usual
    return float(found.hours[1])


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


def impossible(asked: DoseAsked) -> list[Problem]:
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


def unpublished(asked: DoseAsked, found: DoseRange | None, advice: HostAdvice | None) -> list[Problem]:
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


def _other_unit(asked: DoseAsked) -> str:
    """Ask whether another unit was meant, where the number would be a published dose in it; else empty."""
    agent = asked.agent
    units = {"g/L": 1000.0, "µg/L": 0.001}
    if agent.density is not None:  # measured out in mL, so that is the likelier slip
        units = {"mL per litre": 1000.0 * agent.density.g_ml, **units}
    for unit, factor in units.items():
        if published_range(replace(asked, mg_l=asked.mg_l * factor)) is not None:
            return f"Was {plain(asked.mg_l)} {unit} meant, that is {plain(asked.mg_l * factor)} mg/L?"
    return ""


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
    asked = DoseAsked(agent, 1.0, mg_l, False, 100.0, False, route, hours, coldest, None, None, False, "")
    if not known or published_range(asked) is not None:
        return ""
    return f"published are {'; '.join(range_words(r, agent.name) for r in known)}. {_other_unit(asked) or 'Units?'}"

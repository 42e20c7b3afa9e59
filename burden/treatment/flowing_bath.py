"""A long bath in water that flows: how long it lasts, and how it can be given at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from burden.case import Case
from burden.evidence import load_agent
from burden.treatment.water_chemistry import LEFT_IN_HOURS, oxygen_saturation_mg_l

__all__ = ["FlowingBath", "bath_in_flow", "oxygen_hours", "oxygen_use_mg_per_kg_h"]

#: share of the water that may be exchanged within a bath before it no longer counts as still [-]: an assumption
_STILL = 0.25
#: a drip that adds more than so many times the dose of still water is given up: an assumption [-]
_MOST_DOSES = 3.0
#: oxygen below which no fish should come in a bath [mg/L]: common practice, no source
_LEAST_OXYGEN_MG_L = 5.0
#: what running water holds of what it could, where nobody measured [-]: an assumption
_SATURATED = 0.8
#: fish per volume that aeration alone keeps in oxygen with the flow stopped [kg/m³]: an assumption
_AERATED_KG_M3 = 5.0
#: oxygen a resting fish of 100 g takes at 15 °C [mg/(kg h)], from memory of handbooks of trout culture; twice as much
#: for 10 °C more; the power of weight likewise
_USE_MG_KG_H, _Q10, _WEIGHT_POWER = 250.0, 2.0, -0.2


@dataclass(frozen=True)
class FlowingBath:
    """How the customary bath of an agent can be given in the water of a case.

    Parameters
    ----------
    agent : str
    mode : str
        still (as in a pond); apart (short, in a water of its own); stop_flow; drip_feed; impossible.
    reason : str
        Code: little_exchange, short_bath, oxygen_lasts, aeration_holds, oxygen_too_short, open_cage, too_much_flow.
    hours : float
        Of the bath [h].
    half_life_hours : float
        Time in which the flow carries off half, were it left running; infinite in still water [h].
    oxygen_hours : float
        How long the fish can do with the flow stopped and no aeration [h].
    kilograms : float
        Of all fish [kg].
    flow_l_per_hour : float
        [L/h]
    doses : float
        Agent needed over that of still water [-].
    drip_mg_per_hour : float
        What keeps up the strength while the flow runs [mg/h]; 0 where none is dripped.
    """

    agent: str
    mode: Literal["still", "apart", "stop_flow", "drip_feed", "impossible"]
    reason: str
    hours: float
    half_life_hours: float
    oxygen_hours: float
    kilograms: float
    flow_l_per_hour: float
    doses: float
    drip_mg_per_hour: float

    @property
    def held(self) -> bool:
        """Whether the strength is kept for the hours of the bath and carried off afterwards."""
        return self.mode in ("stop_flow", "drip_feed")


def oxygen_use_mg_per_kg_h(weight_g: float, temperature_c: float) -> float:
    """Oxygen that resting fish take [mg/(kg h)].

    Parameters
    ----------
    weight_g : float
        Of one fish [g].
    temperature_c : float
        [°C]

    Examples
    --------
    >>> round(oxygen_use_mg_per_kg_h(100.0, 15.0)), round(oxygen_use_mg_per_kg_h(1000.0, 25.0))
    (250, 315)
    """
    return float(_USE_MG_KG_H * (weight_g / 100.0) ** _WEIGHT_POWER * _Q10 ** ((temperature_c - 15.0) / 10.0))


def oxygen_hours(oxygen_mg_l: float, volume_l: float, kilograms: float, use_mg_per_kg_h: float) -> float:
    """How long still water without aeration keeps fish above 5 mg/L of oxygen [h].

    Parameters
    ----------
    oxygen_mg_l : float
        At the start [mg/L].
    volume_l : float
        [L]
    kilograms : float
        Of fish [kg].
    use_mg_per_kg_h : float
        [mg/(kg h)]

    Examples
    --------
    >>> oxygen_hours(9.0, 10_000.0, 100.0, 250.0)
    1.6
    """
    spare = max(oxygen_mg_l - _LEAST_OXYGEN_MG_L, 0.0) * volume_l
    return float(spare / (kilograms * use_mg_per_kg_h)) if kilograms > 0 else float("inf")


def bath_in_flow(case: Case, agent: str, temperature_c: float = 15.0) -> FlowingBath:
    """Return how the customary bath of an agent can be given in a case's water.

    Parameters
    ----------
    case : Case
    agent : str
    temperature_c : float
        Of the water on the day [°C].

    Notes
    -----
    The flow carries a bath off with exp(−e t). Where that is more than a little of it, the flow is stopped for as long
    as the oxygen of the water lasts the fish in it, or the agent is dripped into the inflow all along. Into an open
    cage no long bath can be given, and where more than three doses would flow through, none is.
    """
    water, hours = case.water, load_agent(agent).customary.hours
    exchange = water.exchange_per_day
    kilograms = sum(group.count * group.weight_g.value for group in case.fish) / 1000
    use = oxygen_use_mg_per_kg_h(case.mean_weight_g.value, temperature_c)
    oxygen = water.oxygen_mg_l or _SATURATED * oxygen_saturation_mg_l(
        min(max(temperature_c, 0.0), 40.0), water.salinity_g_l or 0.0
    )
    lasts = oxygen_hours(oxygen, water.volume_l.value, kilograms, use)
    passed = exchange * hours / 24
    mode, reason = _how(case, hours, passed, lasts, 1000 * kilograms / water.volume_l.value)
    flow = exchange * water.volume_l.value / 24
    dripped = load_agent(agent).customary.mg_l * flow if mode == "drip_feed" else 0.0
    return FlowingBath(
        agent,
        mode,
        reason,
        hours,
        24 * float(np.log(2)) / exchange if exchange > 0 else float("inf"),
        lasts,
        kilograms,
        flow,
        1 + passed if mode == "drip_feed" else 1.0,
        dripped,
    )


def _how(
    case: Case, hours: float, passed: float, lasts: float, kg_per_m3: float
) -> tuple[Literal["still", "apart", "stop_flow", "drip_feed", "impossible"], str]:
    if hours < LEFT_IN_HOURS:
        return "apart", "short_bath"
    if case.water.kind == "cage":
        return "impossible", "open_cage"
    if passed < _STILL:
        return "still", "little_exchange"
    if lasts >= hours:
        return "stop_flow", "oxygen_lasts"
    if case.water.aeration and kg_per_m3 <= _AERATED_KG_M3:
        return "stop_flow", "aeration_holds"
    if 1 + passed <= _MOST_DOSES:
        return "drip_feed", "oxygen_too_short"
    return "impossible", "too_much_flow"

"""A bath in water that flows: which one, how long it lasts, and how it can be given at all.

An agent's customary bath is left in the water for a day. Where the flow carries it off, or the cage is open, its short
bath takes its place: of an hour or two, with the flow stopped or the fish enclosed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np

from burden.case import Action, Case, ConstantTemperature, RecordedTemperature
from burden.evidence import Agent, load_agent
from burden.evidence.records import Bath, DoseRange
from burden.treatment.host_tolerance import lower_dose_mg_l, short_limit_mg_l
from burden.treatment.water_chemistry import LEFT_IN_HOURS, oxygen_saturation_mg_l

__all__ = ["FlowingBath", "bath_in_flow", "bath_water_c", "oxygen_hours", "oxygen_use_mg_per_kg_h"]

_Mode = Literal["still", "apart", "enclosed", "stop_flow", "drip_feed", "impossible"]

#: share of the water that may be exchanged within a bath before it no longer counts as still [-]: an assumption
_STILL = 0.25
#: a drip that adds more than so many times the dose of still water is given up: an assumption [-]
_MOST_DOSES = 3.0
#: oxygen below which no fish should come in a bath [mg/L]: common practice, no source
_LEAST_OXYGEN_MG_L = 5.0
#: what the water may warm by before a bath of the next days: an assumption [°C]
_WARMS_C = 1.0
#: what running water holds of what it could, where nobody measured [-]: an assumption
_SATURATED = 0.8
#: fish per volume that aeration alone keeps in oxygen with the flow stopped [kg/m³]: an assumption
_AERATED_KG_M3 = 5.0
#: share of the oxygen fish take from which the flow is what they breathe by: an assumption [-]
_FED_BY_FLOW = 0.5
#: oxygen a resting fish of 100 g takes at 15 °C [mg/(kg h)], from memory of handbooks of trout culture; twice as much
#: for 10 °C more; the power of weight likewise
_USE_MG_KG_H, _Q10, _WEIGHT_POWER = 250.0, 2.0, -0.2


@dataclass(frozen=True)
class FlowingBath:
    """Which bath of an agent can be given in the water of a case, and how.

    Parameters
    ----------
    agent : str
    mode : str
        still (as in a pond); apart (short, in a water of its own); enclosed (short, the cage's fish in a tarpaulin or
        a well-boat); stop_flow; drip_feed; impossible.
    reason : str
        Code: little_exchange, short_bath, oxygen_lasts, aeration_holds, oxygen_too_short, open_cage, too_much_flow.
    mg_l, hours : float
        Of the bath [mg/L], [h].
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
    mode: _Mode
    reason: str
    mg_l: float
    hours: float
    half_life_hours: float
    oxygen_hours: float
    kilograms: float
    flow_l_per_hour: float
    doses: float
    drip_mg_per_hour: float

    @property
    def apart(self) -> bool:
        """Whether the bath is given in a water of its own, of which nothing stays."""
        return self.mode in ("apart", "enclosed")

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


def bath_in_flow(case: Case, agent: str) -> FlowingBath:
    """Return which bath of an agent can be given in a case's water, and how.

    Parameters
    ----------
    case : Case
    agent : str

    Notes
    -----
    The flow carries a bath off with exp(−e t). Where that is more than a little of it, the flow is stopped for as long
    as the oxygen of the water lasts the fish in it, or the agent is dripped into the inflow all along. Into an open
    cage no long bath can be given, and where more than three doses would flow through, none is: there the agent's short
    bath is, if it has one, no stronger than each host bears; and no weaker than these fish were given before, as far as
    sources and hosts allow (common practice, no source): a bath that fell short is not followed by a weaker one.
    """
    known = load_agent(agent)
    usual = _in_flow(case, agent, replace(known.customary, mg_l=_gentle(case, known)), short=False)
    short_bath = known.short_bath_in(case.water.medium)
    if usual.mode != "impossible" or short_bath is None:
        return usual
    mg_l = max(min(short_bath.mg_l, _borne(case, known)), _given_before(case, known, short_bath.hours))
    short = _in_flow(case, agent, replace(short_bath, mg_l=mg_l), short=True)
    return usual if short.mode == "impossible" else short


def _gentle(case: Case, agent: Agent) -> float:
    """Customary strength, or the lower one that the most delicate fish here are known to bear and sources give [mg/L].

    A host for which a lower dose is advised has that, where a published range of as long a bath reaches down to it.
    """
    usual = agent.customary
    if agent.oxygen_demand is not None:
        return usual.mg_l  # weaker it hardly works, and takes oxygen all the same: it is kept from such hosts
    asked = [lower_dose_mg_l(agent, group.kind) for group in case.fish if group.count > 0]
    gentle = min((mg_l for mg_l in asked if mg_l is not None), default=usual.mg_l)
    low = min((row.mg_l[0] for row in _published(agent, usual.hours)), default=usual.mg_l)
    return min(usual.mg_l, gentle) if gentle >= low else usual.mg_l


def _published(agent: Agent, hours: float) -> list[DoseRange]:
    """Ranges that sources give of baths as long."""
    return [row for row in agent.ranges if row.route == "bath" and row.hours[0] <= hours <= row.hours[1]]


def _borne(case: Case, agent: Agent, temperature_c: float | None = None) -> float:
    return min(short_limit_mg_l(agent, group.kind, temperature_c) for group in case.fish)


def _given_before(case: Case, agent: Agent, hours: float) -> float:
    """Strongest short bath of an agent these fish had, no more than is published and borne in this water [mg/L]."""
    given = [d.concentration_mg_l for d in case.doses_given if d.agent == agent.name and _is_short(d)]
    strongest = max((strength for strength in given if strength is not None), default=0.0)
    warm_c = bath_water_c(case)
    published = [
        row.mg_l[1]
        for row in _published(agent, hours)
        if row.max_temperature_c is None or warm_c <= row.max_temperature_c
    ]
    return min(strongest, max(published, default=0.0), _borne(case, agent, warm_c))


def bath_water_c(case: Case) -> float:
    """Return how warm the water may be at the baths of the next days [°C].

    Parameters
    ----------
    case : Case
    """
    return _now_c(case) + _WARMS_C


def _is_short(dose: Action) -> bool:
    return dose.route in (None, "bath") and dose.hours is not None and dose.hours < LEFT_IN_HOURS


def _in_flow(case: Case, agent: str, bath: Bath, short: bool) -> FlowingBath:
    """How one bath can be given; a short one in the water of the case itself, where that can be closed off."""
    water, now_c = case.water, _now_c(case)
    exchange = water.exchange_per_day
    kilograms = sum(group.count * group.weight_g.value for group in case.fish) / 1000
    use = oxygen_use_mg_per_kg_h(case.mean_weight_g.value, now_c)
    oxygen = water.oxygen_mg_l or _SATURATED * oxygen_saturation_mg_l(
        min(max(now_c, 0.0), 40.0), water.salinity_g_l or 0.0
    )
    lasts = oxygen_hours(oxygen, water.volume_l.value, kilograms, use)
    passed = exchange * bath.hours / 24
    flow = exchange * water.volume_l.value / 24
    thin = 1000 * kilograms / water.volume_l.value <= _AERATED_KG_M3
    # a little make-up water is not what fish breathe by
    by_air = water.kind != "raceway" and flow * max(oxygen - _LEAST_OXYGEN_MG_L, 0.0) < _FED_BY_FLOW * kilograms * use
    mode, reason = _how(case, bath.hours, short, passed, lasts, bool(water.aeration) and (thin or by_air))
    return FlowingBath(
        agent,
        mode,
        reason,
        bath.mg_l,
        bath.hours,
        24 * float(np.log(2)) / exchange if exchange > 0 else float("inf"),
        lasts,
        kilograms,
        flow,
        1 + passed if mode == "drip_feed" else 1.0,
        bath.mg_l * flow if mode == "drip_feed" else 0.0,
    )


def _now_c(case: Case) -> float:
    """The water on the day of the visit, as last read [°C]."""
    water = case.water.temperature
    if isinstance(water, ConstantTemperature):
        return water.temperature_c
    if isinstance(water, RecordedTemperature):
        day = datetime.combine(case.visit_date, datetime.max.time())
        past = [warmth for when, warmth in zip(water.times, water.temperatures_c, strict=True) if when <= day]
        return past[-1] if past else water.temperatures_c[0]
    year = 2 * np.pi * water.days_since_warmest(case.visit_date) / 365.25
    return float(water.mean_c + water.swing_c * np.cos(year))


def _how(case: Case, hours: float, short: bool, passed: float, lasts: float, air_holds: bool) -> tuple[_Mode, str]:
    brief = hours < LEFT_IN_HOURS
    if case.water.kind == "cage":
        return ("enclosed" if brief else "impossible"), "open_cage"
    if brief and not short:
        return "apart", "short_bath"
    if passed < _STILL and not short:
        return "still", "little_exchange"
    if lasts >= hours:
        return "stop_flow", "oxygen_lasts"
    if air_holds:
        return "stop_flow", "aeration_holds"
    if 1 + passed <= _MOST_DOSES:
        return "drip_feed", "oxygen_too_short"
    return "impossible", "too_much_flow"

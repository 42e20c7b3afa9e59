"""Moves beside the dose: fish to a clean tank so that eggs stay behind, and warmer water so that eggs hatch sooner.

Each is the same search in a changed pond, so that what it saves stands beside what it costs. Draining and drying the
pond while the fish are away is the clean tank with the eggs' end made certain; both take every egg and larva.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.judging import Judged
from burden.pond import Pond
from burden.schedule import Choice, search
from burden.simulate import State
from burden.water import Temperature

__all__ = ["HEATING_C_PER_DAY", "Alternative", "alternatives", "heated", "left_behind", "oxygen_saturation_mg_l"]

#: how fast fish may be warmed: common practice, no source [°C/d]
HEATING_C_PER_DAY = 1.0
#: least gain that makes warming worth its trouble: an assumption [°C]
_LEAST_WARMING_C = 3.0
_IN_THE_WATER = ("egg", "fresh_egg", "larva")


@dataclass(frozen=True)
class Alternative:
    """A move, the schedule that goes with it, and what it costs.

    Parameters
    ----------
    move : str
        In words.
    judged : Judged
        Fewest doses that control with the move.
    cost : str
        What it asks of the fish and of people.
    """

    move: str
    judged: Judged
    cost: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"move": self.move, "schedule": self.judged.as_dict(), "cost": self.cost}


def left_behind(pond: Pond) -> Pond:
    """Return the pond with its fish moved to clean water right after every dose: eggs and larvae stay behind.

    The bath is taken where the fish are; what it leaves in that water stays behind as well.
    """
    everything = np.ones(pond.size)
    effects = {}
    for agent, effect in pond.effects.items():
        effect = effect.without_residue()
        effects[agent] = replace(effect, by_form={**effect.by_form, **dict.fromkeys(_IN_THE_WATER, everything)})
    return replace(pond, effects=effects)


def heated(pond: Pond, to_c: float) -> Pond:
    """Return the pond warmed from the visit on, by a degree a day, and held at `to_c` [°C]."""
    now = float(np.median(pond.setting.temperature.at(0.0)))
    days = max((to_c - now) / HEATING_C_PER_DAY, 0.0)
    if days == 0:
        return pond
    warmer = Temperature.linear([0.0, days], [now, to_c])
    return replace(pond, setting=replace(pond.setting, temperature=warmer))


def oxygen_saturation_mg_l(temperature_c: float) -> float:
    """Oxygen that fresh water holds in balance with air at sea level [mg/L].

    Parameters
    ----------
    temperature_c : float
        0 to 40 [°C].

    References
    ----------
    Benson & Krause (1984) Limnology and Oceanography 29:620-632; coefficients from memory.

    Examples
    --------
    >>> round(oxygen_saturation_mg_l(20.0), 2)
    9.09
    """
    t = temperature_c + 273.15
    return float(np.exp(-139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.2438e10 / t**3 - 8.621949e11 / t**4))


def alternatives(
    case: Case, ponds: Sequence[tuple[Pond, State]], agents: Sequence[str], without: Choice
) -> tuple[Alternative, ...]:
    """Search again with each move the case allows.

    Parameters
    ----------
    case : Case
        `[limits] spare_tank` and `can_heat_to_c` say what can be done.
    ponds : sequence of (Pond, State)
    agents : sequence of str
        Agents that may be given; the one of the schedule without a move is kept.
    without : Choice
        The search without any move.
    """
    if without.recommended is None:
        return ()
    main = (without.recommended.plan.agents[0],)
    found = []
    if case.limits.spare_tank:
        choice = search(case, [(left_behind(p), s) for p, s in ponds], main)
        found.append(_alternative("fish into a clean tank after every dose, eggs stay behind", choice, _tank_cost()))
    to_c = case.limits.can_heat_to_c
    now = float(np.median(ponds[0][0].setting.temperature.at(0.0)))
    if to_c is not None and to_c >= now + _LEAST_WARMING_C:
        choice = search(case, [(heated(p, to_c), s) for p, s in ponds], main)
        found.append(_alternative(f"water warmed to {to_c:g} °C by a degree a day", choice, _heat_cost(now, to_c)))
    return tuple(one for one in found if one is not None)


def _alternative(move: str, choice: Choice, cost: str) -> Alternative | None:
    return None if choice.recommended is None else Alternative(move, choice.recommended, cost)


def _tank_cost() -> str:
    return (
        "handling of sick fish at every dose; tank, nets and media must be dried or hot-washed before they are used "
        "again, since eggs stick to them (common practice, no source)"
    )


def _heat_cost(now: float, to_c: float) -> str:
    before, after = oxygen_saturation_mg_l(now), oxygen_saturation_mg_l(to_c)
    return (
        f"oxygen: the water holds {after:.1f} instead of {before:.1f} mg/L while fish and filter ask for more, so "
        "aerate; flukes lay and grow faster between doses, so every date counts; stay within the host's own range"
    )

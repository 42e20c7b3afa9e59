"""What earlier baths of an agent may have left in the water: a dose goes on top of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from burden.case import Action, Case
from burden.evidence import load_agent
from burden.treatment.concentration import concentration_curve
from burden.treatment.flowing_bath import bath_in_flow
from burden.treatment.water_chemistry import LEFT_IN_HOURS
from burden.utils.results import CredibleInterval

__all__ = ["builds_up", "ceiling_mg_l", "given_baths", "half_gone_days", "left_mg_l", "stays", "stays_in_water"]

#: filter at the first dose and at later ones; where nobody says, none, in which most is left
_FILTERS = {
    "none": ("none", "none"),
    "naive": ("naive", "adapted"),
    "adapted": ("adapted", "adapted"),
    None: ("none", "none"),
}


def stays(action: Action, customary_hours: float) -> bool:
    """Tell whether a bath before the visit was left in the water: no dip, and long enough.

    Parameters
    ----------
    action : Action
    customary_hours : float
        Of its agent, where nobody wrote the length down [h].
    """
    return action.route != "dip" and (action.hours or customary_hours) >= LEFT_IN_HOURS


def stays_in_water(case: Case, agent: str) -> bool:
    """Tell whether a customary bath of an agent is left in the water of a case and fades there.

    Parameters
    ----------
    case : Case
    agent : str
    """
    bath = bath_in_flow(case, agent)
    return bath.hours >= LEFT_IN_HOURS and not (bath.apart or bath.held or bath.mode == "impossible")


def half_gone_days(case: Case, agent: str) -> CredibleInterval:
    """Return how long half of a bath that is left in the water takes to go [d].

    Parameters
    ----------
    case : Case
        For its filter and exchange.
    agent : str

    Notes
    -----
    ln 2 over the loss in that filter and by exchange; of a filter new to the drug at the first dose.
    """
    loss, exchange = (
        load_agent(agent).values[f"loss_per_day_{_FILTERS[case.water.filter][0]}"],
        case.water.exchange_per_day,
    )
    fast, usual, slow = (math.log(2) / (rate + exchange) for rate in (loss.high, loss.value, loss.low))
    return CredibleInterval(usual, fast, slow)


def given_baths(case: Case, agent: str) -> list[tuple[float, float]]:
    """Return day and strength of the baths of an agent before the visit, as far as both are known [d], [mg/L].

    Those that were not left in the water are left out; of a water change after one, what it carried off.
    """
    found = []
    volume, usual = case.water.volume_l.value, load_agent(agent).customary.hours
    for action in case.given:
        mg_l = action.concentration_mg_l
        if action.agent == agent and mg_l is not None and stays(action, usual):
            kept = (1 - (action.water_change_after or 0.0)) * (action.volume_l_believed or volume) / volume
            found.append((float(case.day_of(action.date)), mg_l * kept))
    return found


def left_mg_l(case: Case, agent: str, day: float, baths: Sequence[tuple[float, float]]) -> float:
    """Return what may be left of earlier baths of an agent just before a dose [mg/L].

    Parameters
    ----------
    case : Case
        For its filter and exchange.
    agent : str
    day : float
        Day of the dose, from the visit on [d].
    baths : sequence of (float, float)
        Day and strength of the earlier ones [d], [mg/L].

    Notes
    -----
    By the middle of the published loss, in the filter of the case; where nobody says which, in water without any.
    """
    if not baths:
        return 0.0
    values = load_agent(agent).values
    loss, later = (values[f"loss_per_day_{kind}"].value for kind in _FILTERS[case.water.filter])
    curve = concentration_curve(baths, loss, case.water.exchange_per_day, loss_adapted_per_day=later)
    return float(curve.at([day])[0, 0])


def ceiling_mg_l(agent: str) -> float:
    """Return the strength above which no bath of the agent is left in the water [mg/L]."""
    return load_agent(agent).ceiling.mg_l_prolonged


def builds_up(case: Case, days: Sequence[float], agents: Sequence[str], carried: bool = True) -> bool:
    """Tell whether customary doses on these days, each on top of what the others left, come above a ceiling.

    Parameters
    ----------
    case : Case
    days : sequence of float
        Rising [d].
    agents : sequence of str
        One a day.
    carried : bool
        Whether what was given before the visit is still in the water; not where the water is changed first.
    """
    there: dict[str, list[tuple[float, float]]] = {}
    for day, agent in zip(days, agents, strict=True):
        bath, ceiling = bath_in_flow(case, agent), ceiling_mg_l(agent)
        mg_l = bath.mg_l
        if bath.hours < LEFT_IN_HOURS:
            continue  # taken out after the bath
        before = there.setdefault(agent, given_baths(case, agent) if carried else [])
        if (len(before) + 1) * mg_l > ceiling and left_mg_l(case, agent, day, before) + mg_l > ceiling:
            return True
        before.append((day, mg_l))
    return False

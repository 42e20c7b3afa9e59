"""Why untreated flukes become fewer, where they do: only what holds in the simulated ponds of this case."""

from __future__ import annotations

import numpy as np

from burden.inference.prior import Ensemble
from burden.model.forward import Trajectory
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.viviparous import heat_share

__all__ = ["FADING", "why_fading"]

#: in the order they are said
FADING = ("cold", "heat", "deaths", "resistance", "crowding", "few")
#: assumptions, all: eggs that hatch at all, and within so many days, where it is not too cold; share of flukes under
#: heat [-], [d], [-]
_HATCH, _HATCH_DAYS, _HEAT = 0.1, 45.0, 0.2
#: assumptions: share of the fish that flukes kill, and how many at the least; resistance of the fish at the end, and
#: days that it needs; share of laying that crowding leaves; flukes a fish that are few [-], [d], [1/fish]
_DEAD, _DEAD_FISH, _RESISTANT, _RESISTANT_DAYS, _CROWDED, _FEW = 0.05, 2.0, 0.35, 21.0, 0.5, 1.0


def why_fading(pond: Ensemble, run: Trajectory, days: float) -> tuple[str, ...]:
    """Return the codes of what makes flukes fewer in the ponds where they become fewer, untreated.

    Parameters
    ----------
    pond : Ensemble
    run : Trajectory
        Untreated, M draws, from the visit on.
    days : float
        Horizon [d].

    Returns
    -------
    tuple of str
        Of `FADING`, in that order; empty where none of them stands out.
    """
    fewer = run.abundance[-1] < run.abundance[0]
    if not fewer.any():
        return ()
    dead, few = _median(run.fluke_deaths[-1][fewer]), _median(run.abundance[0][fewer]) < _FEW
    resistant = _median(run.resistance[-1][fewer]) >= _RESISTANT and days >= _RESISTANT_DAYS
    holds = {
        "cold": _too_cold(pond, days),
        "heat": _hot(pond, days),
        "deaths": dead >= max(_DEAD * _median(run.alive[0][fewer]), _DEAD_FISH),
        "resistance": resistant and not few,
        "crowding": _median(run.laying[0][fewer]) < _CROWDED,
        "few": few,
    }
    return tuple(code for code in FADING if holds[code])


def _median(values: np.ndarray) -> float:
    return float(np.median(values))


def _waters(pond: Ensemble, days: float) -> list[float]:
    """Median temperature by day."""
    return [pond.setting.temperature.median_at(day) for day in np.linspace(0.0, days, 7)]


def _too_cold(pond: Ensemble, days: float) -> bool:
    """Whether eggs laid at the end hatch seldom or only after weeks; of live-bearers none are laid."""
    parameters = pond.setting.parameters
    if parameters.development is None:
        return False
    rates = rates_at(parameters, _waters(pond, days)[-1], Surroundings(0.0, 0.0))
    seldom = _median(np.broadcast_to(rates["hatch_success"], (parameters.size,))) < _HATCH
    return seldom or _median(rates["egg_rate"]) < 1 / _HATCH_DAYS


def _hot(pond: Ensemble, days: float) -> bool:
    values = pond.setting.parameters.values
    return _median(np.asarray(heat_share(values, max(_waters(pond, days))))) > _HEAT

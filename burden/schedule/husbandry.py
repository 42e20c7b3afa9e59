"""Moves beside the dose: eggs cleaned off, left behind in the old water or dried up, and warmer water.

Each is the same search in a changed pond, so that what it saves stands beside what it costs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.evidence import Value, load_agent
from burden.inference.prior import Ensemble, Posterior
from burden.model.forward import State
from burden.model.temperature import Temperature
from burden.schedule.evaluation import EvaluatedSchedule, first_draws
from burden.schedule.recommendation import Recommendation
from burden.schedule.search import search
from burden.utils.progress import report_progress

__all__ = [
    "HEATING_C_PER_DAY",
    "MOVE_DRAWS",
    "Alternative",
    "alternatives",
    "cleaned",
    "drained",
    "heated",
    "left_behind",
    "oxygen_saturation_mg_l",
]

#: how fast fish may be warmed: common practice, no source [°C/d]
HEATING_C_PER_DAY = 1.0
#: least gain that makes warming worth its trouble: an assumption [°C]
_LEAST_WARMING_C = 3.0
#: draws a move is judged with: enough to see what it saves
MOVE_DRAWS = 50
#: share of the eggs that goes with bottom dirt, nets and media at one cleaning
_CLEANED_SHARE = Value("share cleaned off", 0.2, 0.05, 0.5, "-", "logit", "assumption")
_IN_THE_WATER = ("egg", "fresh_egg", "larva")


@dataclass(frozen=True)
class Alternative:
    """A move, the schedule that goes with it, and what it costs.

    Parameters
    ----------
    move : str
        In words.
    judged : EvaluatedSchedule
        Fewest doses that control with the move.
    cost : str
        What it asks of the fish and of people.
    """

    move: str
    judged: EvaluatedSchedule
    cost: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"move": self.move, "schedule": self.judged.as_dict(), "cost": self.cost}


def left_behind(pond: Ensemble) -> Ensemble:
    """Return the pond with its fish moved to clean water right after every dose: eggs and larvae stay behind.

    The bath is taken where the fish are; what it leaves in that water stays behind as well.
    """
    everything = np.ones(pond.size)
    effects = {}
    for agent, effect in pond.effects.items():
        effect = effect.without_residue()
        effects[agent] = replace(effect, by_form={**effect.by_form, **dict.fromkeys(_IN_THE_WATER, everything)})
    return replace(pond, effects=effects)


def heated(pond: Ensemble, to_c: float) -> Ensemble:
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


def cleaned(pond: Ensemble) -> Ensemble:
    """Return the pond with bottom, nets and media cleaned at every dose: a share of the eggs goes, larvae stay."""
    share = _CLEANED_SHARE.draw(pond.size, pond.seed, "move ")
    effects = {}
    for agent, effect in pond.effects.items():
        forms = {form: 1 - (1 - effect.kill_of(form)) * (1 - share) for form in ("egg", "fresh_egg")}
        effects[agent] = replace(effect, by_form={**effect.by_form, **forms})
    return replace(pond, effects=effects)


def drained(state: State) -> State:
    """Return the state with no egg and no larva: the pond was drained and dried while the fish had their first bath.

    Notes
    -----
    What that bath leaves in the water is reckoned with although the refilled pond has none of it: with no egg and no
    larva about there is little for it to kill in the days it lasts.
    """
    return replace(state, water={form: np.zeros_like(chain) for form, chain in state.water.items()})


@dataclass(frozen=True)
class _Move:
    """A move: what it makes of a pond and its state, with which agents, and what it costs."""

    words: str
    cost: str
    agents: tuple[str, ...]
    change: Callable[[Ensemble, State], Posterior]


def alternatives(
    case: Case, ponds: Sequence[Posterior], agents: Sequence[str], without: Recommendation
) -> tuple[Alternative, ...]:
    """Search again with each move the case allows, and with the clean tank and warmth together.

    Parameters
    ----------
    case : Case
        `[limits] spare_tank` and `can_heat_to_c` say what can be done; every other limit holds as it does without.
    ponds : sequence of Posterior
    agents : sequence of str
        Agents that may be given, alone and in turn.
    without : Recommendation
        The search without any move: never more doses than its recommendation.
    """
    if without.recommended is None:
        return ()
    most = replace(case, limits=replace(case.limits, max_doses=without.recommended.doses))
    few = first_draws(ponds, MOVE_DRAWS)
    found = []
    for move in _moves(case, few, tuple(agents)):
        report_progress(f"searching again: {move.words}")
        # what is left and rid of is asked alone: no day beyond the course is needed
        choice = search(most, [move.change(p, s) for p, s in few], move.agents, horizon_days=0.0)
        if choice.recommended is not None:
            found.append(Alternative(move.words, choice.recommended, move.cost))
    return tuple(found)


def _moves(case: Case, ponds: Sequence[Posterior], agents: tuple[str, ...]) -> list[_Move]:
    to_c, now = case.limits.can_heat_to_c, float(np.median(ponds[0][0].setting.temperature.at(0.0)))
    moves = []
    tank = _Move(
        "fish into a clean tank after every dose, eggs stay behind",
        _tank_cost(),
        agents,
        lambda p, s: Posterior(left_behind(p), s),
    )
    if any(p.setting.parameters.development is not None for p, _ in ponds):  # live-bearers leave no eggs behind
        clean = "bottom, nets and filter media cleaned at every dose"
        moves.append(_Move(clean, _clean_cost(), agents, lambda p, s: Posterior(cleaned(p), s)))
        if case.limits.spare_tank:
            dry = "first bath in the spare tank while the pond is drained and dried"
            moves += [tank, _Move(dry, _dry_cost(), agents, lambda p, s: Posterior(p, drained(s)))]
    if to_c is not None and to_c >= now + _LEAST_WARMING_C:
        bearable = tuple(a for a in agents if _bears(a, to_c))
        words, cost = f"water warmed to {to_c:g} °C by a degree a day", _heat_cost(now, to_c, set(agents) - {*bearable})
        moves.append(_Move(words, cost, bearable, lambda p, s: Posterior(heated(p, to_c), s)))
        if tank in moves:
            both = f"{tank.words}, {words}"
            moves.append(
                _Move(both, f"{tank.cost}; {cost}", bearable, lambda p, s: Posterior(left_behind(heated(p, to_c)), s))
            )
    return [move for move in moves if move.agents]


def _bears(agent: str, temperature_c: float) -> bool:
    """Whether an agent is given in water as warm as that."""
    limit = load_agent(agent).ceiling.temperature_c
    return limit is None or temperature_c <= limit


def _clean_cost() -> str:
    return (
        f"an hour or two at every dose; how many eggs go with it nobody measured ({100 * _CLEANED_SHARE.low:.0f} to "
        f"{100 * _CLEANED_SHARE.high:.0f} %, an assumption), and media rinsed in tap water lose their bacteria"
    )


def _dry_cost() -> str:
    return (
        "fish handled twice and crowded in the tank for the days of drying: oxygen and ammonia there, daily; a filter "
        "that has been dried starts anew (common practice, no source)"
    )


def _tank_cost() -> str:
    return (
        "handling of sick fish at every dose; tank, nets and media must be dried or hot-washed before they are used "
        "again, since eggs stick to them (common practice, no source)"
    )


def _heat_cost(now: float, to_c: float, too_warm: set[str]) -> str:
    before, after = oxygen_saturation_mg_l(now), oxygen_saturation_mg_l(to_c)
    without = f"no {' and no '.join(sorted(too_warm))} in water this warm; " if too_warm else ""
    return (
        f"oxygen: the water holds {after:.1f} instead of {before:.1f} mg/L while fish and filter ask for more, so "
        f"aerate; {without}flukes lay and grow faster between doses, so every date counts; stay within the host's own "
        "range"
    )

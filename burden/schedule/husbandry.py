"""Moves beside the dose: eggs cleaned off, left behind in the old water or dried up, and warmer water.

Each is the recommended schedule in a changed pond, on the same draws, so that what differs is the move.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.evidence import Value, load_agent
from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.forward import State
from burden.model.temperature import Temperature
from burden.schedule.aim import Aim
from burden.schedule.evaluation import EvaluatedSchedule, evaluate
from burden.utils.progress import report_progress

__all__ = [
    "HEATING_C_PER_DAY",
    "Alternative",
    "alternatives",
    "cleaned",
    "drained",
    "heated",
    "left_behind",
]

#: how fast fish may be warmed: common practice, no source [°C/d]
HEATING_C_PER_DAY = 1.0
#: least gain that makes warming worth its trouble: an assumption [°C]
_LEAST_WARMING_C = 3.0
#: share of the eggs that goes with bottom dirt, nets and media at one cleaning
_CLEANED_SHARE = Value("share cleaned off", 0.2, 0.05, 0.5, "-", "logit", "assumption")
#: water that cannot be drained and dried
_NEVER_DRY = ("cage", "lake")
_IN_THE_WATER = ("egg", "fresh_egg", "larva")


@dataclass(frozen=True)
class Alternative:
    """A move beside the doses, and what the same doses then do.

    Parameters
    ----------
    code : str
        clean_tank, cleaning, dry_pond, warm or clean_tank_and_warm.
    schedule : EvaluatedSchedule
        The fewest doses of the recommended schedule that reach the aim with the move; all of them where none does.
    chance : float
        Of reaching the aim with the move [-].
    to_c : float or None
        Temperature warmed to [°C].
    no_longer : tuple of str
        Agents that water so warm forbids.
    """

    code: str
    schedule: EvaluatedSchedule
    chance: float
    to_c: float | None = None
    no_longer: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "move": self.code,
            "chance": self.chance,
            "schedule": self.schedule.as_dict(),
            "to_c": self.to_c,
            "no_longer": list(self.no_longer),
        }


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
    now = pond.setting.temperature.median_at(0.0)
    days = max((to_c - now) / HEATING_C_PER_DAY, 0.0)
    if days == 0:
        return pond
    warmer = Temperature.linear([0.0, days], [now, to_c])
    return replace(pond, setting=replace(pond.setting, temperature=warmer))


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
    """A move: what it makes of a pond and its state."""

    code: str
    change: Callable[[Posterior], Posterior]
    to_c: float | None = None


def alternatives(
    case: Case, ponds: Sequence[Posterior], planned: EvaluatedSchedule, aim: Aim
) -> tuple[Alternative, ...]:
    """Evaluate the recommended schedule, and it with fewer doses, beside each move that the case allows.

    Parameters
    ----------
    case : Case
        `[limits] spare_tank` and `can_heat_to_c` say what can be done.
    ponds : sequence of Posterior
        Those the schedule was evaluated on, so that a difference is the move's.
    planned : EvaluatedSchedule
    aim : Aim
    """
    found = []
    for move in _moves(case, ponds):
        report_progress(f"what else helps: {move.code}")
        agents = set(planned.plan.agents)
        bearable = {a for a in agents if move.to_c is None or _bears(a, move.to_c)}
        if bearable != agents:
            continue  # another agent is another schedule, not this one with a move
        found.append(_with_move(move, ponds, planned.plan, aim))
    return tuple(found)


def _with_move(move: _Move, ponds: Sequence[Posterior], plan: DoseSchedule, aim: Aim) -> Alternative:
    changed = [move.change(posterior) for posterior in ponds]
    shorter = [DoseSchedule(plan.days[:n], plan.agents[:n]) for n in range(1, len(plan.days) + 1)]
    evaluated = evaluate(changed, shorter, aim)
    enough = next((one for one in evaluated if one.meets(aim)), evaluated[-1])
    return Alternative(move.code, enough, enough.chance(aim), move.to_c)


def _moves(case: Case, ponds: Sequence[Posterior]) -> list[_Move]:
    to_c, now = case.limits.can_heat_to_c, ponds[0].pond.setting.temperature.median_at(0.0)
    tank = case.limits.spare_tank and any(p.setting.parameters.evidence.lays_eggs for p, _ in ponds)
    moves = []
    if any(p.setting.parameters.evidence.lays_eggs for p, _ in ponds):  # live-bearers leave no eggs behind
        moves.append(_Move("cleaning", lambda one: Posterior(cleaned(one.pond), one.state)))
    if tank:
        moves.append(_Move("clean_tank", lambda one: Posterior(left_behind(one.pond), one.state)))
        if case.water.kind not in _NEVER_DRY:
            moves.append(_Move("dry_pond", lambda one: Posterior(one.pond, drained(one.state))))
    if to_c is not None and to_c >= now + _LEAST_WARMING_C:
        moves.append(_Move("warm", lambda one: Posterior(heated(one.pond, to_c), one.state), to_c))
        if tank:
            both = lambda one: Posterior(left_behind(heated(one.pond, to_c)), one.state)  # noqa: E731
            moves.append(_Move("clean_tank_and_warm", both, to_c))
    return moves


def _bears(agent: str, temperature_c: float) -> bool:
    """Whether an agent is given in water as warm as that."""
    limit = load_agent(agent).ceiling.temperature_c
    return limit is None or temperature_c <= limit

"""From the first day to the last: where steps land, how long they are, what is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from burden.model.forward.rates import mean_over_fish
from burden.model.forward.state import DrugInWater, Event, Scenario, State, Trajectory
from burden.model.forward.stepper import Stepper
from burden.model.hosts import laying_brake

__all__ = [
    "COARSE_STEP_DAYS",
    "LEAST_STEP_DAYS",
    "MAX_STEP_CHANGE_C",
    "MAX_STEP_DAYS",
    "MAX_STEP_DEGREE_DAYS",
    "MAX_STEP_WITH_DRUG_DAYS",
    "happen",
    "pieces",
    "simulate",
]


#: step for ranking and for what is shown by day [d]: error below 2e-3 of what is on the fish
#: (tests/model/test_forward.py)
COARSE_STEP_DAYS = 0.5


#: longest step [d], and what it comes to times the temperature in warm water, where the first of a brood rise more
#: steeply [°C d]: error below 1e-3 against LSODA at 1e-9 (tests/model/test_forward.py)
MAX_STEP_DAYS, MAX_STEP_DEGREE_DAYS = 0.25, 3.6


#: what the temperature may change by in a step [°C], down to a step that suits any change of the weather [d]
MAX_STEP_CHANGE_C, LEAST_STEP_DAYS = 0.05, 0.085


#: with a drug fading in the water, and how long that is looked at [d]
MAX_STEP_WITH_DRUG_DAYS, _DISSOLVED_DAYS = 0.125, 10.0


#: parts of a first step after a jump
_SETTLING = np.array([1, 1, 2, 4, 8]) / 16


def simulate(
    setting: Scenario,
    state: State,
    days: np.ndarray | Sequence[float],
    events: Sequence[Event] = (),
    max_step_days: float | None = None,
) -> Trajectory:
    """Run from the first to the last of `days`.

    Parameters
    ----------
    setting : Scenario
    state : State
        At the first day, before any event of that day.
    days : array_like
        Days to report, rising, shape (K,) [d]; a report on the day of an event is after it.
    events : sequence of Event
        Those between the first and the last day happen; a drug of an earlier event still works.
    max_step_days : float, optional
        Longest step; when not given, by temperature and doses, and never above `MAX_STEP_DAYS` [d].

    Returns
    -------
    Trajectory
    """
    report = np.asarray(days, float)
    drugs = tuple(event.drug for event in events if event.drug is not None)
    pending = [event for event in events if report[0] <= event.day <= report[-1]]
    stepper = Stepper(setting, drugs)
    seen = []
    for start, end in pieces(setting, report, pending):
        jumps = [event for event in pending if event.day == start]
        for event in jumps:
            state = happen(state, event, setting.fish.susceptibility)
        if start in report:
            seen.append(_observe(setting, state))
        if end > start:
            longest = max_step_days or _longest_step(setting, start, end, drugs)
            jumped = bool(jumps) or start == report[0]
            state = stepper.run(state, start, _steps(end - start, longest, jumped), jumped)
    return _trajectory(report, seen, state)


def pieces(setting: Scenario, days: np.ndarray, events: Sequence[Event]) -> list[tuple[float, float]]:
    """Intervals between everything a step must land on; the last one is empty, to report the end."""
    stops = [days, [event.day for event in events], setting.temperature.breaks(days[0], days[-1])]
    edges = np.unique(np.concatenate([np.asarray(s, float) for s in stops]))
    edges = edges[(edges >= days[0]) & (edges <= days[-1])]
    return [*pairwise(edges), (edges[-1], edges[-1])]


def _longest_step(setting: Scenario, start: float, end: float, drugs: Sequence[DrugInWater]) -> float:
    """Longest step between two landings [d]. It looks at course and doses alone, so draws do not sway each other."""
    if any(0 <= start - drug.day < _DISSOLVED_DAYS and drug.works for drug in drugs):
        return min(MAX_STEP_WITH_DRUG_DAYS, _longest_step(setting, start, end, ()))
    course = setting.temperature
    even = max(MAX_STEP_CHANGE_C / max(abs(course.slope(start, end)), 1e-9), LEAST_STEP_DAYS)
    return min(MAX_STEP_DAYS, MAX_STEP_DEGREE_DAYS / max(course.warmest(start, end), 1.0), even)


def _steps(length: float, longest: float, after_jump: bool) -> np.ndarray:
    """Steps that fill a stretch [d]: short ones first where something jumped, since what lives for hours in the water
    then settles anew; even ones otherwise."""
    count = max(int(np.ceil(length / longest - 1e-9)), 1)
    even = np.full(count, length / count)
    if not after_jump:
        return even
    return np.concatenate([even[0] * _SETTLING, even[1:]])


def happen(state: State, event: Event, susceptibility: np.ndarray) -> State:
    """Apply what an event does at once."""

    def left(chains: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {
            form: x * _chain_like(1 - event.kill[form], x) if form in event.kill else x for form, x in chains.items()
        }

    state = replace(state, water=left(state.water), fish=left(state.fish))
    return state if event.arrive is None else _join(state, event, event.arrive, susceptibility)


def _chain_like(share: np.ndarray, chain: np.ndarray) -> np.ndarray:
    """Give a share of shape (M,) or (n, M) the axes of a chain (n, M) or (n, G, M)."""
    share = np.asarray(share, float)
    return share[:, None, :] if share.ndim == 2 and chain.ndim == 3 else share


def _join(state: State, event: Event, arriving: np.ndarray, susceptibility: np.ndarray) -> State:
    """Let fish join their groups, spread evenly over the classes, healthy, with what they bring.

    Resistance is the pond's: the mean over its fish.
    """
    alive = state.alive + (arriving / state.alive.shape[1])[:, None, :]
    mixed = np.divide(state.alive, alive, out=np.zeros_like(alive), where=alive > 0)
    before, after = (state.alive * susceptibility).sum(1), (alive * susceptibility).sum(1)
    thinned = np.divide(before, after, out=np.ones_like(after), where=after > 0)
    flukes = {form: x * thinned + event.bring.get(form, 0.0) * (1 - thinned) for form, x in state.fish.items()}
    water = {form: x + event.bring.get(form, 0.0) for form, x in state.water.items()}
    whole, there = alive.sum((0, 1)), state.alive.sum((0, 1))
    residents = np.divide(there, whole, out=np.ones_like(whole), where=whole > 0)
    joined = 0.0 if event.arrive_resistance is None else event.arrive_resistance
    resistant = state.resistance * residents + joined * (1 - residents)
    blood = 1 + mixed * (state.haemoglobin - 1)
    return replace(state, alive=alive, water=water, fish=flukes, haemoglobin=blood, resistance=resistant)


def _observe(setting: Scenario, state: State) -> dict[str, np.ndarray]:
    """What a trajectory keeps of a state: totals in the water, means over live fish."""
    uptake = state.alive * setting.fish.susceptibility
    count = state.alive.sum((0, 1))

    def per_fish(chain: np.ndarray) -> np.ndarray:
        total = (chain.sum(0) * uptake.sum(1)).sum(0)
        return np.divide(total, count, out=np.zeros_like(total), where=count > 0)

    burden = sum(state.fish[name].sum(0) for name in setting.cycle.burden_forms)
    per_gram = setting.fish.per_gram(burden)
    laid = laying_brake(per_gram / setting.parameters["burden_scale"], uptake)
    weight = burden * uptake.sum(1)
    braked = np.divide((laid * weight).sum(0), weight.sum(0), out=np.ones_like(count), where=weight.sum(0) > 0)
    return {
        **{f"water {form}": chain.sum(0) for form, chain in state.water.items()},
        **{f"fish {form}": per_fish(chain) for form, chain in state.fish.items()},
        "alive": count,
        "deaths": state.deaths,
        "fluke_deaths": state.fluke_deaths,
        "resistance": state.resistance,
        "haemoglobin": mean_over_fish(state.haemoglobin, state.alive),
        "per_gram": mean_over_fish(per_gram, state.alive),
        "laying": braked if setting.crowding_on else np.ones_like(braked),
    }


def _trajectory(days: np.ndarray, seen: Sequence[Mapping[str, np.ndarray]], end: State) -> Trajectory:
    columns = {name: np.array([row[name] for row in seen]) for name in seen[0]}

    def of(place: str) -> dict[str, np.ndarray]:
        return {name.removeprefix(place): column for name, column in columns.items() if name.startswith(place)}

    return Trajectory(
        days=days,
        water=of("water "),
        fish=of("fish "),
        alive=columns["alive"],
        deaths=columns["deaths"],
        fluke_deaths=columns["fluke_deaths"],
        resistance=columns["resistance"],
        haemoglobin=columns["haemoglobin"],
        per_gram=columns["per_gram"],
        laying=columns["laying"],
        end=end,
    )

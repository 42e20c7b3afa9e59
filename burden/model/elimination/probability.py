"""The probability that the last fluke dies.

One definition everywhere: no fluke, egg or larva left `HORIZON_DAYS` after the last dose. With p_i(t) the
probability that one individual of stage i at time t still has descendants then, p runs backward through the same
transitions, temperatures and doses as the forward equations, and P = E[Π (1 − p_i)^N_i] over who is there.
`burden.model.elimination.renewal` solves it by age for egg-layers; `chain_values` here walks the list of transitions
stage by stage, for
live-bearers and as the yardstick of the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch
from burden.model.elimination.renewal import Habitat, Values, backward
from burden.model.forward import Scenario, State
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.stable_stages import Population
from burden.model.lifecycle.transitions import LifeCycle, Transition
from burden.model.linear_chain import chain_passage, looked_back
from burden.utils.progress import track

__all__ = [
    "HORIZON_DAYS",
    "DoseSchedule",
    "chain_none_left",
    "chain_values",
    "eliminations",
    "log_none_left",
    "none_left",
    "population_of",
    "time_grid",
]

HORIZON_DAYS = 365.0
#: longest step once the doses are over, or this part of how long what is under way takes: p then changes over weeks [d]
_TAIL_STEP_DAYS, _TAIL_STEP_PART = 1.5, 1 / 30
#: of 24, 48 and 96 the quickest: most of a step costs the same for few, and many do not fit the processor's cache
_PLANS_AT_ONCE = 48


def time_grid(
    start: float, last_dose: float, dt: float, reach_days: float, after_days: float = HORIZON_DAYS
) -> tuple[np.ndarray, int]:
    """Grid of the backward equations: even steps while doses work, then ever longer ones to the horizon.

    Parameters
    ----------
    start, last_dose : float
        First day, and day of the last dose; their distance is a multiple of `dt` [d].
    dt : float
        Step [d].
    reach_days : float
        How long even steps go on after the last dose, and how far the grid goes beyond the horizon [d].
    after_days : float
        From the last dose to the horizon [d].

    Returns
    -------
    times : numpy.ndarray
        Rising [d].
    horizon : int
        Grid time of the horizon.
    """
    # whole numbers of `dt` throughout, so that durations that start anywhere share one table
    horizon = round((last_dose - start) / dt) + int(np.ceil(after_days / dt - 1e-9))
    steps = [*range(round((last_dose - start + min(reach_days, after_days)) / dt) + 1)]
    longest, step = max(int(max(_TAIL_STEP_DAYS, _TAIL_STEP_PART * reach_days) / dt), 1), 1.0
    while steps[-1] < horizon:
        step = min(step * 1.15, longest)
        steps.append(min(steps[-1] + int(step), horizon))
    count = int(np.ceil(reach_days / (int(step) * dt)))
    return start + dt * np.array([*steps, *(horizon + int(step) * np.arange(1, count + 1))]), len(steps) - 1


def none_left(values: Values, population: Population) -> np.ndarray:
    """Probability that nobody has descendants at the horizon, shape (S, M)."""
    return np.exp(log_none_left(values, population))


def log_none_left(values: Values, population: Population) -> np.ndarray:
    """Logarithm of the probability that nobody has descendants at the horizon, shape (S, M).

    Parameters
    ----------
    values : Values
        Probabilities of leaving descendants.
    population : Population

    Notes
    -----
    What is in the water is Poisson about its mean, so it gives exp(−Σ N p). A fish's flukes are Poisson about a rate
    that is gamma across fish, so H fish of k give (1 + Σ N p / (H k))^(−H k).
    """
    return _log_nobody(*values.expected(population), population.fish * population.aggregation)


def _log_nobody(water: np.ndarray, fish: np.ndarray, spread: np.ndarray) -> np.ndarray:
    spread = np.maximum(spread, 1e-9)
    return -water - spread * np.log1p(fish / spread)


def population_of(state: State, setting: Scenario) -> Population:
    """Return who is there in a state of the forward equations, egg-layers."""
    uptake = (state.alive * setting.fish.susceptibility).sum(1)
    m = uptake.shape[-1]

    def on_fish(form: str) -> np.ndarray:
        return (state.fish[form] * uptake).sum(1)

    return Population(
        fresh_eggs=state.water.get("fresh_egg", np.zeros((0, m))),
        eggs=state.water["egg"],
        larvae=state.water["larva"].sum(0),
        juveniles=on_fish("juvenile"),
        adults=on_fish("adult").sum(0),
        fish=state.alive.sum((0, 1)),
        aggregation=setting.parameters["aggregation"],
    )


@dataclass(frozen=True)
class DoseSchedule:
    """Doses from the visit on: days [d], rising, and which effect each has."""

    days: tuple[float, ...]
    agents: tuple[str, ...]


def eliminations(
    setting: Scenario,
    state: State,
    plans: Sequence[DoseSchedule],
    effects: Mapping[str, DoseEffect],
    paths: Sequence[Mapping[str, tuple[np.ndarray, np.ndarray]] | None] | None = None,
) -> np.ndarray:
    """Log-probability of elimination of each plan, from a state on day 0.

    Parameters
    ----------
    setting, state
        M draws, as on the day of the visit.
    plans : sequence of DoseSchedule
        S of them, dose days in whole days; without doses the horizon counts from the visit.
    effects : mapping of str to DoseEffect
        By agent, M draws.
    paths : sequence of (mapping of str to (days, share)) or None, optional
        One a plan: brakes frozen along the draws' own course, `laying` and `settling`, each with days (K,) and the
        share they leave (K, M). Without them both brakes are off, the cautious choice.

    Returns
    -------
    numpy.ndarray
        Logarithm of the probability, shape (S, M): far from elimination the plans still differ by it.

    Notes
    -----
    Every plan of a call is judged at the horizon of its latest dose; p changes by far less than a thousandth over the
    weeks between. Fish do not die on the way, which leaves flukes more hosts: cautious as well.
    """
    last = max((max(plan.days, default=0.0) for plan in plans), default=0.0)
    dt, window = _case_step(setting, last)
    times, horizon = time_grid(0.0, last, dt, window)
    density = state.alive.sum((0, 1)) / setting.volume_m3
    habitat = Habitat(
        setting.parameters,
        setting.temperature,
        density,
        setting.exchange_per_day,
        times,
        horizon,
    )
    brakes = None if paths is None else _beside(times, paths, setting.parameters.size)
    if setting.parameters.development is None:
        return _chain_plans(setting, state, habitat, plans, effects, brakes)
    return _renewal_plans(setting, state, habitat, plans, effects, brakes, dt)


def _case_step(setting: Scenario, last: float) -> tuple[float, float]:
    """Step, a whole part of a day, and how long what is under way at the last dose takes, within 120 d [d]."""
    development = setting.parameters.development
    warmest = max(setting.temperature.median_at(day) for day in np.linspace(0.0, last + 14, 8))
    if development is None:
        return 0.125, 5.0
    first = float(np.median(development.hatch.quantile_days(0.01, warmest)))
    slowest = np.quantile(development.hatch.quantile_days(1 - 1e-5, warmest), 0.99, method="nearest")
    return 1.0 / max(int(np.ceil(10.0 / min(first, 1e3))), 1), float(min(slowest, 120.0))


def _beside(
    times: np.ndarray, paths: Sequence[Mapping[str, tuple[np.ndarray, np.ndarray]] | None], draws: int
) -> dict[str, np.ndarray]:
    """Share that each brake leaves in each interval, a plan beside the other, shape (N, S, M)."""
    off = np.ones((len(times) - 1, draws))
    return {
        name: np.stack([off if path is None else _along(times, *path[name]) for path in paths], axis=1)
        for name in ("laying", "settling")
    }


def _along(times: np.ndarray, days: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Share left in each interval, its last value held beyond the course, (K, M) -> (N, M)."""
    middles = np.clip(0.5 * (times[1:] + times[:-1]), days[0], days[-1])
    right = np.clip(np.searchsorted(days, middles), 1, len(days) - 1)
    weight = ((middles - days[right - 1]) / (days[right] - days[right - 1]))[:, None]
    return share[right - 1] * (1 - weight) + share[right] * weight


def _renewal_plans(
    setting: Scenario,
    state: State,
    habitat: Habitat,
    plans: Sequence[DoseSchedule],
    effects: Mapping[str, DoseEffect],
    brakes: Mapping[str, np.ndarray] | None,
    dt: float,
) -> np.ndarray:
    names = sorted(effects)
    most = max(1, *(len(plan.days) for plan in plans))
    steps, kinds = np.full((len(plans), most), -1), np.zeros((len(plans), most), int)
    for s, plan in enumerate(plans):
        steps[s, : len(plan.days)] = [round(day / dt) for day in plan.days]
        kinds[s, : len(plan.days)] = [names.index(agent) for agent in plan.agents]
    population = population_of(state, setting)
    stages = (len(population.fresh_eggs), len(population.eggs), len(population.juveniles))
    found = []
    groups = np.array_split(np.arange(len(plans)), int(np.ceil(len(plans) / _PLANS_AT_ONCE)))
    for group in track(groups, "judging schedules") if len(groups) > 1 else groups:
        mine = {name: share[:, group] for name, share in (brakes or {}).items()}
        batch = Batch(steps[group], kinds[group], [effects[n] for n in names], **mine)
        start = [np.zeros(len(group), int)]
        found.append(log_none_left(backward(habitat, batch, start, stages)[0], population))
    return np.concatenate(found)


def _chain_plans(
    setting: Scenario,
    state: State,
    habitat: Habitat,
    plans: Sequence[DoseSchedule],
    effects: Mapping[str, DoseEffect],
    brakes: Mapping[str, np.ndarray] | None,
) -> np.ndarray:
    """Walk many plans at once, side by side along the axis of draws: S·M columns cost little more than M."""
    found = []
    groups = np.array_split(np.arange(len(plans)), int(np.ceil(len(plans) / _PLANS_AT_ONCE)))
    for group in track(groups, "judging schedules") if len(groups) > 1 else groups:
        draws = np.tile(np.arange(setting.parameters.size), len(group))
        wide = setting.take(draws)
        around = replace(
            habitat,
            parameters=wide.parameters,
            temperature=wide.temperature,
            fish_per_m3=habitat.fish_per_m3[draws],
            exchange_per_day=wide.exchange_per_day,
            memo={},
        )
        named = None
        if brakes is not None:
            together = (brakes["laying"] * brakes["settling"])[:, group]
            named = {"birth_success": together.reshape(len(together), draws.size)}
        doses = _doses_side_by_side([plans[i] for i in group], habitat.times, effects, draws)
        values = chain_values(wide.cycle, wide.parameters, around, doses, named)
        found.append(_log_chain_none_left(values, state.take(draws), wide).reshape(len(group), setting.parameters.size))
    return np.concatenate(found)


def _doses_side_by_side(
    plans: Sequence[DoseSchedule], times: np.ndarray, effects: Mapping[str, DoseEffect], draws: np.ndarray
) -> list[tuple[int, DoseEffect]]:
    """Doses of several plans by grid time, each killing in the columns of its own plan alone."""
    of = np.repeat(np.arange(len(plans)), draws.size // len(plans))
    given: dict[tuple[int, str], list[int]] = {}
    for number, plan in enumerate(plans):
        for day, agent in zip(plan.days, plan.agents, strict=True):
            given.setdefault((int(np.argmin(np.abs(times - day))), agent), []).append(number)
    doses = []
    for (step, agent), numbers in given.items():
        doses.append((step, effects[agent].take(draws).within(np.isin(of, numbers))))
    return doses


# --- stage by stage, from the list of transitions -------------------------------------------------------------------
def chain_values(
    cycle: LifeCycle,
    parameters: Parameters,
    habitat_at: Habitat,
    doses: Sequence[tuple[int, DoseEffect]],
    brakes: Mapping[str, np.ndarray] | None = None,
) -> dict[str, np.ndarray]:
    """Probability of leaving descendants at the horizon, for every stage at the first grid time, before its dose.

    Parameters
    ----------
    cycle : LifeCycle
        Any list of transitions.
    parameters : Parameters
        M draws.
    habitat_at : Habitat
        Temperature, surroundings and grid.
    doses : sequence of (int, DoseEffect)
        Grid time and effect of each dose.
    brakes : mapping of str to numpy.ndarray, optional
        Share left of a named rate or share in each interval, shape (N, M).

    Returns
    -------
    dict of str to numpy.ndarray
        By life form, each shape (n, M).
    """
    times = habitat_at.times
    kills: dict[int, list[dict[str, np.ndarray]]] = {}
    for step, effect in doses:
        kills.setdefault(step, []).append(effect.on_chains(cycle))
    value = {form.name: np.ones((form.stages, parameters.size)) for form in cycle.forms}
    around = Surroundings(habitat_at.fish_per_m3, habitat_at.exchange_per_day)
    for i in range(habitat_at.horizon, -1, -1):
        if i < habitat_at.horizon:
            rates = rates_at(parameters, habitat_at.temperature.at(0.5 * (times[i] + times[i + 1])), around)
            braked = {name: array[i] for name, array in (brakes or {}).items()}
            value = _chain_step(cycle, rates, braked, value, times[i + 1] - times[i])
        for killed in kills.get(i, []):
            value = {form: p * (1 - killed[form]) if form in killed else p for form, p in value.items()}
    return value


def _chain_step(
    cycle: LifeCycle,
    rates: Mapping[str, np.ndarray],
    brakes: Mapping[str, np.ndarray],
    later: dict[str, np.ndarray],
    dt: float,
) -> dict[str, np.ndarray]:
    """One step back, exact along each chain with what its events lead to held at mid-step; two passes."""
    now = dict(later)
    for _ in range(2):
        for form in cycle.forms:
            middle = {name: 0.5 * (now[name] + later[name]) for name in now}
            now[form.name] = _form_back(cycle, form.name, rates, brakes, middle, later[form.name], dt)
    return now


def _form_back(
    cycle: LifeCycle,
    name: str,
    rates: Mapping[str, np.ndarray],
    brakes: Mapping[str, np.ndarray],
    middle: Mapping[str, np.ndarray],
    later: np.ndarray,
    dt: float,
) -> np.ndarray:
    def pace(transition: Transition) -> np.ndarray:
        return rates[transition.rate] * brakes.get(transition.rate, 1.0)

    def worth(transition: Transition) -> np.ndarray | float:
        lost = 1.0
        for target, share in transition.offspring:
            success = 1.0 if share is None else rates[share] * brakes.get(share, 1.0)
            lost = lost * (1 - success * middle[target][0])
        return 1 - lost

    # a birth whose line lasts settles the matter, so it acts as a hazard that leads to certainty
    births = sum((pace(t) * worth(t) for t in cycle.of(name, "bears")), 0.0)
    taken = [(pace(t), worth(t)) for t in cycle.of(name, "any time")]
    hazard = sum((rate for rate, _ in taken), 0.0) + births
    ends = cycle.of(name, "completes")
    passage = chain_passage(len(later), sum((pace(t) for t in ends), 0.0), hazard, dt)
    value, completed, met = looked_back(later, *passage)
    gain = sum((rate * w for rate, w in taken), 0.0) + births
    share = np.divide(gain, hazard, out=np.zeros_like(np.asarray(hazard, float)), where=hazard > 0)
    return value + met * share + completed * sum((worth(t) for t in ends), 0.0)


def chain_none_left(values: Mapping[str, np.ndarray], state: State, setting: Scenario) -> np.ndarray:
    """Probability that nobody in a state has descendants at the horizon, any life cycle, shape (M,)."""
    return np.exp(_log_chain_none_left(values, state, setting))


def _log_chain_none_left(values: Mapping[str, np.ndarray], state: State, setting: Scenario) -> np.ndarray:
    uptake = (state.alive * setting.fish.susceptibility).sum(1)
    water = sum(((state.water[f] * values[f]).sum(0) for f in state.water), np.zeros(uptake.shape[-1]))
    fish = sum(((state.fish[f] * uptake).sum(1) * values[f]).sum(0) for f in state.fish)
    return _log_nobody(water, fish, state.alive.sum((0, 1)) * setting.parameters["aggregation"])

"""The probability that the last fluke dies.

One definition everywhere: no fluke, egg or larva left `HORIZON_DAYS` after the last dose. With p_i(t) the
probability that one individual of stage i at time t still has descendants then, p runs backward through the same
transitions, temperatures and doses as the forward equations, and P = E[Π (1 − p_i)^N_i] over who is there.
`burden.renewal` solves it by age for egg-layers; `chain_values` here walks the list of transitions stage by stage, for
live-bearers and as the yardstick of the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from burden.chains import chain_kernel
from burden.effects import DoseEffect
from burden.lifecycle import LifeCycle, Parameters, Surroundings, Transition, rates_at
from burden.renewal import Habitat, Values
from burden.simulate import Setting, State
from burden.stable import Population

__all__ = [
    "HORIZON_DAYS",
    "chain_none_left",
    "chain_values",
    "none_left",
    "population_of",
    "time_grid",
]

HORIZON_DAYS = 365.0
#: longest step once the doses are over: p then changes over weeks [d]
_TAIL_STEP_DAYS = 1.0


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
    horizon = last_dose + after_days
    even = start + dt * np.arange(round((last_dose - start + min(reach_days, after_days)) / dt) + 1)
    times, step = [*even], dt
    while times[-1] < horizon - 1e-9:
        step = min(step * 1.15, max(dt, _TAIL_STEP_DAYS))
        times.append(min(times[-1] + step, horizon))
    count = int(np.ceil(reach_days / step))
    return np.array([*times, *(horizon + step * np.arange(1, count + 1))]), len(times) - 1


def none_left(values: Values, population: Population) -> np.ndarray:
    """Probability that nobody has descendants at the horizon, shape (S, M).

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
    water, fish = values.expected(population)
    spread = np.maximum(population.fish * population.aggregation, 1e-9)
    return np.exp(-water - spread * np.log1p(fish / spread))


def population_of(state: State, setting: Setting) -> Population:
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

    n = len(later)
    # a birth whose line lasts settles the matter, so it acts as a hazard that leads to certainty
    births = sum((pace(t) * worth(t) for t in cycle.of(name, "bears")), 0.0)
    taken = [(pace(t), worth(t)) for t in cycle.of(name, "any time")]
    hazard = sum((rate for rate, _ in taken), 0.0) + births
    ends = cycle.of(name, "completes")
    kernel = chain_kernel(n, sum((pace(t) for t in ends), 0.0), hazard, dt)
    value = np.zeros_like(later)
    stay = np.zeros_like(later)
    for j, shift in enumerate(kernel.shift):
        value[: n - j] += shift * later[j:]
        stay[: n - j] += shift
    completed = np.zeros_like(later)
    completed[n - len(kernel.exit) :] = kernel.exit[::-1]
    gain = sum((rate * w for rate, w in taken), 0.0) + births
    share = np.divide(
        gain, hazard, out=np.zeros_like(np.asarray(hazard, float) * np.ones(later.shape[1])), where=hazard > 0
    )
    value += (1 - stay - completed) * share
    for transition in ends:
        value += completed * worth(transition)
    return value


def chain_none_left(cycle: LifeCycle, values: Mapping[str, np.ndarray], state: State, setting: Setting) -> np.ndarray:
    """Probability that nobody in a state has descendants at the horizon, any life cycle, shape (M,)."""
    uptake = (state.alive * setting.fish.susceptibility).sum(1)
    water = sum(((state.water[f] * values[f]).sum(0) for f in state.water), np.zeros(uptake.shape[-1]))
    fish = sum(((state.fish[f] * uptake).sum(1) * values[f]).sum(0) for f in state.fish)
    spread = np.maximum(state.alive.sum((0, 1)) * setting.parameters["aggregation"], 1e-9)
    return np.exp(-water - spread * np.log1p(fish / spread))

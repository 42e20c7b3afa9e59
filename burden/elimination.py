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
from burden.renewal import Habitat, Population, Values
from burden.simulate import Setting, State

__all__ = [
    "HORIZON_DAYS",
    "chain_none_left",
    "chain_values",
    "growth_rate",
    "none_left",
    "population_of",
    "stable_population",
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


def growth_rate(parameters: Parameters, temperature_c: float, around: Surroundings, brake: float | np.ndarray = 1.0):
    """Growth rate of an unregulated population at constant temperature, shape (M,) [1/d].

    Parameters
    ----------
    parameters : Parameters
    temperature_c : float
        [°C]
    around : Surroundings
    brake : array_like
        Share of reproduction that is left [-].

    Notes
    -----
    Root of the characteristic equation, what one adult begets discounted by exp(−r age) is one, by bisection.
    """
    low, high = np.full(parameters.size, -0.3), np.full(parameters.size, 3.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        grows = _discounted(parameters, temperature_c, around, middle) * brake > 1
        low, high = np.where(grows, middle, low), np.where(grows, high, middle)
    return 0.5 * (low + high)


def _discounted(parameters: Parameters, temperature_c: float, around: Surroundings, r: np.ndarray) -> np.ndarray:
    """Adults begotten by one adult, each discounted by exp(−r · age at maturity)."""
    rates = rates_at(parameters, temperature_c, around)
    parts = _passing(parameters, temperature_c, rates, r)
    life = rates["adult_loss"] + r
    return np.where(life > 0, rates["laying_rate"] / np.maximum(life, 1e-12) * np.prod(parts, 0), np.inf)


def _passing(
    parameters: Parameters, temperature_c: float, rates: Mapping[str, np.ndarray], r: np.ndarray
) -> list[np.ndarray]:
    """Discounted shares that start, hatch, settle and mature; 0 where a stage stands still."""
    development = parameters.development
    n_egg, n_juvenile = development.egg_shape(temperature_c), development.maturity.shape_at(temperature_c)
    parts = [
        _chain_share(rates["egg_rate"], rates["egg_loss"] + r, n_egg) * rates["hatch_success"],
        rates["contact"] * rates["establishment"] / np.maximum(rates["contact"] + rates["larva_loss"] + r, 1e-9),
        _chain_share(rates["juvenile_rate"], rates["juvenile_loss"] + r, n_juvenile),
    ]
    if "fresh_rate" in rates:
        leave = rates["fresh_rate"] + rates["egg_loss"] + r
        parts.append(np.where(leave > 0, rates["fresh_rate"] / np.maximum(leave, 1e-9), 1e6))
    return parts


def _chain_share(rate: np.ndarray, loss: np.ndarray, shape: np.ndarray) -> np.ndarray:
    """(1 + loss/(n rate))^−n, without overflow: a loss below −n rate means unbounded, a rate of 0 means none."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        base = np.maximum(1 + loss / (shape * rate), 1e-6)
        return np.where(rate > 0, np.minimum(base**-shape, 1e12), 0.0)


def stable_population(
    parameters: Parameters,
    temperature_c: float,
    around: Surroundings,
    adults: np.ndarray,
    fish: np.ndarray,
    stages: tuple[int, int, int],
) -> Population:
    """Return the stable stage mix of a temperature with so many adults.

    Parameters
    ----------
    parameters : Parameters
        M draws, egg-layers.
    temperature_c : float
        [°C]
    around : Surroundings
    adults, fish : numpy.ndarray
        Totals, shape (M,).
    stages : tuple of int
        Stages of wear of fresh eggs, of eggs and of juveniles.

    Notes
    -----
    At growth rate r a chain that is fed at a pace f holds f exp(−(μ + r) a) S(a) individuals of age a; stages are
    equal shares of development. Below the temperatures at which eggs hatch, where r falls under −0.02 per day, the
    mix of r = −0.02 is taken: colder water has not been so for ever.
    """
    r = np.maximum(growth_rate(parameters, temperature_c, around), -0.02)
    rates = rates_at(parameters, temperature_c, around)
    pace = rates["laying_rate"] * adults
    fresh = np.zeros((stages[0], parameters.size))
    if stages[0]:
        leave = rates["fresh_rate"] + rates["egg_loss"] + r
        wear = stages[0] * rates["chill_rate"]
        for k in range(stages[0]):
            fresh[k] = pace / np.maximum(leave + wear, 1e-3) * (wear / np.maximum(leave + wear, 1e-3)) ** k
        pace = rates["fresh_rate"] * fresh.sum(0)
    development = parameters.development
    eggs, hatched = _fill(
        pace, rates["egg_rate"], rates["egg_loss"] + r, development.egg_shape(temperature_c), stages[1]
    )
    larvae = hatched * rates["hatch_success"] / np.maximum(rates["contact"] + rates["larva_loss"] + r, 1e-3)
    settled = larvae * rates["contact"] * rates["establishment"]
    shape = development.maturity.shape_at(temperature_c)
    juveniles, _ = _fill(settled, rates["juvenile_rate"], rates["juvenile_loss"] + r, shape, stages[2])
    return Population(fresh, eggs, larvae, juveniles, adults, fish, parameters["aggregation"])


def _fill(
    pace: np.ndarray, rate: np.ndarray, loss: np.ndarray, shape: np.ndarray, stages: int
) -> tuple[np.ndarray, np.ndarray]:
    """Individuals in each equal share of development of a chain fed at a steady pace, and the pace at its end."""
    from scipy.special import gammaincc

    rate = np.maximum(rate, 1e-4)
    middle = (np.arange(stages)[:, None] + 0.5) / stages
    # development beyond the mean duration, in those that take longer, counts with the last share
    there = np.exp(-np.clip(loss / rate * middle, -50, 50)) * gammaincc(shape, shape * middle)
    whole = _chain_share(rate, loss, shape)
    return pace / rate / stages * there, pace * whole


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

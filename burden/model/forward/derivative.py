"""The right-hand side of the forward equations, without a time step: the yardstick of the stepper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from burden.model.forward.rates import carried, mean_over_fish, with_density_and_drugs
from burden.model.forward.state import DrugInWater, Scenario, State
from burden.model.hosts import blood_change, death_rates, laying_brake, resistance_rate
from burden.model.lifecycle.rates import Surroundings, rates_at

__all__ = [
    "derivative",
]


def derivative(setting: Scenario, state: State, day: float, drugs: Sequence[DrugInWater] = ()) -> State:
    """Right-hand side of the model: the change of everything per day, from the list of transitions.

    Parameters
    ----------
    setting : Scenario
    state : State
    day : float
        [d]
    drugs : sequence of DrugInWater
        All that was ever given.

    Returns
    -------
    State
        Of the same shapes [per day].

    Notes
    -----
    What `simulate` solves, written down a second time without a time step. It is the yardstick of the stepper (an
    adaptive solver runs on it in the tests) and of the closed forms; no product path calls it.
    """
    p, cycle = setting.parameters, setting.cycle
    temperature = setting.temperature.at(day)
    density = state.alive.sum((0, 1)) / setting.volume_m3
    base = rates_at(p, temperature, Surroundings(density, setting.exchange_per_day))
    rates = with_density_and_drugs(base, p, density, drugs, day)
    chains = {**state.water, **state.fish}
    burden = sum(chains[name].sum(0) for name in cycle.burden_forms)
    per_gram = setting.fish.per_gram(burden)
    uptake = state.alive * setting.fish.susceptibility
    crowding = laying_brake(per_gram / p["burden_scale"], uptake) if setting.crowding_on else 1.0
    free = 1 - state.resistance if setting.resistance_on else 1.0
    brakes = {"laying_rate": crowding, "establishment": free, "birth_success": crowding * free}
    change = {name: np.zeros_like(chain) for name, chain in chains.items()}
    for t in cycle.transitions:
        chain, stages = chains[t.source], cycle.form(t.source).stages
        flow = rates[t.rate] * brakes.get(t.rate, 1.0) * (stages * chain if t.event == "completes" else chain)
        if t.event != "bears":
            change[t.source] -= flow
        if t.event == "completes":
            change[t.source][1:] += flow[:-1]
        amount = flow[-1] if t.event == "completes" else flow.sum(0)
        for target, share in t.offspring:
            gain = amount if share is None else amount * rates[share] * brakes.get(share, 1.0)
            change[target][0] += carried(cycle.form(t.source).place, cycle.form(target).place, gain, uptake)
    if "larva" in change:
        change["larva"][0] += setting.larvae_in_per_day
    return _host_change(setting, state, change, per_gram, temperature, day)


def _host_change(
    setting: Scenario,
    state: State,
    change: Mapping[str, np.ndarray],
    per_gram: np.ndarray,
    temperature: np.ndarray | float,
    day: float,
) -> State:
    p = setting.parameters
    background, fluke = death_rates(per_gram, state.haemoglobin, p)
    background = background + setting.other_rate(day)
    on = float(setting.deaths_on)
    dying, by_fluke = on * state.alive * (background + fluke), on * state.alive * fluke
    mean = mean_over_fish(per_gram, state.alive)
    return State(
        water={form: change[form] for form in state.water},
        fish={form: change[form] for form in state.fish},
        alive=-dying,
        haemoglobin=blood_change(state.haemoglobin, per_gram, temperature, p),
        resistance=setting.resistance_on * resistance_rate(state.resistance, mean, temperature, p),
        deaths=dying.sum((0, 1)),
        fluke_deaths=by_fluke.sum((0, 1)),
    )

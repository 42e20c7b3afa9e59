"""One time step of the forward equations, all draws at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from burden.model.forward.flows import NO_BRAKE, NO_FLOW, Brake, Flow, Moved
from burden.model.forward.rates import mean_over_fish, with_density_and_drugs
from burden.model.forward.state import DrugInWater, Scenario, State
from burden.model.hosts import blood_step, death_rates, laying_brake, resistance_rate
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.transitions import LifeForm, Transition
from burden.model.linear_chain import ChainKernel, chain_kernel

__all__ = [
    "Stepper",
]


@dataclass(frozen=True)
class _Middle:
    """What holds during a step: the brakes, and the fish as they are at its middle."""

    by_group: Brake  # live fish times susceptibility: how much one fish of susceptibility 1 stands for, (G, M)
    brakes: Mapping[str, Brake]  # by name of a rate or share


@dataclass(frozen=True)
class _WaterRates:
    """Rates at one temperature, whatever the number of fish: of the draws once, and of all that stand side by side."""

    temperature: np.ndarray | float
    once: Mapping[str, np.ndarray]
    every: dict[str, np.ndarray]


@dataclass(frozen=True)
class _Passage:
    """How a form moves in a step of one length, for as long as the rates it was made of hold."""

    rates: tuple[np.ndarray, ...]
    kernel: ChainKernel
    hazard: np.ndarray  # of all that can happen at any time, (M,) [1/d]


class Stepper:
    """Steps a state forward. Keeps between steps what the next one starts from, and kernels worth keeping."""

    def __init__(self, setting: Scenario, drugs: Sequence[DrugInWater]) -> None:
        self.setting, self.drugs = setting, [drug for drug in drugs if drug.works]
        cycle = setting.cycle
        self._into: dict[str, list[tuple[Transition, str | None, str]]] = {form.name: [] for form in cycle.forms}
        for t in cycle.transitions:
            for target, share in t.offspring:
                self._into[target].append((t, share, cycle.form(t.source).place))
        self._sources = {name: {t.source for t, _, _ in flows} for name, flows in self._into.items()}
        self._pace = {form.name: [t.rate for t in cycle.of(form.name, "completes")] for form in cycle.forms}
        self._hazards = {form.name: [t.rate for t in cycle.of(form.name, "any time")] for form in cycle.forms}
        self._entering: dict[str, Flow] = {}  # per day of the last step, by form
        self._passages: dict[tuple[str, float], _Passage] = {}
        self._outside = NO_FLOW
        if np.any(setting.larvae_in_per_day) and "larva" in self._into:
            pace = np.broadcast_to(np.asarray(setting.larvae_in_per_day, float), (setting.parameters.size,))
            self._outside = Flow(np.stack([pace, np.zeros_like(pace), np.zeros_like(pace)]))
        self._draws = np.arange(setting.parameters.size // setting.copies)  # those that repeat
        self._parameters = setting.parameters.take(self._draws) if setting.copies > 1 else setting.parameters
        self._water = _WaterRates(np.nan, {}, {})

    def run(self, state: State, start: float, steps: np.ndarray, after_jump: bool) -> State:
        """Take some steps [d] from a landing. What flowed in before an event says nothing of after it."""
        if after_jump:
            self._entering = {}
        day = start
        for i, dt in enumerate(steps.tolist()):
            state = self._step(state, day + 0.5 * dt, dt, self.setting.cycle.sweeps + (after_jump and i == 0))
            day += dt
        return state

    def _step(self, state: State, mid_day: float, dt: float, passes: int) -> State:
        temperature = self.setting.temperature.at(mid_day)
        base = rates = self._rates_of_water(temperature)
        before, hosts = {**state.water, **state.fish}, state
        # live-bearers need the brakes before the fish have moved; others move on their fish without any
        middle = self._middle(before, before, state, state) if not state.water else _UNKNOWN
        for _ in range(passes):
            moved: dict[str, Moved] = {}
            guessed: dict[str, Flow] = {}
            for form in self.setting.cycle.forms:
                if form.place == "water" and not any(f in moved for f in state.water):
                    hosts = self._hosts(before, moved, state, temperature, dt, mid_day)
                    middle = self._middle(before, _stages(before, moved), state, hosts)
                    rates = self._rates_among(base, state, hosts, mid_day)
                if self._sources[form.name] <= moved.keys():
                    entering = self._inflow(form, moved, rates, middle)
                    if form.name == "larva":
                        entering = entering.plus(self._outside.times(dt))
                else:
                    entering = guessed[form.name] = self._entering.get(form.name, NO_FLOW).times(dt)
                moved[form.name] = self._move(form, before[form.name], rates, dt, entering)
            if not state.water:
                hosts = self._hosts(before, moved, state, temperature, dt, mid_day)
                middle = self._middle(before, _stages(before, moved), state, hosts)
            for name, guess in guessed.items():
                actual = self._inflow(self.setting.cycle.form(name), moved, rates, middle)
                moved[name] = moved[name].with_entering(actual.minus(guess))
                self._entering[name] = actual.times(1 / dt)
        after = _stages(before, moved)
        return replace(
            hosts,
            water={form: after[form] for form in state.water},
            fish={form: after[form] for form in state.fish},
        )

    def _rates_of_water(self, temperature: np.ndarray | float) -> dict[str, np.ndarray]:
        """Rates at a temperature, whatever the number of fish; kept as long as it lasts."""
        if not np.array_equal(self._water.temperature, temperature):
            around = Surroundings(0.0, self._once(self.setting.exchange_per_day))
            once = rates_at(self._parameters, self._once(temperature), around)
            self._water = _WaterRates(temperature, once, {name: self._every(rate) for name, rate in once.items()})
            self._passages.clear()
        return self._water.every

    def _once(self, value: np.ndarray | float) -> np.ndarray | float:
        """What holds for each of the draws that repeat."""
        return value[self._draws] if np.ndim(value) and self.setting.copies > 1 else value  # type: ignore[index]

    def _every(self, rate: np.ndarray) -> np.ndarray:
        """What holds for all draws, from what holds for those that repeat."""
        return np.tile(rate, self.setting.copies) if rate.ndim and self.setting.copies > 1 else rate

    def _rates_among(
        self, base: dict[str, np.ndarray], state: State, hosts: State, day: float
    ) -> dict[str, np.ndarray]:
        """Rates among as many fish as there are at the middle of a step."""
        density = 0.5 * (state.alive.sum((0, 1)) + hosts.alive.sum((0, 1))) / self.setting.volume_m3
        return with_density_and_drugs(base, self.setting.parameters, density, self.drugs, day)

    def _move(
        self,
        form: LifeForm,
        stages: np.ndarray,
        rates: Mapping[str, np.ndarray],
        dt: float,
        entering: Flow,
    ) -> Moved:
        names = (*self._pace[form.name], *self._hazards[form.name])
        made_of = tuple(rates[name] for name in names)
        kept = self._passages.get((form.name, dt))
        if kept is None or any(a is not b for a, b in zip(kept.rates, made_of, strict=True)):
            of_water = all(rates[name] is self._water.every.get(name) for name in names)
            made_from = tuple(self._water.once[name] for name in names) if of_water else made_of
            kept = self._passages[form.name, dt] = self._passage(form, made_of, made_from, dt)
        return Moved.through(kept.kernel, stages, entering, kept.hazard, dt)

    def _passage(
        self, form: LifeForm, made_of: tuple[np.ndarray, ...], made_from: tuple[np.ndarray, ...], dt: float
    ) -> _Passage:
        """How a form moves by these rates, worked out from those of the draws that repeat where that is enough."""
        paces = len(self._pace[form.name])
        kernel = chain_kernel(form.stages, sum(made_from[:paces], 0.0), sum(made_from[paces:], np.zeros(())), dt)
        times = 1 if made_from is made_of else self.setting.copies
        return _Passage(made_of, kernel.side_by_side(times), sum(made_of[paces:], np.zeros(())))

    def _inflow(
        self, form: LifeForm, moved: Mapping[str, Moved], rates: Mapping[str, np.ndarray], middle: _Middle
    ) -> Flow:
        """What enters a form during the step, from every form already moved."""
        entering = NO_FLOW
        for transition, share, place in self._into[form.name]:
            if transition.source not in moved:
                continue
            brake = middle.brakes.get(transition.rate, NO_BRAKE)
            flow = moved[transition.source].flow(transition.event, rates[transition.rate])
            if share is not None:
                brake = brake.times(middle.brakes.get(share, NO_BRAKE))
                flow = flow.times(rates[share])
            entering = entering.plus(flow.braked(brake).carried(place, form.place, middle.by_group))
        return entering

    def _burdens(self, before: Mapping[str, np.ndarray], after: Mapping[str, np.ndarray]) -> tuple[np.ndarray, ...]:
        """Feeding flukes on a fish of susceptibility 1 at the start, the middle and the end of a step, (G, M) each."""
        names = self.setting.cycle.burden_forms
        start, end = (sum(chains[name].sum(0) for name in names) for chains in (before, after))
        return start, 0.5 * (start + end), end

    def _hosts(
        self,
        before: Mapping[str, np.ndarray],
        moved: Mapping[str, Moved],
        state: State,
        temperature: np.ndarray | float,
        dt: float,
        mid_day: float,
    ) -> State:
        """The fish after the step, under the burden at its middle."""
        setting, p = self.setting, self.setting.parameters
        per_gram = setting.fish.per_gram(self._burdens(before, _stages(before, moved))[1])
        blood = blood_step(state.haemoglobin, per_gram, temperature, p, dt)
        background, fluke = death_rates(per_gram, 0.5 * (state.haemoglobin + blood), p)
        all_causes = background + fluke + setting.other_rate(mid_day)
        alive = state.alive * np.exp(-dt * all_causes) if setting.deaths_on else state.alive
        resistance = state.resistance
        if setting.resistance_on:
            mean = mean_over_fish(per_gram, 0.5 * (state.alive + alive))
            half = resistance_rate(resistance, mean, temperature, p) * dt / 2
            resistance = resistance + dt * resistance_rate(resistance + half, mean, temperature, p)
        dead = state.alive - alive
        by_fluke = dead * (fluke / np.maximum(all_causes, _NO_HAZARD))
        return replace(
            state,
            alive=alive,
            haemoglobin=blood,
            resistance=resistance,
            deaths=state.deaths + dead.sum((0, 1)),
            fluke_deaths=state.fluke_deaths + by_fluke.sum((0, 1)),
        )

    def _middle(
        self,
        before: Mapping[str, np.ndarray],
        after: Mapping[str, np.ndarray],
        state: State,
        hosts: State,
    ) -> _Middle:
        setting = self.setting
        uptake = 0.5 * (state.alive + hosts.alive) * setting.fish.susceptibility
        brakes = {}
        if setting.crowding_on:
            start, mid, end = self._crowding(np.stack(self._burdens(before, after)), uptake)
            brakes["laying_rate"] = Brake(mid, end - start)
            brakes["birth_success"] = brakes["laying_rate"]
        if setting.resistance_on:
            free = Brake(1 - 0.5 * (state.resistance + hosts.resistance), state.resistance - hosts.resistance)
            brakes["establishment"] = free
            brakes["birth_success"] = brakes.get("birth_success", NO_BRAKE).times(free)
        by_group = Brake(uptake.sum(1), ((hosts.alive - state.alive) * setting.fish.susceptibility).sum(1))
        return _Middle(by_group, brakes)

    def _crowding(self, burden: np.ndarray, uptake: np.ndarray) -> np.ndarray:
        setting = self.setting
        return laying_brake(setting.fish.per_gram(burden / setting.parameters["burden_scale"]), uptake)


#: less than any hazard there is, so that nothing over nothing is nothing [1/d]
_NO_HAZARD = 1e-300
#: of a step whose fish have not moved yet
_UNKNOWN = _Middle(NO_BRAKE, {})


def _stages(before: Mapping[str, np.ndarray], moved: Mapping[str, Moved]) -> dict[str, np.ndarray]:
    return {form: moved[form].stages if form in moved else x for form, x in before.items()}

"""One case, one schedule, many parameter draws at once: the forward equations.

Each step takes every chain of the life cycle exactly, as a Poisson number of stages passed, with what flows in
rising or falling evenly over the step; the brakes, the temperature and the deaths of fish are held at their
mid-step values. The scheme is of second order; order and error are measured against an adaptive solver in the tests.
Flukes on the fish are counted per fish of susceptibility 1: settling, development and kill treat all classes alike,
so one chain serves every class, and a class carries its susceptibility times as many.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from burden.chains import ChainKernel, chain_kernel
from burden.effects import DoseEffect
from burden.hosts import Fish, blood_change, blood_step, death_rates, laying_brake, resistance_rate
from burden.lifecycle import LifeCycle, LifeForm, Parameters, Surroundings, rates_at
from burden.water import Temperature

__all__ = [
    "COARSE_STEP_DAYS",
    "MAX_STEP_DAYS",
    "MAX_STEP_DEGREE_DAYS",
    "DrugInWater",
    "Event",
    "Setting",
    "State",
    "Trajectory",
    "derivative",
    "simulate",
]

#: step for ranking and for what is shown beside the main answer: error some 2e-3 [d]
COARSE_STEP_DAYS = 0.4
#: longest step [d], and what it comes to times the temperature in warm water, where the first of a brood rise more
#: steeply [°C d]: error below 1e-3 against LSODA at 1e-9 (tests/test_simulate.py)
MAX_STEP_DAYS, MAX_STEP_DEGREE_DAYS = 0.25, 3.6
#: what the temperature may change by in a step [°C], down to a step that suits any change of the weather [d]
MAX_STEP_CHANGE_C, LEAST_STEP_DAYS = 0.05, 0.085


#: with a drug fading in the water, and how long that is looked at [d]
MAX_STEP_WITH_DRUG_DAYS, _DISSOLVED_DAYS = 0.125, 10.0
#: parts of a first step after a jump
_SETTLING = np.array([1, 1, 2, 4, 8]) / 16


@dataclass(frozen=True)
class State:
    """Everything that changes.

    Parameters
    ----------
    water : mapping of str to numpy.ndarray
        Totals by stage, each shape (n, M).
    fish : mapping of str to numpy.ndarray
        Flukes by stage on a fish of susceptibility 1, each shape (n, G, M).
    alive : numpy.ndarray
        Live fish by class, shape (G, C, M).
    haemoglobin : numpy.ndarray
        Relative to healthy, shape (G, C, M).
    resistance : numpy.ndarray
        The pond's, 0 to 1, shape (M,).
    deaths, fluke_deaths : numpy.ndarray
        Fish dead since the start, and those of them that flukes killed, shape (M,).
    """

    water: Mapping[str, np.ndarray]
    fish: Mapping[str, np.ndarray]
    alive: np.ndarray
    haemoglobin: np.ndarray
    resistance: np.ndarray
    deaths: np.ndarray
    fluke_deaths: np.ndarray

    def take(self, draws: np.ndarray) -> State:
        """Return the state of the draws at some positions, repeats allowed."""
        arrays = {
            name: getattr(self, name)[..., draws]
            for name in ("alive", "haemoglobin", "resistance", "deaths", "fluke_deaths")
        }
        chains = {
            place: {form: x[..., draws] for form, x in getattr(self, place).items()} for place in ("water", "fish")
        }
        return State(**chains, **arrays)


@dataclass(frozen=True)
class DrugInWater:
    """What an agent left in the water does after the day it was given.

    Parameters
    ----------
    day : float
        Day it was given [d].
    larva_hazard : numpy.ndarray
        Death rate of larvae at the start, shape (M,) [1/d].
    settler_kill : numpy.ndarray
        Share of new settlers killed at the start, shape (M,).
    fade_per_day : numpy.ndarray
        Rate at which both fade, shape (M,) [1/d].
    """

    day: float
    larva_hazard: np.ndarray
    settler_kill: np.ndarray
    fade_per_day: np.ndarray

    @property
    def works(self) -> bool:
        """Whether anything of it is felt in any draw."""
        return bool(np.any(self.larva_hazard) or np.any(self.settler_kill))


@dataclass(frozen=True)
class Event:
    """Something that happens at once.

    Parameters
    ----------
    day : float
        Day counted from the visit [d].
    kill : mapping of str to numpy.ndarray
        Share killed by life form, each broadcastable to the form's chain: (M,) or (n, M).
    drug : DrugInWater, optional
        What stays in the water.
    arrive : numpy.ndarray, optional
        Fish joining each group, shape (G, M).
    effect : DoseEffect, optional
        The dose it came from, for the backward equations.
    """

    day: float
    kill: Mapping[str, np.ndarray] = field(default_factory=dict)
    drug: DrugInWater | None = None
    arrive: np.ndarray | None = None
    effect: DoseEffect | None = None

    @classmethod
    def dose(cls, day: float, effect: DoseEffect, cycle: LifeCycle) -> Event:
        """Return a dose with its effect on the chains of a cycle, and what it leaves in the water."""
        drug = DrugInWater(day, effect.larva_hazard, effect.settler_kill, effect.fade_per_day)
        return cls(day, effect.on_chains(cycle), drug, effect=effect)


@dataclass(frozen=True)
class Setting:
    """What a run is given.

    Parameters
    ----------
    cycle : LifeCycle
    parameters : Parameters
        M draws, with `establishment` for egg-layers.
    fish : Fish
    temperature : Temperature
    volume_m3 : numpy.ndarray
        Shape (M,) [m³].
    exchange_per_day : float or numpy.ndarray
        Share of the water replaced each day [1/d].
    resistance_on, crowding_on : bool
        The two brakes.
    deaths_on : bool
        Whether fish die.
    """

    cycle: LifeCycle
    parameters: Parameters
    fish: Fish
    temperature: Temperature
    volume_m3: np.ndarray
    exchange_per_day: np.ndarray | float = 0.0
    resistance_on: bool = True
    crowding_on: bool = True
    deaths_on: bool = True

    def take(self, draws: np.ndarray) -> Setting:
        """Return the setting of the draws at some positions, repeats allowed."""
        drift = self.temperature.drift_c
        temperature = self.temperature if drift is None else replace(self.temperature, drift_c=drift[draws])
        exchange = np.asarray(self.exchange_per_day, float)
        return replace(
            self,
            parameters=self.parameters.take(draws),
            fish=Fish(self.fish.weight_g[:, draws], self.fish.susceptibility[:, draws]),
            temperature=temperature,
            volume_m3=self.volume_m3[draws],
            exchange_per_day=exchange[draws] if exchange.ndim else self.exchange_per_day,
        )


@dataclass(frozen=True)
class Trajectory:
    """What a run gave, at the days asked for.

    Parameters
    ----------
    days : numpy.ndarray
        Shape (K,) [d].
    water : mapping of str to numpy.ndarray
        Totals by life form, each shape (K, M).
    fish : mapping of str to numpy.ndarray
        Mean per live fish by life form, each shape (K, M).
    alive, deaths, fluke_deaths : numpy.ndarray
        Live fish, and deaths since the start, shape (K, M).
    resistance, haemoglobin : numpy.ndarray
        The pond's resistance, and the mean haemoglobin of live fish, shape (K, M).
    per_gram : numpy.ndarray
        Feeding flukes per gram of fish, mean over live fish, shape (K, M) [1/g].
    laying : numpy.ndarray
        Share of laying that crowding left, shape (K, M).
    end : State
        Where the run stopped.
    """

    days: np.ndarray
    water: Mapping[str, np.ndarray]
    fish: Mapping[str, np.ndarray]
    alive: np.ndarray
    deaths: np.ndarray
    fluke_deaths: np.ndarray
    resistance: np.ndarray
    haemoglobin: np.ndarray
    per_gram: np.ndarray
    laying: np.ndarray
    end: State

    @property
    def abundance(self) -> np.ndarray:
        """Juveniles and adults per live fish, shape (K, M)."""
        return sum(self.fish.values())


def simulate(
    setting: Setting,
    state: State,
    days: Sequence[float],
    events: Sequence[Event] = (),
    max_step_days: float | None = None,
) -> Trajectory:
    """Run from the first to the last of `days`.

    Parameters
    ----------
    setting : Setting
    state : State
        At the first day, before any event of that day.
    days : sequence of float
        Days to report, rising [d]; a report on the day of an event is after it.
    events : sequence of Event
        Those between the first and the last day happen; a drug of an earlier event still works.
    max_step_days : float, optional
        Longest step; by temperature, and never above 0.1, when not given [d].

    Returns
    -------
    Trajectory
    """
    days = np.asarray(days, float)
    drugs = tuple(event.drug for event in events if event.drug is not None)
    pending = [event for event in events if days[0] <= event.day <= days[-1]]
    stepper = _Stepper(setting, drugs)
    seen = []
    for start, end in _pieces(setting, days, pending):
        jumps = [event for event in pending if event.day == start]
        for event in jumps:
            state = _happen(state, event, setting.fish.susceptibility)
        if start in days:
            seen.append(_observe(setting, state))
        if end > start:
            longest = max_step_days or _longest_step(setting, start, end, drugs)
            state = stepper.run(state, start, _steps(end - start, longest, bool(jumps) or start == days[0]))
    return _trajectory(days, seen, state)


def _pieces(setting: Setting, days: np.ndarray, events: Sequence[Event]) -> list[tuple[float, float]]:
    """Intervals between everything a step must land on; the last one is empty, to report the end."""
    stops = [days, [event.day for event in events], setting.temperature.breaks(days[0], days[-1])]
    edges = np.unique(np.concatenate([np.asarray(s, float) for s in stops]))
    edges = edges[(edges >= days[0]) & (edges <= days[-1])]
    return [*pairwise(edges), (edges[-1], edges[-1])]


def _longest_step(setting: Setting, start: float, end: float, drugs: Sequence[DrugInWater]) -> float:
    """Longest step between two landings [d]. It looks at course and doses alone, so draws do not sway each other."""
    if any(0 <= start - drug.day < _DISSOLVED_DAYS and drug.works for drug in drugs):
        return min(MAX_STEP_WITH_DRUG_DAYS, _longest_step(setting, start, end, ()))
    ends = np.interp([start, end], setting.temperature.knots_days, setting.temperature.values_c)
    slope = abs(ends[1] - ends[0]) / (end - start)
    even = max(MAX_STEP_CHANGE_C / max(slope, 1e-9), LEAST_STEP_DAYS)
    return min(MAX_STEP_DAYS, MAX_STEP_DEGREE_DAYS / max(ends.max(), 1.0), even)


def _steps(length: float, longest: float, after_jump: bool) -> np.ndarray:
    """Steps that fill a stretch [d]: short ones first where something jumped, since what lives for hours in the water
    then settles anew; even ones otherwise."""
    count = max(int(np.ceil(length / longest - 1e-9)), 1)
    even = np.full(count, length / count)
    if not after_jump:
        return even
    return np.concatenate([even[0] * _SETTLING, even[1:]])


def _happen(state: State, event: Event, susceptibility: np.ndarray) -> State:
    """Apply what an event does at once."""

    def left(chains: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {
            form: x * _chain_like(1 - event.kill[form], x) if form in event.kill else x for form, x in chains.items()
        }

    state = replace(state, water=left(state.water), fish=left(state.fish))
    return state if event.arrive is None else _join(state, event.arrive, susceptibility)


def _chain_like(share: np.ndarray, chain: np.ndarray) -> np.ndarray:
    """Give a share of shape (M,) or (n, M) the axes of a chain (n, M) or (n, G, M)."""
    share = np.asarray(share, float)
    return share[:, None, :] if share.ndim == 2 and chain.ndim == 3 else share


def _join(state: State, arriving: np.ndarray, susceptibility: np.ndarray) -> State:
    """Let fish join their groups, spread evenly over the classes, healthy and without flukes: none come or go."""
    alive = state.alive + (arriving / state.alive.shape[1])[:, None, :]
    mixed = np.divide(state.alive, alive, out=np.zeros_like(alive), where=alive > 0)
    before, after = (state.alive * susceptibility).sum(1), (alive * susceptibility).sum(1)
    thinned = np.divide(before, after, out=np.ones_like(after), where=after > 0)
    flukes = {form: chain * thinned for form, chain in state.fish.items()}
    return replace(state, alive=alive, fish=flukes, haemoglobin=1 + mixed * (state.haemoglobin - 1))


@dataclass(frozen=True)
class _Middle:
    """What holds during a step: the brakes, and the fish as they are at its middle."""

    uptake: np.ndarray  # live fish times susceptibility, (G, C, M)
    by_group: _Brake  # the same by group: how much one fish of susceptibility 1 stands for, (G, M)
    brakes: Mapping[str, _Brake]  # by name of a rate or share


@dataclass(frozen=True)
class _Brake:
    """Share that a brake leaves at the middle of a step, and by how much more at its end than at its start: what lives
    for hours shows the end. Each (M,) or (G, M)."""

    middle: np.ndarray | float
    rise: np.ndarray | float

    def times(self, other: _Brake) -> _Brake:
        return _Brake(self.middle * other.middle, self.middle * other.rise + self.rise * other.middle)


_NO_BRAKE = _Brake(1.0, 0.0)


class _Stepper:
    """Steps a state forward. Keeps between steps what the next one starts from, and kernels worth keeping."""

    def __init__(self, setting: Setting, drugs: Sequence[DrugInWater]) -> None:
        self.setting, self.drugs = setting, drugs
        cycle = setting.cycle
        self._sources = {
            form.name: {t.source for t in cycle.transitions for target, _ in t.offspring if target == form.name}
            for form in cycle.forms
        }
        self._entering: dict[str, _Flow] = {}
        self._kernels: dict[tuple[str, float], ChainKernel] = {}
        self._base: tuple[np.ndarray | float, dict[str, np.ndarray]] = (np.nan, {})

    def run(self, state: State, start: float, steps: np.ndarray) -> State:
        """Take some steps [d] from a landing. What flowed in before an event says nothing of after it."""
        self._entering = {}
        day = start
        for i, dt in enumerate(steps):
            state = self._step(state, day + 0.5 * dt, dt, self.setting.cycle.sweeps + (i == 0))
            day += dt
        return state

    def _step(self, state: State, mid_day: float, dt: float, passes: int) -> State:
        temperature = self.setting.temperature.at(mid_day)
        rates = self._rates(state, state, mid_day, temperature)
        before = {**state.water, **state.fish}
        after, hosts = before, state
        middle = self._middle(before, after, state, state)
        for _ in range(passes):
            moved: dict[str, _Moved] = {}
            guessed: dict[str, _Flow] = {}
            for form in self.setting.cycle.forms:
                if form.place == "water" and not any(f in moved for f in state.water):
                    hosts = self._hosts(before, moved, state, temperature, dt)
                    middle = self._middle(before, _stages(before, moved), state, hosts)
                    rates = self._rates(state, hosts, mid_day, temperature)
                if self._sources[form.name] <= moved.keys():
                    entering = self._inflow(form, moved, rates, middle)
                else:
                    entering = guessed[form.name] = self._entering.get(form.name, _NO_FLOW)
                moved[form.name] = self._move(form, before[form.name], rates, dt, entering)
            if not state.water:
                hosts = self._hosts(before, moved, state, temperature, dt)
                middle = self._middle(before, _stages(before, moved), state, hosts)
            for name, guess in guessed.items():
                actual = self._inflow(self.setting.cycle.form(name), moved, rates, middle)
                moved[name] = moved[name].with_entering(actual.minus(guess))
                self._entering[name] = actual
        after = _stages(before, moved)
        return replace(
            hosts,
            water={form: after[form] for form in state.water},
            fish={form: after[form] for form in state.fish},
        )

    def _rates(self, state: State, hosts: State, day: float, temperature: np.ndarray | float) -> dict[str, np.ndarray]:
        """Rates of a step, among as many fish as at its middle; those of one temperature are kept as it lasts."""
        setting = self.setting
        density = 0.5 * (state.alive + hosts.alive).sum((0, 1)) / setting.volume_m3
        if not np.array_equal(self._base[0], temperature):
            self._base = (temperature, {})
            self._kernels = {}
        if not self._base[1]:
            around = Surroundings(density, setting.exchange_per_day)
            self._base[1].update(rates_at(setting.parameters, temperature, around))
        return _with_density_and_drugs(self._base[1], setting.parameters, density, self.drugs, day)

    def _move(
        self,
        form: LifeForm,
        stages: np.ndarray,
        rates: Mapping[str, np.ndarray],
        dt: float,
        entering: np.ndarray | float,
    ) -> _Moved:
        cycle = self.setting.cycle
        pace = sum((rates[t.rate] for t in cycle.of(form.name, "completes")), 0.0)
        hazards = {t.rate: rates[t.rate] for t in cycle.of(form.name, "any time")}
        hazard = sum(hazards.values(), 0.0)
        key = (form.name, dt)
        if form.stages == 1 or key not in self._kernels:
            self._kernels[key] = chain_kernel(form.stages, pace, hazard, dt)
        return _Moved.through(self._kernels[key], stages, entering, hazards, dt)

    def _inflow(
        self, form: LifeForm, moved: Mapping[str, _Moved], rates: Mapping[str, np.ndarray], middle: _Middle
    ) -> _Flow:
        """What enters a form during the step, from every form already moved."""
        entering = _NO_FLOW
        for transition in self.setting.cycle.transitions:
            for target, share in transition.offspring:
                if target != form.name or transition.source not in moved:
                    continue
                brake = middle.brakes.get(transition.rate, _NO_BRAKE)
                flow = moved[transition.source].flow(transition.event, transition.rate, rates)
                if share is not None:
                    brake = brake.times(middle.brakes.get(share, _NO_BRAKE))
                    flow = flow.times(rates[share])
                if brake is not _NO_BRAKE:
                    flow = flow.braked(brake)
                place = self.setting.cycle.form(transition.source).place
                entering = entering.plus(flow.carried(place, form.place, middle.by_group))
        return entering

    def _burdens(self, before: Mapping[str, np.ndarray], after: Mapping[str, np.ndarray]) -> tuple[np.ndarray, ...]:
        """Feeding flukes on a fish of susceptibility 1 at the start, the middle and the end of a step, (G, M) each."""
        names = self.setting.cycle.burden_forms
        start, end = (sum(chains[name].sum(0) for name in names) for chains in (before, after))
        return start, 0.5 * (start + end), end

    def _hosts(
        self,
        before: Mapping[str, np.ndarray],
        moved: Mapping[str, _Moved],
        state: State,
        temperature: np.ndarray | float,
        dt: float,
    ) -> State:
        """The fish after the step, under the burden at its middle."""
        setting, p = self.setting, self.setting.parameters
        per_gram = setting.fish.per_gram(self._burdens(before, _stages(before, moved))[1])
        blood = blood_step(state.haemoglobin, per_gram, temperature, p, dt)
        background, fluke = death_rates(per_gram, 0.5 * (state.haemoglobin + blood), p)
        alive = state.alive * np.exp(-dt * (background + fluke)) if setting.deaths_on else state.alive
        resistance = state.resistance
        if setting.resistance_on:
            mean = _mean_over_fish(per_gram, 0.5 * (state.alive + alive))
            half = resistance_rate(resistance, mean, temperature, p) * dt / 2
            resistance = resistance + dt * resistance_rate(resistance + half, mean, temperature, p)
        dead = state.alive - alive
        by_fluke = dead * fluke / (background + fluke)
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
            around = [self._crowding(burden, uptake) for burden in self._burdens(before, after)]
            brakes["laying_rate"] = _Brake(around[1], around[2] - around[0])
            brakes["birth_success"] = brakes["laying_rate"]
        if setting.resistance_on:
            free = _Brake(1 - 0.5 * (state.resistance + hosts.resistance), state.resistance - hosts.resistance)
            brakes["establishment"] = free
            brakes["birth_success"] = brakes.get("birth_success", _NO_BRAKE).times(free)
        by_group = _Brake(uptake.sum(1), ((hosts.alive - state.alive) * setting.fish.susceptibility).sum(1))
        return _Middle(uptake, by_group, brakes)

    def _crowding(self, burden: np.ndarray, uptake: np.ndarray) -> np.ndarray:
        setting = self.setting
        return laying_brake(setting.fish.per_gram(burden), uptake, setting.parameters["burden_scale"])


def _stages(before: Mapping[str, np.ndarray], moved: Mapping[str, _Moved]) -> dict[str, np.ndarray]:
    return {form: moved[form].stages if form in moved else x for form, x in before.items()}


def _with_density_and_drugs(
    base: Mapping[str, np.ndarray],
    parameters: Parameters,
    density: np.ndarray,
    drugs: Sequence[DrugInWater],
    day: float,
) -> dict[str, np.ndarray]:
    """Rates of one temperature as they are among so many fish, with what is dissolved in the water."""
    rates = dict(base)
    if "contact" not in rates:
        return rates
    hazard, kill = _drug_effects([drug for drug in drugs if drug.day <= day and drug.works], day)
    rates["contact"] = parameters["contact_rate"] * density / (parameters["contact_half_density"] + density)
    rates["larva_loss"] = rates["larva_loss"] + hazard
    rates["establishment"] = rates["establishment"] * (1 - kill)
    return rates


def _drug_effects(drugs: Sequence[DrugInWater], day: float) -> tuple[np.ndarray | float, np.ndarray | float]:
    """Death rate of larvae and share of settlers killed by all that is still dissolved."""
    hazard, spared = 0.0, 1.0
    for drug in drugs:
        left = np.exp(-drug.fade_per_day * (day - drug.day))
        hazard = hazard + drug.larva_hazard * left
        spared = spared * (1 - drug.settler_kill * left)
    return hazard, 1 - spared


def _mean_over_fish(by_class: np.ndarray, alive: np.ndarray) -> np.ndarray:
    """Mean over live fish, (G, C, M) -> (M,); 0 where no fish is left."""
    total, count = (by_class * alive).sum((0, 1)), alive.sum((0, 1))
    return np.divide(total, count, out=np.zeros_like(total), where=count > 0)


def derivative(setting: Setting, state: State, day: float, drugs: Sequence[DrugInWater] = ()) -> State:
    """Right-hand side of the model: the change of everything per day, from the list of transitions.

    Parameters
    ----------
    setting : Setting
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
    rates = _with_density_and_drugs(base, p, density, drugs, day)
    chains = {**state.water, **state.fish}
    burden = sum(chains[name].sum(0) for name in cycle.burden_forms)
    per_gram = setting.fish.per_gram(burden)
    uptake = state.alive * setting.fish.susceptibility
    crowding = laying_brake(per_gram, uptake, p["burden_scale"]) if setting.crowding_on else 1.0
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
            change[target][0] += _carried(cycle.form(t.source).place, cycle.form(target).place, gain, uptake)
    return _host_change(setting, state, change, per_gram, temperature)


def _host_change(
    setting: Setting,
    state: State,
    change: Mapping[str, np.ndarray],
    per_gram: np.ndarray,
    temperature: np.ndarray | float,
) -> State:
    p = setting.parameters
    background, fluke = death_rates(per_gram, state.haemoglobin, p)
    on = float(setting.deaths_on)
    dying, by_fluke = on * state.alive * (background + fluke), on * state.alive * fluke
    mean = _mean_over_fish(per_gram, state.alive)
    return State(
        water={form: change[form] for form in state.water},
        fish={form: change[form] for form in state.fish},
        alive=-dying,
        haemoglobin=blood_change(state.haemoglobin, per_gram, temperature, p),
        resistance=setting.resistance_on * resistance_rate(state.resistance, mean, temperature, p),
        deaths=dying.sum((0, 1)),
        fluke_deaths=by_fluke.sum((0, 1)),
    )


def _carried(source: str, target: str, amount: np.ndarray, uptake: np.ndarray) -> np.ndarray:
    """Turn a flow per fish of susceptibility 1 into one of the whole water, or back."""
    if source == target:
        return amount
    by_group = uptake.sum(1)
    return (amount * by_group).sum(0) if source == "fish" else amount * _per_fish(by_group)


def _per_fish(by_group: np.ndarray) -> np.ndarray:
    """What a fish of susceptibility 1 takes of all that settles, (G, M) -> (1, M); nothing where no fish is left."""
    whole = by_group.sum(0)
    return np.divide(1.0, whole, out=np.zeros_like(whole), where=whole > 0)[None, :]


@dataclass(frozen=True)
class _Flow:
    """What enters during a step, as a parabola in time; each is a pace times the step."""

    total: np.ndarray | float
    rise: np.ndarray | float  # by how much more at the end than at the start
    bend: np.ndarray | float  # by how much more at the two ends than on the whole

    def plus(self, other: _Flow) -> _Flow:
        return _Flow(self.total + other.total, self.rise + other.rise, self.bend + other.bend)

    def minus(self, other: _Flow) -> _Flow:
        return _Flow(self.total - other.total, self.rise - other.rise, self.bend - other.bend)

    def times(self, factor: np.ndarray | float) -> _Flow:
        return _Flow(self.total * factor, self.rise * factor, self.bend * factor)

    def braked(self, brake: _Brake) -> _Flow:
        """Return what a brake that changes evenly leaves, up to the second power of time."""
        product, share = self.rise * brake.rise, brake.middle
        return _Flow(
            self.total * share + product / 12,
            self.rise * share + self.total * brake.rise,
            self.bend * share + product / 6,
        )

    def carried(self, source: str, target: str, by_group: _Brake) -> _Flow:
        """Return the same as it arrives in another place: from each fish of susceptibility 1 to all, or back."""
        if source == target:
            return self
        if source == "fish":
            whole = self.braked(by_group)
            return _Flow(*(x.sum(0) for x in (whole.total, whole.rise, whole.bend)))
        return self.times(_per_fish(by_group.middle))


_NO_FLOW = _Flow(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class _Moved:
    """A form after a step, and what left it on the way."""

    kernel: ChainKernel
    before: np.ndarray
    stages: np.ndarray
    entered: _Flow
    completed: np.ndarray
    hazards: Mapping[str, np.ndarray]
    dt: float

    @classmethod
    def through(
        cls, kernel: ChainKernel, stages: np.ndarray, entering: _Flow, hazards: Mapping[str, np.ndarray], dt: float
    ) -> _Moved:
        n, terms = kernel.stages, len(kernel.shift)
        after = stages * kernel.shift[0]
        part = np.empty_like(after)
        for j in range(1, terms):
            np.multiply(stages[: n - j], kernel.shift[j], out=part[j:])
            after[j:] += part[j:]
        completed = np.einsum("j...m,jm->...m", stages[n - terms :][::-1], kernel.exit)
        return cls(kernel, stages, after, _NO_FLOW, completed, hazards, dt).with_entering(entering)

    def with_entering(self, more: _Flow) -> _Moved:
        """Return the same with more having entered."""
        if more is _NO_FLOW:
            return self
        stages, kernel = self.stages.copy(), self.kernel
        # one axis more where flukes on several groups of fish share the kernel
        across = (slice(None), *(None,) * (stages.ndim - 2))
        found = more.total * kernel.entry[across] + more.rise * kernel.tilt[across] + more.bend * kernel.bend[across]
        stages[: len(kernel.entry)] += found
        completed = self.completed + more.total * kernel.entry_exit
        return replace(self, stages=stages, entered=self.entered.plus(more), completed=completed)

    def flow(self, event: str, rate: str, rates: Mapping[str, np.ndarray]) -> _Flow:
        """How often an event of one rate happened during the step, and how that rose."""
        dt, forward = self.dt, self.kernel.forward
        start, end = self.before[-1], self.stages[-1]
        leaving_rise = forward * (end - start) * dt
        if event == "completes":
            return _Flow(self.completed, leaving_rise, 0.5 * forward * (start + end) * dt - self.completed)
        first, last = self.before.sum(0), self.stages.sum(0)
        hazard = sum(self.hazards.values())
        rise, ends = rates[rate] * (last - first) * dt, 0.5 * rates[rate] * (first + last) * dt
        if event == "bears":
            # trapezoid, with the slopes at both ends known: their difference takes away its error
            bend = rates[rate] * (self.entered.rise - leaving_rise - hazard * (last - first) * dt) * dt / 12
            return _Flow(ends - bend, rise, bend)
        taken = np.maximum(first + self.entered.total - last - self.completed, 0)
        total = taken * np.divide(rates[rate], hazard, out=np.zeros_like(hazard), where=hazard > 0)
        return _Flow(total, rise, ends - total)


def _observe(setting: Setting, state: State) -> dict[str, np.ndarray]:
    """What a trajectory keeps of a state: totals in the water, means over live fish."""
    uptake = state.alive * setting.fish.susceptibility
    count = state.alive.sum((0, 1))

    def per_fish(chain: np.ndarray) -> np.ndarray:
        total = (chain.sum(0) * uptake.sum(1)).sum(0)
        return np.divide(total, count, out=np.zeros_like(total), where=count > 0)

    burden = sum(state.fish[name].sum(0) for name in setting.cycle.burden_forms)
    per_gram = setting.fish.per_gram(burden)
    laid = laying_brake(per_gram, uptake, setting.parameters["burden_scale"])
    weight = burden * uptake.sum(1)
    braked = np.divide((laid * weight).sum(0), weight.sum(0), out=np.ones_like(count), where=weight.sum(0) > 0)
    return {
        **{f"water {form}": chain.sum(0) for form, chain in state.water.items()},
        **{f"fish {form}": per_fish(chain) for form, chain in state.fish.items()},
        "alive": count,
        "deaths": state.deaths,
        "fluke_deaths": state.fluke_deaths,
        "resistance": state.resistance,
        "haemoglobin": _mean_over_fish(state.haemoglobin, state.alive),
        "per_gram": _mean_over_fish(per_gram, state.alive),
        "laying": braked if setting.crowding_on else np.ones_like(braked),
    }


def _trajectory(days: np.ndarray, seen: Sequence[Mapping[str, np.ndarray]], end: State) -> Trajectory:
    columns = {name: np.array([row[name] for row in seen]) for name in seen[0]}
    places = {
        place: {
            name.removeprefix(f"{place} "): columns.pop(name) for name in list(columns) if name.startswith(f"{place} ")
        }
        for place in ("water", "fish")
    }
    return Trajectory(days=days, **places, **columns, end=end)

"""A case as the model takes it: its water, its fish, its doses, as M draws of everything uncertain about them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import NamedTuple

import numpy as np

from burden.case import Action, Case, Uncertain
from burden.evidence import Value, load_agent, load_parasite
from burden.inference.arrivals import Newcomers, draw_newcomers
from burden.inference.infection_pressure import pressure_on
from burden.inference.temperature_ahead import temperature_of
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Event, Scenario, State
from burden.model.hosts import Fish
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.rates import Surroundings, establishment_for, rates_at, with_larva_removal
from burden.model.lifecycle.stable_stages import stable_population
from burden.model.lifecycle.transitions import build_cycle
from burden.model.open_water import EGG_RETENTION, larvae_in
from burden.model.susceptibility import susceptibility_classes
from burden.model.temperature import Temperature
from burden.treatment.bath import bath_effect, loss_draws
from burden.treatment.efficacy import KillDraws, unknown_kill
from burden.treatment.efficacy_fit import draw_kill
from burden.treatment.flowing_bath import bath_in_flow
from burden.treatment.medicated_feed import feed_kill
from burden.treatment.residues import stays
from burden.treatment.water_chemistry import LEFT_IN_HOURS

__all__ = [
    "CLASSES",
    "LONGEST_HISTORY_DAYS",
    "Ensemble",
    "Posterior",
    "draw_pond",
    "side_by_side",
]

CLASSES = 8
#: a record is followed from so long before the visit, at most [d]
LONGEST_HISTORY_DAYS = 120
#: flukes found on a day have lived in the water of so many days before it: an assumption [d]
_LIVED_DAYS = 28
#: what an agent kills, by its name
_KillBy = Callable[[str], KillDraws]
#: how long one dose keeps a filter used to an agent [d]: an assumption
_FILTER_REMEMBERS_DAYS = 60


@dataclass(frozen=True)
class Ensemble:
    """One case, one parasite set, M draws.

    Parameters
    ----------
    case : Case
    parasite : str
    setting : Scenario
    seed : int
    given : tuple of Event
        What was done before the visit.
    planned : tuple of Event
        What the case plans.
    newcomers : tuple of Newcomers
        Fish that came up to the visit, by rising date.
    """

    case: Case
    parasite: str
    setting: Scenario
    seed: int
    given: tuple[Event, ...] = ()
    planned: tuple[Event, ...] = ()
    effects: Mapping[str, DoseEffect] = field(default_factory=dict)
    newcomers: tuple[Newcomers, ...] = ()

    @property
    def size(self) -> int:
        """Number of draws."""
        return self.setting.parameters.size

    def take(self, draws: np.ndarray) -> Ensemble:
        """Return the draws at some positions, repeats allowed."""
        return replace(
            self,
            setting=self.setting.take(draws),
            given=tuple(_take_event(event, draws) for event in self.given),
            planned=tuple(_take_event(event, draws) for event in self.planned),
            effects={agent: effect.take(draws) for agent, effect in self.effects.items()},
            newcomers=tuple(come.take(draws) for come in self.newcomers),
        )

    def first_effect(self, agents: Sequence[str]) -> DoseEffect:
        """Return what a customary bath of the first of some agents does; of none, of the first that is known."""
        return self.effects[agents[0] if agents else next(iter(self.effects))]

    def dose(self, day: float, agent: str) -> Event:
        """Return a customary bath of an agent on a day after the visit."""
        return Event.dose(day, self.effects[agent], self.setting.cycle)

    def doses(self, days: Sequence[float], agents: Sequence[str]) -> list[Event]:
        """Return the customary baths of a schedule."""
        return [self.dose(day, agent) for day, agent in zip(days, agents, strict=True)]

    @property
    def has_windows(self) -> bool:
        """Whether the set lays eggs and its evidence tells when they hatch and settlers lay."""
        p = self.setting.parameters
        return p.development is not None and not p.evidence.refusal("windows")

    def start(self, abundance: np.ndarray, alive: np.ndarray, day: float, uniform: np.ndarray) -> State:
        """State at the start of the history.

        Parameters
        ----------
        abundance : numpy.ndarray
            Juveniles and adults per fish, shape (M,).
        alive : numpy.ndarray
            Live fish of each group, shape (G,).
        day : float
            [d]
        uniform : numpy.ndarray
            How far resistance has come towards its balance at this burden and temperature, 0 to 1, shape (M,).

        Notes
        -----
        The stages stand in the stable mix of the temperature at the growth that resistance and crowding leave.
        """
        setting, p = self.setting, self.setting.parameters
        temperature = float(np.mean(setting.temperature.at(day)))
        groups = setting.fish.weight_g.shape[0]
        fish = np.broadcast_to(np.asarray(alive, float)[:, None], (groups, p.size))
        per_gram = abundance / (setting.fish.weight_g * fish / np.maximum(fish.sum(0), 1e-9)).sum(0)
        gain = (
            max(temperature, 0) / p["resistance_gain_degree_days"] * per_gram / (per_gram + p["resistance_half_burden"])
        )
        resistance = uniform * gain / (gain + p["resistance_loss_per_day"])
        brake = (1 - resistance) / (1 + per_gram / p["burden_scale"])
        water, chains = self._mix(temperature, fish, brake)
        scale = abundance / np.maximum(sum(chain.sum((0, 1)) for chain in chains.values()) / groups, 1e-12)
        alive_by_class = np.repeat(fish[:, None, :] / CLASSES, CLASSES, axis=1)
        return State(
            water={form: x * scale for form, x in water.items()},
            fish={form: x * scale for form, x in chains.items()},
            alive=alive_by_class,
            haemoglobin=np.ones_like(alive_by_class),
            resistance=resistance,
            deaths=np.zeros(p.size),
            fluke_deaths=np.zeros(p.size),
        )

    def _mix(
        self, temperature: float, fish: np.ndarray, brake: np.ndarray
    ) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
        """Totals in the water by stage, and flukes by stage on one fish, in the stable mix with one adult a fish."""
        setting, p = self.setting, self.setting.parameters
        cycle, groups = setting.cycle, fish.shape[0]
        if p.development is None:
            share = 1.0 / sum(form.stages for form in cycle.forms)
            return {}, {f.name: np.full((f.stages, groups, p.size), share) for f in cycle.forms}
        around = Surroundings(fish.sum(0) / setting.volume_m3, setting.exchange_per_day)
        stages = {form.name: form.stages for form in cycle.forms}
        wear = stages.get("fresh_egg", 0)
        counts = (wear, stages["egg"], stages["juvenile"])
        mix = stable_population(p, temperature, around, fish.sum(0), fish.sum(0), counts, brake)
        water = {"egg": mix.eggs, "larva": mix.larvae[None, :]}
        if wear:
            water = {"fresh_egg": mix.fresh_eggs, **water}
        per_fish = np.maximum(fish.sum(0), 1e-9)
        juveniles = np.repeat((mix.juveniles / per_fish)[:, None, :], groups, axis=1)
        return water, {"juvenile": juveniles, "adult": np.ones((1, groups, p.size))}


class Posterior(NamedTuple):
    """One parasite set of a case after what was seen: its ponds, and their state on the day of the visit.

    Parameters
    ----------
    pond : Ensemble
        M draws, each as likely as any other.
    state : State
        On the day of the visit, M draws.
    """

    pond: Ensemble
    state: State

    def take(self, draws: np.ndarray) -> Posterior:
        """Return the draws at some positions, repeats allowed."""
        return Posterior(self.pond.take(draws), self.state.take(draws))


def side_by_side(ponds: Sequence[Ensemble]) -> Ensemble:
    """Return ponds of the same draws one after the other, for a run of as many courses at once.

    Parameters
    ----------
    ponds : sequence of Ensemble
        They may differ in what is added to the water's temperature and in what doses do, and in nothing else.
    """
    first = ponds[0]
    wide = first.take(np.tile(np.arange(first.size), len(ponds)))
    setting = first.setting.side_by_side(len(ponds))
    courses = [pond.setting.temperature for pond in ponds]
    if any(course is not courses[0] for course in courses):
        added = np.concatenate([np.broadcast_to(course.offset_c, (first.size,)) for course in courses])
        setting = replace(setting, temperature=replace(setting.temperature, offset_c=added), copies=1)
    effects = {agent: DoseEffect.joined([pond.effects[agent] for pond in ponds]) for agent in first.effects}
    return replace(wide, setting=setting, effects=effects)


def _take_event(event: Event, draws: np.ndarray) -> Event:
    drug = event.drug
    if drug is not None:
        drug = replace(
            drug,
            larva_hazard=drug.larva_hazard[draws],
            settler_kill=drug.settler_kill[draws],
            fade_per_day=drug.fade_per_day[draws],
        )
    kill = {form: np.asarray(share)[..., draws] for form, share in event.kill.items()}
    effect = None if event.effect is None else event.effect.take(draws)
    return replace(event, kill=kill, drug=drug, effect=effect)


def draw_pond(case: Case, parasite: str, n: int, seed: int) -> Ensemble:
    """Draw everything uncertain about a case and one parasite set.

    Parameters
    ----------
    case : Case
    parasite : str
        One of the case's sets.
    n, seed : int
        Number of draws and seed.
    """
    temperature = temperature_of(case, n, seed)
    evidence = case.evidence_for(load_parasite(parasite)).found_in(_found_in_c(case, temperature))
    volume_m3 = _draw("volume", case.water.volume_l, n, seed) / 1000
    fish = sum(group.count for group in case.fish)
    parameters = establishment_for(draw_parameters(evidence, n, seed), fish / volume_m3)
    if case.water.uv and parameters.development is not None:
        parameters = with_larva_removal(parameters, seed)
    if case.water.egg_removal_per_day and parameters.development is not None:
        parameters = parameters.replaced(egg_removal_per_day=case.water.egg_removal_per_day)
    if case.water.exchange_per_day and parameters.development is not None:
        kept = EGG_RETENTION[case.water.kind or ""]
        parameters = parameters.replaced(egg_retention=kept.draw(n, seed, "case "))
    weights = np.array([_draw(f"weight {i}", group.weight_g, n, seed) for i, group in enumerate(case.fish)])
    setting = Scenario(
        cycle=build_cycle(evidence),
        parameters=parameters,
        fish=Fish(weights, susceptibility_classes(parameters["aggregation"], CLASSES).means),
        temperature=temperature,
        volume_m3=volume_m3,
        exchange_per_day=case.water.exchange_per_day,
    )
    if (pressure := pressure_on(case)) is not None and parameters.development is not None:
        setting = replace(setting, larvae_in_per_day=_larvae_in(case, setting, pressure, seed))

    @cache  # what one agent kills is the same in every dose
    def kill_by(agent: str) -> KillDraws:
        return draw_kill(load_agent(agent), n, seed, evidence)

    return Ensemble(
        case,
        parasite,
        setting,
        seed,
        given=_events(case, case.given, setting, seed, kill_by),
        planned=_events(case, case.planned, setting, seed, kill_by),
        effects={agent: _customary(case, agent, setting, seed, kill_by) for agent in _agents(case)},
        newcomers=draw_newcomers(case, n, seed, evidence.values["abundance"], weights),
    )


def _found_in_c(case: Case, temperature: Temperature) -> float:
    """Water in which flukes were first looked for, and lived in until then; that of the visit without a look [°C]."""
    first = min([day for day in map(case.day_of, case.sample_dates) if day >= -LONGEST_HISTORY_DAYS], default=0)
    known = replace(temperature, drift_c=None, offset_c=0.0)  # the same in every draw
    return float(np.mean([known.at(float(day)) for day in range(first - _LIVED_DAYS, first + 1, 7)]))


def _larvae_in(case: Case, setting: Scenario, pressure: Value, seed: int) -> np.ndarray:
    """Larvae that come with the water, shape (M,) [1/d]."""
    p = setting.parameters
    count = np.array([[float(group.count)] for group in case.fish])
    around = Surroundings(count.sum() / setting.volume_m3, setting.exchange_per_day)
    rates = rates_at(p, setting.temperature.median_at(0.0), around)
    settling = rates["contact"] / (rates["contact"] + rates["larva_loss"]) * rates["establishment"]
    biomass_g = (count * setting.fish.weight_g).sum(0)
    usual = p.evidence.values["abundance"].value
    return larvae_in(pressure.draw(p.size, seed, "case "), usual, p["adult_life_days"], biomass_g, settling)


def _draw(name: str, number: Uncertain, n: int, seed: int) -> np.ndarray:
    return Value(name, number.value, number.low, number.high, "-", "log", "assumption").draw(n, seed, "case ")


def _agents(case: Case) -> tuple[str, ...]:
    """Agents at hand: those the vet lists, else the two whose evidence carries a recommendation."""
    return case.limits.agents or ("praziquantel", "formalin")


def _customary(case: Case, agent: str, setting: Scenario, seed: int, kill_by: _KillBy) -> DoseEffect:
    n, kill = setting.parameters.size, kill_by(agent)
    met = any(action.agent == agent for action in case.given)
    loss = loss_draws(load_agent(agent), case.water.filter, n, seed, met_before=met)
    bath = bath_in_flow(case, agent)
    if bath.apart:  # of known volume, and nothing of it stays in the pond
        return bath_effect(kill, bath.mg_l, bath.hours, loss, left_in_water=False)
    # weighed for the volume on the page: where the pond holds more, the water gets less
    strength = bath.mg_l * case.water.volume_l.value / 1000 / setting.volume_m3
    if bath.mode == "impossible":
        return bath_effect(kill, strength, bath.hours, loss, left_in_water=False).within(np.zeros(n))
    if bath.held or bath.hours < LEFT_IN_HOURS:
        return bath_effect(kill, strength, bath.hours, loss, left_in_water=False)
    return bath_effect(kill, strength, bath.hours, loss + setting.exchange_per_day)


def _events(case: Case, actions: Sequence[Action], setting: Scenario, seed: int, kill_by: _KillBy) -> tuple[Event, ...]:
    """Doses, water changes and moves as events, in order; each knows what the filter has met before it."""
    events: list[Event] = []
    met: dict[str, float] = {}
    for action in actions:
        day = float(case.day_of(action.date))
        if action.action == "dose":
            agent = action.agent or "unknown"
            before = agent in met and day - met[agent] <= _FILTER_REMEMBERS_DAYS
            events.append(Event.dose(day, _given_effect(case, action, setting, seed, before, kill_by), setting.cycle))
            met[agent] = day
            if action.water_change_after:
                events.append(_removal(day + (action.hours or 24.0) / 24, action.water_change_after, setting))
        elif action.action == "water_change":
            events.append(_removal(day, action.water_change_after or 0.5, setting))
        elif action.action in ("move_fish", "drain_dry"):
            # the fish leave their eggs and larvae behind, or these dry up
            events.append(_removal(day, 1.0, setting))
    return tuple(events)


def _removal(day: float, share: float, setting: Scenario) -> Event:
    water = [form.name for form in setting.cycle.forms if form.place == "water"]
    return Event(day, {form: np.full(setting.parameters.size, share) for form in water})


def _given_effect(
    case: Case, action: Action, setting: Scenario, seed: int, met_before: bool, kill_by: _KillBy
) -> DoseEffect:
    n = setting.parameters.size
    agent = action.agent or "unknown"
    if agent == "praziquantel" and action.route == "in_feed" and action.mg_per_kg_fish is not None:
        return _fed(feed_kill(action.mg_per_kg_fish, n, seed))
    if agent == "unknown" or (action.route in ("in_feed", "dip") and action.concentration_mg_l is None):
        return bath_effect(unknown_kill(n, seed), left_in_water=False)
    evidence, kill = load_agent(agent), kill_by(agent)
    written = action.concentration_mg_l
    believed = (action.volume_l_believed or case.water.volume_l.value) / 1000
    strength = None if written is None else written * believed / setting.volume_m3
    flushed = (action.water_change_after or 0) >= 0.9 or not stays(action, kill.customary_hours)
    loss = loss_draws(evidence, case.water.filter, n, seed, met_before, bool(action.uv_or_carbon_on))
    return bath_effect(kill, strength, action.hours, loss + setting.exchange_per_day, left_in_water=not flushed)


def _fed(killed: np.ndarray) -> DoseEffect:
    """A course in feed, given as if on its first day: it kills what is on the fish, and leaves nothing in the water."""
    none = np.zeros_like(killed)
    on_fish = dict.fromkeys(("adult", "juvenile", "young", "mother"), killed)
    return DoseEffect(on_fish, killed, none, none, none, none + 1.0)

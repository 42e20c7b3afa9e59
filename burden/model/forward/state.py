"""What a run of the forward equations is given, what changes in it, and what it gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, reduce

import numpy as np

from burden.model.dose_effect import DoseEffect
from burden.model.hosts import Fish
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.transitions import LifeCycle
from burden.model.other_deaths import OtherDeaths
from burden.model.temperature import Temperature

__all__ = [
    "DrugInWater",
    "Event",
    "Scenario",
    "State",
    "Trajectory",
]


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

    def flukes(self, fish: Fish) -> np.ndarray:
        """Return all flukes on live fish, shape (M,)."""
        uptake = (self.alive * fish.susceptibility).sum(1)
        return sum((chain.sum(0) * uptake).sum(0) for chain in self.fish.values())

    def flukes_per_fish(self, fish: Fish) -> np.ndarray:
        """Return flukes per live fish, shape (M,); 0 where no fish is left."""
        total, count = self.flukes(fish), self.alive.sum((0, 1))
        return np.divide(total, count, out=np.zeros_like(total), where=count > 0)

    def take(self, draws: np.ndarray | slice) -> State:
        """Return the state of the draws at some positions, repeats allowed."""
        return State(
            water={form: chain[..., draws] for form, chain in self.water.items()},
            fish={form: chain[..., draws] for form, chain in self.fish.items()},
            alive=self.alive[..., draws],
            haemoglobin=self.haemoglobin[..., draws],
            resistance=self.resistance[..., draws],
            deaths=self.deaths[..., draws],
            fluke_deaths=self.fluke_deaths[..., draws],
        )


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

    @cached_property
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
    bring : mapping of str to numpy.ndarray
        What they bring, by life form: flukes by stage on a joining fish of susceptibility 1, (n, G, M); eggs and larvae
        by stage in the water they came in, (n, M). A form that is not named comes with none.
    arrive_resistance : numpy.ndarray, optional
        Resistance of those that join, shape (M,); naive without it.
    effect : DoseEffect, optional
        The dose it came from, for the backward equations.
    """

    day: float
    kill: Mapping[str, np.ndarray] = field(default_factory=dict)
    drug: DrugInWater | None = None
    arrive: np.ndarray | None = None
    bring: Mapping[str, np.ndarray] = field(default_factory=dict)
    arrive_resistance: np.ndarray | None = None
    effect: DoseEffect | None = None

    @classmethod
    def dose(cls, day: float, effect: DoseEffect, cycle: LifeCycle) -> Event:
        """Return a dose with its effect on the chains of a cycle, and what it leaves in the water."""
        drug = DrugInWater(day, effect.larva_hazard, effect.settler_kill, effect.fade_per_day)
        return cls(day, effect.on_chains(cycle), drug, effect=effect)


@dataclass(frozen=True)
class Scenario:
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
    other_deaths : OtherDeaths or None
        What kills fish beside flukes and background, M courses; None: nothing.
    larvae_in_per_day : float or numpy.ndarray
        Larvae that come with the water from elsewhere [1/d].
    copies : int
        How many times the first draws stand side by side: what hangs on water and parameters alone is worked out once.
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
    other_deaths: OtherDeaths | None = None
    larvae_in_per_day: np.ndarray | float = 0.0
    copies: int = 1

    def other_rate(self, day: float) -> np.ndarray | float:
        """Death rate on a day from what is neither flukes nor background, shape (M,) or 0 [1/d]."""
        return 0.0 if self.other_deaths is None else self.other_deaths.at(day)

    def take(self, draws: np.ndarray) -> Scenario:
        """Return the setting of the draws at some positions, repeats allowed."""

        def of(number: np.ndarray | float) -> np.ndarray | float:
            array = np.asarray(number, float)
            return array[draws] if array.ndim else number

        return replace(
            self,
            parameters=self.parameters.take(draws),
            fish=Fish(self.fish.weight_g[:, draws], self.fish.susceptibility[:, draws]),
            temperature=self.temperature.take(draws),
            volume_m3=self.volume_m3[draws],
            other_deaths=None if self.other_deaths is None else self.other_deaths.take(draws),
            exchange_per_day=of(self.exchange_per_day),
            larvae_in_per_day=of(self.larvae_in_per_day),
            copies=1,
        )

    def side_by_side(self, times: int) -> Scenario:
        """Return all draws so many times, one after the other."""
        return replace(self.take(np.tile(np.arange(self.parameters.size), times)), copies=times * self.copies)


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
        return reduce(np.add, self.fish.values())

    def take(self, draws: np.ndarray | slice) -> Trajectory:
        """Return what the run gave for the draws at some positions."""
        of_draw = ("alive", "deaths", "fluke_deaths", "resistance", "haemoglobin", "per_gram", "laying")
        arrays = {name: getattr(self, name)[:, draws] for name in of_draw}
        water, fish = ({form: x[:, draws] for form, x in place.items()} for place in (self.water, self.fish))
        return Trajectory(self.days, water, fish, **arrays, end=self.end.take(draws))

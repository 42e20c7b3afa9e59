"""Simulated ponds: what a run of `analysis.individuals` is given, and what it gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from burden.model.dose_effect import DoseEffect
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.transitions import LifeCycle, Transition
from burden.model.temperature import Temperature

__all__ = ["Dose", "Joining", "Ponds", "Record", "Start", "Stock", "draw_start", "draw_stock"]


@dataclass(frozen=True)
class Stock:
    """Fish, R ponds of F each.

    Parameters
    ----------
    weight_g : numpy.ndarray
        Of each fish, shape (R, F) [g].
    susceptibility : numpy.ndarray
        Relative share of settlers each fish takes, shape (R, F) [-].
    """

    weight_g: np.ndarray
    susceptibility: np.ndarray


def draw_stock(
    rng: np.random.Generator, ponds: int, fish: int, mean_weight_g: float, aggregation: float, weight_cv: float = 0.0
) -> Stock:
    """Draw fish of gamma susceptibility and log-normal weight.

    Parameters
    ----------
    rng : numpy.random.Generator
    ponds, fish : int
        R and F.
    mean_weight_g : float
        [g]
    aggregation : float
        Shape k of the gamma, its mean 1 [-].
    weight_cv : float
        Coefficient of variation of weight [-].
    """
    sigma = np.sqrt(np.log1p(weight_cv**2))
    weight = mean_weight_g * np.exp(sigma * rng.standard_normal((ponds, fish)) - sigma**2 / 2)
    return Stock(weight, rng.gamma(aggregation, 1 / aggregation, (ponds, fish)))


@dataclass(frozen=True)
class Ponds:
    """What a run is given.

    Parameters
    ----------
    cycle : LifeCycle
    parameters : Parameters
        One draw, with `establishment` for egg-layers.
    stock : Stock
    volume_m3 : float
        [m³]
    temperature : Temperature
        Without drift.
    exchange_per_day : float
        [1/d]
    resistance_on, crowding_on, deaths_on : bool
        The two brakes, and whether fish die.
    larvae_in_per_day : float
        Larvae that come with the water [1/d].
    spread : mapping of str to float
        Gamma shape of the duration of a life form in place of the measured one; infinity: all take equally long. One
        given for a form that does not age (`adult`) makes it age: its life then has this spread.
    """

    cycle: LifeCycle
    parameters: Parameters
    stock: Stock
    volume_m3: float
    temperature: Temperature
    exchange_per_day: float = 0.0
    resistance_on: bool = True
    crowding_on: bool = True
    deaths_on: bool = True
    larvae_in_per_day: float = 0.0
    spread: Mapping[str, float] = field(default_factory=dict)

    def aged(self) -> LifeCycle:
        """Return the cycle in which the forms given a spread end their life by age instead of at any time."""

        def by_age(t: Transition) -> Transition:
            ageless = t.source in self.spread and not self.cycle.of(t.source, "completes")
            return replace(t, event="completes") if ageless and t.event == "any time" else t

        return replace(self.cycle, transitions=tuple(by_age(t) for t in self.cycle.transitions))


@dataclass(frozen=True)
class Dose:
    """A dose on a day [d], its effect one draw; it acts at the nearest step."""

    day: float
    effect: DoseEffect


@dataclass(frozen=True)
class Start:
    """Who is there at the start.

    Parameters
    ----------
    numbers : mapping of str to numpy.ndarray
        Whole individuals by life form: (R, F, n) on the fish, (R, n) in the water. Those in slot i of n have done
        (i + ½)/n of their development; with n = 1 they have just begun.
    resistance : float
        Of every pond [-].
    """

    numbers: Mapping[str, np.ndarray]
    resistance: float = 0.0


@dataclass(frozen=True)
class Joining:
    """Fish of the stock that are not there before a day.

    Parameters
    ----------
    day : float
        [d]; they come at the nearest step.
    fish : numpy.ndarray of bool
        Which of the stock, shape (F,).
    bring : Start
        What they bring, placed as at a start; on fish that do not come nothing may be placed.
    """

    day: float
    fish: np.ndarray
    bring: Start


def draw_start(
    rng: np.random.Generator, ponds: Ponds, totals: Mapping[str, np.ndarray | float], *, exact: bool = False
) -> Start:
    """Place so many individuals in every pond, those on the fish in proportion to susceptibility.

    Parameters
    ----------
    rng : numpy.random.Generator
    ponds : Ponds
    totals : mapping of str to array_like
        Mean number in a pond by life form, a number or by share of development done, shape (n,).
    exact : bool
        Exactly so many (whole numbers) instead of a Poisson number.
    """
    count, _ = ponds.stock.weight_g.shape
    chance = ponds.stock.susceptibility / ponds.stock.susceptibility.sum(1, keepdims=True)
    numbers = {}
    for name, total in totals.items():
        total = np.broadcast_to(np.atleast_1d(total), (count, np.size(total)))
        whole = np.rint(total).astype(np.int64) if exact else rng.poisson(total)
        if ponds.cycle.form(name).place == "fish":
            slots = [rng.multinomial(whole[:, i], chance) for i in range(whole.shape[1])]
            whole = np.stack(slots, axis=2)
        numbers[name] = whole
    return Start(numbers)


@dataclass(frozen=True)
class Record:
    """What a run gave; NaN where a pond was no longer run.

    Parameters
    ----------
    days : numpy.ndarray
        Shape (K,) [d].
    numbers : mapping of str to numpy.ndarray
        Total in the pond by life form, each shape (K, R).
    alive : numpy.ndarray
        Whether each fish lives, shape (K, R, F).
    burden : mapping of str to numpy.ndarray
        On each fish by life form, each shape (K, R, F).
    hazard : numpy.ndarray
        Death rate of each fish, shape (K, R, F) [1/d].
    resistance : numpy.ndarray
        Shape (K, R) [-].
    death_day : numpy.ndarray
        Day each fish died, NaN for those alive, shape (R, F) [d].
    gone_day : numpy.ndarray
        First day on which a pond was found without fluke, egg or larva, NaN if it never was, shape (R,) [d].
    above : numpy.ndarray
        Whether a pond was given up because it held more than `stop_above`, shape (R,).
    fluke_share : numpy.ndarray
        Share of the hazard of each dead fish that came from its flukes when it died, NaN for the living, shape (R, F).
    """

    days: np.ndarray
    numbers: Mapping[str, np.ndarray]
    alive: np.ndarray
    burden: Mapping[str, np.ndarray]
    hazard: np.ndarray
    resistance: np.ndarray
    death_day: np.ndarray
    gone_day: np.ndarray
    above: np.ndarray
    fluke_share: np.ndarray

    @property
    def deaths(self) -> np.ndarray:
        """Fish dead by each day, shape (K, R)."""
        return (self.death_day[None] <= self.days[:, None, None]).sum(2)

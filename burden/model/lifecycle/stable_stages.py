"""Who is there when a temperature has lasted: growth without brakes, and the stable mix of stages of an egg-layer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import Surroundings, rates_at

__all__ = ["Population", "growth_rate", "stable_population"]


@dataclass(frozen=True)
class Population:
    """Who is there at the start, as means of what may be there, M draws.

    Parameters
    ----------
    fresh_eggs : numpy.ndarray
        Total, by stage of wear, shape (m, M); m = 0 for sets that do not tell them apart.
    eggs : numpy.ndarray
        Started eggs by stage of development, shape (n, M).
    larvae, adults : numpy.ndarray
        Totals, shape (M,).
    juveniles : numpy.ndarray
        Total by stage of development, shape (n, M).
    fish : numpy.ndarray
        Live fish, shape (M,).
    aggregation : numpy.ndarray
        k of the burden across fish, shape (M,).
    """

    fresh_eggs: np.ndarray
    eggs: np.ndarray
    larvae: np.ndarray
    juveniles: np.ndarray
    adults: np.ndarray
    fish: np.ndarray
    aggregation: np.ndarray


def growth_rate(
    parameters: Parameters, temperature_c: float, around: Surroundings, brake: float | np.ndarray = 1.0
) -> np.ndarray:
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
    rates = rates_at(parameters, temperature_c, around)
    development = parameters.of_eggs
    shapes = development.egg_shape(temperature_c), development.maturity.shape_at(temperature_c)
    low, high = np.full(parameters.size, -0.3), np.full(parameters.size, 3.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        grows = _discounted(rates, *shapes, middle) * brake > 1
        low, high = np.where(grows, middle, low), np.where(grows, high, middle)
    return 0.5 * (low + high)


def _discounted(
    rates: Mapping[str, np.ndarray], egg_shape: np.ndarray, juvenile_shape: np.ndarray, r: np.ndarray
) -> np.ndarray:
    """Adults begotten by one adult, each discounted by exp(−r · age at maturity)."""
    parts = _passing(rates, egg_shape, juvenile_shape, r)
    life = rates["adult_loss"] + r
    return np.where(life > 0, rates["laying_rate"] / np.maximum(life, 1e-12) * np.prod(parts, 0), np.inf)


def _passing(
    rates: Mapping[str, np.ndarray], egg_shape: np.ndarray, juvenile_shape: np.ndarray, r: np.ndarray
) -> list[np.ndarray]:
    """Discounted shares that start, hatch, settle and mature; 0 where a stage stands still."""
    parts = [
        _chain_share(rates["egg_rate"], rates["egg_loss"] + r, egg_shape) * rates["hatch_success"],
        rates["contact"] * rates["establishment"] / np.maximum(rates["contact"] + rates["larva_loss"] + r, 1e-9),
        _chain_share(rates["juvenile_rate"], rates["juvenile_loss"] + r, juvenile_shape),
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
    brake: float | np.ndarray = 1.0,
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
    brake : array_like
        Share of reproduction that is left [-].

    Notes
    -----
    At growth rate r a chain that is fed at a pace f holds f exp(−(μ + r) a) S(a) individuals of age a; stages are
    equal shares of development. Below the temperatures at which eggs hatch, where r falls under −0.02 per day, the
    mix of r = −0.02 is taken: colder water has not been so for ever.
    """
    r = np.maximum(growth_rate(parameters, temperature_c, around, brake), -0.02)
    rates = rates_at(parameters, temperature_c, around)
    pace = rates["laying_rate"] * adults * brake
    fresh = np.zeros((stages[0], parameters.size))
    if stages[0]:
        leave = rates["fresh_rate"] + rates["egg_loss"] + r
        wear = stages[0] * rates["chill_rate"]
        for k in range(stages[0]):
            fresh[k] = pace / np.maximum(leave + wear, 1e-3) * (wear / np.maximum(leave + wear, 1e-3)) ** k
        pace = rates["fresh_rate"] * fresh.sum(0)
    development = parameters.of_eggs
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
    rate = np.maximum(rate, 1e-4)
    middle = (np.arange(stages)[:, None] + 0.5) / stages
    there = pace / rate / stages * np.exp(-np.clip(loss / rate * middle, -50, 50)) * gammaincc(shape, shape * middle)
    whole = _chain_share(rate, loss, shape)
    # those that take longer than the mean are beyond the last share; what is missing from the total counts with it
    steady = np.abs(loss) < 1e-9
    total = pace * np.where(steady, 1 / rate, (1 - whole) / np.where(steady, 1.0, loss))
    there[-1] += np.clip(total - there.sum(0), 0, there.sum(0))
    return there, pace * whole

"""Flukes present on a stock of few fish: those looked at are known in part, the others are predicted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, logsumexp

from burden.case import Preparation
from burden.counts import gamma_quadrature, zero_share
from burden.looking import (
    Seen,
    chosen_fish,
    fineness,
    fish_alike,
    log_likelihood_of_fish,
    share_left,
    shown,
    tilt_of,
)

__all__ = ["Present", "present_on"]

#: more fish than this that nobody looked at are drawn together
_ONE_BY_ONE = 2000
#: orders in which the fish chosen by their burden may have been picked, drawn for each draw
_ORDERS = 8


@dataclass(frozen=True)
class Present:
    """Flukes on the living fish of a stock, M draws.

    Parameters
    ----------
    total : numpy.ndarray
        On all of them, shape (M,) [flukes].
    carrying : numpy.ndarray
        Fish that carry any, shape (M,).
    none : numpy.ndarray
        Chance that no fish carries any, shape (M,).
    log_weight : numpy.ndarray
        By which draws are to be weighed: how likely those looked at were picked out of this very stock, shape (M,).
    """

    total: np.ndarray
    carrying: np.ndarray
    none: np.ndarray
    log_weight: np.ndarray

    def take(self, draws: np.ndarray) -> Present:
        """Return the draws at some positions."""
        return Present(self.total[draws], self.carrying[draws], self.none[draws], self.log_weight[draws])


def present_on(
    alive: int,
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
    rng: np.random.Generator,
    stages: Mapping[str, np.ndarray] | None = None,
) -> Present:
    """Draw what is on a stock of so many fish, some of which were looked at.

    Parameters
    ----------
    alive : int
        Living fish.
    rows : sequence of Preparation
        Of today. Those of fish dead or killed tell of the fish that are left, for these were not picked.
    mean, k, seen, home, weight_g, stages
        As in `burden.looking.log_likelihood_of_samples`.
    rng : numpy.random.Generator

    Notes
    -----
    A fish looked at has a rate drawn given its own counts; on it are the flukes counted, and those unseen: Poisson at
    the rate times the share of its flukes that no preparation holds, exact for whole organs and in the limit of small
    parts. A fish with a censored count has a Poisson number, no less than was seen. The others are drawn from the
    gamma of all fish, and the whole stock is weighed by the chance that just these fish were picked from it, one after
    the other in proportion to rate^tilt: where the sick were taken out of few, those left are lighter.
    """
    mean = np.maximum(mean, 1e-12)
    alike = fish_alike(rows)
    gone = sum(times for fish, times in alike.items() if _is_gone(fish))
    left = share_left(alike, alive + gone)
    total, carrying, log_none = np.zeros(mean.size), np.zeros(mean.size), np.zeros(mean.size)
    looked, picked = 0, []
    for fish, times in alike.items():
        own = _own_rates(fish, mean, k, seen, home, weight_g, stages, left)
        picked += [(fish[0].chosen, _draw_rate(*own[:2], rng)) for _ in range(times)]
        if _is_gone(fish):
            continue
        log_none = log_none + times * np.log(np.maximum(own[2], 1e-300))
        looked += times
        for _, rate in picked[-times:]:
            flukes = _one_fish(fish, rate, _unseen_share(fish, seen, home, weight_g, stages), rng)
            total, carrying = total + flukes, carrying + (flukes > 0)
    if looked > alive:  # more fish looked at than are left
        total, carrying = total * alive / looked, carrying * alive / looked
    rest = max(alive - looked, 0)
    others, infected, rates = _unseen_fish(rest, mean, k, rng)
    if rest:
        log_none = log_none + np.log(np.maximum(zero_share(mean * rest, k * rest), 1e-300))
    log_weight = np.zeros(mean.size)
    if 0 < left < 1 and rates is not None:
        log_weight = _log_chance_of_picks(picked, rates, mean, k, seen, left, rng)
    return Present(total + others, carrying + infected, np.exp(log_none), log_weight)


def _is_gone(rows: Sequence[Preparation]) -> bool:
    """Whether the fish is no longer alive."""
    return any(row.chosen == "dead" or row.lethal for row in rows)


def _log_chance_of_picks(
    picked: Sequence[tuple[str, np.ndarray]],
    others: np.ndarray,
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    left: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Chance that the fish looked at were picked from this stock, over what their drawn rates have in it, (M,).

    Parameters
    ----------
    picked
        How each fish looked at was chosen, and its rates, (M,) each [flukes].
    others : numpy.ndarray
        Rates of the fish nobody looked at, shape (fish, M) [flukes].

    Notes
    -----
    Fish are picked one after the other, each with chance rate^t over the sum of rate^t of those still there; the order
    is unknown and averaged over. The drawn rates have in them rate^(t·left), over its mean.
    """
    pool = np.concatenate([others, *(rate[None, :] for chosen, rate in picked if chosen == "random")])
    pool = np.maximum(pool, 1e-290)
    total = np.zeros(mean.size)
    for way in ("dead", "moribund", "netted"):
        rates = np.array([rate for chosen, rate in picked if chosen == way])
        if not rates.size:
            continue
        rates, tilt = np.maximum(rates, 1e-290), tilt_of(way, seen)
        waiting = [rate[None, :] for chosen, rate in picked if _later(chosen, way)]
        there = (np.concatenate([pool, *waiting]) ** tilt).sum(0)
        in_them = left * tilt * np.log(mean / k) + gammaln(k + left * tilt) - gammaln(k)
        fish = len(pool) + len(waiting) + len(rates)
        fair = np.log(fish - np.arange(len(rates))).sum() + len(rates) * in_them
        kept = ((1 - left) * tilt * np.log(rates)).sum(0)
        total = total + kept + fair - _log_sum_over_orders(rates**tilt, there, rng)
    return total


def _later(chosen: str, way: str) -> bool:
    """Whether fish chosen so were picked after those of a way: first the dead, then the moribund, then the net."""
    order = ("dead", "moribund", "netted")
    return chosen in order and order.index(chosen) > order.index(way)


def _log_sum_over_orders(weights: np.ndarray, there: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Log of the harmonic mean, over orders, of the product of what was still there at each pick, (M,)."""
    found = []
    for _ in range(_ORDERS if len(weights) > 1 else 1):
        mixed = np.take_along_axis(weights, np.argsort(rng.random(weights.shape), axis=0), axis=0)
        still = there + np.cumsum(mixed, axis=0)  # the last picked is the first of these
        found.append(-np.log(still).sum(0))
    return np.log(len(found)) - logsumexp(found, axis=0)


def _own_rates(
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None,
    left: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rates a fish may have, their chances given its counts, (nodes, M) each, and the chance that it carries none."""
    fish = chosen_fish(rows[0].chosen, mean, k, seen, left)
    rate, log_weight = gamma_quadrature(*fish, largest_count=fineness(rows, seen, weight_g))
    log_chance = log_weight + log_likelihood_of_fish(rows, rate, seen, home, weight_g, stages)
    chance = np.exp(log_chance - logsumexp(log_chance, axis=0))
    if any(row.count_low > 0 for row in rows):
        return rate, chance, np.zeros(mean.size)
    return rate, chance, (chance * np.exp(-rate * _unseen_share(rows, seen, home, weight_g, stages))).sum(0)


def _unseen_share(
    rows: Sequence[Preparation],
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None,
) -> np.ndarray:
    """Share of a fish's flukes that its preparations do not count, (M,); all of them where a count is censored."""
    if not all(row.exact for row in rows):
        return np.ones_like(seen.detection)
    parts = (np.prod(shown(row, seen, home, weight_g, stages), axis=0) for row in rows)
    return np.clip(1 - sum(parts) * seen.detection, 0, 1)


def _draw_rate(rate: np.ndarray, chance: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """One of a fish's rates by its chance, for each draw, (M,)."""
    node = (np.cumsum(chance, axis=0) < rng.random(chance.shape[1])).sum(0)
    return rate[np.minimum(node, len(rate) - 1), np.arange(chance.shape[1])]


def _one_fish(
    rows: Sequence[Preparation], rate: np.ndarray, unseen_share: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Flukes on a fish of a rate: those counted, and those no preparation holds."""
    unseen = rng.poisson(rate * unseen_share)
    counted = sum(row.count_low for row in rows)
    return counted + unseen if all(row.exact for row in rows) else np.maximum(counted, unseen)


def _unseen_fish(
    fish: int, mean: np.ndarray, k: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """Flukes on so many fish nobody looked at, how many of these carry any, (M,) each, and rates one by one."""
    if fish > _ONE_BY_ONE:
        return rng.poisson(rng.gamma(k * fish, mean / k)), fish * (1 - zero_share(mean, k)), None
    rates = rng.gamma(k, mean / k, (fish, mean.size))
    flukes = rng.poisson(rates)
    return flukes.sum(0), (flukes > 0).sum(0), rates

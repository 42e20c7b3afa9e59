"""Flukes present on a stock of few fish: those looked at are known in part, the others are predicted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from burden.case import Preparation
from burden.inference.observation import fineness, fish_alike, log_likelihood_of_fish
from burden.inference.observation_parameters import ObservationParameters, shown
from burden.inference.picked_fish import ORDER_OF_PICKS, log_chance_picked, rates_of_chosen, shares_picked, tilt_of
from burden.statistics import gamma_quadrature, pick_pressure, zero_share

__all__ = ["StockBurden", "present_on"]

#: more fish than this that nobody looked at are drawn together
_ONE_BY_ONE = 2000
#: orders in which the fish chosen by their burden may have been picked, drawn for each draw
_ORDERS = 8


@dataclass(frozen=True)
class StockBurden:
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

    def take(self, draws: np.ndarray) -> StockBurden:
        """Return the draws at some positions."""
        return StockBurden(self.total[draws], self.carrying[draws], self.none[draws], self.log_weight[draws])


def present_on(
    alive: int,
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    rng: np.random.Generator,
    stages: Mapping[str, np.ndarray] | None = None,
) -> StockBurden:
    """Draw what is on a stock of so many fish, some of which were looked at.

    Parameters
    ----------
    alive : int
        Living fish.
    rows : sequence of Preparation
        Of today. Those of fish dead or killed tell of the fish that are left, for these were not picked.
    mean, k, seen, home, weight_g, stages
        As in `burden.inference.observation.log_likelihood_of_samples`.
    rng : numpy.random.Generator

    Notes
    -----
    A fish looked at has a rate drawn given its own counts; on it are the flukes counted, and those unseen: Poisson at
    the rate times the share of its flukes that no preparation holds, exact for whole organs and in the limit of small
    parts. A fish with a censored count has a Poisson number, no less than was seen. The others are fish that were not
    picked: where the sick were taken out of few, those left are lighter. What the drawn stock lacks of the chance that
    just these fish were picked from it, one after the other in proportion to rate^tilt, is its weight.
    """
    mean = np.maximum(mean, 1e-12)
    alike = fish_alike(rows)
    picked = shares_picked(alike, alive + sum(times for fish, times in alike.items() if _is_gone(fish)))
    known = _looked_at(alike, mean, k, seen, home, weight_g, stages, picked, rng)
    total, carrying, rest = known.total, known.carrying, max(alive - known.fish, 0)
    if known.fish > alive:  # more fish looked at than are left
        total, carrying = total * alive / known.fish, carrying * alive / known.fish
    if picked and rest <= _ONE_BY_ONE:
        others = _others_one_by_one(rest, known, mean, k, seen, picked, rng)
    else:
        others = _others_together(rest, known, mean, k, rng)
    return StockBurden(total + others.total, carrying + others.carrying, others.none, others.log_weight)


@dataclass(frozen=True)
class _Looked:
    """The living fish looked at, M draws.

    Parameters
    ----------
    fish : int
    total, carrying : numpy.ndarray
        Flukes on them, and how many of them carry any, shape (M,).
    log_none, log_none_drawn : numpy.ndarray
        Log chance that none of them carries a fluke: over all rates they may have, and with those drawn, shape (M,).
    rates : sequence of (str, numpy.ndarray)
        How each of those looked at was chosen, dead ones too, and its rate, shape (M,).
    """

    fish: int
    total: np.ndarray
    carrying: np.ndarray
    log_none: np.ndarray
    log_none_drawn: np.ndarray
    rates: Sequence[tuple[str, np.ndarray]]


def _looked_at(
    alike: Mapping[tuple[Preparation, ...], int],
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None,
    picked: Mapping[str, float],
    rng: np.random.Generator,
) -> _Looked:
    """Draw the flukes on the fish that were looked at, and are alive."""
    total, carrying, log_none = np.zeros(mean.size), np.zeros(mean.size), np.zeros(mean.size)
    looked, rates, log_none_drawn = 0, [], np.zeros(mean.size)
    for fish, times in alike.items():
        own = _own_rates(fish, mean, k, seen, home, weight_g, stages, picked)
        rates += [(fish[0].chosen, _draw_rate(*own[:2], rng)) for _ in range(times)]
        if _is_gone(fish):
            continue
        log_none = log_none + times * np.log(np.maximum(own[2], 1e-300))
        looked += times
        unseen, showed = _unseen_share(fish, seen, home, weight_g, stages), any(row.count_low > 0 for row in fish)
        for _, rate in rates[-times:]:
            flukes = _one_fish(fish, rate, unseen, rng)
            total, carrying = total + flukes, carrying + (flukes > 0)
            log_none_drawn = log_none_drawn - (np.inf if showed else rate * unseen)
    return _Looked(looked, total, carrying, log_none, log_none_drawn, rates)


def _others_one_by_one(
    rest: int,
    known: _Looked,
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    picked: Mapping[str, float],
    rng: np.random.Generator,
) -> StockBurden:
    """Draw each fish that the picks left, and weigh the stock; `none` is of those looked at, too."""
    left, log_clean = _fish_left(rest, k, seen, picked, mean, rng)
    flukes = rng.poisson(left * mean / k)
    log_none, log_weight = known.log_none, np.zeros(mean.size)
    if max(picked.values()) < 1:
        log_weight = _log_chance_of_picks(known.rates, left, mean, k, seen, picked, rng)
        # the weight goes with the rates drawn, and so must the chance that none of them left a fluke
        log_none, log_clean = known.log_none_drawn, -(left * mean / k).sum(0)
    return StockBurden(flukes.sum(0), (flukes > 0).sum(0), np.exp(log_none + log_clean), log_weight)


def _others_together(
    rest: int, known: _Looked, mean: np.ndarray, k: np.ndarray, rng: np.random.Generator
) -> StockBurden:
    """Draw the fish nobody looked at where no picks left them lighter; `none` is of those looked at, too."""
    others, infected = _unseen_fish(rest, mean, k, rng)
    log_clean = np.log(np.maximum(zero_share(mean * rest, k * rest), 1e-300)) if rest else np.zeros(mean.size)
    return StockBurden(others, infected, np.exp(known.log_none + log_clean), np.zeros(mean.size))


def _is_gone(rows: Sequence[Preparation]) -> bool:
    """Whether the fish is no longer alive."""
    return any(row.chosen == "dead" or row.lethal for row in rows)


def _fish_left(
    fish: int,
    k: np.ndarray,
    seen: ObservationParameters,
    picked: Mapping[str, float],
    mean: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Rates over mean/k of fish that none of the picks took, (fish, M), and the log chance that all are clean, (M,).

    Drawn from the gamma of all fish until one is drawn that escapes.
    """
    pressures = [(pick_pressure(k, tilt_of(way, seen), share), tilt_of(way, seen))
                 for way, share in picked.items() if share < 1]  # fmt: skip

    def log_escape(y: np.ndarray, at: np.ndarray | slice = slice(None)) -> np.ndarray:
        return -sum(
            (pressure[at] * y ** selection_bias[at] for pressure, selection_bias in pressures), np.zeros_like(y)
        )

    y = rng.gamma(k, 1.0, (fish, k.size))
    caught = rng.random(y.shape) >= np.exp(log_escape(y))
    while caught.any():
        column = np.nonzero(caught)[1]
        again = rng.gamma(k[column], 1.0)
        y[caught] = again
        still = rng.random(again.size) >= np.exp(log_escape(again, column))
        caught[caught] = still
    at, log_weight = gamma_quadrature(k, np.ones_like(k), largest_count=20.0)
    log_weight = log_weight + log_escape(at)
    clean = logsumexp(log_weight - at * mean / k, axis=0) - logsumexp(log_weight, axis=0)
    return y, fish * clean


def _log_chance_of_picks(
    looked: Sequence[tuple[str, np.ndarray]],
    left: np.ndarray,
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    picked: Mapping[str, float],
    rng: np.random.Generator,
) -> np.ndarray:
    """Log chance that the fish looked at were picked from this stock, over what its drawn rates have in them, (M,).

    Parameters
    ----------
    looked
        How each fish looked at was chosen, and its rates, (M,) each [flukes].
    left : numpy.ndarray
        Rates over mean/k of the fish nobody looked at, shape (fish, M) [-].
    picked
        Share taken by each way, as by `burden.inference.picked_fish.shares_picked`.

    Notes
    -----
    Fish are picked one after the other, each with chance y^t over the sum of y^t of those still there; the order is
    unknown and averaged over.
    """
    log_weight = np.zeros(mean.size)
    by_way = {way: np.array([rate * k / mean for chosen, rate in looked if chosen == way])
              for way in (*ORDER_OF_PICKS, "random")}  # fmt: skip
    grid, log_share = gamma_quadrature(k, np.ones_like(k), largest_count=20.0)
    escaping, stayed = log_share, np.zeros(left.shape)
    for i, way in enumerate(ORDER_OF_PICKS):
        if way not in picked:
            continue
        y, selection_bias = np.maximum(by_way[way], 1e-290), tilt_of(way, seen)
        later = [by_way[name] for name in (*ORDER_OF_PICKS[i + 1 :], "random") if by_way[name].size]
        there = np.maximum(np.concatenate([left, *later]), 1e-290)
        number = len(there) + len(y) - np.arange(len(y))
        log_weight = log_weight + np.log(number).sum() + (selection_bias * np.log(y)).sum(0)
        log_weight = log_weight + _log_mean_over_orders(y**selection_bias, (there**selection_bias).sum(0), rng)
        in_grid = logsumexp(log_share + log_chance_picked(way, grid, k, seen, picked[way]), axis=0)
        log_weight = log_weight - (log_chance_picked(way, y, k, seen, picked[way]) - in_grid).sum(0)
        pressure = pick_pressure(k, selection_bias, picked[way])
        escaping, stayed = escaping - pressure * grid**selection_bias, stayed - pressure * left**selection_bias
    return log_weight - (stayed - logsumexp(escaping, axis=0)).sum(0)


def _log_mean_over_orders(weights: np.ndarray, there: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Log of the mean, over orders of picking, of the product of 1/(what was still there at each pick), (M,)."""
    found = []
    for _ in range(_ORDERS if len(weights) > 1 else 1):
        mixed = np.take_along_axis(weights, np.argsort(rng.random(weights.shape), axis=0), axis=0)
        still = there + np.cumsum(mixed, axis=0)  # the last picked is the first of these
        found.append(-np.log(still).sum(0))
    return logsumexp(found, axis=0) - np.log(len(found))


def _own_rates(
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None,
    picked: Mapping[str, float],
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rates a fish may have, their chances given its counts, (nodes, M) each, and the chance that it carries none."""
    rate, log_weight = rates_of_chosen(rows[0].chosen, mean, k, seen, fineness(rows, seen, weight_g), picked)
    log_chance = log_weight + log_likelihood_of_fish(rows, rate, seen, home, weight_g, stages)
    chance = np.exp(log_chance - logsumexp(log_chance, axis=0))
    if any(row.count_low > 0 for row in rows):
        return rate, chance, np.zeros(mean.size)
    return rate, chance, (chance * np.exp(-rate * _unseen_share(rows, seen, home, weight_g, stages))).sum(0)


def _unseen_share(
    rows: Sequence[Preparation],
    seen: ObservationParameters,
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


def _unseen_fish(fish: int, mean: np.ndarray, k: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Flukes on so many fish nobody looked at, and how many of these carry any, (M,) each."""
    if fish > _ONE_BY_ONE:
        return rng.poisson(rng.gamma(k * fish, mean / k)), fish * (1 - zero_share(mean, k))
    flukes = rng.poisson(rng.gamma(k, mean / k, (fish, mean.size)))
    return flukes.sum(0), (flukes > 0).sum(0)

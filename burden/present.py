"""Flukes present on a stock of few fish: those looked at are known in part, the others are predicted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from burden.case import Preparation
from burden.counts import gamma_quadrature, zero_share
from burden.looking import Seen, chosen_fish, fineness, fish_alike, log_likelihood_of_fish, shown

__all__ = ["Present", "present_on"]

#: more fish than this that nobody looked at are drawn together
_ONE_BY_ONE = 2000


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
    """

    total: np.ndarray
    carrying: np.ndarray
    none: np.ndarray


def present_on(
    alive: int,
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
    rng: np.random.Generator,
) -> Present:
    """Draw what is on a stock of so many fish, some of which were looked at.

    Parameters
    ----------
    alive : int
        Living fish.
    rows : sequence of Preparation
        Of living fish and of today, all stages counted together.
    mean, k, seen, home, weight_g
        As in `burden.looking.log_likelihood_of_samples`.
    rng : numpy.random.Generator

    Notes
    -----
    A fish looked at has a rate drawn given its own counts; on it are the flukes counted, and those unseen: Poisson at
    the rate times the share of its flukes that no preparation holds, exact for whole organs and in the limit of small
    parts. A fish with a censored count has a Poisson number, no less than was seen. The others are drawn from the
    gamma of all fish, also where the fish looked at were chosen as sick: on few fish that counts some heavy ones twice.
    """
    n = mean.size
    total, carrying, log_none = np.zeros(n), np.zeros(n), np.zeros(n)
    mean, looked = np.maximum(mean, 1e-12), 0
    for preparations, times in fish_alike(rows).items():
        rate, chance, clean = _own_rates(preparations, mean, k, seen, home, weight_g)
        log_none = log_none + times * np.log(np.maximum(clean, 1e-300))
        looked += times
        for _ in range(times):
            flukes = _one_fish(preparations, rate, chance, seen, home, weight_g, rng)
            total, carrying = total + flukes, carrying + (flukes > 0)
    if looked > alive:  # more fish looked at than are left
        total, carrying = total * alive / looked, carrying * alive / looked
    others, infected = _unseen_fish(max(alive - looked, 0), mean, k, rng)
    rest = max(alive - looked, 0)
    if rest:
        log_none = log_none + np.log(np.maximum(zero_share(mean * rest, k * rest), 1e-300))
    return Present(total + others, carrying + infected, np.exp(log_none))


def _own_rates(
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rates a fish may have, their chances given its counts, (nodes, M) each, and the chance that it carries none."""
    fish = chosen_fish(rows[0].chosen, mean, k, seen)
    rate, log_weight = gamma_quadrature(*fish, largest_count=fineness(rows, seen, weight_g))
    log_chance = log_weight + log_likelihood_of_fish(rows, rate, seen, home, weight_g)
    chance = np.exp(log_chance - logsumexp(log_chance, axis=0))
    if any(row.count_low > 0 for row in rows):
        return rate, chance, np.zeros(mean.size)
    return rate, chance, (chance * np.exp(-rate * _unseen_share(rows, seen, home, weight_g))).sum(0)


def _unseen_share(rows: Sequence[Preparation], seen: Seen, home: str, weight_g: np.ndarray) -> np.ndarray:
    """Share of a fish's flukes that its preparations do not count, (M,); all of them where a count is censored."""
    if not all(row.exact for row in rows):
        return np.ones_like(seen.detection)
    parts = (np.prod(shown(row, seen, home, weight_g), axis=0) for row in rows)
    return np.clip(1 - sum(parts) * seen.detection, 0, 1)


def _one_fish(
    rows: Sequence[Preparation],
    rate: np.ndarray,
    chance: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    node = (np.cumsum(chance, axis=0) < rng.random(chance.shape[1])).sum(0)
    own = rate[np.minimum(node, len(rate) - 1), np.arange(chance.shape[1])]
    unseen = rng.poisson(own * _unseen_share(rows, seen, home, weight_g))
    counted = sum(row.count_low for row in rows)
    return counted + unseen if all(row.exact for row in rows) else np.maximum(counted, unseen)


def _unseen_fish(fish: int, mean: np.ndarray, k: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Flukes on so many fish nobody looked at, and how many of these carry any, (M,) each."""
    if fish > _ONE_BY_ONE:
        return rng.poisson(rng.gamma(k * fish, mean / k)), fish * (1 - zero_share(mean, k))
    flukes = rng.poisson(rng.gamma(k, mean / k, (fish, mean.size)))
    return flukes.sum(0), (flukes > 0).sum(0)

"""Visits from before the run of a pond begins: each counts by a burden of its own.

A pond is run over its last 120 days. What was seen earlier says nothing of the flukes that are there now, but it was
seen by the same eyes, with the same scalpel, on the same stock: how flukes are spread over fish, and what a preparation
shows of them, are learned from every visit. The burden of an earlier visit is drawn from what is believed of any.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtri

from burden.case import Preparation
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters, shown
from burden.inference.picked_fish import tilt_of
from burden.utils.random_streams import uniform_draws

__all__ = ["NODES", "ROUGH_NODES", "BurdenLaw", "EarlierLook", "burden_at", "log_likelihood_of_earlier"]

#: nodes over one burden; fewer where only a first guess is needed; and rounds of Newton's method to where they are laid
NODES, ROUGH_NODES, _STEPS = 3, 1, 6
#: of the flukes on fish that nobody follows, half are taken as grown: read where a count is of one stage alone
_SHARES = {"adult": np.array(0.5), "juvenile": np.array(0.5)}


@dataclass(frozen=True)
class BurdenLaw:
    """What is believed of the burden of a pond on any day, M draws: log-normal.

    Parameters
    ----------
    middle : numpy.ndarray
        Log of its median, shape (M,).
    spread : float
        Standard deviation of its log [-].
    """

    middle: np.ndarray
    spread: float


@dataclass(frozen=True)
class EarlierLook:
    """One look at fish before the run begins.

    Parameters
    ----------
    rows : sequence of Preparation
        Of one day.
    fish : float
        Fish of which those looked at were chosen.
    """

    rows: Sequence[Preparation]
    fish: float


@dataclass(frozen=True)
class _Setting:
    """How the draws spread flukes over fish and show them: aggregation and mean weight [g], shape (M,) each."""

    k: np.ndarray
    seen: ObservationParameters
    home: str
    weight_g: np.ndarray


def log_likelihood_of_earlier(
    looks: Sequence[EarlierLook],
    law: BurdenLaw,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    nodes: int = NODES,
) -> np.ndarray:
    """Log-likelihood of all earlier looks, each summed over its burden, shape (M,).

    Parameters
    ----------
    looks : sequence of EarlierLook
    law : BurdenLaw
    k, seen, home, weight_g
        As `burden.inference.observation.log_likelihood_of_samples` takes them.
    nodes : int
        Over one burden.

    Notes
    -----
    Gauss-Hermite quadrature over the log of the burden, its nodes laid around where counts and law together peak (Liu
    and Pierce 1994, Biometrika 81:624).
    """
    setting = _Setting(k, seen, home, weight_g)
    total = np.zeros(k.size)
    for look in looks:
        _, log_weight = _weighed(look, law, setting, nodes)
        total = total + logsumexp(log_weight, axis=0)
    return total


def burden_at(
    look: EarlierLook,
    law: BurdenLaw,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    seed: int,
) -> np.ndarray:
    """Draw the burden of an earlier look from what its own counts leave, shape (M,) [flukes/fish]."""
    log_burden, log_weight = _weighed(look, law, _Setting(k, seen, home, weight_g), NODES)
    weight = np.exp(log_weight - logsumexp(log_weight, axis=0))
    mean = (weight * log_burden).sum(0)
    sd = np.sqrt((weight * (log_burden - mean) ** 2).sum(0))
    uniform = uniform_draws(f"burden on {look.rows[0].date.isoformat()}", k.size, seed)
    return np.exp(mean + sd * ndtri(uniform))


def _weighed(look: EarlierLook, law: BurdenLaw, setting: _Setting, nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of the log burden, and the log of chance of the counts times law at each, shape (Q, M) both."""
    k, m = setting.k, setting.k.size
    peak, width = _peak(look, law, setting)
    node, weight = np.polynomial.hermite_e.hermegauss(nodes)
    at = peak + width * node[:, None]
    measure = np.log(weight)[:, None] + 0.5 * node[:, None] ** 2 + np.log(width)
    prior = -0.5 * ((at - law.middle) / law.spread) ** 2 - np.log(law.spread) - 0.5 * np.log(2 * np.pi)
    every = np.tile(np.arange(m), nodes)
    likely = log_likelihood_of_samples(
        look.rows,
        np.exp(at).ravel(),
        k[every],
        setting.seen.take(every),
        setting.home,
        setting.weight_g[every],
        dict.fromkeys(_SHARES, np.full(every.size, 0.5)),
        look.fish,
    )
    return at, likely.reshape(nodes, m) + prior + measure


def _peak(look: EarlierLook, law: BurdenLaw, setting: _Setting) -> tuple[np.ndarray, np.ndarray]:
    """Where counts and law of the log burden about peak, and how wide, shape (M,) each.

    As if the counts were Poisson, of no more weight than the spread over fish and preparations leaves them.
    """
    exposed, seen_flukes = np.zeros(setting.k.size), 0.0
    for row in look.rows:
        here, share = shown(row, setting.seen, setting.home, setting.weight_g, _SHARES)
        heavier = 1 + tilt_of(row.chosen, setting.seen) / setting.k
        exposed = exposed + here * share * setting.seen.detection * heavier
        seen_flukes += row.count_low if row.count_high is None else 0.5 * (row.count_low + row.count_high)
    fish = len({row.fish for row in look.rows})
    clumped = 1 / (fish * setting.k) + 1 / (len(look.rows) * setting.seen.part_shape)
    worth = 1 / (1 + max(seen_flukes, 1.0) * clumped)
    counts, exposed = worth * seen_flukes, worth * np.maximum(exposed, 1e-12)
    x = np.where(seen_flukes > 0, np.log(np.maximum(counts, 1e-12) / exposed), np.minimum(law.middle, -np.log(exposed)))
    for _ in range(_STEPS):
        expected = exposed * np.exp(x)
        step = (counts - expected - (x - law.middle) / law.spread**2) / (expected + 1 / law.spread**2)
        x = x + np.clip(step, -2.0, 2.0)
    return x, 1 / np.sqrt(exposed * np.exp(x) + 1 / law.spread**2)

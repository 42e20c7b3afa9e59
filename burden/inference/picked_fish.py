"""Fish chosen by their burden: how strongly, and the chance of being among those taken out of few."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.special import logsumexp

from burden.case import Preparation
from burden.inference.observation_parameters import ObservationParameters
from burden.statistics import gamma_quadrature, pick_pressure, tilted_gamma

__all__ = ["ORDER_OF_PICKS", "log_chance_picked", "rates_of_chosen", "shares_picked", "tilt_of"]

#: how strongly fish were picked by their burden, weight ∝ burden^t: t uniform between these. Assumptions
_TILTS = {"random": (0.0, 0.0), "netted": (0.0, 0.3), "moribund": (0.0, 1.0), "dead": (0.0, 1.0)}
#: those chosen by their burden, in the order in which they are taken out of a stock
ORDER_OF_PICKS = ("dead", "moribund", "netted")
#: share of a stock that can be taken without those left being any lighter [-]
_FEW_OF_MANY = 0.005


def tilt_of(chosen: str, seen: ObservationParameters) -> np.ndarray:
    """How strongly fish chosen so were picked by their burden, weight ∝ burden^tilt, shape (M,) [-]."""
    low, high = _TILTS[chosen]
    return low + (high - low) * seen.selection_bias


def shares_picked(alike: Mapping[tuple[Preparation, ...], int], pool: float) -> dict[str, float]:
    """Share of the fish then there that were taken, by each way of choosing the heavy ones out of few fish [-].

    First the dead, then the moribund, then the net; a way that takes less than a two-hundredth is left out.
    """
    found, there = {}, float(pool)
    for way in ORDER_OF_PICKS:
        taken = sum(times for rows, times in alike.items() if rows[0].chosen == way)
        share = min(taken / max(there, 1.0), 1.0)
        if share > _FEW_OF_MANY:
            found[way] = share
        there -= taken
    return found


def rates_of_chosen(
    chosen: str, mean: np.ndarray, k: np.ndarray, seen: ObservationParameters, fine: float, picked: Mapping[str, float]
) -> tuple[np.ndarray, np.ndarray]:
    """Rates of fish chosen so and their log weights, as by `burden.statistics.gamma_quadrature`; `picked` out of
    few."""
    if chosen not in picked:
        return gamma_quadrature(*tilted_gamma(k, mean, tilt_of(chosen, seen)), largest_count=fine)
    rate, log_weight = gamma_quadrature(k, mean / k, largest_count=fine)
    log_weight = log_weight + log_chance_picked(chosen, rate * k / mean, k, seen, picked[chosen])
    return rate, log_weight - logsumexp(log_weight, axis=0)


def log_chance_picked(
    chosen: str, y: np.ndarray, k: np.ndarray, seen: ObservationParameters, share: float
) -> np.ndarray:
    """Log chance that a fish of rate y·mean/k is among the share taken out of few, shape of `y` (…, M)."""
    if share >= 1:
        return np.zeros_like(y)
    selection_bias = tilt_of(chosen, seen)
    return np.log(-np.expm1(-pick_pressure(k, selection_bias, share) * np.maximum(y, 1e-290) ** selection_bias))

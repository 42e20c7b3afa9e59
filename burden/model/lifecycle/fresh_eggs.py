"""Eggs that cold keeps from starting, and how cold wears them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from burden.evidence import ParasiteSet
from burden.model.lifecycle.durations import DurationTable

__all__ = ["FreshEggs", "fit_cold_storage", "started_rate"]


@dataclass(frozen=True)
class FreshEggs:
    """The first part of egg development, which cold blocks, M draws.

    Parameters
    ----------
    rate_at_20 : numpy.ndarray
        Rate of leaving it at 20 °C, shape (M,) [1/d].
    block_c : numpy.ndarray
        Temperature below which it stands still, shape (M,) [°C].
    started_q10 : numpy.ndarray
        How an egg that left it slows per 10 °C below the coldest measured temperature, shape (M,) [-].
    """

    rate_at_20: np.ndarray
    block_c: np.ndarray
    started_q10: np.ndarray

    def rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Rate at which a fresh egg starts to develop, shape (M,) [1/d]; 0 below the block."""
        return self.rate_at_20 * np.maximum(temperature_c - self.block_c, 0) / (20.0 - self.block_c)

    def take(self, draws: np.ndarray) -> FreshEggs:
        """Return the draws at some positions, repeats allowed."""
        return FreshEggs(self.rate_at_20[draws], self.block_c[draws], self.started_q10[draws])


def started_rate(hatch: DurationTable, fresh: FreshEggs, temperature_c: np.ndarray | float) -> np.ndarray:
    """Rate at which an egg that has started goes on to hatch, shape (M,) [1/d]; below the coldest point by its Q10."""
    coldest = hatch.measured_c[0]
    warm = np.maximum(temperature_c, coldest)
    whole = hatch.mean_days(warm)
    with np.errstate(divide="ignore"):
        rest = np.maximum(whole - 1 / fresh.rate(warm), 0.3 * whole)
    return fresh.started_q10 ** (-np.maximum(coldest - temperature_c, 0) / 10.0) / rest


def fit_cold_storage(evidence: ParasiteSet) -> tuple[float, int]:
    """Fit how long blocked eggs stay viable: mean [d] and number of stages of the chain that wears them down.

    Parameters
    ----------
    evidence : ParasiteSet
        With points named hatch_after_<days>_d_cold: shares hatched after so many days of storage.

    Returns
    -------
    mean_days : float
        [d]
    stages : int
        Between 1 and 12.

    Notes
    -----
    Least squares of the share that hatches, relative to eggs never stored, against the survival function of a
    gamma time to loss of viability. One stage, an exponential loss, cannot follow the shoulder of the trial.
    """
    points = [p for p in evidence.points if p.quantity.startswith("hatch_after_")]
    days = np.array([float(p.quantity.split("_")[2]) for p in points])
    share = np.array([p.value for p in points])
    share = share / share[days == 0]
    means = np.linspace(5.0, 60.0, 551)
    stages = np.arange(1, 13)
    survivors = gammaincc(stages[:, None, None], stages[:, None, None] * days / means[None, :, None])
    best = np.unravel_index(((survivors - share) ** 2).sum(-1).argmin(), (stages.size, means.size))
    return float(means[best[1]]), int(stages[best[0]])

"""One way of looking at fish, and what counts of one fish are worth by integration."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats
from scipy.integrate import quad

from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters

ONE = np.ones(1)
MEAN, K, SHARE, SHAPE, DETECTION, ON_GILLS = 60.0, 0.8, 0.02, 1.3, 0.9, 0.95


def looking(selection_bias: float = 0.5, n: int = 1) -> ObservationParameters:
    """One way of looking, the same in every draw."""
    factors = {m: np.ones(n) for m in ("gill_clip", "skin_scrape", "gill_arch", "whole_organ")}
    return ObservationParameters(
        factors, *(np.full(n, x) for x in (SHAPE, DETECTION, selection_bias, 0.05, ON_GILLS, 1 - ON_GILLS))
    )


def log_likelihood(rows, mean=MEAN, k=K, selection_bias=0.5) -> float:
    return float(log_likelihood_of_samples(rows, mean * ONE, k * ONE, looking(selection_bias), "gill", 400.0 * ONE)[0])


def by_integration(counts, shares, mean=MEAN, k=K, selection_bias=0.0) -> float:
    """Chance of the counts of one fish, by adaptive integration over its rate on a log scale."""

    def height(log_rate: float) -> float:
        rate = math.exp(log_rate)
        total = stats.gamma.pdf(rate, k + selection_bias, scale=mean / k) * rate
        for count, share in zip(counts, shares, strict=True):
            size, expected = (SHAPE + share) / (1 - share), rate * ON_GILLS * share * DETECTION
            low, high = count if isinstance(count, tuple) else (count, count)
            law = stats.nbinom(size, size / (size + expected))
            total *= (1.0 if high is None else law.cdf(high)) - (law.cdf(low - 1) if low else 0.0)
        return total

    return quad(height, -25, 12, limit=600, epsabs=1e-14, points=[0, 3, 6])[0]

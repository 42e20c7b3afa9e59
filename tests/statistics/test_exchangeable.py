"""Members of a group against laws whose answer is known in closed form, and groups whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import logsumexp, ndtri

from burden.statistics.exchangeable import ALIKE, pool_scores
from burden.utils.results import weighted_quantile

#: standard normal draws, spread evenly
EVEN = ndtri((np.arange(300) + 0.5) / 300)


def own_posterior(seen, noise):
    """Draws of a standard normal score after it was seen once with normal noise."""
    seen, noise = np.asarray(seen), np.asarray(noise)
    gain = 1 / (1 + noise**2)
    return (seen * gain)[:, None] + (np.sqrt(gain) * noise)[:, None] * EVEN


def exact(seen, noise):
    """Mean and standard deviation of each score given all that was seen, by scipy's multivariate normal."""
    size, noise = len(seen), np.asarray(noise)
    means, spreads, chances = [], [], []
    for rho in ALIKE:
        before = (1 - rho) * np.eye(size) + rho
        both = before + np.diag(noise**2)
        gain = before @ np.linalg.inv(both)
        chances.append(stats.multivariate_normal.logpdf(seen, np.zeros(size), both))
        means.append(gain @ seen)
        spreads.append(np.diag(before - gain @ before))
    chance = np.exp(np.array(chances) - logsumexp(chances))[:, None]
    mean = (chance * means).sum(0)
    return mean, np.sqrt((chance * (np.array(spreads) + np.array(means) ** 2)).sum(0) - mean**2)


def test_the_answer_is_that_of_the_multivariate_normal():
    seen = np.array([1.4, 0.9, 1.7, 0.2, 1.1, 1.3])
    noise = np.array([0.4, 0.6, 0.5, 1.5, 3.0, 0.4])
    draws = own_posterior(seen, noise)
    found = pool_scores(draws[:, None, :], seed=1)
    mean = (found.weight * draws).sum(1)
    spread = np.sqrt((found.weight * draws**2).sum(1) - mean**2)
    right_mean, right_spread = exact(seen, noise)
    np.testing.assert_allclose(mean, right_mean, atol=0.06)  # of the sampler's own luck
    np.testing.assert_allclose(spread, right_spread, rtol=0.06)
    # the one that saw nearly nothing alone is moved from 0 towards the others
    assert abs(draws[4].mean()) < 0.12
    assert mean[4] > 0.6


def test_members_who_know_nothing_learn_and_teach_nothing():
    shuffled = np.array([np.random.default_rng(i).permutation(EVEN) for i in range(6)])
    found = pool_scores(shuffled[:, None, :], seed=2)
    mean = (found.weight * shuffled).sum(1)
    np.testing.assert_allclose(mean, 0, atol=0.12)
    np.testing.assert_allclose(np.sqrt((found.weight * shuffled**2).sum(1)), 1, rtol=0.1)


def test_a_score_that_only_some_have_moves_those_alone():
    draws = np.stack([own_posterior([1.0, 1.2, 0.0], [0.3, 0.3, 1e3]) for _ in range(2)], axis=1)
    draws[2, 1] = np.nan
    draws[2, 0] = np.random.default_rng(3).permutation(EVEN)
    draws[:2, 0] = np.random.default_rng(4).permutation(EVEN)
    found = pool_scores(draws, seed=3)
    assert found.worth[2] > 0.9
    assert np.isfinite(found.weight).all()


@pytest.mark.parametrize("rho", [0.15, 0.8])
def test_ranges_are_narrower_and_hold_the_truth_as_often(rho):
    """Twenty groups of ten whose truth is known: 90 % intervals alone and with the group."""
    rng, held, widths = np.random.default_rng(17), [], []
    for group in range(20):
        truth = np.sqrt(rho) * rng.standard_normal() + np.sqrt(1 - rho) * rng.standard_normal(10)
        noise = rng.choice([0.3, 1.5], 10)
        draws = own_posterior(truth + noise * rng.standard_normal(10), noise)
        found = pool_scores(draws[:, None, :], seed=group, sweeps=100)
        low, high = np.array(
            [weighted_quantile(x, [0.05, 0.95], w) for x, w in zip(draws, found.weight, strict=True)]
        ).T
        held.append((low < truth) & (truth < high))
        widths.append((high - low) / (np.quantile(draws, 0.95, axis=1) - np.quantile(draws, 0.05, axis=1)))
    assert stats.binomtest(int(np.sum(held)), 200, 0.9).pvalue > 0.01
    assert np.mean(widths) < (0.99 if rho < 0.5 else 0.85)

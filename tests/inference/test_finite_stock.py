"""Few fish: those looked at are known, the others predicted, and the sick are not counted twice."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cases import clips, organs
from looks import DETECTION, MEAN, ON_GILLS, ONE, SHAPE, K, log_likelihood, looking
from scipy import stats

from burden.inference.finite_stock import present_on
from burden.inference.observation import log_likelihood_of_samples


def test_fish_looked_at_are_known_and_the_others_predicted():
    """Eleven fish, three looked at, mean and k given: the total against enumeration."""
    n, counts, mean = 40_000, (0, 25, 4), 12.0
    top = np.arange(400)
    all_fish = stats.nbinom.pmf(top, K, K / (K + mean))
    law = np.ones(1)
    for count in counts:
        own = all_fish * stats.binom.pmf(count, top, DETECTION * ON_GILLS)
        law = np.convolve(law, own / own.sum())
    for _ in range(11 - len(counts)):
        law = np.convolve(law, all_fish)
    drawn = present_on(11, organs(counts), np.full(n, mean), np.full(n, K), looking(n=n), "gill",
                       np.full(n, 400.0), np.random.default_rng(3))  # fmt: skip
    expected = np.cumsum(law / law.sum())
    for point in (20, 60, 100, 150, 250):
        assert float((drawn.total <= point).mean()) == pytest.approx(expected[point], abs=4 * 0.5 / math.sqrt(n))
    assert drawn.total.min() >= sum(counts)
    assert np.all(drawn.none < 1e-200)


def test_clips_of_few_fish_against_a_lottery():
    """Small parts: simulated stocks of five fish whose two clips showed 0 and 2, mean and k given."""
    rng, n, share, mean = np.random.default_rng(8), 1_500_000, 0.05, 20.0
    flukes = rng.poisson(rng.gamma(K, mean / K, (n, 5)))
    part = rng.beta(SHAPE, SHAPE * (1 - share) / share, (n, 2))
    counts = rng.binomial(flukes[:, :2], part * DETECTION * ON_GILLS)
    kept = flukes[(counts == [0, 2]).all(1)].sum(1)
    m = 30_000
    drawn = present_on(5, clips([0, 2], share), np.full(m, mean), np.full(m, K), looking(n=m), "gill",
                       np.full(m, 400.0), np.random.default_rng(3)).total  # fmt: skip
    # 0.03: how far the shape of a part-count at this share is from the beta-binomial, see the counts
    assert stats.ks_2samp(drawn, kept).statistic < 0.03 + 1.63 * math.sqrt(1 / m + 1 / kept.size)


def picked_stocks(n, fish, counts, selection_bias, mean=5.0):
    """Flukes on the fish looked at, and on those left, of simulated stocks whose picked fish showed these counts."""
    rng = np.random.default_rng(5)
    rates = rng.gamma(K, mean / K, (n, fish))
    # picked one after the other in proportion to rate^tilt: the largest of tilt·ln rate plus a Gumbel number come first
    order = np.argsort(-(selection_bias * np.log(rates) + rng.gumbel(size=rates.shape)), axis=1)
    flukes = rng.poisson(np.take_along_axis(rates, order, 1))
    seen = rng.binomial(flukes[:, : len(counts)], DETECTION * ON_GILLS)
    kept = flukes[(np.sort(seen, axis=1) == sorted(counts)).all(1)]
    return kept[:, : len(counts)].sum(1), kept[:, len(counts) :].sum(1)


@pytest.mark.parametrize(("fish", "selection_bias"), [(11, 1.0), (11, 0.5), (4, 1.0), (3, 1.0)])
def test_the_sick_of_few_fish_are_not_counted_twice(fish, selection_bias):
    """Eleven fish, the three sickest looked at: three known, eight predicted, and lighter, against a lottery."""
    looked, left = picked_stocks(200_000, fish, (2, 5, 9), selection_bias)
    assert left.mean() <= 0.9 * 5.0 * (fish - 3)  # all fish's mean for each of those left would be too many
    m = 20_000
    for gone, expected in ((False, looked + left), (True, left)):
        rows = [replace(row, lethal=gone or None) for row in organs((2, 5, 9), chosen="moribund")]
        stock = present_on(fish - 3 * gone, rows, np.full(m, 5.0), np.full(m, K), looking(selection_bias, m), "gill",
                           np.full(m, 400.0), np.random.default_rng(3))  # fmt: skip
        weight = np.exp(stock.log_weight - stock.log_weight.max())
        drawn = np.random.default_rng(4).choice(stock.total, m, p=weight / weight.sum())
        worth = weight.sum() ** 2 / (weight**2).sum()
        furthest = 1.63 * math.sqrt(1 / worth + 1 / m + 1 / expected.size)  # Kolmogorov-Smirnov, 1 %
        if fish - 3 * gone:
            assert stats.ks_2samp(drawn, expected).statistic < furthest


@pytest.mark.parametrize(("fish", "looked_at"), [(3, 1), (6, 2)])
def test_clean_sick_fish_of_few_speak_for_a_clean_stock(fish, looked_at):
    """That no fish carries any goes with the rates drawn, as their weight does: against a lottery."""
    m, mean = 60_000, 1.0
    looked, left = picked_stocks(400_000, fish, (0,) * looked_at, 1.0, mean)
    expected = float((looked + left == 0).mean())
    stock = present_on(fish, organs((0,) * looked_at, chosen="moribund"), np.full(m, mean), np.full(m, K),
                       looking(1.0, m), "gill", np.full(m, 400.0), np.random.default_rng(3))  # fmt: skip
    weight = np.exp(stock.log_weight)
    found = float(np.average(stock.none, weights=weight))
    # normed weights: the error of a ratio of two means, and that of the lottery
    error = math.hypot(float(np.std(weight * (stock.none - found)) / weight.mean()) / math.sqrt(m),
                       math.sqrt(expected / looked.size))  # fmt: skip
    assert error < 0.05 * expected
    assert found == pytest.approx(expected, abs=4 * error)


def test_where_every_fish_was_looked_at_the_sick_are_all_fish():
    rows = clips([3, 0, 7], chosen="moribund")
    told = log_likelihood_of_samples(rows, MEAN * ONE, K * ONE, looking(1.0), "gill", 400.0 * ONE, pool=3)
    assert float(told[0]) == pytest.approx(log_likelihood(clips([3, 0, 7])), abs=1e-5)

"""Whole fish and whole flukes about a course: against binomial and Poisson, and the same luck for two courses."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from burden.model.demographic_noise import whole_deaths, whole_flukes

M = 20_000


def test_deaths_are_binomial_and_never_fall():
    expected = np.outer([0.0, 2.0, 5.0, 30.0], np.ones(M))
    dead = whole_deaths(expected, 40, 1)
    assert (np.diff(dead, axis=0) >= 0).all()
    assert (dead == np.rint(dead)).all()
    for mean, number in zip(expected[1:, 0], dead[1:], strict=True):
        counts = np.bincount(number.astype(int), minlength=41) / M
        assert counts == pytest.approx(stats.binom.pmf(np.arange(41), 40, mean / 40), abs=0.012)


def test_a_large_stock_keeps_mean_and_spread():
    dead = whole_deaths(np.outer([50.0, 900.0], np.ones(M)), 3000, 2)
    for number, mean in zip(dead, (50.0, 900.0), strict=True):
        assert number.mean() == pytest.approx(mean, rel=0.01)
        assert number.std() == pytest.approx(np.sqrt(mean * (1 - mean / 3000)), rel=0.05)


def test_two_courses_share_their_luck():
    """What kills fewer on average kills no more in any draw, so deaths avoided are never below nought by luck."""
    rng = np.random.default_rng(3)
    more = np.cumsum(rng.random((5, 500)), axis=0)
    assert (whole_deaths(0.6 * more, 40, 7) <= whole_deaths(more, 40, 7)).all()
    assert (whole_flukes(0.6 * more, 7) <= whole_flukes(more, 7)).all()


@pytest.mark.parametrize("mean", [0.02, 0.7, 6.0])
def test_flukes_are_poisson(mean):
    number = whole_flukes(np.full((1, M), mean), 4)[0]
    counts = np.bincount(number.astype(int), minlength=30)[:30] / M
    assert counts == pytest.approx(stats.poisson.pmf(np.arange(30), mean), abs=0.012)


def test_many_flukes_are_normal_about_their_mean():
    number = whole_flukes(np.full((1, M), 40_000.0), 5)[0]
    assert number.mean() == pytest.approx(40_000, rel=1e-3)
    assert number.std() == pytest.approx(200, rel=0.05)

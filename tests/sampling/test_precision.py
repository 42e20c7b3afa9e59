"""A mean or a prevalence as precise as was asked: formulas, simulations and the interval itself."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from printed_tables import given_numbers, rows
from scipy import stats
from statsmodels.stats.proportion import samplesize_confint_proportion

from burden import sampling
from burden.utils.errors import InputError


@pytest.mark.parametrize(
    "row", rows("derived/fixed_precision.csv") + rows("published/krebs_fixed_precision.csv"), ids=lambda r: r["inputs"]
)
def test_fish_for_a_mean_by_elliott(row: dict[str, str]) -> None:
    if "Krebs" in row["source"]:  # relative error 25 % at t about 2: standard error 12.5 %
        m, k, error = 4.0, 3.0, 0.125
    else:
        at = given_numbers(row["inputs"].replace("D=SE/mean", "D"))
        m, k, error = at["m"], at["k"], at["D"]
    got = float(sampling.fish_for_mean(m, k, error))
    assert got == pytest.approx((1 / m + 1 / k) / error**2, rel=1e-12)
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_variance_of_part_counts_equals_a_simulation() -> None:
    rng = np.random.default_rng(8)
    m, k, q, r, d, a, n = 60.0, 0.8, 0.02, 3, 0.8, 1.0, 400_000
    rate = rng.gamma(k, m / k, n)
    share = rng.beta(a, a * (1 - q) / q, (r, n))
    seen = rng.poisson(rate * share * d).sum(0)
    got = float(sampling.fish_for_mean(m, k, 1.0, sampling.Look(q, r, d, a)))
    assert seen.var() / seen.mean() ** 2 == pytest.approx(got, rel=0.03)


def test_mean_plan_gives_the_precision_it_promises() -> None:
    m, k, precision = 20.0, 1.0, 0.3
    plan = sampling.mean(m, k, precision)
    rng = np.random.default_rng(2)
    means = rng.poisson(rng.gamma(k, m / k, (20_000, plan.fish))).mean(1)
    assert np.mean(np.abs(means / m - 1) <= precision) == pytest.approx(0.9, abs=0.015)


def test_mean_plan_weighs_preparations_against_handling() -> None:
    look = sampling.Look(0.01)
    cheap, dear = (sampling.mean(100.0, 0.8, 0.5, look, handling=h) for h in (0.0, 20.0))
    assert cheap.preparations < dear.preparations
    assert cheap.fish > dear.fish
    work = [row["work"] for row in dear.rows()]
    assert work[dear.preparations - 1] == min(work)
    fixed = sampling.mean(100.0, 0.8, 0.5, sampling.Look(0.01, preparations=4))
    assert fixed.preparations == 4


def test_mean_plan_serves_95_percent_of_the_draws() -> None:
    k = np.random.default_rng(1).lognormal(-0.4, 0.5, 400)
    plan = sampling.mean(50.0, k, 0.5)
    needed = sampling.fish_for_mean(50.0, k, 0.5 / stats.norm.ppf(0.95))
    assert np.mean(needed <= plan.fish) >= 0.95
    assert plan.fish > plan.fish_range.median


def test_mean_of_a_finite_group_equals_a_simulation_of_its_own_mean() -> None:
    m, k, population, precision = 20.0, 1.0, 50, 0.25
    plan = sampling.mean(m, k, precision, population=population)
    assert plan.fish < sampling.mean(m, k, precision).fish
    rng = np.random.default_rng(6)
    stock = rng.poisson(rng.gamma(k, m / k, (20_000, population)))
    error = stock[:, : plan.fish].mean(1) - stock.mean(1)
    assert error.std() / m == pytest.approx(precision / stats.norm.ppf(0.95), rel=0.06)
    # clips of every fish still vary: no number of fish serves
    none = sampling.mean(m, k, precision, sampling.Look(0.01), population=population)
    assert none.fish is None
    assert json.loads(none.to_json())["fish"] is None
    assert "Not even all 50 fish" in none.headline()
    assert "within 25 % of itself" in none.headline()


@pytest.mark.parametrize(("p", "half"), [(0.5, 0.05), (0.1, 0.05), (0.02, 0.03), (0.9, 0.2)])
def test_prevalence_plan_is_the_smallest_by_the_interval_itself(p: float, half: float) -> None:
    def width(n: int) -> float:
        z = stats.norm.ppf(0.95)
        return z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)

    n = sampling.prevalence_within(p, half).fish
    assert width(n) <= half < width(n - 1)


def test_prevalence_plan_meets_the_wald_formula_of_statsmodels_within_z_squared() -> None:
    wald = samplesize_confint_proportion(0.5, 0.05, alpha=0.05)
    # at one half Wilson's n is Wald's less z² exactly
    assert sampling.prevalence_within(0.5, 0.05, interval_level=0.95).fish == math.ceil(
        wald - stats.norm.ppf(0.975) ** 2
    )


def test_prevalence_plan_of_a_group_keeps_what_looking_at_all_does_not_mend() -> None:
    """60 of 200 infected, each recognised in 6 of 10: the half-width by the variance of hypergeometric and binomial."""
    infected, group, seen, z = 60, 200, 0.6, stats.norm.ppf(0.95)

    def half_width(n: int) -> float:
        caught = stats.hypergeom(group, infected, n)
        variance = seen**2 * caught.var() + seen * (1 - seen) * caught.mean()
        return float(z * math.sqrt(variance) / n / seen)

    n = sampling.prevalence_within(infected / group, 0.1, population=group, sensitivity=seen).fish
    assert half_width(n) <= 0.1 < half_width(n - 3)  # Wilson's n is some z² below that of the plain variance
    none = sampling.prevalence_within(0.5, 0.1, population=50, sensitivity=0.3)
    assert none.fish is None
    assert "Not even all 50 fish" in none.headline()


@pytest.mark.parametrize(("finds", "fish"), [(5, 3), (2, 1), (10, 10)])
def test_no_more_fish_are_positive_than_looked_at(finds: int, fish: int) -> None:
    assert sampling.chance_of_at_most(finds, 100, fish, 10, 0.9, 0.98) == pytest.approx(1.0, abs=1e-9)


def test_prevalence_plan_with_sensitivity_and_small_groups() -> None:
    assert sampling.prevalence_within(0.3, 0.1, sensitivity=0.5).fish > sampling.prevalence_within(0.3, 0.1).fish
    assert sampling.prevalence_within(0.3, 0.1, population=40).fish <= 40
    assert "within 10 percentage points" in sampling.prevalence_within(0.3, 0.1).headline()
    with pytest.raises(InputError, match="half_width"):
        sampling.prevalence_within(0.3, 10)

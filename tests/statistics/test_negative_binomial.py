"""Counts against direct summation, direct integration and scipy's own distributions."""

from __future__ import annotations

import csv
import math
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from burden import statistics as counts
from burden.case.gill_share import gill_share
from burden.model import susceptibility
from burden.statistics.host_distribution import _bent_time
from burden.utils.errors import InputError

HERE = Path(__file__).parents[1]


def rows(name: str) -> list[dict[str, str]]:
    """Read a table of `published` values, or of values `derived` by arithmetic and printed nowhere."""
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def exact_part_counts(rate: float, q: float, a: float, d: float = 1.0) -> np.ndarray:
    """Sum scipy's beta-binomial over N ~ Poisson(rate); at d < 1 average the Poisson over the beta."""
    x = np.arange(int(rate * d + 12 * math.sqrt(rate * d)) + 40)
    b = a * (1 - q) / q
    if d == 1:
        n = np.arange(len(x) + 100)
        return stats.poisson.pmf(n, rate) @ stats.betabinom.pmf(x[None, :], n[:, None], a, b)
    share, weight = special.roots_sh_jacobi(300, a + b - 1, a)
    return stats.poisson.pmf(x[:, None], rate * d * share) @ (weight / weight.sum())


@pytest.mark.parametrize("size", [0.05, 0.5, 1.0246, 8.0, 1e3])
@pytest.mark.parametrize("mean", [0.02, 3.25, 400.0])
def test_log_count_equals_scipy_nbinom(mean: float, size: float) -> None:
    x = np.array([0, 1, 2, 7, 40, 300])
    want = stats.nbinom.logpmf(x, size, size / (size + mean))
    # scipy forms p = k/(k+m) first and loses digits as k grows: at k = 1e8 it is off by 1e-7, ours is not
    np.testing.assert_allclose(counts.log_count(x, mean, size), want, rtol=1e-9, atol=1e-12)


def test_infinite_size_is_poisson_and_the_limit_of_large_sizes() -> None:
    x = np.arange(60)
    np.testing.assert_allclose(counts.log_count(x, 4.2, np.inf), stats.poisson.logpmf(x, 4.2), rtol=1e-12, atol=1e-13)
    np.testing.assert_allclose(counts.log_count(x, 4.2, 1e12), stats.poisson.logpmf(x, 4.2), rtol=1e-8, atol=1e-9)


def test_arguments_broadcast_over_draws_and_mean_zero_shows_nothing() -> None:
    out = counts.log_count(np.arange(5)[:, None], np.array([0.0, 1.0, 2.0]), 0.5)
    assert out.shape == (5, 3)
    assert np.exp(out[:, 0]).tolist() == [1.0, 0.0, 0.0, 0.0, 0.0]


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 100), st.floats(0.05, 50), st.integers(0, 60), st.one_of(st.integers(0, 60), st.none()))
def test_a_range_of_counts_is_the_sum_of_its_counts(mean: float, size: float, low: int, width: int | None) -> None:
    high = np.inf if width is None else low + width
    inside = counts.log_count(np.arange(low, (low + width if width is not None else 60_000) + 1), mean, size)
    want = special.logsumexp(inside)
    got = float(counts.log_count_range(low, high, mean, size))
    assert got == pytest.approx(want, rel=1e-7, abs=1e-8)


def test_a_range_holds_for_poisson_and_far_out_and_in_mixed_arrays() -> None:
    want = np.log(stats.poisson.cdf(20, 12.0) - stats.poisson.cdf(9, 12.0))
    assert float(counts.log_count_range(10, 20, 12.0, np.inf)) == pytest.approx(want, rel=1e-10)
    # both tails underflow: the nearest end stands for the range, never minus infinity
    far = float(counts.log_count_range(5000, np.inf, 0.01, 2.0))
    assert far == pytest.approx(float(counts.log_count(5000, 0.01, 2.0)), rel=1e-12)
    # at least one, of few: all but the clean
    some = counts.log_count_range(1, np.inf, 0.1, [0.8, np.inf])
    np.testing.assert_allclose(np.exp(some), 1 - counts.zero_share(0.1, [0.8, np.inf]), rtol=1e-12)
    mixed = counts.log_count_range([3, 3, 3], [3, 9, np.inf], 4.0, 0.8)
    single = [float(counts.log_count_range(3, high, 4.0, 0.8)) for high in (3, 9, np.inf)]
    np.testing.assert_allclose(mixed, single, rtol=1e-12)


def test_size_of_a_part_count_of_usual_clumping_is_that_of_shape_one() -> None:
    assert float(counts.part_count_size(0.2)) == pytest.approx(1.2 / 0.8)
    assert float(counts.part_count_size(0.2)) == float(counts.part_count_size(0.2, 1.0))


@pytest.mark.parametrize("q", [0.01, 0.1, 0.5, 0.9])
@pytest.mark.parametrize("d", [1.0, 0.7])
def test_part_count_matches_mean_and_variance_of_the_beta_mixture(q: float, d: float) -> None:
    rate, a = 40.0, 1.0
    exact = exact_part_counts(rate, q, a, d)
    x = np.arange(len(exact))
    mean = exact @ x
    variance = exact @ x**2 - mean**2
    ours = q * d * rate
    assert mean == pytest.approx(ours, rel=1e-8)
    assert variance == pytest.approx(ours + ours**2 / float(counts.part_count_size(q, a)), rel=1e-6)


@pytest.mark.parametrize(("q", "largest_gap"), [(0.005, 0.002), (0.01, 0.005), (0.05, 0.03), (0.1, 0.055), (0.3, 0.12)])
def test_part_count_is_close_to_the_beta_mixture_by_the_gap_its_notes_state(q: float, largest_gap: float) -> None:
    gaps = [
        np.abs(
            np.cumsum(exact := exact_part_counts(rate, q, a))
            - np.cumsum(np.exp(counts.log_part_count(x := np.arange(len(exact)), x, rate, q, 1.0, a)))
        ).max()
        for rate in (3.0, 30.0, 300.0)
        for a in (0.5, 1.0, 2.0)
    ]
    # and not far inside it: the approximation is not better than the Notes say
    assert 0.3 * largest_gap < max(gaps) < largest_gap


def test_a_whole_look_is_binomial_thinning_and_no_clumping() -> None:
    x = np.arange(40)
    got = np.exp(counts.log_part_count(x, x, 12.0, 1.0, 0.6, 1.0))
    np.testing.assert_allclose(got, stats.poisson.pmf(x, 7.2), rtol=1e-10)


def test_a_fixed_correlation_leaves_clips_empty_where_a_fixed_shape_does_not() -> None:
    # arithmetic on the beta: correlation 0.3 at q = 1 % means a = q·(1/0.3 − 1), an 86 % share of empty clips
    degenerate = 0.01 * (1 / 0.3 - 1)
    exact = float(special.hyp1f1(degenerate, degenerate / 0.01, -1000.0))
    assert exact == pytest.approx(0.86, abs=0.005)
    assert float(np.exp(counts.log_part_count(0, 0, 1000.0, 0.01, 1.0, 1.0))) < 0.1


@pytest.mark.parametrize("row", rows("derived/negative_binomial_thinning.csv"), ids=lambda r: r["inputs"])
def test_thinning_of_a_negative_binomial_keeps_k(row: dict[str, str]) -> None:
    m, k, q = (float(part.split("=")[1]) for part in row["inputs"].split(";"))
    want, tolerance = float(row["expected"]), float(row["tolerance"])
    # unclumped part: a gamma average of Poisson(qΛ), by the closed form and by the quadrature
    assert float(counts.zero_share(q * m, k)) == pytest.approx(want, abs=tolerance)
    rate, log_weight = counts.gamma_quadrature(k, m / k)
    averaged = counts.log_mean_over_fish(counts.log_part_count(0, 0, rate, 1.0, q), log_weight)
    assert float(np.exp(averaged)) == pytest.approx(want, abs=tolerance)
    n = np.arange(20_000)
    summed = np.exp(counts.log_count(n, m, k) + n * np.log1p(-q)).sum()
    assert summed == pytest.approx(want, abs=tolerance)


@pytest.mark.parametrize(("k", "selection_bias", "share"), [(0.6, 1.0, 0.3), (2.0, 0.4, 0.7), (1.0, 1.0, 0.02)])
def test_pick_pressure_takes_its_share_and_the_heavy_first(k: float, selection_bias: float, share: float) -> None:
    """Against stocks of 200 fish picked one after the other in proportion to rate^tilt."""
    rng, fish = np.random.default_rng(9), 200
    y = rng.gamma(k, 1.0, (3000, fish))
    order = np.argsort(-(selection_bias * np.log(y) + rng.gumbel(size=y.shape)), axis=1)
    taken = np.take_along_axis(y, order, 1)[:, : round(share * fish)]
    pressure = float(counts.pick_pressure(k, selection_bias, share))

    def chance(rate: float) -> float:
        return -math.expm1(-pressure * rate**selection_bias) * stats.gamma.pdf(rate, k)

    whole = integrate.quad(chance, 0, 60, limit=400, points=[0.01, 1.0])[0]
    assert whole == pytest.approx(share, rel=0.02)
    told = integrate.quad(lambda rate: rate * chance(rate), 0, 60, limit=400, points=[0.01, 1.0])[0] / whole
    assert taken.mean() == pytest.approx(told, rel=0.02)
    light = integrate.quad(chance, 0, 0.5, limit=400, points=[0.01])[0] / whole
    assert float((taken < 0.5).mean()) == pytest.approx(light, abs=0.01)


@pytest.mark.parametrize(
    ("k", "share"),
    [(0.05, 0.3), (0.9, 0.5), (5.0, 0.99), *product((20.0, 28.0, 65.0, 170.0, 876.0, 20_000.0), (0.02, 0.5, 0.99))],
)
def test_pick_pressure_in_proportion_to_burden_is_in_closed_form(k: float, share: float) -> None:
    """E exp(−τ y) = (1 + τ)^−k of a gamma, however alike the fish; held below the grid, where few carry any."""
    assert float(counts.pick_pressure(k, 1.0, share)) == pytest.approx((1 - share) ** (-1 / k) - 1, rel=0.01)
    assert counts.pick_pressure(0.01, 1.0, share) == counts.pick_pressure(0.05, 1.0, share)


@pytest.mark.parametrize("selection_bias", [0.3, 0.8])
def test_pick_pressure_of_fish_all_but_alike_takes_its_share(selection_bias: float) -> None:
    """Held at the pressure of k 20 the stock of k 876 was picked bare, and who escaped was looked for without end."""
    rates = np.random.default_rng(3).gamma(876.0, 1.0, 20_000)
    pressure = float(counts.pick_pressure(876.0, selection_bias, 1 / 3))
    assert float(np.exp(-pressure * rates**selection_bias).mean()) == pytest.approx(2 / 3, abs=0.003)


@pytest.mark.parametrize("selection_bias", [0.0, 0.4, 1.0])
def test_size_biased_fish_follow_the_tilted_gamma(selection_bias: float) -> None:
    k, mean = 0.6, 30.0
    shape, scale = counts.tilted_gamma(k, mean, selection_bias)
    base = stats.gamma(k, scale=mean / k)
    total = integrate.quad(lambda u: math.exp(u * (1 + selection_bias)) * base.pdf(math.exp(u)), -60, 9, limit=400)[0]
    at = np.array([0.5, 10.0, 90.0])
    np.testing.assert_allclose(at**selection_bias * base.pdf(at) / total, stats.gamma(shape, scale=scale).pdf(at), 1e-7)


@pytest.mark.parametrize("mean", [0.5, 30.0, 3000.0])
@pytest.mark.parametrize("k", [0.05, 0.2, 0.5, 2.0, 8.0])
@pytest.mark.parametrize(
    ("count", "q", "a"), [(0, 0.01, 1.0), (5, 0.01, 1.0), (80, 0.1, 0.5), (100, 1.0, 1.0), (0, 1.0, 1.0)]
)
def test_quadrature_equals_direct_integration(k: float, mean: float, count: int, q: float, a: float) -> None:
    rate, log_weight = counts.gamma_quadrature(k, mean / k)
    got = float(counts.log_mean_over_fish(counts.log_part_count(count, count, rate, q, 1.0, a), log_weight))
    closed = float(stats.nbinom.logpmf(count, k, k / (k + mean)))
    want = closed if q == 1 else direct_log_mean(count, q, a, k, mean)
    if want > math.log(1e-30):  # beyond that a draw has no weight in any case
        assert got == pytest.approx(want, abs=1e-6)


@pytest.mark.parametrize("shape", [12.0, 60.0])
def test_quadrature_of_even_stocks_keeps_its_step(shape: float) -> None:
    rate, log_weight = counts.gamma_quadrature(shape, 1.0, largest_count=20.0)
    got = counts.log_mean_over_fish(counts.log_count(20, rate, np.inf), log_weight)
    assert float(got) == pytest.approx(stats.nbinom.logpmf(20, shape, 0.5), abs=1e-6)
    assert float(np.exp(log_weight).sum()) == pytest.approx(1.0, rel=1e-9)


def test_nodes_begin_where_a_bent_scale_has_them():
    target = np.concatenate([-np.geomspace(1e-3, 1e5, 60), np.linspace(-3.0, 40.0, 60)])
    t = _bent_time(target)
    np.testing.assert_allclose(t - np.exp(-t), target, rtol=1e-12, atol=1e-12)


def direct_log_mean(count: int, q: float, a: float, k: float, mean: float) -> float:
    """Integrate scipy's own negative binomial over scipy's own gamma on a fine grid of ln Λ."""
    log_y = np.linspace(-70 / min(k, 1), math.log(800), 300_001)
    size = (a + q) / (1 - q)
    seen = q * mean / k * np.exp(log_y)
    log_f = k * log_y - np.exp(log_y) - special.gammaln(k) + stats.nbinom.logpmf(count, size, size / (size + seen))
    return float(special.logsumexp(log_f) + math.log(log_y[1] - log_y[0]))


def test_quadrature_serves_many_draws_at_once_and_sharp_counts_on_request() -> None:
    k, mean = np.array([0.2, 1.0, 8.0]), np.array([2000.0, 2500.0, 2900.0])
    rate, log_weight = counts.gamma_quadrature(k, mean / k, largest_count=3000)
    assert rate.shape == log_weight.shape
    assert rate.shape[1] == 3
    got = counts.log_mean_over_fish(counts.log_part_count(2500, 2500, rate, 1.0), log_weight)
    np.testing.assert_allclose(got, stats.nbinom.logpmf(2500, k, k / (k + mean)), atol=1e-6)
    # the default step is too coarse for such a count, as its docstring says
    coarse = counts.gamma_quadrature(k, mean / k)
    off = counts.log_mean_over_fish(counts.log_part_count(2500, 2500, coarse[0], 1.0), coarse[1])
    assert np.abs(off - stats.nbinom.logpmf(2500, k, k / (k + mean))).max() > 1e-3


@pytest.mark.parametrize("n", [1, 5, 8, 20])
@pytest.mark.parametrize("k", [0.1, 0.5, 1.0, 8.0])
def test_class_moments_and_prevalence_sum_to_the_negative_binomial(k: float, n: int) -> None:
    classes = susceptibility.susceptibility_classes(k, n)
    mean = 7.0
    class_mean = mean * classes.means
    assert classes.n == n
    assert classes.means.mean() == pytest.approx(1.0, rel=1e-10)
    variance = susceptibility.class_variance(class_mean, classes).mean() + class_mean.var()
    assert variance == pytest.approx(mean + mean**2 / k, rel=1e-8)
    prevalence = susceptibility.class_prevalence(class_mean, classes).mean()
    assert prevalence == pytest.approx(1 - (1 + mean / k) ** -k, abs=1e-10)


def test_class_means_equal_scipy_integration_over_each_band() -> None:
    gamma = stats.gamma(0.5, scale=2.0)
    classes = susceptibility.susceptibility_classes(0.5, 8)
    edges = gamma.ppf(np.arange(9) / 8)
    for c in range(8):
        want = integrate.quad(lambda w: w * gamma.pdf(w), edges[c], min(edges[c + 1], 200))[0] * 8
        assert classes.means[c] == pytest.approx(want, rel=1e-6)
        empty = integrate.quad(
            lambda r: math.exp(-4 * r * r) * gamma.pdf(r * r) * 2 * r,
            max(math.sqrt(edges[c]), 1e-9),
            min(math.sqrt(edges[c + 1]), 15),
        )[0]
        prevalence = susceptibility.class_prevalence(4.0 * classes.means, classes)[c]
        assert prevalence == pytest.approx(1 - 8 * empty, abs=1e-6)


def test_class_means_alone_get_the_variance_and_the_clean_fish_wrong() -> None:
    """The deliberately poor model: every fish of a class alike."""
    classes = susceptibility.susceptibility_classes(0.5, 8)
    class_mean = 10.0 * classes.means
    assert class_mean.mean() + class_mean.var() < 0.95 * 210.0
    assert -np.expm1(-class_mean).mean() > 1 - (1 + 20.0) ** -0.5 + 0.004


def test_classes_take_a_k_per_draw_and_unequal_losses_of_fish() -> None:
    k = np.array([0.3, 1.0, 4.0])
    classes = susceptibility.susceptibility_classes(k, 8)
    assert classes.means.shape == (8, 3)
    burden = classes.means * np.array([2.0, 20.0, 200.0])
    one = susceptibility.susceptibility_classes(1.0, 8)
    np.testing.assert_allclose(
        susceptibility.class_prevalence(burden, classes)[:, 1],
        susceptibility.class_prevalence(burden[:, 1], one),
        rtol=1e-10,
    )
    assert np.all(susceptibility.class_prevalence(np.zeros((8, 3)), classes) == pytest.approx(0.0, abs=1e-12))


def test_tiny_k_keeps_classes_that_take_nothing_finite() -> None:
    classes = susceptibility.susceptibility_classes(0.01, 8)
    prevalence = susceptibility.class_prevalence(50.0 * classes.means, classes)
    assert np.isfinite(prevalence).all()
    assert prevalence.mean() == pytest.approx(1 - (1 + 5000) ** -0.01, abs=1e-8)


@pytest.mark.parametrize("row", rows("published/larrat_2012_gill_biopsy.csv"), ids=lambda r: r["inputs"])
def test_gill_biopsy_of_eels(row: dict[str, str]) -> None:
    """29 % of infested eels found: an unclumped part meets it within the rounding of mean and q."""
    k, mean, q = (float(part.split("=")[1]) for part in row["inputs"].split(";"))
    rounding = float(row["tolerance"])
    # a part without clumping is thinning alone: q = 1 with detection q
    means, parts = mean + np.array([-0.05, 0.05]), q + np.array([-rounding, rounding])
    less, more = counts.detection_per_fish(means, k, 1.0, 1, parts)
    assert less < float(row["expected"]) < more
    # clumping finds fewer, still inside the interval of 11 of 38
    low, high = (float(v) for v in row["interval"].split(","))
    assert low < float(counts.detection_per_fish(mean, k, q)) < high


def test_detection_grows_with_preparations_share_and_chosen_fish() -> None:
    one, three = (float(counts.detection_per_fish(20.0, 0.5, 0.01, n)) for n in (1, 3))
    assert one < three < float(counts.detection_per_fish(20.0, 0.5, 0.01, 12)) < 1
    assert one < float(counts.detection_per_fish(20.0, 0.5, 0.05))
    assert one < float(counts.detection_per_fish(20.0, 0.5, 0.01, selection_bias=1.0))
    assert float(counts.detection_per_fish(20.0, 0.5, 1.0)) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("low", [0, 1, 2, 5])
@pytest.mark.parametrize("width", [0, 1, 4, 60])
@pytest.mark.parametrize(("mean", "size"), [(0.3, 0.5), (3.0, 0.7), (20.0, 4.0)])
def test_every_range_is_the_sum_of_its_counts(low, width, mean, size):
    """Against scipy's negative binomial, from ranges that hold nearly all to ranges that hold nearly nothing."""
    law = stats.nbinom(size, size / (size + mean))
    whole = law.pmf(np.arange(low, low + width + 1)).sum()
    assert float(counts.log_count_range(low, low + width, mean, size)) == pytest.approx(
        np.log(whole), rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize("k", [0.3, 1.0, 4.0])
def test_moments_inside_each_class_are_those_of_the_gamma(k):
    """Mean and second moment of each eighth of the gamma, by quadrature: their sums alone do not tell the classes."""
    classes, law = susceptibility.susceptibility_classes(k, 8), stats.gamma(k, scale=1 / k)
    cuts = [*law.ppf(np.arange(8) / 8), np.inf]
    for i in range(8):
        for power, found in ((1, classes.means), (2, classes.second_moments)):
            want = law.expect(lambda w, power=power: w**power, lb=cuts[i], ub=cuts[i + 1])
            assert float(found[i]) == pytest.approx(8 * want, rel=1e-6, abs=1e-9)


# --- what lies on a slide ------------------------------------------------------------------------------------------
def test_filaments_on_a_slide_as_a_share_of_the_gill():
    """Hughes 1966 J Exp Biol 45:177 (from memory): tench of 140 g has about 1,900 filaments, all arches together."""
    share = gill_share(1, "filaments", 140.0)
    assert share.low < 1 / 1900 < share.high
    # outer third to two thirds of a filament in a clip: Nowak & Lucas 1997 Aquaculture 159:1 (abstract)
    tip = gill_share(1, "tips", 140.0)
    assert 1 / 3 < tip.median / share.median < 2 / 3
    assert tip.low / share.low > 1 / 3  # two ranges err apart from one another: less than both at their worst
    assert gill_share(8, "arches").high == 1.0
    for outside in (20.0, 900.0, None):
        wide = gill_share(15, "tips", outside)
        assert wide.low < gill_share(15, "tips", 140.0).low < gill_share(15, "tips", 140.0).high < wide.high


@pytest.mark.parametrize(("pieces", "of"), [(0, "tips"), (9, "arches"), (3000, "tips"), (float("nan"), "filaments")])
def test_nothing_or_more_than_a_fish_has_is_refused(pieces, of):
    with pytest.raises(InputError, match="expected above 0, at most"):
        gill_share(pieces, of)

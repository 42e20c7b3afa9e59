"""Classical estimators against printed values, and against statsmodels and scipy where none is printed."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, optimize, stats
from statsmodels.discrete.discrete_model import NegativeBinomial
from statsmodels.stats.proportion import proportion_confint

from burden import statistics as classical
from burden.statistics import log_count, zero_share

HERE = Path(__file__).parents[1]


def rows(name: str) -> list[dict[str, str]]:
    """Read a table of `published` values, or of values `derived` by arithmetic and printed nowhere."""
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def pair(text: str) -> tuple[float, float]:
    low, high = text.split(",")
    return float(low), float(high)


def tolerance(row: dict[str, str], expected: float) -> float:
    text = row["tolerance"]
    if "relative" in text:
        return float(text.split()[0]) * abs(expected)
    return float(text)


def positive_of(text: str) -> tuple[int, int]:
    x, n = re.search(r"x=(\d+);n=(\d+)", text).groups()
    return int(x), int(n)


def frequencies(text: str) -> list[int]:
    pairs = [item.split(":") for item in text.split("freq ")[1].split(";")]
    return [int(count) for count, fish in pairs for _ in range(int(fish))]


INTERVALS = {
    "binomial_CI95_wald": "wald",
    "binomial_CI95_wilson": "wilson",
    "binomial_CI95_wilson_cc": "wilson_cc",
    "binomial_CI95_clopper_pearson": "clopper_pearson",
    "binomial_CI95_mid_p": "mid_p",
    "binomial_CI95_likelihood": "likelihood",
    "wilson_95": "wilson",
    "clopper_pearson_95": "clopper_pearson",
    "clopper_pearson_95_percent": "clopper_pearson",
    "jeffreys_equal_tailed_95": "jeffreys",
    "jeffreys_highest_density_95": "jeffreys_hpd",
    "blaker_95": "blaker",
}
PRINTED_INTERVALS = [
    row
    for name in ("newcombe_1998", "binomial_intervals_r", "blaker_2000", "bendavid_2021", "helminthologia_2019")
    for row in rows(f"published/{name}.csv")
    if row["check"] in INTERVALS
]


def test_every_printed_interval_is_checked() -> None:
    assert len(PRINTED_INTERVALS) == 22 + 22 + 1 + 3 + 10


@pytest.mark.parametrize("row", PRINTED_INTERVALS, ids=lambda r: f"{r['check']} {r['inputs'][:24]}")
def test_interval_as_printed(row: dict[str, str]) -> None:
    scale = 100 if row["check"].endswith("percent") else 1
    got = classical.prevalence(*positive_of(row["inputs"]), INTERVALS[row["check"]], 0.95)
    for ours, printed in zip((got.low, got.high), pair(row["expected"]), strict=True):
        assert ours * scale == pytest.approx(printed, abs=float(row["tolerance"]))


@pytest.mark.parametrize(("x", "n"), [(0, 7), (1, 30), (15, 148), (30, 30), (151, 360)])
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("wald", "normal"), ("wilson", "wilson"), ("clopper_pearson", "beta"), ("jeffreys", "jeffreys")],
)
def test_interval_equals_statsmodels_at_our_level(x: int, n: int, ours: str, theirs: str) -> None:
    got = classical.prevalence(x, n, ours)
    want = proportion_confint(x, n, alpha=0.1, method=theirs)
    assert (got.low, got.high) == pytest.approx(want, abs=1e-10)


@pytest.mark.parametrize(("x", "n"), [(0, 20), (1, 29), (3, 10), (15, 148), (81, 263), (28, 29), (151, 360)])
def test_blaker_equals_a_scan_of_its_acceptability(x: int, n: int) -> None:
    """Direct form of Blaker 2000: sum of the smaller tail and the largest opposite tail not above it."""

    def acceptability(p: float) -> float:
        upper, lower = stats.binom.sf(x - 1, n, p), stats.binom.cdf(x, n, p)
        below, above = stats.binom.cdf(np.arange(n + 1), n, p), stats.binom.sf(np.arange(n + 1) - 1, n, p)
        by_upper = upper + max([0.0, *below[below <= upper * (1 + 1e-12)]])
        by_lower = lower + max([0.0, *above[above <= lower * (1 + 1e-12)]])
        return min(by_upper, by_lower, 1.0)

    got = classical.prevalence(x, n, "blaker", 0.95)
    # Blaker 2000: never outside Clopper-Pearson, so the scan need not go further
    outer = classical.prevalence(x, n, "clopper_pearson", 0.95)
    step = (outer.high - outer.low) / 600
    accepted = [p for p in np.arange(outer.low + step / 2, outer.high, step) if acceptability(p) >= 0.05]
    assert got.low == pytest.approx(accepted[0], abs=step)
    assert got.high == pytest.approx(accepted[-1], abs=step)
    assert outer.low - 1e-12 <= got.low <= x / n <= got.high <= outer.high + 1e-12


@pytest.mark.parametrize("method", ["clopper_pearson", "blaker"])
def test_exact_intervals_cover_at_least_their_level(method: str) -> None:
    n = 25
    limits = [classical.prevalence(x, n, method) for x in range(n + 1)]
    for p in np.linspace(0.01, 0.99, 99):
        pmf = stats.binom.pmf(np.arange(n + 1), n, p)
        covered = sum(pmf[x] for x in range(n + 1) if limits[x].low <= p <= limits[x].high)
        assert covered >= 0.9 - 1e-12


def test_wald_fails_the_coverage_the_exact_intervals_keep() -> None:
    """The deliberately poor interval, as Newcombe 1998 warns."""
    covered = sum(
        stats.binom.pmf(x, 25, 0.05)
        for x in range(26)
        if (e := classical.prevalence(x, 25, "wald")).low <= 0.05 <= e.high
    )
    assert covered < 0.8


def test_impossible_counts_and_unknown_methods_are_refused() -> None:
    with pytest.raises(ValueError, match="5 positive of 3"):
        classical.prevalence(5, 3)
    with pytest.raises(ValueError, match="'exact' is not one of"):
        classical.prevalence(1, 3, "exact")
    assert math.isnan(classical.prevalence(0, 0).estimate)


@pytest.mark.parametrize("row", rows("published/lang_reiczigel_2014.csv"), ids=lambda r: r["source"][49:60])
def test_lang_reiczigel_examples(row: dict[str, str]) -> None:
    parts = [part.split("/") for part in row["inputs"].split("=")[1].split(",")]
    apparent, n, se, n_se, sp, n_sp = (float(p[0]) / float(p[1]) if len(p) == 2 else float(p[0]) for p in parts)
    got = classical.lang_reiczigel(apparent * n, int(n), se, int(n_se), sp, int(n_sp), level=0.95)
    assert (got.low, got.high) == pytest.approx(pair(row["expected"]), abs=float(row["tolerance"]))


def test_rogan_gladen_as_printed_by_bendavid_2021() -> None:
    row = next(r for r in rows("published/bendavid_2021.csv") if r["check"].startswith("rogan"))
    got = classical.rogan_gladen(50, 3330, 130 / 157, 3308 / 3324, 157, 3324, level=0.95)
    printed = [float(v) for v in re.findall(r"\d\.\d+", row["expected"])]
    assert (got.estimate, got.low, got.high) == pytest.approx(printed, abs=float(row["tolerance"]))


def test_rogan_gladen_of_a_known_test_is_a_stretched_wald_interval() -> None:
    row = rows("derived/rogan_gladen.csv")[0]
    point, se = (float(v) for v in re.findall(r"\d\.\d+", row["expected"]))
    got = classical.rogan_gladen(20, 100, 0.9, 0.95, level=0.95)
    assert got.estimate == pytest.approx(point, abs=1e-6)
    assert (got.high - got.low) / 2 / stats.norm.ppf(0.975) == pytest.approx(se, abs=1e-6)
    low, high = proportion_confint(20, 100, method="normal")
    assert (got.low, got.high) == pytest.approx([(p - 0.05) / 0.85 for p in (low, high)], abs=1e-12)


def test_prevalence_by_bayes_against_integration_and_the_beta() -> None:
    """Rows nobody printed: SciPy's beta where the test is perfect, adaptive integration where it is not."""
    uncertain, zero = rows("derived/bayes_prevalence.csv")
    got = classical.prevalence_bayes(3, 30, (18.0, 2.0), level=0.95)

    def moment(power: int, top: float = 1.0) -> float:
        def height(p: float, seen: float) -> float:
            return p**power * stats.binom.pmf(3, 30, p * seen) * stats.beta.pdf(seen, 18, 2)

        return integrate.dblquad(height, 0, 1, 0, top, epsabs=1e-10)[0]

    whole = moment(0)
    assert got.estimate == pytest.approx(moment(1) / whole, abs=1e-6)
    assert moment(0, got.low) / whole == pytest.approx(0.025, abs=1e-4)
    assert moment(0, got.high) / whole == pytest.approx(0.975, abs=1e-4)
    printed = [float(x) for x in re.findall(r"0\.\d+", uncertain["expected"])]
    assert [got.estimate, got.low, got.high] == pytest.approx(printed, abs=float(uncertain["tolerance"]))
    clean = classical.prevalence_bayes(0, 60, level=0.9)
    assert clean.high == pytest.approx(stats.beta.ppf(0.95, 1, 61), abs=1e-6)
    assert clean.high == pytest.approx(float(zero["expected"]), abs=float(zero["tolerance"]))
    false = classical.prevalence_bayes(3, 30, specificity=0.95)
    assert false.estimate < classical.prevalence_bayes(3, 30).estimate
    with pytest.raises(ValueError, match="4 of 3"):
        classical.prevalence_bayes(4, 3)


def test_a_test_that_tells_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.5 and specificity 0\.5 must sum to more than 1"):
        classical.rogan_gladen(3, 10, 0.5, 0.5)


def test_occupancy_equals_a_direct_maximum() -> None:
    row = rows("derived/occupancy.csv")[0]

    def loss(v: np.ndarray) -> float:
        psi, p = v
        seen = 15 * math.log(psi) + 27 * math.log(p) + (45 - 27) * math.log1p(-p)
        return -seen - 15 * math.log(1 - psi + psi * (1 - p) ** 3)

    best = optimize.minimize(loss, [0.5, 0.5], bounds=[(0.01, 0.99)] * 2, tol=1e-14).x
    got = classical.occupancy(30, 3, 15, 27)
    assert got == pytest.approx(best, abs=1e-5)
    assert got == pytest.approx([float(v) for v in re.findall(r"\d\.\d+", row["expected"])], abs=1e-6)


def test_occupancy_edges() -> None:
    assert classical.occupancy(10, 2, 4, 8) == (0.4, 1.0)
    assert classical.occupancy(10, 2, 4, 4) == (1.0, 0.2)
    with pytest.raises(ValueError, match="two preparations"):
        classical.occupancy(10, 1, 4, 4)


def test_naive_prevalence_behind_the_printed_occupancy() -> None:
    # MacKenzie et al. 2002: estimate 0.49 is 44 % above the naive share, which they print as 0.34
    row = rows("published/mackenzie_2002.csv")[0]
    naive, allowed = float(row["expected"].split()[0]), float(row["tolerance"])
    assert pytest.approx(naive, abs=allowed) == 0.49 / 1.44


FITS = [r for n in ("bliss_fisher_1953", "student_1907", "fisher_1941") for r in rows(f"published/{n}.csv")]
DERIVED_FITS = rows("derived/negative_binomial_fits.csv")


def _measure(check: str, counts: list[int]) -> float:
    k = classical.k_maximum_likelihood(counts).estimate
    few = {"resamples": 49}
    return {
        "NB_n": lambda: len(counts),
        "NB_mean": lambda: classical.mean_abundance(counts, **few).estimate,
        "NB_s2": lambda: np.var(counts, ddof=1),
        "NB_vmr": lambda: classical.variance_to_mean(counts, **few).estimate,
        "NB_prev": lambda: classical.prevalence(sum(c > 0 for c in counts), len(counts)).estimate,
        "NB_mi": lambda: classical.mean_intensity(counts, **few).estimate,
        "NB_kmom": lambda: classical.k_moments(counts, **few).estimate,
        "NB_kcor": lambda: classical.k_corrected_moments(counts, **few).estimate,
        "NB_kzero": lambda: classical.k_zero_class(counts, **few).estimate,
        "NB_kml": lambda: k,
        "NB_se_k": lambda: classical.standard_error_k(k, counts),
        "NB_ll": lambda: classical.log_likelihood_k(k, counts),
        "NB_prevNB": lambda: 1 - float(zero_share(np.mean(counts), k)),
        "NB_crowd": lambda: classical.mean_crowding(counts, **few).estimate,
        "NB_poulinD": lambda: classical.poulin_d(counts, **few).estimate,
    }[check]()


@pytest.mark.parametrize(
    "row",
    [r for r in FITS + DERIVED_FITS if "freq" in r["inputs"]],
    ids=lambda r: f"{r['check']} {r['inputs'].split()[0]}",
)
def test_measures_of_three_printed_frequency_tables(row: dict[str, str]) -> None:
    expected = float(row["expected"])
    got = _measure(row["check"], frequencies(row["inputs"]))
    assert got == pytest.approx(expected, abs=tolerance(row, expected))


def test_expected_frequencies_of_the_fit_by_bliss_and_fisher() -> None:
    row = next(r for r in FITS if r["check"] == "NB_expected_frequencies")
    counts = frequencies(next(r["inputs"] for r in FITS if "redmite" in r["inputs"]))
    k = classical.k_maximum_likelihood(counts).estimate
    share = np.exp(log_count(np.arange(8), np.mean(counts), k))
    got = 150 * np.append(share, 1 - share.sum())
    np.testing.assert_allclose(got, [float(v) for v in row["expected"].split(",")], atol=0.01)


def _three_tables() -> list[list[int]]:
    return [frequencies(r["inputs"]) for r in FITS if r["check"] == "NB_kml"]


@pytest.mark.parametrize("counts", _three_tables(), ids=["mites", "yeast", "ticks"])
def test_maximum_likelihood_equals_statsmodels(counts: list[int]) -> None:
    """A second library for the rows nobody printed: k, its standard error, the log-likelihood."""
    start = [math.log(np.mean(counts)), 1 / classical.k_moments(counts, resamples=9).estimate]
    fit = NegativeBinomial(counts, np.ones(len(counts))).fit(start, method="newton", disp=0, tol=1e-12)
    k = classical.k_maximum_likelihood(counts).estimate
    assert k == pytest.approx(1 / fit.params[1], rel=1e-5)
    assert classical.log_likelihood_k(k, counts) == pytest.approx(fit.llf, rel=1e-8)
    # their error is that of 1/k: by the delta method it is k² times as large in k
    assert classical.standard_error_k(k, counts) == pytest.approx(fit.bse[1] * k**2, rel=1e-3)


def test_profile_limits_lose_the_stated_likelihood() -> None:
    counts = _three_tables()[0]
    got = classical.k_maximum_likelihood(counts)
    top = classical.log_likelihood_k(got.estimate, counts)
    for limit in (got.low, got.high):
        assert 2 * (top - classical.log_likelihood_k(limit, counts)) == pytest.approx(stats.chi2.ppf(0.9, 1), rel=1e-6)
    assert got.low < got.estimate < got.high


def test_counts_without_aggregation_set_no_upper_bound_on_k() -> None:
    even = classical.k_maximum_likelihood([3, 4, 5, 4, 4, 3, 5, 4])
    assert (even.estimate, even.high) == (math.inf, math.inf)
    assert 0 < even.low < math.inf
    assert even.as_dict()["estimate"] is None
    assert "no limit" in even.text()
    yeast = classical.k_maximum_likelihood(_three_tables()[1], level=0.999)
    assert yeast.high == math.inf
    moments = classical.k_moments([3, 4, 5, 4, 4, 3, 5, 4], resamples=99)
    assert moments.estimate == math.inf


def test_profile_interval_covers_the_truth_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    k, mean, runs = 0.6, 12.0, 400
    samples = rng.poisson(rng.gamma(k, mean / k, (runs, 40)))
    inside = [(e := classical.k_maximum_likelihood(s.tolist())).low <= k <= e.high for s in samples]
    # three standard errors of a share of 0.9 in 400 runs are 0.045
    assert np.mean(inside) == pytest.approx(0.9, abs=0.045)


@pytest.mark.parametrize("row", rows("derived/poulin_d.csv"), ids=lambda r: r["inputs"])
def test_poulin_d_equals_its_double_sum(row: dict[str, str]) -> None:
    counts = [int(v) for v in re.findall(r"\d+", row["inputs"])]
    n, mean = len(counts), np.mean(counts)
    double = np.abs(np.subtract.outer(counts, counts)).sum() / (2 * mean * n * (n + 1))
    got = classical.poulin_d(counts, resamples=49).estimate
    assert got == pytest.approx(double, abs=1e-12)
    assert got == pytest.approx(float(row["expected"]), abs=1e-6)


ET = {r["check"]: r for r in rows("published/efron_tibshirani_1993.csv")}
SPATIAL = [int(v) for v in re.findall(r"\d+", ET["bootstrap_BCa_90_variance"]["inputs"].split("A=")[1])]


def test_bootstrap_of_a_variance_as_printed_by_efron_and_tibshirani() -> None:
    assert np.var(SPATIAL) == pytest.approx(float(ET["plugin_variance"]["expected"]), abs=1e-9)
    got = classical.bootstrap_estimate(SPATIAL, np.var, "variance", 0.9, resamples=20_000)
    low, high = pair(ET["bootstrap_BCa_90_variance"]["expected"])
    # tolerance: Monte Carlo error of the 2,000 resamples behind the printed limits
    assert got.low == pytest.approx(low, abs=3)
    assert got.high == pytest.approx(high, abs=6)
    # the plain percentile interval, printed beside it, must not pass for BCa
    assert abs(got.high - pair(ET["bootstrap_percentile_90_variance"]["expected"])[1]) > 15


def test_the_counts_are_those_of_the_printed_exact_intervals() -> None:
    """Guards the typed-in data: the book's normal-theory and exponential intervals follow from them."""
    squares = 26 * np.var(SPATIAL)
    exact = squares / stats.chi2.ppf([0.95, 0.05], 25)
    low, high = pair(ET["exact_normal_theory_90_variance"]["expected"])
    assert exact == pytest.approx([low, high], abs=0.06)
    dh = {r["check"]: r for r in rows("published/davison_hinkley_1997.csv")}
    times = [int(v) for v in dh["bootstrap_BCa_95_mean"]["inputs"].split(",")]
    mean = 2 * sum(times) / stats.chi2.ppf([0.975, 0.025], 24)
    assert mean == pytest.approx(pair(dh["exact_exponential_95_mean"]["expected"]), abs=0.06)
    got = classical.mean_abundance(times, 0.95, resamples=20_000)
    # the printed upper limit, 243.5 of 999 resamples, does not reproduce and is not asserted
    assert got.low == pytest.approx(pair(dh["bootstrap_BCa_95_mean"]["expected"])[0], abs=3)


@pytest.mark.parametrize("statistic", [np.mean, np.var])
@pytest.mark.parametrize("counts", [[0, 3, 4], [0, 0, 1, 4, 0, 9, 2, 2, 7, 15, 3, 1], SPATIAL])
def test_bootstrap_is_that_of_a_general_library(counts, statistic) -> None:
    """`scipy.stats.bootstrap`, the same resamples: to rounding. A percentile interval is another one."""
    way = {"confidence_level": 0.9, "n_resamples": 999, "vectorized": True}
    bca, plain = (
        stats.bootstrap(
            (counts,), statistic, method=m, random_state=np.random.default_rng(1), **way
        ).confidence_interval
        for m in ("BCa", "percentile")
    )
    got = classical.bootstrap_estimate(counts, statistic, "any", 0.9, resamples=999)
    assert (got.low, got.high) == pytest.approx((bca.low, bca.high), rel=1e-9)
    assert (got.low, got.high) != pytest.approx((plain.low, plain.high), rel=1e-9)


def test_bootstrap_is_the_same_for_the_same_seed_and_silent_on_poor_data() -> None:
    counts = [0, 0, 1, 4, 0, 9, 2, 2, 7, 15, 3, 1]
    assert classical.mean_abundance(counts) == classical.mean_abundance(counts)
    assert classical.mean_abundance(counts, seed=2, resamples=199) != classical.mean_abundance(counts)
    alike = classical.mean_intensity([0, 7, 7])
    assert (alike.estimate, math.isnan(alike.low)) == (7.0, True)
    assert "all fish alike" in alike.text()
    for f in (classical.mean_intensity, classical.variance_to_mean, classical.k_moments, classical.poulin_d):
        assert math.isnan(f([0, 0, 0]).estimate)
    for f in (classical.k_moments, classical.k_corrected_moments, classical.k_zero_class):
        assert f([0, 0, 0, 0, 50], resamples=199).estimate >= 0


@pytest.mark.parametrize(
    "row",
    [r for r in rows("published/helminthologia_2019.csv") if r["check"] not in INTERVALS],
    ids=lambda r: r["inputs"],
)
def test_abundance_and_fitted_prevalence_of_chub_mackerel(row: dict[str, str]) -> None:
    values = [float(v) for v in re.findall(r"=(\d+\.\d+)", row["inputs"])]
    a_product = row["check"].startswith("mean_abundance")
    got = values[0] * values[1] if a_product else 1 - float(zero_share(*values))
    expected, allowed = (float(row[key].split()[0]) for key in ("expected", "tolerance"))
    assert got == pytest.approx(expected, abs=allowed)


def test_counted_summary_names_its_methods_and_keeps_the_contract() -> None:
    got = classical.counted_summary([0, 0, 1, 2, 2, 4, 11, 30]).as_dict()
    assert list(got) == ["prevalence", "mean_intensity", "k"]
    for part in got.values():
        assert list(part) == ["estimate", "low", "high", "method"]
        assert part["low"] < part["estimate"] < part["high"]
    assert got["prevalence"]["method"] == "Clopper-Pearson"


def test_counted_summary_of_nothing_and_of_clean_fish_gives_null_and_says_why() -> None:
    assert classical.counted_summary([]).as_dict()["prevalence"]["estimate"] is None
    clean = classical.counted_summary([0] * 10)
    assert clean.as_dict()["k"] == {"estimate": None, "low": None, "high": None, "method": "no fluke counted"}
    assert clean.prevalence.estimate == 0
    assert clean.prevalence.high == pytest.approx(1 - 0.05**0.1)
    assert "cannot be given (no infected fish)" in clean.text()
    with pytest.raises(ValueError, match=r"\[-1, 2\.5\]"):
        classical.counted_summary([3, -1, 2.5])
    assert len(clean.rows()) == 3

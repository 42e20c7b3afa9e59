"""How likely a look is: against integration and simulation, by stages, and how rows of one fish are read."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cases import VISIT, a_case, clips, fixed_values, organs
from looks import DETECTION, MEAN, ON_GILLS, ONE, SHAPE, SHARE, K, by_integration, log_likelihood, looking
from scipy import stats
from scipy.integrate import quad

from burden.case import Preparation
from burden.evidence import load_parasite
from burden.inference import observation
from burden.inference.diagnostics import LookedTwice
from burden.inference.estimate import estimate
from burden.inference.finite_stock import present_on
from burden.inference.observation import fineness, fish_alike, log_likelihood_of_samples
from burden.inference.observation_parameters import draw_seen

SEEN = draw_seen(load_parasite("dactylogyrus"), 400, 2)


def test_whole_looks_at_one_fish_are_one_look_at_their_mean():
    a, b, c = organs([4, 7, 9])
    one_fish = [replace(row, fish="1") for row in (a, b, c)]
    (rows,) = fish_alike(one_fish)
    assert [(row.count_low, row.count_high) for row in rows] == [(7, 7)]
    plain = [replace(row, fraction_examined=None) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(plain)))] == [7]
    half = [replace(row, fraction_examined=0.5) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(half)))] == [4, 7, 9]
    censored = [replace(row, count_high=None) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(censored)))] == [9]
    other = [one_fish[0], replace(one_fish[1], site="skin")]
    assert [row.count_low for row in next(iter(fish_alike(other)))] == [4, 7]
    assert fish_alike([a, replace(a, fish="9"), b]).most_common(1)[0][1] == 2


def test_preparations_alike_of_one_fish_are_reckoned_once(monkeypatch):
    """A sheet in which one row was copied down a thousand times took minutes; it is worth a thousand such rows."""
    reckoned = []
    plain = observation.log_part_count
    monkeypatch.setattr(observation, "log_part_count", lambda *a: reckoned.append(1) or plain(*a))
    row, other = (replace(one, fish="1") for one in clips([3, 0]))
    rate, of = np.full(400, 60.0), (SEEN, "gill", np.full(400, 400.0))
    one, two = (observation.log_likelihood_of_fish(rows, rate, *of) for rows in ([row], [other]))
    np.testing.assert_allclose(observation.log_likelihood_of_fish([row] * 1000 + [other], rate, *of), 1000 * one + two)
    assert len(reckoned) == 4
    weight_g = np.full(400, 400.0)
    assert fineness([row] * 4, SEEN, weight_g) == 4 * fineness([row], SEEN, weight_g)


@pytest.mark.parametrize(("counts", "share"), [([0], 0.02), ([30], 1.0), ([30, 200], 1.0), ([12], 0.3), ([90000], 1.0)])
def test_fineness_is_the_geometric_mean_of_two_curvatures_in_powers_of_four(counts, share):
    rows = clips(counts, share=share)
    shape = float(np.max(SEEN.part_shape))
    size = np.inf if share == 1 else (shape + share) / (1 - share)
    sharp = sum(np.sqrt((n + 1) / (1 / (n + 1) + 1 / size)) for n in counts)
    found = fineness(rows, SEEN, np.full(400, 400.0))
    assert found == 1024.0 if sharp > 1024 else (found / 4 < max(sharp, 1.0) <= found)
    assert np.log2(found) % 2 == 0


# --- one fish -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("counts", [(0,), (3,), (0, 4), (7, 1, 2), ((50, None),), ((10, 20),), (2, (5, None))])
def test_likelihood_of_one_fish_is_the_integral_over_its_rate(counts):
    rows = clips(counts, SHARE, each=len(counts))
    expected = by_integration(counts, [SHARE] * len(counts))
    assert math.exp(log_likelihood(rows)) == pytest.approx(expected, rel=2e-5)


def test_a_moribund_fish_is_a_draw_weighted_by_its_burden():
    expected = by_integration((3,), [SHARE], selection_bias=0.7)
    assert math.exp(log_likelihood(clips([3], SHARE, chosen="moribund"), selection_bias=0.7)) == pytest.approx(
        expected, rel=1e-5
    )


@pytest.mark.parametrize(("share", "error"), [(0.01, 0.004), (1.0, 0.0)])
def test_likelihood_is_the_share_of_simulated_fish(share, error):
    """Against a lottery of whole flukes; `error` is the gap between beta-binomial and its form here, see the counts."""
    rng, n = np.random.default_rng(11), 400_000
    flukes = rng.poisson(rng.gamma(K, MEAN / K, n))
    part = rng.beta(SHAPE, SHAPE * (1 - share) / share, n) if share < 1 else 1.0
    counts = rng.binomial(flukes, part * DETECTION * ON_GILLS)
    for low, high in ((0, 0), (1, 2), (3, 9), (10, 60)):
        found = float(((low <= counts) & (counts <= high)).mean())
        rows = [clips([(low, high)], share)] if share < 1 else [organs([c]) for c in range(low, high + 1)]
        told = sum(math.exp(log_likelihood(row)) for row in rows)
        assert told == pytest.approx(found, abs=error + 4 * math.sqrt(found * (1 - found) / n))


def test_whole_organs_of_one_fish_are_exact():
    """Gills and skin of one fish: closed form against adaptive integration."""
    rows = [*organs([700]), Preparation(VISIT, "1", "random", "skin", 40, 40, fraction_examined=1.0)]

    def height(log_rate: float) -> float:
        rate = math.exp(log_rate)
        gills = stats.poisson.pmf(700, rate * ON_GILLS * DETECTION)
        skin = stats.poisson.pmf(40, rate * (1 - ON_GILLS) * DETECTION)
        return stats.gamma.pdf(rate, K, scale=MEAN / K) * rate * gills * skin

    expected = quad(height, 5, 8, limit=500, epsabs=0, points=[6.7])[0]
    assert log_likelihood(rows) == pytest.approx(math.log(expected), abs=1e-6)


def test_unreadable_preparations_say_nothing():
    unreadable = replace(clips([9])[0], readable=False)
    assert log_likelihood([*clips([2]), unreadable]) == log_likelihood(clips([2]))
    assert log_likelihood([unreadable]) == 0.0


def test_preparations_of_one_fish_share_its_burden():
    """Two empty clips of one fish are likelier than of two fish, two unlike ones less likely."""
    same, apart = clips([0, 0], each=2), clips([0, 0])
    assert log_likelihood(same) > log_likelihood(apart) + 0.05
    assert log_likelihood(clips([0, 30], each=2)) < log_likelihood(clips([0, 30])) - 0.05


def test_hours_dead_and_site_lower_what_is_there():
    dead = replace(clips([0], chosen="dead")[0], hours_dead=20.0)
    assert log_likelihood([dead]) > log_likelihood(clips([0], chosen="dead"))
    skin = replace(clips([0])[0], site="skin")
    assert log_likelihood([skin]) > log_likelihood(clips([0]))


# --- stages and second looks ------------------------------------------------------------------------------------------
GROWN = 0.3
STAGES = {"adult": np.array([GROWN]), "juvenile": np.array([1 - GROWN])}


def staged(rows, adults):
    """The rows counted by stage: so many adults in each, the rest juveniles."""
    both = ((replace(row, stage="adult", count_low=a, count_high=a),
             replace(row, stage="juvenile", count_low=row.count_low - a, count_high=row.count_low - a))
            for row, a in zip(rows, adults, strict=True))  # fmt: skip
    return [row for pair in both for row in pair]


def told_by_stage(rows) -> float:
    return float(log_likelihood_of_samples(rows, MEAN * ONE, K * ONE, looking(0.5), "gill", 400.0 * ONE, STAGES)[0])


@pytest.mark.parametrize("share", [0.02, 1.0])
def test_both_stages_of_a_preparation_are_one_part_count(share):
    """The sum counts as without stages; which of them are adult is a binomial of the pond's mix."""
    rows, adults = clips([6, 2], share, each=2), (4, 0)
    split = sum(stats.binom.logpmf(a, row.count_low, GROWN) for a, row in zip(adults, rows, strict=True))
    if share < 1:
        assert told_by_stage(staged(rows, adults)) == pytest.approx(log_likelihood(rows) + split, abs=1e-6)
    else:
        once, four = rows[:1], adults[:1]
        split = stats.binom.logpmf(4, 6, GROWN)
        assert told_by_stage(staged(once, four)) == pytest.approx(log_likelihood(once) + split, abs=1e-6)


def test_adults_counted_alone_are_a_part_of_the_fish():
    """A lottery of whole flukes: adults of the whole gills, juveniles left uncounted."""
    rng, n = np.random.default_rng(12), 400_000
    flukes = rng.poisson(rng.gamma(K, MEAN / K, n))
    adults = rng.binomial(flukes, GROWN * DETECTION * ON_GILLS)
    for low, high in ((0, 0), (1, 5), (6, 30)):
        found = float(((low <= adults) & (adults <= high)).mean())
        told = sum(math.exp(told_by_stage([replace(r, stage="adult") for r in organs([c])]))
                   for c in range(low, high + 1))  # fmt: skip
        assert told == pytest.approx(found, abs=4 * math.sqrt(found * (1 - found) / n))
    drawn = present_on(1, [replace(row, stage="adult") for row in organs([5])], np.full(9000, MEAN), np.full(9000, K),
                       looking(n=9000), "gill", np.full(9000, 400.0), np.random.default_rng(3),
                       {name: np.full(9000, float(x[0])) for name, x in STAGES.items()})  # fmt: skip
    assert stats.ks_2samp(drawn.total, flukes[adults == 5]).pvalue > 0.001


def test_the_whole_looked_at_twice_is_one_burden():
    once, twice = organs([40]), [*organs([38]), *organs([42])]
    assert log_likelihood(twice) == log_likelihood(once)
    held = fixed_values(detection_per_fluke=0.999999, gill_share=0.999999)
    found = estimate(a_case(twice, count=1, overrides=held), draws=100)
    assert found.flukes_total.median == 40
    assert [remark.times for remark in found.remarks if isinstance(remark, LookedTwice)] == [2]
    assert any("counted 2 times" in warning for warning in found.warnings)
    clipped = estimate(a_case(clips([3, 4], each=2), count=1), draws=100)
    assert clipped.flukes_total.low >= 7  # two clips show different flukes
    assert not any(isinstance(remark, LookedTwice) for remark in clipped.remarks)

"""The burden behind samples: the posterior against an independent grid, and what samples and the past do to it."""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, exactly, fixed_values, organs
from looks import DETECTION, MEAN, ON_GILLS, SHAPE, SHARE, K, by_integration
from scipy import stats
from scipy.special import gammaincinv

from burden.case import Arrival, DeathRecord, FishGroup
from burden.evidence import load_parasite
from burden.inference.arrivals import PRIOR_NONE
from burden.inference.diagnostics import SkinNotRead
from burden.inference.estimate import estimate
from burden.inference.history import history_days, run_past
from burden.inference.observation_parameters import draw_seen
from burden.inference.prior import draw_pond
from burden.inference.sampler import Effort
from burden.io import read_case
from burden.statistics import detection_per_fish

#: values of the set held fixed where a test reckons by itself
PLAIN = {"part_shape": SHAPE, "detection_per_fluke": DETECTION, "gill_share": ON_GILLS}
#: for differences far above the noise of so few ponds: a third of the usual effort
roughly = partial(estimate, draws=200, effort=Effort(300, 900))


@pytest.fixture
def no_tilt(monkeypatch):
    """Where only sick or dead fish were looked at: without the two estimates of what that may hide."""
    monkeypatch.setattr("burden.inference.estimate._by_tilt", lambda *_: None)


# --- posterior against a grid ---------------------------------------------------------------------------------------
def grid_posterior(counts, share):
    """Mean (log scale), k and their joint posterior, by a grid that shares no code with the estimate."""
    value = load_parasite("dactylogyrus").values
    abundance, aggregation = value["abundance"], value["aggregation"]
    z = 1.6448536269514722
    middle = math.log(abundance.value * 400)
    spread = math.log(abundance.high / abundance.low) / (2 * z)
    means = np.exp(np.linspace(middle - 4.5 * spread, middle + 4.5 * spread, 121))
    steps = np.linspace(-3.6, 3.6, 97)  # fine, as the law is cut at both ends
    up, down = math.log(aggregation.high / aggregation.value) / z, math.log(aggregation.value / aggregation.low) / z
    ks = aggregation.value * np.exp(np.where(steps < 0, steps * down, steps * up))
    prior = stats.norm.logpdf((np.log(means) - middle) / spread)[:, None] + stats.norm.logpdf(steps)[None, :]
    prior[:, (ks < aggregation.least) | (ks > aggregation.most)] = -np.inf  # nothing is believed beyond
    ranks = (np.arange(800) + 0.5) / 800
    size = (SHAPE + share) / (1 - share)
    # the negative binomial is peak · p^size · (1 − p)^count, and the peak is the same at every rate
    peak = {count: stats.nbinom.pmf(count, size, 0.5) / 0.5 ** (size + count) for count in counts}
    for j, k in enumerate(ks):
        rate = gammaincinv(k, ranks)[:, None] / k * means[None, :]
        p = size / (size + rate * ON_GILLS * share * DETECTION)
        none = p**size
        for count in counts:
            prior[:, j] += np.log(peak[count] * (none * (1 - p) ** count).mean(0))
    posterior = np.exp(prior - prior.max())
    return means, ks, posterior / posterior.sum()


@pytest.mark.parametrize("counts", [(0, 3, 1), (0, 0, 0, 0), (4, 0, 19, 7, 2, 1, 0, 11)])
def test_posterior_without_a_past_is_the_grid(counts):
    case = a_case(clips(counts, 0.03), count=200_000, overrides=fixed_values(**PLAIN))
    found = estimate(case)
    means, ks, posterior = grid_posterior(counts, 0.03)
    draws = min(found.effective_draws, found.draws)
    for told, at, weight in (
        (found.abundance_before, means, posterior.sum(1)),
        (found.aggregation_k, ks, posterior.sum(0)),
    ):
        below = np.cumsum(weight) - 0.5 * weight
        for point, probability in ((told.low, 0.05), (told.median, 0.5), (told.high, 0.95)):
            cumulated = np.interp(math.log(point), np.log(at), below)
            # four standard errors of a quantile's rank among so many draws
            assert cumulated == pytest.approx(probability, abs=4 * math.sqrt(probability * (1 - probability) / draws))


def test_no_samples_give_the_prior_and_say_so():
    found = estimate(a_case(count=200_000))
    assert found.probability_infected == pytest.approx(1 - PRIOR_NONE, abs=0.01)
    assert found.counted is None
    assert (found.look.preparations, found.look.chance_above) == (0, None)
    assert found.missed == "No fish was looked at on this day, so it rules nothing out."
    assert "No sample could be read" in found.text()
    value = load_parasite("dactylogyrus").values["abundance"]
    ranks = stats.norm.cdf(np.log([getattr(found.abundance_before, e) for e in ("low", "median", "high")]),
                           math.log(100), math.log(value.high / value.low) / (2 * 1.6448536))  # fmt: skip
    np.testing.assert_allclose(ranks, [0.05, 0.5, 0.95], atol=4 * 0.5 / math.sqrt(500))
    assert found.prevalence.low == 0.0  # a fifth of such ponds carry none


def test_unreadable_samples_count_as_none():
    unreadable = [replace(row, readable=False, count_high=None) for row in clips([0, 0])]
    assert roughly(a_case(unreadable)).as_dict() == roughly(a_case()).as_dict()


# --- what more, other or otherwise chosen samples do ----------------------------------------------------------------
FORTY = tuple(int(x) for x in np.random.default_rng(4).negative_binomial(1.2, 1.2 / (1.2 + 6.0), 40))


def test_twice_the_share_looked_at_halves_the_mean():
    means = [
        roughly(a_case(clips(FORTY, share), count=500, overrides=fixed_values(**PLAIN))).mean_abundance.median
        for share in (0.02, 0.04)
    ]
    assert means[1] == pytest.approx(means[0] / 2, rel=0.12)


def test_moribund_fish_stand_for_lighter_ones(no_tilt):
    case = a_case(overrides=fixed_values(**PLAIN, aggregation=K), count=500)
    random, sick = (
        roughly(replace(case, samples=tuple(clips(FORTY[:12], chosen=way)))).mean_abundance.median
        for way in ("random", "moribund")
    )
    assert 1 < random / sick < (K + 1) / K


@pytest.mark.xfail(reason="ratio 2.44 to 2.53 over four seeds, not 2.25: a bias nobody has explained yet", strict=True)
def test_sick_fish_alone_leave_the_range_of_the_tilt():
    """From what any fish carries to fish that fell ill in proportion to their flukes: (k + 1)/k times as many."""
    case = a_case(clips(FORTY[:12], chosen="moribund"), overrides=fixed_values(**PLAIN, aggregation=K), count=5000)
    found = estimate(case)
    none, full = found.by_tilt
    assert none.median / full.median == pytest.approx((K + 1) / K, rel=0.1)
    assert full.median < found.mean_abundance.median < none.median
    as_random = estimate(replace(case, samples=tuple(clips(FORTY[:12])))).mean_abundance
    assert none.median == pytest.approx(as_random.median, rel=0.05)
    assert "Only sick or dead fish were sampled" in found.text()
    assert set(found.as_dict()["mean_abundance_by_tilt"]) == {"none", "full"}
    mixed = estimate(replace(case, samples=(*case.samples, *clips([3], first=99))), draws=100)
    assert mixed.by_tilt is None
    assert mixed.as_dict()["mean_abundance_by_tilt"] is None


def test_skin_tells_of_gill_flukes_unless_switched_off():
    skin = [replace(row, site="skin", method="skin_scrape", fish="9") for row in clips([2])]
    case = a_case([*clips([0, 0]), *skin])
    off, on = roughly(replace(case, gill_flukes_on_skin=False)), roughly(case)
    gills = roughly(replace(case, samples=tuple(clips([0, 0]))))
    assert off.abundance_before == gills.abundance_before
    assert off.probability_infected > 0.999 > gills.probability_infected  # a fluke is a fluke, wherever it sat
    assert on.mean_abundance.median > 3 * off.mean_abundance.median
    assert SkinNotRead("dactylogyrus", 1, 2) in off.remarks
    assert any("gill_flukes_on_skin" in warning for warning in off.warnings)
    own = roughly(a_case(skin, parasites=("gyrodactylus",)))
    assert not any(isinstance(remark, SkinNotRead) for found in (on, own) for remark in found.remarks)


def test_more_fish_narrow_the_interval():
    widths = []
    for fish in (2, 8, 40):
        triple = roughly(a_case(clips(FORTY[:fish]), count=500)).mean_abundance
        widths.append(math.log(triple.high / triple.low))
    assert widths[0] > 1.2 * widths[1] > 1.44 * widths[2]


def test_a_whole_organ_says_more_than_a_clip_and_both_are_read_together():
    clip, organ = clips([3], share=None), organs([150], chosen="netted", lethal=True, first=2)
    organ = [replace(organ[0], fraction_examined=None)]
    alone, opened, both = (roughly(a_case(rows, count=500)) for rows in (clip, organ, [*clip, *organ]))
    width = {name: math.log(e.mean_abundance.high / e.mean_abundance.low)
             for name, e in (("clip", alone), ("organ", opened), ("both", both))}  # fmt: skip
    assert width["both"] < width["organ"] < width["clip"]
    assert opened.mean_abundance.low < both.mean_abundance.median < opened.mean_abundance.high


# --- is there any ---------------------------------------------------------------------------------------------------
def test_one_fluke_seen_makes_it_certain():
    found = roughly(a_case(clips([0, 0, 1])))
    assert found.probability_infected == 1.0
    assert found.infected.all()


@pytest.mark.parametrize("fish", [1, 4, 12])
def test_clean_samples_lower_the_chance_by_bayes_rule(fish):
    """Mean, k and looking fixed: two points, flukes or none."""
    held = fixed_values(**PLAIN, aggregation=K, abundance=MEAN / 400)
    found = estimate(a_case(clips([0] * fish), count=300, overrides=held))
    evidence = by_integration((0,), [SHARE]) ** fish
    expected = (1 - PRIOR_NONE) * evidence / (PRIOR_NONE + (1 - PRIOR_NONE) * evidence)
    assert found.probability_infected == pytest.approx(expected, rel=1e-4)
    assert found.probability_infected < 1 - PRIOR_NONE
    assert float(np.mean(~found.infected)) == pytest.approx(1 - expected, abs=4 * 0.5 / math.sqrt(500))


def test_deaths_without_flukes_do_not_make_a_clean_stock():
    """A quiet death log is as likely without flukes; a heavy one is not made less so by the flukes that are missing."""
    row = DeathRecord(VISIT, 0, 10)
    clean = tuple(clips([0, 0]))
    without, quiet = (estimate(a_case(clean, deaths=log), draws=200).probability_infected for log in ((), (row,)))
    assert quiet == pytest.approx(without, abs=0.08)
    heavy = estimate(a_case(clean, deaths=(replace(row, deaths=9),)), draws=200).probability_infected
    assert heavy > quiet


@pytest.mark.parametrize("way", ["dead", "killed"])
def test_fish_looked_at_and_left_are_all_of_the_stock(way, no_tilt):
    """Eight living and three gone are eleven; none of those gone counts among the living."""
    rows = organs([90, 60, 30], chosen="moribund" if way == "killed" else way, lethal=way == "killed" or None)
    held = fixed_values(**PLAIN, aggregation=K)
    found = roughly(a_case(rows, count=3, overrides=held))
    if way == "moribund":
        assert found.flukes_total.low >= 180
    else:
        assert found.flukes_total.low < 90
    assert found.state.alive.sum((0, 1)) == pytest.approx(3.0)


def test_a_stock_looked_at_wholly_is_known():
    held = fixed_values(detection_per_fluke=0.999999, gill_share=0.999999)
    found = estimate(a_case(organs([3, 0, 12, 5, 40]), count=5, overrides=held))
    assert found.flukes_total.low == found.flukes_total.high == 60
    assert found.prevalence.median == pytest.approx(0.8)


# --- the past -------------------------------------------------------------------------------------------------------
def test_fish_alive_are_those_counted():
    deaths = (DeathRecord(VISIT - timedelta(days=3), 4, 7), DeathRecord(VISIT, 1, 3))
    group = FishGroup("common carp", 33, False, exactly(400.0), None, (Arrival(VISIT - timedelta(days=5), 6),))
    found = estimate(a_case(clips([2, 0]), deaths=deaths, fish=(group,)), draws=60)
    np.testing.assert_allclose(found.state.alive.sum((0, 1)), 33.0)


def test_the_state_holds_the_total():
    found = roughly(a_case(clips([2, 0, 5])))
    uptake = (found.state.alive * found.pond.setting.fish.susceptibility).sum(1)
    total = sum((chain.sum(0) * uptake).sum(0) for chain in found.state.fish.values())
    points = np.quantile(total, [0.05, 0.5, 0.95])
    told = found.flukes_total
    np.testing.assert_allclose(points, [told.low, told.median, told.high], rtol=1e-9)


def test_the_record_begins_with_the_first_thing_known():
    deaths = (DeathRecord(VISIT - timedelta(days=8), 1, 4), DeathRecord(VISIT, 0, 8))
    case = a_case(clips([1], day=-2), given=(dose(-10),), deaths=deaths)
    assert history_days(case).tolist() == [-12, -10, -8, -2, 0]
    assert history_days(a_case(clips([1]))).tolist() == [0]
    assert history_days(a_case(given=(dose(-500),))).tolist() == [-120, 0]


@pytest.mark.parametrize("first", [-4, -9])
def test_a_sample_on_the_day_of_a_dose_was_taken_before_it(first):
    """Also where the record begins with both."""
    case = a_case([*clips([1], day=-4), *clips([1], day=first)], given=(dose(-4, mg_l=5.0),))
    past = run_past(case, "dactylogyrus", 30, 1)
    plain = run_past(replace(case, given=()), "dactylogyrus", 30, 1)
    np.testing.assert_allclose(past.by_day[-4.0]["all"], plain.by_day[-4.0]["all"], rtol=2e-3)
    assert np.all(past.by_day[0.0]["all"] < plain.by_day[0.0]["all"])


@pytest.mark.parametrize("given", [dose(-3, mg_l=40.0, hours=72.0), dose(-3, "unknown", None)])
def test_eggs_outlive_a_dose(given):
    """Nothing seen since: flukes are few or gone, the eggs laid before are still there."""
    rows = [*clips([8, 3, 5], day=-3), *clips([0, 0, 0])]
    found = estimate(a_case(rows, given=(given,), temperature_c=16.0), draws=100)
    assert found.eggs_waiting.low > 0
    if given.agent != "unknown":
        assert found.mean_abundance.median < 0.2 * found.abundance_before.median
    assert found.state.water["egg"].sum(0).min() > 0
    assert (found.hidden is not None) == (given.agent == "unknown")


def test_what_an_unknown_drug_hides_is_said():
    """Clean clips four days after it leave more flukes before the drug than now; the page and JSON say so."""
    case = a_case(clips([0] * 6, each=3), given=(dose(-4, "unknown", None),))
    found = estimate(case, draws=60)
    assert found.hidden is not None
    assert found.hidden.dose_date == VISIT - timedelta(days=4)
    assert found.hidden.before.high > 1.2 * found.mean_abundance.high
    assert found.as_dict()["hidden_by_unknown_dose"]["before"]["high"] == pytest.approx(
        found.hidden.before.high, rel=1e-3
    )
    assert "a drug that nobody can name" in found.text()
    earlier = replace(case, samples=(*clips([1], day=-9), *case.samples))
    undosed = replace(earlier, given=(), deaths=(DeathRecord(VISIT - timedelta(days=4), 0, 1),))
    with_it, without = (run_past(each, "dactylogyrus", 30, 1) for each in (earlier, undosed))
    np.testing.assert_allclose(with_it.by_day[-4.0]["all"], without.by_day[-4.0]["all"], rtol=2e-3)


def test_a_year_later_nothing_is_different():
    case = a_case([*clips([4, 1], day=-6), *clips([1, 0])], given=(dose(-5),), deaths=(DeathRecord(VISIT, 1, 6),))

    def later(d: date) -> date:
        return d + timedelta(days=365)

    shifted = replace(
        case,
        visit_date=later(case.visit_date),
        samples=tuple(replace(r, date=later(r.date)) for r in case.samples),
        given=tuple(replace(a, date=later(a.date)) for a in case.given),
        deaths=tuple(replace(d, date=later(d.date)) for d in case.deaths),
    )
    few = {"draws": 60, "effort": Effort(100, 200, 40)}
    assert estimate(case, **few).as_dict() == estimate(shifted, **few).as_dict()


# --- how it is told -------------------------------------------------------------------------------------------------
def test_same_seed_same_answer():
    case = a_case(clips([0, 2]))
    first, again, other = (roughly(case, seed=s).to_json() for s in (5, 5, 6))
    assert first == again
    assert first != other


def test_draws_do_not_change_when_more_are_drawn():
    case, evidence = a_case(), load_parasite("dactylogyrus")
    few, many = (draw_pond(case, "dactylogyrus", n, 3).setting.parameters for n in (7, 40))
    for name in few.values:
        np.testing.assert_array_equal(few[name], many[name][:7])
    small, large = (draw_seen(evidence, n, 3) for n in (7, 40))
    np.testing.assert_array_equal(small.share_factor["gill_clip"], large.share_factor["gill_clip"][:7])
    np.testing.assert_array_equal(small.selection_bias, large.selection_bias[:7])


def test_what_samples_like_these_can_miss():
    """The chance left by clean clips, against the grid's."""
    counts = (0, 0, 0)
    found = estimate(a_case(clips(counts, 0.03), count=500, overrides=fixed_values(**PLAIN)))
    assert found.look.level == 100
    assert found.missed.startswith("You found no fluke in 3 gill clips from 3 fish. A look like this still leaves a ")
    assert found.missed.endswith("that fish carry more than 100 flukes on average.")
    means, _, posterior = grid_posterior(counts, 0.03)
    evidence = grid_evidence(counts, 0.03)
    carrying = (1 - PRIOR_NONE) * evidence / (PRIOR_NONE + (1 - PRIOR_NONE) * evidence)
    left = 100 * carrying * posterior.sum(1)[means > 100].sum()
    chance = found.look.chance_above
    assert 100 * chance == pytest.approx(left, abs=1.5)  # Monte Carlo of some 3,000 draws
    assert f"a chance of {100 * chance:.0f} % that" in found.missed
    seen = estimate(a_case(clips((0, 5, 1), 0.03), count=500, overrides=fixed_values(**PLAIN)))
    # what a clean look would leave does not hang on the counts, but the ponds drawn do
    assert seen.look == replace(found.look, flukes=6, chance_above=seen.look.chance_above)
    assert 100 * seen.look.chance_above == pytest.approx(100 * chance, abs=1.5)
    assert seen.missed == "You found 6 flukes in 3 gill clips from 3 fish."


def grid_evidence(counts, share):
    """Chance of clean counts, flukes being there, by the grid."""
    means, ks, prior = grid_posterior((), share)
    size, ranks = (SHAPE + share) / (1 - share), (np.arange(800) + 0.5) / 800
    total = np.zeros_like(prior)
    for j, k in enumerate(ks):
        expected = gammaincinv(k, ranks)[:, None] / k * means[None, :] * ON_GILLS * share * DETECTION
        total[:, j] = ((size / (size + expected)) ** size).mean(0)
    return float((prior * total ** len(counts)).sum())


def test_json_holds_the_contract():
    found = estimate(a_case(clips([0, 2])), draws=100).as_dict()
    for name in ("prevalence", "mean_abundance", "aggregation_k", "detection_per_fish", "flukes_total"):
        assert found[name]["low"] <= found[name]["median"] <= found[name]["high"]
    assert set(found["counted"]) == {"prevalence", "mean_intensity", "k"}
    assert (found["seed"], found["draws"], found["interval_level"]) == (1, 100, 0.9)


# --- the one measured figure ----------------------------------------------------------------------------------------
PUBLISHED = Path(__file__).parents[1] / "published" / "larrat_2012_gill_biopsy.csv"


def test_a_clip_can_be_as_blind_as_was_measured():
    """Larrat, Marvin & Lair 2012 J Zoo Wildl Med 43:190: 29 % (15.4 to 45.9) of eels with flukes by a gill biopsy.

    Whole gills held flukes in 70 % of 54 eels. For every k a share seen exists that gives both; it lies on a curve.
    """
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        inputs = dict(part.split("=") for part in row["inputs"].split(";"))
        k = float(inputs["k"])
        mean = k * (0.30 ** (-1 / k) - 1)
        assert mean == pytest.approx(float(inputs["mean"]), rel=0.04)
        told = float(detection_per_fish(mean, k, float(inputs["q"])))
        low, high = map(float, row["interval"].split(","))
        assert low < told < high


# --- invented ponds of whole flukes -----------------------------------------------------------------------------------
SIMULATED = Path(__file__).parents[2] / "simulated_data"


def test_what_is_true_of_the_invented_cases_lies_in_their_intervals():
    """The flukes of the whole-fluke simulator; three cases are no calibration, see analysis/calibration.py.

    Of three intervals of 90 %, two or more miss in 3 of 100 runs if they are right (binomial). One may; all hold
    the truth once drawn out to 99 % on the log scale, where 2.576 and 1.645 are the standard normal points.
    """
    missed = []
    for name in ("koi_pond", "quarantine_tank", "estate_pond"):
        truth = tomllib.loads((SIMULATED / name / "truth.toml").read_text(encoding="utf-8"))["visit"]
        found = estimate(read_case(SIMULATED / name), draws=100)
        assert found.effective_draws > 200
        pairs = (
            (found.flukes_total, truth["flukes_total"]),
            (found.mean_abundance, truth["mean_abundance"]),
            (found.eggs_waiting, truth["eggs_in_water"]),
        )
        for told, true in pairs:
            low, high = (told.median * (end / told.median) ** (2.576 / 1.645) for end in (told.low, told.high))
            assert low < true < high, (name, told, true)
        missed += [name] if any(not told.low < true < told.high for told, true in pairs) else []
    assert len(missed) <= 1, missed


def test_no_look_makes_a_burden_impossible():
    found = estimate(a_case(organs([0, 0, 0, 0, 0, 0])), draws=40)
    assert found.look.chance_above < 0.005
    assert "a chance of under 1 % that fish carry more than 100 flukes on average" in found.missed

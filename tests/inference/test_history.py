"""What a burden at the start is drawn from, who was there then, and how a look is read: each part by itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, organs
from scipy import stats

from burden.case import Arrival, DeathRecord, FishGroup, Uncertain
from burden.evidence import load_parasite
from burden.inference import estimate, fitting_ponds
from burden.inference import history as past
from burden.inference import observation as looking
from burden.inference.observation import fineness, fish_alike
from burden.inference.observation_parameters import draw_seen
from burden.inference.picked_fish import shares_picked, tilt_of
from burden.inference.prior import draw_pond
from burden.inference.sampler import Effort, TooFewDrawsError

EVIDENCE = load_parasite("dactylogyrus")
SEEN = draw_seen(EVIDENCE, 400, 2)
WEIGHT_G = Uncertain(400.0, 400.0, 400.0, "a test")


# --- the burden at the start


def test_the_burden_at_the_start_is_that_of_the_evidence():
    pond = draw_pond(a_case(), "dactylogyrus", 6000, 4)
    value = EVIDENCE.values["abundance"]
    at = np.log(past._draw_abundance(pond) / pond.setting.fish.weight_g.mean(0))
    assert at.mean() == pytest.approx(np.log(value.value), abs=0.1)
    assert at.std() == pytest.approx(np.log(value.high / value.low) / (2 * stats.norm.ppf(0.95)), rel=0.03)


# --- who was there


def test_fish_at_the_start_are_the_count_and_the_dead_since_less_the_arrivals_since():
    groups = (
        FishGroup("koi", 30, False, WEIGHT_G, None, (Arrival(VISIT - timedelta(days=4), 6),)),
        FishGroup("goldfish", 10, False, WEIGHT_G),
    )
    deaths = (DeathRecord(VISIT - timedelta(days=9), 50, 1), DeathRecord(VISIT - timedelta(days=2), 8, 1))
    case = a_case(fish=groups, deaths=deaths)
    np.testing.assert_allclose(past._fish_at_start(case, -9.0), [30 + 8 * 0.75 - 6, 10 + 8 * 0.25])
    # those of the first day itself come as its first event
    np.testing.assert_allclose(past._fish_at_start(case, -4.0), [30.0, 12.0])
    alone = a_case(fish=groups[:1], deaths=deaths[1:])
    assert past._fish_at_start(replace(alone, fish=(replace(groups[0], count=4),), deaths=()), -4.0).tolist() == [4.0]


def test_live_fish_are_set_to_those_counted_and_keep_their_mix():
    case = a_case(count=33)
    pond = draw_pond(case, "dactylogyrus", 5, 4)
    state = pond.start(np.full(5, 20.0), np.array([50.0]), 0.0, np.full(5, 0.5))
    uneven = replace(state, alive=state.alive * np.linspace(0.5, 1.0, state.alive.shape[1])[:, None])
    found = past._as_many_as_counted(uneven, case).alive
    np.testing.assert_allclose(found.sum((0, 1)), 33.0, rtol=1e-12)
    np.testing.assert_allclose(found / found.sum(1), uneven.alive / uneven.alive.sum(1), rtol=1e-12)
    factor, ever = np.array([0.0, 0.5, 1.0, 2.0, 3.0]), np.array([False, True, True, True, True])
    present = estimate._as_present(state, factor, ever)
    for form, there in state.fish.items():
        np.testing.assert_allclose(present.fish[form], there * factor)
    for form, there in state.water.items():
        np.testing.assert_allclose(present.water[form], there * ever)


def test_the_history_begins_with_what_was_seen_or_done_first():
    assert past.history_days(a_case(clips([1]))).tolist() == [0.0]
    case = a_case(clips([1], day=-3), given=(dose(-8),), deaths=(DeathRecord(VISIT - timedelta(days=5), 2, 4),))
    assert past.history_days(case).tolist() == [-9.0, -8.0, -5.0, -3.0, 0.0]


# --- how a look is read


def test_assumed_shares_rise_from_low_to_high_and_a_clip_shrinks_with_the_gills():
    for middle, low, high in looking._SHARES.values():
        assert 0 < low < middle < high < 1
    clip, organ = clips([1], share=None)[0], organs([1])[0]
    organ = replace(organ, fraction_examined=None)
    light, heavy = (looking.share_examined(clip, SEEN, w) for w in (150.0, 4800.0))
    assert np.median(light) == pytest.approx(looking._SHARES["gill_clip"][0], rel=0.1)
    np.testing.assert_allclose(heavy / light, 32.0**-0.8, rtol=1e-9)  # gills grow with weight to the power 0.8
    whole = [looking.share_examined(organ, SEEN, w) for w in (150.0, 4800.0)]
    np.testing.assert_array_equal(*whole)


def test_every_fluke_sits_on_its_site_or_strays_and_nobody_knows_how_many_a_scrape_finds_there():
    """A whole fish shows all, its site its share; elsewhere a fifth to five times what the share leaves: assumed."""
    gill, many = clips([1])[0], draw_seen(EVIDENCE, 4000, 2)
    home, skin, whole = (
        looking._on_site(replace(gill, site=site), "gill", many) for site in ("gill", "skin", "whole_fish")
    )
    np.testing.assert_array_equal(whole, 1.0)
    np.testing.assert_array_equal(home, many.site_share)
    np.testing.assert_array_equal(looking._on_site(replace(gill, site="fin"), "gill", many), skin)
    np.testing.assert_array_equal(looking._on_site(gill, "skin", many), many.stray_share)
    assert np.quantile(skin / (1 - home), [0.05, 0.5, 0.95]) == pytest.approx([0.2, 1.0, 5.0], rel=0.1)


def test_tilts_lie_between_nothing_and_what_is_assumed_of_each_way_of_choosing():
    for chosen, high in {"random": 0.0, "netted": 0.3, "moribund": 1.0, "dead": 1.0}.items():
        np.testing.assert_allclose(tilt_of(chosen, SEEN), high * SEEN.selection_bias)


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
    plain = looking.log_part_count
    monkeypatch.setattr(looking, "log_part_count", lambda *a: reckoned.append(1) or plain(*a))
    row, other = (replace(one, fish="1") for one in clips([3, 0]))
    rate, of = np.full(400, 60.0), (SEEN, "gill", np.full(400, 400.0))
    one, two = (looking.log_likelihood_of_fish(rows, rate, *of) for rows in ([row], [other]))
    np.testing.assert_allclose(looking.log_likelihood_of_fish([row] * 1000 + [other], rate, *of), 1000 * one + two)
    assert len(reckoned) == 4
    weight_g = np.full(400, 400.0)
    assert fineness([row] * 4, SEEN, weight_g) == 4 * fineness([row], SEEN, weight_g)


def test_shares_picked_out_of_few_in_their_order():
    rows = [*clips([1, 2], chosen="dead"), *clips([3, 4, 5], chosen="moribund", first=3), *clips([6], first=9)]
    alike = fish_alike(rows)
    assert shares_picked(alike, 20.0) == {"dead": 2 / 20, "moribund": 3 / 18}
    assert shares_picked(alike, 500.0) == {"moribund": 3 / 498}  # two of 500 leave the others as they are
    assert shares_picked(alike, 3.0) == {"dead": 2 / 3, "moribund": 1.0}


@pytest.mark.parametrize(("counts", "share"), [([0], 0.02), ([30], 1.0), ([30, 200], 1.0), ([12], 0.3), ([90000], 1.0)])
def test_fineness_is_the_geometric_mean_of_two_curvatures_in_powers_of_four(counts, share):
    rows = clips(counts, share=share)
    shape = float(np.max(SEEN.part_shape))
    size = np.inf if share == 1 else (shape + share) / (1 - share)
    sharp = sum(np.sqrt((n + 1) / (1 / (n + 1) + 1 / size)) for n in counts)
    found = fineness(rows, SEEN, np.full(400, 400.0))
    assert found == 1024.0 if sharp > 1024 else (found / 4 < max(sharp, 1.0) <= found)
    assert np.log2(found) % 2 == 0


# --- what the estimate does with it


def test_effort_is_that_of_a_pond_with_or_without_a_past(monkeypatch):
    """Without a past no pond need be run, so more are drawn; those that fit are run once more, each once."""
    asked = []

    def run(case, parasite, m, seed, ranks):
        asked.append(m)
        return past.run_past(case, parasite, m, seed, ranks)

    monkeypatch.setattr(fitting_ponds, "run_past", run)
    assert estimate.estimate(a_case(clips([2, 0])), draws=500).parasite == "dactylogyrus"
    assert asked[:2] == [1000, 3000]
    assert asked[-1] <= 2000
    asked.clear()
    case = a_case(clips([2, 0]), given=(dose(-8),), parasites=("gyrodactylus", "dactylogyrus"))
    found = estimate.estimate(case, "dactylogyrus", draws=9, effort=Effort(100, 300, 80))
    assert (found.parasite, asked[:2]) == ("dactylogyrus", [100, 300])
    assert found.effective_draws >= 20
    lines = found.text().splitlines()
    assert [line.removeprefix("Note: ") for line in lines if line.startswith("Note: ")] == found.warnings


def test_few_ponds_that_fit_are_no_answer(monkeypatch):
    """A likelihood that has nothing to do with the pond leaves one of them, and one pond is no answer."""
    rng = np.random.default_rng(3)
    by_chance = lambda runs, parasite: 100 * rng.standard_normal(runs.pond.size)  # noqa: E731
    monkeypatch.setattr(fitting_ponds, "log_likelihood", by_chance)
    with pytest.raises(TooFewDrawsError) as refused:
        estimate.estimate(a_case(clips([2, 0])), draws=60, effort=Effort(300, 300))
    assert refused.value.code == "too_few_draws"
    assert refused.value.effective_draws < 50


def test_resampling_takes_each_as_often_as_its_weight_says():
    weight = np.array([0.05, 0.4, 0.0, 0.35, 0.2])
    with np.errstate(divide="ignore"):
        chosen, worth = fitting_ponds.resample(np.log(weight) - 700.0, 1001, 3)
    counts = np.bincount(chosen, minlength=5)
    assert np.all(np.abs(counts - 1001 * weight) < 1)
    assert worth == pytest.approx(1 / (weight**2).sum())
    assert np.abs(np.mean(chosen[:500] == 1) - 0.4) < 0.06  # shuffled: any half is a fair sample


def test_what_nobody_looked_at_is_said_second():
    found = estimate.estimate(a_case(), draws=4, effort=Effort(40, 40, 20))
    assert found.text().splitlines()[1].startswith("No sample could be read")


def test_sick_fish_alone_are_read_in_two_ways():
    effort = Effort(60, 60, 20)
    sick = estimate.estimate(a_case(clips([9, 4], chosen="moribund")), draws=10, effort=effort)
    assert len(sick.by_tilt) == 2
    assert sick.sick_only
    assert estimate.estimate(a_case(clips([9, 4])), draws=4, effort=effort).by_tilt is None


def test_chance_of_being_among_few_that_were_picked():
    """A fish of rate y waits an exponential time of rate y^tilt; k 1 and tilt 1 take half by the time 1."""
    one = SEEN.take(np.zeros(3, int))
    full = replace(one, selection_bias=np.ones(3))
    y = np.array([[0.0, 0.5, 4.0]])
    found = looking.log_chance_picked("moribund", y, np.ones(3), full, 0.5)
    np.testing.assert_allclose(np.exp(found[0, 1:]), 1 - np.exp(-y[0, 1:]), rtol=0.02)
    assert found[0, 0] < -600
    assert (looking.log_chance_picked("moribund", y, np.ones(3), full, 1.0) == 0).all()
    even = np.exp(looking.log_chance_picked("random", y, np.ones(3), full, 0.3))
    np.testing.assert_allclose(even, 0.3, rtol=0.02)

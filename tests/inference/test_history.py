"""What a burden at the start is drawn from, who was there then, and what the estimate does with it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose
from scipy import stats

from burden.case import Arrival, DeathRecord, FishGroup, Uncertain
from burden.evidence import load_parasite
from burden.inference import estimate
from burden.inference import history as past
from burden.inference.prior import draw_pond
from burden.inference.sampler import Effort

EVIDENCE = load_parasite("dactylogyrus")
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


def test_what_nobody_looked_at_is_said_second():
    found = estimate.estimate(a_case(), draws=4, effort=Effort(40, 40, 20))
    assert found.text().splitlines()[1].startswith("No sample could be read")


def test_sick_fish_alone_are_read_in_two_ways():
    effort = Effort(60, 60, 20)
    sick = estimate.estimate(a_case(clips([9, 4], chosen="moribund")), draws=10, effort=effort)
    assert len(sick.by_tilt) == 2
    assert sick.sick_only
    assert estimate.estimate(a_case(clips([9, 4])), draws=4, effort=effort).by_tilt is None

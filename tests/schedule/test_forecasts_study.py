"""The study of forecasts in short: three ponds of whole flukes, judged; and that its tallies can fail."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))  # analysis is not part of the package

from analysis import forecasts
from analysis.visited import LOOK_DAYS, live_through
from burden.inference.sampler import Effort

SEEDS = (2, 4, 8)


@pytest.fixture(scope="module")
def judged():
    """Quick ponds, a dosed one among them, with few draws."""
    patched = pytest.MonkeyPatch()
    patched.setattr(forecasts, "DRAWS", 40)
    patched.setattr(forecasts, "estimate", partial(forecasts.estimate, effort=Effort(200, 500, 80)))
    rows = []
    for seed in SEEDS:
        row = forecasts.judge_pond(live_through(seed), seed)
        rows.append({key: f"{x:.5g}" if isinstance(x, float) else str(x) for key, x in row.items()})
    patched.undo()
    return rows


def test_most_bands_hold_what_happened(judged):
    """Of 18 bands of nominal 90 %, dependent within a pond, two thirds at the very least."""
    names = [f"{what}_{day}" for what in ("flukes", "deaths") for day in LOOK_DAYS]
    tallies = [forecasts.held(judged, name) for name in names]
    assert sum(n for _, n in tallies) == len(names) * len(SEEDS)
    assert sum(inside for inside, _ in tallies) >= 12


def test_samples_narrow_the_forecast_of_flukes(judged):
    lines = {line["what"]: line for line in forecasts.summary(judged)}
    assert lines["flukes_14"]["width"] < lines["flukes_14"]["width_blind"]


def test_a_forecast_ten_times_too_high_is_seen(judged):
    """The tally is no rubber stamp: ten times the truth, the bands hold less."""
    wrong = [{**row, "flukes_14_true": str(100 * float(row["flukes_14_high90"]) + 1)} for row in judged]
    assert forecasts.held(wrong, "flukes_14")[0] == 0


def test_the_truth_is_one_pond_lived_through():
    """Deaths never fall, the log's dead are gone, and the same seed gives the same pond."""
    truth, again = live_through(3), live_through(3)
    assert truth.flukes == again.flukes
    assert list(truth.deaths) == sorted(truth.deaths)
    assert truth.case.fish_count == truth.plot.fish - sum(row.deaths for row in truth.case.deaths)
    assert truth.by_flukes <= sum(row.deaths for row in truth.case.deaths)
    assert np.isfinite(truth.flukes[0])

"""Ponds that fit: how many are drawn, when they are too few, and that each is kept as often as its weight says."""

from __future__ import annotations

import numpy as np
import pytest
from cases import a_case, clips, dose

from burden.inference import estimate, fitting_ponds
from burden.inference import history as past
from burden.inference.sampler import Effort, TooFewDrawsError


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

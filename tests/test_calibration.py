"""The estimate means what it says: visits drawn from the prior, and a naive reading that the same checks reject."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis import calibration
from burden import estimate as estimating

#: visits of each kind without a past; the study itself runs more, with a past too
VISITS, KINDS = 55, [kind for kind in calibration.KINDS if kind.dose_day is None and kind.fish < 20]


@pytest.fixture(scope="module")
def visits() -> list[dict[str, object]]:
    """A few hundred visits, fewer draws than the product takes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(estimating, "_CHEAP_PILOT", 300)
        patch.setattr(estimating, "_LEAST_CHEAP", 800)
        patch.setattr(calibration, "DRAWS", 99)
        return [
            calibration.judge_visit(kind, 90_000 + 1000 * i + v) for i, kind in enumerate(KINDS) for v in range(VISITS)
        ]


def numbers(rows, name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def test_the_truth_ranks_evenly(visits):
    counts, low, high = calibration.even_ranks(numbers(visits, "rank"))
    assert counts.min() >= low
    assert counts.max() <= high


def test_of_each_kind_too(visits):
    for kind in KINDS:
        mine = [row for row in visits if row["kind"] == kind.name]
        assert stats.kstest(numbers(mine, "rank"), "uniform").pvalue > 0.001, kind.name


def test_the_interval_holds_what_it_says(visits):
    held, n = calibration.coverage(visits)
    assert stats.binomtest(held, n, 0.9).pvalue > 0.001


def test_a_naive_reading_is_rejected(visits):
    """Binomial, random picks, no clumping: the checks above can fail."""
    counts, _, high = calibration.even_ranks(numbers(visits, "naive_rank"))
    assert counts.max() > 1.5 * high
    held, n = calibration.coverage(visits, "naive_")
    assert stats.binomtest(held, n, 0.9).pvalue < 1e-6


def test_it_tells_more_than_the_prior_and_the_naive_reading(visits):
    for other in ("prior_score", "naive_score"):
        gain = numbers(visits, "score") - numbers(visits, other)
        assert gain.mean() > 3 * stats.sem(gain), other


def test_counts_of_another_pond_are_worse(visits):
    """Shuffled: intervals from one pond's counts do not hold the next pond's flukes."""
    truth = np.roll(numbers(visits, "flukes"), 1)
    held = int(((numbers(visits, "low") <= truth) & (truth <= numbers(visits, "high"))).sum())
    assert held < 0.7 * len(visits)

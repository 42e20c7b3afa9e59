"""The estimate means what it says: visits drawn from the prior, and a naive reading that the same checks reject."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analysis import calibration, visits  # noqa: E402
from burden.inference.sampler import Effort  # noqa: E402

#: visits of each kind without a past; the study itself runs more, with a past too
VISITS, KINDS = 14, [kind for kind in visits.KINDS if kind.dose_day is None and kind.fish < 20]


@pytest.fixture(scope="module")
def judged() -> list[dict[str, object]]:
    """Some five dozen visits, fewer ponds than the study takes; what sick fish alone may hide is not judged here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("burden.inference.estimate._by_tilt", lambda *_: None)
        patch.setattr(calibration, "EFFORT", Effort(300, 500))
        return [
            calibration.judge_visit(kind, 900_000 + 1000 * i + v) for i, kind in enumerate(KINDS) for v in range(VISITS)
        ]


def numbers(rows, name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def test_the_truth_ranks_evenly(judged):
    counts, low, high = calibration.even_ranks(numbers(judged, "rank"), calibration.FEW_BINS)
    assert counts.min() >= low
    assert counts.max() <= high


def test_of_each_kind_too(judged):
    for kind in KINDS:
        mine = [row for row in judged if row["kind"] == kind.name]
        assert stats.kstest(numbers(mine, "rank"), "uniform").pvalue > 0.001, kind.name


def test_the_interval_holds_what_it_says(judged):
    held, n = calibration.coverage(judged)
    assert stats.binomtest(held, n, 0.9).pvalue > 0.001


def test_a_naive_reading_is_rejected(judged):
    """Binomial, random picks, no clumping: the checks above can fail."""
    counts, _, high = calibration.even_ranks(numbers(judged, "naive_rank"), calibration.FEW_BINS)
    assert counts.max() > 1.2 * high
    held, n = calibration.coverage(judged, "naive_")
    assert stats.binomtest(held, n, 0.9).pvalue < 1e-6


def test_it_tells_more_than_the_prior_and_the_naive_reading(judged):
    for other in ("prior_score", "naive_score"):
        gain = numbers(judged, "score") - numbers(judged, other)
        assert gain.mean() > 3 * stats.sem(gain), other


def test_shuffled_counts_worsen_the_score(judged):
    """Counts of another pond: intervals miss, and the score falls."""
    laws = [stats.norm(np.log1p(float(row["median"])), _width(row)) for row in judged]
    truth = np.log1p(numbers(judged, "flukes"))
    own, shuffled = (
        np.array([law.logpdf(x) for law, x in zip(laws, xs, strict=True)]) for xs in (truth, np.roll(truth, 1))
    )
    assert own.mean() > shuffled.mean()
    assert stats.wilcoxon(own, shuffled, alternative="greater").pvalue < 0.001
    low, high = np.log1p(numbers(judged, "low")), np.log1p(numbers(judged, "high"))
    held = [int(((low <= xs) & (xs <= high)).sum()) for xs in (truth, np.roll(truth, 1))]
    assert stats.binomtest(held[1], len(judged), 0.9).pvalue < 0.001 < stats.binomtest(held[0], len(judged), 0.9).pvalue


def _width(row) -> float:
    """Standard deviation of the log number of flukes, from its 90 % interval; at least a little."""
    return max(float(np.log1p(float(row["high"])) - np.log1p(float(row["low"]))) / 3.29, 0.3)


def test_visits_of_whole_flukes_are_told_of_by_the_same_estimate():
    """A wrong model on purpose: how often the interval holds is for the study to say; here that a visit scores."""
    kind = visits.Kind(5, "moribund", dose_day=-8)
    row = calibration.judge_visit(kind, 910_001, "whole_flukes")
    assert 0 < float(row["rank"]) < 1
    assert np.isfinite(float(row["score"]))
    again = visits.watch_visit(kind, 910_001)
    assert again.flukes == int(row["flukes"])
    assert {r.date for r in again.case.samples} == {visits.VISIT, again.case.given[0].date}


def test_ranks_that_are_not_even_leave_the_band():
    rng = np.random.default_rng(1)
    for ranks, within in (
        (rng.random(4000), True),
        (rng.beta(0.8, 0.8, 4000), False),
        (rng.random(4000) ** 1.1, False),
    ):
        counts, low, high = calibration.even_ranks(ranks)
        assert (low <= counts.min() and counts.max() <= high) == within


@pytest.mark.skipif(
    not (ROOT / "analysis/results/calibration_summary.csv").exists(), reason="the study has not been run"
)
def test_the_study_that_is_kept_says_the_same():
    """The table in the repository: its summary is that of its visits."""
    with (ROOT / "analysis/results/calibration.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (ROOT / "analysis/results/calibration_summary.csv").open(encoding="utf-8", newline="") as file:
        kept = list(csv.DictReader(file))
    told = [{name: str(value) for name, value in row.items()} for row in calibration.summarise(rows)]
    assert told == kept

"""Ponds that fit what was written down: drawn in rounds, run once more, and drawn from by their weights."""

from __future__ import annotations

import zlib
from collections.abc import Mapping

import numpy as np

from burden.case import Case
from burden.inference.earlier_visits import ROUGH_NODES
from burden.inference.finite_stock import StockBurden, present_on
from burden.inference.history import (
    HistoryRuns,
    log_likelihood,
    log_likelihood_before,
    run_past,
    stage_shares,
    with_drift,
)
from burden.inference.looks_on_record import rows_by_day
from burden.inference.observation_parameters import TILT_STREAM
from burden.inference.sampler import Effort, Sampled, sample
from burden.statistics.adaptive_importance import effective_size
from burden.utils.progress import report_progress
from burden.utils.random_streams import uniform_draws

__all__ = ["ponds_kept", "ponds_sampled", "resample", "spare_draws", "those_that_fit"]

#: draws for each one kept, where they are weighed by how the sick were picked
_SPARE_DRAWS = 4
#: and at least so many, however few are kept
_LEAST_SPARE = 600


def ponds_sampled(
    case: Case, parasite: str, effort: Effort, seed: int, tilt: float | None = None
) -> Sampled[HistoryRuns]:
    """Draw ponds until enough of them fit; with `tilt` as fish would be that were picked so strongly by burden."""

    def draw(
        m: int, round_seed: int, ranks: Mapping[str, np.ndarray]
    ) -> tuple[HistoryRuns, Mapping[str, np.ndarray], np.ndarray]:
        held = _held(tilt, m)
        runs = run_past(case, parasite, m, round_seed, {**ranks, **held})
        drawn = {name: rank for name, rank in runs.ranks.items() if name not in held}
        return runs, drawn, log_likelihood(runs, parasite)

    def report(number: int) -> None:
        what = "the pond so far" if number == 0 else f"flukes behind the samples, round {number}"
        report_progress(f"{parasite}: {what}")

    return sample(draw, effort, seed, report)


def _held(tilt: float | None, n: int) -> dict[str, np.ndarray]:
    """Ranks of the stream of the tilt where it is held, shape (n,); nothing where it is drawn."""
    return {} if tilt is None else {TILT_STREAM: np.full(n, tilt)}


def those_that_fit(
    case: Case, found: Sampled[HistoryRuns], parasite: str, n: int, seed: int, tilt: float | None = None
) -> tuple[HistoryRuns, np.ndarray]:
    """Run once more n of all ponds drawn, by their weights; each of them once, with the log of its weight.

    That is how often it came, times how much likelier it makes the looks from before the run begins than a rough
    reading had it.
    """
    places, times = np.unique(resample(found.log_weight, n, seed)[0], return_counts=True)
    ranks = found.at(places) | _held(tilt, places.size)
    runs = with_drift(run_past(case, parasite, places.size, seed, ranks), parasite, seed)
    return runs, np.log(times) + log_likelihood_before(runs, parasite) - _rough(runs, parasite)


def _rough(runs: HistoryRuns, parasite: str) -> np.ndarray:
    return log_likelihood_before(runs, parasite, ROUGH_NODES)


def ponds_kept(
    past: HistoryRuns, log_posterior: np.ndarray, parasite: str, draws: int, seed: int
) -> tuple[np.ndarray, StockBurden, float]:
    """Positions of the ponds drawn, what is on the stock in each, and the draws their weights are worth.

    Where fish chosen as sick came out of few, more is drawn and weighed by the chance that just these were picked.
    """
    case, evidence = past.pond.case, past.pond.setting.parameters.evidence
    dosed = any(event.kill and event.day == 0 for event in past.pond.given)  # since: today's counts no longer hold
    rows = () if dosed else rows_by_day(case, parasite).get(0.0, [])
    weighed = any(row.chosen != "random" for row in rows)
    chosen, effective = resample(log_posterior, spare_draws(draws) if weighed else draws, seed)
    pond, seen = past.pond.take(chosen), past.seen.take(chosen)
    burden = past.state.flukes_per_fish(past.pond.setting.fish) * past.strayed_by(0.0)
    stock = present_on(
        case.fish_count,
        rows,
        burden[chosen],
        pond.setting.parameters["aggregation"],
        seen,
        evidence.site,
        pond.setting.fish.weight_g.mean(0),
        np.random.default_rng([seed, zlib.crc32(b"flukes on the stock")]),
        {stage: share[chosen] for stage, share in stage_shares(past, 0.0).items()},
    )
    if weighed:
        kept, worth = resample(stock.log_weight, draws, seed)
        chosen, stock, effective = chosen[kept], stock.take(kept), min(effective, worth)
    return chosen, stock, effective


def spare_draws(draws: int) -> int:
    """Ponds that are run again, and weighed by how the sick were picked, for so many draws."""
    return max(_SPARE_DRAWS * draws, _LEAST_SPARE)


def resample(log_weight: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, float]:
    """Systematic resampling: positions, shape (n,), and the number of draws the weights are worth."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    points = (np.arange(n) + uniform_draws("resample", 1, seed)[0]) / n
    chosen = np.searchsorted(np.cumsum(weight), points, side="left")
    chosen = np.minimum(chosen, weight.size - 1)
    # neighbours of a resample are copies; a fixed shuffle keeps any half of the draws a fair sample
    order = np.argsort(uniform_draws("order of the resample", n, seed), kind="stable")
    return chosen[order], effective_size(log_weight)

"""Does the estimate mean what it says? Thousands of simulated visits, estimated, and the truth ranked.

Run: python -m analysis.calibration                                about 45 minutes on one idle core, 4,002 visits
     python -m analysis.calibration --simulator whole_flukes --visits 60    about 15 minutes, 480 visits

Visits are of twelve kinds: 1, 5 or 20 fish; random or moribund; dosed eight days before (and looked at then too) or
not. By the model of the estimate itself they are drawn from its prior: if it is right, the true number of flukes ranks
evenly among its draws, its 90 % interval holds the truth 90 times in 100, and it tells more than the prior did.
By the whole-fluke simulator they come from a wrong model on purpose, and what the interval still holds is reported.
Beside both stands a deliberately naive reading, which takes every preparation as a binomial sample of a random fish:
the same checks must reject it. To keep a visit near half a second, each is estimated with 99 draws out of 900
ponds or more, less than half of what the product takes; where that is refused, by the product's own effort.

Writes results/calibration.csv (calibration_whole_flukes.csv), a row a visit, kept as it goes: a second start goes on
where the first ended. Also results/calibration_summary.csv, a row a kind, and figures/calibration.svg, the ranks of
the estimate and of the naive reading within their simultaneous 99 % bands.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
from scipy import stats

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from analysis.visits import FISH, KINDS, MAKERS, VISIT, Kind, Visit, empty_case  # noqa: E402
from burden.inference.estimate import estimate  # noqa: E402
from burden.inference.estimate_result import Estimate  # noqa: E402
from burden.inference.sampler import Effort, TooFewDrawsError  # noqa: E402

__all__ = ["coverage", "even_ranks", "judge_visit", "naive_draws", "summary_row"]

DRAWS, EFFORT = 99, Effort(pilot=300, ponds=600)
#: bins of the rank histograms of all visits, and of one kind
BINS, FEW_BINS = 20, 10
#: median share of the gills of a carp of 400 g that a clip shows, as the estimate takes it [-]
_CLIP_SHARE = 0.012 * (150 / 400) ** 0.8


def naive_draws(visit: Visit, rng: np.random.Generator, draws: int = DRAWS) -> np.ndarray:
    """Posterior of the number of flukes if clips were plain binomial samples of random fish, with a flat prior.

    Counts add up, the share seen is its median, no clumping, no aggregation, every fluke in view counted, no sick fish.
    The binomial of a small share of many flukes is taken as Poisson.
    """
    rows = [row for row in visit.case.samples if row.date == VISIT]
    total = sum(row.count_low for row in rows)
    fish = visit.case.fish_count
    return rng.poisson(fish * rng.gamma(total + 0.5, 1 / (len(rows) * _CLIP_SHARE), draws))


def _told(found: Estimate) -> np.ndarray:
    """Flukes on all living fish, one number a draw."""
    uptake = (found.state.alive * found.pond.setting.fish.susceptibility).sum(1)
    return np.rint(sum((chain.sum(0) * uptake).sum(0) for chain in found.state.fish.values()))


@cache
def _prior(dose_day: int | None) -> np.ndarray:
    """What is believed of a pond, its dose included, before anybody looked: 2,000 draws, made once."""
    return _told(estimate(empty_case(Kind(1, dose_day=dose_day)), draws=2000, seed=5))


def judge_visit(kind: Kind, seed: int, simulator: str = "own") -> dict[str, object]:
    """Simulate and estimate one visit: rank of the truth, the interval, log scores."""
    began = time.process_time()
    visit = MAKERS[simulator](kind, seed)
    found = _estimated(visit, seed + 5_000_000)
    told, rng = _told(found), np.random.default_rng([seed, 72])
    naive = naive_draws(visit, rng)
    row: dict[str, object] = {"kind": kind.name, "seed": seed, "flukes": visit.flukes}
    row |= {"counted": sum(r.count_low for r in visit.case.samples if r.date == VISIT)}
    row |= {"rank": _rank(visit.flukes, told, rng), "naive_rank": _rank(visit.flukes, naive, rng)}
    row |= {"low": found.flukes_total.low, "median": found.flukes_total.median, "high": found.flukes_total.high}
    row |= {"effective_draws": found.effective_draws}
    row |= {"score": _log_score(visit.flukes, told), "naive_score": _log_score(visit.flukes, naive)}
    seconds = time.process_time() - began
    row |= {"prior_score": _log_score(visit.flukes, _prior(kind.dose_day)), "seconds": seconds}
    return {name: f"{x:.5g}" if isinstance(x, float) else x for name, x in row.items()}


def _estimated(visit: Visit, seed: int) -> Estimate:
    """With little effort; with the product's own where that is refused, so that no hard visit is left out."""
    try:
        return estimate(visit.case, draws=DRAWS, seed=seed, effort=EFFORT)
    except TooFewDrawsError:
        return estimate(visit.case, draws=DRAWS, seed=seed)


def _rank(truth: float, draws: np.ndarray, rng: np.random.Generator) -> float:
    """Share of draws below the truth, ties split at random, in (0, 1)."""
    below, equal = int((draws < truth).sum()), int((draws == truth).sum())
    return (below + rng.integers(0, equal + 1) + rng.random()) / (len(draws) + 1)


def _log_score(truth: float, draws: np.ndarray) -> float:
    """Log density of ln(1 + truth) by a normal kernel over the draws; a twentieth of it is wide, so no score is −∞."""
    x = np.log1p(draws)
    width = max(1.06 * float(np.std(x)) * len(x) ** -0.2, 0.1)
    dense = float(np.mean(stats.norm.pdf(np.log1p(truth), x, width)))
    return float(np.log(0.95 * dense + 0.05 * stats.norm.pdf(np.log1p(truth), np.log(100 * FISH), 3.0)))


def even_ranks(ranks: Sequence[float], bins: int = BINS, level: float = 0.99) -> tuple[np.ndarray, int, int]:
    """Histogram of ranks, and the bounds within which all bins stay at once with the level's probability.

    The bounds are each bin's binomial ones at a level shared out over the bins (Bonferroni).
    """
    counts = np.histogram(np.asarray(ranks, float), bins, (0, 1))[0]
    edge = (1 - level) / (2 * bins)
    low, high = stats.binom.ppf([edge, 1 - edge], len(ranks), 1 / bins)
    return counts, int(low), int(high)


def coverage(rows: Sequence[dict[str, object]], prefix: str = "", share: float = 0.9) -> tuple[int, int]:
    """Visits whose interval of a share, 0.9 or another, holds the true number, by the truth's rank, and visits."""
    ranks = _numbers(rows, f"{prefix}rank")
    return int((np.abs(ranks - 0.5) < share / 2).sum()), len(ranks)


def _percent_held(rows: Sequence[dict[str, object]], share: float) -> float:
    held, n = coverage(rows, share=share)
    return 100 * held / n


def _numbers(rows: Sequence[dict[str, object]], name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def summary_row(name: str, rows: Sequence[dict[str, object]], bins: int = FEW_BINS) -> dict[str, object]:
    """What the visits of a kind show, by estimate and by naive reading."""
    found: dict[str, object] = {"kind": name, "visits": len(rows)}
    for prefix in ("", "naive_"):
        held, n = coverage(rows, prefix)
        counts, low, high = even_ranks(_numbers(rows, f"{prefix}rank"), bins)
        found[f"{prefix}held_percent"] = f"{100 * held / n:.1f}"
        found[f"{prefix}fewest_in_a_bin"], found[f"{prefix}most_in_a_bin"] = int(counts.min()), int(counts.max())
        found[f"{prefix}within_band"] = bool(low <= counts.min() and counts.max() <= high)
    found |= {f"held_{share}_percent": f"{_percent_held(rows, share / 100):.1f}" for share in (50, 80)}
    found |= {"band_from": low, "band_to": high}
    for other in ("prior", "naive"):
        gain = _numbers(rows, "score") - _numbers(rows, f"{other}_score")
        found[f"gain_over_{other}"] = f"{gain.mean():.3f}"
        found[f"gain_over_{other}_se"] = f"{stats.sem(gain):.3f}"
    found["seconds_a_visit"] = f"{_numbers(rows, 'seconds').mean():.2f}"
    return found


def summarise(rows: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """One row a kind, the last of all visits together."""
    by_kind = {kind.name: [row for row in rows if row["kind"] == kind.name] for kind in KINDS}
    found = [summary_row(name, mine) for name, mine in by_kind.items() if mine]
    return [*found, summary_row("all", rows, BINS)]


def _words(row: dict[str, object]) -> str:
    within = "within" if row["within_band"] else "NOT within"
    return (
        f"{row['kind']}: the 90 % interval holds the truth in {row['held_percent']} % of {row['visits']} visits (the "
        f"naive one in {row['naive_held_percent']} %), the 80 % one in {row['held_80_percent']} %, the 50 % one in "
        f"{row['held_50_percent']} %; {row['fewest_in_a_bin']} to {row['most_in_a_bin']} ranks a bin, "
        f"{within} {row['band_from']} to {row['band_to']}; log score {row['gain_over_prior']} (standard error "
        f"{row['gain_over_prior_se']}) above the prior's, {row['gain_over_naive']} above the naive one's"
    )


def draw_figure(rows: Sequence[dict[str, object]], path: Path) -> None:
    """Rank histograms of all visits, the estimate and the naive reading, and of each kind, with their bands."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from burden.report.figures.style import BAND_50, BAND_90, LINE, bare, svg_bytes

    def histogram(axis, mine, name, bins, title):
        counts, low, high = even_ranks(_numbers(mine, name), bins)
        axis.axhspan(low, high, color=BAND_90, linewidth=0)
        axis.bar((np.arange(bins) + 0.5) / bins, counts, 0.9 / bins, color=BAND_50, edgecolor=LINE)
        axis.set_title(title, fontsize=8.5)
        bare(axis)

    def figure():
        drawn = plt.figure(figsize=(12, 8), layout="constrained")
        grid = drawn.add_gridspec(3, 6, height_ratios=(1.4, 1, 1))
        wide = [drawn.add_subplot(grid[0, :3]), drawn.add_subplot(grid[0, 3:])]
        histogram(wide[0], rows, "rank", BINS, f"all {len(rows)} visits, the estimate")
        histogram(wide[1], rows, "naive_rank", BINS, "all visits, the naive reading")
        wide[0].set_ylabel("visits")
        for i, kind in enumerate(KINDS):
            mine = [row for row in rows if row["kind"] == kind.name]
            axis = drawn.add_subplot(grid[1 + i // 6, i % 6])
            if mine:
                histogram(axis, mine, "rank", FEW_BINS, kind.name.replace(", ", "\n"))
            if i >= 6:
                axis.set_xlabel("rank of the truth")
        return drawn

    path.parent.mkdir(exist_ok=True)
    path.write_bytes(svg_bytes(figure, "calibration"))
    plt.close("all")


def _read(path: Path) -> list[dict[str, object]]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path: Path, rows: Sequence[dict[str, object]], *, mode: str = "w") -> None:
    path.parent.mkdir(exist_ok=True)
    head = mode == "w" or not path.exists()
    with path.open(mode, encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        if head:
            writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Judge what is missing, keep the table, summarise, draw the figure, print what they show."""
    parser = argparse.ArgumentParser(description="Ranks of the truth among the draws of the estimate.")
    parser.add_argument("--visits", type=int, default=500, help="of each kind; a third of it of those with a dose")
    parser.add_argument("--simulator", choices=tuple(MAKERS), default="own")
    parser.add_argument("--table", type=Path, help="where the visits are kept, for instance outside the project")
    options = parser.parse_args()
    ending = "" if options.simulator == "own" else f"_{options.simulator}"
    table = options.table or HERE / "results" / f"calibration{ending}.csv"
    done = {(row["kind"], int(row["seed"])) for row in _read(table)}
    for i in range(options.visits):
        for number, kind in enumerate(KINDS):
            seed = 10_000 * (number + 1) + i
            if (kind.name, seed) not in done and (kind.dose_day is None or i % 3 == 0):
                _write(table, [judge_visit(kind, seed, options.simulator)], mode="a")
    rows = _read(table)
    summary = summarise(rows)
    _write(HERE / "results" / f"calibration{ending}_summary.csv", summary)
    draw_figure(rows, HERE / "figures" / f"calibration{ending}.svg")
    for row in summary:
        print(_words(row))


if __name__ == "__main__":
    main()

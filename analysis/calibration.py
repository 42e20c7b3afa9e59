"""Does the estimate mean what it says? Visits drawn from the prior itself, estimated, and the truth ranked.

Run: python analysis/calibration.py [VISITS]     (default 60 of each kind; about 4 minutes on one idle core)

A pond, its fish, the flukes on each of them and what the preparations showed are drawn as whole numbers: burdens by the
prior, a part-count as a beta share of the flukes, sick fish with a chance that rises with their burden. The estimate
sees the counts alone. If it is right, the true number of flukes ranks evenly among its draws, its 90 % interval holds
the truth 90 times in 100, and it tells more than the prior did. Beside it stands a deliberately naive reading, which
takes every preparation as a binomial sample of a random fish: the same checks must reject it.

Writes results/calibration.csv, a row a visit, kept as it goes: a second start goes on where the first ended. Also
figures/calibration.svg, the ranks of both within their simultaneous 99 % bands.
"""

from __future__ import annotations

import csv
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from scipy import stats

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from burden.case import (  # noqa: E402
    Action,
    Case,
    ConstantTemperature,
    FishGroup,
    Preparation,
    Uncertain,
    Water,
)
from burden.estimate import PRIOR_NONE, draw_seen, estimate, share_examined  # noqa: E402
from burden.past import run_past  # noqa: E402
from burden.pond import draw_pond  # noqa: E402

__all__ = ["KINDS", "Kind", "Visit", "coverage", "even_ranks", "judge_visit", "naive_draws", "simulate_visit"]

VISIT, PARASITE = date(2026, 5, 10), "dactylogyrus"
FISH, DRAWS = 60, 199
#: bins of the rank histograms
BINS = 10


@dataclass(frozen=True)
class Kind:
    """Visits of one kind: how many fish, chosen how, how many clips of each, and the day of a dose before it."""

    name: str
    fish: int
    chosen: str = "random"
    clips: int = 1
    dose_day: int | None = None


KINDS = (
    Kind("one fish, three clips", 1, clips=3),
    Kind("five fish", 5),
    Kind("twenty fish", 20),
    Kind("five moribund fish", 5, "moribund"),
    Kind("five fish, dosed 8 d before", 5, dose_day=-8),
)


@dataclass(frozen=True)
class Visit:
    """A visit as the estimate sees it, and what is true: flukes on all fish now, and the draw the truth came from."""

    case: Case
    flukes: int
    kind: Kind


def _empty_case(kind: Kind) -> Case:
    water = Water(Uncertain(12_000.0, 9_000.0, 16_000.0, "paced"), "fresh", ConstantTemperature(18.0), 0.02)
    fish = FishGroup("common carp", FISH, False, Uncertain(400.0, 300.0, 540.0, "judged"))
    bath = {"agent": "praziquantel", "route": "bath", "mg_l": 4.0, "hours": 24.0}
    given = () if kind.dose_day is None else (Action(VISIT + timedelta(days=kind.dose_day), **bath),)
    return Case("simulated", VISIT, water, (fish,), (PARASITE,), given=given)


def simulate_visit(kind: Kind, seed: int) -> Visit:
    """Draw a pond from the prior and look at some of its fish, on the day of the dose too where there was one."""
    rng, case = np.random.default_rng([seed, 71]), _empty_case(kind)
    days = [0] if kind.dose_day is None else [kind.dose_day, 0]
    rows = [row for day in days for row in _rows(kind, day)]
    past = run_past(replace(case, samples=tuple(rows)), PARASITE, 1, seed, None)
    pond = draw_pond(case, PARASITE, 1, seed)
    parameters, weight = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
    seen, k = draw_seen(parameters.evidence, 1, seed), float(parameters["aggregation"][0])
    carries = rng.random() >= PRIOR_NONE
    counted, flukes = [], 0
    for day in days:
        mean = float(past.by_day[float(day)]["all"][0]) * carries
        rates = rng.gamma(k, 1 / k, FISH) * mean
        burden = rng.poisson(rates)
        tilt = float(seen.tilt[0]) if kind.chosen == "moribund" else 0.0
        chance = (rates + 1e-12) ** tilt
        places = rng.choice(FISH, kind.fish, replace=False, p=chance / chance.sum())
        for row in (r for r in rows if r.date == VISIT + timedelta(days=day)):
            share = float(share_examined(row, seen, weight)[0])
            there = rng.binomial(burden[places[int(row.fish) - 1]], seen.site_share[0])
            a = float(seen.part_shape[0])
            part = rng.beta(a, a * (1 - share) / share) if share < 1 else 1.0
            count = int(rng.binomial(there, part * seen.detection[0]))
            counted.append(replace(row, count_low=count, count_high=count))
        flukes = int(burden.sum())
    return Visit(replace(case, samples=tuple(counted)), flukes, kind)


def _rows(kind: Kind, day: int) -> list[Preparation]:
    when = VISIT + timedelta(days=day)
    labels = [str(fish) for fish in range(1, kind.fish + 1) for _ in range(kind.clips)]
    return [Preparation(when, label, kind.chosen, "gill", 0, 0, method="gill_clip") for label in labels]


def naive_draws(visit: Visit, rng: np.random.Generator, draws: int = DRAWS) -> np.ndarray:
    """Posterior of the number of flukes if clips were plain Poisson samples of random fish, with a flat prior.

    Counts add up, the share seen is its median, no clumping, no aggregation, every fluke in view counted, no sick fish.
    """
    rows = [row for row in visit.case.samples if row.date == VISIT]
    share = 0.012 * (150 / 400) ** 0.8
    total = sum(row.count_low for row in rows)
    return rng.poisson(FISH * rng.gamma(total + 0.5, 1 / (len(rows) * share), draws))


def judge_visit(kind: Kind, seed: int) -> dict[str, object]:
    """Simulate and estimate one visit: rank of the truth, whether the interval holds it, log scores."""
    began = time.process_time()
    visit = simulate_visit(kind, seed)
    found = estimate(visit.case, draws=DRAWS, seed=seed + 500_000)
    uptake = (found.state.alive * found.pond.setting.fish.susceptibility).sum(1)
    told = np.rint(sum((chain.sum(0) * uptake).sum(0) for chain in found.state.fish.values()))
    rng = np.random.default_rng([seed, 72])
    naive = naive_draws(visit, rng)
    row: dict[str, object] = {"kind": kind.name, "seed": seed, "flukes": visit.flukes}
    row |= {"counted": sum(r.count_low for r in visit.case.samples if r.date == VISIT)}
    row |= {"rank": _rank(visit.flukes, told, rng), "naive_rank": _rank(visit.flukes, naive, rng)}
    row |= {"low": found.flukes_total.low, "median": found.flukes_total.median, "high": found.flukes_total.high}
    row |= {"naive_low": np.quantile(naive, 0.05), "naive_high": np.quantile(naive, 0.95)}
    row |= {"effective_draws": found.effective_draws}
    row |= {"score": _log_score(visit.flukes, told), "naive_score": _log_score(visit.flukes, naive)}
    row |= {"prior_score": _prior_score(visit.flukes), "seconds": time.process_time() - began}
    return {name: f"{x:.5g}" if isinstance(x, float) else x for name, x in row.items()}


def _rank(truth: float, draws: np.ndarray, rng: np.random.Generator) -> float:
    """Share of draws below the truth, ties split at random, in (0, 1)."""
    below, equal = int((draws < truth).sum()), int((draws == truth).sum())
    return (below + rng.integers(0, equal + 1) + rng.random()) / (len(draws) + 1)


def _log_score(truth: float, draws: np.ndarray) -> float:
    """Log density of ln(1 + truth) by a normal kernel over the draws; a twentieth of it is wide, so no score is −∞."""
    x = np.log1p(draws)
    width = max(1.06 * float(np.std(x)) * len(x) ** -0.2, 0.1)
    dense = float(np.mean(stats.norm.pdf(np.log1p(truth), x, width)))
    return float(np.log(0.95 * dense + 0.05 * stats.norm.pdf(np.log1p(truth), np.log(6000), 3.0)))


_PRIOR: list[np.ndarray] = []


def _prior_score(truth: float) -> float:
    """Log score of the prior, from draws of it made once."""
    if not _PRIOR:
        rng = np.random.default_rng(5)
        mean = 100 * np.exp(2.0 * rng.standard_normal(2000)) * (rng.random(2000) >= PRIOR_NONE)
        _PRIOR.append(rng.poisson(mean * FISH))
    return _log_score(truth, _PRIOR[0])


def even_ranks(ranks: Sequence[float], bins: int = BINS, level: float = 0.99) -> tuple[np.ndarray, int, int]:
    """Histogram of ranks, and the bounds within which all bins stay at once with the level's probability.

    The bounds are each bin's binomial ones at a level shared out over the bins (Bonferroni).
    """
    counts = np.histogram(np.asarray(ranks, float), bins, (0, 1))[0]
    edge = (1 - level) / (2 * bins)
    low, high = stats.binom.ppf([edge, 1 - edge], len(ranks), 1 / bins)
    return counts, int(low), int(high)


def coverage(rows: Sequence[dict[str, object]], prefix: str = "") -> tuple[int, int]:
    """Visits whose 90 % interval holds the true number, and visits."""
    held = [float(r[f"{prefix}low"]) <= float(r["flukes"]) <= float(r[f"{prefix}high"]) for r in rows]
    return sum(held), len(held)


RESULTS, FIGURE = HERE / "results" / "calibration.csv", HERE / "figures" / "calibration.svg"


def _kept() -> list[dict[str, object]]:
    if not RESULTS.exists():
        return []
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def draw_figure(rows: Sequence[dict[str, object]], path: Path) -> None:
    """Rank histograms, the estimate above and the naive reading below, with their bands."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from burden.report.style import BAND_50, BAND_90, LINE, bare, svg_bytes

    def figure():
        drawn, axes = plt.subplots(2, len(KINDS), figsize=(12, 4.6), sharex=True, layout="constrained")
        for column, kind in zip(axes.T, KINDS, strict=True):
            mine = [row for row in rows if row["kind"] == kind.name]
            for axis, name in zip(column, ("rank", "naive_rank"), strict=True):
                counts, low, high = even_ranks([float(row[name]) for row in mine])
                axis.axhspan(low, high, color=BAND_90, linewidth=0)
                axis.bar((np.arange(BINS) + 0.5) / BINS, counts, 0.9 / BINS, color=BAND_50, edgecolor=LINE)
                bare(axis)
            column[0].set_title(kind.name, fontsize=8.5)
            column[1].set_xlabel("rank of the truth")
        axes[0, 0].set_ylabel("visits, the estimate")
        axes[1, 0].set_ylabel("visits, the naive reading")
        return drawn

    path.parent.mkdir(exist_ok=True)
    path.write_bytes(svg_bytes(figure, "calibration"))
    plt.close("all")


def main(visits: int = 60) -> None:
    """Judge what is missing, keep the table, draw the figure, print what they show."""
    rows = _kept()
    done = {(row["kind"], int(row["seed"])) for row in rows}
    for i in range(visits):
        for number, kind in enumerate(KINDS):
            seed = 1000 * (number + 1) + i
            if (kind.name, seed) in done:
                continue
            row = judge_visit(kind, seed)
            new = not RESULTS.exists()
            RESULTS.parent.mkdir(exist_ok=True)
            with RESULTS.open("a", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, list(row), lineterminator="\n")
                if new:
                    writer.writeheader()
                writer.writerow(row)
    rows = _kept()
    draw_figure(rows, FIGURE)
    for kind in KINDS:
        mine = [row for row in rows if row["kind"] == kind.name]
        print(summary(kind.name, mine))


def summary(name: str, rows: Sequence[dict[str, object]]) -> str:
    """Say what the visits of a kind show."""
    held, n = coverage(rows)
    naive = coverage(rows, "naive_")[0]
    counts, low, high = even_ranks([float(row["rank"]) for row in rows])
    mean = {key: np.mean([float(row[key]) for row in rows]) for key in ("score", "prior_score", "naive_score")}
    return (
        f"{name}: the 90 % interval holds the truth in {held} of {n} visits (the naive one in {naive}); ranks "
        f"{counts.tolist()} within {low} to {high}; log score {mean['score']:.2f}, prior {mean['prior_score']:.2f}, "
        f"naive {mean['naive_score']:.2f}; median of {np.median([float(r['effective_draws']) for r in rows]):.0f} "
        f"effective draws."
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

"""Who killed the fish? Invented outbreaks of known cause, and what the estimate makes of each.

Run: python -m analysis.outbreaks                some five minutes on one idle core, 36 outbreaks

Ponds are drawn from the prior of the estimate, run through six weeks, and their fish die as whole fish: of flukes
(ponds in which flukes are to kill eight or more), of something else (they are to kill less than half a fish, and
an outbreak of a shape the estimate does not have: growing by a constant factor a day, all at once for four days, or
steady from a day on), or of both. Each is written down as a log and six clips, and estimated. What counts: whether the
90 % interval of the number killed by flukes holds the true one, on which side it misses, and whether a verdict
("surely flukes", "surely something else") was wrong. Writes results/outbreaks.csv, a row an outbreak, and
results/outbreaks_summary.csv.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from burden.case import Case, ConstantTemperature, DeathRecord, FishGroup, Preparation, Uncertain, Water
from burden.inference.estimate import estimate
from burden.inference.history import run_past
from burden.inference.observation_parameters import share_examined
from burden.inference.sampler import TooFewDrawsError

__all__ = ["CAUSES", "invent", "judge"]

HERE, VISIT, PARASITE, FISH = Path(__file__).resolve().parent, date(2026, 6, 15), "dactylogyrus", 200
CAUSES = ("flukes", "something else", "both")
#: rows of the log: weeks up to the last fortnight, then days
_SPANS = tuple((-7 * i, 7) for i in range(5, 1, -1)) + tuple((-i, 1) for i in range(13, -1, -1))


def _empty_case() -> Case:
    water = Water(Uncertain(30_000.0, 24_000.0, 37_000.0, "paced"), "fresh", ConstantTemperature(20.0), 0.02)
    fish = FishGroup("common carp", FISH, False, Uncertain(150.0, 110.0, 200.0, "judged"))
    rows = tuple(Preparation(VISIT, f"{i}", "random", "gill", 0, 0, method="gill_clip") for i in range(6))
    log = tuple(DeathRecord(VISIT + timedelta(days=day), 0, covers) for day, covers in _SPANS)
    return Case("invented", VISIT, water, (fish,), (PARASITE,), samples=rows, deaths=log)


def _other_rates(rng: np.random.Generator) -> np.ndarray:
    """Death rate of another disease on each day of the last six weeks, shape (42,) [1/d]."""
    day, peak = np.arange(-41, 1), float(np.exp(rng.uniform(np.log(0.01), np.log(0.05))))
    shape = rng.integers(3)
    if shape == 0:  # grows by a constant factor a day
        return peak * np.exp(day / rng.uniform(2, 6))
    onset = -int(rng.integers(4, 25))
    if shape == 1:  # all at once
        return 2 * peak * ((day >= onset) & (day < onset + 4))
    return 0.7 * peak * (day >= onset)


def invent(cause: str, seed: int) -> tuple[Case, int, int]:
    """Invent an outbreak: its case, fish dead, and those of them that flukes killed."""
    case, rng = _empty_case(), np.random.default_rng([seed, 909, CAUSES.index(cause)])
    for attempt in range(2000):
        past = run_past(case, PARASITE, 1, 100_000 * seed + attempt)
        by_flukes = past.dead.fluke[:, 0]
        many = by_flukes.sum()
        if (8 <= many <= 100) if cause != "something else" else (many < 0.5):
            break
    daily = _other_rates(rng) if cause != "flukes" else np.zeros(42)
    other = np.array([FISH * daily[41 + day - covers + 1 : 42 + day].sum() for day, covers in _SPANS])
    if cause == "both":
        other *= many / max(other.sum(), 1e-9)
    killed, rest = rng.poisson(by_flukes), rng.poisson(other + past.dead.background[:, 0])
    dead = killed + rest
    log = tuple(replace(row, deaths=int(n)) for row, n in zip(case.deaths, dead, strict=True))
    group = replace(case.fish[0], count=max(FISH - int(dead.sum()), 20))
    return (
        replace(case, fish=(group,), deaths=log, samples=_looked(past, case, rng)),
        int(dead.sum()),
        int(killed.sum()),
    )


def _looked(past, case: Case, rng: np.random.Generator) -> tuple[Preparation, ...]:
    """What clips of fish picked at random show."""
    p, seen, rows = past.pond.setting.parameters, past.seen, []
    mean, k, a = past.by_day[0.0]["all"][0], float(p["aggregation"][0]), float(seen.part_shape[0])
    for row in case.samples:
        share = float(share_examined(row, seen, past.pond.setting.fish.weight_g.mean(0))[0])
        flukes = rng.poisson(rng.gamma(k, mean / k))
        n = int(rng.binomial(flukes, rng.beta(a, a * (1 - share) / share) * seen.detection[0] * seen.site_share[0]))
        rows.append(replace(row, count_low=n, count_high=n))
    return tuple(rows)


def judge(cause: str, seed: int, draws: int = 150) -> dict[str, object]:
    """Estimate one outbreak and set it beside the truth."""
    case, dead, killed = invent(cause, seed)
    row: dict[str, object] = {"cause": cause, "seed": seed, "dead": dead, "by_flukes": killed}
    row["counted"] = sum(r.count_low for r in case.samples)
    nothing = dict.fromkeys(("low", "median", "high", "held"), "")
    try:
        told = estimate(case, draws=draws, seed=seed).deaths_explained
    except TooFewDrawsError:
        return row | nothing | {"verdict": "refused", "wrong": ""}
    if told is None:
        return row | nothing | {"verdict": "none died", "wrong": ""}
    share, number = killed / dead, told.by_flukes
    verdict = "flukes" if told.surely_flukes else "something else" if told.mostly_else else "cannot tell"
    wrong = (verdict == "flukes" and share < 0.5) or (verdict == "something else" and share > 0.5)
    return row | {
        "low": number.low,
        "median": number.median,
        "high": number.high,
        "held": "yes" if number.low <= killed <= number.high else "below" if killed < number.low else "above",
        "verdict": verdict,
        "wrong": wrong,
    }


def summarise(rows: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """Coverage, direction and verdicts by cause."""
    found = []
    for cause in CAUSES:
        mine = [row for row in rows if row["cause"] == cause and row["held"]]
        summary: dict[str, object] = {"cause": cause, "outbreaks": len(mine)}
        summary["refused"] = sum(row["cause"] == cause and row["verdict"] == "refused" for row in rows)
        summary |= {f"truth_{end}": sum(row["held"] == end for row in mine) for end in ("yes", "below", "above")}
        for verdict in ("flukes", "something else", "cannot tell"):
            summary[f"said_{verdict.replace(' ', '_')}"] = sum(row["verdict"] == verdict for row in mine)
        found.append(summary | {"wrong_verdicts": sum(bool(row["wrong"]) for row in mine)})
    return found


def _write(path: Path, rows: Sequence[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Judge every outbreak; keep and print them, and what they come to."""
    parser = argparse.ArgumentParser(description="Invented outbreaks of known cause.")
    parser.add_argument("--each", type=int, default=12, help="outbreaks of each cause")
    parser.add_argument("--first", type=int, default=1, help="seed of the first")
    parser.add_argument("--results", type=Path, default=HERE / "results", help="where the tables go")
    options = parser.parse_args()
    rows: list[dict[str, object]] = []
    for seed in range(options.first, options.first + options.each):
        for cause in CAUSES:
            rows.append(judge(cause, seed))
            print(*rows[-1].values(), flush=True)
            _write(options.results / "outbreaks.csv", rows)
            _write(options.results / "outbreaks_summary.csv", summarise(rows))
    for row in summarise(rows):
        print(row)


if __name__ == "__main__":
    main()

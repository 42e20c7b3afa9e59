"""Does more fish mean a better answer? Effective draws of the estimate, and how far its median hangs on the seed.

Run: python -m analysis.effective_draws                about ten minutes on one idle core, 24 cases at ten seeds
     python -m analysis.effective_draws --seeds 3      a rough look

Cases of one to 1,000 fish looked at, on one to ten visits, egg-layers and live-bearers, netted at random or picked as
sick, each out of a pond drawn from the prior of the estimate. Writes results/effective_draws.csv, a row a case:
effective draws, least and median over the seeds, and the medians of flukes a fish over their own median.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from burden.case import Action, Case, ConstantTemperature, FishGroup, Preparation, Uncertain, Water
from burden.inference.estimate import estimate
from burden.inference.history import run_past
from burden.inference.observation_parameters import share_examined
from burden.inference.sampler import TooFewDrawsError

__all__ = ["CASES", "Asked", "judge", "make_case"]

HERE, VISIT = Path(__file__).resolve().parent, date(2026, 6, 15)
#: days over which several visits are spread [d], and the day before the last visit on which a dose was given
_SPAN_DAYS, _DOSE_DAY = 63, -20


@dataclass(frozen=True)
class Asked:
    """What kind of case: fish looked at in all, on how many visits, chosen how, of which set, dosed between or not."""

    parasite: str
    fish: int
    visits: int
    chosen: str = "random"
    dosed: bool = False

    @property
    def name(self) -> str:
        """What the table calls it."""
        dosed = ", dosed" if self.dosed else ""
        return f"{self.parasite}, {self.fish} {self.chosen}, visits {self.visits}{dosed}"


CASES = (
    *(Asked(p, n, 1) for p in ("dactylogyrus", "gyrodactylus") for n in (1, 5, 30, 150, 1000)),
    *(Asked("dactylogyrus", n, 1, "moribund") for n in (3, 30, 150)),
    *(Asked("dactylogyrus", n, v) for n, v in ((10, 2), (40, 2), (40, 4), (100, 10), (300, 10), (1000, 10))),
    *(Asked("gyrodactylus", n, v) for n, v in ((40, 4), (1000, 10))),
    *(Asked("dactylogyrus", n, v, dosed=True) for n, v in ((10, 2), (80, 4), (1000, 10))),
)


def _empty_case(asked: Asked) -> Case:
    """What is known before anybody looked."""
    skin = asked.parasite.startswith("gyrodactylus")
    group = FishGroup("common carp", max(60, 2 * asked.fish), False, Uncertain(200.0, 150.0, 270.0, "judged"))
    litres = 150.0 * group.count
    water = Water(Uncertain(litres, 0.75 * litres, 1.3 * litres, "paced"), "fresh", ConstantTemperature(19.0), 0.02)
    days = np.round(np.linspace(-_SPAN_DAYS, 0, asked.visits)) if asked.visits > 1 else np.zeros(1)
    each = -(-asked.fish // asked.visits)
    where = ("skin", "skin_scrape") if skin else ("gill", "gill_clip")
    rows = tuple(
        Preparation(VISIT + timedelta(days=int(day)), f"{i}", asked.chosen, where[0], 0, 0, method=where[1])
        for day in days
        for i in range(each)
    )
    dose = Action(VISIT + timedelta(days=_DOSE_DAY), agent="praziquantel", route="bath", mg_l=4.0, hours=24.0)
    return Case(
        asked.name, VISIT, water, (group,), (asked.parasite,), samples=rows, given=(dose,) if asked.dosed else ()
    )


def make_case(asked: Asked, seed: int) -> Case:
    """Draw a pond from the prior of the estimate that shows some flukes, and look at its fish."""
    case, rng = _empty_case(asked), np.random.default_rng([seed, 4711])
    for attempt in range(100):
        past = run_past(case, asked.parasite, 1, 1000 * seed + attempt)
        counts = [_count(past, row, rng) for row in case.samples]
        if sum(counts) >= min(asked.fish, 20):
            break
    rows = zip(case.samples, counts, strict=True)
    return replace(case, samples=tuple(replace(row, count_low=n, count_high=n) for row, n in rows))


def _count(past, row: Preparation, rng: np.random.Generator) -> int:
    """What one preparation shows of a fish picked in proportion to its burden to the pond's own power."""
    p, seen = past.pond.setting.parameters, past.seen
    mean = past.by_day[float((row.date - VISIT).days)]["all"][0]
    k, tilt = float(p["aggregation"][0]), float(seen.selection_bias[0]) if row.chosen == "moribund" else 0.0
    flukes = rng.poisson(rng.gamma(k + tilt, mean / k))
    share, a = float(share_examined(row, seen, past.pond.setting.fish.weight_g.mean(0))[0]), float(seen.part_shape[0])
    part = rng.beta(a, a * (1 - share) / share) * seen.detection[0] * seen.site_share[0]
    return int(rng.binomial(flukes, part))


def judge(asked: Asked, seeds: Sequence[int]) -> dict[str, object]:
    """Estimate one case at several seeds: effective draws, and the spread of the medians."""
    case = make_case(asked, 1)
    worth, medians, refused, began = [], [], 0, time.process_time()
    for seed in seeds:
        try:
            found = estimate(case, seed=seed)
        except TooFewDrawsError:
            refused += 1
            continue
        worth.append(found.effective_draws)
        medians.append(found.mean_abundance.median)
    middle = float(np.median(medians)) if medians else float("nan")
    return {
        "case": asked.name,
        "counted": sum(row.count_low for row in case.samples),
        "refused": refused,
        "least_effective": round(min(worth, default=0)),
        "median_effective": round(float(np.median(worth))) if worth else 0,
        "median_flukes": f"{middle:.3g}",
        "lowest_over_median": f"{min(medians, default=np.nan) / middle:.3f}",
        "highest_over_median": f"{max(medians, default=np.nan) / middle:.3f}",
        "seconds": f"{(time.process_time() - began) / len(seeds):.1f}",
    }


def main() -> None:
    """Judge every case, print and keep a row each."""
    parser = argparse.ArgumentParser(description="Effective draws over a range of cases.")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    parser.add_argument("--table", type=Path, default=HERE / "results" / "effective_draws.csv")
    options = parser.parse_args()
    rows = []
    for asked in CASES:
        if options.only in asked.name:
            rows.append(judge(asked, range(1, options.seeds + 1)))
            print(*(f"{name}={value}" for name, value in rows[-1].items()), flush=True)
    with options.table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()

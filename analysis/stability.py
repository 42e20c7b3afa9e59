"""Does the answer hold with another seed? The same cases decided with several seeds at default draws.

Writes results/stability.csv (a row a case and seed) and results/stability_summary.csv (a row a case): how many seeds
agree on the action, on the number of doses, and on the dates within a day of the middle, and by how much the median
burden of a seed lies from the middle one. Issue of the decision asks for the same action in 10 of 10, the same number
of doses in 9, dates within a day in 8 and medians within 10 %.

    python -m analysis.stability                          # the invented cases and a dozen judged visits, five seeds
    python -m analysis.stability --seeds 10 --draws 500
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

import burden

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))
from visit_yardstick import all_visits  # noqa: E402

RESULTS = ROOT / "analysis" / "results"
VISITS = ("01", "04", "10", "17", "20", "22", "29", "31", "42", "48")
_DAY_APART = 1.0


def cases(folder: Path) -> Iterator[tuple[str, burden.Case]]:
    """Yield the invented cases and some judged visits, written to a folder."""
    for path in sorted((ROOT / "simulated_data").iterdir()):
        if (path / "case.toml").exists():
            yield path.name, burden.read_case(path)
    for visit in all_visits():
        if visit.name.startswith(VISITS):
            yield visit.name, burden.read_case(visit.write(folder / visit.name))


def answer(name: str, case: burden.Case, draws: int, seed: int) -> dict[str, object]:
    """Decide a case with one seed."""
    found = burden.decide(case, draws=draws, seed=seed)
    known = burden.estimate_burden(case, draws=draws, seed=seed)
    doses = found.doses
    return {
        "case": name,
        "seed": seed,
        "draws": draws,
        "action": found.action,
        "doses": len(doses),
        "days": " ".join(f"{dose.day:g}" for dose in doses),
        "agents": " ".join(dict.fromkeys(dose.agent for dose in doses)),
        "flukes_per_fish": known.mean_abundance.median,
    }


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Return a row a case: seeds that agree, and the widest median."""
    found = []
    for name, mine in rows.groupby("case", sort=False):
        usual = mine[mine["doses"] == mine["doses"].mode()[0]]
        days = np.array([[float(x) for x in row.split()] for row in usual["days"]])
        near = (
            int((np.abs(days - np.median(days, axis=0)) <= _DAY_APART).all(axis=1).sum()) if days.size else len(usual)
        )
        middle = mine["flukes_per_fish"].median()
        off = (mine["flukes_per_fish"] / middle - 1).abs().max() if middle > 0 else 0.0
        found.append(
            {
                "case": name,
                "seeds": len(mine),
                "same_action": Counter(mine["action"]).most_common(1)[0][1],
                "same_doses": len(usual),
                "dates_within_a_day": near,
                "same_agents": Counter(mine["agents"]).most_common(1)[0][1],
                "median_off_percent": round(100 * off, 1),
            }
        )
    return pd.DataFrame(found)


def main(arguments: Sequence[str] | None = None) -> None:
    """Decide, and write both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--draws", type=int, default=500)
    asked = parser.parse_args(arguments)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name, case in cases(Path(folder)):
            for seed in range(1, asked.seeds + 1):
                rows.append(answer(name, case, asked.draws, seed))
                print(rows[-1], flush=True)
            pd.DataFrame(rows).to_csv(RESULTS / "stability.csv", index=False)
    table = summary(pd.DataFrame(rows))
    table.to_csv(RESULTS / "stability_summary.csv", index=False)
    print(table.to_string(index=False))


if __name__ == "__main__":
    main()

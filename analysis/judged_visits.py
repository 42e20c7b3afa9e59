"""Answers of the tool on the judged visits of tests/visits/, beside what a good colleague would do.

Writes results/judged_visits.csv: visit, what was expected, what came, whether it is right, whether it is dangerous,
the seconds it took, and why it is wrong. Visits whose case uses a key that is not known yet are marked "skipped".

    python analysis/judged_visits.py                 # all, 100 draws, some ten minutes
    python analysis/judged_visits.py --draws 60 --seed 3 --only 28 47
    python analysis/judged_visits.py --quick         # decisions alone, no page is read for its words
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from visit_yardstick import JudgedVisit, all_visits, answer, faults, missing_keys, trespasses  # noqa: E402

TABLE = ROOT / "analysis" / "results" / "judged_visits.csv"


def row_of(visit: JudgedVisit, draws: int, seed: int, words: bool) -> dict[str, object]:
    """Judge one visit."""
    row: dict[str, object] = {"visit": visit.name, "expected": " or ".join(visit.expect["action"])}
    if missing := missing_keys(visit):
        return {**row, "got": "skipped", "wrong": f"not known yet: {', '.join(missing)}"}
    began = time.perf_counter()
    try:
        given = answer(visit, draws, seed, words)
    except Exception as error:  # a crash is an answer too, and the others are still wanted
        return {**row, "got": "no answer", "right": "no", "wrong": f"{type(error).__name__}: {error}"}
    wrong, danger = faults(visit, given), trespasses(visit, given)
    seconds = round(time.perf_counter() - began, 1)
    said = {"right": "no" if wrong else "yes", "dangerous": "yes" if danger else "no", "seconds": seconds}
    return {**row, "got": given.short(), **said, "wrong": "; ".join(wrong)}


def main(arguments: Sequence[str] | None = None) -> None:
    """Judge the visits and write the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="decisions alone, no page is read")
    parser.add_argument("--only", nargs="*", default=[], help="numbers or beginnings of names")
    parser.add_argument("--out", type=Path, default=TABLE)
    asked = parser.parse_args(arguments)
    chosen = [v for v in all_visits() if not asked.only or v.name.startswith(tuple(asked.only))]
    rows = []
    for visit in chosen:
        rows.append(row_of(visit, asked.draws, asked.seed, not asked.quick))
        print(f"{visit.name:34} {rows[-1].get('right', '-'):4} {rows[-1]['got']}  {rows[-1]['wrong']}", flush=True)
    columns = ("visit", "expected", "got", "right", "dangerous", "seconds", "wrong")
    with asked.out.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    judged = [row for row in rows if row.get("right")]
    right, danger = (sum(row.get(key) == "yes" for row in judged) for key in ("right", "dangerous"))
    print(f"{right} of {len(judged)} right, {danger} dangerous, {len(rows) - len(judged)} skipped")


if __name__ == "__main__":
    main()

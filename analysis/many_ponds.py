"""How many ponds a day: invented case folders, each to its whole report, in as many processes as are given.

Run: python analysis/many_ponds.py N [WORKERS] [DRAWS] [FOLDER]    (default 1 process, 20 draws, ./many_ponds)

Each pond is made from its number alone, so a run that was stopped goes on where it was: a report that stands is not
made again. Prints the ponds done, what was withheld, and the ponds an hour; writes throughput.csv beside the reports.

WORKERS may also be the address of a `dask.distributed` scheduler (tcp://HOST:PORT), with a FOLDER that all its machines
see: any executor will do.
"""

# ruff: noqa: E402 — threads are limited before numpy loads

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # one thread a process

import csv
import sys
import time
from collections.abc import Iterable
from concurrent.futures import Executor
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from burden.report.files.folder import is_ours
from burden.report.files.unfinished import program
from burden.report.write import write_reports
from burden.utils.parallel import cluster, each, processes

__all__ = ["make_pond", "one_report", "run"]

VISIT = date(2026, 6, 15)


def make_pond(number: int, folder: Path) -> Path:
    """Write the case folder of a number: an invented pond of koi or goldfish with clips of a few fish."""
    rng = Random(number)
    count, grams = rng.randint(5, 200), round(rng.lognormvariate(5.5, 0.8))
    case = f"""\
[case]
visit_date = {VISIT}
title = "Invented pond {number}"

[water]
volume_l = {round(count * grams * rng.uniform(0.3, 3), -1) + 500:.0f}
medium = "fresh"
temperature_c = {rng.uniform(8, 27):.1f}
exchange_per_day = {rng.choice((0, 0.02, 0.1))}
oxygen_mg_l = {rng.uniform(5, 10):.1f}
ph = {rng.uniform(6.8, 8.4):.1f}

[fish]
species = "{rng.choice(("koi", "goldfish"))}"
count = {count}
food_fish = "no"
mean_weight_g = {grams}

[parasite]
set = "dactylogyrus"
"""
    if rng.random() < 0.5:
        day = VISIT - timedelta(rng.randint(3, 30))
        case += f'\n[[given]]\ndate = {day}\nagent = "praziquantel"\nmg_l = 5\nhours = 24\n'
    mean = rng.lognormvariate(2, 1.5)
    rows = []
    for fish in range(1, rng.randint(2, min(count, 6)) + 1):
        chosen, flukes = rng.choice(("netted", "random", "moribund")), round(rng.expovariate(1 / mean))
        rows.append(f"{VISIT},{fish},{chosen},gill,{flukes},gill_clip,0.02")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "case.toml").write_text(case, encoding="utf-8")
    table = "\n".join(["date,fish,chosen,site,count,method,fraction_examined", *rows, ""])
    (folder / "samples.csv").write_text(table, encoding="utf-8")
    return folder


def one_report(number: int, where: Path, draws: int) -> tuple[float, str]:
    """Make a pond and its report; return the seconds it took and why no dose is recommended, if so."""
    folder = make_pond(number, where / f"pond_{number:06d}")
    start = time.perf_counter()
    result = write_reports([folder], None, draws=draws)
    return time.perf_counter() - start, result.as_dict()["withheld_reason"] or ""


def run(numbers: Iterable[int], where: Path, draws: int, executor: Executor | None = None) -> int:
    """Make the reports that do not stand yet, note each as it is done, and return how many there were to make."""
    left = [n for n in numbers if not is_ours(where / f"pond_{n:06d}" / "report")]
    where.mkdir(parents=True, exist_ok=True)
    table = where / "throughput.csv"
    if not table.exists():
        table.write_text("pond,draws,seconds,withheld\n", encoding="utf-8")
    for place, (seconds, withheld) in each(partial(one_report, where=where, draws=draws), left, executor, "ponds"):
        with table.open("a", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerow([left[place], draws, f"{seconds:.1f}", withheld])
    return len(left)


def main(ponds: int, workers: str, draws: int, where: Path) -> None:
    """Make so many ponds and say how fast that went."""
    start = time.perf_counter()
    with cluster(workers, program) if "://" in workers else processes(int(workers)) as executor:
        made = run(range(1, ponds + 1), where, draws, executor)
    hours = (time.perf_counter() - start) / 3600
    with (where / "throughput.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    print(f"{made} ponds made, {ponds - made} stood already; {made / hours:.0f} an hour by {workers} at {draws} draws.")
    print(f"No dose recommended in {sum(bool(row['withheld']) for row in rows)} of {len(rows)}.")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    given = dict(enumerate(sys.argv[2:]))
    main(int(sys.argv[1]), given.get(0, "1"), int(given.get(1, 20)), Path(given.get(2, "many_ponds")))

"""How fast is the forward stepper beside a general-purpose solver at equal error, and where a report spends its time?

Run: python analysis/benchmark.py [MEMBERS] [FOLDER]    (default 1 member, analysis/results; some 5 minutes)

One thread, processor seconds, both in the same run. LSODA (scipy) solves the model's own right-hand side for one member
at a time: 30 egg and 30 juvenile stages, 8 classes of fish, two doses, 60 d, with the loosest tolerance at which its
error is no larger than the stepper's. The package's stepper takes 100 members at once, first run and later runs apart.
Errors are the largest relative difference over the totals of every
life form on days 2, 10, 20 and 60, from LSODA at 1e-10. The order
of error is from halving the step twice. Then the koi pond: estimate, search, forecast, and `burden --help`.
Writes benchmark.csv: seconds of this machine, and ratios, which depend on it little.
"""

# ruff: noqa: E402 — threads are limited before numpy loads

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # before numpy loads

import csv
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from ponds import by_lsoda, dose_effect, drawn, plain_cycle, pond, totals

from burden.casefile import read_case
from burden.estimate import estimate
from burden.forecast import follow
from burden.schedule import search
from burden.simulate import Event, simulate

DAYS, DOSES, MANY = (0.0, 60.0), (0.0, 7.0), 100
LOOKS = (0.0, 2.0, 10.0, 20.0, 60.0)  # the error is the worst over these days


def seconds(work: Callable[[], object]) -> tuple[float, object]:
    """Processor seconds of some work, and what it gave."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def setup(members: int):
    """A pond of so many members, and its two doses."""
    parameters = drawn("dactylogyrus", members, 4)
    setting, state = pond(parameters, 20.0, cycle=plain_cycle(egg=30, juvenile=30))
    effect = dose_effect(members, 0.9, 0.8, larva=0.5, sheltered=0.1, fraction=0.2)
    return setting, state, [Event.dose(day, effect, setting.cycle) for day in DOSES]


def one(setting, state, events, m: int):
    """Member m alone."""
    from burden.pond import _take_event

    where = np.array([m])
    return setting.take(where), state.take(where), [_take_event(event, where) for event in events]


def difference(a: dict[str, float], b: dict[str, float]) -> float:
    """Largest relative difference of the totals of the life forms."""
    return max(abs(a[n] - b[n]) / max(abs(b[n]), 1e-9) for n in ("egg", "larva", "juvenile", "adult"))


def steppers(members: int) -> list[dict[str, object]]:
    """LSODA against the stepper."""
    lone = [one(*setup(members), m) for m in range(members)]
    exact = [[totals(s, end) for end in by_lsoda(s, x, LOOKS, e, 1e-10)] for s, x, e in lone]

    def error_at(step: float | None) -> float:
        return max(
            difference(totals(s, simulate(s, x, (0.0, day), e, step).end), wanted)
            for (s, x, e), truth in zip(lone, exact, strict=True)
            for day, wanted in zip(LOOKS[1:], truth[1:], strict=True)
        )

    mine = error_at(None)
    errors = [error_at(step) for step in (0.1, 0.05, 0.025)]
    order = float(np.log2(errors[0] / errors[2]) / 2)
    for rtol in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8):
        took, ends = seconds(
            lambda rtol=rtol: [[totals(s, end) for end in by_lsoda(s, x, LOOKS, e, rtol)] for s, x, e in lone]
        )
        theirs = max(difference(a, b) for x, y in zip(ends, exact, strict=True) for a, b in zip(x, y, strict=True))
        if theirs <= mine:
            break
    many = setup(MANY)
    first, _ = seconds(lambda: simulate(*many[:2], DAYS, many[2]))
    later = min(seconds(lambda: simulate(*many[:2], DAYS, many[2]))[0] for _ in range(3))
    return [
        {"what": "stepper, error", "value": mine, "unit": "-"},
        {"what": f"LSODA at rtol {rtol:g}, error", "value": theirs, "unit": "-"},
        {"what": "stepper, order of error", "value": order, "unit": "-"},
        {"what": "LSODA, a member", "value": 1000 * took / members, "unit": "ms"},
        {"what": f"stepper, a member of {MANY}, first run", "value": 1000 * first / MANY, "unit": "ms"},
        {"what": f"stepper, a member of {MANY}, later runs", "value": 1000 * later / MANY, "unit": "ms"},
        {"what": "ratio LSODA to stepper, first run", "value": took / members / (first / MANY), "unit": "ratio"},
        {"what": "ratio LSODA to stepper, later runs", "value": took / members / (later / MANY), "unit": "ratio"},
    ]


def report_stages() -> list[dict[str, object]]:
    """Estimate, search and forecast of the koi pond with 500 draws, and the help of the command line."""
    case = read_case(ROOT / "simulated_data" / "koi_pond")
    first, found = seconds(lambda: estimate(case))
    second, choice = seconds(lambda: search(case, [(found.pond, found.state)], ("praziquantel", "formalin")))
    third, _ = seconds(lambda: follow(found.pond, found.state, 60.0, choice.recommended.plan))
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "burden", "--help"], check=True, capture_output=True, cwd=ROOT)
    whole = first + second + third
    return [
        {"what": "koi pond: estimate", "value": first, "unit": "s"},
        {"what": "koi pond: search", "value": second, "unit": "s"},
        {"what": "koi pond: forecast, one course", "value": third, "unit": "s"},
        {"what": "koi pond: share of the estimate", "value": first / whole, "unit": "ratio"},
        {"what": "koi pond: share of the search", "value": second / whole, "unit": "ratio"},
        {"what": "burden --help, by the clock", "value": time.perf_counter() - start, "unit": "s"},
    ]


def main(members: str = "1", folder: str = "analysis/results") -> None:
    """Write the table and print it."""
    found = []
    for part in (lambda: steppers(int(members)), report_stages):
        rows = part()
        for row in rows:
            print(f"{row['what']}: {row['value']:.3g} {row['unit']}", flush=True)
        found += rows
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    with (out / "benchmark.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=["what", "value", "unit"])
        writer.writeheader()
        writer.writerows({**row, "value": f"{row['value']:.3g}"} for row in found)


if __name__ == "__main__":
    main(*sys.argv[1:])

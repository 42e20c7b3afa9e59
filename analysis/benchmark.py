"""How fast is the forward stepper beside general-purpose solvers at equal error, and where a report spends its time?

Run: python analysis/benchmark.py [MEMBERS] [FOLDER] [PART]    (default 4 members, analysis/results; some 4 minutes)

One thread, processor seconds, all in one run. The model's own equations, two doses, 60 d, once with 30 egg and 30
juvenile stages and 5 classes of fish (eggs that all start at once), once as the product has them (fresh eggs, 8
classes). LSODA (scipy) solves one member at a time on the model's right-hand side, at the loosest tolerance that meets
the error asked for; a compiled adaptive solver (diffrax, from the extra `benchmark`; left out where it is not
installed) takes all members at once; the stepper takes 100 and 500 members at once, at the longest step that meets it.
The error is the largest relative difference of the totals of every life form and of live fish on days 2, 10, 20 and
60, from LSODA at 1e-10. First run and later runs stand apart. Then two threads, the cost against draws and days, how
far the stepper is from the machine's floating-point rate, and the koi pond: estimate, search, forecast. Last,
`waiting`: what a user waits for at each command, in a new process, with the share of imports, runs, walks and figures.
Writes benchmark.csv and figures/benchmark.svg: seconds of this machine, and ratios, which depend on it little.
"""

# ruff: noqa: E402 — threads are limited before numpy loads

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # before numpy loads

import csv
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from ponds import by_lsoda, dose_effect, drawn, plain_cycle, pond, totals

from burden.inference.estimate import estimate
from burden.io import read_case
from burden.model.forward import Event, simulate
from burden.model.lifecycle.transitions import build_cycle
from burden.schedule.aim import aim_of
from burden.schedule.projection import Strategy, follow
from burden.schedule.search import search

DAYS, DOSES = 60.0, (0.0, 7.0)
LOOKS = (0.0, 2.0, 10.0, 20.0, 60.0)  # the error is the worst over these days
ASKED = 1e-3
TOLERANCES = (3e-2, 1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 1e-5, 1e-6, 1e-7)
STEPS = (2.0, 1.5, 1.0, 0.75, 0.5, 0.35, 0.25, 0.18, 0.125, 0.09)
FORMS = ("egg", "larva", "juvenile", "adult", "alive")
Row = dict[str, object]
#: commands a user waits for
WAITED_FOR = (
    "--help",
    "interval --parasite dactylogyrus --temperature 20",
    "interval --parasite discocotyle --temperature 10",
    "estimate simulated_data/koi_pond",
    "decide simulated_data/koi_pond",
    "forecast simulated_data/koi_pond",
    "report simulated_data/koi_pond --draws 20",
    "report simulated_data/koi_pond",
    "report simulated_data/koi_pond --draws 1000",
)


def seconds(work: Callable[[], object]) -> tuple[float, object]:
    """Processor seconds of some work, and what it gave."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def row(what: str, value: float, unit: str) -> Row:
    """One line of the table."""
    print(f"{what}: {value:.3g} {unit}", flush=True)
    return {"what": what, "value": value, "unit": unit}


def setup(members: int, product: bool):
    """A pond of so many members, and its two doses; with the product's own stages and classes, or 30, 30 and 5."""
    parameters = drawn("dactylogyrus", members, 4)
    cycle = build_cycle(parameters.evidence) if product else plain_cycle(egg=30, juvenile=30)
    setting, state = pond(parameters, 20.0, cycle=cycle, classes=8 if product else 5)
    effect = dose_effect(members, 0.9, 0.8, larva=0.5, sheltered=0.1, fraction=0.2)
    return setting, state, [Event.dose(day, effect, setting.cycle) for day in DOSES]


def one(setting, state, events, m: int):
    """Member m alone."""
    from burden.inference.prior import _take_event

    where = np.array([m])
    return setting.take(where), state.take(where), [_take_event(event, where) for event in events]


def difference(a: dict[str, float], b: dict[str, float]) -> float:
    """Largest relative difference of the totals."""
    return max(abs(a[n] - b[n]) / max(abs(b[n]), 1e-9) for n in FORMS)


class Yardstick:
    """What LSODA says at 1e-10 of some members on the days looked at."""

    def __init__(self, members: int, product: bool) -> None:
        self.members, self.product = members, product
        self.lone = [one(*setup(members, product), m) for m in range(members)]
        self.exact = [[totals(s, end) for end in by_lsoda(s, x, LOOKS, e, 1e-10)] for s, x, e in self.lone]

    def worst(self, totals_at: Callable[[int], list[dict[str, float]]]) -> float:
        """Largest error over members and days, of what gives a member's totals on the days after the first."""
        return max(
            difference(a, b) for m in range(self.members) for a, b in zip(totals_at(m), self.exact[m][1:], strict=True)
        )

    def of_stepper(self, step: float | None) -> float:
        def at(m: int) -> list[dict[str, float]]:
            s, x, e = self.lone[m]
            return [totals(s, simulate(s, x, (0.0, day), e, step).end) for day in LOOKS[1:]]

        return self.worst(at)

    def of_lsoda(self, rtol: float) -> tuple[float, float]:
        """Error, and processor seconds a member."""
        took, ends = seconds(
            lambda: [[totals(s, end) for end in by_lsoda(s, x, LOOKS, e, rtol)][1:] for s, x, e in self.lone]
        )
        return self.worst(lambda m: ends[m]), took / self.members


def against_lsoda(members: int, product: bool) -> Iterator[Row]:
    """LSODA against the stepper, each as loose as the error asked for allows."""
    name = "product's stages" if product else "30/30 stages, 5 classes"
    yardstick = Yardstick(members, product)
    yield row(f"{name}: stepper as it comes, error", yardstick.of_stepper(None), "-")
    rtol, (error, lsoda) = next((r, found) for r in TOLERANCES if (found := yardstick.of_lsoda(r))[0] <= ASKED)
    yield row(f"{name}: LSODA at rtol {rtol:g}, error", error, "-")
    yield row(f"{name}: LSODA, a member", 1000 * lsoda, "ms")
    step, error = next((s, found) for s in STEPS if (found := yardstick.of_stepper(s)) <= ASKED)
    yield row(f"{name}: stepper at {step:g} d, error", error, "-")
    for many in (100, 500):
        setting, state, events = setup(many, product)
        runs = [seconds(lambda: simulate(setting, state, (0.0, DAYS), events, step))[0] for _ in range(4)]  # noqa: B023
        for when, took in (("first run", runs[0]), ("later runs", min(runs[1:]))):
            yield row(f"{name}: stepper, a member of {many}, {when}", 1000 * took / many, "ms")
            yield row(f"{name}: ratio LSODA to stepper, {many} members, {when}", lsoda / (took / many), "ratio")
    if not product:
        yield from against_mapped(yardstick, min(runs[1:]) / many)


def against_mapped(yardstick: Yardstick, stepper: float) -> Iterator[Row]:
    """A compiled solver mapped over members against the stepper's seconds a member."""
    try:
        import diffrax  # noqa: F401
    except ImportError:
        print("diffrax is not installed: pip install '.[benchmark]'")
        return
    from mapped_solver import MappedSolver

    few = setup(yardstick.members, False)
    solver = MappedSolver(few[0], few[2])

    def of(rtol: float) -> float:
        ends = [solver.totals(solver.run(solver.start(few[1]), day, rtol)) for day in LOOKS[1:]]
        return yardstick.worst(lambda m: [{name: float(end[name][m]) for name in FORMS} for end in ends])

    rtol, error = next((r, found) for r in TOLERANCES if (found := of(r)) <= ASKED)
    yield row(f"mapped solver at rtol {rtol:g}, error", error, "-")
    many = 500
    setting, state, events = setup(many, False)
    solver = MappedSolver(setting, events)
    runs = [seconds(lambda: solver.run(solver.start(state), DAYS, rtol))[0] for _ in range(3)]
    yield row(f"mapped solver, first run of {many} members, compiling", runs[0], "s")
    yield row(f"mapped solver, a member of {many}, later runs", 1000 * min(runs[1:]) / many, "ms")
    yield row("ratio mapped solver to stepper, later runs", min(runs[1:]) / many / stepper, "ratio")


def order_of_error() -> Iterator[Row]:
    """The order from halving the step twice."""
    yardstick = Yardstick(1, False)
    errors = [yardstick.of_stepper(step) for step in (0.4, 0.2, 0.1)]
    yield row("stepper, order of error", float(np.log2(errors[0] / errors[2]) / 2), "-")


def two_threads() -> Iterator[Row]:
    """The clock of two halves side by side against one after the other."""
    halves = [setup(250, True) for _ in range(2)]

    def work(half) -> None:
        simulate(*half[:2], (0.0, DAYS), half[2], 0.25)

    start = time.perf_counter()
    for half in halves:
        work(half)
    alone = time.perf_counter() - start
    with ThreadPoolExecutor(2) as pool:
        start = time.perf_counter()
        list(pool.map(work, halves))
    yield row("two threads: clock of one thread over clock of two", alone / (time.perf_counter() - start), "ratio")


def cost_and_limit() -> Iterator[Row]:
    """Cost against draws and days, and the share of it that is the chains' own arithmetic."""
    points = {}
    for draws, days in ((125, 60), (250, 60), (500, 60), (1000, 60), (500, 30), (500, 120)):
        setting, state, events = setup(draws, True)
        points[draws, days] = min(
            seconds(lambda: simulate(setting, state, (0.0, days), events, 0.25))[0]  # noqa: B023
            for _ in range(2)
        )
        yield row(f"stepper, {draws} draws, {days} d", points[draws, days], "s")
    draw(points)
    a, b = np.random.default_rng(1).uniform(size=(2, 30, 500))
    out = np.empty_like(a)
    took, _ = seconds(lambda: [np.multiply(a, b, out=out) for _ in range(20_000)])
    rate = 20_000 * a.size / took
    yield row("this machine: products of arrays as large as a chain", rate / 1e9, "1e9/s")
    # of each chain and step about 17 terms, a product and a sum each, twice where flows are put in
    steps, terms = 60 / 0.25, 17
    needed = steps * 2 * 30 * 500 * (2 * terms + 4)
    yield row(
        "share of the stepper's time that is products and sums of its chains", needed / rate / points[500, 60], "-"
    )


def draw(points: dict[tuple[int, int], float]) -> None:
    """Draw cost against draws, and against days."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(7.5, 3.2), sharey=True, layout="constrained")
    for axis, place, label in ((axes[0], 0, "draws (60 d)"), (axes[1], 1, "days (500 draws)")):
        chosen = sorted((key[place], took) for key, took in points.items() if key[1 - place] == (60, 500)[place])
        axis.plot(*zip(*chosen, strict=True), "o-", color="0.2")
        axis.set(xlabel=label, xlim=(0, None), ylim=(0, None))
        axis.spines[["top", "right"]].set_visible(False)
    axes[0].set_ylabel("processor time of one run [s]")
    figure.savefig(ROOT / "analysis" / "figures" / "benchmark.svg", metadata={"Date": None})
    plt.close(figure)


def stages() -> Iterator[Row]:
    """Estimate, search and forecast of the koi pond with 500 draws."""
    case = read_case(ROOT / "simulated_data" / "koi_pond")
    first, found = seconds(lambda: estimate(case))
    ponds, agents = [found.posterior], ("praziquantel", "formalin")
    second, choice = seconds(lambda: search(case, ponds, agents, aim_of(case, ponds)))
    third, _ = seconds(lambda: follow(found.pond, found.state, 60.0, [Strategy(choice.recommended.plan)]))
    for name, took in (("estimate", first), ("search", second), ("forecast, one course", third)):
        yield row(f"koi pond, 500 draws: {name}", took, "s")


def waiting() -> Iterator[Row]:
    """What a user waits for, each command in a new process: processor seconds, the parts they went to, memory."""
    if hasattr(os, "getloadavg"):  # of Unix alone; a busy machine makes every second dearer
        yield row("load of the machine before the commands below", os.getloadavg()[0], "processes")
    for words in WAITED_FOR:
        name = f"burden {words}"
        with tempfile.TemporaryDirectory() as folder:
            out = ["--out", str(Path(folder) / "out")] if words.startswith("report") else []
            code = [sys.executable, str(ROOT / "analysis" / "shares_of_time.py"), *words.split(), *out]
            run = subprocess.run(code, check=True, capture_output=True, cwd=ROOT, text=True)
        told = json.loads(run.stderr.splitlines()[-1])
        whole = sum(told["seconds"].values())
        yield row(f"{name}: processor", whole, "s")
        for part in sorted(told["seconds"], key=told["seconds"].get, reverse=True):
            yield row(f"{name}: {part}", told["seconds"][part] / whole, "share")
        yield row(f"{name}: memory", told["peak_mb"], "MB")


def main(members: str = "4", folder: str = "analysis/results", only: str = "") -> None:
    """Write the table and print it; with `only` the rows of one part are made anew, all others stay."""
    parts: dict[str, Callable[[], Iterator[Row]]] = {
        "plain": lambda: against_lsoda(int(members), False),
        "product": lambda: against_lsoda(int(members), True),
        "order": order_of_error,
        "threads": two_threads,
        "cost": cost_and_limit,
        "stages": stages,
        "waiting": waiting,
    }
    path = Path(folder) / "benchmark.csv"
    path.parent.mkdir(parents=True, exist_ok=True)
    found = {line["what"]: line for line in _kept(path)} if only else {}
    for name, part in parts.items():
        if only in ("", name):
            found |= {line["what"]: {**line, "value": f"{line['value']:.3g}"} for line in part()}
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=["what", "value", "unit"], lineterminator="\n")
        writer.writeheader()
        writer.writerows(found.values())


def _kept(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


if __name__ == "__main__":
    main(*sys.argv[1:])

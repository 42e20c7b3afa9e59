"""Do the tests of a room bite? Small faults are put into its code one at a time; its own fast tests must fail.

Run: python analysis/mutants.py ROOM N [SEED] [FOLDER]     ROOM: statistics, development, treatment, elimination,
inference, schedule, decision, io, page; FOLDER: analysis/results.
Faults are drawn with a seed among all places of the room's modules: a comparison turned, a sign or an operator
swapped, a factor dropped, a number one off, a condition negated, minimum for maximum, a statement left out. Each runs
in a copy of the project, against the room's fast tests and its doctests: the quickest that take 40 s of processor
together, quickest first. A run of ten times as long counts as killed, as a mutant may never end. Faults tried before
stay in the sample, and are not tried again, while the function they stand in is the same; one that survived is tried
again when the room's tests have changed. New ones make up the number.
Writes mutants.csv: room, place, line before and after, killed or survived, seconds, digests of the fault and its
function, and of the tests.
"""

from __future__ import annotations

import ast
import csv
import hashlib
import json
import multiprocessing
import os
import random
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any

__all__ = ["ROOMS", "Mutant", "mutants_of", "sample"]

ROOT = Path(__file__).parents[1]
#: modules of a room, and its tests
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "statistics": (
        ("statistics/host_distribution.py", "model/susceptibility.py", "statistics/negative_binomial.py"),
        ("statistics/test_negative_binomial.py",),
    ),
    "development": (
        (
            "model/lifecycle/development.py",
            "model/lifecycle/durations.py",
            "model/lifecycle/fresh_eggs.py",
            "model/lifecycle/thermal_laws.py",
        ),
        ("model/test_development.py",),
    ),
    "treatment": (
        ("treatment/efficacy.py", "treatment/concentration.py"),
        ("treatment/test_efficacy.py", "treatment/test_concentration.py"),
    ),
    "elimination": (
        (
            "model/elimination/probability.py",
            "model/linear_chain.py",
            "model/elimination/renewal.py",
            "model/elimination/waiting_times.py",
            "model/elimination/dose_survival.py",
        ),
        (
            "model/test_elimination.py",
            "model/test_two_dose_windows.py",
            "model/test_whole_flukes_by_lot.py",
            "model/test_waiting_times.py",
            "model/test_dose_survival.py",
        ),
    ),
    "inference": (
        (
            "inference/estimate.py",
            "inference/fitting_ponds.py",
            "inference/history.py",
            "inference/looks_on_record.py",
            "inference/observation.py",
            "inference/observation_parameters.py",
            "inference/picked_fish.py",
        ),
        (
            "inference/test_estimate.py",
            "inference/test_fitting_ponds.py",
            "inference/test_history.py",
            "inference/test_observation.py",
            "inference/test_observation_parameters.py",
            "inference/test_picked_fish.py",
        ),
    ),
    "schedule": (("schedule/search.py", "schedule/evaluation.py"), ("schedule/test_search.py",)),
    "decision": (
        (
            "decision/action.py",
            "decision/agents_tried.py",
            "decision/doses_given.py",
            "decision/facts.py",
            "decision/next_look.py",
        ),
        ("decision/test_action.py", "decision/test_facts.py", "decision/test_next_look.py"),
    ),
    "io": (
        ("io/convert.py", "io/csv_logs.py", "io/form.py", "io/plausibility.py"),
        ("io/test_case_folder.py", "io/test_form.py", "case/test_case.py"),
    ),
    "page": (
        ("page/app.py", "page/library.py", "page/problems.py", "page/what_if.py"),
        ("page/test_server.py", "page/test_what_if.py"),
    ),
}
#: processor time of a room's fast tests together, and after which a run is broken off [s]
FAST_SECONDS, LONGEST_SECONDS = 40.0, 400
COLUMNS = ("room", "module", "line", "before", "after", "found", "seconds", "digest", "tests")
#: imported once; every fault then runs in a copy of that process
_WARM = ["pytest", "numpy", "scipy.stats", "scipy.special", "scipy.optimize", "scipy.integrate"]
_TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip
_OTHER = {"minimum": "maximum", "maximum": "minimum", "min": "max", "max": "min", "any": "all", "all": "any",
          "log1p": "expm1", "expm1": "log1p", "floor": "ceil", "ceil": "floor", "exp": "negative"}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One fault.

    Parameters
    ----------
    module : str
        Path below burden/.
    line : int
    before, after : str
        Code of the place.
    source : str
        The whole module with the fault.
    digest : str
        Of the fault and of the function, or other statement of the module, that it stands in.
    """

    module: str
    line: int
    before: str
    after: str
    source: str
    digest: str


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Yield every fault that can be put into a module."""
    code = source.encode()
    for part in ast.parse(source).body:
        if isinstance(part, ast.Import | ast.ImportFrom):
            continue
        whole = [_alone(node) for node in _code(part)]
        for at, (node, other) in enumerate((n, other) for n in _code(part) for other in _faults(n)):
            start = _offset(source, node.lineno, node.col_offset)
            end = _offset(source, node.end_lineno, node.end_col_offset)
            after = ast.unparse(other)
            text = code[:start] + (f"({after})" if isinstance(other, ast.expr) else after).encode() + code[end:]
            digest = _digest(repr((module, at, after, whole)).encode())
            yield Mutant(module, node.lineno, code[start:end].decode(), after, text.decode(), digest)


def _alone(node: ast.AST) -> tuple[Any, ...]:
    """What a node is, less the nodes inside it, which follow in their turn, and less its annotations."""
    plain = [value for _, value in ast.iter_fields(node) if isinstance(value, str | int | float | bool)]
    return type(node).__name__, *plain


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:12]


def _offset(source: str, line: int, column: int) -> int:
    return sum(len(text) for text in source.encode().split(b"\n")[: line - 1]) + line - 1 + column


def _code(tree: ast.AST) -> Iterator[ast.AST]:
    """Walk over code that runs: no annotation, no docstring, no import, nothing inside an f-string."""
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.JoinedStr | ast.Import | ast.ImportFrom):
                continue
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
                continue
            yield child
            yield from _code(child)


def _faults(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what one place may be changed into."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _TURNED:
        yield ast.Compare(node.left, [_TURNED[type(node.ops[0])]()], node.comparators)
    elif isinstance(node, ast.BinOp) and type(node.op) in _SWAPPED and not _is_text(node):
        yield ast.BinOp(node.left, _SWAPPED[type(node.op)](), node.right)
        yield node.left
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield node.operand
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield ast.Constant(node.value + 1 if type(node.value) is int else node.value * 1.5 + 0.1)
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse)
    elif isinstance(node, ast.Attribute) and node.attr in _OTHER:
        yield ast.Attribute(node.value, _OTHER[node.attr], node.ctx)
    elif isinstance(node, ast.AugAssign | ast.Raise | ast.Continue | ast.Break):
        yield ast.Pass()


def _is_text(node: ast.BinOp) -> bool:
    return any(isinstance(part, ast.Constant | ast.JoinedStr) and "'" in ast.unparse(part) for part in ast.walk(node))


def sample(room: str, number: int, seed: int, kept: Iterable[str] = ()) -> list[Mutant]:
    """Return so many faults of a room: those kept that are still there, the others drawn with a seed."""
    found = []
    for module in ROOMS[room][0]:
        found += mutants_of(module, (ROOT / "burden" / module).read_text(encoding="utf-8"))
    drawn = random.Random(seed).sample(found, len(found))
    kept = set(kept)
    return sorted(drawn, key=lambda mutant: mutant.digest not in kept)[:number]


class _QuickestFirst:
    """Runs tests in the order of the time they took without a fault, and of those only the fast ones; or takes it."""

    def __init__(self, times: Path) -> None:
        self.times, self.taken = times, {}
        self.known = json.loads(times.read_text(encoding="utf-8")) if times.exists() else None

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        if self.known is not None:
            items[:] = sorted((item for item in items if item.nodeid in self.known), key=lambda i: self.known[i.nodeid])

    def pytest_runtest_logstart(self) -> None:
        self.start = time.process_time()

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        self.taken[nodeid] = time.process_time() - self.start

    def pytest_sessionfinish(self) -> None:
        if self.known is None:
            order = sorted(self.taken, key=self.taken.__getitem__)
            sums = accumulate(self.taken[nodeid] for nodeid in order)
            fast = [nodeid for nodeid, so_far in zip(order, sums, strict=True) if so_far <= FAST_SECONDS]
            self.times.write_text(json.dumps({nodeid: self.taken[nodeid] for nodeid in fast}), encoding="utf-8")


def _pytest(copy: str, words: list[str]) -> None:
    """Run tests in a copy of the project, silently; leave with pytest's exit code."""
    import pytest

    os.chdir(copy)
    sys.path.insert(0, copy)
    sys.dont_write_bytecode = True
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    quickest = _QuickestFirst(Path(copy, "times.json"))
    if quickest.known is not None:
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_SECONDS, LONGEST_SECONDS))
    os._exit(int(pytest.main(["-x", "-q", "-n0", "-p", "no:cacheprovider", *words], [quickest])))


def _tests_pass(copy: Path, room: str) -> bool:
    modules, tests = ROOMS[room]
    words = [*(f"tests/{name}" for name in tests), *(f"burden/{name}" for name in modules)]
    process = multiprocessing.get_context("forkserver").Process(target=_pytest, args=(str(copy), words))
    process.start()
    process.join()
    return process.exitcode == 0


def _try(copy: Path, room: str, mutant: Mutant) -> str:
    path = copy / "burden" / mutant.module
    sound = path.read_text(encoding="utf-8")
    try:
        path.write_text(mutant.source, encoding="utf-8")
        return "survived" if _tests_pass(copy, room) else "killed"
    finally:
        path.write_text(sound, encoding="utf-8")


def _rows(table: Path) -> list[dict[str, str]]:
    if not table.exists():
        return []
    with table.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(table: Path, room: str, rows: list[dict[str, str]]) -> None:
    """Write the rows of a room; those of others, which may be tried at the same time, stay as they are."""
    others = [row for row in _rows(table) if row["room"] != room]
    new = table.with_suffix(".new")
    with new.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows([*others, *rows])
    new.replace(table)


def main(room: str, number: int, seed: int, results: Path) -> None:
    """Try so many faults of a room, and print the share killed and the survivors."""
    table = results / "mutants.csv"
    tests = _digest(b"".join((ROOT / "tests" / name).read_bytes() for name in ROOMS[room][1]))
    kept = {row["digest"]: row for row in _rows(table) if row["room"] == room}
    wanted = sample(room, number, seed, kept)
    rows = {mutant.digest: kept[mutant.digest] | _place(mutant) for mutant in wanted if mutant.digest in kept}
    with tempfile.TemporaryDirectory() as where:
        copy = Path(where) / "burden"
        shutil.copytree(
            ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", "results", "figures", "report")
        )
        if not _tests_pass(copy, room):
            sys.exit(f"{room}: its tests fail without any fault")
        for mutant in wanted:
            row = rows.get(mutant.digest)
            if row is None or (row["found"] == "survived" and row["tests"] != tests):
                start = time.perf_counter()
                found = _try(copy, room, mutant)
                spent = f"{time.perf_counter() - start:.1f}"
                row = {"room": room, "found": found, "seconds": spent, "digest": mutant.digest, "tests": tests}
                rows[mutant.digest] = row | _place(mutant)
                _write(table, room, [*rows.values()])
    _write(table, room, [*rows.values()])
    for row in rows.values():
        if row["found"] == "survived":
            print(f"survived: {row['module']}:{row['line']}  {row['before']}  ->  {row['after']}")
    print(f"{room}: {sum(row['found'] == 'killed' for row in rows.values())} of {len(rows)} killed")


def _place(mutant: Mutant) -> dict[str, str]:
    return {"module": mutant.module, "line": str(mutant.line), "before": mutant.before, "after": mutant.after}


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[1] not in ROOMS:
        sys.exit(__doc__)
    multiprocessing.set_forkserver_preload(_WARM)
    given = [*sys.argv[3:], "1"][0], [*sys.argv[4:], str(ROOT / "analysis" / "results")][0]
    main(sys.argv[1], int(sys.argv[2]), int(given[0]), Path(given[1]))

"""Do the tests of a room bite? Small faults are put into its code one at a time; its own fast tests must fail.

Run: python analysis/mutants.py ROOM N [SEED] [FOLDER]     ROOM: counts, development, treatment, elimination, estimate,
schedule; FOLDER: analysis/results. Faults are drawn with a seed among all places of the room's modules: a comparison
turned, a sign or an operator swapped, a factor dropped, a number one off, a condition negated, minimum for maximum, a
statement left out. Each runs in a copy of the project, against the room's tests and its doctests; a run of 90 s counts
as killed, as a mutant may never end. Faults run before are not run again while they stand: one that was killed as long
as its module is the same, one that survived as long as the room's tests are the same too.
Writes mutants.csv: room, place, line before and after, killed or survived, seconds, digest of what it hangs on.
"""

from __future__ import annotations

import ast
import csv
import hashlib
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["ROOMS", "Mutant", "mutants_of", "sample"]

ROOT = Path(__file__).parents[1]
#: modules of a room, and its tests with a choice among them (-k) where all would take long
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...], str]] = {
    "counts": (("counts/across_fish.py", "counts/classes.py", "counts/negative_binomial.py"), ("test_counts.py",), ""),
    "development": (("development.py", "laws.py"), ("test_development.py",), ""),
    "treatment": (("treatment.py", "concentration.py"), ("test_treatment.py", "test_concentration.py"), ""),
    "elimination": (("elimination.py", "chains.py", "renewal.py", "waiting.py"), ("test_elimination.py",), ""),
    "estimate": (("estimate.py", "past.py", "looking.py"), ("test_estimate.py",), ""),
    "schedule": (("schedule.py", "judging.py"), ("test_schedule.py",), ""),
}
LONGEST_SECONDS = 90.0
COLUMNS = ("room", "module", "line", "before", "after", "found", "seconds", "digest")
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
    """

    module: str
    line: int
    before: str
    after: str
    source: str


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Yield every fault that can be put into a module."""
    tree = ast.parse(source)
    for node in _code(tree):
        for other in _faults(node):
            start, end = (
                _offset(source, node.lineno, node.col_offset),
                _offset(source, node.end_lineno, node.end_col_offset),
            )
            before = source.encode()[start:end].decode()
            after = ast.unparse(other)
            text = source.encode()[:start] + (f"({after})" if isinstance(other, ast.expr) else after).encode()
            yield Mutant(module, node.lineno, before, after, (text + source.encode()[end:]).decode())


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


def sample(room: str, number: int, seed: int) -> list[Mutant]:
    """Return so many faults of a room, drawn with a seed over all its modules."""
    found = []
    for module in ROOMS[room][0]:
        found += mutants_of(module, (ROOT / "burden" / module).read_text(encoding="utf-8"))
    return random.Random(seed).sample(found, min(number, len(found)))


def _pytest(copy: str, words: list[str]) -> None:
    """Run tests in a copy of the project, silently; leave with pytest's exit code."""
    import pytest

    os.chdir(copy)
    sys.path.insert(0, copy)
    sys.dont_write_bytecode = True
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    os._exit(int(pytest.main(["-x", "-q", "-n0", "-p", "no:cacheprovider", *words])))


def _tests_pass(copy: Path, room: str) -> bool:
    modules, tests, chosen = ROOMS[room]
    words = [*(f"tests/{name}" for name in tests), *(f"burden/{name}" for name in modules)]
    words += ["-k", chosen] if chosen else []
    process = multiprocessing.get_context("forkserver").Process(target=_pytest, args=(str(copy), words))
    process.start()
    process.join(LONGEST_SECONDS)
    if process.is_alive():
        process.kill()
        process.join()
    return process.exitcode == 0


def _digests(room: str, module: str) -> dict[str, str]:
    """Digest of what an outcome hangs on: the module, and for a fault that survived the tests too."""
    code = (ROOT / "burden" / module).read_bytes()
    tests = b"".join((ROOT / "tests" / name).read_bytes() for name in ROOMS[room][1])
    return {"killed": hashlib.sha256(code).hexdigest()[:12], "survived": hashlib.sha256(code + tests).hexdigest()[:12]}


def _try(copy: Path, room: str, mutant: Mutant) -> dict[str, str]:
    path = copy / "burden" / mutant.module
    sound = path.read_text(encoding="utf-8")
    start = time.perf_counter()
    try:
        path.write_text(mutant.source, encoding="utf-8")
        found = "survived" if _tests_pass(copy, room) else "killed"
    finally:
        path.write_text(sound, encoding="utf-8")
    spent = f"{time.perf_counter() - start:.1f}"
    place = (mutant.module, str(mutant.line), mutant.before, mutant.after)
    return dict(zip(COLUMNS, (room, *place, found, spent, _digests(room, mutant.module)[found]), strict=True))


def _kept(table: Path) -> list[dict[str, str]]:
    if not table.exists():
        return []
    with table.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(table: Path, rows: list[dict[str, str]]) -> None:
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main(room: str, number: int, seed: int, results: Path) -> None:
    """Try so many faults of a room, and print the share killed and the survivors."""
    table, wanted = results / "mutants.csv", sample(room, number, seed)
    places = {(m.module, str(m.line), m.before, m.after) for m in wanted}
    rows = [row for row in _kept(table) if row["room"] != room or _stands(row, room, places)]
    done = {tuple(row[name] for name in COLUMNS[1:5]) for row in rows}
    with tempfile.TemporaryDirectory() as where:
        copy = Path(where) / "burden"
        shutil.copytree(
            ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", "results", "figures", "report")
        )
        if not _tests_pass(copy, room):
            sys.exit(f"{room}: its tests fail, or take more than {LONGEST_SECONDS:g} s, without any fault")
        for mutant in wanted:
            if (mutant.module, str(mutant.line), mutant.before, mutant.after) not in done:
                rows.append(_try(copy, room, mutant))
                _write(table, rows)
    mine = [row for row in rows if row["room"] == room]
    for row in mine:
        if row["found"] == "survived":
            print(f"survived: {row['module']}:{row['line']}  {row['before']}  ->  {row['after']}")
    print(f"{room}: {sum(row['found'] == 'killed' for row in mine)} of {len(mine)} killed")


def _stands(row: dict[str, str], room: str, places: set[tuple[str, ...]]) -> bool:
    """Whether a fault tried before is of this sample, and nothing its outcome hangs on has changed."""
    if tuple(row[name] for name in COLUMNS[1:5]) not in places:
        return False
    return row.get("digest") == _digests(room, row["module"])[row["found"]]


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[1] not in ROOMS:
        sys.exit(__doc__)
    multiprocessing.set_forkserver_preload(_WARM)
    given = [*sys.argv[3:], "1"][0], [*sys.argv[4:], str(ROOT / "analysis" / "results")][0]
    main(sys.argv[1], int(sys.argv[2]), int(given[0]), Path(given[1]))

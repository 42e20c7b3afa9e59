"""What happens when anything is wrong with a case folder: many mutated folders, through the command line's own door.

Run: python analysis/fuzz_cases.py check|estimate|forecast|report N [FOLDER]     (default folder analysis/results)

Folder by folder, each from its seed (`tests/mutated_cases.py`), in this process: a folder that only spells a good case
otherwise must give the good case's JSON and files byte for byte; any other that is accepted must give finite numbers
that hold together; the rest one list of problems and exit 2. No traceback, no hang (10 s of processor for a check, 120
s for an answer, an hour by the clock), no more than 1 GB, nothing written. `check` takes the next N seeds; `estimate`,
`forecast` and `report` the next N that a check accepts, at 20 draws. Seeds go on where the last run stopped.

Many folders read as the very same case: another spelling, or a change in what no command reads. All an answer sees of
a folder is the case read from it, so one answer stands for all that read alike (`what_is_read`), and a row counts
`folders` covered and, of these, `shared`. One in fifty of the shared is run anyway (`run_anyway`) and must give the
same JSON and files, byte for byte, as the first that read so.

Writes fuzz_cases.csv, a row a block of seeds, and fuzz_faults.csv, a row a fault. Rows with nothing under `shared` are
of an earlier campaign, which answered every changed folder and one in four of the respelt, by the package of its day;
the seeds of estimate, forecast and report began again at 1 after it. `slowest_s` is the processor's; up to check 20000,
report 828 and estimate 2344 it was by the clock, with others at work on the machine. A null where a number belongs is a
fault since estimate 1918.
"""

# ruff: noqa: E402 — threads are limited before numpy loads

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # before numpy loads

import csv
import hashlib
import json
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from click.testing import CliRunner
from mutated_cases import Mutated, lay_out, mutated, plain

from burden.cli import main as burden
from burden.io import read_case
from burden.utils.errors import InputError

__all__ = ["COMMANDS", "Outcome", "faults_of_numbers", "judge", "one_seed", "run", "what_is_read"]

COMMANDS = ("check", "estimate", "forecast", "report")
BLOCK = {"check": 500, "estimate": 50, "forecast": 20, "report": 10}
#: of the shared folders, those of every so manieth seed are run anyway
RUN_ANYWAY = 50
#: exit code of what was not run, as another folder's answer stands for it
SHARED = -2
CHECK_SECONDS, ANSWER_SECONDS, MOST_BYTES = 10.0, 120.0, 1_000_000_000
#: by the clock, for what waits and does not work; on a busy machine seconds by the clock tell nothing else
WAITING_SECONDS = 3600.0
#: differences, and changes in percent
_MAY_BE_BELOW_0 = ("percent", "rate", "growth", "error", "more_")
#: nothing was looked at
_MAY_BE_MISSING = ("detection_per_fish",)
COLUMNS = ("command", "first", "last", "folders", "respelt", "accepted", "refused", "no_answer", "problems", "faults",
           "slowest_s", "peak_mb", "shared", "run_anyway")  # fmt: skip


class HangError(BaseException):
    """Took too long; no `except Exception` on the way may swallow it."""


@dataclass
class Outcome:
    """How one folder fared.

    Parameters
    ----------
    code : int
        Exit code.
    body : dict
        The JSON object; empty where there was none.
    faults : list of str
        What went against the rules.
    seconds : float
        Time the processor took [s].
    text : str
        Standard output, and for a report a digest of each of its files.
    first : int
        Seed of the folder that read as the same case and was answered before; 0 where there was none.
    """

    code: int
    body: dict[str, Any]
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0
    text: str = ""
    first: int = 0


@contextmanager
def _no_longer_than(seconds: float, clock: int) -> Iterator[None]:
    """Raise `HangError` after so many seconds of a clock: ITIMER_REAL or ITIMER_VIRTUAL."""
    sent = signal.SIGALRM if clock == signal.ITIMER_REAL else signal.SIGVTALRM

    def stop(*_: object) -> None:
        raise HangError

    before = signal.signal(sent, stop)
    signal.setitimer(clock, seconds)
    try:
        yield
    finally:
        signal.setitimer(clock, 0)
        signal.signal(sent, before)


def _seen(root: Path) -> list[tuple[Any, ...]]:
    """Return every file under a folder with its size and the time of its last change."""
    found = []
    for at, folders, files in os.walk(root):
        for name in (*folders, *files):
            state = os.lstat(os.path.join(at, name))
            found.append((os.path.join(at, name), state.st_size, state.st_mtime_ns))
    return sorted(found)


def run(command: str, folder: Path) -> Outcome:
    """Run one command on a folder and judge what holds for any input."""
    words = [command, str(folder), "--json"]
    words += [] if command == "check" else ["--draws", "20", "--quiet"]
    words += ["--out", str(folder.parent / "out"), "--workers", "1"] if command == "report" else []
    limit = CHECK_SECONDS if command == "check" else ANSWER_SECONDS
    before, start = _seen(folder.parent), time.process_time()
    try:
        with _no_longer_than(limit, signal.ITIMER_VIRTUAL), _no_longer_than(WAITING_SECONDS, signal.ITIMER_REAL):
            found = CliRunner().invoke(burden, words)
    except HangError:
        return Outcome(-1, {}, [f"no end after {limit:g} s"], time.process_time() - start)
    outcome = Outcome(
        found.exit_code, {}, [], time.process_time() - start, found.stdout + _files(folder.parent / "out")
    )
    if (command != "report" or found.exit_code == 2) and _seen(folder.parent) != before:
        outcome.faults.append("something was written")
    if "Traceback" in found.stderr + found.stdout or not isinstance(found.exception, SystemExit | None):
        outcome.faults.append(f"traceback: {found.exception!r}")
    outcome.text = outcome.text.replace(str(folder.parent), "")
    try:
        outcome.body = json.loads(found.stdout, parse_constant=_no_number)
    except ValueError as error:
        outcome.faults.append(f"no JSON: {error}")
    return outcome


def _files(folder: Path) -> str:
    """Return the name and a digest of every file below a folder, a line each."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return "".join(f"{hashlib.sha256(path.read_bytes()).hexdigest()} {path}\n" for path in files)


def _no_number(word: str) -> None:
    raise ValueError(f"{word} in the JSON")


def judge(command: str, kind: str, found: Outcome, good: str | None = None) -> list[str]:
    """Return what of an outcome goes against the rules.

    Parameters
    ----------
    command : str
    kind : str
        What was done to the folder: respelt, changed or broken.
    found : Outcome
    good : str, optional
        What the same command prints for the plain spelling.
    """
    faults = list(found.faults)
    if kind == "respelt" and good is not None and found.text != good:
        faults.append(f"another answer for another spelling: {_difference(found, good)}")
    if found.code == 2:
        listed = found.body.get("problems") or []
        whole = all(p.get(k) for p in listed for k in ("file", "place", "expected", "fix"))
        if not listed or not whole or found.body.get("ok") is not False:
            faults.append("exit 2 without a whole list of problems")
    elif found.code == 1:
        said = str(found.body.get("error", ""))
        if not said or "the program failed" in said:
            faults.append(f"exit 1: {said or 'nothing said'}")
    elif found.code == 0:
        faults += faults_of_numbers(found.body) if command != "check" else _of_check(found.body)
    else:
        faults.append(f"exit {found.code}")
    return faults


def _difference(found: Outcome, good: str) -> str:
    lines = zip(found.text.splitlines(), good.splitlines(), strict=False)
    return "; ".join(f"{a.strip()} for {b.strip()}" for a, b in lines if a != b)[:300]


def _of_check(body: dict[str, Any]) -> list[str]:
    return [] if body.get("ok") is True and body.get("problems") == [] and body.get("in_words") else ["not whole"]


def faults_of_numbers(body: Any, at: str = "") -> list[str]:
    """Return every number of an answer that cannot be: none at all, out of order, a share or chance out of 0 to 1."""
    if isinstance(body, list):
        return [fault for i, item in enumerate(body) for fault in faults_of_numbers(item, f"{at}[{i}]")]
    if not isinstance(body, dict):
        return []
    faults = []
    triple = [body.get(name) for name in ("low", "median", "high")]
    if "median" in body and None in triple and at not in _MAY_BE_MISSING:
        faults.append(f"{at}: no number in {triple}")  # JSON has no NaN: null stands for it
    elif "median" in body and None not in triple:
        low, median, high = triple
        slack = 1e-9 * max(abs(high), 1e-300)
        if not low <= median + slack <= high + 2 * slack:
            faults.append(f"{at}: {low}, {median}, {high} out of order")
        if _is_share(at) and not (low >= -1e-12 and high <= 1 + 1e-9):
            faults.append(f"{at}: {low} to {high} is no probability")
        if low < 0 and not any(word in at for word in _MAY_BE_BELOW_0):
            faults.append(f"{at}: {low} is below 0")
    for name, value in body.items():
        faults += faults_of_numbers(value, f"{at}.{name}" if at else name)
    if "regime_probability" in body and abs(sum(body["regime_probability"].values()) - 1) > 1e-9:
        faults.append("regime_probability does not sum to 1")
    return faults


def _is_share(at: str) -> bool:
    return at.rpartition(".")[2].endswith(("probability", "prevalence", "detection_per_fish"))


@cache
def _good(command: str, base: str) -> str:
    """Return what a command prints, and writes, for a good case in its plain spelling."""
    with _scratch() as root:
        return run(command, lay_out(plain(base), root / "pond")).text


@contextmanager
def _scratch() -> Iterator[Path]:
    root = Path(tempfile.mkdtemp(prefix="burden-"))
    try:
        yield root
    finally:
        shutil.rmtree(root)


def what_is_read(folder: Path) -> str | None:
    """Return a digest of the case a folder is read as, to the last digit and type; None where it is refused.

    Every field of a case is in its repr, what was assumed and what looks odd included; the folder's name is one of
    them, and all folders here bear the same.
    """
    try:
        return hashlib.sha256(repr(read_case(folder)).encode("utf-8", "surrogatepass")).hexdigest()
    except InputError:
        return None


@lru_cache(maxsize=16)
def _answer_of(command: str, seed: int) -> str:
    """Return what a command prints, and writes, for the folder of a seed."""
    with _scratch() as root:
        return run(command, lay_out(mutated(seed), root / "pond")).text


def one_seed(command: str, seed: int, answered: dict[str, int] | None = None) -> tuple[Mutated, Outcome] | None:
    """Run one command on the folder of a seed.

    Parameters
    ----------
    command : str
    seed : int
    answered : dict of str to int, optional
        First seed by `what_is_read`, added to here; without it every folder is run.

    Returns
    -------
    (Mutated, Outcome) or None
        None where the folder is refused and the command is no check. Exit code -2 where another folder's answer
        stands for this one's.
    """
    case = mutated(seed)
    with _scratch() as root:
        folder = lay_out(case, root / "pond")
        if command == "check":
            first = seed
        elif (read := what_is_read(folder)) is None:
            return None
        else:
            first = seed if answered is None else answered.setdefault(read, seed)
        if first != seed and seed % RUN_ANYWAY:
            return case, Outcome(SHARED, {}, first=first)
        found = run(command, folder)
    if first == seed:
        found.faults = judge(command, case.kind, found, _good(command, case.base))
    else:
        found.first, found.faults = first, judge(command, "respelt", found, _answer_of(command, first))
    return case, found


# --- the campaign


def _block(command: str, first: int, answered: dict[str, int]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Run one block; return its row and its faults. `folders` = accepted + refused + no_answer + hung + not run."""
    counts: Counter[str] = Counter()
    slowest, seed, faults = 0.0, first, []
    while counts["folders"] < BLOCK[command]:
        if (one := one_seed(command, seed, answered)) is not None:
            case, found = one
            slowest = max(slowest, found.seconds)
            counts.update(_counted(case, found))
            about = {"command": command, "seed": seed, "base": case.base, "kind": case.kind}
            faults += [about | {"what": "; ".join(case.what), "fault": fault} for fault in found.faults]
        seed += 1
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    whole = {"command": command, "first": first, "last": seed - 1}
    whole |= {"slowest_s": f"{slowest:.2f}", "peak_mb": f"{peak:.0f}"}
    return {name: whole.get(name, counts[name]) for name in COLUMNS}, faults


def _counted(case: Mutated, found: Outcome) -> dict[str, int]:
    """Return what one folder adds to its row."""
    end = {0: "accepted", 1: "no_answer", 2: "refused", SHARED: "not_run"}.get(found.code, "hung")
    return {
        "folders": 1,
        "respelt": case.kind == "respelt",
        end: 1,
        "problems": len(found.body.get("problems") or ()),
        "faults": bool(found.faults),
        "shared": found.first > 0,
        "run_anyway": found.first > 0 and found.code != SHARED,
    }


def _append(path: Path, columns: tuple[str, ...], rows: list[dict[str, Any]]) -> None:
    new = not path.exists()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerows(rows)


def _next_seed(path: Path, command: str) -> int:
    if not path.exists():
        return 1
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["command"] == command]
    return 1 + max((int(row["last"]) for row in rows if command == "check" or row["shared"]), default=0)


def _answered_before(command: str, seed: int) -> dict[str, int]:
    """Return the first seed by what was read, of all seeds before one."""
    answered: dict[str, int] = {}
    for earlier in range(1, seed if command != "check" else 1):
        with _scratch() as root:
            if (read := what_is_read(lay_out(mutated(earlier), root / "pond"))) is not None:
                answered.setdefault(read, earlier)
    return answered


def main(command: str, folders: int, results: Path) -> None:
    """Run so many folders more, block by block."""
    warnings.simplefilter("error")
    resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))
    table = results / "fuzz_cases.csv"
    answered = _answered_before(command, _next_seed(table, command))
    for _ in range(-(-folders // BLOCK[command])):
        row, faults = _block(command, _next_seed(table, command), answered)
        _append(results / "fuzz_faults.csv", ("command", "seed", "base", "kind", "what", "fault"), faults)
        _append(table, COLUMNS, [row])
        print(*(f"{name} {value}" for name, value in row.items()), sep=", ", flush=True)
        for fault in faults[:5]:
            print("  ", fault["seed"], fault["base"], fault["what"][:80], "->", fault["fault"][:300])


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[1] not in COMMANDS:
        sys.exit(__doc__)
    main(sys.argv[1], int(sys.argv[2]), Path(sys.argv[3] if len(sys.argv) > 3 else ROOT / "analysis" / "results"))

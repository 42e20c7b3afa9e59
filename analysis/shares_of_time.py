"""Runs one command of `burden` and says which parts of the program its processor time went to.

Run: python analysis/shares_of_time.py decide simulated_data/koi_pond

Each moment counts for the innermost part only: an import inside a figure is an import. `benchmark.py` runs this in a
new process a command. The last line on standard error is one JSON object: seconds by part, megabytes at the most.
"""

from __future__ import annotations

import builtins
import contextlib
import importlib
import json
import os
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))
for limit in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(limit, "1")  # before numpy loads

#: part -> (module, name in it): what is timed once the module is there
PARTS = {
    "runs": [("burden.model.forward.stepper", "Stepper.run")],
    "walks back": [
        ("burden.model.elimination.renewal", "_Walk.step_to"),
        ("burden.model.elimination.renewal", "_Walk.values"),
        ("burden.model.elimination.probability", "chain_values"),
    ],
    "search": [("burden.decision.assessment", "search"), ("burden.schedule.interval", "search")],
    "estimate": [("burden.decision.assessment", "estimate"), ("burden.inference.estimate", "estimate")],
    "figures": [("burden.report.figures.style", "figure_bytes"), ("burden.report.figures.inline", "figures_of")],
}


class Clock:
    """Processor time by part, each moment for the part entered last."""

    def __init__(self) -> None:
        self.spent: Counter[str] = Counter()
        self.parts, self.since = ["rest"], 0.0  # since the process began

    def turn(self) -> None:
        """Put the time since the last turn to the part that it was spent in."""
        now = time.process_time()
        self.spent[self.parts[-1]] += now - self.since
        self.since = now

    def timed(self, part: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """The same work, its time counted for a part."""

        def of(*given: Any, **named: Any) -> Any:
            self.turn()
            self.parts.append(part)
            try:
                return work(*given, **named)
            finally:
                self.turn()
                self.parts.pop()

        return of


def time_parts(clock: Clock) -> None:
    """Time every import, and every part as soon as its module has been loaded."""
    waiting = {(module, name): part for part, places in PARTS.items() for module, name in places}

    def patch() -> None:
        for module, name in [place for place in waiting if place[0] in sys.modules]:
            owner = sys.modules[module]
            *outer, last = name.split(".")
            with contextlib.suppress(AttributeError):  # still being loaded
                for part in outer:
                    owner = getattr(owner, part)
                setattr(owner, last, clock.timed(waiting[module, name], getattr(owner, last)))
                del waiting[module, name]

    def importing(work: Callable[..., Any]) -> Callable[..., Any]:
        timed = clock.timed("imports", work)

        def of(*given: Any, **named: Any) -> Any:
            if clock.parts[-1] == "imports":
                return work(*given, **named)
            found = timed(*given, **named)
            patch()
            return found

        return of

    builtins.__import__ = importing(builtins.__import__)
    importlib.import_module = importing(importlib.import_module)


def run(words: list[str]) -> None:
    """Run a command, and print what its time went to."""
    clock = Clock()
    time_parts(clock)
    try:
        from burden.cli import main

        main(words, prog_name="burden")
    finally:
        clock.turn()
        print(json.dumps({"seconds": dict(clock.spent), "peak_mb": peak_mb()}), file=sys.stderr)


def peak_mb() -> float:
    """The most memory this process took, not what the one that started it held; not a number where no file tells."""
    status = Path("/proc/self/status")
    lines = status.read_text(encoding="utf-8").splitlines() if status.exists() else []
    return next((float(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), float("nan"))


if __name__ == "__main__":
    run(sys.argv[1:])

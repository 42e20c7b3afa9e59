"""How much work a decision is, counted and not timed: a doubling is noticed on any machine, however busy.

The counts are those of the koi pond with 60 draws. Whoever makes them smaller writes the smaller ones down; whoever
needs more says why. Nothing outside the project says what they should be.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

KOI = Path(__file__).parents[2] / "simulated_data" / "koi_pond"
#: what is counted -> how often it was done when this was written
COUNTS = {
    "runs": 9,
    "steps": 1_116,
    "columns stepped": 426_756,
    "kernels' columns": 1_693_392,
    "walks back": 1,
    "gamma shares": 3_211_020,
    "ponds drawn": 3_054,
}
#: an answer never waits for these
NEVER_LOADED = ("scipy.stats", "pandas", "matplotlib", "jinja2", "icalendar", "starlette", "openpyxl")
_CODE = """
import json, sys
from collections import Counter
import numpy as np
import burden.model.elimination.probability as probability
import burden.model.elimination.waiting_times as waiting_times
import burden.model.forward.stepper as stepper
import burden.inference.history as history

done = Counter()

def counted(room, name, **how_many):
    real = getattr(room, name)
    def work(*given, **named):
        for what, number in how_many.items():
            done[what] += number(*given)
        return real(*given, **named)
    setattr(room, name, work)

def one(*given):
    return 1

counted(stepper.Stepper, "__init__", **{"runs": one})
counted(stepper.Stepper, "_step", **{"steps": one, "columns stepped": lambda self, *_: self.setting.parameters.size})
counted(stepper, "chain_kernel", **{"kernels' columns": lambda _, *rates: max(map(np.size, rates))})
counted(probability, "backward", **{"walks back": one})
counted(waiting_times, "_gamma_share", **{"gamma shares": lambda shape, development: development.size})
counted(history, "draw_pond", **{"ponds drawn": lambda case, parasite, m, seed: m})

from burden.cli import main
try:
    main(["decide", sys.argv[1], "--draws", "60", "--json", "--quiet"])
finally:
    print(json.dumps({"done": done, "loaded": sorted(sys.modules)}), file=sys.stderr)
"""


@pytest.fixture(scope="module")
def work() -> dict[str, object]:
    """One decision in a process of its own."""
    run = subprocess.run([sys.executable, "-c", _CODE, str(KOI)], capture_output=True, text=True, check=True)
    assert json.loads(run.stdout)["action"] == "dose"
    return json.loads(run.stderr.splitlines()[-1])


@pytest.mark.parametrize("what", COUNTS)
def test_a_decision_is_no_more_work_than_it_was(work, what):
    """A quarter more is noticed; so is a third less, which is to be written down."""
    assert 0.67 * COUNTS[what] <= work["done"][what] <= 1.25 * COUNTS[what]


def test_nothing_is_loaded_that_no_decision_needs(work):
    assert [name for name in NEVER_LOADED if name in work["loaded"]] == []

"""Commands as a program asks them, and what every answer of one carries."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from burden.cli import main

ROOT = Path(__file__).parents[1]
KOI = ROOT / "simulated_data" / "koi_pond"
FRAME = {"schema_version", "seed", "draws", "interval_level", "warnings"}
DRAWS = ("--draws", "40")


@cache
def run(*words: str, turn: int = 0):
    """Run a command once a session; `turn` sets a second run of the same words apart."""
    return CliRunner().invoke(main, [str(word) for word in words])


def answer(*words: str, code: int = 0) -> dict:
    """JSON object of a command; nothing else may be on standard output."""
    found = run(*words, "--json")
    assert found.exit_code == code, found.output
    return json.loads(found.stdout, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))


# --- keys other programs rely on -------------------------------------------------------------------------------------
def is_triple(value: dict, mean: bool = False) -> bool:
    numbers = [value[name] for name in ("low", "median", "high")]
    assert set(value) == {"low", "median", "high"} | ({"mean"} if mean else set())
    return numbers == [None] * 3 or numbers == sorted(numbers)


def assert_frame(found: dict, seed: int | None, draws: int | None) -> None:
    assert set(found) >= FRAME
    assert (found["schema_version"], found["interval_level"]) == (1, 0.9)
    assert (found["seed"], found["draws"]) == (seed, draws)
    assert isinstance(found["warnings"], list)

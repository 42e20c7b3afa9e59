"""Whatever a valid case says beside what else: it is accepted, and every answer makes sense."""

from __future__ import annotations

import sys
from itertools import combinations
from pathlib import Path

import pytest
from valid_cases import FACTORS, levels_of, pairs, valid_case

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analysis import fuzz_cases  # noqa: E402

#: an estimate takes seconds of processor; further seeds are for whoever has time
CHECKED, ANSWERED = 150, 2


def write(seed: int, folder: Path) -> Path:
    folder.mkdir(parents=True)
    for name, text in valid_case(seed).items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_some_hundred_draws_hold_every_pair_of_levels():
    wanted = {
        ((a, i), (b, j))
        for a, b in combinations(sorted(FACTORS), 2)
        for i in range(len(FACTORS[a]))
        for j in range(len(FACTORS[b]))
    }
    held = set().union(*(pairs(levels_of(seed)) for seed in range(CHECKED)))
    assert wanted - held == set()


def test_every_draw_is_accepted(tmp_path):
    faults = {}
    for seed in range(CHECKED):
        found = fuzz_cases.run("check", write(seed, tmp_path / str(seed) / "pond"))
        if found.code != 0 or fuzz_cases.judge("check", "valid", found):
            faults[seed] = (found.text[:300], found.faults)
    assert not faults


@pytest.mark.parametrize("seed", range(10**6, 10**6 + ANSWERED))
def test_every_estimate_makes_sense(tmp_path, seed, few_ponds):
    """A number for everything, in order, within what can be; a warning of NumPy is an error here."""
    found = fuzz_cases.run("estimate", write(seed, tmp_path / "pond"))
    assert fuzz_cases.judge("estimate", "valid", found) == [], valid_case(seed)["case.toml"]

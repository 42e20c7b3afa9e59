"""A short slice of the campaign of `analysis/fuzz_cases.py`: whatever a folder holds, the answer keeps the rules."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from mutated_cases import BASES, lay_out, mutated, plain

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analysis import fuzz_cases  # noqa: E402
from burden.io import read_case  # noqa: E402

SEEDS, BLOCKS = 150, 5


@pytest.mark.parametrize("block", range(BLOCKS))
def test_whatever_a_folder_holds_a_check_keeps_the_rules(block):
    """Seeds far from those of the campaign, so that they are new to what was mended after it."""
    faults = {}
    for seed in range(10**6 + block, 10**6 + SEEDS, BLOCKS):
        case, found = fuzz_cases.one_seed("check", seed)
        assert found.code in (0, 2), (seed, case.what)
        assert case.kind != "respelt" or found.code == 0, (seed, found.text)
        if found.faults:
            faults[seed] = (case.base, case.what, found.faults)
    assert not faults


@pytest.mark.parametrize("base", BASES)
def test_the_good_cases_are_good(base, tmp_path):
    found = fuzz_cases.run("check", lay_out(plain(base), tmp_path / "pond"))
    assert (found.code, fuzz_cases.judge("check", "plain", found)) == (0, [])


def test_a_folder_is_made_again_from_its_seed():
    seeds = range(40)
    for one, two in zip(map(mutated, seeds), map(mutated, seeds), strict=True):
        assert (one.what, one.files.keys()) == (two.what, two.files.keys())
        assert all(one.files[n] == two.files[n] or callable(one.files[n]) for n in one.files)
    assert {mutated(seed).kind for seed in seeds} == {"respelt", "changed", "broken"}


def test_another_spelling_is_the_same_case(tmp_path):
    """To the last digit and type. Every answer is made of the case alone, so all of them are the same bytes."""
    good = {base: repr(read_case(lay_out(plain(base), tmp_path / base / "pond"))) for base in BASES}
    seen = set()
    for case in filter(lambda case: case.kind == "respelt", map(mutated, range(10**6, 10**6 + SEEDS))):
        folder = lay_out(case, tmp_path / str(case.seed) / "pond")
        assert repr(read_case(folder)) == good[case.base], case.seed
        seen.add(case.base)
    assert seen == {*BASES}


def test_another_value_is_not_taken_for_another_spelling(tmp_path):
    """The same judge objects when the water of a respelt case is not the good case's."""
    good = fuzz_cases.run("check", lay_out(plain("garden"), tmp_path / "a" / "pond"))
    case = plain("garden")
    case.files["case.toml"] = case.files["case.toml"].replace(b"12000", b"12001")
    other = fuzz_cases.run("check", lay_out(case, tmp_path / "b" / "pond"))
    assert fuzz_cases.judge("check", "respelt", good, good.text) == []
    assert "12 001" in fuzz_cases.judge("check", "respelt", other, good.text)[0]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ({"flukes": {"median": 3.0, "low": 4.0, "high": 5.0}}, "out of order"),
        ({"flukes": {"median": None, "low": None, "high": None}}, "no number"),
        ({"prevalence": {"median": 0.5, "low": 0.1, "high": 1.1}}, "no probability"),
        ({"by_set": [{"deaths": {"median": 1.0, "low": -2.0, "high": 5.0}}]}, "below 0"),
        ({"regime_probability": {"growing": 0.5, "endemic": 0.2, "fading": 0.2}}, "sum to 1"),
    ],
)
def test_numbers_that_cannot_be_are_seen(body, word):
    assert word in fuzz_cases.faults_of_numbers(body)[0]
    assert fuzz_cases.faults_of_numbers({"prevalence": {"median": 0.5, "low": 0.1, "high": 1.0}}) == []


def test_what_is_written_what_hangs_and_what_is_ours_are_seen(tmp_path, monkeypatch):
    from burden import io as casefile

    folder = lay_out(plain("garden"), tmp_path / "pond")

    def writes(path):
        (folder / "new").touch()
        raise KeyError("ours")

    monkeypatch.setattr(casefile, "check_case", writes)
    found = fuzz_cases.run("check", folder)
    assert found.faults == ["something was written"]
    assert "the program failed" in fuzz_cases.judge("check", "changed", found)[-1]

    def hangs(path):
        while True:
            pass

    monkeypatch.setattr(casefile, "check_case", hangs)
    monkeypatch.setattr(fuzz_cases, "CHECK_SECONDS", 0.05)
    assert "no end" in fuzz_cases.run("check", folder).faults[0]


def test_one_answer_stands_for_folders_read_as_the_same_case_alone(tmp_path):
    seeds = range(10**6, 10**6 + SEEDS)
    respelt = next(case for case in map(mutated, seeds) if (case.kind, case.base) == ("respelt", "garden"))
    other, broken = plain("garden"), plain("garden")
    other.files["case.toml"] = other.files["case.toml"].replace(b"12000", b"12000.001")
    broken.files["case.toml"] += b"\n[[[\n"
    cases = {"plain": plain("garden"), "respelt": respelt, "other": other, "broken": broken}
    read = {name: fuzz_cases.what_is_read(lay_out(case, tmp_path / name / "pond")) for name, case in cases.items()}
    assert read["plain"] == read["respelt"]
    assert len({read["plain"], read["other"], read["broken"]}) == 3
    assert read["broken"] is None


def test_of_shared_folders_one_in_fifty_must_give_the_answer_that_stood_for_it(monkeypatch):
    """All folders read alike here, and each answer names its seed: the one that is run anyway gives itself away."""
    laid = []
    monkeypatch.setattr(fuzz_cases, "mutated", lambda seed: laid.append(seed) or mutated(seed))
    monkeypatch.setattr(fuzz_cases, "what_is_read", lambda folder: "alike")
    monkeypatch.setattr(fuzz_cases, "run", lambda *_: fuzz_cases.Outcome(0, {}, [], 0.0, f"answer {laid[-1]}"))
    monkeypatch.setattr(fuzz_cases, "_good", lambda command, base: f"answer {laid[-1]}")
    answered: dict[str, int] = {}
    found = {seed: fuzz_cases.one_seed("estimate", seed, answered)[1] for seed in (11, 12, 49, 50, 51)}
    assert answered == {"alike": 11}
    assert [found[seed].first for seed in found] == [0, 11, 11, 11, 11]
    assert [found[seed].code for seed in found] == [0, fuzz_cases.SHARED, fuzz_cases.SHARED, 0, fuzz_cases.SHARED]
    assert [seed for seed in found if found[seed].faults] == [50]
    assert found[50].faults == ["another answer for another spelling: answer 50 for answer 11"]

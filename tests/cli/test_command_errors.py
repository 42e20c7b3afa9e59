"""Errors of the command line: what is wrong with an input, what cannot be answered, and our own faults."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from command_line import KOI, answer, assert_frame, run

from burden.cli import main
from burden.utils.errors import CannotAnswerError

PROBLEM = {"file", "place", "value", "expected", "fix"}
WRONG = {
    "no such case": ("estimate", "no_such_folder"),
    "no such option": ("interval", "--parasit", "dactylogyrus"),
    "no such command": ("estimat", "x"),
    "no such plan": ("sampling", "fnd"),
    "no such set": ("interval", "--parasite", "dactylogirus", "--temperature", "20"),
    "no such agent": ("agents", "prazi"),
    "not of the case": ("estimate", str(KOI), "--parasite", "gyrodactylus"),
    "nothing given": ("interval",),
    "no number": ("sampling", "find", "--prevalence", "five"),
    "out of range": ("interval", "--parasite", "dactylogyrus", "--temperature", "99"),
    "too few draws": ("estimate", str(KOI), "--draws", "1"),
    "no value": ("dose", "--agent", "praziquantel", "--volume-l"),
    "too many words": ("estimate", str(KOI), "another"),
    "an unpublished dose": ("dose", "--agent", "praziquantel", "--volume-l", "100", "--mg-l", "500"),
    "a share in percent": ("sampling", "find", "--prevalence", "5"),
    "two aims": ("sampling", "stop", "--k", "1", "--precision", "0.5", "--low", "2"),
    "a figure of another kind": ("parasites", "dactylogyrus", "--plot", "laws.doc"),
    "a figure of nothing": ("parasites", "--plot", "laws.svg"),
    "a figure nowhere": ("parasites", "dactylogyrus", "--plot", "no_such_folder/laws.svg"),
    "a folder that is taken": ("new", str(KOI)),
}


@pytest.mark.parametrize("words", WRONG.values(), ids=WRONG)
def test_wrong_input_is_exit_code_2_with_problems_as_json(words):
    found = answer(*words, code=2)
    assert_frame(found, None, None)
    assert found["ok"] is False
    assert found["problems"]
    for problem in found["problems"]:
        assert set(problem) == PROBLEM
        assert all(isinstance(text, str) and text for text in problem.values())


@pytest.mark.parametrize("words", WRONG.values(), ids=WRONG)
def test_wrong_input_in_words_goes_to_standard_error(words):
    found = run(*words)
    assert (found.exit_code, found.stdout) == (2, "")
    assert "Traceback" not in found.stderr
    assert "nothing was written" in found.stderr


def test_every_wrong_option_is_told_at_once_with_the_near_miss():
    found = answer("interval", "--parasite", "dactylogirus", "--temperature", "99", "--draws", "few", code=2)
    told_of = {problem["place"]: problem for problem in found["problems"]}
    assert set(told_of) == {"--parasite", "--temperature", "--draws"}
    assert told_of["--parasite"]["fix"] == 'Did you mean "dactylogyrus"?'
    assert told_of["--temperature"]["expected"] == "a number from 0 to 40"


def test_expected_says_what_is_expected_not_what_is_wrong(tmp_path):
    """Click says of a word what it is not, and of a file that it is not there."""
    words = (
        "--visit-date 10.5.2026 --shape round --reading x 12 --logger nosuch.csv --food-fish maybe --gill-clip 3 legs"
    )
    problems = answer("new", str(tmp_path / "pond"), *words.split(), code=2)["problems"]
    assert [(p["place"], p["value"], p["expected"]) for p in problems] == [
        ("--visit-date", "10.5.2026", "a date as 2026-05-10"),
        ("--shape", "round", "one of rectangle, oval, free"),
        ("--reading", "x 12", "a date as 2026-05-10"),
        ("--logger", "nosuch.csv", "a file that is there and can be read"),
        ("--food-fish", "maybe", "one of yes, no"),
        ("--gill-clip", "3 legs", "one of tips, filaments, arches"),
    ]


def test_a_case_with_problems_fails_its_check(tmp_path):
    folder = tmp_path / "pond"
    answer("new", folder)
    text = (folder / "case.toml").read_text(encoding="utf-8")
    wrong = text.replace('medium = "fresh"', 'medium = "freshh"').replace("count = 40", "count = -1")
    (folder / "case.toml").write_text(wrong, encoding="utf-8")
    found = answer("check", folder, code=2)
    assert found["ok"] is False
    assert {problem["file"] for problem in found["problems"]} == {"case.toml"}
    assert len(found["problems"]) == 2
    assert answer("estimate", folder, code=2)["problems"] == found["problems"]


def test_nothing_is_written_on_2(tmp_path):
    out, figure = tmp_path / "out", tmp_path / "chart.svg"
    assert run("report", tmp_path / "none", "--out", out, "--json").exit_code == 2
    live_bearer = ("interval", "--parasite", "gyrodactylus", "--temperature", "20", "--plot", figure)
    assert run(*live_bearer).exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_an_unpublished_dose_can_be_accepted():
    words = ("dose", "--agent", "praziquantel", "--volume-l", "100", "--mg-l", "500", "--accept-unpublished-dose")
    assert answer(*words)["mass_mg"] == 50_000


def test_what_cannot_be_answered_is_exit_code_1_with_its_reason(monkeypatch):
    import burden.sampling.detection as room

    def unknown(*_: object, **__: object) -> None:
        raise CannotAnswerError("nobody measured it")

    monkeypatch.setattr(room, "find", unknown)
    failed = CliRunner().invoke(main, ["sampling", "find", "--prevalence", "0.05", "--json"])
    assert failed.exit_code == 1
    found = json.loads(failed.stdout)
    assert (found["ok"], found["problems"], found["error"]) == (False, [], "nobody measured it")


def test_a_fault_of_ours_shows_its_traceback_only_when_asked(monkeypatch):
    import burden.sampling.detection as room

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("on purpose")

    monkeypatch.setattr(room, "find", broken)
    words = ["sampling", "find", "--prevalence", "0.05"]
    plain, debug = (CliRunner().invoke(main, [*words, *more]) for more in ((), ("--debug",)))
    assert plain.exit_code == debug.exit_code == 1
    assert "on purpose" not in plain.stderr
    kept = Path(re.search(r"Send (\S+\.txt)", plain.stderr)[1])
    assert "on purpose" in kept.read_text(encoding="utf-8")
    kept.unlink()
    assert "Traceback" not in plain.stderr
    assert "Traceback" in debug.stderr


def test_ctrl_c_leaves_quietly(monkeypatch):
    import burden.sampling.detection as room

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(room, "find", stopped)
    found = CliRunner().invoke(main, ["sampling", "find", "--prevalence", "0.05"])
    assert found.exit_code == 130
    assert "Traceback" not in found.stderr

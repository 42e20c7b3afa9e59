"""Options take finite numbers within limits that have a reason; no command line makes a traceback or a fault."""

from __future__ import annotations

import json

import click
import pytest
from click.testing import CliRunner

from burden.cli import main
from burden.cli.types import Number, Whole

DOSE = ("dose", "--agent", "praziquantel", "--volume-l", "1000")


def run(*words: str):
    return CliRunner().invoke(main, [*words, "--json"])


@pytest.mark.parametrize(
    ("words", "option"),
    [
        (("interval", "--parasite", "dactylogyrus", "--temperature", "nan"), "--temperature"),
        (("interval", "--parasite", "dactylogyrus", "--temperature", "inf"), "--temperature"),
        (("interval", "--parasite", "dactylogyrus", "--temperature", "20", "--draws", "20000"), "--draws"),
        (("interval", "--parasite", "dactylogyrus", "--temperature", "20", "--seed", "9" * 400), "--seed"),
        (("dose", "--agent", "praziquantel", "--volume-l", "1e308"), "--volume-l"),
        (("dose", "--agent", "praziquantel", "--volume-l", "nan"), "--volume-l"),
        (("dose", "--agent", "praziquantel", "--volume-l", "0"), "--volume-l"),
        ((*DOSE, "--mg-l", "nan"), "--mg-l"),
        ((*DOSE, "--mg-l", "1e300"), "--mg-l"),
        ((*DOSE, "--hours", "1e400"), "--hours"),
        ((*DOSE, "--strength-percent", "101"), "--strength-percent"),
        ((*DOSE, "--temperature", "-inf"), "--temperature"),
        (("new", "no_pond", "--weight-g", "nan"), "--weight-g"),
        (("new", "no_pond", "--size-m", "1e200", "1e200", "1"), "--size-m"),
        (("new", "no_pond", "--count", "9" * 30), "--count"),
        (("new", "no_pond", "--salt", "1", "1e-320"), "--salt"),
        (("forecast", "no_pond", "--days", "nan"), "--days"),
    ],
)
def test_a_number_out_of_reach_is_refused_with_its_reason(tmp_path, monkeypatch, words, option):
    monkeypatch.chdir(tmp_path)
    found = run(*words)
    (problem,) = json.loads(found.stdout)["problems"]
    assert (found.exit_code, problem["place"]) == (2, option)
    assert len(problem["fix"].split(". ")) >= 2 or option == "--salt"  # the reason, and where to read on
    assert list(tmp_path.iterdir()) == []


def options_of(command: click.Command, path: str = "burden"):
    if isinstance(command, click.Group):
        for name, inner in command.commands.items():
            if name != "sampling":  # has limits of its own, in its room
                yield from options_of(inner, f"{path} {name}")
        return
    for param in command.params:
        kinds = getattr(param.type, "types", (param.type,))
        yield from ((f"{path} {param.opts[0]}", kind) for kind in kinds)


def test_every_number_has_two_ends_and_a_reason():
    numbers = [(name, kind) for name, kind in options_of(main) if isinstance(kind, click.types.FloatParamType |
               click.types.IntParamType)]  # fmt: skip
    assert len(numbers) > 20
    bare = [name for name, kind in numbers if not isinstance(kind, Number | Whole)]
    assert bare == []
    assert [name for name, kind in numbers if kind.max is None or not kind.why.endswith(".")] == []

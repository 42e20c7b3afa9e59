"""README.md says what is so: its commands run, its output is what they print, its case and its Python work.

Run as a script, `python tests/house/test_readme.py`, it writes the output anew after the model has changed.
"""

from __future__ import annotations

import re
import shlex
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner

from burden.cli import main

pytestmark = pytest.mark.usefixtures("each_case_once")
ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
_BLOCK = re.compile(r"```console\n\$ (burden .+)\n((?:.*\n)*?)```")
#: a number of the output may move this much with another release of a library; more means that the model moved
_TOLERANCE = 0.1


def text() -> str:
    return README.read_text(encoding="utf-8")


def blocks() -> list[tuple[str, str]]:
    """Commands shown, each with the output beside it."""
    return _BLOCK.findall(text())


def printed(command: str) -> str:
    found = CliRunner().invoke(main, shlex.split(command)[1:])
    assert found.exit_code == 0, found.output
    return found.stdout


def after(marker: str) -> str:
    """First fenced block after a marker."""
    return re.search(rf"<!-- {marker} -->\n```\w+\n(.*?)```", text(), re.S)[1]


def numbers(words: str) -> list[float]:
    return [float(found.replace(" ", "")) for found in re.findall(r"\d+(?: \d{3})*(?:\.\d+)?", words)]


def without_numbers(words: str) -> str:
    return re.sub(r"\d+(?: \d{3})*(?:\.\d+)?", "#", words)


def test_the_two_commands_follow_the_opening_paragraph():
    main_job, tests = after("command: main job").strip(), after("command: tests").strip()
    assert main_job.endswith("/burden report simulated_data/koi_pond")
    assert tests.endswith("-m pytest -n auto")
    for command in (main_job, tests):
        assert "\n" not in command
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    head = text().split("<!-- command: main job -->")[0].strip().split("\n\n")
    assert len(head) == 2  # title and one paragraph


def test_ci_runs_the_test_command_of_the_readme():
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & stat.S_IXUSR
    words = script.read_text(encoding="utf-8")
    assert "<!-- command: tests -->" in words
    assert 'bash -c "$command"' in words
    assert "pytest" not in re.sub(r"#.*", "", words)  # no second copy of the command


@pytest.mark.parametrize(("command", "shown"), blocks(), ids=[command for command, _ in blocks()])
def test_output_shown_is_output_printed(command, shown):
    found = printed(command)
    assert without_numbers(found) == without_numbers(shown)
    assert numbers(found) == pytest.approx(numbers(shown), rel=_TOLERANCE)


def test_all_four_questions_are_answered_with_output():
    shown = {command.split()[1] for command, output in blocks() if output.strip()}
    assert shown == {"decide", "interval", "estimate", "sampling"}


def test_every_command_is_in_the_table():
    table = text().split("## Commands")[1].split("## From Python")[0]
    for name in main.commands:
        assert f"`burden {name}" in table
    for name in main.commands["sampling"].commands:
        assert f"`{name}`" in table or f"sampling {name}`" in table


def test_the_case_shown_can_be_read(tmp_path):
    from burden import check_case

    (tmp_path / "case.toml").write_text(after("a case"), encoding="utf-8")
    (tmp_path / "samples.csv").write_text(after("samples"), encoding="utf-8")
    found = check_case(tmp_path)
    assert found.problems == ()
    assert len(found.case.samples) == 3


def test_the_python_shown_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    code = after("python")
    assert 0 < len([line for line in code.splitlines() if line]) <= 5
    exec(compile(code.replace("draws=200", "draws=40"), "README.md", "exec"), {})
    assert "flukes a fish" in capsys.readouterr().out


def test_links_and_pictures_are_there():
    for target in re.findall(r"\]\(([^)#:]+)\)", text()):
        assert (ROOT / target).is_file(), target


def refresh() -> None:
    """Write the output of every command anew."""
    README.write_text(_BLOCK.sub(lambda m: f"```console\n$ {m[1]}\n{printed(m[1])}```", text()), encoding="utf-8")


if __name__ == "__main__":
    refresh()

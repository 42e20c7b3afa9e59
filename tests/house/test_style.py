"""The formatter, the linter and the reader of types have nothing to say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("words", [("check",), ("format", "--check")], ids=" ".join)
def test_ruff_is_content(words):
    command = [sys.executable, "-m", "ruff", *words, "--no-cache", "."]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert found.returncode == 0, found.stdout + found.stderr


def test_ruff_would_speak_up(tmp_path):
    """The same call fails on a file that is neither tidy nor sound."""
    (tmp_path / "wrong.py").write_text("import os\nx = {'a':1}\n", encoding="utf-8")
    settings = ["--config", str(ROOT / "pyproject.toml"), "--no-cache", str(tmp_path)]
    for words in (["check"], ["format", "--check"]):
        found = subprocess.run([sys.executable, "-m", "ruff", *words, *settings], capture_output=True, text=True)
        assert found.returncode == 1


def test_types_hold(tmp_path):
    """Nothing is said of the package; of a file beside it, a number passed for a word and a function without types.

    One call for both, as it takes 15 s wherever nothing was read before. A cache that is there is used and kept up: to
    begin one takes 3 s more, so that is left to whoever calls `mypy` by hand.
    """
    wrong = tmp_path / "wrong.py"
    wrong.write_text("def f(a):\n    return a\n\n\nx: str = 1\n", encoding="utf-8")
    kept = [] if (ROOT / ".mypy_cache").is_dir() else ["--cache-dir", os.devnull]
    command = [sys.executable, "-m", "mypy", "--no-error-summary", "--hide-error-context", *kept, "burden", str(wrong)]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert found.returncode == 1, found.stdout + found.stderr
    of_wrong = [line for line in found.stdout.splitlines() if Path(line.partition(":")[0]).name == wrong.name]
    assert found.stdout.splitlines() == of_wrong
    assert ["no-untyped-def" in found.stdout, "[assignment]" in found.stdout] == [True, True]

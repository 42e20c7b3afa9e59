"""The formatter, the linter and the reader of types have nothing to say."""

from __future__ import annotations

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


def _types(*words):
    command = [sys.executable, "-m", "mypy", "--no-error-summary", *words]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True)


def test_types_hold():
    """What was read before is kept in .mypy_cache, so only a first run takes its 20 s."""
    found = _types()
    assert found.returncode == 0, found.stdout + found.stderr


def test_types_would_speak_up(tmp_path):
    """The same settings reject a number passed for a word, and a function that says nothing of its types."""
    (tmp_path / "wrong.py").write_text("def f(a):\n    return a\n\n\nx: str = 1\n", encoding="utf-8")
    found = _types("--cache-dir", str(tmp_path), str(tmp_path / "wrong.py"))
    assert "[no-untyped-def]" in found.stdout
    assert "[assignment]" in found.stdout

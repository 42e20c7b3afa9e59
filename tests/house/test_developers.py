"""DEVELOPERS.md names the house as it is: every room, and words that are in the code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
HOUSE, WORDS = (TEXT.split(f"## {n}.")[1].split(f"## {n + 1}.")[0] for n in (1, 2))


def rooms() -> set[str]:
    inside = {path.stem if path.is_file() else path.name for path in (ROOT / "burden").iterdir()}
    return {name for name in inside if not name.startswith("_")}


def test_every_room_is_named_and_no_other():
    table = HOUSE.split("| rooms | what they are |")[1].split("```")[0]
    first = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    named = re.findall(r"`(\w+)/?`", " ".join(first))
    assert set(named) == rooms()
    assert len(named) == len(set(named))


CODE = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "burden").rglob("*") if p.suffix in {".py", ".toml"})


@pytest.mark.parametrize("name", sorted(set(re.findall(r"^\| (\w+_\w+)", WORDS, re.M))))
def test_a_word_of_the_glossary_is_in_the_code(name):
    assert re.search(rf"\b{name}", CODE)


def test_files_named_are_there():
    for name in re.findall(r"`((?:analysis|tests|simulated_data|burden)/[\w/.]+)`", TEXT):
        assert "NAME" in name or (ROOT / name).exists(), name

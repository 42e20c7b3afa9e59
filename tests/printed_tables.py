"""Tables printed by others, and values derived by arithmetic and printed nowhere."""

from __future__ import annotations

import csv
import re
from pathlib import Path

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    """Read a table of `published` values, or of values `derived` by arithmetic and printed nowhere."""
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def given_numbers(text: str) -> dict[str, float]:
    return {k: float(v) for k, v in re.findall(r"(\w+)=(-?\d+(?:\.\d+)?)", text)}

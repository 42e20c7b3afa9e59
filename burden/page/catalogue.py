"""Every text of the page, from one file, so that another language is another file."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

__all__ = ["FILE", "say", "texts"]

FILE = Path(__file__).with_name("catalogue.toml")


@cache
def texts() -> dict[str, Any]:
    """Return the catalogue as tables of text."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def say(path: str, **gaps: object) -> str:
    """Return one text with its gaps filled.

    Examples
    --------
    >>> say("frame.step_of", step=1, steps=9)
    'Step 1 of 9'
    """
    found: Any = texts()
    for part in path.split("."):
        found = found[part]
    return str(found).format(**gaps)

"""Agents that are known not to serve against flukes, or to harm the fish, each with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

from burden.evidence.references import reference_keys

__all__ = ["Unsuitable", "unsuitable", "unsuitable_names"]


@dataclass(frozen=True)
class Unsuitable:
    """One agent not to be given against flukes.

    Parameters
    ----------
    name : str
    verdict : str
        "harms" or "does not serve".
    text, known : str
        What was found, and how it is known.
    sources : tuple of str
        Reference keys.
    aliases : tuple of str
        Other words for it.
    """

    name: str
    verdict: str
    text: str
    known: str
    sources: tuple[str, ...]
    aliases: tuple[str, ...] = ()


@cache
def _all() -> Mapping[str, Unsuitable]:
    raw = tomllib.loads((resources.files(__package__) / "unsuitable.toml").read_text(encoding="utf-8"))
    found = {
        name: Unsuitable(name, t["verdict"], t["text"], t["known"], tuple(t["sources"]), tuple(t["aliases"]))
        for name, t in raw.items()
    }
    if lost := {key for one in found.values() for key in one.sources} - reference_keys():
        raise ValueError(f"unsuitable.toml names no reference: {', '.join(sorted(lost))}")
    return MappingProxyType(found)


def unsuitable_names() -> tuple[str, ...]:
    """Return the names of the agents not to be given, in alphabetical order."""
    return tuple(sorted(_all()))


def unsuitable(name: str) -> Unsuitable | None:
    """Return why an agent is not to be given against flukes; None where nothing speaks against it here.

    Parameters
    ----------
    name : str
        Its name or an alias, in any case, with spaces or underscores.

    Examples
    --------
    >>> unsuitable("Copper").verdict, unsuitable("praziquantel")
    ('harms', None)
    """
    wanted = name.strip().lower().replace(" ", "_").replace("-", "_")
    return next((one for one in _all().values() if wanted in (one.name, *one.aliases)), None)

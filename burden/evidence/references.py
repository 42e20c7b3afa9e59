"""The published sources that figures name by key."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

__all__ = ["Reference", "reference", "reference_keys", "reference_record"]


@dataclass(frozen=True)
class Reference:
    """One source.

    Parameters
    ----------
    key, text : str
        Name in the evidence, and the citation as it is printed, without its address.
    year : int or None
    journal : str
        Journal, publisher or kind of source; empty where none is known.
    doi, address : str
        Where it is found; one of the two may be empty.
    seen : str
        What of it was read: page, abstract, secondary, data or nothing (from memory).
    missing : tuple of str
        Parts of the citation that what was read does not give: authors, year, journal, address.
    """

    key: str
    text: str
    year: int | None
    journal: str
    seen: str
    doi: str = ""
    address: str = ""
    missing: tuple[str, ...] = ()

    @property
    def full(self) -> str:
        """The citation with its address and what of it was read."""
        bare = self.address.partition("://")[2] or self.address  # a citation, not a link: nothing is fetched
        place = f" doi:{self.doi}" if self.doi else f" {bare}" if bare and bare not in self.text else ""
        lacks = f"; {' and '.join(self.missing)} not known" if self.missing else ""
        how = {"nothing": "from memory, not sighted"}.get(self.seen, self.seen)
        return f"{self.text}{place} ({how}{lacks})"


@cache
def _references() -> Mapping[str, Reference]:
    text = (resources.files(__package__) / "references.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: _record(key, table) for key, table in tomllib.loads(text).items()})


def _record(key: str, table: dict[str, object]) -> Reference:
    missing = table.pop("missing", ())
    return Reference(key=key, **{"year": None, **table}, missing=tuple(missing))  # type: ignore[arg-type]


def reference_keys() -> frozenset[str]:
    """Return every key there is."""
    return frozenset(_references())


def reference_record(key: str) -> Reference:
    """Return the record of a key.

    Raises
    ------
    KeyError
        For a key that references.toml does not hold: a fault of the evidence, not of a user.
    """
    return _references()[key]


def reference(key: str) -> str:
    """Return the full citation of a key.

    Raises
    ------
    KeyError
        For a key that references.toml does not hold: a fault of the evidence, not of a user.
    """
    return _references()[key].full

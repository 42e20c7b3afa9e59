"""Words for results and remarks: asked for here, written in `burden.report.text`.

The core carries numbers and codes. Whoever shows a result asks `text_of` for its words; which room writes them is said
once, by the face of the package, through `words_come_from`, so that nothing here knows of a room above.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from datetime import date
from functools import singledispatch
from typing import Any

__all__ = ["Remark", "brief_of", "lines_of", "text_of", "words_come_from", "writes", "writes_brief", "writes_lines"]

_loaders: list[Callable[[str], None]] = []


def words_come_from(loader: Callable[[str], None]) -> None:
    """Name who brings the writers of a room.

    Parameters
    ----------
    loader : callable
        Called with the full name of the module whose types are to be written; it imports the module that registers
        their writers with `writes`.
    """
    _loaders[:] = [loader]


@singledispatch
def _words(thing: Any) -> str:
    raise TypeError(f"{type(thing).__name__} has no words: register a writer in burden.report.text")


@_words.register
def _(thing: str) -> str:
    return thing


@singledispatch
def _brief(thing: Any) -> str:
    return _words(thing)


@singledispatch
def _lines(thing: Any) -> list[str]:
    return [_words(thing)]


#: decorators of the functions that write a type, whole, in a few lines, as a list; the first argument says which
writes, writes_brief, writes_lines = _words.register, _brief.register, _lines.register


def text_of(thing: Any) -> str:
    """Return a result, a remark or a code in words; what is words already stays as it is.

    Raises
    ------
    TypeError
        If nothing in `burden.report.text` writes this type.
    """
    _bring_writers(type(thing))
    return _words(thing)


def brief_of(thing: Any) -> str:
    """Return the answer of a result in about five lines; all of its words where nothing shorter is written."""
    _bring_writers(type(thing))
    return _brief(thing)


def lines_of(thing: Any) -> list[str]:
    """Return words that come as a list, a sentence or two an entry."""
    _bring_writers(type(thing))
    return _lines(thing)


def _bring_writers(kind: type) -> None:
    for cls in kind.__mro__:
        for load in _loaders:
            load(cls.__module__)


class Remark:
    """Something to be said beside a result, as a code and its numbers. A subclass is a frozen dataclass of these.

    `str` gives the sentence; the code is the name of the subclass.
    """

    @property
    def code(self) -> str:
        """Name of what is said, for programs."""
        return "".join(f"_{c.lower()}" if c.isupper() else c for c in type(self).__name__).lstrip("_")

    def as_dict(self) -> dict[str, Any]:
        """Return code, numbers and sentence."""
        values = {f.name: _as_json(getattr(self, f.name)) for f in fields(self)}  # type: ignore[arg-type]
        return {"code": self.code, **values, "text": str(self)}

    def __str__(self) -> str:
        return text_of(self)


def _as_json(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return value.as_dict() if hasattr(value, "as_dict") else value

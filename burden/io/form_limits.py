"""The limits of every plain number of case.toml, read off its schema."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, get_args, get_origin

from burden.io.schema import TABLES
from burden.io.schema_values import NumberLimits

__all__ = ["number_limits"]


def number_limits() -> dict[tuple[str, str], NumberLimits]:
    """Return the limits of every plain number of case.toml, by table and key.

    Examples
    --------
    >>> number_limits()["water", "ph"].words()
    'from 3 to 11'
    """
    return {
        (table, key): limits
        for table, (model, _, _) in TABLES.items()
        for key, info in model.model_fields.items()
        if (limits := next(_limits_in(info.annotation, info.metadata), None)) is not None
    }


def _limits_in(annotation: Any, metadata: Sequence[Any]) -> Iterator[NumberLimits]:
    """Limits that stand with a type or inside of it; a table of its own is no number."""
    yield from (one.func for one in metadata if isinstance(getattr(one, "func", None), NumberLimits))
    if get_origin(annotation) is not dict:
        for inner in get_args(annotation):
            yield from _limits_in(inner, getattr(inner, "__metadata__", ()))

"""Parts that several subjects say alike."""

from __future__ import annotations

from collections.abc import Iterable

from burden.utils.formatting import named, sentence

__all__ = ["noted", "parasite_name"]


def noted(lines: Iterable[str], warnings: Iterable[str]) -> str:
    """Return lines and, below them, what looks odd."""
    return "\n".join([*lines, *(f"Note: {sentence(warning)}" for warning in warnings)])


def parasite_name(name: str) -> str:
    """Write the name of a parasite set at the head of a line.

    Examples
    --------
    >>> parasite_name("dactylogyrus")
    'Dactylogyrus'
    >>> parasite_name("gyrodactylus_guppies")
    'Gyrodactylus of guppies'
    """
    return _NAMES.get(name, named(name).capitalize())


#: sets named after their hosts
_NAMES = {
    "gyrodactylus_guppies": "Gyrodactylus of guppies",
    "gyrodactylus_salmonids": "Gyrodactylus of salmonids",
}

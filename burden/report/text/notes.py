"""Parts that several subjects say alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from burden.utils.formatting import named, sentence

__all__ = ["noted", "other_sets", "parasite_name"]


def noted(lines: Iterable[str], warnings: Iterable[str]) -> str:
    """Return lines and, below them, what looks odd."""
    return "\n".join([*lines, *(f"Note: {sentence(warning)}" for warning in warnings)])


def other_sets(parasites: Sequence[str], told: str) -> list[str]:
    """Say which other flukes of a case an answer about one of them leaves out; nothing where it has no other.

    Examples
    --------
    >>> other_sets(["benedenia", "zeuxapta"], "benedenia")
    ['Of the other flukes of this case nothing is said here: --parasite zeuxapta.']
    >>> other_sets(["dactylogyrus"], "dactylogyrus")
    []
    """
    left = [name for name in parasites if name != told]
    return [f"Of the other flukes of this case nothing is said here: --parasite {' or '.join(left)}."] if left else []


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

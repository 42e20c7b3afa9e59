"""What a veterinarian reads, put for an owner: without where it is from."""

from __future__ import annotations

import re

from burden.evidence.references import reference_keys

__all__ = ["for_an_owner", "untagged"]

#: what names a source within a caution
_SOURCE = re.compile(rf" \((?:common practice|assumption|{'|'.join(sorted(reference_keys()))})\b[^()]*\)")


def for_an_owner(text: str) -> str:
    """Write sentences without where they are from."""
    return _SOURCE.sub("", text)


def untagged(text: str) -> str:
    """Leave out where a caution is from: an owner asks us, not the source."""
    return for_an_owner(text).rstrip(".")

"""One reason to withhold a dose or to take care, with its source."""

from __future__ import annotations

from dataclasses import asdict, dataclass

__all__ = ["PRACTICE", "SafetyNote", "caution", "withhold"]


PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class SafetyNote:
    """One reason to withhold a dose, or to take care.

    Parameters
    ----------
    level : str
        withhold or caution.
    text : str
        What to do.
    reason : str
        Why, with the number that says so.
    would_change : str
        What would lift it.
    source : str
        Reference key, or "common practice, no source", or "assumption".
    kind : str
        What it guards, one of `burden.evidence.cautions.KINDS`.
    code : str
        Names a note that other code acts on; empty for those it need not know.
    """

    level: str
    text: str
    reason: str
    would_change: str
    source: str
    kind: str = "care"
    code: str = ""

    def as_dict(self) -> dict[str, str]:
        """Return the note as plain Python objects."""
        return asdict(self)

    def __str__(self) -> str:
        return f"{self.text}: {self.reason.rstrip('.')}. What would change it: {self.would_change} ({self.source})."


def caution(text: str, reason: str, would_change: str, source: str, kind: str = "care") -> SafetyNote:
    """Make a note that cautions."""
    return SafetyNote("caution", text, reason, would_change, source, kind)


def withhold(
    text: str, reason: str, would_change: str, source: str, kind: str = "withhold", code: str = ""
) -> SafetyNote:
    """Make a note that withholds the dose."""
    return SafetyNote("withhold", text, reason, would_change, source, kind, code)

"""A caution and what it guards, so that what may kill stands before how a powder is stirred in."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["KINDS", "Caution", "by_weight"]

#: what a caution guards, the weightiest first: why no dose, what may kill fish at once, the people who give it, whom to
#: try it on first, what may be eaten when, what is to be mended in the water dose or no dose, the fish and the water in
#: general, when fish are fed, what to do with filter, carbon and lamps, how the dose is made up, what a filter does to
#: the agent and the agent to it, where a figure is from
KINDS = (
    *("withhold", "danger", "people", "trial", "food", "water", "care"),
    *("feeding", "filter", "making_up", "filter_note", "bookkeeping"),
)


class Caution(str):
    """A sentence of warning that knows what it guards.

    Parameters
    ----------
    text : str
    kind : str
        One of `KINDS`.

    Raises
    ------
    ValueError
        For a kind of another name.

    Examples
    --------
    >>> Caution("Aerate.", "danger").kind
    'danger'
    """

    __slots__ = ("kind",)
    kind: str

    def __new__(cls, text: str, kind: str = "care") -> Caution:
        """Return the sentence with its kind."""
        if kind not in KINDS:
            raise ValueError(f"kind of a caution {kind!r}: expected one of {', '.join(KINDS)}")
        made = super().__new__(cls, text)
        made.kind = kind
        return made

    @property
    def rank(self) -> int:
        """Where it stands, 0 first."""
        return KINDS.index(self.kind)


def by_weight(cautions: Iterable[Caution]) -> list[Caution]:
    """Return cautions, each once, the weightiest first and otherwise in their order.

    Examples
    --------
    >>> by_weight([Caution("Published: 2 to 10 mg/L.", "bookkeeping"), Caution("Test a few fish first.", "trial")])
    ['Test a few fish first.', 'Published: 2 to 10 mg/L.']
    """
    return sorted(dict.fromkeys(cautions), key=lambda caution: caution.rank)

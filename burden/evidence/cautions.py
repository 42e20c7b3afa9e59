"""A caution and what it guards, so that what may kill stands before how a powder is stirred in."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["BATHS", "KINDS", "Caution", "by_weight"]

#: what a caution guards, the weightiest first: why no dose, what may kill fish at once, the people who give it, whom to
#: try it on first, what may be eaten when, what is to be mended in the water dose or no dose, the fish and the water in
#: general, what it does not do to eggs, when fish are fed, what to do with filter, carbon and lamps, how the dose is
#: made up, what a filter does to the agent and the agent to it, where a figure is from
KINDS = (
    *("withhold", "danger", "people", "trial", "food", "water", "care", "eggs"),
    *("feeding", "filter", "making_up", "filter_note", "bookkeeping"),
)


#: of which baths a caution speaks: of any, of one left in the water of the fish, of a short one
BATHS = ("any", "left_in", "short")


class Caution(str):
    """A sentence of warning that knows what it guards, and of which baths it speaks.

    Parameters
    ----------
    text : str
    kind : str
        One of `KINDS`.
    bath : str
        One of `BATHS`.

    Raises
    ------
    ValueError
        For a kind, or baths, of another name.

    Examples
    --------
    >>> Caution("Aerate.", "danger").kind
    'danger'
    """

    __slots__ = ("bath", "kind")
    kind: str
    bath: str

    def __new__(cls, text: str, kind: str = "care", bath: str = "any") -> Caution:
        """Return the sentence with its kind and its baths."""
        if kind not in KINDS:
            raise ValueError(f"kind of a caution {kind!r}: expected one of {', '.join(KINDS)}")
        if bath not in BATHS:
            raise ValueError(f"baths of a caution {bath!r}: expected one of {', '.join(BATHS)}")
        made = super().__new__(cls, text)
        made.kind, made.bath = kind, bath
        return made

    def of_bath(self, short: bool) -> bool:
        """Whether it speaks of a short bath, or of one left in the water."""
        return self.bath in ("any", "short" if short else "left_in")

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

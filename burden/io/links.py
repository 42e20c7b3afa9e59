"""Links between ponds as a table: from, to, by."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from burden.inference.links import WAYS, Link
from burden.io.cells import CellError
from burden.io.csv_table import Cell, Table, read_table
from burden.io.files import Notes, hint
from burden.utils.errors import InputError, near_miss

__all__ = ["read_links"]

_MOST_LINKS = 20_000
#: as people write them
_SPELT = {"net": "nets", "gear": "nets", "purchase": "fish", "purchases": "fish", "bought": "fish", "flow": "water"}


def read_links(path: Path, ponds: Collection[str]) -> tuple[Link, ...]:
    """Read the links between ponds.

    Parameters
    ----------
    path : Path
        CSV with the columns from, to and by (water, fish, nets).
    ponds : collection of str
        Names of the case folders. `to` is one of them; `from` may be anything else, such as a supplier.

    Returns
    -------
    tuple of Link

    Raises
    ------
    InputError
        With every cell that cannot be read.
    """
    notes = Notes()
    table = read_table(path.parent, path.name, ("from", "to", "by"), (), notes, _MOST_LINKS)
    links = [_link(table, row, ponds) for row in table] if table is not None else []
    if table is not None:
        table.close()
    if notes.problems:
        raise InputError(notes.problems)
    return tuple(dict.fromkeys(link for link in links if link is not None))


def _link(table: Table, row: dict[str, Cell], ponds: Collection[str]) -> Link | None:
    def way(text: str) -> str:
        word = _SPELT.get(text.lower(), text.lower())
        if word not in WAYS:
            raise CellError(hint(word, WAYS))
        return word

    source, target, by = row["from"].text, row["to"].text, table.read(row["by"], way, " or ".join(WAYS))
    known = ", ".join(sorted(ponds))
    if not row["by"].text:
        table.wrong(row["by"], " or ".join(WAYS), "Say by what flukes may come.")
    if target not in ponds:
        table.wrong(row["to"], f"a case folder of this command: {known}", hint(target, ponds))
    if not source or source == target:
        table.wrong(row["from"], "another pond, or who the fish come from", "Write the name of its folder.")
    elif source not in ponds and near_miss(source, ponds).endswith("?"):
        table.wrong(row["from"], f"a case folder of this command: {known}", hint(source, ponds))
    return Link(source, target, by) if by else None

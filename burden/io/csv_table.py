"""A CSV file as spreadsheets write it, as columns of text with the row each cell stands in.

Byte-order mark, semicolons or tabs, decimal commas, blank lines, capitals and spaces in the header are read;
what could be read two ways is refused with row and column.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from burden.io.cells import CellError, days_first, number_from_text, unsure_points
from burden.io.files import Notes, hint, read_text
from burden.utils.safe_text import one_line

__all__ = ["Cell", "Table", "read_table"]

_T = TypeVar("_T")
_SEPARATORS = (",", ";", "\t")
#: of one column, so many bad cells are listed one by one, then the rest by number
_LISTED_PER_COLUMN = 20
#: a row of more cells is no row of a case's log, but a file of commas
_MOST_CELLS = 200
#: the header stands within so many characters
_HEADER_WITHIN = 20_000


@dataclass(frozen=True)
class Cell:
    """Text of one cell and where it stands: `row` as a spreadsheet numbers it, and `column`."""

    text: str
    row: int
    column: str


class Table:
    """Rows of a CSV file; reading a cell notes what is wrong with it and gives None."""

    def __init__(self, file: str, separator: str, rows: list[dict[str, Cell]], notes: Notes) -> None:
        self.file = file
        self.decimal_comma = separator != ","
        self.rows = rows
        self._notes = notes
        self._bad: dict[str, int] = {}
        columns = {name: [row[name].text for row in rows] for name in (rows[0] if rows else ())}
        self._days_first = {name: days_first(texts) for name, texts in columns.items()}
        self._unsure = {name for name, texts in columns.items() if unsure_points(texts)}

    def __iter__(self) -> Iterator[dict[str, Cell]]:
        return iter(self.rows)

    def wrong(self, cell: Cell, expected: str, fix: str) -> None:
        """Note a problem with a cell; a column bad throughout is cut short."""
        bad = self._bad[cell.column] = self._bad.get(cell.column, 0) + 1
        if bad <= _LISTED_PER_COLUMN:
            place = f"row {cell.row}, column {cell.column}"
            self._notes.problem(self.file, place, cell.text or "empty", expected, fix)

    def close(self) -> None:
        """Note how many bad cells were left out of the list."""
        for column, bad in self._bad.items():
            if (more := bad - _LISTED_PER_COLUMN) > 0:
                fix = "Put the first ones right and check again."
                self._notes.problem(self.file, f"column {column}", f"{more} more cells", "as above", fix)

    def read(self, cell: Cell | None, reader: Callable[[str], _T], expected: str) -> _T | None:
        """Read a cell with a reader that raises `CellError`; None for an absent or bad cell."""
        if cell is None or not cell.text:
            return None
        try:
            return reader(cell.text)
        except CellError as error:
            self.wrong(cell, error.expected or expected, error.fix)
            return None

    def day(self, cell: Cell, reader: Callable[..., _T], expected: str = "a date as 2026-05-10") -> _T | None:
        """Read a date with the order the column shows; empty is a problem."""
        if not cell.text:
            self.wrong(cell, expected, "Write the date.")
            return None
        first = self._days_first[cell.column]
        return self.read(cell, lambda text: reader(text, day_first=first), expected)

    def number(self, cell: Cell | None, expected: str, *, percent: bool = False) -> float | None:
        """Read a number; with `percent` a cell such as "25 %" is 0.25."""

        def reader(text: str) -> float:
            if percent and text.endswith("%"):
                text, scale = text[:-1].strip(), 100.0
            else:
                scale = 1.0
            if cell is not None and cell.column in self._unsure and "." in text:
                raise CellError("The column has decimal commas too: write decimals one way, no thousands mark.")
            return number_from_text(text, decimal_comma=self.decimal_comma) / scale

        return self.read(cell, reader, expected)


def read_table(
    folder: Path, name: str, required: Sequence[str], optional: Sequence[str], notes: Notes, most_rows: int
) -> Table | None:
    """Read a CSV file of a case folder, or None with the problems noted.

    Parameters
    ----------
    folder : Path
    name : str
        File name.
    required, optional : sequence of str
        Column names.
    notes : Notes
    most_rows : int
        Of a longer file no row is read.

    Returns
    -------
    Table or None
        None where the file or its header cannot be read.
    """
    text = read_text(folder, name, notes)
    if text is None:
        return None
    text = text.lstrip("\ufeff")
    separator = _separator(text, (*required, *optional))
    numbered = _lines(name, text, separator, most_rows, notes)
    if numbered is None:
        return None
    if numbered and numbered[0][1][0].strip().lower().startswith("sep="):
        del numbered[0]
    if not numbered:
        notes.problem(name, "header", "empty", ", ".join(required), "Write the column names in the first row.")
        return None
    header = [_column(cell) for cell in numbered[0][1]]
    if not _header_holds(name, header, required, optional, notes):
        return None
    rows = [row for i, line in numbered[1:] if (row := _row(name, i, line, header, required, separator, notes))]
    return Table(name, separator, rows, notes)


def _lines(name: str, text: str, separator: str, most: int, notes: Notes) -> list[tuple[int, list[str]]] | None:
    """Return every line that is not blank with its number; None, with the problem noted, for more than a log has."""
    found: list[tuple[int, list[str]]] = []
    fix = "Leave out what lies long before the visit, or thin the readings."
    too_long = max(text.count("\n"), text.count("\r")) > 2 * most + 1000  # blank lines do not count, within reason
    try:
        reader = csv.reader(
            io.StringIO("" if too_long else text, newline=""), delimiter=separator, skipinitialspace=True
        )
        for i, line in enumerate(reader, start=1):
            if len(line) > _MOST_CELLS:
                expected = f"at most {_MOST_CELLS} cells in a row"
                notes.problem(name, f"row {i}", f"{len(line)} cells", expected, "Save the table again as CSV.")
                return None
            if any(cell.strip() for cell in line):
                found.append((i, line))
                too_long = len(found) > most + 2
            if too_long:
                break
    except csv.Error as error:
        notes.problem(name, "file", error, "a table of cells", "Save it again as CSV.")
        return None
    if too_long:
        notes.problem(name, "file", f"more than {most} rows", f"at most {most} rows", fix)
        return None
    return found


def _column(cell: str) -> str:
    return "_".join(cell.strip().lower().replace("-", " ").split())


def _separator(text: str, known: Sequence[str]) -> str:
    """Return the separator that makes most known column names out of the header."""
    lines = [line for line in text[:_HEADER_WITHIN].splitlines() if line.strip()]
    header = next((line for line in lines if not line.lower().startswith("sep=")), "")
    found = {s: sum(_column(c.strip('"')) in known for c in header.split(s)) for s in _SEPARATORS}
    return max(_SEPARATORS, key=lambda s: (found[s], header.count(s)))


def _header_holds(name: str, header: list[str], required: Sequence[str], optional: Sequence[str], notes: Notes) -> bool:
    known = (*required, *optional)
    before = len(notes.problems)
    for number, column in enumerate(header, start=1):
        if column and column not in known:
            fix = f"{hint(column, known)} Rename or remove the column."
            notes.problem(name, f"header, column {number}", column, ", ".join(known), fix)
        elif column and column in header[: number - 1]:
            notes.problem(name, f"header, column {number}", column, "each name once", "Remove one of the two.")
    for column in required:
        if column not in header:
            notes.problem(name, "header", "missing", column, f"Add a column {column}.")
    return len(notes.problems) == before


def _row(
    name: str,
    number: int,
    line: list[str],
    header: list[str],
    required: Sequence[str],
    separator: str,
    notes: Notes,
) -> dict[str, Cell] | None:
    """Return one row by column, or None with the problem noted where the cells do not fit the header."""
    texts = [one_line(cell).strip() for cell in line]
    spare = [text for text, column in zip(texts, header, strict=False) if text and not column]
    spare += [text for text in texts[len(header) :] if text]
    lacking = [column for column in header[len(texts) :] if column in required]
    if spare or lacking:
        comma = " A decimal comma? Write a point." if separator == "," and spare else ""
        fix = f"Give one cell for each column name.{comma}"
        place = f"row {number}, column {(lacking or ['after ' + header[-1]])[0]}"
        notes.problem(name, place, f"{len(texts)} cells", f"{len(header)} cells, as in the header", fix)
        return None
    texts += [""] * (len(header) - len(texts))
    return {c: Cell(text, number, c) for text, c in zip(texts, header, strict=False) if c}

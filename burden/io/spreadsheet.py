"""A spreadsheet's export as a grid of text: CSV in any usual form, or one sheet of an .xlsx file.

Every cell keeps the row and the column letter that the spreadsheet shows. Merged cells of an .xlsx file all say what
the merged one says; dates and day numbers in it are read by the workbook's own calendar. Nothing else is filled in.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from burden.io.files import Notes, decode
from burden.io.safe_files import read_plain
from burden.utils.safe_text import one_line

__all__ = ["MAPPING_FILE", "Grid", "letter", "read_grid"]

#: what the user says of a table, kept in the folder of its cases
MAPPING_FILE = "mapping.toml"
_MOST_BYTES = 20_000_000
_MOST_ROWS, _MOST_COLUMNS = 50_000, 200
_SEPARATORS = (",", ";", "\t", "|")


@dataclass(frozen=True)
class Grid:
    """Cells of a table as text.

    Parameters
    ----------
    file : str
        Name of the file.
    rows : mapping of int to tuple of str
        Cells of every row that is not blank, by its number in the spreadsheet.
    decimal_comma : bool
        Whether a comma can stand in a number.
    day_numbers : date or None
        Day 0 of the workbook's calendar, where the file says it.
    """

    file: str
    rows: Mapping[int, tuple[str, ...]]
    decimal_comma: bool
    day_numbers: date | None = None


def letter(column: int) -> str:
    """Return the letters a spreadsheet gives a column, counted from 0.

    Examples
    --------
    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def read_grid(path: Path, sheet: str | None, notes: Notes) -> Grid | None:
    """Read a table file.

    Parameters
    ----------
    path : Path
        CSV, or .xlsx.
    sheet : str or None
        Which sheet of an .xlsx file with several.
    notes : Notes
        Takes what is wrong.

    Returns
    -------
    Grid or None
        None where it cannot be read.
    """
    try:
        data = read_plain(path.resolve(), _MOST_BYTES)
    except (OSError, ValueError, RuntimeError) as error:
        notes.problem(path.name, "file", error, "a table that can be read", "Check the name and the permissions.")
        return None
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return _workbook(path.name, data, sheet, notes)
    if path.suffix.lower() in (".xls", ".ods", ".numbers") or data.startswith(b"PK"):
        notes.problem(path.name, "file", path.suffix, "CSV or .xlsx", "Save the sheet as .xlsx or as CSV.")
        return None
    text = decode(data, path.name, notes)
    return None if text is None else _csv(path.name, text.lstrip("\ufeff"), notes)


def _csv(name: str, text: str, notes: Notes) -> Grid | None:
    separator = _separator(text)
    rows: dict[int, tuple[str, ...]] = {}
    try:
        for number, line in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator), start=1):
            if number == 1 and line and line[0].strip().lower().startswith("sep="):
                continue
            if any(cell.strip() for cell in line):
                rows[number] = tuple(_text(cell) for cell in line)
    except csv.Error as error:
        notes.problem(name, "file", error, "a table of cells", "Save it again as CSV.")
        return None
    return _bounded(Grid(name, rows, separator != ","), notes)


def _separator(text: str) -> str:
    """The separator that parts the most lines into the same number of cells, more than one."""
    head = text[:50_000]
    first = head.lstrip().splitlines()[:1]
    if first and first[0].lower().startswith("sep=") and len(first[0].strip()) == 5:
        return first[0].strip()[4]
    return max(_SEPARATORS, key=lambda mark: _evenness(head, mark))


def _evenness(text: str, mark: str) -> tuple[int, int]:
    try:
        widths = [len(line) for line in csv.reader(io.StringIO(text, newline=""), delimiter=mark) if any(line)]
    except csv.Error:
        return (0, 0)
    wide = [width for width in widths if width > 1]
    usual = max(set(wide), key=wide.count, default=0)
    return (wide.count(usual), usual)


def _bounded(grid: Grid, notes: Notes) -> Grid | None:
    widest = max(map(len, grid.rows.values()), default=0)
    if len(grid.rows) > _MOST_ROWS or widest > _MOST_COLUMNS:
        expected = f"at most {_MOST_ROWS} rows of {_MOST_COLUMNS} cells"
        notes.problem(grid.file, "file", f"{len(grid.rows)} rows, {widest} cells", expected, "Split the table.")
        return None
    if not grid.rows:
        notes.problem(grid.file, "file", "empty", "a header and rows", "Save the sheet that holds the table.")
        return None
    filled = {number: (*cells, *[""] * (widest - len(cells))) for number, cells in grid.rows.items()}
    return Grid(grid.file, filled, grid.decimal_comma, grid.day_numbers)


def _workbook(name: str, data: bytes, wanted: str | None, notes: Notes) -> Grid | None:
    try:
        from openpyxl import load_workbook
    except ImportError:
        fix = 'Install burden with its extra: pip install "burden[spreadsheets]", or save the sheet as CSV.'
        notes.problem(name, "file", ".xlsx", "the package openpyxl, which reads it", fix)
        return None
    try:
        book = load_workbook(io.BytesIO(data), data_only=True, keep_links=False)
    except Exception as error:  # a damaged file fails in as many ways as it can be damaged
        notes.problem(name, "file", type(error).__name__, "a workbook that opens", "Save it again as .xlsx, or as CSV.")
        return None
    sheet = _sheet(name, book, wanted, notes)
    if sheet is None:
        return None
    if sheet.max_row > 4 * _MOST_ROWS or sheet.max_column > 4 * _MOST_COLUMNS:
        notes.problem(name, "sheet", f"{sheet.max_row} rows", f"at most {_MOST_ROWS} rows", "Split the table.")
        return None
    cells = [[_cell_text(cell.value) for cell in row] for row in sheet.iter_rows()]
    for area in sheet.merged_cells.ranges:
        for row in range(area.min_row - 1, min(area.max_row, len(cells))):
            for column in range(area.min_col - 1, min(area.max_col, len(cells[row]))):
                cells[row][column] = cells[area.min_row - 1][area.min_col - 1]
    rows = {number: tuple(row) for number, row in enumerate(cells, start=1) if any(row)}
    return _bounded(Grid(name, rows, True, book.epoch.date()), notes)


def _sheet(name: str, book: Any, wanted: str | None, notes: Notes) -> Any:
    """The sheet that is meant: the one named, or the only one that holds anything."""
    full = [
        sheet for sheet in book.worksheets if any(cell for row in sheet.iter_rows(values_only=True) for cell in row)
    ]
    found = [sheet for sheet in full if wanted is None or sheet.title.casefold() == wanted.casefold()]
    if len(found) == 1:
        return found[0]
    titles = ", ".join(sheet.title for sheet in full) or "no sheet holds anything"
    fix = f'Name it in {MAPPING_FILE}: [table] sheet = "…".'
    notes.problem(name, "sheet", wanted or f"{len(full)} sheets", f"one of these sheets: {titles}", fix)
    return None


def _cell_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time(0) else value.isoformat(" ", "minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return _text(str(value))


def _text(cell: str) -> str:
    return " ".join(one_line(cell.replace("\u00a0", " ")).split())

"""The header of a grid found, its columns named, and the rows below it read cell by cell.

Title lines above the header, a second or third line of it, units, blank rows and rows of totals are met; whatever has
no name that is known, or has one twice, is a problem with its cell and never a guess.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from burden.io.cells import CellError, day_from_text, days_first, number_from_text, unsure_points
from burden.io.files import Notes, hint
from burden.io.spreadsheet import MAPPING_FILE, Grid, letter
from burden.io.spreadsheet_words import (
    FIELDS,
    MONTHS,
    TOTALS,
    UNUSED,
    WORDS,
    Mapped,
    field_of,
    simple,
    split_unit,
    unit_scale,
)

__all__ = ["Column", "Sheet", "open_sheet"]

_T = TypeVar("_T")
#: a header stands within so many filled rows, and is so many lines high at most
_HEADER_WITHIN, _HEADER_LINES = 30, 3
_MONTHS = {name: int(number) for number, names in MONTHS.items() for name in names}


@dataclass(frozen=True)
class Column:
    """One column that is read: where it stands, its head, and how its numbers become ours."""

    place: int
    head: str
    scale: float = 1.0
    shift: float = 0.0

    @property
    def name(self) -> str:
        """The column as the reader finds it in the spreadsheet."""
        return f"{letter(self.place)} ({self.head})"


@dataclass(frozen=True)
class Sheet:
    """Rows of a table by field; reading a cell notes what is wrong with it and gives None.

    Parameters
    ----------
    grid : Grid
    columns : mapping of str to Column
        By field, or ``count:SET``.
    numbers : tuple of int
        Rows that hold data.
    skipped : tuple of (str, str)
        Rows and columns that were left out, and why.
    mapped : Mapped
    notes : Notes
    """

    grid: Grid
    columns: Mapping[str, Column]
    numbers: tuple[int, ...]
    skipped: tuple[tuple[str, str], ...]
    mapped: Mapped
    notes: Notes

    def text(self, row: int, field: str) -> str:
        """Return what a cell says; empty where the table has no such column."""
        column = self.columns.get(field)
        return "" if column is None else self.grid.rows[row][column.place]

    def texts(self, field: str) -> list[str]:
        """Return the filled cells of a column."""
        return [text for row in self.numbers if (text := self.text(row, field))]

    def wrong(self, row: int, field: str, expected: str, fix: str) -> None:
        """Note a problem with a cell."""
        column = self.columns.get(field)
        place = f"row {row}" + ("" if column is None else f", column {column.name}")
        value = self.text(row, field) or ("empty" if column else f"no column {field}")
        self.notes.problem(self.grid.file, place, value, expected, fix)

    def read(self, row: int, field: str, reader: Callable[[str], _T], expected: str) -> _T | None:
        """Read a cell with a reader that raises `CellError`; None for an empty or bad one."""
        text = self.text(row, field)
        if not text:
            return None
        try:
            return reader(text)
        except CellError as error:
            self.wrong(row, field, error.expected or expected, error.fix)
            return None

    def number(self, row: int, field: str, expected: str) -> float | None:
        """Read a number in our unit."""
        unsure = unsure_points(self.texts(field))

        def reader(text: str) -> float:
            if unsure and "." in text:
                raise CellError("The column has decimal commas too: write decimals one way, no thousands mark.")
            if field == "fraction_examined" and text.endswith("%"):
                return number_from_text(text[:-1].strip(), decimal_comma=self.grid.decimal_comma) / 100
            return number_from_text(text, decimal_comma=self.grid.decimal_comma)

        found = self.read(row, field, reader, expected)
        column = self.columns.get(field)
        return None if found is None or column is None else float(f"{found * column.scale + column.shift:.12g}")

    def day(self, row: int) -> date | None:
        """Read the date of a row; an empty one is a problem."""
        if not self.text(row, "date"):
            self.wrong(row, "date", "a date as 2026-05-10", "Write the date, or [table] fill_down in mapping.toml.")
            return None
        order = self.mapped.table.get("dates")
        first = order == "day first" or (order is None and days_first(self.texts("date")))
        return self.read(
            row, "date", lambda text: self._day(text, first, order == "month first"), "a date as 2026-05-10"
        )

    def _day(self, text: str, day_first: bool, month_first: bool) -> date:
        plain = re.sub(r"[T ]\d{1,2}:\d{2}(:\d{2})?(\.\d+)?Z?$", "", text.strip())
        if found := _day_in_letters(plain):
            return day_from_text(found)
        if re.fullmatch(r"\d{5}([.,]\d+)?", plain) and (start := self._day_zero()):
            return day_from_text((start + timedelta(days=int(plain[:5]))).isoformat())
        if month_first and (match := re.fullmatch(r"(\d{1,2})([/-])(\d{1,2})\2(\d{4})", plain)):
            return day_from_text(f"{match[4]}-{match[1]}-{match[3]}")
        try:
            return day_from_text(plain, day_first=day_first)
        except CellError as error:
            more = ""
            if re.fullmatch(r"\d{5}([.,]\d+)?", plain):
                more = f" If so for the whole column, write [table] day_numbers = 1900 in {MAPPING_FILE}."
            elif error.expected == "a date that can be read one way":
                more = f' Or say for the column: [table] dates = "day first" or "month first" in {MAPPING_FILE}.'
            raise CellError(error.fix + more, error.expected) from None

    def _day_zero(self) -> date | None:
        told = self.mapped.table.get("day_numbers")
        return {1900: date(1899, 12, 30), 1904: date(1904, 1, 1)}.get(told, self.grid.day_numbers)  # type: ignore[arg-type]

    def word(self, row: int, field: str) -> str | None:
        """Read a word of a closed list in any of the languages; empty takes what mapping.toml says of all."""
        text = self.text(row, field) or str(self.mapped.everywhere.get(field, ""))
        if not text:
            return None
        found = self.mapped.word(field, text)
        if found is None:
            known = list(dict.fromkeys(WORDS[field].values()))
            fix = f'{hint(text, known)} Or say what it means in {MAPPING_FILE}: [words.{field}] "{text}" = "…".'
            self.wrong(row, field, " or ".join(known), fix)
        return found


def _day_in_letters(text: str) -> str | None:
    """Return an ISO date for one with its month in letters and a year of four digits.

    Examples
    --------
    >>> _day_in_letters("10. Mai 2026"), _day_in_letters("10-May-2026"), _day_in_letters("May 10, 2026")
    ('2026-5-10', '2026-5-10', '2026-5-10')
    """
    words = [word for word in simple(text).split() if word not in ("de", "le")]
    if len(words) != 3:
        return None
    words = [words[1], words[0], words[2]] if words[0] in _MONTHS else words
    day, month, year = words
    if month in _MONTHS and re.fullmatch(r"\d{1,2}", day) and re.fullmatch(r"\d{4}", year):
        return f"{year}-{_MONTHS[month]}-{int(day)}"
    return None


def open_sheet(grid: Grid, mapped: Mapped, notes: Notes) -> Sheet | None:
    """Find the header of a grid and its rows.

    Parameters
    ----------
    grid : Grid
    mapped : Mapped
        What mapping.toml says.
    notes : Notes

    Returns
    -------
    Sheet or None
        None where no header was found.
    """
    found = _header(grid, mapped, notes)
    if found is None:
        return None
    lines, heads = found
    columns, left_out = _columns(grid, lines, heads, mapped, notes)
    above = [(f"row {n}", "above the header") for n in grid.rows if n < lines[0]]
    grid = _filled_down(grid, columns, lines, mapped, notes)
    below = [n for n in grid.rows if n > lines[-1]]
    totals = [n for n in below if _is_total(grid, n, columns)]
    again = [n for n in below if [simple(cell) for cell in grid.rows[n]] == [simple(h) for h in grid.rows[lines[-1]]]]
    empty = [n for n in below if not any(grid.rows[n][c.place] for c in columns.values())]
    why = [*((n, "a row of totals") for n in totals), *((n, "the header again") for n in again),
           *((n, "nothing in the columns that are read") for n in empty)]  # fmt: skip
    gone = {n for n, _ in why}
    skipped = (*above, *left_out, *((f"row {n}", said) for n, said in sorted(why)))
    if notes.problems == [] and "date" not in columns:
        notes.problem(grid.file, "header", "no column of dates", "a column of dates", _name_it("date"))
    return Sheet(grid, columns, tuple(n for n in below if n not in gone), skipped, mapped, notes)


def _name_it(field: str) -> str:
    return f'Name the column in {MAPPING_FILE}: [columns] {field} = "its head".'


def _header(grid: Grid, mapped: Mapped, notes: Notes) -> tuple[list[int], list[str]] | None:
    """Return the lines of the header and the whole head of each column: the lines that name the most fields."""
    numbers = list(grid.rows)
    told = mapped.table.get("header_row")
    starts = [told] if isinstance(told, int) and told in grid.rows else numbers[:_HEADER_WITHIN]
    best: tuple[tuple[int, int, int], list[int]] = ((0, 0, 0), [])
    for start in starts:
        at = numbers.index(start)
        for high in range(1, _HEADER_LINES + 1):
            lines = numbers[at : at + high]
            if len(lines) < high or any(_holds_data(grid.rows[n]) for n in lines):
                break
            named = [_named(_parts(grid, lines, place), mapped) for place in range(len(grid.rows[start]))]
            fields = {name for name, _ in filter(None, named)}
            units = sum(1 for one in named if one and one[1])
            # more fields, then more units, then fewer lines, then the later start: titles stand above
            score = (len(fields), units, -high)
            if score > best[0]:
                best = (score, lines)
    if best[0][0] < 2:
        shown = " | ".join(cell for cell in grid.rows[numbers[0]] if cell)[:80]
        expected = "a row of heads such as date, unit, fish, count"
        notes.problem(grid.file, f"row {numbers[0]}", shown, expected, f"{_name_it('date')} Name each column so.")
        return None
    heads = [" ".join(_parts(grid, best[1], place)) for place in range(len(grid.rows[best[1][0]]))]
    return best[1], heads


def _holds_data(cells: Sequence[str]) -> bool:
    """Whether a row has a number or a date in it, which no header does."""
    return any(re.fullmatch(r"[<>≥]?\s*[\d.,:/-]*\d[\d.,:/ -]*", cell) for cell in cells)


def _parts(grid: Grid, lines: Sequence[int], place: int) -> list[str]:
    """What the lines of a header say of a column, each once."""
    return list(dict.fromkeys(cell for n in lines if (cell := grid.rows[n][place])))


def _named(parts: Sequence[str], mapped: Mapped) -> tuple[str, str] | None:
    """Return field and unit of a head of one or more lines, by mapping.toml first, then by name."""
    if not parts:
        return None
    whole = " ".join(parts)
    for field, head in mapped.columns.items():
        if simple(head) in {simple(whole), *map(simple, parts)}:
            return _key(field), split_unit(whole)[1] if unit_scale(field, split_unit(whole)[1]) else ""
    if found := field_of(whole):
        return found
    alone = [found for part in parts if (found := field_of(part))]
    if len({name for name, _ in alone}) != 1:
        return None
    others = [part for part in parts if field_of(part) is None]
    name, unit = alone[-1]
    # a line of units below the names
    below = [part.strip("[]() ") for part in others if unit_scale(name, part.strip("[]() ")) not in (None, (1.0, 0.0))]
    kept = [part.strip("[]() ") for part in others if simple(part) in ("c", "oc", "g", "l")]
    return name, unit or next(iter([*below, *kept]), "")


def _key(field: str) -> str:
    return field if field in FIELDS else f"count:{field}"


def _columns(
    grid: Grid, lines: Sequence[int], heads: Sequence[str], mapped: Mapped, notes: Notes
) -> tuple[dict[str, Column], list[tuple[str, str]]]:
    """Return the columns by field, and those that are left out; one that cannot be named is a problem."""
    found: dict[str, Column] = {}
    left_out = []
    by_letter = {
        simple(head): _key(field) for field, head in mapped.columns.items() if simple(head).startswith("column ")
    }
    for place, head in enumerate(heads):
        where = f"column {letter(place)}"
        told = by_letter.get(simple(where))
        named = (told, split_unit(head)[1]) if told else _named(_parts(grid, lines, place), mapped)
        if not told and (simple(head) in mapped.ignore or simple(where) in mapped.ignore):
            left_out.append((f"{where} ({head})", f"put under ignore in {MAPPING_FILE}"))
        elif named is None and simple(split_unit(head)[0]) in UNUSED:
            left_out.append((f"{where} ({head})", "not used"))
        elif named is None:
            filled = any(cells[place] for n, cells in grid.rows.items() if n > lines[-1])
            if head or filled:
                _unnamed(grid, lines, where, head, notes)
        elif named[0] in found:
            other = found[named[0]].name
            fix = f'Say which in {MAPPING_FILE}: [columns] {named[0]} = "{where}", and put the other under ignore.'
            notes.problem(
                grid.file, f"row {lines[-1]}, {where}", head, f"one column of {named[0]}, not also {other}", fix
            )
        else:
            found[named[0]] = _column(grid, lines, place, head, named, notes)
    for field, head in mapped.columns.items():
        if _key(field) not in found:
            notes.problem(
                MAPPING_FILE, f"[columns] {field}", head, "a head of the table", f"{grid.file} has no such head."
            )
    return found, left_out


def _unnamed(grid: Grid, lines: Sequence[int], where: str, head: str, notes: Notes) -> None:
    known = [*FIELDS]
    fix = (
        f'{hint(head, known) if head else ""} Say what it is in {MAPPING_FILE}, [columns] FIELD = "{head or where}", '
        f'or leave it out: ignore = ["{head or where}"].'
    )
    notes.problem(grid.file, f"row {lines[-1]}, {where}", head or "no head", ", ".join(known), fix.strip())


def _column(grid: Grid, lines: Sequence[int], place: int, head: str, named: tuple[str, str], notes: Notes) -> Column:
    field, unit = named
    scale = unit_scale(field.split(":")[0], unit)
    if scale is None:
        where = f"row {lines[-1]}, column {letter(place)}"
        fix = f"Write the unit as one of those, or name the column in {MAPPING_FILE}."
        notes.problem(grid.file, where, unit, _units_of(field), fix)
        scale = (1.0, 0.0)
    return Column(place, head, *scale)


def _units_of(field: str) -> str:
    units = {"temperature_c": "°C, °F or K", "weight_g": "g, kg, mg, lb or oz", "volume_l": "L or m³"}
    return units.get(field, "no unit, or %" if field == "fraction_examined" else "no unit")


def _filled_down(grid: Grid, columns: Mapping[str, Column], lines: Sequence[int], mapped: Mapped, notes: Notes) -> Grid:
    """Repeat the cell above in empty cells of the columns that mapping.toml names, and in no others."""
    told = mapped.table.get("fill_down", [])
    names = told if isinstance(told, list) else [told]
    for name in names:
        if name not in columns:
            notes.problem(MAPPING_FILE, "[table] fill_down", name, ", ".join(columns), "Name fields the table has.")
    places = [columns[name].place for name in names if name in columns]
    rows, last = {}, dict.fromkeys(places, "")
    for number, cells in grid.rows.items():
        if number > lines[-1] and not _is_total(grid, number, columns):
            last = {place: cells[place] or last[place] for place in places}
            cells = tuple(last.get(place, "") or cell for place, cell in enumerate(cells))
        rows[number] = cells
    return Grid(grid.file, rows, grid.decimal_comma, grid.day_numbers)


def _is_total(grid: Grid, row: int, columns: Mapping[str, Column]) -> bool:
    """Whether a row sums others up: a word of totals stands where a unit, a date or a fish should."""
    named = [columns[name].place for name in ("place", "unit", "date", "fish") if name in columns]
    first = next((place for place, cell in enumerate(grid.rows[row]) if cell), 0)
    texts = [simple(grid.rows[row][place]) for place in {*named, first}]
    dated = "date" in columns and grid.rows[row][columns["date"].place] not in ("", grid.rows[row][first])
    return any(
        # a pond may be called Media Luna: a label that only begins so counts where the row has no date
        text in TOTALS or (not dated and any(text.startswith(f"{word} ") for word in TOTALS))
        for text in texts
    )

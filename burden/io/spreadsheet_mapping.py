"""mapping.toml as it is first written: what each column was taken for, and blanks for what the table does not say."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from burden.io.spreadsheet import letter
from burden.io.spreadsheet_rows import Unit
from burden.io.spreadsheet_table import Sheet

__all__ = ["mapping_toml"]

_HEAD = """\
# How burden reads your table. Written once; change it by hand, it is never written over.
#
# [table]    sheet = "name"; dates = "day first" or "month first"; day_numbers = 1900 or 1904; header_row = 3;
#            fill_down = ["unit", "date"]: an empty cell of these columns says what the cell above says
# [columns]  ours = "your head", or "column F"; the name of a parasite set for a column of its counts
# ignore     heads that are left out
# [words.X]  "your word" = "ours"; X is chosen, method, organ, parasite, species, unit, place, medium or food_fish
# [all]      what holds for every unit; [units."place / unit"] what holds for one
"""
_BLANKS = (
    ("volume_l", "litres of water in all, filter and pipes included"),
    ("medium", "fresh or sea"),
    ("species", "of the fish"),
    ("stock", "fish alive in the unit"),
    ("food_fish", "yes or no"),
    ("parasite", "the set that was counted, where no column says"),
    ("temperature_c", "of the water, where no column says"),
)


def mapping_toml(sheet: Sheet, units: Sequence[Unit], whole: bool) -> str:
    """Return mapping.toml.

    Parameters
    ----------
    sheet : Sheet
    units : sequence of Unit
    whole : bool
        Whether the table and mapping.toml said everything; if not, there are blanks to fill in.
    """
    return "\n".join(
        [_HEAD, *_ignore(sheet), "", "[columns]", *_columns(sheet), *([] if whole else _units(sheet, units)), ""]
    )


def _quoted(text: str) -> str:
    """A text as TOML has it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _columns(sheet: Sheet) -> Iterator[str]:
    heads = [column.head for column in sheet.columns.values()]
    for field, column in sheet.columns.items():
        name = field.partition(":")[2] or field
        told = column.head if heads.count(column.head) == 1 else f"column {letter(column.place)}"
        yield f"{name} = {_quoted(told)}"


def _ignore(sheet: Sheet) -> Iterator[str]:
    left = [place.partition("(")[2].removesuffix(")") for place, _ in sheet.skipped if place.startswith("column ")]
    yield f"ignore = [{', '.join(map(_quoted, left))}]"


def _units(sheet: Sheet, units: Sequence[Unit]) -> Iterator[str]:
    """Blanks for what no column says."""
    said = {field.partition(":")[0] for field in sheet.columns}
    counted = any(field.startswith("count:") for field in sheet.columns)
    blanks = [(n, what) for n, what in _BLANKS if n not in said and not (n == "parasite" and counted)]
    yield from ("", "[all]", *(f'{name} = ""  # {what}' for name, what in blanks))
    for field, what in (("method", "gill_clip, gill_arch, skin_scrape or whole_organ"),
                        ("chosen", "random, netted, moribund or dead")):  # fmt: skip
        if field not in said:
            yield f'{field} = ""  # {what}, of every row'
    for unit in units:
        yield from ("", f"[units.{_quoted(unit.name)}]", 'volume_l = ""', 'stock = ""')

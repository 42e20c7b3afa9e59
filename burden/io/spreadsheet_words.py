"""What heads and words of a table mean, in a few languages, and what its owner said of it in mapping.toml.

A head is taken only where it is one of the names below, letter for letter once case, accents, marks and units are off;
near misses are named and never taken. Words and names stand for common usage (no source).
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from burden.evidence import parasite_names
from burden.io.files import Notes, hint, read_text
from burden.io.spreadsheet import MAPPING_FILE

__all__ = [
    "ALL",
    "FIELDS",
    "HEADS",
    "MONTHS",
    "TOTALS",
    "UNUSED",
    "WORDS",
    "Mapped",
    "field_of",
    "parasite_of",
    "read_mapping",
    "simple",
    "split_unit",
    "unit_scale",
]

_SAID = tomllib.loads(Path(__file__).with_name("spreadsheet_words.toml").read_text(encoding="utf-8"))
#: fields of a row and what heads call them, simplified
HEADS: Mapping[str, tuple[str, ...]] = {of: tuple(names) for of, names in _SAID["heads"].items()}
FIELDS = tuple(HEADS)
_FIELD_OF = {name: of for of, names in HEADS.items() for name in names}
#: heads that are left out without a question, and words that mark a row of sums or means
UNUSED, TOTALS, _NO_UNIT = (frozenset(_SAID[name]) for name in ("unused", "totals", "no_unit"))
#: names of the months by their number
MONTHS: Mapping[str, list[str]] = _SAID["months"]
#: words of the cells, simplified, by field
WORDS: Mapping[str, Mapping[str, str]] = {
    of: {name: ours for ours, names in table.items() for name in names} for of, table in _SAID["words"].items()
}
#: facts of a unit that a table may leave to mapping.toml, and words for every row
ALL = (
    *("volume_l", "medium", "species", "stock", "food_fish", "temperature_c", "mean_weight_g"),
    *("chosen", "method", "organ", "parasite", "fish"),
)
_TABLES = ("table", "columns", "ignore", "words", "all", "units")
_TABLE_KEYS = ("sheet", "dates", "day_numbers", "fill_down", "header_row")


@dataclass(frozen=True)
class Mapped:
    """What mapping.toml says; empty where there is none.

    Parameters
    ----------
    columns : mapping of str to str
        Field, or parasite set for a column of its counts, to the head or ``column F``.
    ignore : frozenset of str
        Heads that are left out, simplified.
    words : mapping
        By field: the table's word, simplified, to ours.
    table : mapping
        sheet, dates ("day first" or "month first"), day_numbers (1900 or 1904), fill_down, header_row.
    everywhere : mapping
        What holds for every unit that says nothing itself.
    units : mapping of str to mapping
        By unit as "place / unit".
    there : bool
        Whether the file exists.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    ignore: frozenset[str] = frozenset()
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    table: Mapping[str, Any] = field(default_factory=dict)
    everywhere: Mapping[str, Any] = field(default_factory=dict)
    units: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    there: bool = False

    def word(self, of: str, text: str) -> str | None:
        """Return our word for one of the table's, None where nobody said."""
        plain = simple(text)
        found = self.words.get(of, {}).get(plain, WORDS.get(of, {}).get(plain))
        known = set(WORDS.get(of, {}).values())
        return found or (plain.replace(" ", "_") if plain.replace(" ", "_") in known else None)

    def fact(self, unit: str, name: str) -> Any:
        """Return what is said of a unit, else of all."""
        return self.units.get(unit, {}).get(name, self.everywhere.get(name))


def simple(text: str) -> str:
    """Return text without capitals, accents and marks.

    Examples
    --------
    >>> simple("Fisch-Nr."), simple("Température (eau)"), simple("Nº pez")
    ('fisch nr', 'temperature eau', 'no pez')
    """
    text = text.replace("ß", "ss").replace("ø", "o").replace("Ø", "o").replace("æ", "ae")
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w#]+|_", " ", bare.casefold()).split())


_UNIT = re.compile(r"^(.*?)\s*(?:[\[(]\s*([^\])]*?)\s*[\])]|\bin\s+(\S+)|[_,/]\s*([^\s_,/]+))\s*$")
#: factor and shift to the unit that a field is kept in
_TO: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "temperature_c": {**dict.fromkeys(("c", "oc", "celsius"), (1, 0)), "k": (1, -273.15),
                      **dict.fromkeys(("f", "of", "fahrenheit"), (1 / 1.8, -32 / 1.8))},
    "weight_g": {"g": (1, 0), "gram": (1, 0), "grams": (1, 0), "gr": (1, 0), "kg": (1000, 0), "mg": (0.001, 0),
                 "lb": (453.59237, 0), "lbs": (453.59237, 0), "oz": (28.349523125, 0)},
    "volume_l": {"l": (1, 0), "litre": (1, 0), "litres": (1, 0), "liter": (1, 0), "m3": (1000, 0), "cbm": (1000, 0)},
    "fraction_examined": {"": (1, 0), "percent": (0.01, 0)},
}  # fmt: skip


def split_unit(head: str) -> tuple[str, str]:
    """Part a head into its name and the unit written in it.

    Examples
    --------
    >>> split_unit("Temp. [°C]"), split_unit("weight_g"), split_unit("Gewicht in kg"), split_unit("Date")
    (('Temp.', '°C'), ('weight', 'g'), ('Gewicht', 'kg'), ('Date', ''))
    """
    match = _UNIT.match(head.strip())
    if not match or not match[1]:
        return head.strip(), ""
    return match[1], match[2] or match[3] or match[4] or ""


def unit_scale(of: str, unit: str) -> tuple[float, float] | None:
    """Return factor and shift from a head's unit to ours; None for one nobody knows here."""
    plain = "percent" if unit.strip() == "%" else simple(unit)
    if of not in _TO:
        return (1.0, 0.0) if plain in _NO_UNIT or not plain else None
    return _TO[of].get(plain) if plain else (1.0, 0.0)


def field_of(head: str) -> tuple[str, str] | None:
    """Return what a head names, a field or ``count:SET``, and its unit; None for one nobody knows."""
    for name, unit in ((head, ""), split_unit(head)):
        plain = simple(name)
        found = _FIELD_OF.get(plain) or ("" if not plain else _count_column(name))
        if found:
            return found, unit
    return None


def _count_column(name: str) -> str:
    found = parasite_of(name)
    return f"count:{found}" if found else ""


def parasite_of(text: str) -> str | None:
    """Return the parasite set that a name is: its own, or that of the genus it begins with.

    Examples
    --------
    >>> parasite_of("Zeuxapta seriolae"), parasite_of("Dactylogyrus spp."), parasite_of("fluke")
    ('zeuxapta', 'dactylogyrus', None)
    """
    words = [word for word in simple(text).split() if word not in ("sp", "spp")]
    if "_".join(words) in parasite_names():
        return "_".join(words)
    genus = words[0] if words else ""
    # a genus with several sets: which one another species belongs to cannot be known from its name
    several = [name for name in parasite_names() if name.split("_")[0] == genus]
    return genus if several == [genus] else None


def read_mapping(folder: Path, notes: Notes) -> Mapped:
    """Read what is said of the table in a folder; everything wrong with it is noted."""
    if not (folder / MAPPING_FILE).exists():
        return Mapped()
    text = read_text(folder, MAPPING_FILE, notes)
    try:
        raw = tomllib.loads(text or "")
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        notes.problem(MAPPING_FILE, "file", str(error), "TOML as burden wrote it", "Put this line right.")
        return Mapped(there=True)
    for name in raw:
        if name not in _TABLES:
            notes.problem(MAPPING_FILE, f"[{name}]", name, ", ".join(_TABLES), hint(name, _TABLES))
    tables = {name: _table(name, raw.get(name, {}), notes) for name in _TABLES if name != "ignore"}
    _known("[columns]", tables["columns"], (*FIELDS, *parasite_names()), notes)
    _known("[all]", tables["all"], ALL, notes)
    _known("[table]", tables["table"], _TABLE_KEYS, notes)
    for unit, facts in tables["units"].items():
        _known(f'[units."{unit}"]', _table(unit, facts, notes), ALL, notes)
    ignore = raw.get("ignore", [])
    words = {of: {simple(str(k)): str(v) for k, v in _table(of, table, notes).items()}
             for of, table in tables["words"].items()}  # fmt: skip
    return Mapped(
        columns={name: str(head) for name, head in tables["columns"].items()},
        ignore=frozenset(simple(str(head)) for head in (ignore if isinstance(ignore, list) else [])),
        words=words,
        table=tables["table"],
        everywhere=_facts(tables["all"]),
        units={name: _facts(_table(name, facts, notes)) for name, facts in tables["units"].items()},
        there=True,
    )


def _facts(table: Mapping[str, Any]) -> dict[str, Any]:
    """What is said; an empty text is a blank to fill in."""
    return {name: value for name, value in table.items() if value != ""}


def _table(name: str, value: Any, notes: Notes) -> Mapping[str, Any]:
    if isinstance(value, Mapping):
        return value
    notes.problem(MAPPING_FILE, f"[{name}]", value, "a table of keys", f"Write [{name}] on its own line.")
    return {}


def _known(place: str, table: Mapping[str, Any], known: tuple[str, ...], notes: Notes) -> None:
    for key in table:
        if key not in known:
            notes.problem(MAPPING_FILE, f"{place} {key}", key, ", ".join(known), hint(key, known))

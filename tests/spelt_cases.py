"""One case in many spellings: what a case file may look like and still mean the same."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from random import Random
from typing import Any

__all__ = ["Rows", "spell_rows", "spell_toml"]

Rows = tuple[list[str], list[list[str]]]
_NAMES = ("set", "agents", "agent", "medium", "filter", "route", "action", "told_by", "other")
_YES_NO = ("food_fish", "uv", "aeration", "spare_tank", "uv_or_carbon_on", "gill_flukes_on_skin")
_LONE = ("set", "agents", "other")
_DECIMAL = ("fraction_examined", "weight_g", "temperature_c", "deaths", "hours_dead")
_ENCODINGS = ("utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252")


def _encoded(text: str, rng: Random) -> bytes:
    try:
        return text.encode(rng.choice(_ENCODINGS))
    except UnicodeEncodeError:
        return text.encode("utf-8")


# --- case.toml


def spell_toml(tables: dict[str, Any], rng: Random | None) -> bytes:
    """Return the tables of a case as TOML; without `rng` in the plainest way."""
    heads = list(tables)
    if rng is not None:
        rng.shuffle(heads)
    loose = [name for name in heads if not isinstance(tables[name], dict | list)]
    lines: list[str] = [f"{_key(name)} = {_value(name, tables[name], rng)}" for name in loose]
    for name in (name for name in heads if name not in loose):
        blocks = tables[name] if isinstance(tables[name], list) else [tables[name]]
        if not all(isinstance(block, dict) for block in blocks):
            lines.insert(0, f"{_key(name)} = {_value(name, tables[name], rng)}")
            continue
        many = isinstance(tables[name], list) or (name == "fish" and rng is not None and rng.random() < 0.3)
        for block in blocks:
            lines += ["", f"[[{_key(name)}]]" if many else f"[{_key(name)}]", *_block(name, block, rng)]
    if rng is None:
        return ("\n".join(lines) + "\n").encode("utf-8", "surrogatepass")
    if rng.random() < 0.3:
        lines = [f"{line}  # {rng.choice(('so', 'µ', '= 3'))}" if line else line for line in lines]
    return _encoded(rng.choice(("\n", "\r\n")).join(lines) + "\n", rng)


def _block(head: str, block: dict[str, Any], rng: Random | None) -> Iterator[str]:
    keys = list(block)
    if rng is not None:
        rng.shuffle(keys)
    inner = [key for key in keys if head == "parasite" and key == "override" and isinstance(block[key], dict)]
    for key in keys:
        if key not in inner:
            space = " " if rng is None else rng.choice((" ", "", "\t"))
            yield f"{_key(key)}{space}={space}{_value(key, block[key], rng)}"
    for key in inner:
        for name, own in block[key].items():
            if isinstance(own, dict):
                yield f"[{head}.{key}.{_key(name)}]"
                yield from _block(name, own, rng)
            else:
                yield f"[{head}.{key}]\n{_key(name)} = {_value(name, own, rng)}"


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _value(key: str, value: Any, rng: Random | None) -> str:
    if rng is not None and key in _LONE and isinstance(value, list) and len(value) == 1 and rng.random() < 0.5:
        value = value[0]
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(k, v, rng)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        inner = [_value(key, item, rng) for item in value]
        close = "" if rng is None or not inner else rng.choice(("", ",", "\n  ,\n"))
        return "[" + ", ".join(inner) + close + "]"
    if isinstance(value, bool) or (key in _YES_NO and value in ("yes", "no")):
        return _yes_no(value, rng if key in _YES_NO else None)
    if isinstance(value, int | float):
        return _number(key, value, rng)
    if isinstance(value, dt.date | dt.time):
        return _day(value, rng) if type(value) is dt.date else value.isoformat()
    return _text(key, str(value), rng)


def _yes_no(value: bool | str, rng: Random | None) -> str:
    yes = value in (True, "yes")
    if rng is None:
        return ("true" if yes else "false") if isinstance(value, bool) else f'"{value}"'
    return rng.choice(('"yes"', "true", "'Yes'", '"true"') if yes else ('"no"', "false", "'NO '", '"False"'))


def _number(key: str, value: float, rng: Random | None) -> str:
    shown = repr(value)
    if rng is None or key == "visit_days" or not abs(value) < 1e15:
        return shown
    forms = [shown, f"{value:+}" if value > 0 else shown, f"{value:.17e}"]
    if value == int(value):
        forms += [f"{int(value):_}", f"{int(value)}.0", f"{int(value)}"]
    return rng.choice([form for form in forms if float(form.replace("_", "")) == value])


def _day(day: dt.date, rng: Random | None) -> str:
    iso = day.isoformat()
    if rng is None:
        return iso
    dotted = f'"{day.day}.{day.month}.{day.year}"'
    return rng.choice((iso, f'"{iso}"', dotted, f"'{day:%d.%m.%Y}'", f"{iso}T08:30:00", f"{iso} 23:59:59+02:00"))


def _text(key: str, value: str, rng: Random | None) -> str:
    if rng is None:
        return _quoted(value)
    if key in _NAMES and re.fullmatch(r"[a-z_]+", value):
        value = rng.choice((value, value.upper(), value.title(), f" {value} ", value.replace("_", " ")))
    plain = "'" not in value and value.isprintable()
    return rng.choice((_quoted(value), f"'{value}'" if plain else _quoted(value), f'"""{_escaped(value)}"""'))


def _quoted(value: str) -> str:
    return f'"{_escaped(value)}"'


def _escaped(value: str) -> str:
    value = value.replace("\\", "\\\\").replace('"', '\\"')
    return "".join(c if c.isprintable() or c == " " else f"\\U{ord(c):08X}" for c in value)


# --- tables beside it


def spell_rows(name: str, rows: Rows, rng: Random | None) -> bytes:
    """Return a table as CSV; without `rng` in the plainest way."""
    header, body = rows
    if rng is None:
        return "".join(",".join(map(_cell_plain, line)) + "\n" for line in (header, *body)).encode("utf-8")
    separator = rng.choice((",", ";", "\t"))
    order = rng.sample(range(len(header)), len(header))
    if name != "samples.csv" and rng.random() < 0.3:
        body = rng.sample(body, len(body))
    dotted = rng.random() < 0.3
    quoted = rng.random() < 0.2
    names = [rng.choice((h, h.upper(), h.replace("_", " ").title(), f" {h} ")) for h in (header[i] for i in order)]
    lines = [names]
    for line in body:
        cells = [_cell(header[i], line[i], dotted, separator, rng) if i < len(line) else "" for i in order]
        lines.append([f'"{cell}"' if quoted else cell for cell in cells])
    texts = [separator.join(line) for line in lines]
    if rng.random() < 0.2:
        texts.insert(0, f"sep={separator}")
    if rng.random() < 0.3:
        texts.insert(rng.randrange(1, len(texts) + 1), rng.choice(("", "  ", separator * (len(header) - 1))))
    end = rng.choice(("\n", "\r\n", "\r"))
    return _encoded(end.join(texts) + rng.choice(("", end)), rng)


def _cell_plain(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if re.search(r'[,"\r\n;\t]', cell) else cell


def _cell(column: str, cell: str, dotted: bool, separator: str, rng: Random) -> str:
    if not cell:
        return rng.choice(("", " "))
    if not re.fullmatch(r"[\w .>-]{1,40}", cell) or (column in _DECIMAL and not re.fullmatch(r"\d+(\.\d+)?", cell)):
        return cell  # nobody knows another spelling of what is wrong already
    if column == "date" and dotted and re.match(r"\d{4}-\d\d-\d\d", cell):
        year, month, day = cell[:10].split("-")
        cell = rng.choice((f"{int(day)}.{int(month)}.{year}", f"{day}.{month}.{year}")) + cell[10:]
    elif column in ("chosen", "site", "method", "stage", "lethal", "parasite", "species"):
        cell = rng.choice((cell, cell.upper(), cell.title()))
    elif column == "count":
        cell = rng.choice((cell, _count(cell)))
    elif column in _DECIMAL:
        cell = _decimal(column, cell, separator, rng)
    return rng.choice((cell, cell, f" {cell} "))


def _count(cell: str) -> str:
    if re.fullmatch(r">\d+", cell):
        return f">={int(cell[1:]) + 1}"
    return cell.replace("-", " – ") if "-" in cell else f"{cell}.0" if cell.isdecimal() else cell


def _decimal(column: str, cell: str, separator: str, rng: Random) -> str:
    value = float(cell)
    share = f"{value * 100:g}"
    if column == "fraction_examined" and float(share) / 100 == value and rng.random() < 0.3:
        cell = f"{share}%"
    elif rng.random() < 0.3 and not re.search(r"\.\d{2}", cell):
        cell = f"{cell}0" if "." in cell else f"{cell}.0"
    return cell if separator == "," else cell.replace(".", ",")

"""What somebody may write into a case that means something else, or nothing: values, keys, rows, dates, histories."""

from __future__ import annotations

import datetime as dt
from random import Random
from typing import Any

from spelt_cases import Rows

__all__ = ["change"]

_LONG = "x" * 5000
_ODD: tuple[Any, ...] = (
    *(
        0,
        -1,
        1,
        3,
        1e-300,
        1e-9,
        0.5,
        99,
        1e6,
        1e12,
        1e299,
        1e308,
        10**30,
        -0.0,
        float("nan"),
        float("inf"),
        -float("inf"),
    ),
    *(
        True,
        False,
        "",
        " ",
        "yes",
        "12",
        "12,5",
        "18 °C",
        "nan",
        "unknown",
        "../x.csv",
        "/etc/passwd",
        "C:\\x",
        "case.toml",
    ),
    *("samples.csv", ".", "..", "a/../../b", "\0", "\n", "<script>", "{{ 7 * 7 }}", "=1+1", "ü𝟙\u202e", _LONG),
    *([], [[]], [1, "a"], {}, {"value": 3}, {"value": 3, "low": 2, "high": 4}, {"value": 3, "low": 4, "high": 2}),
    *(dt.date(2026, 5, 10), dt.date(1, 1, 1), dt.date(9999, 12, 31), dt.datetime(2026, 5, 10, 23, 59), dt.time(7, 30)),
)
_CELLS = (
    *("", "0", "-1", "3", "12.5", "12,5", "1e3", "1e999", "nan", "inf", "-inf", "٣", "½", "1 000", "1.200", "#REF!"),
    *(">50", "<5", ">=1", "10-20", "20-10", "0-0", "999999999", "1000000", "1000001", "many", "yes", "no", "TRUE"),
    *("2026-05-10", "10/05/2026", "03/04/2026", "31.02.2026", "2026-02-29", "0001-01-01", "9999-12-31", "46151"),
    *("2026-05-10 25:00", "2026-05-10T07:30:00+02:00", "dead", "gill", "skin", "adult", "koi", "=cmd()", "\0", _LONG),
)
_SPECIES = ("koi", "rainbow trout", "goldfish", "gilthead seabream", "tiger puffer", "guppy", "Japanese eel", "nobody")
_SETS = (
    *("dactylogyrus", "gyrodactylus", "benedenia", "neobenedenia", "zeuxapta", "discocotyle", "sparicotyle", "nobody"),
    *("heterobothrium", "pseudodactylogyrus", "gyrodactylus_guppies", "gyrodactylus_salmonids"),
    *(["dactylogyrus", "gyrodactylus"], ["gyrodactylus"], ["dactylogyrus", "dactylogyrus"]),
)
_AGENTS = ("praziquantel", "formalin", "mebendazole", "hydrogen_peroxide", "sodium_chloride", "unknown", "none")


def change(case: dict[str, Any], tables: dict[str, Rows], rng: Random) -> str:
    """Change one thing of a case in place, and say what."""
    return rng.choice(_CHANGES)(case, tables, rng)


def _blocks(case: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    found = [(name, block) for name, block in case.items() if isinstance(block, dict)]
    lists = [(name, blocks) for name, blocks in case.items() if isinstance(blocks, list)]
    return found + [(name, block) for name, blocks in lists for block in blocks if isinstance(block, dict)]


def _odd_value(case, tables, rng) -> str:
    name, block = rng.choice(_blocks(case) or [("", case)])
    key = rng.choice([*block] or ["x"])
    block[key] = rng.choice(_ODD)
    return f"[{name}] {key} = {str(block[key])[:30]!r}"


def _no_key(case, tables, rng) -> str:
    name, block = rng.choice(_blocks(case) or [("", case)])
    key = rng.choice([*block] or ["x"])
    block.pop(key, None)
    return f"[{name}] {key} gone"


def _odd_key(case, tables, rng) -> str:
    name, block = rng.choice(_blocks(case) or [("", case)])
    key = rng.choice(("x", "count", "ph", "agent", "", "a.b", "ü", _LONG, "volume_l", "__class__"))
    block[key] = rng.choice(_ODD)
    return f"[{name}] {key[:20]!r} added"


def _no_table(case, tables, rng) -> str:
    name = rng.choice([*case] or ["x"])
    case.pop(name, None)
    return f"[{name}] gone"


def _odd_table(case, tables, rng) -> str:
    name = rng.choice(("case", "water", "fish", "parasite", "given", "planned", "limits", "findings", "x"))
    case[name] = rng.choice(_ODD)
    return f"{name} is {str(case[name])[:30]!r}"


def _scaled(case, tables, rng) -> str:
    found = [(n, b, k) for n, b in _blocks(case) for k, v in b.items() if isinstance(v, int | float)]
    name, block, key = rng.choice(found or [("", case, "x")])
    factor = rng.choice((-1, 0.001, 0.01, 0.1, 0.5, 1.1, 2, 10, 100, 1000, 1e6, 1e-6))
    block[key] = block.get(key, 1) * factor
    return f"[{name}] {key} x {factor}"


def _moved_date(case, tables, rng) -> str:
    found = [(n, b, k) for n, b in _blocks(case) for k, v in b.items() if type(v) is dt.date]
    name, block, key = rng.choice(found or [("", case, "x")])
    days = rng.choice((-36500, -1461, -366, -30, -1, 1, 7, 90, 366, 20000))
    day = block.get(key, dt.date(2026, 5, 10))
    block[key] = dt.date.fromordinal(min(max(day.toordinal() + days, 1), dt.date.max.toordinal()))
    return f"[{name}] {key} + {days} d"


def _another_pond(case, tables, rng) -> str:
    """Another water and stock that may well be: most of these can be answered."""
    water, fish = case.setdefault("water", {}), case.setdefault("fish", {})
    group = fish[0] if isinstance(fish, list) and fish else fish
    if not isinstance(water, dict) or not isinstance(group, dict):
        return "nothing"
    water["temperature_c"] = round(rng.uniform(-2.5, 40), 1)
    water["volume_l"] = float(f"{10 ** rng.uniform(0, 7):.3g}")
    group["count"] = int(10 ** rng.uniform(0, 4.5))
    group["mean_weight_g"] = float(f"{10 ** rng.uniform(-1, 4):.3g}")
    water["exchange_per_day"] = rng.choice((0, 0.01, 0.3, 2, 24, 200))
    return f"{water['temperature_c']} °C, {water['volume_l']} L, {group['count']} fish"


def _another_host(case, tables, rng) -> str:
    case["parasite"] = {"set": rng.choice(_SETS)}
    fish = case.get("fish")
    group = fish[0] if isinstance(fish, list) and fish else fish
    if isinstance(group, dict):
        group["species"] = rng.choice(_SPECIES)
    return f"{case['parasite']['set']}"


def _odd_history(case, tables, rng) -> str:
    """Doses and moves that contradict each other, the visit or the stock."""
    kind = rng.choice(("given", "planned"))
    block: dict[str, Any] = {
        "date": dt.date(2026, 5, 10) + dt.timedelta(rng.choice((-900, -40, -3, -1, 0, 1, 3, 40, 900)))
    }
    block["action"] = rng.choice(("dose", "dose", "dose", "water_change", "move_fish", "drain_dry", "heat"))
    block |= {k: v for k, v in _dose(rng).items() if rng.random() < 0.6}
    blocks = case.get(kind)
    case[kind] = [
        *(blocks if isinstance(blocks, list) else ()),
        *[dict(block) for _ in range(rng.choice((1, 1, 2, 20)))],
    ]
    return f"[[{kind}]] {block['action']} on {block['date']}"


def _dose(rng: Random) -> dict[str, Any]:
    return {
        "agent": rng.choice(_AGENTS),
        "route": rng.choice(("bath", "in_feed", "dip")),
        rng.choice(("mg_l", "mg_per_kg_fish", "g_l")): rng.choice((1e-6, 0.5, 2.5, 25, 250, 1e5)),
        "hours": rng.choice((0.01, 1, 24, 1e4)),
        "strength_percent": rng.choice((0.3, 37, 100)),
        "volume_l_believed": rng.choice((1, 12000, 1e9)),
        "water_change_after": rng.choice((0, 0.3, 1, "yes", 50)),
    }


def _odd_cell(case, tables, rng) -> str:
    name = rng.choice([*tables] or ["samples.csv"])
    header, rows = tables.setdefault(name, (["date"], [[""]]))
    row = rng.choice(rows or [header])
    at = rng.randrange(len(row)) if row else 0
    row[at : at + 1] = [rng.choice(_CELLS)]
    return f"{name}, cell {at + 1} = {row[at][:30]!r}"


def _rows_moved(case, tables, rng) -> str:
    name = rng.choice([*tables] or ["samples.csv"])
    _, rows = tables.setdefault(name, (["date"], []))
    way = rng.choice(("twice", "gone", "none", "many", "short", "shuffled"))
    if rows and way in ("twice", "many"):
        rows += [list(rng.choice(rows)) for _ in range(1 if way == "twice" else 60)]
    elif rows and way == "gone":
        del rows[rng.randrange(len(rows))]
    elif rows and way == "short":
        rows[-1] = rows[-1][: rng.randrange(len(rows[-1]) + 1)]
    elif way == "none":
        rows.clear()
    else:
        rng.shuffle(rows)
    return f"{name}: rows {way}"


def _columns_moved(case, tables, rng) -> str:
    name = rng.choice([*tables] or ["samples.csv"])
    header, rows = tables.setdefault(name, (["date"], []))
    at = rng.randrange(len(header)) if header else 0
    way = rng.choice(("gone", "renamed", "twice", "none"))
    if way == "none":
        header.clear()
    elif way == "renamed" and header:
        header[at] = rng.choice(("", "x", "dates", "fish", _LONG))
    else:
        for line in (header, *rows):
            line[at : at + 1] = [] if way == "gone" else line[at : at + 1] * 2
    return f"{name}: column {at} {way}"


def _no_samples(case, tables, rng) -> str:
    name = rng.choice([*tables] or ["samples.csv"])
    tables.pop(name, None)
    return f"{name} gone"


def _deaths_many(case, tables, rng) -> str:
    days = sorted({dt.date(2026, 5, 10) - dt.timedelta(rng.randrange(60)) for _ in range(rng.randrange(1, 12))})
    tables["deaths.csv"] = (["date", "deaths"], [[d.isoformat(), str(rng.choice((0, 1, 5, 400, 10**6)))] for d in days])
    return f"deaths on {len(days)} days"


_CHANGES = (
    *(_odd_value, _odd_value, _odd_value, _no_key, _odd_key, _no_table, _odd_table, _scaled, _scaled, _moved_date),
    *(_another_pond, _another_pond, _another_host, _odd_history, _odd_history, _odd_cell, _odd_cell, _rows_moved),
    *(_columns_moved, _no_samples, _deaths_many),
)

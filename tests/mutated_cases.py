"""Case folders as they come in from outside: spelt otherwise, changed, or broken, each made again from its seed.

A third of the seeds only spell a good case otherwise (`respelt`): another encoding, separator, line end, order, form
of a date or number. The others change one to three things first (`changed`), and some of these break the files
themselves (`broken`): bytes, nesting, size, links, folders where a file should stand.
"""

from __future__ import annotations

import csv
import io
import os
import tomllib
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from broken_cases import DEATHS, GOOD, SAMPLES
from changed_cases import change
from spelt_cases import Rows, spell_rows, spell_toml

__all__ = ["BASES", "Mutated", "lay_out", "mutated", "plain"]

SIMULATED = Path(__file__).parents[1] / "simulated_data"
FULL = """\
[case]
visit_date = 2026-05-10
title = "Two waters, one owner"

[water]
volume_l = { value = 30000, low = 24000, high = 36000, how = "length by width by depth" }
medium = "fresh"
temperature_c = { mean_c = 12.5, swing_c = 8.0, warmest_day = "07-25" }
exchange_per_day = 0.1
egg_removal_per_day = 0.05
salinity_g_l = 0.4
alkalinity_mg_l_caco3 = 90.0
uv = "yes"

[[fish]]
species = "koi"
count = 30
food_fish = "no"
length_mm = 240
new_arrivals = [{ date = 2026-04-02, count = 3 }]

[[fish]]
species = "goldfish"
count = 12
food_fish = "no"
mean_weight_g = 90

[parasite]
set = ["dactylogyrus", "gyrodactylus"]

[parasite.override.fecundity]
value = 9.0
source = "counted in a dish"

[findings]
other = ["fungus"]
note = "mucus, 50 % of the fish"

[limits]
agents = ["praziquantel", "formalin"]
visit_days = ["monday", "friday", 3, 2026-05-21]
shortest_gap_days = 2
can_heat_to_c = 26.0

[[given]]
date = 2026-04-20
agent = "unknown"
water_change_after = 0.5
told_by = "owner"

[[given]]
date = 2026-04-25
action = "water_change"
water_change_after = 0.3
"""
FULL_SAMPLES = """\
date,fish,chosen,site,count,method,fraction_examined,parasite,species,stage,lethal,hours_dead
2026-05-02,a,random,gill,3,gill_clip,0.02,dactylogyrus,koi,adult,no,
2026-05-02,b,dead,gill,>30,whole_organ,,dactylogyrus,koi,,yes,6
2026-05-10,a,netted,skin,0,skin_scrape,,gyrodactylus,goldfish,,,
2026-05-10,b,netted,skin,4-9,skin_scrape,0.01,gyrodactylus,koi,,,
"""


@dataclass(frozen=True)
class Mutated:
    """One case folder to be.

    Parameters
    ----------
    seed : int
    base : str
        Name of the good case it comes from.
    kind : str
        respelt, changed or broken.
    what : tuple of str
        What was done to it.
    files : dict of str to (bytes or callable)
        Content by name; a callable takes the path and makes something else than a plain file there.
    """

    seed: int
    base: str
    kind: str
    what: tuple[str, ...]
    files: dict[str, bytes | Callable[[Path], None]]


def _rows(text: str) -> Rows:
    lines = list(csv.reader(io.StringIO(text)))
    return lines[0], lines[1:]


def _base(case: str, **tables: str) -> tuple[dict[str, Any], dict[str, Rows]]:
    return tomllib.loads(case), {f"{name}.csv": _rows(text) for name, text in tables.items()}


def _simulated(name: str) -> tuple[dict[str, Any], dict[str, Rows]]:
    folder = SIMULATED / name
    tables = {path.stem: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.csv"))}
    return _base((folder / "case.toml").read_text(encoding="utf-8"), **tables)


#: good cases: the tables of case.toml, and header and rows of each table beside it
BASES = {
    "garden": _base(GOOD, samples=SAMPLES, deaths=DEATHS),
    "full": _base(FULL, samples=FULL_SAMPLES, deaths=DEATHS),
    **{name: _simulated(name) for name in ("koi_pond", "estate_pond", "quarantine_tank")},
}


def plain(base: str) -> Mutated:
    """Return a good case in its plainest spelling."""
    case, tables = BASES[base]
    return Mutated(0, base, "plain", (), _spell(case, tables, None))


def _spell(case: dict[str, Any], tables: dict[str, Rows], rng: Random | None) -> dict[str, Any]:
    return {
        "case.toml": spell_toml(case, rng),
        **{name: spell_rows(name, rows, rng) for name, rows in tables.items()},
    }


def mutated(seed: int) -> Mutated:
    """Return the case folder of a seed."""
    rng = Random(seed)
    base = rng.choice(list(BASES))
    case, tables = deepcopy(BASES[base])
    if rng.random() < 1 / 3:
        return Mutated(seed, base, "respelt", (), _spell(case, tables, rng))
    what = tuple(change(case, tables, rng) for _ in range(rng.choice((0, 1, 1, 1, 2, 3))))
    files = _spell(case, tables, rng if rng.random() < 0.3 else None)
    if what and rng.random() < 0.7:
        return Mutated(seed, base, "changed", what, files)
    name = rng.choice([*files, "case.toml"])
    harm = rng.choice(_HARMS)
    files[name] = harm(files[name], rng)
    return Mutated(seed, base, "broken", (*what, f"{name}: {harm.__name__.strip('_')}"), files)


def lay_out(found: Mutated, folder: Path) -> Path:
    """Write a case folder, and a file outside it that a link may point to."""
    folder.mkdir(parents=True)
    (folder.parent / "outside.csv").write_text(SAMPLES, encoding="utf-8")
    for name, content in found.files.items():
        if callable(content):
            content(folder / name)
        else:
            (folder / name).write_bytes(content)
    return folder


# --- what can happen to a file


def _cut_off(data: bytes, rng: Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _other_bytes(data: bytes, rng: Random) -> bytes:
    found = bytearray(data or b" ")
    for _ in range(rng.choice((1, 1, 2, 8, 40))):
        found[rng.randrange(len(found))] = rng.randrange(256)
    return bytes(found)


_NOISE = (
    *("nan", "inf", "-inf", "-0", "1e309", "9" * 400, '"', "'", '"""', "\0", "\r", "\n\n", ",", ";", "\t", "[", "]"),
    *("\u2028", "\u202e", "\u200b", "\ufeff", "\u00a0", "𝟙", "٣", "½", "=1+1", "<b>", "${HOME}", "\x1b[31m", "{", "}"),
)


def _noise(data: bytes, rng: Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(_NOISE).encode() + data[at + rng.choice((0, 0, 1, 3)) :]


def _part_twice(data: bytes, rng: Random) -> bytes:
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return data[:b] + data[a:b] + data[b:]


def _lines_shuffled(data: bytes, rng: Random) -> bytes:
    lines = data.splitlines(keepends=True)
    rng.shuffle(lines)
    return b"".join(lines)


def _strange_encoding(data: bytes, rng: Random) -> bytes:
    text = data.decode("utf-8", "replace") + rng.choice(("", "# µg ½ °C\n"))
    return text.encode(rng.choice(("utf-32", "utf-16-le", "utf-16-be", "utf-7", "cp037", "latin-1")), "replace")


def _nested(data: bytes, rng: Random) -> bytes:
    n = rng.choice((50, 500, 5_000, 100_000))
    shapes = (
        "x = " + "[" * n,
        "x = " + "[" * n + "]" * n,
        "x = " + "{a=" * n,
        "[" + "a." * n + "a]\n",
        "a." * n + "a = 1",
    )
    return data + f"\n{rng.choice(shapes)}\n".encode()


def _long(data: bytes, rng: Random) -> bytes:
    n = rng.choice((1_000, 30_000))
    block = rng.choice(
        (b"2026-05-09,1,netted,gill,12\n", b"[[planned]]\ndate = 2026-05-17\n", b"# x\n", b"9", b",", b'"\n')
    )
    return data + b"\n" + block * n


def _too_large(data: bytes, rng: Random) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        with path.open("wb") as file:
            file.write(data)
            file.truncate(rng.choice((20_000_001, 10**11)))

    return make


def _link(data: bytes, rng: Random) -> Callable[[Path], None]:
    target = rng.choice(("../outside.csv", "/etc/passwd", "nowhere.csv", ".", "..", "{name}", "case.toml", "/dev/zero"))
    return lambda path: path.symlink_to(target.format(name=path.name))


def _no_file(data: bytes, rng: Random) -> Callable[[Path], None]:
    return rng.choice((lambda path: path.mkdir(), lambda path: os.mkfifo(path), lambda path: None))


_HARMS = (
    *(_cut_off, _other_bytes, _other_bytes, _noise, _noise, _noise, _part_twice, _lines_shuffled),
    *(_strange_encoding, _nested, _long, _too_large, _link, _no_file),
)

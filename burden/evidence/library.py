"""Reads the TOML files of the parasite sets and the agents into records, and refuses a file that does not hold."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from burden.evidence.cautions import Caution
from burden.evidence.figures import KNOWN, SCALES, Point, Value
from burden.evidence.parasite_set import KIND_ODDS_PER_C, KIND_SHARE, HostShare, Mixture, ParasiteSet, PublishedInterval
from burden.evidence.records import (
    GROUPS,
    Agent,
    Bath,
    Ceiling,
    Density,
    DoseRange,
    Failure,
    HostGroup,
    KillPoint,
    OtherFinding,
    OxygenDemand,
    Solubility,
    WithdrawalRule,
)
from burden.evidence.references import reference_keys
from burden.utils.errors import InputError, Problem, near_miss

__all__ = ["agent_names", "group_of", "load_agent", "load_parasite", "parasite_names"]


def parasite_names() -> tuple[str, ...]:
    """Return the names of the parasite sets, in alphabetical order."""
    return _names("parasites")


def agent_names() -> tuple[str, ...]:
    """Return the names of the agents, in alphabetical order."""
    return _names("agents")


@cache
def load_parasite(name: str) -> ParasiteSet:
    """Load a parasite set.

    Raises
    ------
    InputError
        For a name that is no set, with the near miss.
    """
    evidence, mixed = _set(name)
    return evidence if mixed is None else replace(evidence, mixture=_mixture(evidence, mixed))


@cache
def _set(name: str) -> tuple[ParasiteSet, Mapping[str, Any] | None]:
    """A set without its kinds, and the table of these: kinds borrow from the set that mixes them."""
    raw = _read("parasites", name)
    values, points = _figures(name, raw)
    for loan in raw.pop("borrow", []):
        points += _borrow(loan, values, points)
    kind, mixed = raw.pop("kind"), raw.pop("mixture", None)
    if raw.get("group") not in GROUPS or kind not in ("egg_layer", "live_bearer") or not raw.get("species"):
        raise ValueError(f"{name}: kind {kind!r}, group {raw.get('group')!r} or its species are not ones of ours")
    intervals = _rows(name, PublishedInterval, raw.pop("published_intervals", ()))
    evidence = ParasiteSet(
        name,
        raw.pop("title"),
        MappingProxyType(values),
        points=points,
        lays_eggs=kind == "egg_layer",
        published_intervals=intervals,
        refuses=MappingProxyType(raw.pop("refuses", {})),
        **_plain(raw),
    )
    return evidence, mixed


def _mixture(evidence: ParasiteSet, table: Mapping[str, Any]) -> Mixture:
    """The kinds of a set: each is the set itself with the kind's own clock."""
    of, by_kind = tuple(table["of"]), tuple(table["by_kind"])
    alike = {name: _set(name)[0] for name in of}
    unknown = [value for value in by_kind if not any(value in kind.values for kind in alike.values())]
    needed = {KIND_SHARE, KIND_ODDS_PER_C} - evidence.values.keys()
    if len(of) != 2 or unknown or needed:
        raise ValueError(f"{evidence.name}: a mixture takes two kinds and {sorted(needed)}; no kind has {unknown}")
    kinds = {}
    for name, kind in alike.items():
        own = {value: kind.values[value] for value in by_kind if value in kind.values}
        values = MappingProxyType({**evidence.values, **own})
        kinds[name] = replace(evidence, species=kind.species, values=values, points=kind.points)
    hosts = tuple(_host_share(evidence.name, dict(row)) for row in table.get("hosts", ()))
    return Mixture(MappingProxyType(kinds), by_kind, hosts)


def _host_share(owner: str, row: dict[str, Any]) -> HostShare:
    words = tuple(row.pop("words"))
    return HostShare(words, _value(owner, KIND_SHARE, row))


@cache
def load_agent(name: str) -> Agent:
    """Load an agent.

    Raises
    ------
    InputError
        For a name that is no agent, with the near miss.
    """
    raw = _read("agents", name)
    values, points = _figures(name, raw)
    records = {key: _rows(name, kind, raw.pop(key, ())) for key, kind in _ROWS.items() if key != "host_groups"}
    single = {key: _record(name, kind, raw.pop(key)) for key, kind in _RECORDS.items() if key in raw}
    hosts = tuple(_host_group(name, row, single.get("density")) for row in raw.pop("host_groups", ()))
    said = {key: tuple(_said(line) for line in raw.pop(key)) for key in _SAID}
    title = raw.pop("title")
    rest = _plain(raw) | records | single | said
    return Agent(name, title, MappingProxyType(values), points=points, host_groups=hosts, **rest)


@cache
def group_of(species: str) -> str:
    """Return the group of a fluke, one of `burden.evidence.records.GROUPS`.

    Parameters
    ----------
    species : str
        As a kill point names it; of several names the first counts.

    Raises
    ------
    KeyError
        For a genus that species.toml does not hold: a fault of the evidence.
    """
    return _genera()[species.split()[0]]


@cache
def _genera() -> Mapping[str, str]:
    text = (resources.files(__package__) / "species.toml").read_text(encoding="utf-8")
    return MappingProxyType({genus: group for group, genera in tomllib.loads(text).items() for genus in genera})


# --- files ------------------------------------------------------------------------------------------------------
@cache
def _names(folder: str) -> tuple[str, ...]:
    files = (resources.files(__package__) / folder).iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml")))


def _read(folder: str, name: str) -> dict[str, Any]:
    if name not in _names(folder):
        kind = "parasite set" if folder == "parasites" else "agent"
        hint = near_miss(name, _names(folder))
        raise InputError([Problem("evidence", kind, name, f"one of {', '.join(_names(folder))}", hint.capitalize())])
    return tomllib.loads((resources.files(__package__) / folder / f"{name}.toml").read_text(encoding="utf-8"))


def _figures(name: str, raw: dict[str, Any]) -> tuple[dict[str, Value], tuple[Point, ...]]:
    values = {key: _value(name, key, table) for key, table in raw.pop("values", {}).items()}
    return values, tuple(_point(name, table) for table in raw.pop("points", []))


def _borrow(loan: dict[str, Any], values: dict[str, Value], points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Add a relative's values where the set has none, and return the relative's points of what it never measured."""
    relative, own = _set(loan["from"])[0], {p.quantity for p in points}
    for key in loan.get("values", ()):
        values.setdefault(key, relative.values[key].widened(loan["widen"], relative.name))
    wanted = set(loan.get("points", ())) - own
    missing = wanted - {p.quantity for p in relative.points}
    if missing:
        raise ValueError(f"{relative.name} has no points of {sorted(missing)} to lend")
    return tuple(p.widened(loan["widen"], relative.name) for p in relative.points if p.quantity in wanted)


# --- figures ----------------------------------------------------------------------------------------------------
def _value(owner: str, key: str, table: dict[str, Any]) -> Value:
    where = f"{owner}: {key}"
    value = Value(key, scale=table.pop("scale", "log"), sources=_sources(where, table), **table)
    if value.scale not in SCALES or value.known not in KNOWN:
        raise ValueError(f"{where}: scale {value.scale!r} or known {value.known!r} is not one of ours")
    least, most = SCALES[value.scale]
    if not (value.low <= value.value <= value.high and least < value.low and value.high < most):
        order = f"{least} < {value.low} <= {value.value} <= {value.high} < {most}"
        raise ValueError(f"{where}: {order} does not hold on the {value.scale} scale")
    return value


def _point(owner: str, table: dict[str, Any]) -> Point:
    where = f"{owner}: {table['quantity']} at {table['temperature_c']}"
    point = Point(sources=_sources(where, table), **table)
    if point.known not in KNOWN or not point.low <= point.value <= point.high:
        raise ValueError(f"{where}: known {point.known!r}, or its range is out of order")
    return point


def _sources(where: str, table: dict[str, Any]) -> tuple[str, ...]:
    keys = tuple(table.pop("sources", ()))
    unknown = [key for key in keys if key not in reference_keys()]
    if unknown or (not keys and table["known"] not in ("assumption", "common practice")):
        raise ValueError(f"{where}: no reference for {unknown or 'a figure that claims a source'}")
    return keys


# --- records ----------------------------------------------------------------------------------------------------
_ROWS: Mapping[str, type[Any]] = {
    "short_baths": Bath,
    "ranges": DoseRange,
    "against": OtherFinding,
    "host_groups": HostGroup,
    "kill_points": KillPoint,
    "failures": Failure,
}
_RECORDS: Mapping[str, type[Any]] = {
    "customary": Bath,
    "ceiling": Ceiling,
    "density": Density,
    "solubility": Solubility,
    "oxygen_demand": OxygenDemand,
    "withdrawal": WithdrawalRule,
}
#: lists of sentences of an agent: plain, or with the kind of what they guard
_SAID = ("cautions", "handling", "does_not", "aftercare")
#: a source that does not say the temperature; TOML has no nothing
_NOT_STATED = "not stated"


def _said(line: str | dict[str, str]) -> Caution:
    return Caution(line) if isinstance(line, str) else Caution(line["text"], line["kind"], line.get("bath", "any"))


def _rows(owner: str, kind: type[Any], rows: Any) -> tuple[Any, ...]:
    return tuple(_record(owner, kind, row) for row in rows)


def _record(owner: str, kind: type[Any], table: Mapping[str, Any]) -> Any:
    """One record of a file; a key it does not know, a missing one or a source without a reference is refused."""
    known = {f.name for f in fields(kind)}
    if strange := set(table) - known:
        raise ValueError(f"{owner}: {kind.__name__} has no {', '.join(sorted(strange))}")
    if unknown := set(table.get("sources", ())) - reference_keys():
        raise ValueError(f"{owner}: {kind.__name__} names no reference: {', '.join(sorted(unknown))}")
    return kind(**_plain(table))


def _host_group(owner: str, table: Mapping[str, Any], density: Density | None) -> HostGroup:
    """A limit in microlitres a litre is one in mg/L by the density and strength of the solution it was given as."""
    row = dict(table)
    if (volume := row.pop("max_ul_l_short", None)) is not None:
        percent = row.pop("solution_percent")
        if density is None:
            raise ValueError(f"{owner}: a limit in µL/L needs a density")
        row["max_mg_l_short"] = round(volume * density.at(percent) * percent / 100, 1)
    return _record(owner, HostGroup, row)


def _plain(table: Mapping[str, Any]) -> dict[str, Any]:
    """A table with its lists as tuples, and what is not stated as None."""
    made: dict[str, Callable[[Any], Any]] = {"list": tuple}
    found = {key: made.get(type(value).__name__, lambda x: x)(value) for key, value in table.items()}
    return {key: None if value == _NOT_STATED and key == "temperature_c" else value for key, value in found.items()}

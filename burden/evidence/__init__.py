"""What is published, as data: one TOML a parasite set, one an agent, and the references they name.

A value carries its own range, unit, conditions, source and how it is known. Nothing here is fitted or drawn:
`burden.model.lifecycle.development` fits laws to the points, and `Value.draw` only spreads a value over its own range.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

import numpy as np

from burden.evidence.cautions import Caution
from burden.utils.errors import InputError, Problem, near_miss
from burden.utils.random_streams import uniform_draws

__all__ = [
    "KNOWN",
    "Evidence",
    "Point",
    "Value",
    "agent_names",
    "load_agent",
    "load_parasite",
    "parasite_names",
    "reference",
]

#: how a figure is known, best first
KNOWN = {
    "read": "seen in the source's abstract or page",
    "computed": "arithmetic on published figures, printed by no source",
    "memory": "recalled, not sighted",
    "common practice": "common practice, no source",
    "assumption": "measured by nobody: an assumption with a wide range",
}
#: what a scale can hold, both ends excluded
_BOUNDS = {"log": (0.0, float("inf")), "linear": (float("-inf"), float("inf")), "logit": (0.0, 1.0)}
_Z95 = 1.6448536269514722  # standard normal 95 % point: low and high are the 5 and 95 % points


@dataclass(frozen=True)
class Value:
    """One number with its range and its source.

    Parameters
    ----------
    name : str
        Name in the glossary of DEVELOPERS.md.
    value, low, high : float
        Median, and the 5 and 95 % points of what is believed [unit].
    unit : str
        Unit, "-" for a share.
    scale : str
        Scale on which the two halves are normal: log, linear or logit.
    known : str
        A key of `KNOWN`.
    sources : tuple of str
        Keys of references.toml.
    conditions : str
        Where and how it was measured, and what it is not for.
    temperature_c : float or None
        Temperature of the measurement [°C].
    borrowed_from : str or None
        The set it was borrowed from.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    scale: str
    known: str
    sources: tuple[str, ...] = ()
    conditions: str = ""
    temperature_c: float | None = None
    borrowed_from: str | None = None

    def draw(self, n: int, seed: int, salt: str = "") -> np.ndarray:
        """Draw from a two-piece normal on the value's scale.

        Parameters
        ----------
        n : int
            Number of draws.
        seed : int
            Seed of the run; the stream is the value's own, so no draw depends on the order of calls.
        salt : str
            Sets apart two draws of one name, for instance in two parasite sets of one case.

        Returns
        -------
        numpy.ndarray
            Draws, shape (n,) [unit].
        """
        return self.quantile(uniform_draws(f"{salt}{self.name}", n, seed))

    def quantile(self, u: np.ndarray) -> np.ndarray:
        """Value at probabilities `u`, any shape [unit]."""
        from scipy.special import ndtri

        to, back = _TRANSFORMS[self.scale]
        z = ndtri(u) / _Z95
        middle = to(self.value)
        return back(middle + np.where(z < 0, z * (middle - to(self.low)), z * (to(self.high) - middle)))

    def widened(self, factor: float, borrowed_from: str) -> Value:
        """Return the value as borrowed by a relative: its range widened by `factor` on its own scale."""
        to, back = _TRANSFORMS[self.scale]
        middle = to(self.value)
        low, high = (float(back(middle + factor * (to(edge) - middle))) for edge in (self.low, self.high))
        return replace(self, low=low, high=high, borrowed_from=borrowed_from)


_Transform = Callable[[Any], Any]
_TRANSFORMS: Mapping[str, tuple[_Transform, _Transform]] = {
    "log": (np.log, np.exp),
    "linear": (lambda x: x, lambda x: x),
    "logit": (lambda p: np.log(p / (1 - p)), lambda x: 1 / (1 + np.exp(-x))),
}


@dataclass(frozen=True)
class Point:
    """One measured point of a quantity against temperature.

    Parameters
    ----------
    quantity : str
        For instance first_hatch_days.
    temperature_c : float
        [°C].
    value, low, high : float
        Figure, and what its reading allows [days unless the quantity says otherwise].
    known : str
        A key of `KNOWN`.
    sources : tuple of str
        Keys of references.toml.
    conditions : str
        How it was measured and read.
    borrowed_from : str or None
        The set it was borrowed from.
    """

    quantity: str
    temperature_c: float
    value: float
    low: float
    high: float
    known: str
    sources: tuple[str, ...]
    conditions: str = ""
    borrowed_from: str | None = None

    def widened(self, factor: float, borrowed_from: str) -> Point:
        """Return the point as borrowed by a relative: its range widened by `factor`, on the log scale."""
        low, high = (self.value * (edge / self.value) ** factor for edge in (self.low, self.high))
        return replace(self, low=low, high=high, borrowed_from=borrowed_from)


@dataclass(frozen=True)
class Evidence:
    """All that is known of one parasite set or one agent.

    Parameters
    ----------
    name, title : str
        Name on the command line, and what it is in words.
    about : mapping
        Facts that are words: kind, site, water, hosts, notes, not_for …
    values : mapping of str to Value
    points : tuple of Point
    overridden : frozenset of str
        Values that a case replaced by its own.
    """

    name: str
    title: str
    about: Mapping[str, Any]
    values: Mapping[str, Value]
    points: tuple[Point, ...] = field(default=())
    overridden: frozenset[str] = frozenset()

    def points_of(self, quantity: str) -> tuple[Point, ...]:
        """Return the points of one quantity by rising temperature."""
        return tuple(sorted((p for p in self.points if p.quantity == quantity), key=lambda p: p.temperature_c))

    @property
    def figures(self) -> tuple[Value | Point, ...]:
        """Every figure, values first."""
        return (*self.values.values(), *self.points)

    def source_keys(self) -> tuple[str, ...]:
        """Return every reference the evidence rests on, once."""
        return tuple(sorted({key for figure in self.figures for key in figure.sources}))

    def with_overrides(self, overrides: Mapping[str, Value]) -> Evidence:
        """Return the evidence with some values replaced by a case's own."""
        values = MappingProxyType({**self.values, **overrides})
        return replace(self, values=values, overridden=self.overridden | overrides.keys())

    def refusal(self, question: str) -> str | None:
        """Return why the set does not answer a question (windows, burden, deaths, elimination), or None if it does."""
        return self.about.get("refuses", {}).get(question)

    def stray_in(self, medium: str) -> str | None:
        """Return in words which water a parasite set lives in where `medium`, fresh or sea, is another; else None."""
        waters = self.about["water"]
        return None if medium in waters else f"{self.name} lives in {' and '.join(waters)} water"


def parasite_names() -> tuple[str, ...]:
    """Return the names of the parasite sets, in alphabetical order."""
    return _names("parasites")


def agent_names() -> tuple[str, ...]:
    """Return the names of the agents, in alphabetical order."""
    return _names("agents")


def load_parasite(name: str) -> Evidence:
    """Load a parasite set.

    Raises
    ------
    InputError
        For a name that is no set, with the near miss.
    """
    return _load("parasites", name)


def load_agent(name: str) -> Evidence:
    """Load an agent.

    Raises
    ------
    InputError
        For a name that is no agent, with the near miss.
    """
    return _load("agents", name)


@cache
def _references() -> Mapping[str, str]:
    text = (resources.files(__package__) / "references.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))


def reference(key: str) -> str:
    """Return the full reference of a key.

    Raises
    ------
    KeyError
        For a key that references.toml does not hold: a fault of the evidence, not of a user.
    """
    return _references()[key]


@cache
def _names(folder: str) -> tuple[str, ...]:
    files = (resources.files(__package__) / folder).iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml")))


@cache
def _load(folder: str, name: str) -> Evidence:
    if name not in _names(folder):
        kind = "parasite set" if folder == "parasites" else "agent"
        hint = near_miss(name, _names(folder))
        raise InputError([Problem("evidence", kind, name, f"one of {', '.join(_names(folder))}", hint.capitalize())])
    text = (resources.files(__package__) / folder / f"{name}.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    if folder == "agents":
        raw |= {key: [_said(line) for line in raw[key]] for key in _SAID}
    values = {key: _value(name, key, table) for key, table in raw.pop("values", {}).items()}
    points = tuple(_point(name, table) for table in raw.pop("points", []))
    for loan in raw.pop("borrow", []):
        points += _borrow(folder, loan, values, points)
    return Evidence(name, raw.pop("title"), MappingProxyType(raw), MappingProxyType(values), points)


#: lists of sentences of an agent: plain, or with the kind of what they guard
_SAID = ("cautions", "handling", "does_not", "aftercare")


def _said(line: str | dict[str, str]) -> Caution:
    return Caution(line) if isinstance(line, str) else Caution(line["text"], line["kind"])


def _borrow(
    folder: str, loan: dict[str, Any], values: dict[str, Value], points: tuple[Point, ...]
) -> tuple[Point, ...]:
    """Add a relative's values where the set has none, and return the relative's points of what it never measured."""
    relative, own = _load(folder, loan["from"]), {p.quantity for p in points}
    for key in loan.get("values", ()):
        values.setdefault(key, relative.values[key].widened(loan["widen"], relative.name))
    wanted = set(loan.get("points", ())) - own
    missing = wanted - {p.quantity for p in relative.points}
    if missing:
        raise ValueError(f"{relative.name} has no points of {sorted(missing)} to lend")
    return tuple(p.widened(loan["widen"], relative.name) for p in relative.points if p.quantity in wanted)


def _value(owner: str, key: str, table: dict[str, Any]) -> Value:
    where = f"{owner}: {key}"
    value = Value(key, scale=table.pop("scale", "log"), sources=_sources(where, table), **table)
    if value.scale not in _BOUNDS or value.known not in KNOWN:
        raise ValueError(f"{where}: scale {value.scale!r} or known {value.known!r} is not one of ours")
    least, most = _BOUNDS[value.scale]
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
    unknown = [key for key in keys if key not in _references()]
    if unknown or (not keys and table["known"] not in ("assumption", "common practice")):
        raise ValueError(f"{where}: no reference for {unknown or 'a figure that claims a source'}")
    return keys

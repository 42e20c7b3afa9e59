"""What is known of an agent, as typed records; `burden.evidence.library` reads them from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Self

from burden.evidence.cautions import Caution
from burden.evidence.figures import Point, Value

__all__ = [
    "FRESH_WATER",
    "GROUPS",
    "Agent",
    "Bath",
    "Ceiling",
    "Density",
    "DoseRange",
    "Evidence",
    "Failure",
    "HostGroup",
    "KillPoint",
    "OtherFinding",
    "OxygenDemand",
    "Solubility",
    "WithdrawalRule",
]

#: the agent that is no drug: water alone, without an amount, a strength or a label
FRESH_WATER = "fresh_water"
#: groups of flukes that an agent may treat alike; "other" are flatworms that stand in for flukes
GROUPS = ("monopisthocotylean", "polyopisthocotylean", "live_bearer", "other")


@dataclass(frozen=True)
class Evidence:
    """The figures of one parasite set or one agent.

    Parameters
    ----------
    name, title : str
        Name on the command line, and what it is in words.
    values : mapping of str to Value
    points : tuple of Point
    overridden : frozenset of str
        Values that a case replaced by its own.
    """

    name: str
    title: str
    values: Mapping[str, Value]
    points: tuple[Point, ...] = field(default=(), kw_only=True)
    overridden: frozenset[str] = field(default=frozenset(), kw_only=True)

    def points_of(self, quantity: str) -> tuple[Point, ...]:
        """Return the points of one quantity by rising temperature."""
        return tuple(sorted((p for p in self.points if p.quantity == quantity), key=lambda p: p.temperature_c))

    @property
    def figures(self) -> tuple[Value | Point, ...]:
        """Every figure, values first."""
        return (*self.values.values(), *self.points)

    def source_keys(self) -> tuple[str, ...]:
        """Return every reference the figures rest on, once."""
        return tuple(sorted({key for figure in self.figures for key in figure.sources}))

    def with_overrides(self, overrides: Mapping[str, Value]) -> Self:
        """Return the evidence with some values replaced by a case's own."""
        values = MappingProxyType({**self.values, **overrides})
        return replace(self, values=values, overridden=self.overridden | overrides.keys())


@dataclass(frozen=True)
class Bath:
    """The customary bath of an agent, or its short one for water that flows [mg/L], [h].

    `water` names the waters it is given in, fresh or sea; both where it is empty.
    """

    mg_l: float
    hours: float
    known: str
    text: str
    sources: tuple[str, ...] = ()
    water: tuple[str, ...] = ()


@dataclass(frozen=True)
class DoseRange:
    """A published range of doses: lowest and highest, shortest and longest, in water up to a temperature.

    Parameters
    ----------
    name, route : str
    hours, mg_l : tuple of float
        [h], [mg/L].
    known, text : str
    sources : tuple of str
    max_temperature_c : float or None
        [°C].
    """

    name: str
    route: str
    hours: tuple[float, float]
    mg_l: tuple[float, float]
    known: str
    text: str
    sources: tuple[str, ...] = ()
    max_temperature_c: float | None = None


@dataclass(frozen=True)
class Ceiling:
    """What may never be passed: strength left in the water [mg/L], and the warmest water of a published bath [°C]."""

    mg_l_prolonged: float
    text: str
    sources: tuple[str, ...]
    temperature_c: float | None = None
    temperature_text: str = ""


@dataclass(frozen=True)
class Density:
    """Density of a solution [g/mL] at a strength [%], and how much lighter it is for each per cent less."""

    g_ml: float
    at_percent: float
    known: str
    text: str
    sources: tuple[str, ...]
    g_ml_per_percent: float = 0.0

    def at(self, percent: float) -> float:
        """Density at a strength [g/mL]."""
        return self.g_ml + self.g_ml_per_percent * (percent - self.at_percent)


@dataclass(frozen=True)
class OxygenDemand:
    """Oxygen an agent takes: mg of oxygen a mg of agent, within a time from shortest to longest [h]."""

    mg_o2_per_mg: float
    hours: tuple[float, float]
    known: str
    text: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Solubility:
    """How much dissolves in water, and the lowest figure [mg/L]."""

    mg_l: float
    low_mg_l: float
    text: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class WithdrawalRule:
    """An example of a withdrawal [°C·d]; local rules decide.

    `unapproved_degree_days` holds where no product of the agent is approved for animals that are eaten, if it differs.
    """

    degree_days: float
    known: str
    text: str
    sources: tuple[str, ...] = ()
    unapproved_degree_days: float | None = None


@dataclass(frozen=True)
class OtherFinding:
    """What an agent does to another finding of a case: yes, some, no, or apart: in a course of its own dates alone."""

    finding: str
    works: str
    text: str
    known: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class HostGroup:
    """How a group of hosts bears an agent.

    Parameters
    ----------
    name : str
    words : tuple of str
        Words in the name of a host that put it in the group.
    advice : str
        usable, lower dose or avoid.
    text, known : str
    sources : tuple of str
    max_mg_l, max_mg_l_short : float or None
        Limit of any bath, and of a short one [mg/L].
    above_temperature_c : float or None
        The limits hold above it only [°C].
    """

    name: str
    words: tuple[str, ...]
    advice: str
    text: str
    known: str
    sources: tuple[str, ...] = ()
    max_mg_l: float | None = None
    max_mg_l_short: float | None = None
    above_temperature_c: float | None = None


@dataclass(frozen=True)
class KillPoint:
    """One published kill.

    Parameters
    ----------
    species, host : str
        Fluke, and fish it sat on; several names where the source does not tell them apart.
    setting : str
        "on fish" or "in vitro".
    form : str
        adult, juvenile, mother …, or "attached": everything on the fish.
    mg_l : float
        Concentration [mg/L].
    hours : tuple of float
        Shortest and longest exposure the source allows [h].
    kill : float
        Share killed [-].
    scatter : float
        Standard deviation of the share, for counting [-].
    role : str
        fitted: the draws are weighted by it; predicted: they are not.
    known : str
    sources : tuple of str
    relation : str
        equal, at_least or at_most.
    temperature_c : float or None
        Of the water; None where the source does not say [°C].
    conditions : str
        What was done.
    """

    species: str
    host: str
    setting: str
    form: str
    mg_l: float
    hours: tuple[float, float]
    kill: float
    scatter: float
    role: str
    known: str
    sources: tuple[str, ...]
    relation: str = "equal"
    temperature_c: float | None = None
    conditions: str = ""


@dataclass(frozen=True)
class Failure:
    """A published failure without a share: what was given did not work.

    Parameters
    ----------
    species, host, setting : str
        As in `KillPoint`.
    text, known : str
        What was found, as the source says it.
    sources : tuple of str
    mg_l : tuple of float or None
        Lowest and highest concentration tried; None where the source does not say [mg/L].
    hours : tuple of float or None
        [h].
    """

    species: str
    host: str
    setting: str
    text: str
    known: str
    sources: tuple[str, ...]
    mg_l: tuple[float, float] | None = None
    hours: tuple[float, float] | None = None


@dataclass(frozen=True)
class Agent(Evidence):
    """All that is known of one agent.

    Parameters
    ----------
    kind : str
        solid or liquid.
    reference_mg_l : float
        Where the hazard is stated [mg/L].
    basis, mass_of : str
        What a mg is a mg of, in words.
    routes : tuple of str
        Ways it is given.
    default_strength_percent, mass_strength_percent : float
        Strength of a product nobody named, and of what the dose counts [%].
    pre_dissolve : str
        How it is made up.
    does_not, handling, cautions, aftercare : tuple of Caution
        Sentences that stand with a dose.
    aftercare_days, unfed_days_after : int
        Days on which the water is measured, and on which nothing is fed, after the end of a dose [d].
    customary : Bath
    short_baths : tuple of Bath
        In its place where water flows too fast for a long one, by water.
    ranges : tuple of DoseRange
    ceiling : Ceiling
    withdrawal : WithdrawalRule
    against : tuple of OtherFinding
    host_groups : tuple of HostGroup
    kill_points : tuple of KillPoint
    failures : tuple of Failure
    density, solubility, oxygen_demand
        None where they do not apply.
    """

    kind: str = field(kw_only=True)
    reference_mg_l: float = field(kw_only=True)
    basis: str = field(kw_only=True)
    mass_of: str = field(kw_only=True)
    routes: tuple[str, ...] = field(kw_only=True)
    default_strength_percent: float = field(kw_only=True)
    mass_strength_percent: float = field(kw_only=True)
    pre_dissolve: str = field(kw_only=True)
    customary: Bath = field(kw_only=True)
    ceiling: Ceiling = field(kw_only=True)
    withdrawal: WithdrawalRule = field(kw_only=True)
    ranges: tuple[DoseRange, ...] = field(kw_only=True)
    against: tuple[OtherFinding, ...] = field(kw_only=True)
    short_baths: tuple[Bath, ...] = field(default=(), kw_only=True)
    host_groups: tuple[HostGroup, ...] = field(default=(), kw_only=True)
    kill_points: tuple[KillPoint, ...] = field(default=(), kw_only=True)
    failures: tuple[Failure, ...] = field(default=(), kw_only=True)
    does_not: tuple[Caution, ...] = field(default=(), kw_only=True)
    handling: tuple[Caution, ...] = field(default=(), kw_only=True)
    cautions: tuple[Caution, ...] = field(default=(), kw_only=True)
    aftercare: tuple[Caution, ...] = field(default=(), kw_only=True)
    aftercare_days: int = field(default=0, kw_only=True)
    unfed_days_after: int = field(default=0, kw_only=True)
    density: Density | None = field(default=None, kw_only=True)
    solubility: Solubility | None = field(default=None, kw_only=True)
    oxygen_demand: OxygenDemand | None = field(default=None, kw_only=True)

    def short_bath_in(self, medium: str) -> Bath | None:
        """Return the short bath for fresh or sea water; None where none is published for it."""
        return next((bath for bath in self.short_baths if not bath.water or medium in bath.water), None)

    @property
    def works_on(self) -> frozenset[str]:
        """Other findings that a course against flukes meets as well."""
        return frozenset(row.finding for row in self.against if row.works == "yes")

    @property
    def works_apart(self) -> frozenset[str]:
        """Other findings that it works on in a course of its own dates."""
        return frozenset(row.finding for row in self.against if row.works == "apart")

    def told_keys(self) -> tuple[str, ...]:
        """Return every reference the records rest on, its figures aside, once."""
        records = (self.customary, self.ceiling, self.withdrawal, self.density, self.solubility, self.oxygen_demand)
        rows = (*self.short_baths, *self.ranges, *self.against, *self.host_groups, *self.kill_points, *self.failures)
        return tuple(sorted({key for record in (*records, *rows) for key in getattr(record, "sources", ())}))

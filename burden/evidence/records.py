"""What is known of a parasite set or an agent, as typed records; `burden.evidence.library` reads them from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal, Self

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
    "ParasiteSet",
    "PublishedInterval",
    "Solubility",
    "WithdrawalRule",
]

#: values per gram that go with the skin flukes sit on, the weight of the fish they are stated for [g], and the power of
#: weight by which skin grows, as on bodies of one form
_WITH_SKIN, _STATED_FOR_G, _SKIN_EXPONENT = ("abundance", "burden_scale", "resistance_half_burden"), 400.0, 2 / 3

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
class PublishedInterval:
    """A gap between doses that custom or print gives.

    Parameters
    ----------
    temperature_c, gap_days : float
        [°C], [d].
    doses : int
    known : str
        Where it is from, in words.
    middle_agent : str or None
        Agent of every second dose, where that is another.
    """

    temperature_c: float
    gap_days: float
    doses: int
    known: str
    middle_agent: str | None = None


@dataclass(frozen=True)
class ParasiteSet(Evidence):
    """All that is known of one parasite set.

    Parameters
    ----------
    lays_eggs : bool
        False for a live-bearer.
    group : str
        One of `GROUPS`: which agents treat it alike.
    species : tuple of str
        Flukes the set stands for.
    site : str
        Where on the fish: gill or skin.
    water, hosts : tuple of str
        fresh and sea, and fish it lives on.
    blood_feeder, notifiable : bool
        Whether it drinks blood; whether many countries ask that it is reported.
    notifiable_hosts : tuple of str
        Fish that those kill: no dose before the flukes are identified.
    notes, not_for : tuple of str
    refuses : mapping of str to str
        Questions it cannot answer (windows, burden, deaths, elimination), and why.
    published_intervals : tuple of PublishedInterval
    measured_c : tuple of float or None
        Coldest and warmest temperature measured, where the points do not say [°C].
    """

    lays_eggs: bool = field(kw_only=True)
    group: str = field(kw_only=True)
    species: tuple[str, ...] = field(kw_only=True)
    site: Literal["gill", "skin"] = field(kw_only=True)
    water: tuple[str, ...] = field(kw_only=True)
    hosts: tuple[str, ...] = field(kw_only=True)
    blood_feeder: bool = field(kw_only=True)
    notifiable: bool = field(default=False, kw_only=True)
    notifiable_hosts: tuple[str, ...] = field(default=(), kw_only=True)
    notes: tuple[str, ...] = field(default=(), kw_only=True)
    not_for: tuple[str, ...] = field(default=(), kw_only=True)
    refuses: Mapping[str, str] = field(default_factory=dict, kw_only=True)
    published_intervals: tuple[PublishedInterval, ...] = field(default=(), kw_only=True)
    measured_c: tuple[float, float] | None = field(default=None, kw_only=True)

    def for_fish_of(self, weight_g: float) -> Self:
        """Return the set as it is believed of fish of a weight [g]: small fish have more skin to a gram.

        Notes
        -----
        The usual burden of skin flukes, and the burdens at which laying is braked and resistance gained, are stated per
        gram for fish of 400 g and rise with skin over weight in smaller ones; larger ones, and gills, keep them: counts
        on small fish decide without that (assumptions). Harm goes with 1/weight, as measured on guppies, and stays.
        """
        if self.site != "skin" or weight_g >= _STATED_FOR_G:
            return self
        more = (_STATED_FOR_G / weight_g) ** (1 - _SKIN_EXPONENT)
        own = {name: self.values[name].times(more) for name in _WITH_SKIN if name in self.values}
        return replace(self, values=MappingProxyType({**self.values, **own}))

    def refusal(self, question: str) -> str | None:
        """Return why the set does not answer a question (windows, burden, deaths, elimination), or None if it does."""
        return self.refuses.get(question)

    def stray_in(self, medium: str) -> str | None:
        """Return in words which water the set lives in where `medium`, fresh or sea, is another; else None."""
        return None if medium in self.water else f"{self.name} lives in {' and '.join(self.water)} water"


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
    """An example of a withdrawal [°C·d]; local rules decide."""

    degree_days: float
    known: str
    text: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class OtherFinding:
    """What an agent does to another finding of a case: yes, some or no."""

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
    short_bath : Bath or None
        In its place where water flows too fast for a long one.
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
    short_bath: Bath | None = field(default=None, kw_only=True)
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

    @property
    def works_on(self) -> frozenset[str]:
        """Other findings that it is known to work on."""
        return frozenset(row.finding for row in self.against if row.works == "yes")

    def told_keys(self) -> tuple[str, ...]:
        """Return every reference the records rest on, its figures aside, once."""
        baths = (self.customary, self.short_bath)
        records = (*baths, self.ceiling, self.withdrawal, self.density, self.solubility, self.oxygen_demand)
        rows = (*self.ranges, *self.against, *self.host_groups, *self.kill_points, *self.failures)
        return tuple(sorted({key for record in (*records, *rows) for key in getattr(record, "sources", ())}))

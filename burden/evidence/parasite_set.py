"""What is known of a parasite set, as typed records; `burden.evidence.library` reads them from TOML.

Flukes that nobody told apart may be one of two kinds with clocks of their own: a `Mixture` holds both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal, Self

from burden.evidence.figures import Value
from burden.evidence.records import Evidence

__all__ = ["KIND_ODDS_PER_C", "KIND_SHARE", "HostShare", "Mixture", "ParasiteSet", "PublishedInterval"]

#: values of a mixture: the chance that flukes found in water of the value's own temperature are of the second kind, and
#: the factor on its odds for each °C that the water is warmer
KIND_SHARE, KIND_ODDS_PER_C = "cold_kind_share", "cold_kind_odds_per_c"
#: values per gram that go with the skin flukes sit on, the weight of the fish they are stated for [g], and the power of
#: weight by which skin grows, as on bodies of one form
_WITH_SKIN, _STATED_FOR_G, _SKIN_EXPONENT = ("abundance", "burden_scale", "resistance_half_burden"), 400.0, 2 / 3


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
    mixture : Mixture or None
        The kinds of fluke it may be, where nobody told them apart.
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
    mixture: Mixture | None = field(default=None, kw_only=True)

    def source_keys(self) -> tuple[str, ...]:
        """Return every reference the figures rest on, those of its kinds too, once."""
        kinds = () if self.mixture is None else self.mixture.kinds.values()
        return tuple(sorted({*super().source_keys(), *(key for kind in kinds for key in kind.source_keys())}))

    def with_overrides(self, overrides: Mapping[str, Value]) -> Self:
        """Return the set with some values replaced by a case's own, whichever kind the flukes are of."""
        return super().with_overrides(overrides)._kinds_changed(lambda kind: kind.with_overrides(overrides))

    def _kinds_changed(self, change: Callable[[ParasiteSet], ParasiteSet]) -> Self:
        return self if self.mixture is None else replace(self, mixture=self.mixture.changed(change))

    def on_hosts(self, species: Sequence[str]) -> Self:
        """Return the set as it is believed of some fish: on all of them together, one kind may be rarer.

        Parameters
        ----------
        species : sequence of str
            Names of the fish of a case.
        """
        share = None if self.mixture is None else self.mixture.share_on(species)
        if share is None:
            return self
        return replace(self, values=MappingProxyType({**self.values, KIND_SHARE: share}))

    def found_in(self, temperature_c: float) -> Self:
        """Return the set as it is believed of flukes found in water of a temperature [°C]: each kind has its season."""
        return self if self.mixture is None else replace(self, mixture=replace(self.mixture, found_in_c=temperature_c))

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
        changed = replace(self, values=MappingProxyType({**self.values, **own}))
        return changed._kinds_changed(lambda kind: kind.for_fish_of(weight_g))

    def refusal(self, question: str) -> str | None:
        """Return why the set does not answer a question (windows, burden, deaths, elimination), or None if it does."""
        return self.refuses.get(question)

    def stray_in(self, medium: str) -> str | None:
        """Return in words which water the set lives in where `medium`, fresh or sea, is another; else None."""
        return None if medium in self.water else f"{self.name} lives in {' and '.join(self.water)} water"


@dataclass(frozen=True)
class HostShare:
    """How often flukes of some hosts are of the second kind.

    Parameters
    ----------
    words : tuple of str
        Words in the name of a fish that make it such a host.
    share : Value
    """

    words: tuple[str, ...]
    share: Value

    def named_in(self, species: str) -> bool:
        """Whether a fish is such a host."""
        return any(word in species.lower() for word in self.words)


@dataclass(frozen=True)
class Mixture:
    """Two kinds of fluke that nobody told apart. A pond is of one kind and keeps that kind's clock.

    Parameters
    ----------
    kinds : mapping of str to ParasiteSet
        The whole set as it is in ponds of one kind, by the name of the set that this kind is like; the second is drawn
        with the chance `KIND_SHARE`. Both bear the name of the mixture, so they read the same random streams.
    by_kind : tuple of str
        Values in which the kinds differ; every point against temperature is the kind's own too.
    hosts : tuple of HostShare
    found_in_c : float or None
        Water the flukes were found in; None where nothing is said of it [°C].
    """

    kinds: Mapping[str, ParasiteSet]
    by_kind: tuple[str, ...]
    hosts: tuple[HostShare, ...] = ()
    found_in_c: float | None = None

    def changed(self, change: Callable[[ParasiteSet], ParasiteSet]) -> Mixture:
        """Return the mixture with each of its kinds changed alike."""
        return replace(self, kinds=MappingProxyType({name: change(kind) for name, kind in self.kinds.items()}))

    def share_on(self, species: Sequence[str]) -> Value | None:
        """Return the share on hosts that all the fish of a pond are; None where they are none of those named."""
        return next((one.share for one in self.hosts if species and all(map(one.named_in, species))), None)

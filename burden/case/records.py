"""What was seen and done on a case: findings, limits, doses, preparations and deaths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from types import MappingProxyType
from typing import Literal

from burden.case.stock import Uncertain

__all__ = [
    "ANAEMIC_BELOW_PERCENT",
    "UNKNOWN_AGENT",
    "WEEKDAYS",
    "Action",
    "DeathRecord",
    "Findings",
    "FishFindings",
    "Limits",
    "Preparation",
]

#: haematocrit below which a bony fish counts as anaemic: from memory, 20 % of 25 to 45 % in health [%]
ANAEMIC_BELOW_PERCENT = 20.0
#: what `Action.agent` says when nobody knows what went in
UNKNOWN_AGENT = "unknown"
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True)
class FishFindings:
    """What the gills of one fish looked like on the visit date; None where nobody looked or said.

    Parameters
    ----------
    fish : str
        Its label.
    gill_colour : str or None
        normal, pale or brown.
    gill_mucus, gill_swollen : bool or None
    """

    fish: str
    gill_colour: str | None = None
    gill_mucus: bool | None = None
    gill_swollen: bool | None = None


@dataclass(frozen=True)
class Findings:
    """What else was seen; None where nobody looked or said.

    Parameters
    ----------
    other : tuple of str
        Ciliates, fungus and the like.
    note : str
        In the vet's own words, shown and never read by the model.
    gasping : bool or None
        Whether fish gasp today.
    gill_colour : str or None
        normal, pale or brown.
    gill_mucus, gill_swollen : bool or None
        Whether the gills are covered in mucus, and whether they are swollen.
    haematocrit_percent : float or None
        Red cells in the blood, the mean of the fish bled [%].
    anaemia : bool or None
        Whether the fish are anaemic, by whatever it was judged.
    fish : tuple of FishFindings
        The same signs of single fish. Where the signs of the stock are not said, they follow from these.
    feeding : str or None
        normal, less or none. Never read by the model: where hundreds of fish feed as usual, a date of trouble alone
        is none.
    ulcers : bool or None
        On record only.
    virus_test : str or None
        sent, negative or positive.
    """

    other: tuple[str, ...] = ()
    note: str = ""
    gasping: bool | None = None
    gill_colour: str | None = None
    gill_mucus: bool | None = None
    gill_swollen: bool | None = None
    haematocrit_percent: float | None = None
    anaemia: bool | None = None
    fish: tuple[FishFindings, ...] = ()
    feeding: str | None = None
    ulcers: bool | None = None
    virus_test: str | None = None

    @property
    def diseases(self) -> tuple[str, ...]:
        """Other findings that stand: a test for a virus that was sent is a suspicion, a negative one ends it."""
        others = tuple(name for name in self.other if name != "virus_suspected")
        suspected = "virus_suspected" in self.other and self.virus_test != "negative"
        return (*others, "virus_suspected") if suspected or self.virus_test in ("sent", "positive") else others

    @property
    def gills_ail(self) -> bool:
        """Whether gills in mucus or swollen, or a lack of blood, make it hard to breathe."""
        return bool(self.anaemic or self.gill_mucus or self.gill_swollen)

    @property
    def anaemic(self) -> bool | None:
        """Whether fish lack blood, by haematocrit, by word or by pale gills; None where nothing says.

        Who writes that they do is believed whatever the haematocrit: a limit recalled from memory denies no vet.
        """
        if self.anaemia:
            return True
        if self.haematocrit_percent is not None:
            return self.haematocrit_percent < ANAEMIC_BELOW_PERCENT
        if self.anaemia is not None:
            return self.anaemia
        return None if self.gill_colour is None else self.gill_colour == "pale"


@dataclass(frozen=True)
class Limits:
    """What can and cannot be done here; None where nobody set a limit.

    Parameters
    ----------
    agents : tuple of str or None
        Agents at hand.
    max_doses : int or None
        Of a course, those given counted.
    visit_days : tuple of str, date or int, or None
        When a dose can go in: weekdays ("monday"), dates, or days after the visit [d].
    shortest_gap_days : float or None
        Between two doses [d].
    max_formalin_mg_l_total : float or None
        Sum over all doses [mg/L of 37 % solution].
    can_heat_to_c : float or None
        [°C].
    spare_tank : bool or None
    tolerable_flukes_per_fish : float or None
        Mean number of flukes a fish that may stay; overrides the evidence.
    strength_percent : mapping of str to float
        Strength of the products at hand, by agent [%].
    first_dose : str or None
        today or tomorrow; None for the usual order, a trial on a few fish today and the pond tomorrow.
    """

    agents: tuple[str, ...] | None = None
    max_doses: int | None = None
    visit_days: tuple[str | date | int, ...] | None = None
    shortest_gap_days: float | None = None
    max_formalin_mg_l_total: float | None = None
    can_heat_to_c: float | None = None
    spare_tank: bool | None = None
    tolerable_flukes_per_fish: float | None = None
    first_dose: Literal["today", "tomorrow"] | None = None
    strength_percent: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Action:
    """Something done, or to be done, to the fish or the water.

    Parameters
    ----------
    date : date
    action : str
        dose, water_change, move_fish, drain_dry or heat.
    agent : str or None
        Name of an agent, or `UNKNOWN_AGENT`; None for what is no dose.
    route : str or None
        bath, in_feed or dip.
    mg_l, mg_per_kg_fish, g_l : float or None
        At most one [mg/L active; formalin: mg of 37 % solution per litre], [mg per kg of fish], [g/L].
    hours : float or None
        How long the fish were in it, or it was in the water [h].
    strength_percent : float or None
        Active share of the product [%].
    volume_l_believed : float or None
        Volume the dose was weighed out for [L].
    water_change_after : float or None
        Share of the water changed afterwards, or by a water_change [-].
    uv_or_carbon_on : bool or None
        Whether UV or carbon went on taking the agent out.
    told_by : str or None
        owner or record.
    batch : str or None
        Number on the pack, for the record.
    product : str or None
        What an agent that counts as `UNKNOWN_AGENT` is called, where it is one that is not to be given against flukes.
    """

    date: date
    action: Literal["dose", "water_change", "move_fish", "drain_dry", "heat"] = "dose"
    agent: str | None = None
    route: Literal["bath", "in_feed", "dip"] | None = None
    mg_l: float | None = None
    mg_per_kg_fish: float | None = None
    g_l: float | None = None
    hours: float | None = None
    strength_percent: float | None = None
    volume_l_believed: float | None = None
    water_change_after: float | None = None
    uv_or_carbon_on: bool | None = None
    told_by: Literal["owner", "record"] | None = None
    batch: str | None = None
    product: str | None = None

    @property
    def concentration_mg_l(self) -> float | None:
        """What was put into the water [mg/L]; None where nobody says, or where it went into the food.

        Examples
        --------
        >>> Action(date(2026, 5, 4), agent="salt", g_l=3.0).concentration_mg_l
        3000.0
        """
        return self.mg_l if self.g_l is None else 1000 * self.g_l


@dataclass(frozen=True)
class Preparation:
    """One slide or piece looked at: a count that may be known between limits only.

    Parameters
    ----------
    date : date
    fish : str
        Label of the fish, its own on one date only.
    chosen : str
        random, netted, moribund or dead.
    site : str
        gill, skin, fin or whole_fish.
    count_low : int
        Flukes seen, at least; the count itself when `count_high` equals it.
    count_high : int or None
        At most; None for "more than".
    readable : bool
        False for a preparation nobody could count: its limits then say nothing.
    method : str or None
        skin_scrape, gill_clip, gill_arch or whole_organ.
    fraction_examined : float or None
        Share of the site looked at [-].
    clip_share : Uncertain or None
        What the case says a clip of gill shows, where the row itself says nothing [-].
    parasite : str or None
        Set the count belongs to; the reader fills it where the case has one set.
    species : str or None
        Species of the fish.
    stage : str or None
        adult or juvenile; None for all together.
    weight_g : float or None
        Of this fish [g].
    lethal : bool or None
        Whether the fish was killed for it.
    hours_dead : float or None
        From death to the look [h].
    """

    date: date
    fish: str
    chosen: Literal["random", "netted", "moribund", "dead"]
    site: Literal["gill", "skin", "fin", "whole_fish"]
    count_low: int = 0
    count_high: int | None = None
    readable: bool = True
    method: Literal["skin_scrape", "gill_clip", "gill_arch", "whole_organ"] | None = None
    fraction_examined: float | None = None
    parasite: str | None = None
    species: str | None = None
    stage: Literal["adult", "juvenile"] | None = None
    weight_g: float | None = None
    lethal: bool | None = None
    hours_dead: float | None = None
    clip_share: Uncertain | None = None

    def with_clip_share(self, share: Uncertain | None) -> Preparation:
        """Return the preparation with what a clip shows, if it is a clip that says nothing of its own."""
        is_clip = self.site == "gill" and self.method in (None, "gill_clip") and self.fraction_examined is None
        return replace(self, clip_share=share) if is_clip else self

    @property
    def exact(self) -> bool:
        """Whether the count is one number."""
        return self.readable and self.count_high == self.count_low


@dataclass(frozen=True)
class DeathRecord:
    """`deaths` found by `date`, over the `days_covered` days that end with it [d]."""

    date: date
    deaths: int
    days_covered: int = 1

"""The water and the fish of a case, and a number that knows its range."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from burden.evidence import Value

__all__ = [
    "ASSUMED_EXCHANGE_PER_DAY",
    "ASSUMED_WEIGHT_G",
    "OPEN_EXCHANGE_PER_DAY",
    "PLAIN_NUMBER_SPREAD",
    "WEIGHT_PER_LENGTH_CUBED",
    "WEIGHT_SPREAD_FROM_LENGTH",
    "Arrival",
    "ConstantTemperature",
    "FishGroup",
    "Outlook",
    "Override",
    "Place",
    "RecordedTemperature",
    "TemperatureSpec",
    "Uncertain",
    "Water",
    "YearlyTemperature",
]

#: exchange from which water counts as running through [1/d]: a convention
OPEN_EXCHANGE_PER_DAY = 1.0
#: share of the water replaced a day where nobody said, by the kind of water; none in others. Assumptions [1/d]
ASSUMED_EXCHANGE_PER_DAY = {"cage": 20.0, "raceway": 24.0}
#: half-width put on a plain number, as a share of it: an assumption
PLAIN_NUMBER_SPREAD = 0.1
#: median, 5 and 95 % points of a fish nobody weighed or measured [g]: an assumption, fingerling to old koi
ASSUMED_WEIGHT_G = (400.0, 50.0, 3000.0)
#: weight = this × length³ [g/mm³], condition factor 2 of a stout cyprinid: an assumption
WEIGHT_PER_LENGTH_CUBED = 2.0e-5
#: half-width put on a weight taken from length, as a share of it: an assumption
WEIGHT_SPREAD_FROM_LENGTH = 0.4


@dataclass(frozen=True)
class Uncertain:
    """A number with its 5 and 95 % points and how it is known.

    Parameters
    ----------
    value, low, high : float
        Median, 5 and 95 % points [unit of the field that holds it].
    how : str
        As whoever gave it worded it; empty where the range is ours.
    assumption : str
        What range of ours it is: plain_number, from_length, nothing_given or group_mean; empty where it was given.

    Examples
    --------
    >>> Uncertain.plain(1000.0).high
    1100.0
    """

    value: float
    low: float
    high: float
    how: str = ""
    assumption: str = ""

    @classmethod
    def plain(cls, value: float, spread: float = PLAIN_NUMBER_SPREAD, assumption: str = "plain_number") -> Uncertain:
        """Give a plain number its range: ± `spread`, a share [-] of the number."""
        edges = (round(value * (1 - spread), 9), round(value * (1 + spread), 9))
        return cls(value, *edges, assumption=assumption)

    @property
    def assumed(self) -> bool:
        """Whether the range is our assumption."""
        return self.assumption != ""


@dataclass(frozen=True)
class ConstantTemperature:
    """One temperature all the time, `temperature_c` [°C]."""

    temperature_c: float


@dataclass(frozen=True)
class YearlyTemperature:
    """A yearly cosine, `mean_c` ± `swing_c` [°C], highest on `warmest_day` (month, day)."""

    mean_c: float
    swing_c: float
    warmest_day: tuple[int, int]

    def days_since_warmest(self, day: date) -> int:
        """Days from the warmest of a day's year, before it below 0; 29 February stands in every year [d]."""
        month, number = self.warmest_day
        there = min(number, 28)
        return (day - day.replace(month=month, day=there)).days - (number - there)


@dataclass(frozen=True)
class RecordedTemperature:
    """A record: `times` in rising order and `temperatures_c` [°C], both of shape (n,).

    A row with a date only stands for the noon of that date.
    """

    times: tuple[datetime, ...]
    temperatures_c: tuple[float, ...]


@dataclass(frozen=True)
class Place:
    """Where the water lies, outdoors: `latitude` [degrees], negative south of the equator."""

    latitude: float


#: what the water's temperature will do after the last reading, as the case says
Outlook = Literal["indoors", "heated"] | Place | YearlyTemperature
TemperatureSpec = ConstantTemperature | YearlyTemperature | RecordedTemperature


@dataclass(frozen=True)
class Water:
    """The water the fish are in; None where nobody measured.

    Parameters
    ----------
    volume_l : Uncertain
        All the water: filter, sump and pipes included [L].
    medium : str
        fresh or sea.
    temperature : TemperatureSpec
    exchange_per_day : float
        Share of the water replaced a day [1/d].
    egg_removal_per_day : float
        Rate at which cleaning and a mechanical filter carry eggs off [1/d].
    oxygen_mg_l, salinity_g_l, ph, alkalinity_mg_l_caco3, total_ammonia_n_mg_l, nitrite_n_mg_l : float or None
        [mg/L], [g/L], [-], [mg/L as CaCO3], [mg/L as N], [mg/L as N].
    chloride_mg_l : float or None
        [mg/L].
    tap_chlorine_mg_l : float or None
        Free chlorine of the water filled in; on record, never read by the model [mg/L].
    filter : str or None
        none, naive (never met the agent) or adapted.
    uv, aeration : bool or None
    kind : str or None
        pond, tank, raceway or cage.
    neighbours : str or None
        Fish with the same flukes upstream or near in the same water: none, some or many.
    outlook : str, Place, YearlyTemperature or None
        What the temperature does after the last reading: indoors or heated, no season moves it; a place outdoors; a
        yearly course; None where nobody says.
    """

    volume_l: Uncertain
    medium: Literal["fresh", "sea"]
    temperature: TemperatureSpec
    exchange_per_day: float = 0.0
    egg_removal_per_day: float = 0.0
    oxygen_mg_l: float | None = None
    salinity_g_l: float | None = None
    ph: float | None = None
    alkalinity_mg_l_caco3: float | None = None
    total_ammonia_n_mg_l: float | None = None
    nitrite_n_mg_l: float | None = None
    chloride_mg_l: float | None = None
    tap_chlorine_mg_l: float | None = None
    filter: Literal["none", "naive", "adapted"] | None = None
    uv: bool | None = None
    aeration: bool | None = None
    outlook: Outlook | None = None
    kind: Literal["pond", "tank", "raceway", "cage"] | None = None
    neighbours: Literal["none", "some", "many"] | None = None

    @property
    def is_open(self) -> bool:
        """Whether water runs through and may bring flukes: a cage, a raceway, or all of it changed a day."""
        return self.kind in ("cage", "raceway") or self.exchange_per_day >= OPEN_EXCHANGE_PER_DAY

    @property
    def outlook_known(self) -> bool:
        """Whether the case says what the temperature will do: by a yearly course, or by where the water is."""
        return self.outlook is not None or isinstance(self.temperature, YearlyTemperature)


@dataclass(frozen=True)
class Arrival:
    """Fish that came, or are to come.

    Parameters
    ----------
    date : date
    count : int
    flukes_seen, preparations : int or None
        Flukes on so many preparations, of a fish each, as they came and before any treatment; None: nobody looked.
    treated : bool or None
        Whether they were treated against flukes on arrival; None: nobody says, and no treatment is taken.
    naive : bool or None
        Whether they had never met the fluke, so that none is resistant; None: nobody says, and either may be.
    """

    date: date
    count: int
    flukes_seen: int | None = None
    preparations: int | None = None
    treated: bool | None = None
    naive: bool | None = None


#: fish so light are fry: common practice, no source [g]
_FRY_G = 1.0


@dataclass(frozen=True)
class FishGroup:
    """Fish of one species.

    Parameters
    ----------
    species : str
    count : int
        Alive on the visit date, arrivals up to it included.
    food_fish : bool
    mean_weight_g : Uncertain or None
        As given [g]; `weight_g` is what to reckon with.
    length_mm : float or None
        Mean length [mm].
    new_arrivals : tuple of Arrival
        Those after the visit are not in `count` yet.
    lethal_sampling_allowed : int or None
        How many fish may be killed to look at [-]; None where nobody said.
    naive : bool or None
        Whether the fish that were here first had never met the fluke; None: nobody says, and they are taken to have.
    newcomers_apart : bool or None
        Whether these are bought-in fish, held apart until they may join others.
    harvest_date : date or None
        When food fish are to be harvested.
    """

    species: str
    count: int
    food_fish: bool
    mean_weight_g: Uncertain | None = None
    length_mm: float | None = None
    new_arrivals: tuple[Arrival, ...] = ()
    lethal_sampling_allowed: int | None = None
    naive: bool | None = None
    newcomers_apart: bool | None = None
    harvest_date: date | None = None

    @property
    def kind(self) -> str:
        """Species, named as fry where the fish are as small as fry: what an agent may do to them hangs on it."""
        is_fry = self.weight_g.value < _FRY_G and "fry" not in self.species.lower()
        return f"{self.species} fry" if is_fry else self.species

    @property
    def weight_g(self) -> Uncertain:
        """Mean weight [g]: as given, else from the length, else a wide assumption."""
        if self.mean_weight_g is not None:
            return self.mean_weight_g
        if self.length_mm is not None:
            weight = WEIGHT_PER_LENGTH_CUBED * self.length_mm**3
            return Uncertain.plain(weight, WEIGHT_SPREAD_FROM_LENGTH, "from_length")
        return Uncertain(*ASSUMED_WEIGHT_G, assumption="nothing_given")


@dataclass(frozen=True)
class Override:
    """A value of the parasite set the case knows better.

    Parameters
    ----------
    name : str
        Name of the value in the evidence.
    value, low, high : float
        Median, 5 and 95 % points [unit of the evidence's value].
    source : str
        Where it is from, in words.
    """

    name: str
    value: float
    low: float
    high: float
    source: str

    def applied_to(self, value: Value) -> Value:
        """Return the evidence's value with the case's own numbers; unit and scale stay."""
        return replace(
            value,
            value=self.value,
            low=self.low,
            high=self.high,
            known="assumption",  # an owner's figure, held to no publication
            sources=(),
            conditions=f"the case's own figure: {self.source}",
            borrowed_from=None,
            least=None,
            most=None,
        )

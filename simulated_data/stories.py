"""What is true of each invented case, and what its visitor wrote in case.toml."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from analysis.individuals import Dose
from analysis.samples import Look
from burden.evidence import load_agent
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import establishment_for
from burden.model.temperature import Temperature
from burden.treatment.bath import bath_effect, loss_draws
from burden.treatment.efficacy_fit import draw_kill

__all__ = ["STORIES", "Bath", "Sampling", "Story"]

#: draws of which one is the truth
_DRAWS = 64


@dataclass(frozen=True)
class Bath:
    """A bath of praziquantel that was given: when [d], how strong in truth [mg/L], how long [h]."""

    day: int
    mg_l: float
    hours: float


@dataclass(frozen=True)
class Sampling:
    """Fish taken on one day: how many, chosen how, looked at how, and what was written down besides the counts."""

    day: int
    fish: int
    chosen: str
    looks: Sequence[Look]
    lethal: bool = False
    weighed: bool = False
    share_written: bool = False


@dataclass(frozen=True)
class Story:
    """One invented case.

    Parameters
    ----------
    name : str
    seed, draw, luck : int
        Seed of the parameters, which draw of them is true, and seed of everything that happens.
    set_by_hand : mapping of str to float
        Values of the truth that replace the draw's.
    visit : date
    start_day, start_per_gram : int, float
        First day simulated [d], and adults per gram of fish on it [1/g].
    fish, weight_g, weight_cv : int, float, float
        Alive at the start, their mean weight [g] and its coefficient of variation.
    litres : float
        In truth [L].
    course : Temperature
    case_toml : str
        With <<count>> where the number of fish alive on the visit goes.
    samplings : sequence of Sampling
    watched_since : int
        First row of the death log [d].
    logger : int or None
        First day of temperature.csv, a reading a day; None: no such file [d].
    """

    name: str
    seed: int
    draw: int
    luck: int
    set_by_hand: Mapping[str, float]
    visit: date
    start_day: int
    start_per_gram: float
    fish: int
    weight_g: float
    weight_cv: float
    litres: float
    course: Temperature
    case_toml: str
    samplings: Sequence[Sampling]
    watched_since: int
    exchange_per_day: float = 0.0
    filter_kind: str = "naive"
    baths: Sequence[Bath] = ()
    logger: int | None = None
    remarks: Sequence[str] = field(default=())

    @property
    def volume_m3(self) -> float:
        """True volume [m³]."""
        return self.litres / 1000

    def parameters(self) -> Parameters:
        """Return the true values, one draw."""
        drawn = draw_parameters("dactylogyrus", _DRAWS, self.seed).replaced(**self.set_by_hand)
        return establishment_for(drawn, self.fish / self.volume_m3).take(np.array([self.draw]))

    def doses(self) -> list[Dose]:
        """Return what the baths did in truth."""
        agent = load_agent("praziquantel")
        killed = draw_kill(agent, _DRAWS, self.seed)
        loss = loss_draws(agent, self.filter_kind, _DRAWS, self.seed) + self.exchange_per_day
        pick = np.array([self.draw])
        return [Dose(b.day, bath_effect(killed, b.mg_l, b.hours, loss).take(pick)) for b in self.baths]


def _readings(first: int, last: int, at: Mapping[int, float], wobble_c: float, seed: int) -> Temperature:
    """Daily temperatures that wander about straight lines through the days given, to a tenth of a degree."""
    rng = np.random.default_rng(seed)
    days = np.arange(first, last + 1)
    wander, noise = 0.0, []
    for _ in days:
        wander = 0.7 * wander + wobble_c * rng.standard_normal()
        noise.append(wander)
    return Temperature.linear(days, np.round(np.interp(days, list(at), list(at.values())) + noise, 1))


#: how flukes are seen in all the stories: share on the gills, clumping of a part-count, chance to be counted
_SEEN = {"gill_share": 0.97, "part_shape": 1.0, "detection_per_fluke": 0.9}


def _look(site: str, method: str, share: float) -> Look:
    on_site = _SEEN["gill_share"] if site == "gill" else 1 - _SEEN["gill_share"]
    return Look(site, method, share, on_site, _SEEN["part_shape"], _SEEN["detection_per_fluke"])


def _koi_pond() -> Story:
    clip, scrape = _look("gill", "gill_clip", 0.001), _look("skin", "skin_scrape", 0.01)
    return Story(
        name="koi_pond",
        seed=7,
        draw=1,
        luck=6,
        set_by_hand={
            "reproduction_number": 6.0,
            "hazard_per_burden": 1.0e-3,
            "burden_scale": 2.5,
            "resistance_half_burden": 2.5,
            "resistance_gain_degree_days": 550.0,
            "fecundity": 15.0,
            "aggregation": 1.6,
            **_SEEN,
        },
        visit=date(2026, 5, 10),
        start_day=-80,
        start_per_gram=2.0,
        fish=32,
        weight_g=1200.0,
        weight_cv=0.3,
        litres=18_000.0,
        course=_readings(-80, 30, {-80: 10.5, -42: 13.0, 0: 19.0, 30: 21.5}, 0.25, 3),
        case_toml=_KOI_POND,
        samplings=(
            Sampling(0, 2, "moribund", (clip, scrape)),
            Sampling(0, 2, "netted", (clip,)),
        ),
        watched_since=-42,
        exchange_per_day=0.02,
        baths=(Bath(-12, 2.5 * 15_000 / 18_000, 48.0),),
        logger=-42,
        remarks=(
            "The owner reckoned with 15 000 L, so his 2.5 mg/L were 2.1 mg/L. It killed most; what hatched and matured",
            "since is what the fish carry now.",
        ),
    )


_KOI_POND = """\
# An invented case, made by simulated_data/make.py; nobody and no pond is real. The truth is in truth.toml.
# Koi die one at a time in a warming spring. The owner has dosed once, a little short, twelve days ago.

[case]
visit_date = 2026-05-10            # the date of decision
title = "Koi pond behind the mill"
trouble_since = 2026-04-04         # the first fish flashing and hanging at the inlet

[water]                            # the volume is from the meter at the last filling, filter and pipes included
volume_l = { value = 18000, low = 17000, high = 19000, how = "water meter at filling" }
medium = "fresh"
temperature_c = "temperature.csv"  # one reading a day since the end of March
outlook = { latitude = 51 }        # outdoors, so it follows the season
exchange_per_day = 0.02            # trickled in to top up
oxygen_mg_l = 8.2
ph = 7.8
alkalinity_dkh = 7
total_ammonia_n_mg_l = 0.1
nitrite_n_mg_l = 0.03
filter = "naive"                   # a moving-bed filter that had not met praziquantel before April
uv = "no"                          # the lamp burnt out over winter
aeration = "yes"

[fish]
species = "koi"
count = <<count>>                         # counted on the visit date
food_fish = "no"
mean_weight_g = { value = 1200, low = 1000, high = 1450, how = "five weighed, the others judged by eye" }
lethal_sampling_allowed = 0

[parasite]
set = "dactylogyrus"

[findings]
note = "gills of both sick fish pale at the tips, some mucus; nothing else moved on the slides"

[limits]
agents = ["praziquantel", "formalin"]
max_doses = 4
visit_days = ["monday", "wednesday", "friday", "saturday", "sunday"]
shortest_gap_days = 3
max_formalin_mg_l_total = 60
spare_tank = "no"

[[given]]                          # what the owner did: weighed out for the 15 000 L he believed in
date = 2026-04-28
action = "dose"
agent = "praziquantel"
route = "bath"
mg_l = 2.5
hours = 48
volume_l_believed = 15000
uv_or_carbon_on = "no"             # no carbon in the filter, he says
told_by = "owner"
"""


def _quarantine_tank() -> Story:
    clip, organ = _look("gill", "gill_clip", 0.02), _look("gill", "whole_organ", 1.0)
    return Story(
        name="quarantine_tank",
        seed=7,
        draw=1,
        luck=3,
        set_by_hand={
            "reproduction_number": 14.0,
            "hazard_per_burden": 9.0e-4,
            "burden_scale": 3.0,
            "resistance_half_burden": 3.0,
            "fecundity": 15.0,
            "aggregation": 1.3,
            **_SEEN,
        },
        visit=date(2026, 7, 8),
        start_day=-19,
        start_per_gram=3.5,
        fish=132,
        weight_g=8.0,
        weight_cv=0.25,
        litres=800.0,
        course=_readings(-19, 30, {-19: 25.0, 30: 25.0}, 0.15, 4),
        case_toml=_QUARANTINE_TANK,
        samplings=(
            Sampling(-5, 3, "netted", (clip,), share_written=True),
            Sampling(0, 4, "netted", (clip,), share_written=True),
            Sampling(0, 1, "moribund", (organ,), lethal=True, weighed=True),
            Sampling(0, 1, "moribund", (clip,), share_written=True),
        ),
        watched_since=-18,
        exchange_per_day=0.1,
        filter_kind="adapted",
        remarks=("The flukes came in with the fish and found them close together.",),
    )


_QUARANTINE_TANK = """\
# An invented case, made by simulated_data/make.py; nobody and no tank is real. The truth is in truth.toml.
# Young carp just bought in, close together in warm water, die one at a time.

[case]
visit_date = 2026-07-08            # the date of decision
title = "Quarantine tank, young carp of June"
trouble_since = 2026-06-23

[water]
volume_l = 800                     # tank and filter together
medium = "fresh"
temperature_c = 25.0               # held by a heater
outlook = "heated"
exchange_per_day = 0.1
oxygen_mg_l = 6.8
ph = 7.4
alkalinity_dkh = 5
total_ammonia_n_mg_l = 0.4
nitrite_n_mg_l = 0.1
filter = "adapted"                 # every newcomer of the last years was dosed in this tank
uv = "no"
aeration = "yes"

[fish]
species = "common carp"
count = <<count>>                        # alive on the visit date, the one killed for the look left out
food_fish = "no"
mean_weight_g = { value = 8, low = 7, high = 9, how = "fifty weighed together" }
new_arrivals = [{ date = 2026-06-19, count = 132 }]
lethal_sampling_allowed = 3

[parasite]
set = "dactylogyrus"

[findings]
other = ["ciliates"]               # a few on two of the clips
note = "gills swollen, fish at the surface in the morning"

[limits]
agents = ["praziquantel", "formalin"]
max_doses = 5
shortest_gap_days = 2
max_formalin_mg_l_total = 75
can_heat_to_c = 28
spare_tank = "yes"

[[planned]]                        # what the keeper has in mind
date = 2026-07-08
agent = "praziquantel"
route = "bath"
mg_l = 5
hours = 24

[[planned]]
date = 2026-07-15
agent = "praziquantel"
route = "bath"
mg_l = 5
hours = 24
"""


def _estate_pond() -> Story:
    clip = _look("gill", "gill_clip", 0.0008)
    yearly = {day: 10.5 + 7.5 * float(np.cos(2 * np.pi * (day - 88) / 365.25)) for day in range(-75, 31, 5)}
    return Story(
        name="estate_pond",
        seed=7,
        draw=1,
        luck=1,
        set_by_hand={
            "reproduction_number": 2.5,
            "hazard_per_burden": 9.0e-4,
            "burden_scale": 3.0,
            "resistance_half_burden": 3.0,
            "fecundity": 15.0,
            "contact_rate": 6.0,
            "contact_half_density": 2.0,
            "aggregation": 1.0,
            **_SEEN,
        },
        visit=date(2026, 4, 28),
        start_day=-75,
        start_per_gram=5.0,
        fish=45,
        weight_g=2500.0,
        weight_cv=0.35,
        litres=430_000.0,
        course=_readings(-75, 30, yearly, 0.3, 5),
        case_toml=_ESTATE_POND,
        samplings=(Sampling(0, 1, "moribund", (clip, clip)), Sampling(0, 1, "netted", (clip, clip))),
        watched_since=-45,
        exchange_per_day=0.03,
        filter_kind="none",
        remarks=("The flukes wintered on the fish and lay again; the first eggs of the spring have begun to hatch.",),
    )


_ESTATE_POND = """\
# An invented case, made by simulated_data/make.py; nobody and no pond is real. The truth is in truth.toml.
# Old carp of a cold pond die one by one in spring. Two fish could be had.

[case]
visit_date = 2026-04-28            # the date of decision
title = "Lower pond of the estate"
trouble_since = 2026-03-14

[water]
volume_l = { value = 400000, low = 300000, high = 520000, how = "paced out, depth sounded at five places" }
medium = "fresh"
temperature_c = { mean_c = 10.5, swing_c = 7.5, warmest_day = "07-25" }   # the steward's figures; 11 °C at the visit
exchange_per_day = 0.03            # a spring runs in and out
oxygen_mg_l = 10.1
ph = 7.2
alkalinity_mg_l_caco3 = 60
filter = "none"

[fish]
species = "common carp"
count = <<count>>                         # netted last autumn, less the dead found since
food_fish = "yes"                  # a few are eaten at Christmas
mean_weight_g = { value = 2500, low = 1800, high = 3300, how = "judged by eye from the bank" }
lethal_sampling_allowed = 1

[parasite]
set = "dactylogyrus"

[findings]
note = "no spots, no fungus; fish hang where the spring comes in"

[limits]
agents = ["praziquantel", "formalin"]
max_doses = 3
visit_days = ["tuesday", "saturday"]
shortest_gap_days = 7
spare_tank = "no"
"""


STORIES: Mapping[str, Callable[[], Story]] = {
    "koi_pond": _koi_pond,
    "quarantine_tank": _quarantine_tank,
    "estate_pond": _estate_pond,
}

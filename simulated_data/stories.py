"""What is true of each invented case, and what its visitor wrote in case.toml."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from analysis.individuals import Dose
from analysis.samples import Look
from burden.bath import bath_effect, loss_draws
from burden.evidence import load_agent
from burden.lifecycle import Parameters, draw_parameters, establishment_for
from burden.treatment import draw_kill
from burden.water import Temperature

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


def _koi_pond() -> Story:
    clip = Look("gill", "gill_clip", share=0.001, site_share=0.97, shape=1.0, detection=0.9)
    scrape = Look("skin", "skin_scrape", share=0.01, site_share=0.03, shape=1.0, detection=0.9)
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
exchange_per_day = 0.02            # trickled in to top up
oxygen_mg_l = 8.2
ph = 7.8
alkalinity_dkh = 7
total_ammonia_n_mg_l = 0.1
nitrite_n_mg_l = 0.03
filter = "naive"                   # a moving-bed filter that had not met praziquantel before April
uv = "yes"
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
uv_or_carbon_on = "no"             # UV off for the two days, he says
told_by = "owner"
"""


STORIES: Mapping[str, Callable[[], Story]] = {"koi_pond": _koi_pond}

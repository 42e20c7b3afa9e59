"""Simulated visits: what the estimate is given, and what is true.

Two ways to make one. `simulate_visit` draws pond, fish, flukes and counts as whole numbers by the prior of the
estimate itself, so that the estimate should be right. `watch_visit` runs the whole-fluke simulator, a wrong model on
purpose: the record begins ten days before anybody looks, fish differ in weight, take settlers and crowd each other one
by one, some die unseen, and the sick are those in danger of death rather than those with many flukes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import product

import numpy as np

from analysis.individuals import Dose, Ponds, Record, Start, draw_start, draw_stock, run_ponds
from analysis.samples import Look, take_samples
from burden.case import Action, Case, ConstantTemperature, FishGroup, Preparation, Uncertain, Water
from burden.inference.arrivals import PRIOR_NONE
from burden.inference.history import run_past
from burden.inference.observation_parameters import ObservationParameters, draw_seen, share_examined
from burden.inference.prior import Ensemble, draw_pond
from burden.model.temperature import Temperature

__all__ = [
    "FISH",
    "KINDS",
    "MAKERS",
    "PARASITE",
    "VISIT",
    "Kind",
    "Visit",
    "empty_case",
    "simulate_visit",
    "watch_visit",
]

VISIT, PARASITE, FISH = date(2026, 5, 10), "dactylogyrus", 60
#: before anybody looked at a pond that was not dosed, the whole-fluke simulator runs so long [d]
_UNSEEN_DAYS = 10
#: step of the whole-fluke simulator [d], and how much fish differ in weight
_STEP_DAYS, _WEIGHT_CV = 0.1, 0.3


@dataclass(frozen=True)
class Kind:
    """Visits of one kind: how many fish, chosen how, how many clips of each, and the day of a dose before it.

    Of `whole` of the fish all gills are counted too; only `simulate_visit` has that.
    """

    fish: int
    chosen: str = "random"
    clips: int = 1
    dose_day: int | None = None
    whole: int = 0

    @property
    def name(self) -> str:
        """What the table calls it."""
        dosed = "" if self.dose_day is None else f", dosed {-self.dose_day} d before"
        whole = f", all gills of {self.whole}" if self.whole else ""
        return f"{self.fish} {self.chosen}{dosed}{whole}"

    @property
    def days(self) -> tuple[int, ...]:
        """Days on which fish are looked at [d]."""
        return (0,) if self.dose_day is None else (self.dose_day, 0)


#: one fish is looked at by three clips, more by one each
KINDS = tuple(
    Kind(fish, chosen, 3 if fish == 1 else 1, dosed)
    for dosed, chosen, fish in product((None, -8), ("random", "moribund"), (1, 5, 20))
)


@dataclass(frozen=True)
class Visit:
    """A visit as the estimate sees it, and what is true: flukes on all living fish."""

    case: Case
    flukes: int
    kind: Kind


def empty_case(kind: Kind) -> Case:
    """Return the case of a kind before anybody looked."""
    water = Water(Uncertain(12_000.0, 9_000.0, 16_000.0, "paced"), "fresh", ConstantTemperature(18.0), 0.02)
    fish = FishGroup("common carp", FISH, False, Uncertain(400.0, 300.0, 540.0, "judged"))
    bath = {"agent": "praziquantel", "route": "bath", "mg_l": 4.0, "hours": 24.0}
    given = () if kind.dose_day is None else (Action(VISIT + timedelta(days=kind.dose_day), **bath),)
    return Case("simulated", VISIT, water, (fish,), (PARASITE,), given=given)


def _rows(kind: Kind, day: int) -> list[Preparation]:
    when = VISIT + timedelta(days=day)
    labels = [str(fish) for fish in range(1, kind.fish + 1) for _ in range(kind.clips)]
    clips = [Preparation(when, label, kind.chosen, "gill", 0, 0, method="gill_clip") for label in labels]
    whole = [replace(clips[i * kind.clips], method="whole_organ") for i in range(kind.whole)]
    return [*clips, *whole]


def simulate_visit(kind: Kind, seed: int, ranks: Mapping[str, np.ndarray] | None = None) -> Visit:
    """Draw a pond from the prior and look at some of its fish, on the day of the dose too where there was one.

    `ranks` holds the streams that were drawn elsewhere, each of shape (1,), as ponds of one group have them.
    """
    rng, case = np.random.default_rng([seed, 71]), empty_case(kind)
    rows = [row for day in kind.days for row in _rows(kind, day)]
    past = run_past(replace(case, samples=tuple(rows)), PARASITE, 1, seed, ranks)
    parameters, weight = past.pond.setting.parameters, past.pond.setting.fish.weight_g.mean(0)
    seen, k = past.seen, float(parameters["aggregation"][0])
    carries = rng.random() >= PRIOR_NONE
    counted, flukes = [], 0
    for day in kind.days:
        mean = float(past.by_day[float(day)]["all"][0]) * carries
        rates = rng.gamma(k, 1 / k, FISH) * mean
        burden = rng.poisson(rates)
        selection_bias = float(seen.selection_bias[0]) if kind.chosen == "moribund" else 0.0
        chance = (rates + 1e-12) ** selection_bias
        places = rng.choice(FISH, kind.fish, replace=False, p=chance / chance.sum())
        for row in _rows(kind, day):
            share, a = float(share_examined(row, seen, weight)[0]), float(seen.part_shape[0])
            there = rng.binomial(burden[places[int(row.fish) - 1]], seen.site_share[0])
            part = rng.beta(a, a * (1 - share) / share) if share < 1 else 1.0
            count = int(rng.binomial(there, part * seen.detection[0]))
            counted.append(replace(row, count_low=count, count_high=count))
        flukes = int(burden.sum())
    return Visit(replace(case, samples=tuple(counted)), flukes, kind)


def watch_visit(kind: Kind, seed: int) -> Visit:
    """Run a pond of whole flukes, its numbers drawn from the prior, and look at some of its fish."""
    rng, case = np.random.default_rng([seed, 73]), empty_case(kind)
    pond = draw_pond(case, PARASITE, 1, seed)
    first = -_UNSEEN_DAYS if kind.dose_day is None else kind.dose_day
    ponds, start = _whole(rng, case, pond, first, carries=rng.random() >= PRIOR_NONE)
    # what is seen on the day of a dose is seen before it
    after = [Dose(first + _STEP_DAYS, event.effect) for event in pond.given if event.effect is not None]
    record = run_ponds(ponds, start, sorted({first, *kind.days}), after, seed=seed, step_days=_STEP_DAYS)
    seen, look = draw_seen(pond.setting.parameters.evidence, 1, seed), None
    counted: list[Preparation] = []
    for day in kind.days:
        rows, i = _rows(kind, day), int(np.flatnonzero(record.days == day)[0])
        look = look or _look_of(rows[0], kind, seen, pond.setting.fish.weight_g.mean(0))
        fish = min(kind.fish, int(record.alive[i, 0].sum()))
        found = take_samples(record, i, rng, fish, look, kind.chosen)
        counted += [
            replace(row, count_low=int(f["count"]), count_high=int(f["count"]))
            for row, f in zip(rows, found, strict=False)
        ]
    alive = int(record.alive[-1, 0].sum())
    group = replace(case.fish[0], count=alive)
    return Visit(replace(case, fish=(group,), samples=tuple(counted)), _on_the_living(record), kind)


def _whole(rng: np.random.Generator, case: Case, pond: Ensemble, first: int, *, carries: bool) -> tuple[Ponds, Start]:
    """A pond of whole fish in the state a draw of the prior begins in."""
    setting, parameters = pond.setting, pond.setting.parameters
    weight_g = float(setting.fish.weight_g.mean())
    stock = draw_stock(rng, 1, FISH, weight_g, float(parameters["aggregation"][0]), _WEIGHT_CV)
    temperature = Temperature.constant(float(np.mean(setting.temperature.at(float(first)))))
    ponds = Ponds(setting.cycle, parameters, stock, float(np.mean(setting.volume_m3)), temperature,
                  case.water.exchange_per_day or 0.0)  # fmt: skip
    past = run_past(case, PARASITE, 1, pond.seed)
    state = pond.start(past.abundance_then * carries, np.array([float(FISH)]), first, rng.random(1))
    totals = {form: chain[:, 0] for form, chain in state.water.items()}
    totals |= {form: chain[:, 0, 0] * FISH for form, chain in state.fish.items()}
    return ponds, replace(draw_start(rng, ponds, totals), resistance=float(state.resistance[0]))


def _look_of(row: Preparation, kind: Kind, seen: ObservationParameters, weight_g: np.ndarray) -> Look:
    share = float(share_examined(row, seen, weight_g)[0])
    chances = (seen.site_share, seen.part_shape, seen.detection)
    return Look("gill", "gill_clip", share, *(float(x[0]) for x in chances), preparations=kind.clips)


def _on_the_living(record: Record) -> int:
    """Flukes on living fish at the end."""
    return int(sum(burden[-1, 0][record.alive[-1, 0]].sum() for burden in record.burden.values()))


#: by the model of the estimate itself, and by the whole-fluke simulator
MAKERS: Mapping[str, Callable[[Kind, int], Visit]] = {"own": simulate_visit, "whole_flukes": watch_visit}

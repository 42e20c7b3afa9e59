"""Whole-fluke ponds visited again and again, for `analysis/closed_loop.py`: what is true, and what a case says.

The ponds are not those the model expects. `SETTINGS` says how far: fish die of fewer flukes, flukes multiply faster,
crowding and resistance brake them less, burdens differ more from fish to fish. Eggs hatch and young mature with a
spread of their own, adults live by another law, in a quarter of the ponds flukes bear praziquantel better, doses are
weighed out for a volume that is somewhat wrong, weather is not the thermometer's. One pond in six has no fluke at all,
and fish that die of something else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cached_property
from pathlib import Path

import numpy as np

from analysis.individuals import Dose, Ponds, Record, Start, draw_stock, run_ponds
from analysis.samples import Look, pick_fish, take_samples
from analysis.visited import FIRST_DAY, PARASITE, look_of, start_of, weakened
from burden.case import (
    Action,
    Case,
    DeathRecord,
    FishGroup,
    Override,
    Place,
    Preparation,
    RecordedTemperature,
    Uncertain,
    Water,
)
from burden.inference.other_cause import OTHER_CAUSE, other_cause_rates
from burden.inference.prior import draw_pond
from burden.model.dose_effect import DoseEffect
from burden.model.hosts import death_rates
from burden.model.lifecycle.transitions import build_cycle
from burden.model.temperature import Temperature
from burden.model.temperature_outlook import of_latitude

__all__ = ["EVERY_DAYS", "LAST_DAY", "SETTINGS", "TOLERABLE_PER_G", "Followed", "draw_followed", "write_folder"]

#: days between two visits, and the day on which the pond is judged [d]
EVERY_DAYS, LAST_DAY = 14, 120
#: mean burden that may stay: the middle of the evidence's own range [flukes per gram]
TOLERABLE_PER_G = 0.3
#: what is true of these ponds: median, 5 and 95 % points; the model's own medians are 2.45, 3e-4, 1.6, 1, 400 and 0.25
SETTINGS = {
    "reproduction_number": (4.0, 1.2, 13.0),
    "hazard_per_burden": (8e-4, 1e-4, 6e-3),
    "aggregation": (0.7, 0.25, 2.0),
    "burden_scale": (2.0, 0.7, 6.0),
    "resistance_gain_degree_days": (800.0, 400.0, 1600.0),
    "abundance": (0.4, 0.03, 5.0),
}
#: share of ponds without flukes, of those outdoors, and of those whose flukes bear praziquantel better
_CLEAN, _OUTDOORS, _HARDY = 1 / 6, 2 / 3, 1 / 4
_STEP, _DOSE_HOUR, _WEIGHT_CV = 0.1, 0.3, 0.2
_FIRST_VISITS = (date(2026, 4, 1), 105)


@dataclass(frozen=True)
class Followed:
    """A pond that is lived through again for every way of treating it, with the same luck.

    Parameters
    ----------
    seed : int
    clean : bool
        Whether no fluke ever was in it.
    case : Case
        What is known of it without looking at a fish, on the day of the first visit.
    ponds, start
        What a run is given.
    effects : mapping of str to DoseEffect
        What a customary bath of each agent truly does.
    look : Look
    readings : (numpy.ndarray, numpy.ndarray)
        Days and what the thermometer said.
    """

    seed: int
    clean: bool
    case: Case
    ponds: Ponds
    start: Start
    effects: dict[str, DoseEffect]
    look: Look
    readings: tuple[np.ndarray, np.ndarray]

    def lived(self, given: Sequence[Action]) -> Record:
        """Run from the first day of the record to the last, with these doses; recorded every day, before its dose."""
        return self._run(given) if given else self._untreated

    @cached_property
    def _untreated(self) -> Record:
        return self._run(())

    def _run(self, given: Sequence[Action]) -> Record:
        days = np.arange(FIRST_DAY, LAST_DAY + 1.0)
        doses = [Dose(self.day_of(a.date) + _DOSE_HOUR, self.effects[str(a.agent)]) for a in given]
        return run_ponds(self.ponds, self.start, days, doses, seed=self.seed, step_days=_STEP)

    def day_of(self, when: date) -> int:
        """Days from the first visit [d]."""
        return (when - self.case.visit_date).days

    def case_on(self, day: int, record: Record, given: Sequence[Action], samples: Sequence[Preparation]) -> Case:
        """Write down what a visitor knows on a day of the record."""
        visit = self.case.visit_date + timedelta(day)
        water = replace(self.case.water, temperature=_read(self.case.visit_date, *self.readings, day))
        group = replace(self.case.fish[0], count=int(record.alive[day - FIRST_DAY, 0].sum()))
        return replace(
            self.case,
            visit_date=visit,
            water=water,
            fish=(group,),
            given=tuple(given),
            samples=tuple(samples),
            deaths=self._log(day, record),
        )

    def _log(self, day: int, record: Record) -> tuple[DeathRecord, ...]:
        """Fish found dead, a row a week, from a first day on which none was."""
        gone, first = record.death_day[0], self.case.visit_date
        rows = [DeathRecord(first + timedelta(FIRST_DAY), 0, 1)]
        for end in range(FIRST_DAY + 7, day + 1, 7):
            dead = int(((gone > end - 7) & (gone <= end)).sum())
            rows.append(DeathRecord(first + timedelta(end), dead, 7))
        return tuple(rows)

    def looked_at(
        self, day: int, record: Record, fish: int | None = None, before: Sequence[Preparation] = ()
    ) -> tuple[Preparation, ...]:
        """Return a gill clip of each of a few fish: three to six of them, sick ones at a third of the visits.

        Parameters
        ----------
        day : int
        record : Record
        fish : int, optional
            So many, taken at random, beside those looked at `before` on this day.
        before : sequence of Preparation
        """
        rng = np.random.default_rng([self.seed, day - FIRST_DAY, 77, fish is not None])
        i, there = day - FIRST_DAY, int(record.alive[day - FIRST_DAY, 0].sum())
        chosen = "moribund" if fish is None and rng.random() < 1 / 3 else "random"
        number = int(rng.integers(3, 7)) if fish is None else fish
        apart = tuple(int(row.fish) for row in before)
        places = pick_fish(record, i, rng, min(number, there - len(apart)), chosen, apart_from=apart)
        found = take_samples(record, i, rng, places, self.look, chosen)
        visit = self.case.visit_date + timedelta(day)
        return tuple(
            Preparation(visit, str(row["fish"]), chosen, "gill", row["count"], row["count"], method="gill_clip")
            for row in found
        )

    # --- the truth ------------------------------------------------------------------------------------------------
    def per_gram(self, record: Record) -> np.ndarray:
        """Mean over live fish of flukes per gram, each day; NaN without fish."""
        mean_weight = self.ponds.stock.weight_g[0]
        alive = record.alive[:, 0]
        flukes = sum(burden[:, 0] for burden in record.burden.values()) * alive
        there = alive.sum(1)
        weight = (mean_weight * alive).sum(1)
        return np.where(there > 0, flukes.sum(1) / np.maximum(weight, 1e-9), np.nan)

    def expected_kills(self, record: Record) -> np.ndarray:
        """Fish that flukes are expected to kill on each day, by what was on the fish: without the luck of who dies."""
        feeding = sum(record.burden[name][:, 0] for name in self.ponds.cycle.burden_forms)
        per_gram = feeding / self.ponds.stock.weight_g[0]
        _, fluke = death_rates(per_gram, np.ones_like(per_gram), self.ponds.parameters)
        return (fluke * record.alive[:, 0]).sum(1)

    def empty_on(self, day: int, record: Record) -> bool:
        """Whether neither fluke, egg nor larva is left."""
        return sum(float(total[day - FIRST_DAY, 0]) for total in record.numbers.values()) == 0


def draw_followed(seed: int) -> Followed:
    """Draw a pond.

    Parameters
    ----------
    seed : int
    """
    rng = np.random.default_rng([seed, 1709])
    clean = bool(rng.random() < _CLEAN)
    case = _empty_case(rng, f"followed {seed}")
    temperature, readings = _water(rng, case)
    case = replace(case, water=replace(case.water, temperature=_read(case.visit_date, *readings, 0)))
    truth = {name: Override(name, *ends, "closed loop") for name, ends in SETTINGS.items()}
    pond = draw_pond(replace(case, overrides=truth), PARASITE, 1, 9_000_000 + seed)
    p = pond.setting.parameters
    count, weight = case.fish_count, float(pond.setting.fish.weight_g[0, 0])
    other = float(np.exp(rng.uniform(*np.log([2e-3, OTHER_CAUSE[1]])))) if clean else rng.choice(other_cause_rates())
    ponds = Ponds(
        build_cycle(p.evidence),
        p.replaced(background_hazard=p["background_hazard"] + other),
        draw_stock(rng, 1, count, weight, float(p["aggregation"][0]), weight_cv=_WEIGHT_CV),
        float(pond.setting.volume_m3[0]),
        temperature,
        exchange_per_day=case.water.exchange_per_day,
        spread=_spreads(rng),
    )
    start = start_of(pond, ponds, rng)
    if clean:
        start = replace(start, numbers={form: 0 * number for form, number in start.numbers.items()})
    effects = dict(pond.effects)
    if rng.random() < _HARDY:
        effects["praziquantel"] = weakened(effects["praziquantel"], float(rng.uniform(0.6, 0.95)))
    return Followed(seed, clean, case, ponds, start, effects, look_of(pond, 8_500_000 + seed), readings)


def _empty_case(rng: np.random.Generator, name: str) -> Case:
    """Draw the pond that a visitor finds: water measured and good, temperature still to come."""
    fish = int(rng.integers(30, 81))
    weight = float(np.round(np.exp(rng.uniform(np.log(20), np.log(150)))))
    litres = float(np.round(1000 * fish / np.exp(rng.uniform(np.log(2), np.log(20)))))
    outdoors = rng.random() < _OUTDOORS
    outlook = Place(float(rng.choice([40.0, 46.0, 52.0]))) if outdoors else "indoors"
    water = Water(
        Uncertain(litres, 0.8 * litres, 1.25 * litres, "paced"),
        "fresh",
        RecordedTemperature((), ()),
        exchange_per_day=0.02,
        oxygen_mg_l=8.0,
        ph=7.4,
        alkalinity_mg_l_caco3=120.0,
        total_ammonia_n_mg_l=0.05,
        nitrite_n_mg_l=0.02,
        filter="naive",
        uv=False,
        aeration=True,
        outlook=outlook,
        kind="pond" if outdoors else "tank",
        neighbours="none",
    )
    group = FishGroup("common carp", fish, False, Uncertain(weight, 0.75 * weight, 1.35 * weight, "judged"))
    first, span = _FIRST_VISITS
    return Case(name, first + timedelta(int(rng.integers(span))), water, (group,), (PARASITE,))


def _water(rng: np.random.Generator, case: Case) -> tuple[Temperature, tuple[np.ndarray, np.ndarray]]:
    """The true course of the temperature, and the weekly readings of it."""
    days = np.arange(FIRST_DAY, LAST_DAY + 8.0, 7.0)
    if isinstance(case.water.outlook, Place):
        year = of_latitude(case.water.outlook.latitude, "fresh")
        at = case.visit_date.timetuple().tm_yday + days - year.warmest_day - rng.normal(0, 7)
        swing = year.swing_c * rng.uniform(0.85, 1.15)
        true = (
            year.mean_c + rng.normal(0, 1.5) + swing * np.cos(2 * np.pi * at / 365.25) + rng.normal(0, 1.2, days.size)
        )
    else:
        true = rng.uniform(14, 27) + rng.normal(0, 0.5, days.size)
    true = np.round(np.clip(true, 3.0, 29.0), 1)
    return Temperature.linear(days, true), (days, np.round(true + rng.normal(0, 0.3, days.size), 1))


def _read(first: date, days: np.ndarray, readings_c: np.ndarray, until: float) -> RecordedTemperature:
    """The readings up to a day."""
    known = days <= until
    times = tuple(datetime.combine(first + timedelta(float(day)), time(12)) for day in days[known])
    return RecordedTemperature(times, tuple(map(float, readings_c[known])))


def _spreads(rng: np.random.Generator) -> dict[str, float]:
    """Gamma shapes of hatching, maturing and, in two ponds of three, of adult life."""
    shapes = {form: float(np.exp(rng.uniform(np.log(10), np.log(200)))) for form in ("egg", "juvenile")}
    life = rng.integers(3)
    return shapes if life == 0 else {**shapes, "adult": 4.0 if life == 1 else np.inf}


# --- a case as a folder -----------------------------------------------------------------------------------------------
def write_folder(case: Case, folder: Path) -> None:
    """Write a case of this study as a folder that `burden` reads.

    Parameters
    ----------
    case : Case
    folder : Path
        Must not exist.
    """
    folder.mkdir(parents=True)
    (folder / "case.toml").write_text(_toml(case), encoding="utf-8")
    water = case.water.temperature
    readings = [f"{when.date()},{c:g}" for when, c in zip(water.times, water.temperatures_c, strict=True)]
    clips = [f"{r.date},{r.fish},{r.chosen},gill,gill_clip,{r.count_low}" for r in case.samples]
    deaths = [f"{r.date},{r.deaths}" for r in case.deaths]
    _table(folder / "temperature.csv", "date,temperature_c", readings)
    _table(folder / "samples.csv", "date,fish,chosen,site,method,count", clips)
    _table(folder / "deaths.csv", "date,deaths", deaths)


def _table(path: Path, head: str, rows: Sequence[str]) -> None:
    path.write_text("\n".join([head, *rows, ""]), encoding="utf-8")


def _toml(case: Case) -> str:
    w, group = case.water, case.fish[0]
    outlook = f"{{ latitude = {w.outlook.latitude:g} }}" if isinstance(w.outlook, Place) else f'"{w.outlook}"'
    tables = {
        "[case]": {"visit_date": case.visit_date, "title": f'"{case.name}"'},
        "[water]": {
            "volume_l": _range(w.volume_l),
            "medium": '"fresh"',
            "temperature_c": '"temperature.csv"',
            "outlook": outlook,
            "kind": f'"{w.kind}"',
            "neighbours": f'"{w.neighbours}"',
            "exchange_per_day": w.exchange_per_day,
            "oxygen_mg_l": w.oxygen_mg_l,
            "ph": w.ph,
            "alkalinity_mg_l_caco3": w.alkalinity_mg_l_caco3,
            "total_ammonia_n_mg_l": w.total_ammonia_n_mg_l,
            "nitrite_n_mg_l": w.nitrite_n_mg_l,
            "filter": f'"{w.filter}"',
            "uv": '"no"',
            "aeration": '"yes"',
        },
        "[fish]": {
            "species": f'"{group.species}"',
            "count": group.count,
            "food_fish": '"no"',
            "mean_weight_g": _range(group.weight_g),
        },
        "[parasite]": {"set": f'"{PARASITE}"'},
    }
    lines = [line for head, keys in tables.items() for line in (head, *(f"{k} = {v}" for k, v in keys.items()))]
    for dose in case.given:
        lines += ["[[given]]", f"date = {dose.date}", 'action = "dose"', f'agent = "{dose.agent}"', 'route = "bath"']
        lines += [f"mg_l = {dose.mg_l:g}", f"hours = {dose.hours:g}"]
    return "\n".join([*lines, ""])


def _range(number: Uncertain) -> str:
    return f'{{ value = {number.value:g}, low = {number.low:g}, high = {number.high:g}, how = "{number.how}" }}'

"""Whole-fluke ponds with a past, a visit and a future, for `analysis/forecasts.py`: what is true, and what a case says.

Everything uncertain is drawn from the priors of the evidence, as a pond of `burden` draws it; what the equations fix is
drawn too: the spread of hatching and of maturing, adult life exponential, gamma or fixed, the weights of the fish, a
temperature the case does not know to the degree. In a third of the dosed ponds the dose does much less than it should.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from analysis.individuals import Dose, Ponds, Record, Start, Stock, draw_start, draw_stock, run_ponds
from analysis.samples import Look, pick_fish, take_samples
from burden.case import Action, Case, ConstantTemperature, DeathRecord, FishGroup, Preparation, Uncertain, Water
from burden.inference.observation_parameters import draw_seen, share_examined
from burden.inference.other_cause import other_cause_rates
from burden.inference.prior import Ensemble, draw_pond
from burden.model.dose_effect import DoseEffect
from burden.model.lifecycle.transitions import build_cycle
from burden.model.temperature import Temperature

__all__ = [
    "AFTER_DAYS",
    "AGENT",
    "LOOK_DAYS",
    "PARASITE",
    "Plot",
    "Truth",
    "live_through",
    "look_of",
    "start_of",
    "weakened",
]

VISIT, PARASITE, AGENT = date(2026, 6, 15), "dactylogyrus", "praziquantel"
#: day on which the record begins, days of the forecast that are judged, and days of the doses after the visit [d]
FIRST_DAY, LOOK_DAYS, AFTER_DAYS = -28, (14, 30, 60), (1, 8)
#: a sample is taken this long before what else is done on its day [d], and the step of the runs [d]
_AHEAD, _STEP = 0.1, 0.1
#: ponds run side by side to learn what a dose should have done
_TWINS = 2
#: slots over which the ages of adults of a given spread are laid at the start
_AGES = 20


@dataclass(frozen=True)
class Plot:
    """What kind of pond one is, as drawn.

    Parameters
    ----------
    dose_day : int or None
        Of a dose before the visit.
    fault : float or None
        Share of what it should have killed that it killed; None: as it should.
    treated : bool
        Whether doses follow the visit.
    adult_life : {"exponential", "gamma", "fixed"}
    shapes : mapping
        Gamma shapes of hatching and maturing.
    """

    temperature_c: float
    fish: int
    weight_g: float
    litres: float
    looked_at: int
    chosen: str
    dose_day: int | None
    mg_l: float
    fault: float | None
    treated: bool
    adult_life: str
    shapes: dict[str, float]


@dataclass(frozen=True)
class Truth:
    """A pond that was lived through, and the case a visitor writes of it.

    Parameters
    ----------
    case : Case
    plot : Plot
    flukes : tuple of float
        Per live fish at the visit and on each of `LOOK_DAYS`; NaN where no fish is left.
    flukes_total : int
        On all fish at the visit.
    deaths : tuple of int
        Since the visit, on each of `LOOK_DAYS`.
    by_flukes : int
        Of the deaths in the log.
    hazard_per_burden, reproduction_number : float
    verdict : str
        What the dose truly did: worked, fell_short, new_settlers; empty without one, or without flukes before it.
    """

    case: Case
    plot: Plot
    flukes: tuple[float, ...]
    flukes_total: int
    deaths: tuple[int, ...]
    by_flukes: int
    hazard_per_burden: float
    reproduction_number: float
    verdict: str


def _draw_plot(rng: np.random.Generator) -> Plot:
    """Draw what kind of pond it is."""
    dosed = rng.random() < 0.5
    shapes = {form: float(np.exp(rng.uniform(np.log(10), np.log(200)))) for form in ("egg", "juvenile")}
    life = ("exponential", "gamma", "fixed")[rng.integers(3)]
    if life != "exponential":
        shapes["adult"] = 4.0 if life == "gamma" else np.inf
    fish = int(rng.integers(15, 41))
    return Plot(
        temperature_c=float(rng.uniform(14, 26)),
        fish=fish,
        weight_g=float(np.exp(rng.uniform(np.log(20), np.log(150)))),
        litres=float(1000 * fish / np.exp(rng.uniform(np.log(2), np.log(20)))),
        looked_at=int(rng.integers(3, 11)),
        chosen="moribund" if rng.random() < 1 / 3 else "random",
        dose_day=-int(rng.choice([3, 7, 12])) if dosed else None,
        mg_l=float(rng.uniform(2, 6)),
        fault=float(rng.uniform(0, 0.4)) if dosed and rng.random() < 1 / 3 else None,
        treated=bool(rng.random() < 0.5),
        adult_life=life,
        shapes=shapes,
    )


def _empty_case(plot: Plot, name: str) -> Case:
    """Write down what is known without looking at a fish."""
    volume = Uncertain(plot.litres, 0.8 * plot.litres, 1.25 * plot.litres, "paced")
    weight = Uncertain(plot.weight_g, 0.75 * plot.weight_g, 1.35 * plot.weight_g, "judged")
    water = Water(volume, "fresh", ConstantTemperature(plot.temperature_c), 0.02)
    given = ()
    if plot.dose_day is not None:
        given = (Action(VISIT + timedelta(plot.dose_day), agent=AGENT, route="bath", mg_l=plot.mg_l, hours=24.0),)
    return Case(name, VISIT, water, (FishGroup("common carp", plot.fish, False, weight),), (PARASITE,), given=given)


def weakened(effect: DoseEffect, share: float) -> DoseEffect:
    """Return a dose that kills a share of what it should."""
    by_form = {form: share * kill for form, kill in effect.by_form.items()}
    return replace(
        effect,
        by_form=by_form,
        sheltered_kill=share * effect.sheltered_kill,
        larva_hazard=share * effect.larva_hazard,
        settler_kill=share * effect.settler_kill,
    )


def _emptying(effect: DoseEffect) -> DoseEffect:
    """Return a dose that leaves nothing on the fish: what is there later has settled since."""
    one = np.ones_like(effect.sheltered_kill)
    return replace(effect, by_form={**effect.by_form, "adult": one, "juvenile": one}, sheltered_kill=one)


def _ponds(pond: Ensemble, plot: Plot, stock: Stock, rng: np.random.Generator) -> Ponds:
    """Turn one draw of the prior into whole fish in water of a temperature that is not quite the one written down."""
    p = pond.setting.parameters
    other = rng.choice(other_cause_rates())
    days = np.arange(FIRST_DAY, LOOK_DAYS[-1] + 7, 7.0)
    wobble = rng.normal(0, 0.4) + rng.normal(0, 0.4, days.size)
    return Ponds(
        build_cycle(p.evidence),
        p.replaced(background_hazard=p["background_hazard"] + other),
        stock,
        float(pond.setting.volume_m3[0]),
        Temperature.linear(days, np.round(plot.temperature_c + wobble, 1)),
        exchange_per_day=0.02,
        spread=plot.shapes,
    )


def start_of(pond: Ensemble, ponds: Ponds, rng: np.random.Generator) -> Start:
    """Whole flukes at the start of the record, as many as the prior has it, in the stages of a lasting growth."""
    p = pond.setting.parameters
    abundance = p.evidence.values["abundance"].quantile(rng.random(1)) * pond.setting.fish.weight_g.mean(0)
    fish = float(ponds.stock.weight_g.shape[1])
    state = pond.start(abundance, np.array([fish]), FIRST_DAY, rng.random(1))
    totals = {form: chain[:, 0] for form, chain in state.water.items()}
    totals |= {form: fish * chain[:, 0, 0] for form, chain in state.fish.items()}
    if "adult" in ponds.spread:
        totals["adult"] = np.full(_AGES, totals["adult"].sum() / _AGES)
    return replace(draw_start(rng, ponds, totals), resistance=float(state.resistance[0]))


def _tiled(ponds: Ponds, start: Start) -> tuple[Ponds, Start]:
    """Several ponds alike."""
    stock = Stock(*(np.repeat(x, _TWINS, 0) for x in (ponds.stock.weight_g, ponds.stock.susceptibility)))
    numbers = {form: np.repeat(x, _TWINS, 0) for form, x in start.numbers.items()}
    return replace(ponds, stock=stock), replace(start, numbers=numbers)


def _per_fish(record: Record, i: int) -> float:
    """Flukes per live fish on a recorded day, all ponds alike together."""
    alive = record.alive[i].sum()
    flukes = sum((burden[i] * record.alive[i]).sum() for burden in record.burden.values())
    return float(flukes / alive) if alive else float("nan")


def _true_verdict(ponds: Ponds, start: Start, plot: Plot, right: DoseEffect, record: Record, seed: int) -> str:
    """What a dose did, against twins of the pond in which it did what it should, and in which it emptied the fish."""
    before = _per_fish(record, 0)
    if not before:
        return ""
    days, (twins, begun) = [float(FIRST_DAY), -_AHEAD], _tiled(ponds, start)
    day = float(plot.dose_day)
    should, empty = (
        _per_fish(run_ponds(twins, begun, days, [Dose(day, effect)], seed=seed + n, step_days=_STEP), 1)
        for n, effect in enumerate((right, _emptying(right)))
    )
    if _per_fish(record, 1) > 2 * should:
        return "fell_short"
    return "new_settlers" if should > 0 and empty / should > 0.5 else "worked"


def _death_log(record: Record, days: np.ndarray) -> tuple[tuple[DeathRecord, ...], int]:
    """Weekly rows up to the visit, and the number of fish dead in them."""
    rows = []
    for end in range(FIRST_DAY + 7, 1, 7):
        dead = int(((days > end - 7) & (days <= end)).sum())
        rows.append(DeathRecord(VISIT + timedelta(end), dead, 7))
    return tuple(rows), sum(row.deaths for row in rows)


def _rows(
    pond: Ensemble, plot: Plot, record: Record, i: int, day: int, look: Look, rng: np.random.Generator
) -> list[Preparation]:
    """What the preparations of one day showed."""
    there = int(record.alive[i, 0].sum())
    places = pick_fish(record, i, rng, min(plot.looked_at, there), plot.chosen)
    return [
        Preparation(
            VISIT + timedelta(day),
            str(row["fish"]),
            plot.chosen,
            "gill",
            row["count"],
            row["count"],
            method="gill_clip",
        )
        for row in take_samples(record, i, rng, places, look, plot.chosen)
    ]


def look_of(pond: Ensemble, seed: int) -> Look:
    """Draw what one clip shows."""
    seen = draw_seen(pond.setting.parameters.evidence, 1, seed)
    row = Preparation(VISIT, "1", "random", "gill", 0, 0, method="gill_clip")
    share = float(share_examined(row, seen, pond.setting.fish.weight_g.mean(0))[0])
    return Look("gill", "gill_clip", share, *(float(x[0]) for x in (seen.site_share, seen.part_shape, seen.detection)))


def live_through(seed: int) -> Truth | None:
    """Draw a pond, run it to the last day of the forecast, and write down its case; None where no fish is left.

    Parameters
    ----------
    seed : int
    """
    rng = np.random.default_rng([seed, 4241])
    plot = _draw_plot(rng)
    case = _empty_case(plot, f"simulated {seed}")
    pond = draw_pond(case, PARASITE, 1, 7_000_000 + seed)
    p = pond.setting.parameters
    weight, k = float(pond.setting.fish.weight_g[0, 0]), float(p["aggregation"][0])
    ponds = _ponds(pond, plot, draw_stock(rng, 1, plot.fish, weight, k, weight_cv=0.2), rng)
    start = start_of(pond, ponds, rng)
    right = pond.given[0].effect if pond.given else None
    doses = [Dose(float(plot.dose_day), right if plot.fault is None else weakened(right, plot.fault))] if right else []
    if plot.treated:
        doses += [Dose(float(day), pond.effects[AGENT]) for day in AFTER_DAYS]
    first = plot.dose_day if right else -14
    days = [float(FIRST_DAY), first - _AHEAD, -_AHEAD, *(float(d) for d in LOOK_DAYS)]
    record = run_ponds(ponds, start, days, doses, seed=seed, step_days=_STEP)
    gone, alive = record.death_day[0], record.alive[:, 0].sum(1)
    if alive[2] - (gone <= 0).sum() + (gone <= -_AHEAD).sum() < 1:
        return None
    log, _ = _death_log(record, gone)
    looked = [(first, 1), (0, 2)] if right or rng.random() < 0.5 else [(0, 2)]
    look = look_of(pond, 8_000_000 + seed)
    samples = tuple(row for day, i in looked for row in _rows(pond, plot, record, i, day, look, rng))
    living = int((~(gone <= 0)).sum())
    verdict = ""
    if right:
        verdict = _true_verdict(ponds, start, plot, right, _days_from(record, 1), 10_000_000 + seed)
    return Truth(
        case=replace(case, fish=(replace(case.fish[0], count=living),), samples=samples, deaths=log),
        plot=plot,
        flukes=tuple(_per_fish(record, i) for i in range(2, len(days))),
        flukes_total=int(sum(burden[2].sum() for burden in record.burden.values())),
        deaths=tuple(int(((gone > 0) & (gone <= day)).sum()) for day in LOOK_DAYS),
        by_flukes=int((rng.random(plot.fish) < np.where(gone <= 0, np.nan_to_num(record.fluke_share[0]), 0)).sum()),
        hazard_per_burden=float(p["hazard_per_burden"][0]),
        reproduction_number=float(p["reproduction_number"][0]),
        verdict=verdict,
    )


def _days_from(record: Record, i: int) -> Record:
    """Return the record from its i-th day on."""
    burden = {form: x[i:] for form, x in record.burden.items()}
    return replace(record, days=record.days[i:], alive=record.alive[i:], burden=burden)

"""Whole flukes on whole fish: the model run one individual at a time, to check everything else against.

It reads the same list of transitions and the same rates as the solvers, and shares no equation with them. Whatever has
a measured spread (an egg, a settler) draws the amount of development it needs when it begins, and the day on which it
has done so much at the water's own temperature goes into a calendar; ages are exact. Whatever ages not (an adult, a
larva) is counted, and leaves by binomial draws in steps of `STEP_DAYS`. Every fish has its own susceptibility, weight,
burden, blood and death. Many ponds run side by side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.ageing import Calendar, Cohorts, Timetable, share_killed
from burden.effects import DoseEffect
from burden.hosts import blood_step, death_rates, resistance_rate
from burden.lifecycle import LifeCycle, Parameters, Surroundings, Transition
from burden.water import Temperature

__all__ = ["STEP_DAYS", "Dose", "Ponds", "Record", "Start", "Stock", "draw_start", "draw_stock", "run_ponds"]

#: time step [d]; what ages is exact whatever it is, the rest of second order in it but for brakes and fish deaths
STEP_DAYS = 0.05
#: steps between two looks for ponds that need no more running
_CLEARING = 20


@dataclass(frozen=True)
class Stock:
    """Fish, R ponds of F each.

    Parameters
    ----------
    weight_g : numpy.ndarray
        Of each fish, shape (R, F) [g].
    susceptibility : numpy.ndarray
        Relative share of settlers each fish takes, shape (R, F) [-].
    """

    weight_g: np.ndarray
    susceptibility: np.ndarray


def draw_stock(
    rng: np.random.Generator, ponds: int, fish: int, mean_weight_g: float, aggregation: float, weight_cv: float = 0.0
) -> Stock:
    """Draw fish of gamma susceptibility and log-normal weight.

    Parameters
    ----------
    rng : numpy.random.Generator
    ponds, fish : int
        R and F.
    mean_weight_g : float
        [g]
    aggregation : float
        Shape k of the gamma, its mean 1 [-].
    weight_cv : float
        Coefficient of variation of weight [-].
    """
    sigma = np.sqrt(np.log1p(weight_cv**2))
    weight = mean_weight_g * np.exp(sigma * rng.standard_normal((ponds, fish)) - sigma**2 / 2)
    return Stock(weight, rng.gamma(aggregation, 1 / aggregation, (ponds, fish)))


@dataclass(frozen=True)
class Ponds:
    """What a run is given.

    Parameters
    ----------
    cycle : LifeCycle
    parameters : Parameters
        One draw, with `establishment` for egg-layers.
    stock : Stock
    volume_m3 : float
        [m³]
    temperature : Temperature
        Without drift.
    exchange_per_day : float
        [1/d]
    resistance_on, crowding_on, deaths_on : bool
        The two brakes, and whether fish die.
    spread : mapping of str to float
        Gamma shape of the duration of a life form in place of the measured one; infinity: all take equally long. One
        given for a form that does not age (`adult`) makes it age: its life then has this spread.
    """

    cycle: LifeCycle
    parameters: Parameters
    stock: Stock
    volume_m3: float
    temperature: Temperature
    exchange_per_day: float = 0.0
    resistance_on: bool = True
    crowding_on: bool = True
    deaths_on: bool = True
    spread: Mapping[str, float] = field(default_factory=dict)

    def aged(self) -> LifeCycle:
        """Return the cycle in which the forms given a spread end their life by age instead of at any time."""

        def by_age(t: Transition) -> Transition:
            ageless = t.source in self.spread and not self.cycle.of(t.source, "completes")
            return replace(t, event="completes") if ageless and t.event == "any time" else t

        return replace(self.cycle, transitions=tuple(by_age(t) for t in self.cycle.transitions))


@dataclass(frozen=True)
class Dose:
    """A dose on a day [d], its effect one draw; it acts at the nearest step."""

    day: float
    effect: DoseEffect


@dataclass(frozen=True)
class Start:
    """Who is there at the start.

    Parameters
    ----------
    numbers : mapping of str to numpy.ndarray
        Whole individuals by life form: (R, F, n) on the fish, (R, n) in the water. Those in slot i of n have done
        (i + ½)/n of their development; with n = 1 they have just begun.
    resistance : float
        Of every pond [-].
    """

    numbers: Mapping[str, np.ndarray]
    resistance: float = 0.0


def draw_start(
    rng: np.random.Generator, ponds: Ponds, totals: Mapping[str, np.ndarray | float], *, exact: bool = False
) -> Start:
    """Place so many individuals in every pond, those on the fish in proportion to susceptibility.

    Parameters
    ----------
    rng : numpy.random.Generator
    ponds : Ponds
    totals : mapping of str to array_like
        Mean number in a pond by life form, a number or by share of development done, shape (n,).
    exact : bool
        Exactly so many (whole numbers) instead of a Poisson number.
    """
    count, _ = ponds.stock.weight_g.shape
    chance = ponds.stock.susceptibility / ponds.stock.susceptibility.sum(1, keepdims=True)
    numbers = {}
    for name, total in totals.items():
        total = np.broadcast_to(np.atleast_1d(total), (count, np.size(total)))
        whole = np.rint(total).astype(np.int64) if exact else rng.poisson(total)
        if ponds.cycle.form(name).place == "fish":
            slots = [rng.multinomial(whole[:, i], chance) for i in range(whole.shape[1])]
            whole = np.stack(slots, axis=2)
        numbers[name] = whole
    return Start(numbers)


@dataclass(frozen=True)
class Record:
    """What a run gave; NaN where a pond was no longer run.

    Parameters
    ----------
    days : numpy.ndarray
        Shape (K,) [d].
    numbers : mapping of str to numpy.ndarray
        Total in the pond by life form, each shape (K, R).
    alive : numpy.ndarray
        Whether each fish lives, shape (K, R, F).
    burden : mapping of str to numpy.ndarray
        On each fish by life form, each shape (K, R, F).
    hazard : numpy.ndarray
        Death rate of each fish, shape (K, R, F) [1/d].
    resistance : numpy.ndarray
        Shape (K, R) [-].
    death_day : numpy.ndarray
        Day each fish died, NaN for those alive, shape (R, F) [d].
    gone_day : numpy.ndarray
        First day on which a pond was found without fluke, egg or larva, NaN if it never was, shape (R,) [d].
    above : numpy.ndarray
        Whether a pond was given up because it held more than `stop_above`, shape (R,).
    """

    days: np.ndarray
    numbers: Mapping[str, np.ndarray]
    alive: np.ndarray
    burden: Mapping[str, np.ndarray]
    hazard: np.ndarray
    resistance: np.ndarray
    death_day: np.ndarray
    gone_day: np.ndarray
    above: np.ndarray

    @property
    def deaths(self) -> np.ndarray:
        """Fish dead by each day, shape (K, R)."""
        return (self.death_day[None] <= self.days[:, None, None]).sum(2)


def run_ponds(
    ponds: Ponds,
    start: Start,
    days: Sequence[float],
    doses: Sequence[Dose] = (),
    *,
    seed: int,
    stop_above: float = np.inf,
    stop_when_gone: bool = False,
    step_days: float = STEP_DAYS,
) -> Record:
    """Run from the first to the last of `days`.

    Parameters
    ----------
    ponds : Ponds
    start : Start
        At the first day, before any dose of that day.
    days : sequence of float
        Days to record, rising, each taken at the nearest step, after a dose of that day [d].
    doses : sequence of Dose
        Those before the first day act by what they left in the water alone.
    seed : int
    stop_above : float
        A pond with more flukes on its fish than this is given up: its flukes will not die out.
    stop_when_gone : bool
        Whether a pond without fluke, egg and larva is run no further.
    step_days : float
        [d]

    Returns
    -------
    Record
    """
    days = np.asarray(days, float)
    clock = (days[0], round((days[-1] - days[0]) / step_days), step_days)
    around = Surroundings(ponds.stock.weight_g.shape[1] / ponds.volume_m3, ponds.exchange_per_day)
    table = Timetable(ponds.aged(), ponds.parameters, ponds.temperature, around, ponds.spread, clock)
    at = {round((day - days[0]) / step_days): i for i, day in enumerate(days)}
    acting = {round((dose.day - days[0]) / step_days): dose.effect for dose in doses}
    run = _Run(ponds, table, start, doses, np.random.default_rng(seed), len(days))
    for k in range(table.steps + 1):
        if k in acting:
            run.take(acting[k], k)
        if k in at:
            run.record(at[k])
        if k % _CLEARING == 0 and run.clear(k, stop_above, stop_when_gone):
            break
        if k < table.steps:
            run.step(k)
    return run.recorded(days)


class _Run:
    """The ponds that are still run, and what was recorded of all."""

    def __init__(
        self,
        ponds: Ponds,
        table: Timetable,
        start: Start,
        doses: Sequence[Dose],
        rng: np.random.Generator,
        records: int,
    ) -> None:
        self.ponds, self.table, self.doses, self.rng = ponds, table, doses, rng
        self.weight, self.susceptibility = ponds.stock.weight_g, ponds.stock.susceptibility
        shape = self.weight.shape
        self.running = np.arange(shape[0])
        self.alive = np.ones(shape, bool)
        self.haemoglobin = np.ones(shape)
        self.resistance = np.full(shape[0], start.resistance)
        self.forms: dict[str, _Counted | Calendar | Cohorts] = {}
        for form in ponds.cycle.forms:
            if form.name not in table.done:
                self.forms[form.name] = _Counted(shape if form.place == "fish" else shape[:1])
            elif form.place == "fish":
                self.forms[form.name] = Cohorts(table, form.name, shape)
            else:
                self.forms[form.name] = Calendar(table, form.name, shape[0])
            if form.name in start.numbers:
                numbers = start.numbers[form.name]
                self.forms[form.name].enter(rng, numbers, 0.0, numbers.shape[-1])
        self._open(records, shape)

    # --- one step ---------------------------------------------------------------------------------------------
    def step(self, k: int) -> None:
        """Take every form through step k, then the fish."""
        rates, brakes = self._rates(k), self._brakes()
        cycle = self.table.cycle
        for form in cycle.forms:
            group, births = self.forms[form.name], cycle.of(form.name, "bears")
            before = group.count()
            exits = self.table.exits(form.name)
            if isinstance(group, _Counted):
                hazards = [rates[t.rate] * brakes.get(t.rate, 1.0) for t in exits]
                leaving = group.leave(self.rng, hazards, self.table.dt)
            else:
                leaving = group.due(k)
            for transition, amount in zip(exits, leaving, strict=True):
                self._bear(transition, amount, rates, brakes, k)
            for transition in births:
                mean = 0.5 * (before + group.count()) * self.table.dt * rates[transition.rate]
                amount = self.rng.poisson(mean * brakes.get(transition.rate, 1.0))
                self._bear(transition, amount, rates, brakes, k)
        self._hosts(k)

    def _rates(self, k: int) -> dict[str, np.ndarray | float]:
        """Rates among the fish now alive, with what is dissolved in the water."""
        rates: dict[str, np.ndarray | float] = dict(self.table.rates(k))
        if "contact" not in rates:
            return rates
        p, density = self.ponds.parameters, self.alive.sum(1) / self.ponds.volume_m3
        rates["contact"] = p["contact_rate"] * density / (p["contact_half_density"] + density)
        now = self.table.day(k + 0.5)
        for dose in self.doses:
            if dose.day <= now:
                left = float(np.exp(-dose.effect.fade_per_day[0] * (now - dose.day)))
                rates["larva_loss"] = rates["larva_loss"] + left * float(dose.effect.larva_hazard[0])
                rates["establishment"] = rates["establishment"] * (1 - left * float(dose.effect.settler_kill[0]))
        return rates

    def _per_gram(self) -> np.ndarray:
        """Feeding flukes per gram on each fish, (R, F)."""
        return sum(self.forms[name].count() for name in self.ponds.cycle.burden_forms) / self.weight

    def _brakes(self) -> dict[str, np.ndarray]:
        """Share that crowding, fish by fish, and the pond's resistance leave of a rate or a share."""
        brakes: dict[str, np.ndarray] = {}
        if self.ponds.crowding_on:
            brakes["laying_rate"] = 1 / (1 + self._per_gram() / self.ponds.parameters["burden_scale"])
        if self.ponds.resistance_on:
            brakes["establishment"] = 1 - self.resistance
        free = brakes.get("establishment", np.ones(len(self.resistance)))[:, None]
        brakes["birth_success"] = brakes.get("laying_rate", 1.0) * free
        return brakes

    def _bear(
        self,
        transition: Transition,
        amount: np.ndarray,
        rates: Mapping[str, np.ndarray | float],
        brakes: Mapping[str, np.ndarray],
        k: int,
    ) -> None:
        """Bring what comes of a transition to where it lives."""
        if not amount.any():
            return
        for target, share in transition.offspring:
            success = amount
            if share is not None:
                success = self.rng.binomial(amount, rates[share] * brakes.get(share, 1.0))
            place = self.table.cycle.form(target).place
            if place != self.table.cycle.form(transition.source).place:
                success = success.sum(1) if place == "water" else self._settle(success)
            self.forms[target].enter(self.rng, success, k)

    def _settle(self, settlers: np.ndarray) -> np.ndarray:
        """Give settlers of each pond, (R,), to its live fish in proportion to susceptibility, (R, F)."""
        taking = np.cumsum((self.susceptibility * self.alive).ravel())
        ends = taking.reshape(self.alive.shape)[:, -1]
        whole = np.diff(ends, prepend=0.0)
        pond = np.repeat(np.arange(settlers.size), np.where(whole > 0, settlers, 0))
        aimed = ends[pond] - whole[pond] * self.rng.random(pond.size)
        host = np.searchsorted(taking, aimed, side="left")
        return np.bincount(host, minlength=taking.size).reshape(self.alive.shape)

    def _hosts(self, k: int) -> None:
        """Resistance, blood and death of the fish over step k."""
        p, dt, per_gram = self.ponds.parameters, self.table.dt, self._per_gram()
        temperature = self.table.temperature[k]
        if self.ponds.resistance_on:
            living = np.maximum(self.alive.sum(1), 1)
            mean = (per_gram * self.alive).sum(1) / living
            self.resistance = self.resistance + dt * resistance_rate(self.resistance, mean, temperature, p)
        self.haemoglobin = blood_step(self.haemoglobin, per_gram, temperature, p, dt)
        if not self.ponds.deaths_on:
            return
        dies = self.alive & (self.rng.random(self.alive.shape) < -np.expm1(-dt * self._hazard(per_gram)))
        if dies.any():
            self.alive &= ~dies
            pond, fish = np.nonzero(dies)
            self._death_day[self.running[pond], fish] = self.table.day(k + 1)
            for name in self.ponds.cycle.on_fish():
                self.forms[name].drop_hosts(dies)

    def _hazard(self, per_gram: np.ndarray) -> np.ndarray:
        background, fluke = death_rates(per_gram, self.haemoglobin, self.ponds.parameters)
        return (background + fluke) * self.alive

    # --- doses, looks and records -------------------------------------------------------------------------------
    def take(self, effect: DoseEffect, k: int) -> None:
        """Give a dose at the start of step k."""
        for name, group in self.forms.items():
            if isinstance(group, _Counted):
                group.thin(self.rng, share_killed(effect, name))
            else:
                group.thin(self.rng, effect, k)

    def _totals(self) -> dict[str, np.ndarray]:
        """Number in each pond by form, (R,)."""
        return {name: group.count().reshape(self.running.size, -1).sum(1) for name, group in self.forms.items()}

    def clear(self, k: int, stop_above: float, stop_when_gone: bool) -> bool:
        """Note the ponds without flukes, give up what needs no more running; whether none is left to run."""
        totals = self._totals()
        everyone = sum(totals.values())
        on_fish = sum(totals[name] for name in self.ponds.cycle.on_fish())
        fresh = (everyone == 0) & np.isnan(self._gone_day[self.running])
        self._gone_day[self.running[fresh]] = self.table.day(k)
        self._above[self.running[on_fish > stop_above]] = True
        on = on_fish <= stop_above
        if stop_when_gone:
            on &= everyone > 0
        if on.mean() < 0.9 or not on.any():
            self._keep(np.flatnonzero(on))
        return self.running.size == 0

    def _keep(self, ponds: np.ndarray) -> None:
        for group in self.forms.values():
            group.keep(ponds)
        for name in ("running", "weight", "susceptibility", "alive", "haemoglobin", "resistance"):
            setattr(self, name, getattr(self, name)[ponds])

    def _open(self, records: int, shape: tuple[int, int]) -> None:
        """Make room for what is recorded."""
        cycle = self.ponds.cycle
        self._numbers = {form.name: np.full((records, shape[0]), np.nan) for form in cycle.forms}
        self._burden = {name: np.full((records, *shape), np.nan) for name in cycle.on_fish()}
        self._hazards = np.full((records, *shape), np.nan)
        self._alive = np.zeros((records, *shape), bool)
        self._resistance = np.full((records, shape[0]), np.nan)
        self._death_day, self._gone_day = np.full(shape, np.nan), np.full(shape[0], np.nan)
        self._above = np.zeros(shape[0], bool)

    def record(self, i: int) -> None:
        """Note everything as the i-th record."""
        for name, total in self._totals().items():
            self._numbers[name][i, self.running] = total
        for name in self._burden:
            self._burden[name][i, self.running] = self.forms[name].count()
        self._hazards[i, self.running] = self._hazard(self._per_gram())
        self._alive[i, self.running] = self.alive
        self._resistance[i, self.running] = self.resistance

    def recorded(self, days: np.ndarray) -> Record:
        """Return what was recorded."""
        return Record(
            days,
            self._numbers,
            self._alive,
            self._burden,
            self._hazards,
            self._resistance,
            self._death_day,
            self._gone_day,
            self._above,
        )


class _Counted:
    """A form that does not age: a number in each pond, (R,), or on each fish, (R, F)."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.number = np.zeros(shape, np.int64)
        self.entered = np.zeros(shape, np.int64)

    def enter(self, rng: np.random.Generator, amount: np.ndarray, place: float, slots: int = 0) -> None:
        """Take in so many during a step, or, with slots, at its start."""
        if slots:
            self.number = self.number + amount.sum(-1)
        else:
            self.entered = self.entered + amount

    def count(self) -> np.ndarray:
        """Number there."""
        return self.number

    def leave(self, rng: np.random.Generator, hazards: Sequence[np.ndarray | float], dt: float) -> list[np.ndarray]:
        """Take out those who leave in a step, by cause; who entered during it met half of it, on average."""
        total = np.asarray(sum(hazards, 0.0))
        whole = -np.expm1(-total * dt)
        part = 1 - np.divide(whole, total * dt, out=np.ones_like(total), where=total > 0)
        gone = rng.binomial(self.number, whole)
        if self.entered.any():
            gone = gone + rng.binomial(self.entered, part)
        self.number = self.number + self.entered - gone
        self.entered = np.zeros_like(self.entered)
        leaving = []
        for hazard in hazards[:-1]:
            leaving.append(rng.binomial(gone, np.clip(hazard / np.where(total > 0, total, 1.0), 0, 1)))
            gone, total = gone - leaving[-1], total - hazard
        return [*leaving, gone]

    def thin(self, rng: np.random.Generator, killed: float) -> None:
        """Apply a dose."""
        if killed > 0:
            self.number = rng.binomial(self.number, 1 - killed)

    def drop_hosts(self, dead: np.ndarray) -> None:
        """Let the flukes of dead fish, (R, F), die."""
        self.number = np.where(dead, 0, self.number)

    def keep(self, ponds: np.ndarray) -> None:
        """Go on with some of the ponds."""
        self.number, self.entered = self.number[ponds], self.entered[ponds]

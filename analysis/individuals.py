"""Whole flukes on whole fish: the model run one individual at a time, to check everything else against.

It reads the same list of transitions and the same rates as the solvers, and shares no equation with them. Whatever has
a measured spread (an egg, a settler) draws the amount of development it needs when it begins, and the day on which it
has done so much at the water's own temperature goes into a calendar; ages are exact. Whatever ages not (an adult, a
larva) is counted, and leaves by binomial draws in steps of `STEP_DAYS`. Every fish has its own susceptibility, weight,
burden, blood and death. Many ponds run side by side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.ageing import Calendar, Cohorts, Counted, Timetable, share_killed
from analysis.pond import Dose, Joining, Ponds, Record, Start, Stock, draw_start, draw_stock
from burden.model.dose_effect import DoseEffect
from burden.model.hosts import blood_step, death_rates, resistance_rate
from burden.model.lifecycle.rates import Surroundings
from burden.model.lifecycle.transitions import Transition

__all__ = ["STEP_DAYS", "Dose", "Joining", "Ponds", "Record", "Start", "Stock", "draw_start", "draw_stock", "run_ponds"]

#: time step [d]; what ages is exact whatever it is, the rest of second order in it but for brakes and fish deaths
STEP_DAYS = 0.05
#: steps between two looks for ponds that need no more running
_CLEARING = 20


def run_ponds(
    ponds: Ponds,
    start: Start,
    days: Sequence[float],
    doses: Sequence[Dose] = (),
    joins: Sequence[Joining] = (),
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
    joins : sequence of Joining
        Fish that come later.
    seed : int
    stop_above : float
        After the last dose, a pond with more flukes on its fish than this is given up: its flukes will not die out.
    stop_when_gone : bool
        Whether a pond without fluke, egg and larva is run no further.
    step_days : float
        [d]

    Returns
    -------
    Record
    """
    days = np.asarray(days, float)
    clock = (days[0], max(round((days[-1] - days[0]) / step_days), 1), step_days)
    around = Surroundings(ponds.stock.weight_g.shape[1] / ponds.volume_m3, ponds.exchange_per_day)
    table = Timetable(ponds.aged(), ponds.parameters, ponds.temperature, around, ponds.spread, clock)
    at = {round((day - days[0]) / step_days): i for i, day in enumerate(days)}
    acting = {round((dose.day - days[0]) / step_days): dose.effect for dose in doses}
    last = max(acting, default=0)
    coming = {round((join.day - days[0]) / step_days): join for join in joins}
    run = _Run(ponds, table, start, doses, np.random.default_rng(seed), len(days))
    for join in joins:
        run.alive[:, join.fish] = False
    for k in range(table.steps + 1):
        if k in acting:
            run.take(acting[k], k)
        if k in coming:
            run.join(coming[k], k)
        if k in at:
            run.record(at[k])
        look = k % _CLEARING == 0 or k == table.steps
        if look and run.clear(k, stop_above if k >= last else np.inf, stop_when_gone):
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
        self.forms: dict[str, Counted | Calendar | Cohorts] = {}
        for form in ponds.cycle.forms:
            if form.name not in table.done:
                self.forms[form.name] = Counted(shape if form.place == "fish" else shape[:1])
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
            if isinstance(group, Counted):
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
        if self.ponds.larvae_in_per_day:
            come = self.rng.poisson(self.ponds.larvae_in_per_day * self.table.dt, self.running.size)
            self.forms["larva"].enter(self.rng, come, k)
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
        background, fluke = death_rates(per_gram, self.haemoglobin, self.ponds.parameters)
        hazard = (background + fluke) * self.alive
        dies = self.alive & (self.rng.random(self.alive.shape) < -np.expm1(-dt * hazard))
        if dies.any():
            self.alive &= ~dies
            pond, fish = np.nonzero(dies)
            self._death_day[self.running[pond], fish] = self.table.day(k + 1)
            self._fluke_share[self.running[pond], fish] = fluke[pond, fish] / hazard[pond, fish]
            for name in self.ponds.cycle.on_fish():
                self.forms[name].drop_hosts(dies)

    def _hazard(self, per_gram: np.ndarray) -> np.ndarray:
        background, fluke = death_rates(per_gram, self.haemoglobin, self.ponds.parameters)
        return (background + fluke) * self.alive

    # --- doses, looks and records -------------------------------------------------------------------------------
    def take(self, effect: DoseEffect, k: int) -> None:
        """Give a dose at the start of step k."""
        for name, group in self.forms.items():
            if isinstance(group, Counted):
                group.thin(self.rng, share_killed(effect, name))
            else:
                group.thin(self.rng, effect, k)

    def join(self, join: Joining, k: int) -> None:
        """Let naive fish come at the start of step k, with what they bring; resistance is the mean over fish."""
        before = self.alive.sum(1)
        self.alive[:, join.fish] = True
        self.resistance = self.resistance * before / np.maximum(self.alive.sum(1), 1)
        for name, numbers in join.bring.numbers.items():
            self.forms[name].enter(self.rng, numbers[self.running], k, numbers.shape[-1])

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
        self._fluke_share = np.full(shape, np.nan)
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
            self._fluke_share,
        )

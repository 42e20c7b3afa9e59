"""Whole individuals of one life form, and when they leave it by age or chance, for `analysis.individuals`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import gammainc, gammaincc, gammainccinv

from burden.model.dose_effect import DoseEffect
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.transitions import LifeCycle, LifeForm, Transition
from burden.model.temperature import Temperature

__all__ = ["Calendar", "Cohorts", "Counted", "Timetable", "share_killed"]

#: individuals that begin in one step, per step of the run, above which they are drawn together
_MANY = 0.5


class Timetable:
    """Rates of every step, and the development done and the hazard met by each step's start.

    Parameters
    ----------
    cycle : LifeCycle
    parameters : Parameters
        One draw.
    temperature : Temperature
    around : Surroundings
    spread : mapping of str to float
        Gamma shapes that replace the measured ones.
    clock : (float, int, float)
        First day [d], number of steps, step [d].
    """

    def __init__(
        self,
        cycle: LifeCycle,
        parameters: Parameters,
        temperature: Temperature,
        around: Surroundings,
        spread: Mapping[str, float],
        clock: tuple[float, int, float],
    ) -> None:
        self.start_day, self.steps, self.dt = clock
        self.parameters, self.cycle, self.spread = parameters, cycle, spread
        self.temperature = np.array([float(temperature.at(self.day(k + 0.5))) for k in range(self.steps)])
        levels, self._level = np.unique(self.temperature, return_inverse=True)
        tables = [{name: float(np.ravel(v)[0]) for name, v in rates_at(parameters, c, around).items()} for c in levels]
        self._shapes = [{form.name: self._shape(form, c) for form in self.cycle.forms} for c in levels]
        self._tables = tables
        self.done = {t.source: self._summed([t.rate]) for t in self.cycle.transitions if t.event == "completes"}
        self._hazards = {form: self._by_chance(form) for form in self.done}
        self.met = {form: self._summed([t.rate for t in self.cycle.of(form, "any time")]) for form in self.done}

    def day(self, step: float) -> float:
        """Day of a step [d]."""
        return self.start_day + step * self.dt

    def rates(self, k: int) -> dict[str, float]:
        """Rates in step k among all fish, without drug in the water."""
        return self._tables[self._level[k]]

    def shape(self, form: str, k: int) -> float:
        """Gamma shape of what begins in step k."""
        return self._shapes[self._level[min(k, self.steps - 1)]][form]

    def _shape(self, form: LifeForm, temperature_c: float) -> float:
        if form.name in self.spread:
            return self.spread[form.name]
        development = self.parameters.development
        if development is not None and form.name == "egg":
            return float(development.egg_shape(temperature_c)[0])
        if development is not None and form.name == "juvenile":
            return float(development.maturity.shape_at(temperature_c)[0])
        return float(form.stages)

    def _by_chance(self, form: str) -> np.ndarray:
        """Shares of the hazards of a form at each temperature, (levels, hazards)."""
        rates = np.array([[table[t.rate] for t in self.cycle.of(form, "any time")] for table in self._tables])
        whole = rates.sum(1, keepdims=True)
        return np.divide(rates, whole, out=np.zeros_like(rates), where=whole > 0)

    def _summed(self, names: Sequence[str]) -> np.ndarray:
        each = np.array([sum(table[name] for name in names) for table in self._tables])
        return np.concatenate([[0.0], np.cumsum(each[self._level] * self.dt)])

    def draw_ends(
        self, rng: np.random.Generator, form: str, places: np.ndarray, done: np.ndarray | float = 0.0
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """When and why individuals leave a form that they are in, `done` on, at `places` counted in steps.

        Returns the step in which each leaves, the number of the transition among `exits`, and the development of the
        form done before each began.
        """
        steps = np.arange(self.steps + 1.0)
        begun = np.interp(places, steps, self.done[form]) - done
        need = _needed(rng, self.shape(form, int(places[0]) if places.size else 0), done, places.size)
        by_age = np.interp(begun + need, self.done[form], steps, right=np.inf)
        fate = np.interp(places, steps, self.met[form]) + rng.standard_exponential(places.size)
        by_chance = np.interp(fate, self.met[form], steps, right=np.inf)
        when = np.minimum(np.minimum(by_age, by_chance), self.steps).astype(np.int64)
        cause = np.zeros(places.size, np.int8)
        hit = by_chance < by_age
        cause[hit] = 1 + self._cause(rng, form, when[hit])
        return when, cause, begun

    def end_chances(self, form: str, k: int) -> np.ndarray:
        """Chance of leaving by each exit in each step from k on, of what begins in the middle of step k.

        Shape (exits, W); the last column also takes what is still there then, at the end of the run or one in 10¹².
        """
        shape, place = self.shape(form, k), k + 0.5
        steps = np.arange(self.steps + 1.0)
        last = self._last(form, k, shape)
        edges = np.concatenate([[place], steps[k + 1 : last + 1]])
        done, met = (np.interp(edges, steps, x) - np.interp(place, steps, x) for x in (self.done[form], self.met[form]))
        aged = (done >= 1).astype(float) if np.isinf(shape) else gammainc(shape, shape * done)
        by_age = np.diff(aged) * np.exp(-0.5 * (met[1:] + met[:-1]))
        by_chance = np.maximum(-np.diff((1 - aged) * np.exp(-met)) - by_age, 0)
        left = [np.append(by_age, (1 - aged[-1]) * np.exp(-met[-1]))]
        share = self._hazards[form][self._level[k:last]]
        return np.array([*left, *(np.append(by_chance * each, 0.0) for each in share.T)])

    def _last(self, form: str, k: int, shape: float) -> int:
        """Step by which all but one in 10¹² of what begins in step k have left a form, or the last one."""
        enough = 1.0 if np.isinf(shape) else gammainccinv(shape, 1e-12) / shape
        by_age = np.searchsorted(self.done[form], self.done[form][k + 1] + enough)
        by_chance = np.searchsorted(self.met[form], self.met[form][k + 1] + np.log(1e12))
        return int(min(by_age + 1, by_chance + 1, self.steps))

    def _cause(self, rng: np.random.Generator, form: str, when: np.ndarray) -> np.ndarray:
        """Which of several hazards it was, in proportion to their rates in that step."""
        if self._hazards[form].shape[1] == 1:
            return np.zeros(when.size, np.int8)
        rows = np.cumsum(self._hazards[form], 1)[self._level[np.minimum(when, self.steps - 1)]]
        return (rng.random(when.size)[:, None] > rows[:, :-1]).sum(1)

    def exits(self, form: str) -> tuple[Transition, ...]:
        """Transitions by which a form is left, the one by age first."""
        return self.cycle.of(form, "completes") + self.cycle.of(form, "any time")


def _needed(rng: np.random.Generator, shape: float, done: np.ndarray | float, count: int) -> np.ndarray:
    """Development that each needs in all, mean 1, given that it is not yet finished with `done`."""
    if np.isinf(shape):
        return np.maximum(np.ones(count), done)
    if np.all(np.asarray(done) == 0):
        return rng.gamma(shape, 1 / shape, count)
    left = gammaincc(shape, shape * np.asarray(done)) * rng.random(count)
    return np.maximum(gammainccinv(shape, left) / shape, done)


class Calendar:
    """A form that ages, in the water: how many leave each pond, by step and cause."""

    def __init__(self, table: Timetable, form: str, ponds: int) -> None:
        self.table, self.form = table, form
        self.leaving = np.zeros((len(table.exits(form)), ponds, table.steps + 1), np.int32)
        self.there = np.zeros(ponds, np.int64)

    def enter(self, rng: np.random.Generator, amount: np.ndarray, place: float, slots: int = 0) -> None:
        """Take in so many in each pond, (R,), during step `place`; or (R, slots) with development behind them."""
        if not slots and amount.max() > _MANY * self.table.steps:
            self._enter_many(rng, amount, place)
            return
        where = np.nonzero(amount)
        pond = np.repeat(where[0], amount[where])
        done = (np.repeat(where[1], amount[where]) + 0.5) / slots if slots > 1 else 0.0
        if pond.size:
            within = 0.0 if slots else rng.random(pond.size)
            when, cause, _ = self.table.draw_ends(rng, self.form, np.full(pond.size, float(place)) + within, done)
            np.add.at(self.leaving, (cause, pond, when), 1)
            self.there += np.bincount(pond, minlength=self.there.size)

    def _enter_many(self, rng: np.random.Generator, amount: np.ndarray, place: int) -> None:
        """The same for crowds: one multinomial draw over steps and causes instead of one draw an individual."""
        chance = self.table.end_chances(self.form, place)
        causes, steps = chance.shape
        drawn = rng.multinomial(amount, chance.ravel() / chance.sum()).reshape(-1, causes, steps)
        self.leaving[:, :, place : place + steps] += drawn.transpose(1, 0, 2).astype(np.int32)
        self.there += amount

    def count(self) -> np.ndarray:
        """Number there, (R,)."""
        return self.there

    def due(self, k: int) -> np.ndarray:
        """Take out those leaving in step k, by cause, (causes, R)."""
        leaving = self.leaving[:, :, k].astype(np.int64)
        self.there = self.there - leaving.sum(0)
        return leaving

    def thin(self, rng: np.random.Generator, effect: DoseEffect, k: int) -> None:
        """Apply a dose."""
        killed = share_killed(effect, self.form)
        if killed > 0:
            self.leaving[:, :, k:] = rng.binomial(self.leaving[:, :, k:], 1 - killed)
            self.there = self.leaving[:, :, k:].sum((0, 2), dtype=np.int64)

    def keep(self, ponds: np.ndarray) -> None:
        """Go on with some of the ponds."""
        self.leaving, self.there = self.leaving[:, ponds], self.there[ponds]


class Cohorts:
    """A form that ages, on the fish: one entry an individual."""

    def __init__(self, table: Timetable, form: str, shape: tuple[int, int]) -> None:
        self.table, self.form, self.shape = table, form, shape
        self.host = np.zeros(0, np.int64)
        self.when, self.cause, self.begun = np.zeros(0, np.int64), np.zeros(0, np.int8), np.zeros(0)

    def enter(self, rng: np.random.Generator, amount: np.ndarray, place: float, slots: int = 0) -> None:
        """Take in so many on each fish, (R, F), during step `place`; or (R, F, slots) with development behind them."""
        flat = amount.reshape(self.shape[0] * self.shape[1], -1)
        where = np.nonzero(flat)
        host = np.repeat(where[0], flat[where])
        done = (np.repeat(where[1], flat[where]) + 0.5) / slots if slots > 1 else 0.0
        if host.size:
            within = 0.0 if slots else rng.random(host.size)
            more = self.table.draw_ends(rng, self.form, np.full(host.size, float(place)) + within, done)
            self.host = np.concatenate([self.host, host])
            self.when, self.cause, self.begun = (
                np.concatenate([old, new]) for old, new in zip((self.when, self.cause, self.begun), more, strict=True)
            )

    def count(self) -> np.ndarray:
        """Number on each fish, (R, F)."""
        return np.bincount(self.host, minlength=self.shape[0] * self.shape[1]).reshape(self.shape)

    def due(self, k: int) -> np.ndarray:
        """Take out those leaving in step k, by cause, (causes, R, F)."""
        causes = len(self.table.exits(self.form))
        leaving = np.zeros((causes, *self.shape), np.int64)
        now = self.when <= k
        if now.any():
            np.add.at(leaving.reshape(causes, -1), (self.cause[now], self.host[now]), 1)
            self._filter(~now)
        return leaving

    def thin(self, rng: np.random.Generator, effect: DoseEffect, k: int) -> None:
        """Apply a dose; juveniles whose development is below the sheltered share meet it in their shelter."""
        killed = np.full(self.host.size, share_killed(effect, self.form))
        if self.form == "juvenile" and "juvenile" in effect.by_form:
            young = self.table.done[self.form][k] - self.begun < effect.sheltered_fraction[0]
            killed[young] = effect.sheltered_kill[0]
        self._filter(rng.random(self.host.size) >= killed)

    def drop_hosts(self, dead: np.ndarray) -> None:
        """Let the flukes of dead fish, (R, F), die."""
        self._filter(~dead.ravel()[self.host])

    def keep(self, ponds: np.ndarray) -> None:
        """Go on with some of the ponds."""
        place = np.full(self.shape[0], -1)
        place[ponds] = np.arange(ponds.size)
        self._filter(place[self.host // self.shape[1]] >= 0)
        self.host = place[self.host // self.shape[1]] * self.shape[1] + self.host % self.shape[1]
        self.shape = (ponds.size, self.shape[1])

    def _filter(self, left: np.ndarray) -> None:
        self.host, self.when, self.cause, self.begun = (x[left] for x in (self.host, self.when, self.cause, self.begun))


class Counted:
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


def share_killed(effect: DoseEffect, form: str) -> float:
    return float(effect.kill_of(form)[0])

"""The backward equations of an egg-layer by age, for many schedules at once, at any course of temperature.

An egg laid now hatches after a gamma-distributed amount of development, a settler matures after another; what a newly
laid egg or a new settler can still come to is therefore an integral over the day on which it hatches or matures, with
the measured spread and no stages. Doses that fall in between multiply it. One walk from the horizon back gives every
schedule of a batch, and every number of doses of one interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from burden.model.elimination.dose_survival import Batch, Doses
from burden.model.elimination.waiting_times import Ends, Leaving, Memo, Waiting
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.stable_stages import Population
from burden.model.linear_chain import chain_passage, looked_back
from burden.model.temperature import Temperature

__all__ = ["Habitat", "Values", "backward"]


@dataclass(frozen=True)
class Habitat:
    """Where and how the flukes live, without brakes.

    Parameters
    ----------
    parameters : Parameters
        M draws, with `establishment`.
    temperature : Temperature
    fish_per_m3 : numpy.ndarray
        Shape (M,) [1/m³].
    exchange_per_day : float or numpy.ndarray
        [1/d]
    times : numpy.ndarray
        Grid, rising [d]; it may go on beyond the horizon, so that what is under way then is known.
    horizon : int
        Grid time at which descendants are looked for; those before it are numbered 0 to `horizon`.
    memo : dict
        Distributions already computed. May be shared between habitats of the same parameters and temperature.
    """

    parameters: Parameters
    temperature: Temperature
    fish_per_m3: np.ndarray
    exchange_per_day: np.ndarray | float
    times: np.ndarray
    horizon: int
    memo: Memo = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def steps(self) -> tuple[dict[str, np.ndarray], ...]:
        """Rates of every interval, at its middle; intervals of one temperature share one dictionary."""
        around = Surroundings(self.fish_per_m3, self.exchange_per_day)
        eggs = self.parameters.of_eggs
        rows: list[dict[str, np.ndarray]] = []
        rates, last = {}, None
        for day in 0.5 * (self.times[1:] + self.times[:-1]):
            temperature = self.temperature.at(day)
            if last is None or not np.array_equal(temperature, last):
                rates = rates_at(self.parameters, temperature, around)
                rates["egg_shape"] = eggs.egg_shape(temperature)
                rates["juvenile_shape"] = eggs.maturity.shape_at(temperature)
            rows.append(rates)
            last = temperature
        return tuple(rows)

    @cached_property
    def hatching(self) -> Waiting:
        """When an egg that starts at a grid time hatches."""
        return Waiting(self.times, self.steps, self.memo, "egg_rate", "egg_shape", "egg_loss")

    @cached_property
    def maturing(self) -> Waiting:
        """When a larva that settles at a grid time lays its first egg."""
        return Waiting(self.times, self.steps, self.memo, "juvenile_rate", "juvenile_shape", "juvenile_loss")


@dataclass(frozen=True)
class Values:
    """What one individual can still come to at a grid time, just before a dose of that time, (S, M) each."""

    fresh_egg: np.ndarray  # by stage of wear, (m, S, M)
    eggs: np.ndarray  # by stage of development, (n, S, M)
    larva: np.ndarray
    juveniles: np.ndarray  # by stage of development, (n, S, M)
    adult: np.ndarray

    def expected(self, population: Population) -> tuple[np.ndarray, np.ndarray]:
        """Sum of the values over all in the water, and over all on the fish, each shape (S, M)."""
        water = population.larvae * self.larva + np.einsum("nm,nsm->sm", population.eggs, self.eggs)
        if len(population.fresh_eggs):
            water = water + np.einsum("nm,nsm->sm", population.fresh_eggs, self.fresh_egg)
        fish = population.adults * self.adult + np.einsum("nm,nsm->sm", population.juveniles, self.juveniles)
        return water, fish


def backward(
    habitat: Habitat,
    batch: Batch,
    starts: Sequence[np.ndarray],
    stages: tuple[int, int, int],
    *,
    linear: bool = False,
    on_fish_only: bool = False,
) -> list[Values]:
    """Walk from the horizon back to every start.

    Parameters
    ----------
    habitat : Habitat
    batch : Batch
        S schedules; doses before a start still count for it, so leave them out.
    starts : sequence of numpy.ndarray of int
        Start steps of each schedule, each shape (S,): one entry a number of doses.
    stages : tuple of int
        Stages of wear, of eggs and of juveniles in which the population is given.
    linear : bool
        Expected numbers instead of the probability of leaving descendants.
    on_fish_only : bool
        Count at the horizon only what is on the fish, not eggs and larvae.

    Returns
    -------
    list of Values
        One an entry of `starts`, each of shape (…, S, M).

    Notes
    -----
    With p the probability of leaving any descendant at the horizon: −dp_A/dt = λ p_egg (1 − p_A) − μ_A p_A, the
    others linear; a dose is p ← (1 − κ) p. `linear` leaves out the factor (1 − p_A).
    """
    walk = _Walk(habitat, batch, linear, on_fish_only, stages)
    found: list[list[tuple[np.ndarray, Values]]] = [[] for _ in starts]
    earliest = int(min(s.min() for s in starts))
    for i in range(habitat.horizon, earliest - 1, -1):
        walk.step_to(i)
        for column, start in zip(found, starts, strict=True):
            if (which := np.flatnonzero(start == i)).size:
                column.append((which, walk.values(i, which)))
    return [_in_order(column) for column in found]


def _in_order(parts: Sequence[tuple[np.ndarray, Values]]) -> Values:
    """Join the values of schedules read at different times, by the number of the schedule."""
    order = np.argsort(np.concatenate([which for which, _ in parts]))

    def joined(name: str) -> np.ndarray:
        found: np.ndarray = np.concatenate([getattr(values, name) for _, values in parts], axis=-2)[..., order, :]
        return found

    return Values(*map(joined, ("fresh_egg", "eggs", "larva", "juveniles", "adult")))


class _Walk:
    """State of one backward walk: values after the doses of each grid time, from the horizon down to `i`."""

    def __init__(
        self, habitat: Habitat, batch: Batch, linear: bool, on_fish_only: bool, stages: tuple[int, int, int]
    ) -> None:
        n, m, s = habitat.horizon, habitat.parameters.size, len(batch.dose_steps)
        self.habitat, self.batch, self.linear, self.stages = habitat, batch, linear, stages
        self.water_end = 0.0 if on_fish_only else 1.0
        self.doses = Doses(batch, habitat.times, n)
        self.adult, self.larva = np.ones((s, m)), np.full((s, m), self.water_end)
        self.fresh = np.full((stages[0], s, m), self.water_end)
        self.egg = np.full((s, m), self.water_end)
        self.settler = np.ones((s, m))
        # values of hatching and of maturing in each interval, weighed with the doses survived up to its start
        self.hatched, self.matured = np.zeros((n, s, m)), np.zeros((n, s, m))
        self._passed: tuple[int, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = (-1, [])
        self.passed = [Leaving.of(habitat.maturing, n, batch.last, e.sheltered_fraction) for e in batch.effects]

    # --- the walk -----------------------------------------------------------------------------------------------
    def step_to(self, i: int) -> None:
        """Bring every value from grid time i + 1 to just after the doses of grid time i."""
        if i == self.habitat.horizon:
            return
        doses = self.doses
        later = {form: getattr(self, form) * doses.at(form, i + 1) for form in ("adult", "larva", "egg")}
        fresh_later = self.fresh * doses.at("fresh_egg", i + 1)
        settler_later = self.settler * doses.at("sheltered", i + 1)
        rates, dt = self.habitat.steps[i], self.habitat.times[i + 1] - self.habitat.times[i]
        self.settler = self._from_settling(i)
        self.larva, larva_mean = self._larva(i, later["larva"], 0.5 * (self.settler + settler_later), rates, dt)
        self.hatched[i] = larva_mean * rates["hatch_success"] * doses.until("egg", i)
        self.egg = self._from_starting(i)
        laid = 0.5 * (self.egg + later["egg"])
        if self.stages[0]:
            self.fresh, laid = self._fresh(fresh_later, laid, rates, dt)
        laying = rates["laying_rate"] * (1.0 if self.batch.laying is None else self.batch.laying[i])
        self.adult = _adult(later["adult"], laying * laid, rates["adult_loss"], dt, self.linear)
        self.matured[i] = 0.5 * (self.adult + later["adult"]) * doses.until("juvenile", i)

    def _larva(
        self, i: int, later: np.ndarray, settler: np.ndarray, rates: dict[str, np.ndarray], dt: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Larvae meet a fish, die, or are killed by what is dissolved: at the interval's start, and its mean."""
        mid = 0.5 * (self.habitat.times[i] + self.habitat.times[i + 1])
        hazard, kill = self.doses.dissolved(mid)
        establishment = rates["establishment"] * (1 - kill)
        if self.batch.settling is not None:
            establishment = establishment * self.batch.settling[i]
        whole = rates["contact"] + rates["larva_loss"] + hazard
        return _relax(later, rates["contact"] / whole * establishment * settler, whole, dt)

    def _fresh(
        self, later: np.ndarray, started: np.ndarray, rates: dict[str, np.ndarray], dt: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Fresh eggs start at a rate from any stage of wear; worn right through they are dead.

        Values by stage at the interval's start, and the mean over it of a newly laid egg.
        """
        m = self.stages[0]
        leave = np.maximum(rates["fresh_rate"] + rates["egg_loss"], 1e-12)
        goal = rates["fresh_rate"] / leave * started
        wear = m * rates["chill_rate"]
        if not np.any(wear):
            now, mean = _relax(later, goal, leave, dt)
            return now, mean[0]
        now, _, left = looked_back(later, *chain_passage(m, rates["chill_rate"], leave, dt))
        now = now + left[:, None, :] * goal
        return now, 0.5 * (now[0] + later[0])

    def _from_starting(self, i: int) -> np.ndarray:
        """Value of an egg that starts now, after the doses of this time."""
        ended = self.habitat.hatching.from_start(i)
        left = ended.left_at(self.habitat.horizon - i)[0] * self.water_end
        came = ended.summed(i, self.habitat.horizon, self.hatched)[0]
        return (came + left * self.doses.whole("egg")) / self.doses.until("egg", i)

    def _from_settling(self, i: int) -> np.ndarray:
        """Value of a larva that settles now, after the doses of this time."""
        ended, doses = self.habitat.maturing.from_start(i), self.doses
        came = ended.summed(i, self.habitat.horizon, self.matured)[0]
        worth = came + ended.left_at(self.habitat.horizon - i)[0] * doses.whole("juvenile")
        if i >= self.batch.last:  # no dose is to come
            return worth / doses.until("juvenile", i)
        had = [given[i][:, None] for given in doses.given]
        leaving = [_between(given, *passed.at(i)) for given, passed in zip(doses.given, self.passed, strict=True)]
        return self._reached(had, leaving) * worth

    def _reached(self, had: Sequence[np.ndarray], leaving: Sequence[tuple[np.ndarray, ...]]) -> np.ndarray:
        """Share spared in the shelter, over what the sum over maturing days took off for doses met there.

        Leaving the shelter falls between two grid times; the factor is interpolated, not the number of doses.
        """

        def factor(counts: Sequence[np.ndarray]) -> np.ndarray:
            young = [count - before for count, before in zip(counts, had, strict=True)]
            return np.exp(self.doses.log("sheltered", young) - self.doses.log("juvenile", counts))

        share = leaving[0][2] if leaving else 0.0
        here = factor([pair[0] for pair in leaving])
        if not np.any(share):
            return here
        return here * (1 - share) + share * factor([pair[1] for pair in leaving])

    def passed_from_stages(self, i: int) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """When juveniles of each stage leave the shelter of each effect, and which have left it, (n, M) each.

        The last answer is kept: several numbers of doses may ask for the same start.
        """
        if self._passed[0] != i:
            stages = self.stages[2]
            done = ((np.arange(stages) + 0.5) / stages)[:, None]
            starts = np.full((stages, 1), i)
            fractions = [effect.sheltered_fraction for effect in self.batch.effects]
            self._passed = (i, [
                (*self.habitat.maturing.reaching(self.habitat.horizon, starts, f - done), done >= f) for f in fractions
            ])  # fmt: skip
        return self._passed[1]

    # --- what a start reads -----------------------------------------------------------------------------------
    def values(self, i: int, which: np.ndarray) -> Values:
        """Values of every age and stage for P schedules at grid time i, before its doses, (…, P, M) each."""
        some = _Some(self, i, which)
        return Values(
            fresh_egg=some.spared("fresh_egg") * self.fresh[:, which],
            eggs=some.eggs(),
            larva=some.spared("larva") * self.larva[which],
            juveniles=some.juveniles(),
            adult=some.spared("adult") * self.adult[which],
        )


class _Some:
    """Schedules of a walk, read at one time, for individuals that have part of their development behind them."""

    def __init__(self, walk: _Walk, i: int, which: np.ndarray) -> None:
        self.walk, self.i, self.which = walk, i, which
        self.had = [given[i - 1, which] if i else np.zeros(len(which)) for given in walk.doses.given]
        self.all = [given[-1, which] for given in walk.doses.given]

    def spared(self, form: str) -> np.ndarray | float:
        share = self.walk.doses.at(form, self.i)
        return share[self.which] if isinstance(share, np.ndarray) else share

    def _worth(self, array: np.ndarray, ended: Ends) -> np.ndarray:
        first, last = self.which[0], self.which[-1] + 1
        together = last - first == len(self.which)  # a slice copies nothing
        return ended.summed(self.i, self.walk.habitat.horizon, array[:, slice(first, last) if together else self.which])

    def eggs(self) -> np.ndarray:
        walk, log = self.walk, self.walk.doses.log
        ended = walk.habitat.hatching.from_stages(self.i, walk.stages[1])
        base, end = log("egg", self.had), log("egg", self.all)
        left = (ended.left_at(walk.habitat.horizon - self.i) * walk.water_end)[:, None]
        return self._worth(walk.hatched, ended) * np.exp(-base) + left * np.exp(end - base)

    def juveniles(self) -> np.ndarray:
        walk, waiting, stages = self.walk, self.walk.habitat.maturing, self.walk.stages[2]
        ended = waiting.from_stages(self.i, stages)
        had = [before[:, None] for before in self.had]
        leaving = []
        passed = walk.passed_from_stages(self.i)
        for given, before, (step, share, out) in zip(walk.doses.given, had, passed, strict=True):
            early, late, _ = _between(given[:, self.which], step, share)
            # past the shelter already: every dose from this time on is met in the open
            met = [np.where(out[:, None], before, counts) for counts in (early, late)]
            leaving.append((met[0], met[1], share[:, None]))
        end = np.exp(walk.doses.log("juvenile", self.all))
        left = ended.left_at(walk.habitat.horizon - self.i)[:, None]
        return walk._reached(had, leaving) * (self._worth(walk.matured, ended) + left * end)


def _relax(later: np.ndarray, goal: np.ndarray, pace: np.ndarray, dt: float) -> tuple[np.ndarray, np.ndarray]:
    """Value at the start of an interval, and its mean, of what moves to a goal at a pace [1/d]; exact."""
    moved = -np.expm1(-pace * dt)
    return later + moved * (goal - later), goal + (later - goal) * moved / (pace * dt)


def _adult(later: np.ndarray, birth: np.ndarray, death: np.ndarray, dt: float, linear: bool) -> np.ndarray:
    """Adult over one interval at a constant rate of successful births [1/d]; exact."""
    if linear:
        return later * np.exp(-death * dt) + birth * -np.expm1(-death * dt) / death
    pace = birth + death
    return later * np.exp(-pace * dt) + birth / pace * -np.expm1(-pace * dt)


def _between(given: np.ndarray, step: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Doses given by the grid times around a moment, (…, S, M) each, and how far it is from the first to the second."""
    around = (given[step], given[np.minimum(step + 1, len(given) - 1)])
    early, late = (np.swapaxes(counts, -1, -2) for counts in around)
    return early, late, share

"""The backward equations of an egg-layer by age, for many schedules at once, at any course of temperature.

An egg laid now hatches after a gamma-distributed amount of development, a settler matures after another; what a newly
laid egg or a new settler can still come to is therefore an integral over the day on which it hatches or matures, with
the measured spread and no stages. Doses that fall in between multiply it. One pass from the horizon back gives every
schedule of a batch, and every number of doses of one interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import gammainc

from burden.chains import chain_kernel
from burden.effects import DoseEffect
from burden.lifecycle import Parameters, Surroundings, rates_at
from burden.water import Temperature

__all__ = ["Batch", "Habitat", "Population", "Values", "backward"]

#: what is left of a duration's distribution beyond the window that is summed
_TAIL = 1e-7


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
        Grid from the start to the horizon, rising, shape (N + 1,) [d].
    """

    parameters: Parameters
    temperature: Temperature
    fish_per_m3: np.ndarray
    exchange_per_day: np.ndarray | float
    times: np.ndarray

    def take(self, draws: np.ndarray) -> Habitat:
        """Return the habitat of the draws at some positions."""
        drift, exchange = self.temperature.drift_c, np.asarray(self.exchange_per_day, float)
        temperature = self.temperature
        if drift is not None:
            temperature = Temperature(
                temperature.knots_days,
                temperature.values_c,
                drift[draws],
                temperature.known_until_days,
                temperature.ramp_days,
            )
        return Habitat(
            self.parameters.take(draws),
            temperature,
            self.fish_per_m3[draws],
            exchange[draws] if exchange.ndim else self.exchange_per_day,
            self.times,
        )

    @cached_property
    def steps(self) -> tuple[dict[str, np.ndarray], ...]:
        """Rates of every interval, at its middle; intervals of one temperature share one dictionary."""
        around = Surroundings(self.fish_per_m3, self.exchange_per_day)
        rows, last = [], None
        for day in 0.5 * (self.times[1:] + self.times[:-1]):
            temperature = self.temperature.at(day)
            if last is None or np.ndim(temperature) or np.ndim(last) or temperature != last:
                rates = rates_at(self.parameters, temperature, around)
                rates["egg_shape"] = self.parameters.development.egg_shape(temperature)
                rates["juvenile_shape"] = self.parameters.development.maturity.shape_at(temperature)
            rows.append(rates)
            last = temperature
        return tuple(rows)

    def progress(self, rate: str) -> np.ndarray:
        """Development done by each grid time, shape (N + 1, M) [-]."""
        done = np.cumsum([row[rate] for row in self.steps] * np.diff(self.times)[:, None], axis=0)
        return np.concatenate([np.zeros((1, done.shape[1])), done])

    @cached_property
    def hatching(self) -> _Waiting:
        """When an egg that starts at a grid time hatches."""
        return _Waiting(self, "egg_rate", "egg_shape", "egg_loss")

    @cached_property
    def maturing(self) -> _Waiting:
        """When a larva that settles at a grid time lays its first egg."""
        return _Waiting(self, "juvenile_rate", "juvenile_shape", "juvenile_loss")


class _Waiting:
    """Distribution of the interval in which a duration that starts at a grid time ends, survival included."""

    def __init__(self, habitat: Habitat, rate: str, shape: str, loss: str) -> None:
        self.times, self.rows = habitat.times, habitat.steps
        self.progress = habitat.progress(rate)
        self.rate, self.shape, self.loss = rate, shape, loss
        self._kept: tuple[object, tuple[int, np.ndarray, np.ndarray]] = (None, None)
        self._cache: dict[int, tuple[int, np.ndarray, np.ndarray]] = {}
        self._kept_from: dict[object, tuple[int, np.ndarray, np.ndarray]] = {}

    def from_start(self, i: int) -> tuple[int, np.ndarray, np.ndarray]:
        """Share of those that start at time i and end in each interval.

        Returns
        -------
        first : int
            Number of the first interval summed.
        ends : numpy.ndarray
            Shares ending, alive, in the intervals from `first` on, shape (K, M).
        remain : numpy.ndarray
            Share alive and not ended at the horizon, shape (M,).
        """
        if i not in self._cache:
            shape = self.rows[min(i, len(self.rows) - 1)][self.shape]
            last = self._reach(i, shape)
            key = self._key(i, last)
            if key is None or key != self._kept[0]:
                self._kept = (key, self._compute(i, last, 0.0, shape))
                self._offset = i
            first, ends, remain = self._kept[1]
            self._cache[i] = (first - self._offset + i, ends, remain)
        return self._cache[i]

    def from_progress(self, i: int, done: float) -> tuple[int, np.ndarray, np.ndarray]:
        """The same for those that have done a share `done` of their development at time i."""
        shape = self.rows[min(i, len(self.rows) - 1)][self.shape]
        last = self._reach(i, shape)
        key = (done, self._key(i, last) or i)
        if key not in self._kept_from:
            first, ends, remain = self._compute(i, last, done, shape)
            self._kept_from[key] = (first - i, ends, remain)
        skip, ends, remain = self._kept_from[key]
        return i + skip, ends, remain

    def _reach(self, i: int, shape: np.ndarray) -> int:
        """Last grid time that matters: where all but `_TAIL` have ended for every draw."""
        limit = 1 + 6.5 / np.sqrt(shape) + 12 / shape  # beyond the 1 − 1e-7 point of the gamma
        beyond = (self.progress[i:] - self.progress[i] >= limit).all(1)
        return i + int(beyond.argmax()) if beyond.any() else len(self.times) - 1

    def _key(self, i: int, last: int) -> tuple[object, ...] | None:
        """What makes the distribution the same as that of another start, or None near the horizon."""
        if last >= len(self.times) - 1:
            return None
        rows = self.rows[i : last + 1]
        same = all(row is rows[0] for row in rows)
        gaps = np.diff(self.times[i : last + 1])
        return (id(rows[0]), last - i, tuple(np.round(gaps, 9))) if same else None

    def _compute(self, i: int, last: int, done: np.ndarray, shape: np.ndarray) -> tuple[int, np.ndarray, np.ndarray]:
        reached = done + self.progress[i : last + 1] - self.progress[i]
        ended = gammainc(shape, shape * reached)
        if done > 0:
            ended = _given_not_ended(ended)
        gaps = np.diff(self.times[i : last + 1])[:, None]
        loss = np.array([row[self.loss] * np.ones_like(shape) for row in self.rows[i:last]]).reshape(-1, shape.size)
        worn = np.concatenate([np.zeros((1, shape.size)), np.cumsum(loss * gaps, 0)])
        ends = np.diff(ended, axis=0) * np.exp(-0.5 * (worn[1:] + worn[:-1]))
        remain = (1 - ended[-1]) * np.exp(-worn[-1])
        some = np.flatnonzero((np.diff(ended, axis=0) > 1e-12).any(1))
        skip = int(some[0]) if some.size else 0
        return i + skip, ends[skip:], remain


def _given_not_ended(ended: np.ndarray) -> np.ndarray:
    """Condition a distribution function on not having ended at its first point; those far beyond end at once."""
    left = 1 - ended[0]
    given = np.divide(ended - ended[0], left, out=np.ones_like(ended), where=left > 1e-9)
    given[0] = 0.0
    return given


@dataclass(frozen=True)
class Batch:
    """S schedules over one habitat, each of at most D doses.

    Parameters
    ----------
    dose_steps : numpy.ndarray of int
        Grid time of each dose, shape (S, D); -1 for none.
    effect_of : numpy.ndarray of int
        Which effect each dose has, shape (S, D).
    effects : sequence of DoseEffect
        M draws each.
    laying, settling : numpy.ndarray, optional
        Share that the brakes leave in each interval, shape (N, M), along the draw's own path; None for both off.
    """

    dose_steps: np.ndarray
    effect_of: np.ndarray
    effects: Sequence[DoseEffect]
    laying: np.ndarray | None = None
    settling: np.ndarray | None = None

    def given(self, effect: int, times: int) -> np.ndarray:
        """Number of doses of one effect given up to and including each grid time, shape (N + 1, S)."""
        count = np.zeros((times, len(self.dose_steps)))
        for s, (steps, kinds) in enumerate(zip(self.dose_steps, self.effect_of, strict=True)):
            for step in steps[(kinds == effect) & (steps >= 0)]:
                count[step:, s] += 1
        return count


@dataclass(frozen=True)
class Population:
    """Who is there at the start, as means of what may be there, M draws.

    Parameters
    ----------
    fresh_eggs : numpy.ndarray
        Total, by stage of wear, shape (m, M); m = 0 for sets that do not tell them apart.
    eggs : numpy.ndarray
        Started eggs by stage of development, shape (n, M).
    larvae, adults : numpy.ndarray
        Totals, shape (M,).
    juveniles : numpy.ndarray
        Total by stage of development, shape (n, M).
    fish : numpy.ndarray
        Live fish, shape (M,).
    aggregation : numpy.ndarray
        k of the burden across fish, shape (M,).
    """

    fresh_eggs: np.ndarray
    eggs: np.ndarray
    larvae: np.ndarray
    juveniles: np.ndarray
    adults: np.ndarray
    fish: np.ndarray
    aggregation: np.ndarray


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
    found: list[list[Values | None]] = [[None] * len(batch.dose_steps) for _ in starts]
    earliest = int(min(s.min() for s in starts))
    for i in range(len(habitat.times) - 1, earliest - 1, -1):
        walk.step_to(i)
        for column, start in zip(found, starts, strict=True):
            for s in np.flatnonzero(start == i):
                column[s] = walk.values(i, s)
    return [_stack(column) for column in found]


def _stack(values: Sequence[Values]) -> Values:
    names = ("fresh_egg", "eggs", "larva", "juveniles", "adult")
    return Values(*(np.stack([getattr(v, name) for v in values], axis=-2) for name in names))


class _Walk:
    """State of one backward walk: values after the doses of each grid time, from the horizon down to `i`."""

    def __init__(
        self, habitat: Habitat, batch: Batch, linear: bool, on_fish_only: bool, stages: tuple[int, int, int]
    ) -> None:
        n, m, s = len(habitat.times) - 1, habitat.parameters.size, len(batch.dose_steps)
        self.habitat, self.batch, self.linear, self.stages = habitat, batch, linear, stages
        self.water_end = 0.0 if on_fish_only else 1.0
        self.given = [batch.given(k, n + 1) for k in range(len(batch.effects))]
        self.adult, self.larva = np.ones((s, m)), np.full((s, m), self.water_end)
        self.fresh = np.full((stages[0], s, m), self.water_end)
        self.egg = np.full((s, m), self.water_end)
        self.settler = np.ones((s, m))
        # values of hatching and of maturing in each interval, weighed with the doses survived up to its start
        self.hatched, self.matured = np.zeros((n, s, m)), np.zeros((n, s, m))
        self.passed = [_Passed.of(habitat.maturing.progress, e.sheltered_fraction) for e in batch.effects]

    # --- doses ------------------------------------------------------------------------------------------------
    def _spared(self, form: str, i: int) -> np.ndarray | float:
        """Share of a form that the doses of grid time i spare, (S, M)."""
        share = 1.0
        for given, effect in zip(self.given, self.batch.effects, strict=True):
            now = given[i] - (given[i - 1] if i else 0)
            if now.any():
                share = share * (1 - now[:, None] * effect.kill_of(form))
        return share

    def _log_spared(self, form: str, given: Sequence[np.ndarray]) -> np.ndarray:
        """Log of the share spared by so many doses of each effect, (S,) or (S, M) each -> (S, M)."""
        total = 0.0
        for count, effect in zip(given, self.batch.effects, strict=True):
            kill = effect.kill_of("juvenile" if form == "sheltered" else form)
            if form == "sheltered":
                kill = np.where(effect.sheltered_fraction > 0, effect.sheltered_kill, kill)
            count = count if count.ndim == 2 else count[:, None]
            total = total + count * np.log1p(-np.minimum(kill, 1 - 1e-12))
        return total

    # --- the walk -----------------------------------------------------------------------------------------------
    def step_to(self, i: int) -> None:
        """Bring every value from grid time i + 1 to just after the doses of grid time i."""
        n = len(self.habitat.times) - 1
        if i == n:
            return
        later = {form: getattr(self, form) * self._spared(form, i + 1) for form in ("adult", "larva")}
        fresh_later = self.fresh * self._spared("fresh_egg", i + 1)
        rates, dt = self.habitat.steps[i], self.habitat.times[i + 1] - self.habitat.times[i]
        settler_later = self.settler * np.exp(self._log_spared("sheltered", [g[i + 1] - g[i] for g in self.given]))
        self.settler = self._from_settling(i)
        self.larva, larva_mean = self._larva(i, later["larva"], 0.5 * (self.settler + settler_later), rates, dt)
        spared = np.exp(self._log_spared("egg", [g[i] for g in self.given]))
        self.hatched[i] = larva_mean * rates["hatch_success"] * spared
        egg_later, self.egg = self.egg * self._spared("egg", i + 1), self._from_starting(i)
        laid = 0.5 * (self.egg + egg_later)
        if self.stages[0]:
            self.fresh, laid = self._fresh(fresh_later, laid, rates, dt)
        laying = rates["laying_rate"] * (1.0 if self.batch.laying is None else self.batch.laying[i])
        self.adult = _adult(later["adult"], laying * laid, rates["adult_loss"], dt, self.linear)
        spared = np.exp(self._log_spared("juvenile", [g[i] for g in self.given]))
        self.matured[i] = 0.5 * (self.adult + later["adult"]) * spared

    def _larva(
        self, i: int, later: np.ndarray, settler: np.ndarray, rates: dict[str, np.ndarray], dt: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Larvae meet a fish, die, or are killed by what is dissolved: at the interval's start, and its mean."""
        mid = 0.5 * (self.habitat.times[i] + self.habitat.times[i + 1])
        hazard, kill = self._dissolved(mid)
        establishment = rates["establishment"] * (1 - kill)
        if self.batch.settling is not None:
            establishment = establishment * self.batch.settling[i]
        whole = rates["contact"] + rates["larva_loss"] + hazard
        return _relax(later, rates["contact"] / whole * establishment * settler, whole, dt)

    def _dissolved(self, day: float) -> tuple[np.ndarray | float, np.ndarray | float]:
        """Death rate of larvae and share of settlers killed by the doses given so far, (S, M)."""
        hazard, spared = 0.0, 1.0
        for k, effect in enumerate(self.batch.effects):
            if not effect.larva_hazard.any() and not effect.settler_kill.any():
                continue
            steps = np.where(self.batch.effect_of == k, self.batch.dose_steps, -1)
            since = np.where(steps >= 0, day - self.habitat.times[steps], -1.0)
            for waited in since.T:
                left = np.where(waited >= 0, 1.0, 0.0)[:, None] * np.exp(
                    -effect.fade_per_day * np.maximum(waited, 0)[:, None]
                )
                hazard = hazard + left * effect.larva_hazard
                spared = spared * (1 - left * effect.settler_kill)
        return hazard, 1 - spared

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
        kernel = chain_kernel(m, rates["chill_rate"], leave, dt)
        now, stay = np.zeros_like(later), np.zeros((m, wear.size))
        for j, shift in enumerate(kernel.shift):
            now[: m - j] += shift * later[j:]
            stay[: m - j] += shift
        worn = np.zeros((m, wear.size))
        worn[m - len(kernel.exit) :] = kernel.exit[::-1]
        now += (1 - stay - worn)[:, None, :] * goal
        return now, 0.5 * (now[0] + later[0])

    def _from_starting(self, i: int) -> np.ndarray:
        """Value of an egg that starts now, after the doses of this time."""
        first, ends, remain = self.habitat.hatching.from_start(i)
        base = self._log_spared("egg", [g[i] for g in self.given])
        value = np.einsum("km,ksm->sm", ends, self.hatched[first : first + len(ends)]) * np.exp(-base)
        end = self._log_spared("egg", [g[-1] for g in self.given])
        return value + remain * self.water_end * np.exp(end - base)

    def _from_settling(self, i: int) -> np.ndarray:
        """Value of a larva that settles now, after the doses of this time."""
        first, ends, remain = self.habitat.maturing.from_start(i)
        came = np.einsum("km,ksm->sm", ends, self.matured[first : first + len(ends)])
        end = np.exp(self._log_spared("juvenile", [g[-1] for g in self.given]))
        had = [given[i][:, None] for given in self.given]
        leaving = [_between(given, *passed.at(i)) for given, passed in zip(self.given, self.passed, strict=True)]
        return self._reached(had, leaving) * (came + remain * end)

    def _reached(self, had: Sequence[np.ndarray], leaving: Sequence[tuple[np.ndarray, ...]]) -> np.ndarray:
        """Share spared in the shelter, over what the sum over maturing days took off for doses met there.

        Leaving the shelter falls between two grid times; the factor is interpolated, not the number of doses.
        """

        def factor(counts: Sequence[np.ndarray]) -> np.ndarray:
            young = [count - before for count, before in zip(counts, had, strict=True)]
            return np.exp(self._log_spared("sheltered", young) - self._log_spared("juvenile", counts))

        share = leaving[0][2] if leaving else 0.0
        here = factor([pair[0] for pair in leaving])
        if not np.any(share):
            return here
        return here * (1 - share) + share * factor([pair[1] for pair in leaving])

    # --- what a start reads ---------------------------------------------------------------------------------------
    def values(self, i: int, s: int) -> Values:
        """Values of every age and stage for schedule s at grid time i, before its doses."""
        return _Lone(self, s).values(i)


class _Lone:
    """One schedule of a walk, read at one time, for individuals that have part of their development behind them."""

    def __init__(self, walk: _Walk, s: int) -> None:
        self.walk, self.s = walk, s

    def values(self, i: int) -> Values:
        walk, s = self.walk, self.s

        def before(form: str, value: np.ndarray) -> np.ndarray:
            spared = walk._spared(form, i)
            return value * (spared if np.ndim(spared) == 0 else spared[s])

        return Values(
            fresh_egg=before("fresh_egg", walk.fresh[:, s]),
            eggs=np.array([self._egg(i, (u + 0.5) / walk.stages[1]) for u in range(walk.stages[1])]),
            larva=before("larva", walk.larva[s]),
            juveniles=np.array([self._settled(i, (u + 0.5) / walk.stages[2]) for u in range(walk.stages[2])]),
            adult=before("adult", walk.adult[s]),
        )

    def _had(self, i: int) -> list[np.ndarray]:
        """Doses given before time i, one number an effect."""
        return [given[i - 1, self.s] if i else np.zeros(()) for given in self.walk.given]

    def _logs(self, form: str, counts: Sequence[np.ndarray]) -> np.ndarray:
        return self.walk._log_spared(form, [np.atleast_2d(c) for c in counts])[0]

    def _egg(self, i: int, done: float) -> np.ndarray:
        walk = self.walk
        first, ends, remain = walk.habitat.hatching.from_progress(i, done)
        base = self._logs("egg", self._had(i))
        end = self._logs("egg", [given[-1, self.s] for given in walk.given])
        value = (ends * walk.hatched[first : first + len(ends), self.s]).sum(0)
        return value * np.exp(-base) + remain * walk.water_end * np.exp(end - base)

    def _settled(self, i: int, done: float) -> np.ndarray:
        walk = self.walk
        waiting = walk.habitat.maturing
        first, ends, remain = waiting.from_progress(i, done)
        had = [np.atleast_2d(before) for before in self._had(i)]
        leaving = []
        for given, effect, before in zip(walk.given, walk.batch.effects, had, strict=True):
            step, share = _reaching(waiting.progress, i, effect.sheltered_fraction - done)
            early, late, share = _between(given[:, [self.s]], step, share)
            # past the shelter already: every dose from this time on is met in the open
            out = done >= effect.sheltered_fraction
            leaving.append((np.where(out, before, early), np.where(out, before, late), share))
        end = np.exp(self._logs("juvenile", [given[-1, self.s] for given in walk.given]))
        came = (ends * walk.matured[first : first + len(ends), self.s]).sum(0)
        return walk._reached(had, leaving)[0] * (came + remain * end)


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


@dataclass(frozen=True)
class _Passed:
    """When a larva that settles at each grid time leaves the shelter: after which grid time, and how far on."""

    step: np.ndarray  # (N + 1, M)
    share: np.ndarray  # (N + 1, M)

    @classmethod
    def of(cls, progress: np.ndarray, fraction: np.ndarray) -> _Passed:
        rows = [_reaching(progress, i, fraction) for i in range(len(progress))]
        return cls(np.array([step for step, _ in rows]), np.array([share for _, share in rows]))

    def at(self, i: int) -> tuple[np.ndarray, np.ndarray]:
        return self.step[i], self.share[i]


def _reaching(progress: np.ndarray, i: int, more: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Grid time after which `more` development has been added since time i, and the share of the step, (M,)."""
    last, columns = len(progress) - 1, np.arange(progress.shape[1])
    step = np.minimum(i + np.maximum((progress[i:] - progress[i] < more).sum(0) - 1, 0), last)
    after = np.minimum(step + 1, last)
    start, end = progress[step, columns], progress[after, columns]
    share = np.divide(progress[i] + more - start, end - start, out=np.zeros_like(start), where=end > start)
    # Values are joined by straight lines between grid times, which spreads the jump at the edge of the shelter over a
    # step on either side; half a step earlier keeps its area, so the error stays of second order.
    place = np.maximum(step + np.clip(share, 0, 1) - 0.5, i)
    return np.minimum(place.astype(int), last), place % 1


def _between(given: np.ndarray, step: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Doses given by the grid times around a moment, (S, M) each, and how far it is from the first to the second."""
    return given[step].T, given[np.minimum(step + 1, len(given) - 1)].T, share

"""Elimination against whole flukes drawn by lot."""

from __future__ import annotations

import numpy as np
import pytest
from ponds import DENSITY, dose_effect, drawn, fixed
from walks_back import by_age, habitat

from burden.model.lifecycle.rates import Surroundings, rates_at


class Lottery:
    """Lines of whole flukes, many ponds at once, every duration and death drawn: no rates solved, no code shared.

    An individual is a row (pond, day it enters its form, development behind it); a line counts as lasting when
    anybody of it is alive at the horizon.
    """

    def __init__(self, rates, n_egg, n_juvenile, horizon, doses, kill, shelter, seed):
        self.r, self.n_egg, self.n_juvenile, self.horizon = rates, n_egg, n_juvenile, horizon
        self.doses, self.kill, self.shelter = doses, kill, shelter
        self.rng = np.random.default_rng(seed)

    def killed_on(self, form, start, end, entered=None, done=0.0):
        """Day of the first dose that kills each individual while it is in a form; infinite where none does."""
        day = np.full(start.shape, np.inf)
        for dose in self.doses:
            kill = np.full(start.shape, self.kill[form])
            if form == "juvenile":
                progress = done + (dose - entered) * self.r["juvenile_rate"]
                kill = np.where(progress < self.shelter, self.kill["sheltered"], kill)
            hit = (start <= dose) & (dose < end) & (self.rng.random(start.shape) < kill)
            day = np.where(hit & np.isinf(day), dose, day)
        return day

    def stay(self, form, entered, wait, loss, done=0.0):
        """Whether each gets through its wait, and whether it is alive in the form at the horizon."""
        end = entered + wait
        dead = np.minimum(entered + self.rng.exponential(1 / loss, entered.shape),
                          self.killed_on(form, entered, end, entered, done))  # fmt: skip
        return (end <= dead) & (end <= self.horizon), (end > self.horizon) & (dead > self.horizon)

    def waiting(self, n, rate, size, done):
        """Time left of a gamma duration of which a share of the mean is over, by drawing until one is longer."""
        whole = self.rng.gamma(n, 1 / n, size)
        while (whole <= done).any():
            whole = np.where(whole <= done, self.rng.gamma(n, 1 / n, size), whole)
        return (whole - done) / rate

    def run(self, ponds, adults, eggs, larvae, juveniles):
        """Share of ponds in which nobody is alive at the horizon; eggs and juveniles start half developed."""
        lasting = np.zeros(ponds, bool)
        every = np.arange(ponds)
        counts = {"egg": eggs, "larva": larvae, "juvenile": juveniles, "adult": adults}
        rows = {form: (np.repeat(every, n), np.zeros(n * ponds), 0.5) for form, n in counts.items()}
        none = (np.zeros(0, int), np.zeros(0), 0.0)
        while any(pond.size for pond, *_ in rows.values()):
            rows = {form: (p[~lasting[p]], t[~lasting[p]], done) for form, (p, t, done) in rows.items()}
            laid = self.lay(*rows["adult"][:2], lasting)
            hatched = self.hatch(*rows["egg"], lasting)
            settled = self.settle(*rows["larva"][:2], lasting)
            matured = self.mature(*rows["juvenile"], lasting)
            rows = {"egg": laid or none, "larva": hatched, "juvenile": settled, "adult": matured}
        return 1 - lasting.mean()

    def lay(self, pond, day, lasting):
        dead = day + self.rng.exponential(1 / self.r["adult_loss"], day.shape)
        dead = np.minimum(dead, self.killed_on("adult", day, dead))
        lasting[pond[dead > self.horizon]] = True
        until = np.minimum(dead, self.horizon)
        count = self.rng.poisson(self.r["laying_rate"] * (until - day))
        mother = np.repeat(np.arange(day.size), count)
        laid = day[mother] + self.rng.random(mother.size) * (until - day)[mother]
        return pond[mother], laid, 0.0

    def hatch(self, pond, day, done, lasting):
        wait = self.waiting(self.n_egg, self.r["egg_rate"], day.shape, done)
        through, alive = self.stay("egg", day, wait, self.r["egg_loss"])
        lasting[pond[alive]] = True
        through &= self.rng.random(day.shape) < self.r["hatch_success"]
        return pond[through], (day + wait)[through], 0.0

    def settle(self, pond, day, lasting):
        wait = self.rng.exponential(1 / self.r["contact"], day.shape)
        through, alive = self.stay("larva", day, wait, self.r["larva_loss"])
        lasting[pond[alive]] = True
        through &= self.rng.random(day.shape) < self.r["establishment"]
        return pond[through], (day + wait)[through], 0.0

    def mature(self, pond, day, done, lasting):
        wait = self.waiting(self.n_juvenile, self.r["juvenile_rate"], day.shape, done)
        through, alive = self.stay("juvenile", day, wait, self.r["juvenile_loss"], done)
        lasting[pond[alive]] = True
        return pond[through], (day + wait)[through], 0.0


#: a few eggs, most of which come to something, so that whole flukes can be followed in thousands of ponds
SPARSE = {"fecundity": 0.5, "fecundity_q10": 1.0, "adult_life_days": 8.0, "adult_life_q10": 1.0, "hatch_success": 0.7,
          "egg_mortality": 0.02, "juvenile_mortality": 0.03, "contact_rate": 6.0, "contact_half_density": 4.0,
          "larval_life_days": 1.5, "larval_life_q10": 1.0, "establishment": 0.9}  # fmt: skip


@pytest.mark.parametrize(
    ("horizon", "doses", "kill", "shelter", "start"),
    [
        (45.0, (), {}, 0.0, {"adults": 2, "eggs": 1, "larvae": 1, "juveniles": 1}),
        (60.0, (0.0, 6.0), {"adult": 0.8, "juvenile": 0.7, "sheltered": 0.1, "larva": 0.5}, 0.4,
         {"adults": 8, "eggs": 3, "larvae": 4, "juveniles": 5}),
    ],
    ids=["untreated", "two doses"],
)  # fmt: skip
def test_against_a_lottery_of_whole_flukes(horizon, doses, kill, shelter, start):
    """Independent: at most 50 flukes at the start, every event drawn; within 4 standard errors."""
    n_egg, n_juvenile, ponds = 20, 30, 20_000
    p = fixed(drawn("dactylogyrus", 1), n_egg, n_juvenile).replaced(**SPARSE)
    rates = {name: float(np.ravel(x)[0]) for name, x in rates_at(p, 20.0, Surroundings(DENSITY)).items()}
    kill = {"adult": 0.0, "juvenile": 0.0, "sheltered": 0.0, "larva": 0.0, "egg": 0.0, **kill}
    share = Lottery(rates, n_egg, n_juvenile, horizon, doses, kill, shelter, seed=6).run(ponds, **start)
    effect = dose_effect(1, kill["adult"], kill["juvenile"], kill["larva"], kill["sheltered"], shelter)
    where = habitat(p, last=doses[-1] if doses else 0.0, dt=0.125, after=horizon - (doses[-1] if doses else 0.0))
    v = by_age(where, effect, list(doses), (0, 1, 1))
    alive = {"adults": v.adult, "eggs": v.eggs[0], "larvae": v.larva, "juveniles": v.juveniles[0]}
    none = np.prod([(1 - float(alive[form][0, 0])) ** count for form, count in start.items()])
    assert 0.05 < none < 0.95
    assert sum(start.values()) <= 50
    assert abs(share - none) < 4 * np.sqrt(none * (1 - none) / ponds)

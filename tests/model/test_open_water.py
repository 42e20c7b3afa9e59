"""Water that flows: eggs that cling, larvae that come with it; against sampling, LSODA and whole flukes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ponds import by_lsoda, drawn, pond, totals
from test_individuals import a_pond, parameters

from analysis.individuals import Start, run_ponds
from burden.model import forward
from burden.model.forward import simulate
from burden.model.hosts import Fish
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.stable_stages import growth_rate
from burden.model.open_water import EGG_RETENTION, share_kept


@pytest.mark.parametrize("exchange", [0.02, 0.3, 3.0])
def test_share_kept_is_that_of_eggs_followed_one_by_one(exchange):
    rng = np.random.default_rng(1)
    clings = rng.random(200_000) < 0.35
    hatches = rng.gamma(40.0, 1 / (0.25 * 40), 200_000) < rng.exponential(1 / exchange, 200_000)
    one = np.ones(1)
    kept = float(share_kept(0.35 * one, exchange, 0.25 * one, 40 * one)[0])
    assert kept == pytest.approx(np.mean(clings | hatches), abs=0.005)


def test_a_cage_no_longer_fades_for_want_of_eggs():
    """At fifty exchanges a day all eggs were carried off; what clings keeps some ponds going."""
    p = drawn("neobenedenia", 300, density=20.0)
    around = Surroundings(20.0, 50.0)
    still = growth_rate(p, 26.0, Surroundings(20.0, 0.0))
    afloat = growth_rate(p, 26.0, around)
    clinging = growth_rate(p.replaced(egg_retention=EGG_RETENTION["cage"].draw(300, 1)), 26.0, around)
    assert np.mean(afloat > 0) < 0.01
    assert np.all(clinging >= afloat - 1e-9)
    assert np.mean(clinging) < np.mean(still)
    eggs = rates_at(p.replaced(egg_retention=np.full(300, 0.3)), 26.0, around)
    np.testing.assert_allclose(eggs["laying_rate"], 0.3 * rates_at(p, 26.0, around)["laying_rate"], rtol=1e-2)
    np.testing.assert_allclose(eggs["egg_loss"], p["egg_mortality"])


def test_larvae_from_outside_against_lsoda():
    p = drawn("dactylogyrus", 1)
    setting, state = pond(p, 20.0, larvae_in_per_day=np.array([400.0]), exchange_per_day=0.5)
    days = [0.0, 5.0, 20.0]
    run = simulate(setting, state, days)
    exact = totals(setting, by_lsoda(setting, state, days, (), 1e-7)[-1])
    found = totals(setting, run.end)
    for name in ("larva", "juvenile", "adult", "egg"):
        assert found[name] == pytest.approx(exact[name], rel=2e-3), name
    without = totals(setting, simulate(replace(setting, larvae_in_per_day=0.0), state, days).end)
    assert found["juvenile"] > 1.02 * without["juvenile"]


def test_larvae_from_outside_against_whole_flukes():
    """An empty pond into which 300 larvae come a day: eggs, juveniles and adults as whole flukes have them."""
    p = parameters(5.0, reproduction_number=2.0, fecundity=3.0)
    ponds = a_pond(120, p=p, spread={"egg": 30.0, "juvenile": 30.0}, larvae_in_per_day=300.0)
    days = [0.0, 10.0, 22.0]
    record = run_ponds(ponds, Start({}), days, seed=3)
    one, none = np.ones((1, 1, 1)), np.zeros(1)
    water = {f.name: np.zeros((f.stages, 1)) for f in ponds.cycle.forms if f.place == "water"}
    on_fish = {f.name: np.zeros((f.stages, 1, 1)) for f in ponds.cycle.forms if f.place == "fish"}
    setting = forward.Scenario(
        ponds.cycle,
        p,
        Fish(np.array([[400.0]]), np.ones((1, 1))),
        ponds.temperature,
        np.array([ponds.volume_m3]),
        larvae_in_per_day=300.0,
    )
    course = simulate(setting, forward.State(water, on_fish, 10 * one, one, none, none, none), days)
    means = {name: (x * course.alive)[1:, 0] for name, x in course.fish.items()} | {"egg": course.water["egg"][1:, 0]}
    for name, expected in means.items():
        x = record.numbers[name][1:]
        error = x.std(1, ddof=1) / np.sqrt(x.shape[1])
        assert np.all(np.abs(x.mean(1) - expected) < 3.5 * error + 1e-9), name
    assert record.numbers["adult"][-1].mean() > 20

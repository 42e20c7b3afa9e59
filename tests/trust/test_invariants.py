"""What holds whatever the numbers: over the box of parameters, temperatures, doses and water, and at its corners."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ponds import FISH, dose_effect, drawn, pond

from burden.model.forward import Event, simulate
from burden.model.temperature import Temperature

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis import invariants

SETS = ("dactylogyrus", "gyrodactylus", "zeuxapta", "sparicotyle")
NOTHING_BACK = {"resistance_on": False, "crowding_on": False, "deaths_on": False}
DRAWS = {name: drawn(name, 40, 11) for name in SETS}
few = settings(max_examples=3, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
share = st.floats(0, 1)
kills = st.fixed_dictionaries({"adult": share, "juvenile": share, "larva": share})


def some(name: str, at: list[int], **held: float):
    parameters = DRAWS[name].take(np.array(at))
    return parameters.replaced(**held)


def sensible(run, fish: float) -> None:
    """No negative stage, finite throughout, fish conserved, shares within 0 and 1."""
    for chain in (*run.water.values(), *run.fish.values(), *run.end.water.values(), *run.end.fish.values()):
        assert np.isfinite(chain).all()
        assert (chain >= 0).all()
    np.testing.assert_allclose(run.alive + run.deaths, fish, rtol=1e-9)
    assert ((run.resistance >= 0) & (run.resistance <= 1)).all()
    assert (run.alive >= 0).all()


@few
@given(
    name=st.sampled_from(SETS),
    at=st.lists(st.integers(0, 39), min_size=2, max_size=2, unique=True),
    warm=st.floats(0.1, 35),
    cold=st.floats(0.1, 35),
    exchange=st.floats(0, 3),
    doses=st.lists(st.tuples(st.floats(0, 15), kills), max_size=3),
)
def test_no_stage_is_negative_and_fish_are_conserved(name, at, warm, cold, exchange, doses):
    setting, start = pond(some(name, at), Temperature.linear([0, 20], [cold, warm]), exchange_per_day=exchange)
    events = [Event.dose(day, dose_effect(2, **kill), setting.cycle) for day, kill in sorted(doses, key=lambda d: d[0])]
    sensible(simulate(setting, start, [0.0, 5.0, 20.0], events), FISH)


@few
@given(
    name=st.sampled_from(SETS),
    at=st.integers(0, 39),
    warm=st.floats(5, 28),
    kill=kills,
    more=kills,
)
def test_without_brakes_and_deaths_more_kill_never_leaves_more_at_any_time(name, at, warm, kill, more):
    setting, start = pond(some(name, [at]), warm, **NOTHING_BACK)
    harder = {form: x + more[form] * (1 - x) for form, x in kill.items()}
    less, fewer = (
        simulate(setting, start, [0.0, 6.0, 25.0], [Event.dose(0.0, dose_effect(1, **k), setting.cycle)])
        for k in (kill, harder)
    )
    for form in less.fish:
        assert (fewer.fish[form] <= less.fish[form] * (1 + 1e-9) + 1e-12).all()


@few
@given(at=st.integers(0, 39), warm=st.floats(5, 30), exchange=st.floats(0, 1), more=st.floats(0, 1))
def test_without_deaths_and_drug_more_exchange_never_leaves_more_eggs(at, warm, exchange, more):
    eggs = []
    for rate in (exchange, exchange + more):
        setting, start = pond(some("dactylogyrus", [at]), warm, exchange_per_day=rate, **NOTHING_BACK)
        run = simulate(setting, start, [0.0, 5.0, 25.0])
        eggs.append(run.water["egg"] + run.water["fresh_egg"])
    assert (eggs[1] <= eggs[0] * (1 + 1e-9)).all()


@few
@given(name=st.sampled_from(SETS), order=st.permutations(range(6)))
def test_the_order_of_draws_does_not_matter(name, order):
    setting, start = pond(some(name, list(range(6))), 17.0)
    at = np.array(order)
    plain, other = (simulate(s, b, [0.0, 12.0]) for s, b in ((setting, start), (setting.take(at), start.take(at))))
    for form, column in plain.fish.items():
        np.testing.assert_allclose(other.fish[form], column[:, at], rtol=1e-9)


@pytest.mark.parametrize(("fish", "warm", "doses"), [(1.0, 0.1, 20), (1.0, 35.0, 0), (1e6, 0.1, 0), (1e6, 35.0, 20)])
def test_corners(fish, warm, doses):
    setting, start = pond(some("dactylogyrus", [3, 4]), warm)
    start = replace(start, alive=start.alive * fish / FISH)
    effect = dose_effect(2, 0.9, 0.7, larva=0.9, sheltered=0.1, fraction=0.2)
    run = simulate(setting, start, [0.0, 25.0], [Event.dose(1.2 * i, effect, setting.cycle) for i in range(doses)])
    sensible(run, fish)
    if doses:
        assert (run.fish["adult"][-1] < run.fish["adult"][0]).all()


def test_no_fluke_never_becomes_one():
    setting, start = pond(some("dactylogyrus", [3, 4]), 20.0, per_fish=0.0, in_water=0.0)
    run = simulate(setting, start, [0.0, 60.0])
    assert all((column == 0).all() for column in (*run.fish.values(), *run.water.values()))


def test_all_fish_dead_on_the_third_day():
    """Nothing to settle on and nothing to divide by: what is in the water dwindles."""
    setting, start = pond(some("dactylogyrus", [3, 4], background_hazard=10.0), 20.0)
    run = simulate(setting, start, [0.0, 3.0, 60.0])
    sensible(run, FISH)
    assert (run.alive[1:] < 1e-12 * FISH).all()
    assert (run.water["egg"][-1] < 0.1 * run.water["egg"][0]).all()


def test_the_full_model_breaks_a_monotone_rule_where_the_study_says_so():
    """That it holds without brakes is tested above."""
    assert invariants.worst_case(members=6).ratio > 1.02

"""Flukes that nobody told apart: each draw keeps one kind's clock, and what was drawn before stays what it was.

How often which kind comes is an assumption; that one holds in cool and the other in warm water is what two field series
on one host found (Aydogdu et al. 2003 in Iznik; J Parasitol 102:507, 2016, two species of one pond).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from types import MappingProxyType

import numpy as np
import pytest
from cases import VISIT, a_case, clips
from ponds import a_value, warm_kind

from burden.case import RecordedTemperature
from burden.evidence import KIND_ODDS_PER_C, KIND_SHARE, load_parasite
from burden.inference.prior import draw_pond
from burden.model.lifecycle.kinds import KIND, draw_second_kind, joined_development, joined_values
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.transitions import build_cycle
from burden.utils.random_streams import Steering, steered

DRAWS, SEED = 400, 3
MIXED = load_parasite("dactylogyrus")
WARM, COLD = MIXED.mixture.kinds.values()


@pytest.fixture(scope="module")
def drawn():
    return draw_parameters(MIXED, DRAWS, SEED)


def _clock(parameters, draws):
    """Everything that tells time, at three temperatures, of some draws."""
    rates = [rates_at(parameters.take(draws), t, Surroundings(4.0)) for t in (8.0, 18.0, 28.0)]
    return {f"{name} {i}": np.asarray(at[name]) for i, at in enumerate(rates) for name in at}


@pytest.mark.parametrize(("kind", "second"), [(WARM, False), (COLD, True)], ids=["first", "second"])
def test_each_draw_keeps_the_clock_of_its_kind(drawn, kind, second):
    """To the last digit, at 8, 18 and 28 °C: what a pond of that kind alone would have drawn."""
    mine = np.flatnonzero((drawn[KIND] == 1) == second)
    alone = draw_parameters(kind, DRAWS, SEED)
    assert 50 < mine.size < DRAWS - 50
    expected = _clock(alone, mine)
    for name, got in _clock(drawn, mine).items():
        np.testing.assert_array_equal(got, expected[name], err_msg=name)
    for name in alone.values:
        np.testing.assert_array_equal(drawn[name][mine], alone[name][mine], err_msg=name)


def test_only_new_streams_are_drawn():
    """A mixture reads the streams of its first kind under their old names, and adds its own beside them."""

    def met(evidence):
        with steered(20, 1, {}) as streams:
            draw_parameters(evidence, 20, 1)
        assert isinstance(streams, Steering)
        return set(streams.met)

    new = met(MIXED) - met(replace(MIXED, mixture=None))
    own = {"heat_from_c", "heat_full_c", "heat_death_rate"}
    assert new == {"dactylogyrus kind", *(f"dactylogyrus{name}" for name in own)}


def test_more_draws_keep_the_first_ones(drawn):
    more = draw_parameters(MIXED, 2 * DRAWS, SEED)
    for name in (KIND, "maturity_threshold_c", "heat_full_c"):
        np.testing.assert_array_equal(more[name][:DRAWS], drawn[name])


def test_one_cycle_serves_both_kinds():
    assert build_cycle(WARM) == build_cycle(COLD) == build_cycle(MIXED)


def test_heat_kills_the_second_kind_alone(drawn):
    """What a kind without a limit of heat gets for it never comes into play, at 40 °C either."""
    rates = {t: rates_at(drawn, t, Surroundings(4.0)) for t in (15.0, 40.0)}
    second = drawn[KIND] == 1
    hot, lives = rates[40.0], drawn["adult_life_q10"] ** 2.0 / drawn["adult_life_days"]
    np.testing.assert_allclose(hot["adult_loss"][~second], lives[~second])
    assert (hot["adult_loss"][second] > lives[second]).all()
    assert (hot["laying_rate"][second] == 0).all()
    assert (hot["laying_rate"][~second] > 0).all()
    assert (rates[15.0]["laying_rate"] > 0).all()


def _share(evidence):
    return float(np.mean(draw_second_kind(evidence, 4000, 1)))


def test_the_water_flukes_were_found_in_tells_the_kind():
    """With both numbers certain, odds of 1 at 20 °C are 0.8^5 at 25 °C and 0.8^-10 at 10 °C: arithmetic."""
    stated = {
        KIND_SHARE: replace(MIXED.values[KIND_SHARE], value=0.5, low=0.5 - 1e-9, high=0.5 + 1e-9),
        KIND_ODDS_PER_C: a_value(KIND_ODDS_PER_C, 0.8),
    }
    sure = MIXED.with_overrides(stated)
    for warmer, odds in ((-10.0, 0.8**-10), (0.0, 1.0), (5.0, 0.8**5)):
        expected = odds / (1 + odds)
        assert _share(sure.found_in(20.0 + warmer)) == pytest.approx(expected, abs=4 * np.sqrt(0.25 / 4000))
    assert _share(sure) == _share(sure.found_in(20.0))


def test_goldfish_carry_the_cold_kind_of_carp_less_often():
    """D. extensus is a fluke of carp: on goldfish alone it is rarer, in a pond with koi it is not."""
    koi, gold, both = (_share(MIXED.on_hosts(fish)) for fish in (["koi"], ["goldfish"], ["goldfish", "koi"]))
    assert gold < 0.6 * koi
    assert both == koi
    assert _share(MIXED.on_hosts([])) == koi


@pytest.mark.parametrize("temperature_c", [9.0, 27.0])
def test_a_case_draws_by_its_fish_and_its_water(temperature_c):
    case = a_case(temperature_c=temperature_c)
    found = draw_pond(case, "dactylogyrus", 2000, 1).setting.parameters[KIND].mean()
    fish = [group.species for group in case.fish]
    assert found == pytest.approx(_share(MIXED.on_hosts(fish).found_in(temperature_c)), abs=0.04)


def test_water_of_the_first_look_counts():
    """A record that begins in cold water is one of flukes found there, however warm the water is by the visit."""
    times = tuple(datetime(VISIT.year, VISIT.month, VISIT.day, 12) + timedelta(days=d) for d in (-80, -50, -30, 0))
    warming = RecordedTemperature(times, (9.0, 9.0, 27.0, 27.0))
    late = a_case(clips([4], day=0))
    late = replace(late, water=replace(late.water, temperature=warming))
    early = replace(late, samples=(*clips([4], day=-50), *late.samples))
    began, begins = (draw_pond(c, "dactylogyrus", 2000, 1).setting.parameters[KIND].mean() for c in (early, late))
    assert began == pytest.approx(_share(MIXED.found_in(9.0)), abs=0.04)
    assert begins == pytest.approx(_share(MIXED.found_in(27.0)), abs=0.04)


def test_a_named_species_is_drawn_as_before():
    for name in ("dactylogyrus_vastator", "dactylogyrus_extensus"):
        assert load_parasite(name).mixture is None
        assert KIND not in draw_parameters(name, 5, 1).values


def test_a_case_s_own_value_holds_in_both_kinds():
    own = MIXED.with_overrides({"fecundity": a_value("fecundity", 12.0)})
    assert draw_parameters(own, 50, 1)["fecundity"] == pytest.approx(12.0)
    assert all(kind.overridden == {"fecundity"} for kind in own.mixture.kinds.values())


def test_kinds_of_unlike_cycles_are_a_fault():
    first, second = (draw_parameters(kind, 5, 1).development for kind in (WARM, COLD))
    with pytest.raises(ValueError, match="same quantities"):
        joined_development(first, replace(second, fresh=None), np.zeros(5, bool))
    with pytest.raises(KeyError, match="fecundity"):
        joined_values({"fecundity": np.ones(2)}, {}, np.array([True, False]))


def test_the_set_is_widest_where_its_kinds_differ():
    """In cold water the mixture covers both: earlier layers than the first kind has, later than the second."""
    early, late = ({}, {})
    for name, evidence in (("mixed", MIXED.found_in(12.0)), ("warm", warm_kind()), ("cold", COLD)):
        days = draw_parameters(evidence, DRAWS, SEED).of_eggs.maturity.quantile_days(0.01, 10.0)
        early[name], late[name] = np.quantile(days, 0.05), np.quantile(days, 0.9, method="nearest")
    assert early["mixed"] < early["warm"]
    assert late["mixed"] > late["cold"]


def test_overrides_leave_the_set_itself_alone():
    changed = MIXED.found_in(5.0).on_hosts(["goldfish"])
    assert isinstance(changed.values, MappingProxyType)
    assert MIXED.mixture.found_in_c is None
    assert MIXED.values[KIND_SHARE] != changed.values[KIND_SHARE]

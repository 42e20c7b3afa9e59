"""What the water loses beside exchange: larvae that meet an ultraviolet lamp, eggs cleaned or filtered off."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from cases import a_case
from ponds import DENSITY, dose_effect, drawn, pond

from burden.inference.prior import draw_pond
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.model.forward import simulate
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.rates import (
    LARVA_REMOVAL,
    Surroundings,
    establishment_for,
    rates_at,
    reproduction_number_of,
    with_larva_removal,
)

DRAWS = 6


@pytest.fixture(scope="module")
def parameters():
    return drawn("dactylogyrus", DRAWS)


def a_run(parameters, removal):
    setting, state = pond(parameters.replaced(larva_removal_per_day=removal), 20.0, deaths_on=False)
    return setting, state, simulate(setting, state, [0.0, 10.0, 30.0])


def test_it_takes_larvae_and_nothing_else(parameters):
    around = Surroundings(DENSITY, 0.1)
    without = rates_at(parameters, 15.0, around)
    lamp = rates_at(parameters.replaced(larva_removal_per_day=2.0), 15.0, around)
    assert lamp["larva_loss"] - without["larva_loss"] == pytest.approx(np.full(DRAWS, 2.0), rel=1e-12)
    assert all(np.array_equal(lamp[name], without[name]) for name in without if name != "larva_loss")


def test_none_changes_nothing_at_all(parameters):
    setting, state = pond(parameters, 20.0)
    plain = simulate(setting, state, [0.0, 20.0])
    none = simulate(replace(setting, parameters=parameters.replaced(larva_removal_per_day=0.0)), state, [0.0, 20.0])
    assert np.array_equal(plain.abundance, none.abundance)
    assert np.array_equal(plain.water["larva"], none.water["larva"])


def test_more_never_leaves_more(parameters):
    """Without acquired resistance: fewer settlers now may mean less resistance and more of them later."""
    runs = []
    for removal in (0.0, 0.5, 3.0, 20.0):
        setting, state = pond(
            parameters.replaced(larva_removal_per_day=removal), 20.0, deaths_on=False, resistance_on=False
        )
        runs.append(simulate(setting, state, [0.0, 5.0, 10.0, 30.0]))
    for less, more in pairwise(runs):
        assert (more.water["larva"][1:] < less.water["larva"][1:]).all()
        assert (more.abundance[1:] < less.abundance[1:]).all()


def test_flukes_die_out_more_often(parameters):
    chances = []
    for removal in (0.0, 3.0, 12.0):
        setting, state, _ = a_run(parameters, removal)
        few = replace(
            state,
            water={form: 1e-3 * x for form, x in state.water.items()},
            fish={form: 1e-3 * x for form, x in state.fish.items()},
        )
        chances.append(eliminations(setting, few, [DoseSchedule((), ())], {"any": dose_effect(DRAWS, 0.9, 0.9)})[0])
    assert (chances[1] >= chances[0]).all()
    assert (chances[2] >= chances[1]).all()
    assert chances[2].max() > chances[0].max()


def test_the_reproduction_number_is_that_without_it(parameters):
    raw = draw_parameters("dactylogyrus", DRAWS, 1)
    before = establishment_for(with_larva_removal(raw, 1), DENSITY)
    after = with_larva_removal(establishment_for(raw, DENSITY), 1)
    assert np.array_equal(before["establishment"], after["establishment"])
    assert reproduction_number_of(after, DENSITY) == pytest.approx(reproduction_number_of(parameters, DENSITY))


def test_the_case_says_whether_there_is_a_lamp():
    case = a_case()
    ponds = {uv: draw_pond(replace(case, water=replace(case.water, uv=uv)), "dactylogyrus", 50, 1)
             for uv in (True, False, None)}  # fmt: skip
    values = {uv: p.setting.parameters.values for uv, p in ponds.items()}
    assert "larva_removal_per_day" not in values[False]
    assert "larva_removal_per_day" not in values[None]
    removal = values[True]["larva_removal_per_day"]
    # half of the draws lie on either side of the median: 25 of 50, binomial 99.9 % between 14 and 36
    assert 14 <= (removal < LARVA_REMOVAL.value).sum() <= 36
    for name, plain in values[None].items():
        assert np.array_equal(values[True][name], plain), name


def test_cleaning_and_filters_take_eggs_and_nothing_else(parameters):
    """Fresh and started eggs alike go at the rate of the case; larvae stay; R0, which is the fluke's own, too."""
    around = Surroundings(DENSITY, 0.1)
    without, cleaned = (
        rates_at(parameters, 15.0, around),
        rates_at(parameters.replaced(egg_removal_per_day=0.3), 15.0, around),
    )
    assert cleaned["egg_loss"] - without["egg_loss"] == pytest.approx(np.full(DRAWS, 0.3), rel=1e-12)
    assert all(np.array_equal(cleaned[name], without[name]) for name in without if name != "egg_loss")
    same = reproduction_number_of(parameters.replaced(egg_removal_per_day=0.3), DENSITY)
    np.testing.assert_allclose(same, reproduction_number_of(parameters, DENSITY), rtol=1e-12)


def test_a_case_that_cleans_has_fewer_eggs():
    case = a_case()
    cleaned = replace(case, water=replace(case.water, egg_removal_per_day=0.3))
    parasite = case.parasites[0]
    ponds = [draw_pond(c, parasite, DRAWS, 1) for c in (case, cleaned)]
    starts = [p.start(np.full(DRAWS, 50.0), np.array([case.fish_count]), 0.0, np.zeros(DRAWS)) for p in ponds]
    runs = [simulate(p.setting, starts[0], [0.0, 20.0]) for p in ponds]
    assert (runs[1].water["egg"][-1] < runs[0].water["egg"][-1]).all()

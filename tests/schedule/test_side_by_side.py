"""Ponds run side by side go as each goes alone: what is worked out once for all of them serves all.

Arithmetic against itself; that a run alone is right is for tests/model/test_forward.py to say.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import a_case
from prior_ponds import pond_of

from burden.model.elimination.probability import DoseSchedule
from burden.schedule.evaluation import run_beside
from burden.schedule.what_if import shifted, weakened

DAYS = np.array([0.0, 3.0, 9.0, 20.0])
PLAN = DoseSchedule((2.0, 7.0), ("praziquantel", "praziquantel"))


def each_alone(ponds, state):
    return [run_beside([pond], state, [PLAN], DAYS) for pond in ponds]


@pytest.mark.parametrize("parasite", ["dactylogyrus", "gyrodactylus"])
@pytest.mark.parametrize("water", ["of one temperature", "each its own"])
def test_columns_are_those_of_each_alone(parasite, water):
    """Another dose in the same water, which shares its rates and kernels; and other water, which cannot."""
    pond, state = pond_of(a_case(parasites=(parasite,), temperature_c=19.0))
    ponds = [pond, weakened(pond, 1.7), *([shifted(pond, 3.0)] if water == "each its own" else [pond])]
    wide, size = run_beside(ponds, state, [PLAN] * 3, DAYS), pond.size
    for i, alone in enumerate(each_alone(ponds, state)):
        mine = wide.take(slice(i * size, (i + 1) * size))
        for name in ("abundance", "deaths", "resistance", "laying"):
            assert getattr(mine, name) == pytest.approx(getattr(alone, name), rel=1e-9, abs=1e-12), name
        assert mine.end.alive == pytest.approx(alone.end.alive, rel=1e-9)
    weak, strong = wide.take(slice(size, 2 * size)), wide.take(slice(0, size))
    assert (weak.abundance[-1] > strong.abundance[-1]).mean() > 0.9  # columns are told apart


def test_water_that_is_said_to_repeat_and_does_not_is_found_out():
    """Were warmer water taken for copies of the first, its columns would go as those of the first."""
    pond, state = pond_of(a_case(temperature_c=19.0))
    ponds = [pond, shifted(pond, 3.0)]
    first, warm = each_alone(ponds, state)
    assert warm.abundance[-1] != pytest.approx(first.abundance[-1], rel=1e-3)
    same = replace(pond.setting, temperature=pond.setting.temperature.shifted(0.0))
    again = run_beside([pond, replace(pond, setting=same)], state, [PLAN] * 2, DAYS)
    assert again.abundance[:, pond.size :] == pytest.approx(first.abundance, rel=1e-9, abs=1e-12)

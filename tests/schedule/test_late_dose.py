"""Until when a late dose still serves."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from cases import a_case

from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.aim import aim_of
from burden.schedule.evaluation import evaluate
from burden.schedule.late_dose import DELAYS_DAYS, late_doses

DRAWS = 24


@pytest.fixture(scope="module")
def pond():
    found = draw_pond(a_case(), "dactylogyrus", DRAWS, 3)
    return Posterior(found, found.start(np.full(DRAWS, 600.0), np.array([40.0]), 0.0, np.full(DRAWS, 0.5)))


def planned(pond, *days: float):
    aim = aim_of(a_case(), [pond])
    (one,) = evaluate([pond], [DoseSchedule(days, ("praziquantel",) * len(days))], aim)
    return one, aim


def test_settlers_lay_when_the_windows_say(pond):
    second, third = late_doses([pond], *planned(pond, 0.0, 6.0, 11.0))
    p = pond.pond
    w = windows_after(p.setting.parameters, p.effects["praziquantel"].sheltered_fraction, p.setting.temperature)
    gap = float(np.median(w.longest_safe_gap))
    assert second.settlers_lay_from_day.median == pytest.approx(gap)  # constant water: the same after every dose
    assert third.settlers_lay_from_day.median == pytest.approx(6.0 + gap)


def test_one_dose_cannot_be_late(pond):
    assert late_doses([pond], *planned(pond, 0.0)) == ()


def test_still_in_time_is_said_only_where_the_aim_is_still_met(pond):
    """Every day up to the one named meets the aim, as the chances that stand beside it say."""
    one, aim = planned(pond, 0.0, 6.0, 12.0)
    for late in late_doses([pond], one, aim):
        met = [chance >= aim.chance for chance in late.chances]
        if late.aim_met_until_day is None:
            assert not met[0]
        else:
            tried = (0.0, *DELAYS_DAYS)
            assert all(met[: tried.index(late.aim_met_until_day - late.day) + 1])
        assert late.chances[0] == pytest.approx(one.chance(aim))
        assert late.worse_from_day is None or late.worse_from_day > late.day


def test_a_dose_that_comes_weeks_late_does_worse(pond):
    """Eggs hatch within days at 20 °C (the set's own points): settlers of a fortnight lay."""
    one, aim = planned(pond, 0.0, 6.0)
    late = [
        evaluate([pond], [DoseSchedule((0.0, 6.0 + d), one.plan.agents)], aim)[0].burden_on(30.0 + d)[0].mean()
        for d in (0.0, 20.0)
    ]
    assert all(b > a for a, b in pairwise(late))

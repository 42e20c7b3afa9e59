"""Eggs that cold keeps waiting: when they hatch, and the doses for them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from cases import a_case, exactly

from burden.case import Water, YearlyTemperature
from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.delayed_hatch import later_doses

DRAWS = 12
COURSE = DoseSchedule((0.0, 14.0, 28.0), ("praziquantel", "formalin", "praziquantel"))


def pond_of(case):
    pond = draw_pond(case, "dactylogyrus", DRAWS, 3)
    return [Posterior(pond, pond.start(np.full(DRAWS, 30.0), np.array([40.0]), 0.0, np.full(DRAWS, 0.5)))]


@pytest.fixture(scope="module")
def winter():
    """6 °C at the visit and warming: mean 11.5 °C, swing 6.5 °C, warmest five months later."""
    course = YearlyTemperature(11.5, 6.5, (10, 7))
    case = a_case(water=Water(exactly(10_000.0), "fresh", course))
    ponds = pond_of(case)
    return case, ponds, later_doses(ponds, COURSE)


def test_warm_water_keeps_no_egg_waiting():
    assert later_doses(pond_of(a_case(temperature_c=20.0)), COURSE) is None


def test_live_bearers_have_no_eggs():
    case = a_case(parasites=("gyrodactylus",), temperature_c=6.0)
    pond = draw_pond(case, "gyrodactylus", DRAWS, 3)
    state = pond.start(np.full(DRAWS, 30.0), np.array([40.0]), 0.0, np.full(DRAWS, 0.5))
    assert later_doses([Posterior(pond, state)], COURSE) is None


def test_eggs_wait_and_hatch_after_the_course(winter):
    """Storage at 5 °C stopped hatching (the set's own points); at 6 to 8 °C for four weeks few have hatched."""
    _, _, later = winter
    assert later.hatched_share < 0.5
    assert later.hatch_until_day.median > 29
    assert later.eggs_per_1000.median > 0


def test_no_settler_can_lay_between_the_later_doses(winter):
    """Each later dose lies within the longest safe gap of the one before, by the windows of that day's water."""
    _, ponds, later = winter
    pond = ponds[0][0]
    shelter = pond.effects["praziquantel"].sheltered_fraction
    days = [day.median for day in later.days]
    assert days == sorted(days)
    for before, after in pairwise(days):
        w = windows_after(pond.setting.parameters, shelter, pond.setting.temperature, before)
        assert after - before == pytest.approx(float(np.median(w.longest_safe_gap)), rel=0.2)  # medians of sums

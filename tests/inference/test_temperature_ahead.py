"""What a case's temperature is taken to do after the last reading."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from cases import a_case

from burden.case import Place, RecordedTemperature, YearlyTemperature
from burden.inference.temperature_ahead import DATES_HOLD_DAYS, dates_hold_until, outlook_of, temperature_of

MARCH = date(2026, 3, 10)


def goldfish(outlook=None, temperature=None, temperature_c=9.0):
    case = a_case(temperature_c=temperature_c, visit_date=MARCH)
    water = replace(case.water, outlook=outlook, temperature=temperature or case.water.temperature)
    return replace(case, water=water)


def at(case, day: float) -> np.ndarray:
    return np.quantile(np.broadcast_to(temperature_of(case, 400, 1).at(day), (400,)), [0.05, 0.5, 0.95])


@pytest.mark.parametrize("word", ["indoors", "heated"])
def test_one_temperature_indoors_holds(word):
    case = goldfish(word)
    assert temperature_of(case, 50, 1).is_constant(-100.0, 800.0)
    assert dates_hold_until(case) == math.inf
    assert outlook_of(case).kind == word


def test_nine_degrees_in_march_is_not_nine_degrees_in_july():
    """The pond of the issue: one reading, no word of the place."""
    case = goldfish()
    low, middle, high = at(case, 75.0)
    assert low < 10.0 < high
    assert middle > 11.0
    assert at(case, 14.0)[2] - at(case, 14.0)[0] > 3.0
    found = outlook_of(case)
    assert (found.kind, found.dates_hold_days) == ("unstated", DATES_HOLD_DAYS)
    assert 0.1 < found.chance_steady < 0.7
    assert 12.0 < at(goldfish(Place(51.0)), 75.0)[1] < 19.0  # late in May, after a warm March: from memory
    assert at(goldfish(Place(-38.0), temperature_c=18.0), 75.0)[1] < 16.0


def test_a_stated_course_is_drawn_about():
    course = YearlyTemperature(10.0, 8.0, (7, 25))
    low, middle, high = at(goldfish(course), 137.0)  # the warmest day
    assert middle == pytest.approx(18.0, abs=1.5)
    assert 3.0 < high - low < 9.0
    whole = goldfish(temperature=course)
    assert np.ptp(at(whole, 137.0)) == 0  # the case's own yearly course stands as before
    assert outlook_of(whole).kind == "course"
    assert dates_hold_until(whole) == math.inf


def test_readings_keep_their_trend_for_a_while():
    start = datetime(2026, 2, 8, 12)
    times = tuple(start + timedelta(days=i) for i in range(31))
    record = RecordedTemperature(times, tuple(4.0 + 0.15 * i for i in range(31)))
    outdoors, indoors = goldfish(Place(50.0), record), goldfish("indoors", record)
    assert at(outdoors, 21.0)[1] > 9.0  # 8.5 on the visit
    np.testing.assert_allclose(at(indoors, 40.0), [5.6, 8.0, 10.4], atol=0.3)  # the last week, ± 1.645 · 1.5
    assert float(temperature_of(outdoors, 5, 1).at(-10.0)) == pytest.approx(7.0)

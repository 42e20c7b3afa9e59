"""When fish are looked at again around the cold (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from cases import a_case, clips

from burden.case import YearlyTemperature
from burden.decision import decide
from burden.decision.look_dates import before_cold, not_in_the_cold, spring_day, warm_day
from burden.decision.look_records import NextLook, Outcome

SEPTEMBER = date(2026, 9, 24)
#: autumn: 13 °C today, under 8 °C from day 50 to 210, over 10 °C from day 230 on
DAYS, WATER = [0.0, 50.0, 120.0, 210.0, 230.0, 365.0], [13.0, 8.0, 2.0, 8.0, 10.0, 20.0]


def pond_in(values=tuple(WATER)):
    water = SimpleNamespace(median_at=lambda day: float(np.interp(day, DAYS, values)))
    return [SimpleNamespace(pond=SimpleNamespace(setting=SimpleNamespace(temperature=water)))]


def test_a_winter_is_over_once_the_water_has_been_warm_for_a_while():
    """A pond seen in September is still cold two hundred days on, and no net goes under the ice of February."""
    assert warm_day(pond_in(), 100.0) == 240.0
    assert spring_day(pond_in()) == 240.0
    assert warm_day(pond_in(), 20.0) is None  # no cold to wait for
    assert warm_day(pond_in((9.0, 6.0, 2.0, 6.0, 7.0, 7.5)), 100.0) is None  # it never warms


def test_a_warm_day_between_is_no_spring():
    thaw = pond_in()
    real = thaw[0].pond.setting.temperature.median_at
    thaw[0].pond.setting.temperature.median_at = lambda day: 10.5 if 150 <= day < 155 else real(day)
    assert warm_day(thaw, 100.0) == 240.0


def test_of_the_usual_days_the_first_that_is_not_cold_counts():
    assert before_cold(pond_in(), [60.0, 55.0, 40.0, 30.0]) == 40.0
    assert before_cold(pond_in(), [60.0, 55.0]) is None


@pytest.mark.parametrize(("day", "again"), [(10.0, None), (45.0, 240.0), (60.0, None)])
def test_no_look_after_the_next_falls_in_the_cold(day, again):
    """Two weeks after day 10 the water is still warm; what is netted in the cold itself has its reason."""
    case = a_case()
    look = NextLook(
        case.visit_date + timedelta(days=int(day)), day, "watch", 5, False, 3, (Outcome("few", 9, 1.0, 0.3, "watch"),)
    )
    found = not_in_the_cold(case, pond_in(), look)
    assert found.again == (None if again is None else case.visit_date + timedelta(days=int(again)))


def test_after_an_autumn_course_nobody_comes_in_february():
    """Seen in September: the water is at 10 °C again more than two hundred days later."""
    case = a_case(clips([14, 9, 11, 13], day=0), temperature_c=12.0)
    case = replace(case, water=replace(case.water, outlook=YearlyTemperature(9.0, 8.0, (7, 20))))
    case = replace(case, visit_date=SEPTEMBER, samples=tuple(replace(row, date=SEPTEMBER) for row in case.samples))
    found = decide(case, draws=60)
    assert found.action == "dose"
    assert found.plan[-1].date <= found.look.date <= date(2026, 11, 30)
    assert date(2027, 4, 1) <= found.look.again <= date(2027, 5, 31)

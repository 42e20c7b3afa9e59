"""The day on which a late dose becomes a mistake."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from cases import a_case

from burden.day_book import _when_late, late_words
from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.evaluation import left_per_1000
from burden.schedule.fixed_interval import CONTROL_PER_1000
from burden.schedule.late_dose import DELAYS_DAYS, MISTAKE_FACTOR, LateDose, first_delay, late_doses
from burden.utils.results import CredibleInterval

DRAWS = 12


@pytest.fixture(scope="module")
def pond():
    found = draw_pond(a_case(), "dactylogyrus", DRAWS, 3)
    return Posterior(found, found.start(np.full(DRAWS, 30.0), np.array([40.0]), 0.0, np.full(DRAWS, 0.5)))


def test_delay_is_read_off_a_straight_line_between_those_judged():
    """Two in time, one more each day late: more than ten, and twice two, from the eighth day on."""
    in_time = np.array([2.0, 2.0, 40.0])
    left = np.array([[2.0 + d, 2.0, 40.0 + 20 * d] for d in DELAYS_DAYS])
    delays = first_delay(in_time, left)
    assert delays[0] == pytest.approx(8.0)
    assert np.isinf(delays[1])
    assert delays[2] == pytest.approx(2.0)  # above the aim in time already: twice 40 is 80


def test_later_is_worse_and_the_day_found_is_the_first_beyond_the_limit(pond):
    """Checked by the forward equations at delays the search did not judge, half a day to either side."""
    plan = DoseSchedule((0.0, 6.0), ("praziquantel",) * 2)
    (late,) = late_doses([pond], plan)
    assert late.number == 2
    assert late.mistake_from_day.low >= 6.0
    in_time = left_per_1000([pond], [plan])[0]
    very_late = left_per_1000([pond], [DoseSchedule((0.0, 20.0), plan.agents)])[0]
    share = np.mean(very_late > np.maximum(CONTROL_PER_1000, MISTAKE_FACTOR * in_time))
    assert late.mistake_within >= share


def test_settlers_lay_when_the_windows_say(pond):
    plan = DoseSchedule((0.0, 6.0, 11.0), ("praziquantel",) * 3)
    second, third = late_doses([pond], plan)
    p = pond[0]
    w = windows_after(p.setting.parameters, p.effects["praziquantel"].sheltered_fraction, p.setting.temperature)
    gap = float(np.median(w.longest_safe_gap))
    assert second.settlers_lay_from_day.median == pytest.approx(gap)  # constant water: the same after every dose
    assert third.settlers_lay_from_day.median == pytest.approx(6.0 + gap)
    assert "lay from" in late_words(second, date(2026, 5, 10))


def test_one_dose_cannot_be_late(pond):
    assert late_doses([pond], DoseSchedule((0.0,), ("praziquantel",))) == ()


def test_a_late_dose_that_still_controls_is_never_called_too_late():
    """The calendar and the day-book say the same: rarer rid of them is a reason to hurry, not to leave it out."""
    start = date(2026, 12, 20)
    late = LateDose(2, 1.0, CredibleInterval.missing(), CredibleInterval(15.0, 15.0, 15.0), 0.2, rarer_from_day=3.0)
    (entry,) = _when_late(late, start)
    assert "still controls" in late_words(late, start)
    assert "too late" not in entry.action
    assert "give it at once" in entry.action
    assert entry.date == date(2026, 12, 23)
    mistake = replace(late, mistake_within=0.9, mistake_from_day=CredibleInterval(14.0, 13.0, 15.0))
    assert ["too late" in e.action for e in _when_late(mistake, start)] == [False, True]
    assert "3 Jan 2027" in late_words(mistake, start)  # no date of another year without its year
    first = replace(mistake, mistake_from_day=CredibleInterval(2.0, 2.0, 2.0))
    assert ["too late" in e.action for e in _when_late(first, start)] == [True]

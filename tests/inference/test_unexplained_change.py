"""From look to look a pond strays from the equations; whole counts of an earlier visit then stand."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, organs
from scipy import stats

from burden.inference import history, unexplained_change
from burden.inference.estimate import estimate
from burden.inference.pond_history import history_of
from burden.inference.unexplained_change import unexplained_changes

#: five fish of a mean of 1, as flukes spread over fish of one pen
SPREAD = np.array([0.35, 0.6, 0.95, 1.3, 1.8])


def looks(*days):
    return [VISIT + timedelta(days=day) for day in days]


def changes(*days, m=20_000, first_day=-90.0):
    case = a_case()
    cycle = history.run_past(case, "dactylogyrus", 2, 1).pond.setting.cycle
    return unexplained_changes(case, looks(*days), first_day, cycle, m, 1)


def logs(event):
    return np.log1p(-event.kill["adult"])


def test_one_look_has_nothing_to_stray_from():
    """So a first visit stays as it was, stream by stream."""
    assert changes(-3) == []
    assert changes(-100, 0) == []  # the earlier look lies before the run
    ranks = history.run_past(a_case(clips([2, 1])), "dactylogyrus", 5, 1).ranks
    assert not any("straying" in name for name in ranks)
    assert changes(-1, 0)[0].day == -0.5


def test_the_step_is_a_student_t_whose_scale_grows_as_a_random_walk():
    """Against SciPy's own law: 0.5 a fortnight with 4 degrees of freedom, half of the variance in half of the time."""
    fortnight, week = changes(-21, -7, 0)
    assert stats.kstest(logs(fortnight) / 0.5, stats.t(4).cdf).pvalue > 0.01
    assert stats.kstest(logs(week) / (0.5 / np.sqrt(2)), stats.t(4).cdf).pvalue > 0.01
    assert (fortnight.day, week.day) == (-8.0, -1.0)
    assert abs(stats.spearmanr(logs(fortnight), logs(week)).statistic) < 0.03
    assert set(fortnight.kill) == {"juvenile", "adult"}


def test_another_look_leaves_the_steps_before_it_alone():
    first, _ = changes(-30, -20, 0, m=50)
    np.testing.assert_array_equal(logs(first), logs(changes(-30, -20, -5, 0, m=50)[0]))


def a_pen():
    """Five whole counts a visit: up fivefold, down by a bath, up sevenfold in three weeks."""
    means = {-63: 10, -42: 50, -21: 10, 0: 75}
    rows = [row for day, mean in means.items() for row in organs([round(mean * s) for s in SPREAD], day=day)]
    return a_case(rows, count=4000, temperature_c=24.0, given=(dose(-38),)), means


def test_whole_counts_of_earlier_visits_stand():
    """The mean of five whole fish of k from 0.6 on has a coefficient of variation below 0.6, so the 90 % interval of
    each visit holds the mean counted and its median lies within a factor of 1.8 of it."""
    case, means = a_pen()
    found = history_of(estimate(case, draws=100), None)
    for visit, mean in zip(found.visits, means.values(), strict=True):
        assert visit.burden.low <= mean <= visit.burden.high, visit.date
        assert 1 / 1.8 < visit.burden.median / mean < 1.8, visit.date


def test_without_straying_the_equations_overrule_the_counts(monkeypatch):
    """What stood before: an earlier visit was smoothed too far."""
    monkeypatch.setattr(unexplained_change, "_STRAYS", 1e-9)
    case, means = a_pen()
    found = history_of(estimate(case, draws=100), None)
    off = [abs(np.log(visit.burden.median / mean)) for visit, mean in zip(found.visits, means.values(), strict=True)]
    assert max(off) > np.log(1.8)


@pytest.mark.parametrize("split", [False, True])
def test_a_dose_that_killed_is_still_seen(split):
    """Straying does not take the place of a drug: counts from 40 to 1 within a week are the dose's."""
    rows = [*organs([40, 25, 60, 35], day=-8), *organs([1, 0, 2, 1])]
    rows += organs([2, 1, 0, 1], day=-3) if split else []
    found = estimate(a_case(rows, count=400, given=(dose(-6, mg_l=5.0),)), draws=100)
    assert found.mean_abundance.high < 5

"""From look to look a pond strays from the equations; whole counts of an earlier visit then stand."""

from __future__ import annotations

import numpy as np
import pytest
from cases import a_case, clips, dose, organs
from scipy import stats

from burden.inference import history, straying
from burden.inference.estimate import estimate
from burden.inference.pond_history import history_of
from burden.inference.sampler import Effort
from burden.inference.straying import stray

#: less work than an answer takes: three looks are told apart all the same
LESS = Effort(300, 700, 100.0)
#: five fish of a mean of 1, as flukes spread over fish of one pen
SPREAD = np.array([0.35, 0.6, 0.95, 1.3, 1.8])


def random_walk(days=(-21.0, -7.0, 0.0), see=lambda day, factors: np.zeros((factors.size, 40_000))):
    return stray(days, see, 40_000)


def test_one_look_has_nothing_to_stray_from():
    """So a first visit stays as it was, number by number."""
    case = a_case(clips([2, 1]))
    run = history.run_past(case, "dactylogyrus", 5, 1)
    looks = history.strayed(run, "dactylogyrus")
    assert looks.days == (0.0,)
    assert history.with_drift(run, looks, 1) is run
    np.testing.assert_array_equal(run.burden(0.0), run.by_day[0.0]["all"])
    assert history.strayed(history.run_past(a_case(), "dactylogyrus", 5, 1), "dactylogyrus") is None


def test_unseen_it_is_a_student_t_whose_scale_grows_as_a_random_walk():
    """Against SciPy's own law: 0.5 a fortnight with 4 degrees of freedom, half of the variance in half of the time."""
    drift = random_walk().draw(1)
    fortnight, week = np.diff(drift.log_factor, axis=0)
    inside = np.abs(drift.log_factor).max(0) < 2.5  # the grid ends at 3
    for step, scale in ((fortnight, 0.5), (week, 0.5 / np.sqrt(2))):
        for at in (0.25, 0.5, 0.75, 0.9):
            assert np.mean(step[inside] < scale * stats.t(4).ppf(at)) == pytest.approx(at, abs=0.015)
    assert abs(stats.spearmanr(fortnight[inside], week[inside]).statistic) < 0.04
    np.testing.assert_array_equal(drift.log_factor[0], 0.0)


def test_normal_looks_are_filtered_as_kalman_does(monkeypatch):
    """With a normal step (so many degrees of freedom) and normal looks the answer is known: the smoother of Rauch, Tung
    and Striebel, here as the conditional law of one joint normal."""
    monkeypatch.setattr(straying, "_FREEDOM", 1e6)
    straying._steps.cache_clear()
    days, seen, error = (-28.0, -14.0, 0.0), {-14.0: 0.8, 0.0: -0.3}, 0.35

    def see(day, factors):
        log_density = -0.5 * ((np.log(factors) - seen.get(day, 0.0)) / error) ** 2
        return np.repeat(log_density[:, None], 40_000, axis=1)

    found = stray(days, see, 40_000)
    straying._steps.cache_clear()
    prior = 0.25 * np.array([[1, 1], [1, 2]])  # of the two steps of 0.5
    gain = prior @ np.linalg.inv(prior + error**2 * np.eye(2))
    mean, spread = gain @ [0.8, -0.3], np.sqrt(np.diag(prior - gain @ prior))
    drawn = found.draw(3).log_factor[1:]
    np.testing.assert_allclose(drawn.mean(1), mean, atol=0.01)
    np.testing.assert_allclose(drawn.std(1), spread, atol=0.01)
    joint = stats.multivariate_normal(cov=prior + error**2 * np.eye(2))
    log_evidence = joint.logpdf([0.8, -0.3]) + 2 * np.log(error * np.sqrt(2 * np.pi))
    assert found.log_likelihood[1:].sum(0)[0] == pytest.approx(log_evidence, abs=0.01)


def test_flukes_counted_where_there_are_none_are_impossible_and_no_fault():
    looks = random_walk(see=lambda day, factors: np.full((factors.size, 40_000), -np.inf if day == -7.0 else 0.0))
    assert np.all(looks.log_likelihood[1] < -1e5)
    assert np.isfinite(looks.log_likelihood[1:]).all()
    assert np.isfinite(looks.draw(1).log_factor).all()


def test_between_looks_it_wanders_evenly():
    drift = straying.Drift((-20.0, -10.0, 0.0), np.log([[1.0], [4.0], [2.0]]))
    found = [float(drift.at(day)[0]) for day in (-30.0, -20.0, -15.0, -10.0, -5.0, 0.0, 3.0)]
    np.testing.assert_allclose(found, [1, 1, 2, 4, np.sqrt(8), 2, 2])


def a_pen():
    """Five whole counts a visit: up fivefold, down by a bath, up sevenfold in three weeks."""
    means = {-63: 10, -42: 50, -21: 10, 0: 75}
    rows = [row for day, mean in means.items() for row in organs([round(mean * s) for s in SPREAD], day=day)]
    return a_case(rows, count=4000, temperature_c=24.0, given=(dose(-38),)), means


def test_whole_counts_of_earlier_visits_stand():
    """The mean of five whole fish of k from 0.6 on has a coefficient of variation below 0.6: the median of each visit
    lies within a factor of two of the mean counted, and its 90 % interval all but holds it."""
    case, means = a_pen()
    found = history_of(estimate(case, draws=60, effort=LESS), None)
    for visit, mean in zip(found.visits, means.values(), strict=True):
        assert 0.8 * visit.burden.low <= mean <= visit.burden.high, visit.date
        assert 0.5 < visit.burden.median / mean < 2, visit.date


def test_without_straying_the_equations_overrule_the_counts(monkeypatch):
    """What stood before: an earlier visit was smoothed too far."""
    monkeypatch.setattr(straying, "_STRAYS", 1e-3)
    straying._steps.cache_clear()
    case, means = a_pen()
    found = history_of(estimate(case, draws=60, effort=LESS), None)
    straying._steps.cache_clear()
    off = [abs(np.log(visit.burden.median / mean)) for visit, mean in zip(found.visits, means.values(), strict=True)]
    assert max(off) > np.log(2)


@pytest.mark.parametrize("split", [False, True])
def test_a_dose_that_killed_is_still_seen(split):
    """Straying does not take the place of a drug: counts from 40 to 1 within a week are the dose's."""
    rows = [*organs([40, 25, 60, 35], day=-8), *organs([1, 0, 2, 1])]
    rows += organs([2, 1, 0, 1], day=-3) if split else []
    found = estimate(a_case(rows, count=400, given=(dose(-6, mg_l=5.0),)), draws=60, effort=LESS)
    assert found.mean_abundance.high < 5

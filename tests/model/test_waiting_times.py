"""Durations from a grid time on, and chains in one step, against scipy: its gamma, its quadrature, its expm."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, linalg, stats

from burden.model.elimination.probability import time_grid
from burden.model.elimination.renewal import _adult, _between, _relax
from burden.model.elimination.waiting_times import Leaving, Waiting, farthest
from burden.model.linear_chain import _poisson, _terms, _waits, _waits_of_one, chain_kernel, chain_passage

EVENTS = np.array([1e-7, 1e-5, 9e-4, 2e-3, 0.03, 0.09, 0.2, 0.9, 4.0, 30.0])


# --- chains


#: inflow a wait s before the end of a step: even; rising by one; one more at both ends than on the whole
INFLOWS = (lambda s: 1.0, lambda s: 0.5 - s, lambda s: 6 * s * (s - 1) + 1)


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_what_is_found_of_an_inflow_against_quadrature(kind):
    """∫ Pois(j; e s) f(s) ds from 0 to 1, small events by a series of two terms."""

    def mean(of) -> float:
        return integrate.quad(lambda s: of(s) * INFLOWS[kind](s), 0, 1, epsabs=1e-13)[0]

    want = [mean(lambda s, e=e: np.exp(-e * s)) for e in EVENTS]
    np.testing.assert_allclose(
        _waits_of_one(EVENTS, np.exp(-EVENTS), -np.expm1(-EVENTS))[kind], want, rtol=1e-6, atol=1e-7
    )
    terms = 6
    _, more = _poisson(EVENTS, _terms(30.0) + 2)
    found = _waits(EVENTS, more, terms)[kind]
    for j in range(terms):
        want = [mean(lambda s, e=e, j=j: stats.poisson.pmf(j, e * s)) for e in EVENTS]
        np.testing.assert_allclose(found[j], want, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("mean", [1e-6, 0.01, 0.7, 5.0, 40.0, 100.0])
def test_terms_kept_of_a_poisson_number(mean):
    assert stats.poisson.sf(_terms(mean) - 1, mean) < 1e-8
    assert _terms(mean) <= mean + 9 * np.sqrt(mean) + 8


@pytest.mark.parametrize("stages", [1, 2, 5, 12])
def test_a_chain_alone_against_the_exponential_of_its_generator(stages):
    pace, hazard, dt = np.array([0.0, 0.3, 1.9]), np.array([0.2, 0.1, 0.0]), 1.7
    shift, ended = chain_passage(stages, pace, hazard, dt)
    kernel = chain_kernel(stages, pace, hazard, dt)
    for m in range(3):
        forward = stages * pace[m]
        move = np.diag(np.full(stages + 1, -forward - hazard[m])) + np.diag(np.full(stages, forward), 1)
        move[-1] = 0.0
        by_then = linalg.expm(move * dt)
        for found in (shift, kernel.shift):
            np.testing.assert_allclose(found[:, m], by_then[0, : len(found)], rtol=1e-9, atol=1e-12)
        for found in (ended, kernel.exit):
            want = [by_then[stages - 1 - j, stages] for j in range(len(found))]
            np.testing.assert_allclose(found[:, m], want, rtol=1e-7, atol=1e-8)


# --- durations


def waiting(times, courses) -> Waiting:
    """Two draws; a course is a rate an interval, intervals of one rate share their row."""
    kinds = {
        pace: {
            "temperature": np.array([pace]),
            "rate": np.array([pace, 2 * pace]),
            "shape": np.array([40.0, 90.0]),
            "loss": np.array([0.02, 0.1]),
        }
        for pace in set(courses)
    }
    return Waiting(np.asarray(times, float), [kinds[pace] for pace in courses], {}, "rate", "shape", "loss")


def test_a_duration_of_months_in_cold_water_is_followed_to_its_end():
    """scipy's gamma: at 0.02 a day half of the first draw are still waiting on day 50."""
    of_months = waiting(np.arange(301.0), [0.02] * 300)
    shape, pace, loss = np.array([40.0, 90.0]), np.array([0.02, 0.04]), np.array([0.02, 0.1])
    for day in (10, 25, 50, 70):
        want = stats.gamma.sf(day * pace * shape, shape) * np.exp(-loss * day)
        np.testing.assert_allclose(of_months.from_start(0).left_at(day)[0], want, rtol=1e-6, atol=1e-9)


TIMES = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 18.0]
COURSES = {"even": [0.25] * 14, "changing": [0.1] * 5 + [0.4] * 3 + [0.2] * 6}


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("start", [0, 3, 7, 13])
def test_when_a_duration_ends_is_its_gamma_over_summed_development(course, start):
    """From laying, and from the middle of each of four stages, where what is done by then conditions the rest."""
    wait = waiting(TIMES, COURSES[course])
    days, pace = np.diff(TIMES), np.array(COURSES[course])
    worth = np.random.default_rng(3).uniform(0, 1, (len(days), 1, 2))
    for done, ends in ((np.zeros(1), wait.from_start(start)), ((np.arange(4) + 0.5) / 4, wait.from_stages(start, 4))):
        for draw, (factor, shape, loss) in enumerate(((1, 40.0, 0.02), (2, 90.0, 0.1))):
            law = stats.gamma(shape, scale=1 / shape)
            progress = np.concatenate([[0.0], np.cumsum(factor * (days * pace)[start:])])
            alive = np.exp(-loss * (np.array(TIMES[start:]) - TIMES[start]))
            for u, share in enumerate(done):
                ended = 1 - law.sf(share + progress) / law.sf(share)
                for k in range(len(progress)):
                    left = ends.left_at(k)[u, draw]
                    assert left == pytest.approx((1 - ended[k]) * alive[k], abs=3e-7)
                want = np.sum(np.diff(ended) * np.sqrt(alive[1:] * alive[:-1]) * worth[start:, 0, draw])
                summed = ends.summed(start, len(days), worth)[u, 0, draw]
                assert summed == pytest.approx(want, abs=3e-6)  # deaths in a table's last row are those of its end


def test_in_water_that_keeps_its_temperature_all_starts_share_one_table():
    for first in (0.0, 3.1):
        wait = waiting([first + time for time in TIMES], COURSES["even"])
        for start in range(len(TIMES) - 1):
            wait.from_start(start)
        assert len(wait.memo) == 1
    assert [wait._even[i] for i in (0, 7, 8, 13)] == [8, 1, 0, 0]  # read without any arithmetic
    crooked = waiting([0.0, 0.5, 1.0, 1.7, 2.3], [0.25] * 4)  # no whole number of shortest steps
    crooked.from_start(0)
    assert not crooked.memo


@pytest.mark.parametrize("course", COURSES)
def test_what_is_left_half_way_is_found_half_a_step_early(course):
    """The grid time at which a share of development is passed, by numpy.interp; beyond the horizon, the horizon."""
    wait, horizon = waiting(TIMES, COURSES[course]), 12
    progress = np.concatenate([[0.0], np.cumsum(np.diff(TIMES) * COURSES[course])])
    fraction = np.array([0.3, 0.4])
    leaving = Leaving.of(wait, horizon, 8, fraction)
    for i in (0, 2, 6, 8):
        step, share = leaving.at(i)
        for draw, factor in ((0, 1), (1, 2)):
            goal = factor * progress[i] + fraction[draw]
            place = np.interp(goal, factor * progress[: horizon + 1], np.arange(horizon + 1))
            want = max(place - 0.5, i) if goal < factor * progress[horizon] else horizon
            assert step[draw] + share[draw] == pytest.approx(want, abs=0.5 if want == horizon else 1e-9)
    step, share = leaving.at(10)  # never asked for but at the start itself
    assert (step.tolist(), share.tolist()) == ([10, 10], [0.0, 0.0])


@pytest.mark.parametrize("shape", [1.0, 3.0, 30.0, 400.0])
def test_farthest_is_beyond_all_but_a_ten_millionth(shape):
    assert stats.gamma.sf(float(farthest(np.array(shape))), shape, scale=1 / shape) < 1e-7


@pytest.mark.parametrize(("dt", "reach", "after"), [(0.25, 12.0, 365.0), (0.5, 90.0, 365.0), (0.25, 40.0, 30.0)])
def test_the_grid_grows_after_the_doses_and_never_by_much(dt, reach, after):
    times, horizon = time_grid(3.0, 23.0, dt, reach, after)
    steps = np.diff(times)
    assert times[0] == 3.0
    assert times[horizon] == pytest.approx(23.0 + after, abs=dt)
    assert np.allclose(steps / dt, np.round(steps / dt))
    even = round((20.0 + min(reach, after)) / dt)
    assert np.allclose(steps[:even], dt)
    assert np.all(steps <= max(1.5, reach / 30) + 1e-9)
    assert np.all(steps[even + 1 : horizon] <= steps[even : horizon - 1] * 1.15 + dt)
    # no more grid beyond the horizon than what is under way can reach
    assert reach <= times[-1] - times[horizon] < reach + steps[-1] + 1e-9


# --- one interval back in time


@pytest.mark.parametrize(("dt", "reach", "after"), [(0.1, 0.37, 0.405), (0.25, 7.1, 30.1), (0.5, 20.3, 365.2)])
def test_the_grid_goes_at_least_as_far_as_asked(dt, reach, after):
    """To the horizon, and beyond it by what is under way then, whatever the step makes of either."""
    times, horizon = time_grid(0.0, 2.0, dt, reach, after)
    assert times[horizon] >= 2.0 + after
    assert times[-1] >= times[horizon] + reach - 1e-9


@pytest.mark.parametrize("dt", [0.05, 0.7, 6.0])
def test_what_moves_to_a_goal_and_an_adult_against_an_integrated_equation(dt):
    """Linear: dp/dτ = birth − death·p; else an adult is one of many lines, dp/dτ = birth·(1 − p) − death·p."""
    later, goal, pace = np.array([0.2, 0.9]), np.array([0.7, 0.1]), np.array([0.3, 2.0])
    now, mean = _relax(later, goal, pace, dt)
    birth, death = np.array([0.1, 0.6]), np.array([0.05, 0.4])
    for m in (0, 1):
        run = integrate.solve_ivp(
            lambda _, y, m=m: [pace[m] * (goal[m] - y[0]), y[0],
                               birth[m] - death[m] * y[2], birth[m] * (1 - y[3]) - death[m] * y[3]],
            (0, dt), [later[m], 0.0, later[m], later[m]], rtol=1e-10, atol=1e-12)  # fmt: skip
        end = run.y[:, -1]
        assert (now[m], mean[m]) == pytest.approx((end[0], end[1] / dt), rel=1e-7)
        assert _adult(later, birth, death, dt, True)[m] == pytest.approx(end[2], rel=1e-7)
        assert _adult(later, birth, death, dt, False)[m] == pytest.approx(end[3], rel=1e-7)


def test_a_moment_lies_between_two_neighbouring_grid_times():
    given = np.arange(12).reshape(4, 3)
    early, late, share = _between(given, np.array([0, 2, 3]), np.array([0.1, 0.2, 0.3]))
    np.testing.assert_array_equal(early, given[[0, 2, 3]].T)
    np.testing.assert_array_equal(late, given[[1, 3, 3]].T)  # nothing is later than the last
    np.testing.assert_array_equal(share, [0.1, 0.2, 0.3])

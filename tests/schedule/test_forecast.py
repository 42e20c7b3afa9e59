"""Forecasts by day: order of the bands, deaths that only grow, brakes that only help, regimes that sum to one."""

from __future__ import annotations

import numpy as np
import pytest
from cases import VISIT, a_case
from prior_ponds import DRAWS, pond_of

from burden.model.elimination.probability import DoseSchedule
from burden.schedule.aim import aim_of
from burden.schedule.evaluation import evaluate
from burden.schedule.forecast import AfterADose, Forecast, regime_of
from burden.schedule.projection import BANDS, Strategy, follow

DAYS = 20.0


PLAN = DoseSchedule((0.0, 5.0), ("praziquantel", "praziquantel"))


@pytest.fixture(scope="module")
def ponds():
    return pond_of(a_case(temperature_c=24.0))


@pytest.fixture(scope="module")
def courses(ponds):
    return tuple(follow(*ponds, DAYS, [Strategy(), Strategy(PLAN)])[0])


def test_bands_are_ordered_and_deaths_only_grow(courses):
    for course in courses:
        assert course.days.tolist() == list(range(21))
        for array in (course.abundance, course.deaths):
            assert array.shape == (len(BANDS), 21)
            assert (np.diff(array, axis=0) >= -1e-12).all()
        assert (np.diff(course.deaths, axis=1) >= -1e-9).all()
        assert (course.deaths[:, 0] == 0).all()
        assert course.deaths_end.high <= 40.0  # fish there are


def test_doses_help(courses):
    untreated, treated = courses
    assert treated.abundance_end.median < untreated.abundance_end.median
    assert treated.deaths_end.median <= untreated.deaths_end.median
    assert treated.elimination.mean >= untreated.elimination.mean


def test_brakes_never_lower_the_chance_of_elimination(courses):
    """Resistance and crowding only take from what flukes beget."""
    for course in courses:
        assert course.elimination_braked.mean >= course.elimination.mean - 1e-6


def test_regimes_sum_to_one():
    start, rate = np.ones(50), np.linspace(-0.02, 0.02, 50)
    shares = regime_of(start, start * np.exp(30 * rate), 30.0)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares["growing"] == pytest.approx(np.mean(rate > 0.005))
    assert shares["fading"] == pytest.approx(np.mean(rate < -0.005))


def test_contract_keys(courses):
    """A course that is not there is null, never absent."""
    untreated, _ = courses
    case = a_case(temperature_c=24.0)
    regime = regime_of(np.ones(2), np.ones(2), DAYS)
    answer = Forecast(case, "dactylogyrus", 1, DRAWS, DAYS, regime, untreated, None, None, "no agent is at hand")
    found = answer.as_dict()
    assert {"horizon_days", "regime_probability", "untreated", "planned", "recommended", "withheld_reason"} <= set(
        found
    )
    assert found["planned"] is None
    assert found["recommended"] is None
    assert {"deaths", "mean_abundance_end", "elimination_probability", "doses"} <= set(found["untreated"])
    assert set(found["untreated"]["elimination_probability"]) == {"median", "low", "high", "mean"}
    assert case.visit_date == VISIT


def forecast_of(courses, delay=None):
    untreated, treated = courses
    regime = regime_of(np.ones(2), np.ones(2), DAYS)
    return Forecast(
        a_case(temperature_c=24.0), "dactylogyrus", 1, DRAWS, DAYS, regime, untreated, None, treated, None, delay=delay
    )


def test_deaths_avoided_are_counted_draw_by_draw(courses):
    """Whole fish with the same luck: a dose never costs a fish in any draw, and the triple is of the differences."""
    untreated, treated = courses
    saved = untreated.dead_by_flukes - treated.dead_by_flukes
    assert (saved >= 0).all()
    assert (saved == np.rint(saved)).all()
    found = forecast_of(courses)
    told = found.as_dict()["deaths_avoided"]
    assert told["planned"] is None
    assert told["recommended"]["median"] == np.median(saved)
    assert "deaths by flukes are avoided" in found.text()


def test_a_week_late_is_the_same_plan_a_week_later(ponds, courses):
    """Against following the shifted plan itself: the same draws, the same luck, the coarser step apart."""
    (in_time,), cost = follow(*ponds, DAYS, [Strategy(PLAN)], 7.0)
    (late,), _ = follow(*ponds, DAYS, [Strategy(DoseSchedule((7.0, 12.0), PLAN.agents))])
    assert (in_time.dead == courses[1].dead).all()  # the same whatever is followed beside it
    assert cost.elimination.mean == pytest.approx(late.elimination.mean, abs=1e-6)
    assert cost.abundance_end.median == pytest.approx(late.abundance_end.median, rel=0.05, abs=0.5)
    assert cost.deaths.median == pytest.approx(np.median(late.dead - courses[1].dead), abs=1.0)
    assert cost.abundance.median > cost.abundance_in_time.median
    found = forecast_of(courses, cost)
    assert found.as_dict()["week_later"]["days"] == 7.0
    assert "A delay of 7 days" in found.text()
    assert str(AfterADose()) not in found.text()  # no dose is written down in these courses


def test_nothing_to_give_is_not_given_later(ponds):
    assert follow(*ponds, 3.0, [Strategy()], 7.0)[1] is None


def test_a_course_followed_by_day_is_the_schedule_evaluated(ponds, courses):
    """A row a day or only those needed: steps of other lengths, so apart by what a coarse step may be off."""
    (evaluated,) = evaluate([ponds], [PLAN], aim_of(a_case(temperature_c=24.0), [ponds]))
    run = courses[1].run
    for day in (6.0, 18.0):
        mine, other = run.abundance[np.searchsorted(run.days, day)], evaluated.burden_on(day)[0]
        np.testing.assert_allclose(mine, other, rtol=2e-2)


def test_deaths_by_flukes_and_by_all_else_add_up(courses):
    """The same fish have the same luck, so those that flukes kill are among all the dead."""
    for course in courses:
        assert (course.dead_by_flukes <= course.dead).all()
        told = course.as_dict()
        assert told["deaths"]["high"] <= told["fluke_deaths"]["high"] + told["other_deaths"]["high"]


def test_both_bands_are_in_json_by_day(courses):
    untreated, _ = courses
    told = untreated.as_dict()["by_day"]
    assert set(told["deaths"]) == {"p5", "p25", "p50", "p75", "p95"} == set(told["flukes_per_fish"])
    assert told["day"] == untreated.days.tolist()
    assert untreated.band(untreated.deaths, 0.5) == (told["deaths"]["p25"][-1], told["deaths"]["p75"][-1])
    assert untreated.band(untreated.deaths, 0.9) == (told["deaths"]["p5"][-1], told["deaths"]["p95"][-1])

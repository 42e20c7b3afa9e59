"""Forecasts by day: order of the bands, deaths that only grow, brakes that only help, regimes that sum to one."""

from __future__ import annotations

import numpy as np
import pytest
from cases import VISIT, a_case
from test_schedule import DRAWS, pond_of

from burden.elimination import Plan
from burden.forecast import BANDS, Forecast, follow, regime_of

DAYS = 20.0


@pytest.fixture(scope="module")
def courses():
    pond, state = pond_of(a_case(temperature_c=24.0))
    plan = Plan((0.0, 5.0), ("praziquantel", "praziquantel"))
    return follow(pond, state, DAYS), follow(pond, state, DAYS, plan)


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

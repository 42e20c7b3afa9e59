"""The temperature ahead: against tables of air and sea, and against its own arithmetic.

Shallow water follows the mean air of some days (common practice, no source): the air of Seattle, 47.6° N, daily means
of 2012 to 2015 over seven days, every third day (NOAA daily summaries, in the public domain, as the package
vega_datasets 0.9.0 gives them as seattle-weather.csv). Sea: monthly surface temperature of the Nino 1+2 region, 0 to
10° S, 1950 to 2010 (NOAA, as the package statsmodels gives it as elnino).
"""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from burden.model.temperature import Temperature
from burden.model.temperature_outlook import STEADY, YearlyPrior, draw_ahead, of_latitude

PUBLISHED = Path(__file__).parents[1] / "published" / "seattle_air_2012_2015.csv"
DRAWS = 300


def seattle() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    with PUBLISHED.open() as file:
        rows = list(csv.DictReader(file))
    dates = [date.fromisoformat(row["date"]) for row in rows]
    days = np.array([(d - dates[0]).days for d in dates], float)
    return (
        days,
        np.array([d.timetuple().tm_yday for d in dates], float),
        np.array([float(r["mean_of_7_days_c"]) for r in rows]),
    )


def on(ahead, day: float) -> np.ndarray:
    return np.array([np.interp(day, ahead.days, column) for column in ahead.temperatures_c.T])


def coverage(priors, readings: int, horizon: float) -> tuple[float, float]:
    """Share of a 90 % interval that holds the air later on, and the mean error of the median."""
    days, of_year, air = seattle()
    held, off = [], []
    for i in range(40, len(days) - 45, 9):
        first = max(i - readings + 1, 0)
        ahead = draw_ahead(days[first : i + 1] - days[i], air[first : i + 1], of_year[i], priors, "fresh", DRAWS, i)
        low, middle, high = np.quantile(on(ahead, horizon), [0.05, 0.5, 0.95])
        truth = np.interp(days[i] + horizon, days, air)
        held.append(low <= truth <= high)
        off.append(middle - truth)
    return float(np.mean(held)), float(np.mean(off))


@pytest.mark.parametrize("readings", [1, 14])
@pytest.mark.parametrize("horizon", [9.0, 30.0, 60.0, 120.0])
def test_the_air_of_four_years_lies_in_the_interval_as_often_as_said(readings, horizon):
    held, off = coverage([(1.0, of_latitude(47.6, "fresh"))], readings, horizon)
    assert 0.84 <= held <= 1.0
    assert abs(off) < 1.0


def test_a_flat_last_reading_fails_the_same_check():
    """What was done before: the last reading, give or take 1.5 °C, for months."""
    flat = YearlyPrior(12.0, 30.0, 0.0, 0.0, 0.0, 0.0, (1.5, 0.0))
    held, _ = coverage([(1.0, flat)], 1, 90.0)
    assert held < 0.6


def test_the_sea_off_peru_over_sixty_years():
    data = pytest.importorskip("statsmodels.datasets").elnino.load_pandas().data
    sea = data.to_numpy()[:, 1:].ravel()
    middle = 30.44 * np.arange(sea.size) + 15
    held = []
    for i in range(6, sea.size - 3, 7):
        read = slice(i - 5, i + 1)
        prior = [(1.0, of_latitude(-5.0, "sea"))]
        ahead = draw_ahead(middle[read] - middle[i], sea[read], middle[i] % 365.25, prior, "sea", DRAWS, i)
        low, high = np.quantile(on(ahead, middle[i + 2] - middle[i]), [0.05, 0.95])
        held.append(low <= sea[i + 2] <= high)
    assert 0.84 <= np.mean(held) <= 0.99


def test_climates_by_latitude_against_tables():
    """Mean, swing and warmest time of the air at sea level, from memory.

    Nottingham 9.5 ± 6.3 °C, July; Rome 15.5 ± 8.5, late July; Singapore 27 ± 1; Cape Town 17 ± 4.5, early February.
    """
    table = {53.0: (9.5, 6.3, 200), 41.9: (15.5, 8.5, 208), 1.3: (27.0, 1.0, None), -33.9: (17.0, 4.5, 36 + 365)}
    for latitude, (mean, swing, warmest) in table.items():
        prior = of_latitude(latitude, "fresh")
        assert abs(prior.mean_c - mean) < 1.645 * prior.mean_sd
        assert abs(prior.swing_c - swing) < 1.645 * prior.swing_sd
        if warmest is not None:
            assert abs((prior.warmest_day - warmest + 182) % 365 - 182) < 1.645 * prior.warmest_sd + 3


def test_readings_of_a_steady_tank_speak_for_a_steady_tank():
    days = np.arange(-40.0, 1.0)
    priors = [(0.4, STEADY), (0.6, of_latitude(50.0, "fresh"))]
    steady = draw_ahead(days, 22.0 + 0.2 * np.sin(days), 120.0, priors, "fresh", DRAWS, 1)
    warming = draw_ahead(days, 14.0 + 0.18 * days, 120.0, priors, "fresh", DRAWS, 1)
    assert steady.chances[0] > 0.8
    assert warming.chances[0] < 0.2
    assert np.median(on(warming, 40.0)) > 16.0


def test_what_is_known_is_kept_and_the_spread_grows():
    ahead = draw_ahead(np.zeros(1), np.array([9.0]), 70.0, [(1.0, of_latitude(51.0, "fresh"))], "fresh", DRAWS, 1)
    assert np.all(ahead.temperatures_c[0] == 9.0)
    spread = [np.std(on(ahead, day)) for day in (1.0, 7.0, 30.0, 90.0)]
    assert spread == sorted(spread)
    assert 11.0 < np.median(on(ahead, 60.0)) < 17.0  # March to May
    again = draw_ahead(np.zeros(1), np.array([9.0]), 70.0, [(1.0, of_latitude(51.0, "fresh"))], "fresh", 2 * DRAWS, 1)
    np.testing.assert_allclose(ahead.temperatures_c, again.temperatures_c[:, :DRAWS], rtol=1e-12)


def test_a_course_ahead_reads_back_draw_by_draw():
    ahead = draw_ahead(np.zeros(1), np.array([9.0]), 70.0, [(1.0, of_latitude(51.0, "fresh"))], "fresh", 20, 1)
    course = Temperature.ahead(np.array([-5.0, 0.0]), np.array([8.0, 9.0]), ahead.days, ahead.temperatures_c)
    assert float(course.at(-2.5)) == 8.5
    for day in (0.5, 4.0, 33.0, 700.0):
        np.testing.assert_allclose(course.at(day), on(ahead, day), atol=1e-9)
    np.testing.assert_allclose(course.take(np.array([3, 3])).at(33.0), np.repeat(course.at(33.0)[3], 2))
    assert not course.is_constant(0.0, 5.0)
    assert set(ahead.days[1:4]) <= set(course.breaks(-1.0, 8.0))

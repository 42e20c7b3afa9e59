"""Years of one pond: forecasts against estimates made without the later rows, counts against closed forms, words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, organs
from scipy import stats

from burden.case import DeathRecord
from burden.inference import visit_forecasts as forecasts
from burden.inference.estimate import estimate
from burden.inference.history import run_past
from burden.inference.pond_history import HISTORY_COLUMNS, Calibration, history_of
from burden.inference.sampler import Effort
from burden.inference.visit_comparison import _foreseen, case_as_of
from burden.inference.visit_forecasts import VisitForecast, counts_of
from burden.utils.results import CredibleInterval

FEW = Effort(200, 400, 50.0)


@pytest.fixture(scope="module")
def pond():
    """Three visits, the first of them a year ago, a dose after the second."""
    rows = [*clips([9, 4, 12], day=-380), *clips([6, 2, 11, 4], day=-21), *clips([1, 3, 0, 2])]
    log = tuple(DeathRecord(VISIT.replace(day=d), n, 7) for d, n in ((3, 1), (10, 0)))
    case = a_case(rows, given=(dose(-21),), deaths=log)
    return history_of(estimate(case, draws=40, effort=FEW), None)


def test_every_visit_stands_with_what_was_seen(pond):
    assert [visit.counted for visit in pond.visits] == [25, 23, 6]
    assert [visit.alone for visit in pond.visits] == [True, False, False]
    assert [visit.dead for visit in pond.visits] == [None, None, 1]
    assert pond.left_out == ()  # a year lies between the first two
    assert {tuple(row) for row in pond.rows()} == {HISTORY_COLUMNS}
    assert pond.visits[0].burden.low < 25 / 3 / 0.02 / 0.7 < 3 * pond.visits[0].burden.high


def test_the_forecast_is_that_of_an_estimate_without_the_later_rows(pond):
    """The same question by another way: the case as of the visit before, run on with the dose that was given."""
    (found,) = pond.forecasts
    assert found.can_be_judged
    then = estimate(case_as_of(pond.case, pond.visits[1].date), draws=40, effort=FEW)
    burden, deaths = _foreseen(then, 21.0)
    assert burden.low < found.burden.median < burden.high
    assert found.burden.low < burden.median < found.burden.high
    assert found.deaths.low <= deaths.high
    assert found.verdict == "as_expected"


def test_no_visit_is_said_to_be_as_expected_that_is_not(pond):
    (found,) = pond.forecasts
    assert replace(found, counted=int(found.counts.high) + 1).verdict == "more"
    assert replace(found, counted=-1).verdict == "fewer"
    assert replace(found, effective_draws=5.0).verdict == "cannot_tell"


def test_whole_gills_of_random_fish_count_as_a_negative_binomial():
    """Mean and variance of the sum of whole-organ counts in closed form: fish are independent, each of size k."""
    case = a_case(organs([0, 0, 0]))
    runs = run_past(case, "dactylogyrus", 3000, 5)
    p = runs.pond.setting.parameters
    mean, k = np.full(3000, 40.0), p["aggregation"]
    drawn = counts_of(runs, mean, case.samples, {}, np.random.default_rng(3))
    rate = 40.0 * runs.seen.detection * runs.seen.site_share
    assert drawn.mean() == pytest.approx(3 * rate.mean(), rel=0.06)
    below = [stats.nbinom.cdf(drawn[i], 3 * k[i], 1 / (1 + rate[i] / k[i])) for i in range(3000)]
    assert np.mean(below) == pytest.approx(0.5, abs=0.05)  # ties push it up a little
    assert np.mean(np.array(below) > 0.95) == pytest.approx(0.05, abs=0.02)


def test_a_count_read_as_more_than_fifty_is_read_so_when_foretold():
    row = clips([(51, None)])[0]
    assert forecasts._read_as(row, np.array([3, 51, 400])).tolist() == [3, 51, 51]


def judged(place: float, verdict: str = "as_expected") -> VisitForecast:
    some = CredibleInterval(5.0, 1.0, 9.0)
    counted = {"more": 10, "fewer": 0, "as_expected": 5}[verdict]
    return VisitForecast(VISIT, VISIT, some, some, some, counted, place, None, None, 100.0)


@pytest.mark.parametrize(
    ("made", "verdict"),
    [
        ([], "too_few"),
        ([judged(0.5)] * 4, "too_few"),
        ([judged(0.4), judged(0.6)] * 3, "as_good_as_said"),
        ([judged(0.97, "more")] * 3, "too_low"),
        ([judged(0.02, "fewer")] * 3, "too_high"),
        ([judged(0.99, "more"), judged(0.01, "fewer"), judged(0.5), judged(0.98, "more"), judged(0.02)], "too_sure"),
    ],
)
def test_verdicts_on_the_forecasts(made, verdict):
    assert Calibration.of(made).verdict == verdict


def test_each_reason_why_no_forecast_can_be_checked_has_its_own_words(pond):
    """Two visits a fortnight apart are no reason to wait for a second one."""
    from burden.report.text.pond_history import calibration_text, left_out_text

    alone = replace(pond, visits=pond.visits[:1], forecasts=(), left_out=())
    far = replace(pond, forecasts=(), left_out=())
    unfit = replace(pond, forecasts=tuple(replace(one, effective_draws=1.0) for one in pond.forecasts), left_out=())
    later = replace(pond, forecasts=(), left_out=(VISIT,))
    found = (alone, far, unfit, later)
    assert [one.why_unchecked for one in found] == ["one_visit", "far_apart", "few_ponds", "not_worked_out"]
    said = [calibration_text(one) or left_out_text(one) for one in found]
    assert len(set(said)) == 4
    assert ["one day only" in one for one in said] == [True, False, False, False]
    assert ["120 days" in one for one in said] == [False, True, False, False]
    assert pond.why_unchecked == ""
    assert "why_unchecked" in pond.as_dict()["calibration"]


def test_misses_are_binomial():
    found = Calibration.of([judged(0.99, "more"), judged(0.3), judged(0.4)])
    assert found.chance_outside == pytest.approx(1 - 0.9**3)


def test_words_and_figure(pond):
    from burden.report.figures.history import draw_history

    said = pond.text()
    assert "6 flukes in 4 preparations" in said
    assert "they showed 6: within that range" in said
    assert len(pond.brief().splitlines()) <= 5
    figure = draw_history(pond)
    titles = [axis.get_title(loc="left") for axis in figure.axes]
    assert titles == ["flukes a fish", "counted, a preparation", "water, °C", "fish found dead"]
    marks = [line for line in figure.axes[0].lines if line.get_marker() in ("o", "s")]
    assert len(marks) == len(pond.visits)

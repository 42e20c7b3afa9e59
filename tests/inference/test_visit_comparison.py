"""What changed since the last visit: later rows are left out, what moved is said, one visit says nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from cases import VISIT, a_case, clips, dose

from burden.case import Arrival, DeathRecord, RecordedTemperature
from burden.inference.estimate import estimate
from burden.inference.sampler import Effort
from burden.inference.visit_comparison import ParameterChange, case_as_of, last_visit, what_changed
from burden.utils.results import CredibleInterval

THEN = VISIT - timedelta(days=14)


def two_visits(before, after, **more):
    rows = [*clips(before, day=-14), *clips(after)]
    log = tuple(DeathRecord(VISIT + timedelta(days=day), n, 7) for day, n in ((-21, 1), (-14, 0), (-7, 2), (0, 1)))
    return a_case(rows, given=(dose(-20), dose(-13)), deaths=log, **more)


def test_the_case_of_then_holds_no_later_row():
    case = two_visits([3, 4], [0, 0])
    then = case_as_of(case, THEN)
    assert then.visit_date == THEN
    assert {row.date for row in then.samples} == {THEN}
    assert max(row.date for row in then.deaths) == THEN
    assert [a.date for a in then.given] == [VISIT - timedelta(days=20)]
    assert [a.date for a in then.planned] == [VISIT - timedelta(days=13)]
    assert then.fish_count == case.fish_on(THEN) == 43


def test_fish_that_came_since_and_readings_of_later_days_are_not_known_then():
    case = two_visits([3], [1])
    group = replace(case.fish[0], new_arrivals=(Arrival(VISIT - timedelta(days=5), 10),))
    times = tuple(datetime(2026, 4, 1) + timedelta(days=i) for i in range(40))
    water = replace(case.water, temperature=RecordedTemperature(times, tuple(range(40))))
    then = case_as_of(replace(case, fish=(group,), water=water), THEN)
    assert then.fish_count == 40 + 3 - 10
    assert then.fish[0].new_arrivals == ()
    assert max(t.date() for t in then.water.temperature.times) <= THEN


def test_one_visit_has_nothing_to_compare():
    case = a_case(clips([3, 1]))
    assert last_visit(case) is None
    assert what_changed(estimate(case, draws=60)) is None


def test_a_burden_beyond_what_was_foreseen_is_said():
    """Clean fish two weeks ago and dozens on a clip now: more than foreseen, and more dead."""
    case = two_visits([0] * 6, [30, 40, 25, 35])
    found = what_changed(estimate(case, draws=60, effort=Effort(200, 500, 60)))
    assert found.today.verdict == "higher"
    assert "more than expected" in found.text()
    assert found.dead == 3
    assert found.new_rows == {"preparations": 4, "rows of deaths": 2, "doses and works": 1}
    said = found.text().splitlines()[0]
    assert said.startswith("Since 26 Apr 2026 (4 preparations, 2 rows of deaths and 1 action added)")
    told = found.as_dict()
    assert told["since"] == THEN.isoformat()
    assert told["mean_abundance_today"]["verdict"] == "higher"


@pytest.mark.parametrize(
    ("then", "now", "verdict"),
    [
        ((1, 0.5, 2), (5, 4, 6), "higher"),
        ((1, 0.5, 2), (0.1, 0.05, 0.2), "lower"),
        ((1, 0.1, 10), (1, 0.5, 2), "narrowed"),
        ((1, 0.5, 2), (1, 0.1, 10), "wider"),
        ((1, 0.5, 2), (1.1, 0.55, 2.2), "unchanged"),
        ((float("nan"),) * 3, (1, 0, 2), "cannot be compared"),
    ],
)
def test_verdicts(then, now, verdict):
    assert ParameterChange("x", CredibleInterval(*then), CredibleInterval(*now)).verdict == verdict

"""The next look: what so many fish would show, and what each result leads to."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from cases import a_case, clips

from burden.case import YearlyTemperature
from burden.decision import decide
from burden.decision.look_counts import PREPARATIONS, counts_seen, outcomes_of
from burden.decision.next_look import _look_before_deciding, next_look
from burden.inference.estimate import estimate

DRAWS = 400


@pytest.fixture(scope="module")
def found():
    return estimate(a_case(clips([2, 0, 1])), draws=DRAWS)


def test_results_cover_everything_once_and_more_flukes_mean_a_likelier_high_burden():
    rng = np.random.default_rng(1)
    burden = rng.lognormal(4, 1.5, 4000)
    flukes, high = rng.poisson(burden / 50), (burden > 200).astype(float)
    outcomes = outcomes_of(flukes, high, "more_fish", 0.2)
    assert [one.code for one in outcomes] == ["none", "few", "many"]
    assert sum(one.chance for one in outcomes) == pytest.approx(1.0)
    chances = [one.chance_high for one in outcomes]
    assert chances == sorted(chances)
    assert [one.action for one in outcomes][-1] == "dose"
    # by Bayes on the draws themselves
    assert outcomes[0].chance_high == pytest.approx(high[flukes == 0].mean())


def test_no_dose_follows_from_clean_fish():
    """Nobody doses fish that show no fluke (common practice, no source)."""
    outcomes = outcomes_of(np.zeros(50, int), np.ones(50), "more_fish", 0.2)
    assert [one.action for one in outcomes] == ["look_first"]


def test_counts_have_the_mean_of_burden_share_and_preparations(found):
    burden = np.full(DRAWS, 500.0)
    counts = np.mean([counts_seen(found, burden, n) / n for n in (40, 60, 80)], axis=0)
    p = found.pond.setting
    from burden.case import Preparation
    from burden.inference.observation_parameters import share_examined

    row = Preparation(found.case.visit_date, "1", "random", "gill", method="gill_clip")
    share = share_examined(row, found.seen, p.fish.weight_g.mean(0)) * found.seen.detection
    assert counts.mean() == pytest.approx(float(np.mean(500.0 * share * PREPARATIONS)), rel=0.1)


@pytest.mark.parametrize("there", [1, 4, 40])
def test_never_more_fish_than_there_are(found, there):
    case = a_case(count=there)
    look = next_look(case, [found], 14.0, "watch", [np.full(DRAWS, 50.0)], np.linspace(0, 1, DRAWS), 0.2)
    assert 1 <= look.fish <= there
    assert look.all_fish == (look.fish == there)
    assert (look.date - case.visit_date).days == 14


def test_more_fish_are_asked_for_where_few_do_not_decide():
    case = a_case(clips([0, 0]), count=40)
    found = estimate(a_case(clips([0, 0])), draws=DRAWS)
    burden = found.state.flukes_per_fish(found.pond.setting.fish)
    high = (burden > np.quantile(burden, 0.7)).astype(float)
    look = next_look(case, [found], 0.0, "more_fish", [burden], high, 0.2)
    undecided = sum(one.chance for one in look.outcomes if 0.2 < one.chance_high < 0.5)
    assert look.fish == 30 or undecided <= 0.2


def test_the_look_that_the_action_hung_on_is_not_drawn_again(found):
    """`grounds` without estimates: another look could not be drawn."""
    asked = next_look(found.case, [found], 0.0, "more_fish", [np.full(DRAWS, 50.0)], np.linspace(0, 1, DRAWS), 0.2)
    assert _look_before_deciding(SimpleNamespace(case=found.case), {"may_stay_low", "more_fish"}, asked) is asked


def test_well_fish_in_cold_water_are_left_in_peace_until_it_warms():
    """Common practice, no source: no net goes into a pond of 5 °C to count flukes that cannot increase."""
    case = a_case(clips([0, 1, 0, 0, 0, 0]), temperature_c=5.0)
    case = replace(case, water=replace(case.water, outlook=YearlyTemperature(12.0, 8.0, (8, 1))))
    case = case_in(case, date(2026, 12, 1))
    look = decide(case, draws=60).look
    assert look.once_c == 10.0
    assert date(2027, 3, 1) <= look.date <= date(2027, 5, 31)
    assert look.outcomes == ()


def case_in(case, day):
    """The same case, visited and sampled on another day."""
    return replace(case, visit_date=day, samples=tuple(replace(row, date=day) for row in case.samples))

"""What earlier baths leave in the water, and when a dose on top of it is too much."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, dose

from burden.inference.prior import draw_pond
from burden.schedule.candidates import candidate_plans
from burden.treatment.residues import builds_up, ceiling_mg_l, given_baths, left_mg_l


def pond_with(kind, **changes):
    case = a_case(**changes)
    return replace(case, water=replace(case.water, filter=kind, exchange_per_day=0.0))


def test_no_fish_died_at_21_mg_l_so_nothing_is_left_above_20() -> None:
    """Zuskova et al. 2022: no zebrafish died in 96 h at 21 mg/L of praziquantel, half at 30 to 40 mg/L."""
    assert ceiling_mg_l("praziquantel") <= 21.0


def test_what_is_left_is_an_exponential_of_the_published_loss() -> None:
    """Thomas et al. 2016: 2.0 a day in a filter that has met praziquantel, 0.51 in one that has not."""
    adapted = left_mg_l(pond_with("adapted"), "praziquantel", 3.0, [(0.0, 5.0), (1.0, 5.0)])
    assert adapted == pytest.approx(5 * np.exp(-6.0) + 5 * np.exp(-4.0), rel=1e-9)
    naive = left_mg_l(pond_with("naive"), "praziquantel", 2.0, [(0.0, 5.0)])
    assert naive == pytest.approx(5 * np.exp(-1.02), rel=1e-9)
    assert left_mg_l(pond_with(None), "praziquantel", 2.0, [(0.0, 5.0)]) > 4.9  # nobody says which: none


def test_five_daily_doses_are_too_many_where_no_filter_takes_the_agent() -> None:
    daily, five = [0.0, 1.0, 2.0, 3.0, 4.0], ["praziquantel"] * 5
    assert builds_up(pond_with("none"), daily, five)
    assert not builds_up(pond_with("none"), daily[:4], five[:4])
    assert not builds_up(pond_with("adapted"), daily, five)
    assert builds_up(pond_with("none"), [0.0, 3.0], ["formalin"] * 2)
    assert not builds_up(pond_with("none"), [0.0, 10.0], ["formalin"] * 2)
    assert not builds_up(pond_with("none"), [0.0, 0.5, 1.0], ["sodium_chloride"] * 3)  # baths apart leave nothing


def test_no_schedule_that_builds_up_is_judged() -> None:
    case = pond_with("none")
    pond = draw_pond(case, "dactylogyrus", 8, 1)
    plans = [p for n in (1, 2, 3, 4) for p in candidate_plans(case, pond, ["praziquantel", "formalin"], n)]
    assert len(plans) > 20
    assert max(len(plan.days) for plan in plans) > 2
    assert not any(builds_up(case, plan.days, plan.agents) for plan in plans)


def test_baths_before_the_visit_as_far_as_they_are_known() -> None:
    given = (replace(dose(-2), mg_l=4.0, water_change_after=0.5), replace(dose(-1), mg_l=5.0, hours=2.0))
    assert given_baths(a_case(given=given), "praziquantel") == [(-2.0, 2.0)]
    assert given_baths(a_case(given=given), "formalin") == []
    dip = replace(dose(-1), route="dip", hours=None, mg_l=50.0)
    assert given_baths(a_case(given=(dip,)), "praziquantel") == []  # nothing of it went into the pond
    assert given[0].date == VISIT - timedelta(days=2)


def test_what_was_given_counts_against_the_ceiling_unless_the_water_is_changed() -> None:
    """Four daily baths of 5 mg/L in water without a filter leave no room for a fifth below 20 mg/L."""
    case = replace(pond_with("none"), given=tuple(dose(-day) for day in (4, 3, 2, 1)))
    assert builds_up(case, [0.0], ["praziquantel"])
    assert not builds_up(case, [0.0], ["praziquantel"], carried=False)

"""Which agents may be given, and how many fish would have to be netted for them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from cases import a_case, dose, exactly, organs

from burden.case import Case
from burden.inference.prior import draw_pond
from burden.schedule.candidates import first_days
from burden.schedule.eligibility import _worked_here, netted_apart


def caged(before: int, after: int, agent: str = "hydrogen_peroxide") -> Case:
    """A sea cage bathed ten days ago, with counts on either side."""
    given = (dose(-10, agent, 75.0, 0.5),)
    case = a_case(
        [*organs([before] * 5, day=-10), *organs([after] * 5, first=10)], given=given, parasites=("sparicotyle",)
    )
    return replace(case, water=replace(case.water, kind="cage", medium="sea"))


@pytest.mark.parametrize(("before", "after", "worked"), [(80, 7, True), (80, 40, False), (2, 0, False)])
def test_a_fall_on_these_fish_counts_for_more_than_a_trial_elsewhere(before, after, worked):
    """Common practice, no source: gills before and after the bath of this very cage; a few flukes show nothing."""
    case = caged(before, after)
    assert _worked_here(case, "hydrogen_peroxide") is worked
    assert not _worked_here(case, "formalin")


@pytest.mark.parametrize(("count", "weight_g", "netted"), [(20, 400.0, False), (28, 2500.0, True), (4000, 5.0, True)])
def test_neither_thousands_of_fish_nor_a_great_weight_of_them_are_netted_into_a_tub(count, weight_g, netted):
    """Common practice, no source."""
    case = a_case(count=count)
    case = replace(case, fish=(replace(case.fish[0], mean_weight_g=exactly(weight_g)),))
    assert netted_apart(case, "sodium_chloride") is netted
    assert not netted_apart(case, "praziquantel")


def test_nobody_baths_a_cage_on_the_day_of_the_visit():
    """Common practice, no source: its fish were fed, and the boat is elsewhere; a pond has its next dose at once."""
    case = caged(80, 30)
    pond = draw_pond(case, "sparicotyle", 40, 1)
    assert min(first_days(case, pond)) >= 1
    still = replace(case, water=replace(case.water, kind="tank"))
    assert min(first_days(still, draw_pond(still, "sparicotyle", 40, 1))) == 0

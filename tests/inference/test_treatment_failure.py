"""Why a dose fell short: what stages tell apart, what no count can, and the salt test against its own arithmetic."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest
from cases import a_case, clips, dose, fixed_values

from burden.inference.dose_accounts import Accounts
from burden.inference.paired_samples import Between
from burden.inference.response_result import FromOutside
from burden.inference.treatment_failure import CAUSES, CauseTest, could_be_removed, salt_test, why_it_fell_short
from burden.inference.treatment_response import response

HELD = fixed_values(part_shape=2.0, detection_per_fluke=0.95, gill_share=0.97, aggregation=2.0)
BEFORE = (24, 9, 41, 17, 12, 30, 8, 22, 15, 27)


def counted(after):
    return _counted(tuple(after))


@cache
def _counted(after):
    """What is said of the same counts is worked out once."""
    given = dose(-5, mg_l=10.0, hours=48.0)
    rows = [*clips(BEFORE, 0.05, day=-5), *after]
    return response(a_case(rows, given=(given,), temperature_c=18.0, overrides=HELD, count=200), draws=200)


def by_stage(adults, juveniles):
    """Clips of which both stages were counted, two days after the dose."""
    rows = []
    for one, (a, j) in zip(clips([0] * len(adults), 0.05, day=-3, first=50), zip(adults, juveniles, strict=True),
                           strict=True):  # fmt: skip
        rows += [replace(one, count_low=n, count_high=n, stage=s) for n, s in ((a, "adult"), (j, "juvenile"))]
    return rows


def chances(found):
    return {cause.name: cause.probability for cause in found.causes}


def weighed(after):
    """The reasons, taken for granted that the dose fell short."""
    before = clips(BEFORE, 0.05, day=-5)
    case = a_case([*before, *after], given=(dose(-5, mg_l=10.0, hours=48.0),), overrides=HELD, count=200)
    accounts = Accounts.of(Between.of(case, "dactylogyrus", before, after, 200, 1))
    return why_it_fell_short(case, accounts.failed)


def test_stages_tell_shelter_from_a_weak_dose():
    """Juveniles alone left: shelter. Adults left as well: a weak dose, whatever made it weak."""
    young = weighed(by_stage([0] * 10, [9, 4, 12, 6, 5, 9, 3, 5, 6, 8]))
    old = weighed(by_stage([15, 7, 21, 10, 9, 20, 5, 12, 10, 17], [4, 2, 8, 3, 3, 5, 1, 4, 3, 4]))
    shelter = [next(c.probability for c in causes if c.name == "sheltered_juveniles") for causes in (young, old)]
    assert shelter[0] > 0.9
    assert shelter[1] < 0.1
    for causes in (young, old):
        assert {cause.name for cause in causes} == set(CAUSES)
        assert sum(cause.probability for cause in causes) == pytest.approx(1.0)
        assert all(cause.told and cause.find_out.endswith(".") for cause in causes)


def test_reasons_of_one_kind_keep_the_odds_they_had():
    """A larger water, breakdown and less sensitive flukes make the same counts, so no count moves their odds."""
    found = counted(clips(BEFORE[::-1], 0.05, day=-3, first=50))
    believed = {cause.name: cause.believed for cause in found.causes}
    after = chances(found)
    assert after["volume_wrong"] / after["broken_down"] == pytest.approx(
        believed["volume_wrong"] / believed["broken_down"]
    )
    assert "Counts cannot show whether a dose was weak because" in found.text()


def test_a_dose_that_worked_has_no_reasons_to_give():
    found = counted(clips([0] * 10, 0.05, day=-3, first=50))
    assert found.causes == ()
    assert found.as_dict()["causes"] == []


def test_the_case_moves_the_odds():
    """Nobody doubts a volume that was metered; carbon that ran is the first thing to ask about."""
    plain = counted(clips(BEFORE, 0.05, day=-3, first=50))
    case = a_case(clips(BEFORE, 0.05, day=-5), given=(replace(dose(-5), uv_or_carbon_on=True),), overrides=HELD)
    found = response(replace(case, samples=(*case.samples, *clips(BEFORE, 0.05, day=-3, first=50))), draws=200)
    odds = [{c.name: c.believed for c in x.causes} for x in (plain, found)]
    assert odds[1]["broken_down"] > odds[0]["broken_down"]


def test_the_same_labels_on_both_days_are_paired_too():
    """By contract a label is a fish's own on one day; paired, the interval is that of the same fish."""
    same = counted(clips(BEFORE, 0.05, day=-3))
    other = counted(clips(BEFORE, 0.05, day=-3, first=50))
    assert other.counted_if_same_fish is None
    paired = same.counted_if_same_fish
    assert paired["estimate"] == pytest.approx(0.0)
    assert paired["high"] - paired["low"] < same.counted["high"] - same.counted["low"]


def test_salt_test_names_the_salt_that_its_own_arithmetic_asks_for():
    """990 × kg / rise gives the volume back; 0.5 g/L in 10 m³ needs 5 kg of pure salt."""
    found = salt_test(10_000.0)
    assert 990 * found.salt_kg / 0.5 == pytest.approx(10_000, rel=0.01)
    assert found.relative_error == pytest.approx(0.05, abs=0.005)
    assert "Add 5.05 kg of plain salt" in str(found)
    assert "exact to 5 %" in str(found)


# --- what may be behind it --------------------------------------------------------------------------------------------
LATE = (3, 8, 1, 0, 5, 12)


@cache
def after_weeks(neighbours=None):
    """A farm pond without a filter or lamp: many flukes, a dose, and eight weeks later a few."""
    rows = [*clips([100, 150, 90, 130, 155], 0.12, day=-58), *clips(LATE, 0.12, first=50)]
    case = a_case(rows, given=(dose(-58),), temperature_c=18.0, count=2850)
    water = replace(case.water, filter="none", uv=False, neighbours=neighbours)
    return response(replace(case, water=water), draws=200)


def test_a_dose_of_many_weeks_ago_is_not_judged():
    """At 18 °C eggs hatch in a week and the young lay after another: eight weeks are four generations."""
    found = after_weeks()
    assert (found.verdict, found.long_ago, found.causes) == ("cannot_tell", True, ())
    said = found.text()
    assert "looked at 58 days after it" in said
    assert "cannot judge the dose" in said
    assert "that it fell short" not in said
    assert [step.step for step in found.next_steps] == ["look_two_days_after"]


def test_flukes_of_neighbours_are_among_what_may_be_behind_it():
    assert any(isinstance(reason, FromOutside) for reason in after_weeks("some").reasons)
    assert "from neighbours" in after_weeks("some").text()
    assert "neighbours" not in after_weeks().text()


def test_no_filter_or_lamp_is_asked_about_where_there_is_none():
    """The causes of a dose that fell short two days ago, in a pond with neither."""
    case = a_case(clips(BEFORE, 0.05, day=-5), given=(dose(-5),), overrides=HELD, count=200)
    case = replace(case, samples=(*case.samples, *clips(BEFORE, 0.05, day=-3, first=50)))
    bare = response(replace(case, water=replace(case.water, filter="none", uv=False)), draws=200)
    assert not could_be_removed(bare.case)
    said = " ".join([bare.text(), *(cause.find_out for cause in bare.causes)])
    assert "gone from the water sooner than expected" in said
    assert not re.search("carbon|UV|ozone|filter had met", said)
    lamp = response(replace(case, water=replace(case.water, filter="none", uv=True)), draws=200)
    assert could_be_removed(lamp.case)
    assert "carbon, UV or ozone" in lamp.text()


def test_a_lake_is_not_filled_through_a_meter():
    assert "Work the volume out anew" in str(CauseTest("volume_wrong", None, large=True))
    assert "through a meter" in str(CauseTest("volume_wrong"))

"""What one report says in two places is one and the same: horizons, levels, signs, units."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest
from report_cases import DRAWS, koi, koi_files, page_of

from burden.case import Case
from burden.decision import Assessment, assess
from burden.report.formatting import unbroken
from burden.report.page.owner import owner_page
from burden.report.text.deaths import deaths_text
from burden.schedule.aim import HORIZON_DAYS, emptied_day
from burden.utils.formatting import say_date

_UNIT = re.compile(r"\d (?:%|°C|kg|g|mg|L|mL|m³|h|d)(?!\w)")


def owner_of(found: Assessment) -> str:
    return " ".join(text for _, texts in owner_page(found) for text in texts)


# --- a number and its unit --------------------------------------------------------------------------------------------
def test_no_line_of_a_page_can_end_between_a_number_and_its_unit():
    """A plain space would let "25 / %" part at a telephone's width; drawings, styles and titles set aside."""
    page = re.sub(r"(?s)<(style|script|svg|head)\b.*?</\1>", " ", page_of(koi_files()))
    said = re.findall(r">([^<]+)<", page)
    assert sum("\u00a0%" in text for text in said) > 10
    assert [found[0] for text in said if (found := _UNIT.search(text))] == []


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("a chance of 25 %, 5 mg/L for 24 h", "a chance of 25_%, 5_mg/L for 24_h"),
        ("on Thu 6 Aug 3 fish", "on Thu 6_Aug 3 fish"),
        ("4 days, 3 hours, 5 more, 2 Mayors", "4 days, 3 hours, 5 more, 2 Mayors"),  # words part as words do
    ],
)
def test_what_counts_stays_with_its_number(text, kept):
    assert unbroken(text) == kept.replace("_", "\u00a0")


# --- deaths of fish that are harvested --------------------------------------------------------------------------------
def for_the_table(case: Case, days: int | None) -> Case:
    harvest = None if days is None else case.visit_date + timedelta(days=days)
    fish = replace(case.fish[0], food_fish=True)
    return replace(case, fish=(replace(fish, harvest_date=harvest),))


@cache
def harvested() -> Assessment:
    """The koi pond as food fish that leave the water in twenty days."""
    return assess(for_the_table(koi().case, 20), DRAWS)


def test_no_fish_is_foretold_to_die_after_it_is_harvested():
    found = harvested()
    decision, harvest = found.decision, found.case.harvest_date
    assert decision.deaths_until == harvest
    assert decision.as_dict()["deaths_until"] == harvest.isoformat()
    assert decision.as_dict()["deaths_end_with"] == "harvest"
    assert {f.horizon_days for f in found.forecasts} == {20.0}
    assert f"By the harvest on {say_date(harvest)}" in deaths_text(decision)
    later = koi().decision
    assert (later.deaths_until - later.visit_date).days == HORIZON_DAYS
    for name in ("flukes_untreated", "other"):
        assert 0 < decision.deaths[name].high < later.deaths[name].high


@pytest.mark.parametrize("days", [None, 0, 60, 90])
def test_the_horizon_stays_where_no_harvest_comes_before_it(days):
    assert emptied_day(for_the_table(koi().case, days)) is None


def test_fish_that_stay_are_followed_to_the_horizon():
    """A pond of which one kind alone is harvested is not empty after it."""
    case = for_the_table(koi().case, 20)
    case = replace(case, fish=(*case.fish, replace(case.fish[0], species="goldfish", harvest_date=None)))
    assert case.harvest_date is not None
    assert case.emptied_on is None
    assert emptied_day(case) is None

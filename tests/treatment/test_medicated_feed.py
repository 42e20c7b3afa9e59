"""Praziquantel in feed: arithmetic, refusal, and what published courses killed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import VISIT, a_case

from burden.case import Action
from burden.evidence import load_agent, load_parasite
from burden.inference.prior import draw_pond
from burden.treatment.efficacy import kill
from burden.treatment.efficacy_fit import draw_kill
from burden.treatment.medicated_feed import COURSES, feed_dose, feed_kill
from burden.utils.errors import InputError

#: share killed by published courses: mg/kg a day and share, as printed in the abstracts
PUBLISHED = {
    "hirazawa2013": [(150.0, x) for x in (0.767, 0.93, 1.0, 0.359, 0.193, 0.765, 0.252)],
    "forwood2016": [(70.0, 0.997), (70.0, 0.817), (120.0, 0.984), (120.0, 0.892)],
    "forwood2013b": [(75.0, 0.79)],
}


def test_arithmetic_of_a_course():
    """2 t of fish at 75 mg/kg: 150 g a day of active substance, 300 g of a 50 % product in 20 kg of feed."""
    found = feed_dose(2000.0, 75.0, 6, feed_percent=1.0, strength_percent=50.0)
    assert (found.product_g_per_day, found.product_g) == (300.0, 1800.0)
    assert (found.feed_kg_per_day, found.product_g_per_kg_feed) == (20.0, 15.0)
    assert found.withdrawal_days_at_least == 16.0


def test_what_fish_refuse_and_what_no_source_gives():
    assert not feed_dose(1.0, 50.0, 6).refused
    assert feed_dose(1.0, 150.0, 3).refused
    with pytest.raises(InputError, match="course"):
        feed_dose(1.0, 400.0, 6)
    assert feed_dose(1.0, 400.0, 6, accept_unpublished=True).sources == ()
    with pytest.raises(InputError) as problems:
        feed_dose(-1.0, 75.0, 6, strength_percent=120.0)
    assert len(problems.value.problems) == 2


def test_every_published_course_lies_in_the_range_of_the_kill():
    draws = feed_kill(75.0, 4000, 1)
    low, high = np.quantile(draws, [0.03, 0.99])
    killed = [share for rows in PUBLISHED.values() for _, share in rows]
    inside = [low <= share <= high or share == 1.0 for share in killed]
    assert np.mean(inside) >= 0.9
    assert np.median(feed_kill(25.0, 4000, 1)) < np.median(draws)
    assert all(course.sources for course in COURSES)


def test_feed_given_in_the_past_is_read_as_such():
    fed = Action(VISIT, agent="praziquantel", route="in_feed", mg_per_kg_fish=75.0)
    (event,) = draw_pond(replace(a_case(), given=(fed,)), "dactylogyrus", 200, 1).given
    killed = event.effect.kill_of("adult")
    assert 0.5 < np.median(killed) < 0.9
    assert event.effect.kill_of("egg").max() == 0
    assert not event.drug.works


def test_fresh_water_kills_skin_flukes_and_not_their_eggs():
    """All of Neobenedenia girellae and its larvae died at 2 min, more than 95 % of eggs hatched (hoai2019)."""
    agent = load_agent("fresh_water")
    skin = draw_kill(agent, 400, 1, load_parasite("neobenedenia"))
    assert np.median(kill(skin, "adult", 1e6, 5 / 60)) > 0.9
    assert np.quantile(kill(skin, "larva", 1e6, 5 / 60), 0.05) > 0.8
    assert np.quantile(kill(skin, "egg", 1e6, 5 / 60), 0.95) < 0.1
    blood = draw_kill(agent, 400, 1, load_parasite("zeuxapta"))
    assert np.median(kill(blood, "adult", 1e6, 5 / 60)) < 0.5 * np.median(kill(skin, "adult", 1e6, 5 / 60))

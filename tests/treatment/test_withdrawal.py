"""Withdrawals count degree-days of the water the fish are in."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from cases import VISIT, a_case

from burden.case import Action
from burden.evidence import load_agent
from burden.model.temperature import Temperature
from burden.treatment.withdrawal import (
    last_dose_before_harvest,
    unnamed_agent,
    unnamed_words,
    withdrawals,
    withdrawals_of,
)


def test_constant_water_is_degree_days_over_degrees():
    """Role: arithmetic. 500 degree-days at 20 °C are 25 days (hostcare's own doctest says the same by division)."""
    (found,) = withdrawals((0.0, 7.0), ("praziquantel",) * 2, Temperature.constant(20.0))
    assert found.degree_days == load_agent("praziquantel").withdrawal.degree_days == 500
    assert found.days == 25
    assert found.until_day == 32  # from the last dose


def test_warming_water_takes_fewer_days_than_its_first_temperature_says():
    """10 °C and a degree more each day: the sum of n days is 10 n + n²/2, 500 on the 24th day."""
    (found,) = withdrawals((0.0,), ("praziquantel",), Temperature.linear([0.0, 20.0, 60.0], [10.0, 30.0, 30.0]))
    assert found.days == pytest.approx(24, abs=0.5)


def test_each_agent_counts_from_its_own_last_dose_and_ice_never_ends():
    """25 degree-days, the example of formalin, are two days at 20 °C, 500 are 25 d."""
    days, agents = (0.0, 5.0, 10.0), ("praziquantel", "formalin", "praziquantel")
    found = {w.agent: w for w in withdrawals(days, agents, Temperature.constant(20.0))}
    assert found["formalin"].until_day == 7
    assert found["praziquantel"].until_day == 35
    assert all(w.days is None for w in withdrawals(days, agents, Temperature.constant(0.0)))
    assert "does not end" in withdrawals(days, agents, Temperature.constant(0.0))[0].words()


@pytest.mark.parametrize(("agent", "told"), [("formalin", True), ("hydrogen_peroxide", True), ("praziquantel", False)])
def test_a_short_wait_stands_beside_the_long_one_of_what_is_not_approved(agent, told):
    """Regulation (EU) 2019/6, article 115, from memory: 500 degree-days, or 25 where no animal needs a withdrawal."""
    (found,) = withdrawals((0.0,), (agent,), Temperature.constant(20.0))
    assert ("500 where no product of it is approved" in found.words()) is told
    assert found.as_dict()["unapproved_degree_days"] == (500.0 if told else None)


def test_what_food_fish_were_given_before_holds_until_it_is_over():
    """500 degree-days of praziquantel are 25 d at 20 °C: over after thirty, not after ten, dose or no dose today."""
    plain = a_case()

    def held(*before: int, food: bool = True, coming: tuple[float, ...] = ()) -> list[tuple[str, float | None]]:
        given = tuple(Action(VISIT + timedelta(days=d), "dose", agent="praziquantel", mg_l=5.0) for d in before)
        case = replace(plain, given=given, fish=(replace(plain.fish[0], food_fish=food),))
        found = withdrawals_of(case, coming, ("praziquantel",) * len(coming), Temperature.constant(20.0))
        return [(one.agent, one.until_day) for one in found]

    assert held(-10) == [("praziquantel", 15.0)]
    assert held(-30) == []
    assert held(-30, -10) == [("praziquantel", 15.0)]
    assert held(-10, food=False) == []
    assert held(-10, coming=(0.0, 7.0)) == [("praziquantel", 32.0)]


@pytest.mark.parametrize(("after", "early"), [(31, True), (32, False), (None, False)])
def test_a_harvest_before_the_withdrawal_ends_comes_too_early(after, early):
    """500 degree-days from day 7 on are over on day 32 at 20 °C; of fish nobody eats no harvest counts."""
    harvest = None if after is None else VISIT + timedelta(days=after)
    (tank,) = a_case().fish
    eaten = replace(a_case(), fish=(replace(tank, food_fish=True, harvest_date=harvest),))
    (found,) = withdrawals_of(eaten, (0.0, 7.0), ("praziquantel",) * 2, Temperature.constant(20.0))
    assert found.harvest == (harvest if early else None)
    assert ("too early" in found.words()) == early
    assert found.as_dict()["harvest"] == (harvest.isoformat() if early else None)
    assert replace(eaten, fish=(replace(tank, food_fish=False, harvest_date=harvest),)).harvest_date is None


def test_what_nobody_can_name_is_to_be_found_out():
    """No rule is known of it, so no date may stand without saying so."""
    fed = Action(VISIT - timedelta(days=10), "dose", agent="unknown", route="in_feed")
    case = replace(a_case(), given=(fed,))
    eaten = replace(case, fish=(replace(case.fish[0], food_fish=True),))
    assert unnamed_words(case) == ""
    assert unnamed_words(replace(eaten, given=(replace(fed, agent="praziquantel"),))) == ""
    assert [day.isoformat() for day in unnamed_agent(eaten).days] == ["2026-04-30"]
    assert unnamed_words(eaten).startswith("nobody could name what was given on 30 Apr 2026: find out what it was")


@pytest.mark.parametrize("warmest", [20.0, 26.0])
def test_the_last_day_for_a_dose_is_the_last_that_is_over_by_the_harvest(warmest):
    """Arithmetic: a dose on that day is over by then, one a day later is not; 500 degree-days are 25 d at 20 °C."""
    plain, temperature = a_case(), Temperature.linear([0.0, 60.0], [20.0, warmest])
    harvest, soon = VISIT + timedelta(days=60), VISIT + timedelta(days=9)
    case, late = (
        replace(plain, fish=(replace(plain.fish[0], food_fish=True, harvest_date=day),)) for day in (harvest, soon)
    )
    found = last_dose_before_harvest(case, "praziquantel", temperature)
    day = float(case.day_of(found.date))
    early = [withdrawals_of(case, (at,), ("praziquantel",), temperature)[0].harvest for at in (day, day + 1)]
    assert early == [None, harvest]
    assert (day == 35) == (warmest == 20.0)
    assert last_dose_before_harvest(late, "praziquantel", temperature).date is None
    assert last_dose_before_harvest(plain, "praziquantel", temperature) is None

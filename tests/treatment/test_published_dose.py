"""Published doses: which pass with their hours, which are refused, and another unit that was meant."""

from __future__ import annotations

import math

import pytest

from burden.evidence import agent_names, load_agent
from burden.treatment.dose import dose
from burden.treatment.published_dose import odd_dose
from burden.utils.errors import InputError
from burden.utils.formatting import plain


@pytest.mark.parametrize(
    ("agent", "mg_l", "hours", "temperature_c"),
    [
        ("praziquantel", 15.0, 24.0, 20.0),  # above 10 mg/L only short baths are published
        ("praziquantel", 60.0, None, 20.0),
        ("praziquantel", 0.2, None, 20.0),
        ("formalin", 60.0, None, 20.0),  # between the indefinite and the short bath
        ("formalin", 200.0, None, 25.0),  # Francis-Floyd, extension VM-77: 150 mg/L at most above 21 °C
        ("formalin", 200.0, None, None),  # temperature not given: the warm limit
        ("formalin", 200.0, 3.0, 15.0),  # 60 min at most
        ("praziquantel", 40.0, 3.0, 20.0),  # 60 min at 40 mg/L; carp-like fish lose their balance after 2 h of it
        ("praziquantel", 20.0, 3.0, 20.0),  # 2 h at 20 mg/L
        ("hydrogen_peroxide", 700.0, None, None),  # published for 10 to 15 °C, fish died of it at 25 °C
        ("sodium_chloride", 30_000.0, 0.25, 20.0),  # how long 30 g/L was held is not in the abstract
    ],
)
def test_a_dose_no_source_gives_is_refused_unless_accepted(agent, mg_l, hours, temperature_c):
    with pytest.raises(InputError) as caught:
        dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c)
    (problem,) = caught.value.problems
    assert problem.place == "--mg-l"
    assert plain(mg_l) in problem.value
    assert "--accept-unpublished-dose" in problem.fix
    accepted = dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c, accept_unpublished=True)
    assert "No source gives this dose" in accepted.cautions[0]


@pytest.mark.parametrize(
    ("agent", "mg_l", "hours", "temperature_c", "length"),
    [
        ("praziquantel", 10.0, None, None, 24.0),
        ("praziquantel", 40.0, None, None, 1.0),
        ("praziquantel", 20.0, 2.0, None, 2.0),  # Chisholm & Whittington 2002
        ("praziquantel", 10.0, 3.0, None, 3.0),  # Schmahl & Mehlhorn 1985
        ("hydrogen_peroxide", 700.0, 0.75, 12.0, 0.75),
        ("praziquantel", 10.0, 48.0, None, 48.0),  # Forwood et al. 2013b
        ("formalin", 200.0, None, 15.0, 1.0),
        ("formalin", 150.0, None, 25.0, 1.0),
        ("formalin", 30.0, None, None, 24.0),  # Rowland et al. 2006
    ],
)
def test_published_doses_pass_with_their_hours(agent, mg_l, hours, temperature_c, length):
    assert dose(agent, 1000.0, mg_l, hours=hours, temperature_c=temperature_c).hours == length


def test_every_problem_is_listed_at_once():
    with pytest.raises(InputError) as caught:
        dose("formalin", -5.0, math.nan, 120.0, route="in_feed", hours=math.inf, temperature_c=300.0)
    assert {p.place for p in caught.value.problems} == {
        "--volume-l", "--mg-l", "--strength-percent", "--route", "--hours", "--temperature",
    }  # fmt: skip


@pytest.mark.parametrize("name", agent_names())
def test_every_agent_has_a_customary_dose_within_its_published_ranges(name):
    found = dose(name, 500.0, temperature_c=15.0)
    assert found.cautions[0].startswith("Published")
    assert found.mass_mg == pytest.approx(found.mg_l * 500.0)
    assert found.mass_of in found.text()


@pytest.mark.parametrize(
    ("agent", "mg_l", "meant"),
    [("sodium_chloride", 10.0, "10 g/L"), ("praziquantel", 0.005, "0.005 g/L"), ("formalin", 0.1, "0.1 mL per litre")],
)
def test_a_number_that_fits_another_unit_is_questioned(agent, mg_l, meant):
    """The number is far outside every published range in mg/L, and inside one in the unit asked about."""
    with pytest.raises(InputError) as error:
        dose(agent, 1000.0, mg_l)
    assert f"Was {meant} meant" in error.value.problems[0].fix


def test_a_share_for_a_percentage_is_no_hundred_times_the_dose():
    """0.37 for 37 %: forty litres of formalin where 413 mL are meant."""
    with pytest.raises(InputError) as error:
        dose("formalin", 18000.0, 25.0, 0.37)
    (problem,) = error.value.problems
    assert (problem.place, problem.value) == ("--strength-percent", "0.37 %")
    assert "37 % is 37" in problem.fix
    assert dose("formalin", 18000.0, 25.0, 0.37, accept_unpublished=True).product_ml > 40_000
    assert dose("formalin", 18000.0, 25.0, 1.0).product_ml == pytest.approx(450 / 1.09 * 37)


def test_no_unit_is_questioned_where_none_fits():
    with pytest.raises(InputError) as error:
        dose("praziquantel", 1000.0, 300.0)
    assert "meant" not in error.value.problems[0].fix


@pytest.mark.parametrize("name", agent_names())
def test_only_what_no_source_gives_in_any_water_is_odd(name):
    """Every end of every published range passes, cold-water ranges included; ten times the most and a tenth do not."""
    ranges = load_agent(name).ranges
    for found in ranges:
        for mg_l in found.mg_l:
            assert [odd_dose(name, mg_l, found.route, hours) for hours in (None, *found.hours)] == ["", "", ""]
    for route in {found.route for found in ranges}:
        amounts = [mg_l for found in ranges if found.route == route for mg_l in found.mg_l]
        for mg_l in (10 * max(amounts), min(amounts) / 10):
            assert odd_dose(name, mg_l, route).startswith("published are ")
    assert odd_dose(name, 1.0, "in_feed") == ""

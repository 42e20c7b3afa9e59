"""Safety of use: amounts reckoned twice, no unpublished dose unasked, no recommendation where none can be given."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import numpy as np
import pytest
from broken_cases import COUNTED, GOOD, write_case
from cases import a_case, clips
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.cli import main
from burden.decision import decide
from burden.evidence import agent_names, load_agent
from burden.inference.estimate import estimate
from burden.inference.sampler import Effort
from burden.io import read_case
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.temperature import Temperature
from burden.model.windows import windows_after
from burden.schedule.eligibility import unpublished_plans
from burden.treatment.dose import dose

LITTLE = Effort(200, 400)


def run(*words: object):
    return CliRunner().invoke(main, [*map(str, words)])


# --- amounts


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(agent_names()),
    st.integers(1, 10**7),
    st.integers(1, 4000),
    st.integers(1, 100),
)
def test_amounts_are_those_of_exact_fractions(agent, litres, tenths_mg_l, percent):
    """Grams in the water = litres × mg/L / 1000, by fractions; and the amount measured out gives the dose back."""
    mg_l = Fraction(tenths_mg_l, 10)
    found = dose(agent, float(litres), float(mg_l), float(percent), accept_unpublished=True)
    assert found.mass_g == pytest.approx(float(litres * mg_l / 1000), rel=1e-12)
    if found.product_g is not None:
        back = Fraction(found.product_g) * percent / 100 * 1000 / litres
    elif agent != "formalin":
        return  # the other liquids are in test_dosing.py
    else:
        # formalin counts as 37 % solution of 1.09 g/mL (Fish Hatchery Management 1982, table of treatments)
        back = Fraction(found.product_ml) * Fraction(109, 100) * percent / 37 * 1000 / litres
    assert float(back) == pytest.approx(float(mg_l), rel=1e-9)


# --- unpublished doses


@pytest.mark.parametrize(
    ("mg_l", "hours", "refused"),
    [(2.5, 24, False), (5, 24, False), (10, 48, False), (250, 24, True), (0.0025, 24, True), (2500, 24, True)],
)
def test_a_planned_dose_no_source_gives_is_refused(tmp_path, mg_l, hours, refused):
    text = GOOD.replace('agent = "praziquantel"\nmg_l = 2.5', f'agent = "praziquantel"\nmg_l = {mg_l}\nhours = {hours}')
    problems = unpublished_plans(read_case(write_case(tmp_path / "pond", case=text)))
    assert [(p.file, p.place) for p in problems] == [("case.toml", "[[planned]] of 2026-05-17 mg_l")] * refused
    assert all("--accept-unpublished-dose" in p.fix for p in problems)


def test_of_doses_in_any_order_the_one_refused_is_named(tmp_path):
    """The later dose stands first in the file, so its number there is not its number by date."""
    later = '\n[[planned]]\ndate = 2026-06-17\nagent = "praziquantel"\nmg_l = 400\n'
    head, planned = GOOD[: GOOD.index("[[planned]]")], GOOD[GOOD.index("[[planned]]") :]
    problems = unpublished_plans(read_case(write_case(tmp_path / "pond", case=f"{head}{later}\n{planned}")))
    assert [p.place for p in problems] == ["[[planned]] of 2026-06-17 mg_l"]


@pytest.mark.parametrize(("water", "refused"), [("9.0", False), ("14.0", True)])
def test_what_the_host_bears_at_the_waters_temperature_counts(tmp_path, water, refused):
    """Fish Hatchery Management p. 276: no more than 167 mg/L for 1 h above 10 °C in trout and salmon."""
    text = GOOD.replace('agent = "praziquantel"\nmg_l = 2.5', 'agent = "formalin"\nmg_l = 200\nhours = 1')
    text = text.replace('"koi"', '"rainbow trout"').replace("18.0", water)
    assert bool(unpublished_plans(read_case(write_case(tmp_path / "pond", case=text)))) == refused


def test_report_and_dose_refuse_what_no_source_gives_unless_accepted(tmp_path, monkeypatch):
    folder = write_case(tmp_path / "pond", case=GOOD.replace("mg_l = 2.5\n", "mg_l = 400.0\n"))
    found = run("report", folder, "--json")
    assert found.exit_code == 2
    assert [p["place"] for p in json.loads(found.stdout)["problems"]] == ["[[planned]] of 2026-05-17 mg_l"]
    assert not (folder / "report").exists()
    asked = []
    monkeypatch.setattr("burden.decision.assess", lambda *given: asked.append(given[-1]) or 1 / 0)
    assert run("report", folder, "--json", "--accept-unpublished-dose").exit_code == 1
    assert asked == [True]
    words = ("dose", "--agent", "praziquantel", "--volume-l", 1000, "--mg-l", 400)
    assert [run(*words).exit_code, run(*words, "--accept-unpublished-dose").exit_code] == [2, 0]


@pytest.mark.parametrize("command", ["estimate", "response"])
@pytest.mark.usefixtures("each_case_once")
def test_every_answer_asks_whether_the_unit_was_right(tmp_path, command):
    """An answer that rests on a dose a thousand times too strong says so, not the check alone."""
    text = GOOD.replace("mg_l = 2.5\nhours", "mg_l = 2500\nhours")
    folder = write_case(tmp_path / "pond", case=text, samples=COUNTED)
    asked = "Was 2 500 µg/L meant, that is 2.5 mg/L?"
    found = run(command, folder, "--draws", 20, "--json")
    assert [asked in warning for warning in json.loads(found.stdout)["warnings"]].count(True) == 1
    assert asked in run(command, folder, "--draws", 20, "--quiet").stdout


# --- a recommendation is withheld, with its reason


def test_withheld_where_water_makes_bathing_unsafe(few_ponds):
    case = a_case(clips([9, 14, 3], share=0.05))
    assert decide(case, 20).action == "dose"
    suffocating = decide(replace(case, water=replace(case.water, oxygen_mg_l=2.0)), 20)
    assert (suffocating.action, suffocating.plan) == ("water_first", ())
    assert suffocating.gates[0].code == "oxygen_low"


def test_withheld_where_the_set_does_not_live():
    case = a_case(clips([9, 14, 3], share=0.05))
    sea = replace(case, water=replace(case.water, medium="sea"))
    found = decide(sea, 20)
    assert (found.action, found.plan) == ("look_first", ())
    assert [reason.code for reason in found.reasons] == ["wrong_water"]


def test_withheld_where_no_agent_is_at_hand():
    """An empty list is none, not all."""
    case = a_case(clips([9, 14, 3], share=0.05))
    found = decide(replace(case, limits=replace(case.limits, agents=())), 20)
    assert (found.action, found.plan) == ("watch", ())
    assert [reason.code for reason in found.reasons] == ["no_dose_possible"]


def test_withheld_where_the_evidence_is_too_thin(few_ponds):
    clean = a_case(clips([0] * 30, share=1.0))
    assert decide(clean, 20).action in ("watch", "look_first")


# --- what must change an answer, and what must not


def shifted(case, days: int):
    """The same case so many days later."""
    more = timedelta(days)

    def later(rows):
        return tuple(replace(row, date=row.date + more) for row in rows)

    return replace(
        case,
        visit_date=case.visit_date + more,
        trouble_since=None if case.trouble_since is None else case.trouble_since + more,
        samples=later(case.samples),
        deaths=later(case.deaths),
        given=later(case.given),
        planned=later(case.planned),
    )


def test_a_year_later_nothing_changes_but_dates(tmp_path):
    """In water of one temperature; leap years in between do not matter, days count."""
    case = read_case(write_case(tmp_path / "pond", samples=COUNTED))
    now, then = (estimate(c, None, 30, effort=Effort(60, 100, 40)).to_json() for c in (case, shifted(case, 365)))
    assert now.replace("2026", "2027") == then.replace("2026", "2027")


def test_another_set_moves_the_windows():
    days = {}
    for name in ("dactylogyrus", "zeuxapta"):
        found = windows_after(draw_parameters(name, 60, 1), np.zeros(60), Temperature.constant(20.0)).triples()
        days[name] = [found[key].median for key in ("last_hatch_days", "earliest_maturity_days")]
    assert (np.abs(np.log(np.divide(*days.values()))) > 0.2).any()


def test_more_of_the_truth_narrows_the_interval():
    """Whole organs of many fish against one clip of two: the width of ln(1 + flukes a fish)."""
    from math import log1p

    few = estimate(a_case(clips([2, 1], share=0.02)), None, 200, effort=Effort(400, 1500)).mean_abundance
    all_of_it = clips([100, 60, 140, 90, 110, 75, 80, 130, 95, 120, 70, 105], share=1.0, method="whole_organ")
    many = estimate(a_case(all_of_it), None, 200, effort=Effort(400, 1500)).mean_abundance
    width = [log1p(found.high) - log1p(found.low) for found in (few, many)]
    assert width[1] < 0.5 * width[0]


def test_no_agent_without_something_to_beware_of():
    for name in agent_names():
        assert load_agent(name).handling
        assert dose(name, 1000.0).cautions

"""One visit: what comes first, what limits bind, when no dose is recommended, and two sets in one case."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import report_cases
from burden.visit import forecast_case, visit

from burden.case import Action, Case, Limits
from burden.inference.estimate import estimate
from burden.inference.mortality import DeathAttribution
from burden.inference.other_cause import other_cause_rates
from burden.inference.prior import draw_pond
from burden.io import read_case
from burden.schedule.eligibility import why_not
from burden.schedule.forecast import regime_of
from burden.schedule.search import candidate_plans
from burden.utils.results import CredibleInterval

CASES = Path(__file__).parents[2] / "simulated_data"
DRAWS = 40


@pytest.fixture(scope="module")
def koi() -> Case:
    return read_case(CASES / "koi_pond")


@pytest.fixture(scope="module")
def decided():
    return report_cases.koi()


@pytest.fixture(scope="module")
def short_of_oxygen(koi):
    short = replace(koi, water=replace(koi.water, oxygen_mg_l=3.0), limits=Limits(agents=("formalin",)))
    return visit(short, draws=DRAWS)


def test_action_first_then_what_the_samples_can_have_missed(decided) -> None:
    lines = decided.text().splitlines()
    assert lines[0] == decided.first_action
    assert lines[0].startswith("Today: dose 1 of")
    assert "would still leave a" in lines[1]
    assert decided.cautions()


def test_amounts_are_those_of_the_volume(decided, koi) -> None:
    for d in decided.doses:
        assert d.mass_g == pytest.approx(d.mg_l * koi.water.volume_l.value / 1000)  # 1 mg/L is 1 g per m³


def test_dates_lie_within_the_limits(decided, koi) -> None:
    days = decided.choice.recommended.plan.days
    assert len(days) <= koi.limits.max_doses
    assert np.all(np.diff(days) >= koi.limits.shortest_gap_days)
    for day in days:
        assert koi.dose_possible_on(koi.visit_date + timedelta(days=day))


def test_control_is_not_called_eradication(decided) -> None:
    if decided.choice.recommended.elimination.mean < 0.5:
        assert any("control is not eradication" in note for note in decided.choice.notes)


def test_the_choice_renders_itself(decided) -> None:
    """Words, table and JSON of one object tell the same schedule."""
    choice = decided.choice
    chosen = choice.recommended
    assert f"praziquantel on day {chosen.plan.days[0]:g}" in choice.text()
    assert f"rid of the flukes in {100 * chosen.elimination.mean:.0f} of 100" in choice.text()
    assert "Left alone: no dose; " in choice.text()
    told = json.loads(choice.to_json())
    assert told["recommended"]["days"] == list(chosen.plan.days)
    assert told["nothing"]["days"] == []
    table = choice.to_frame()
    assert len(table) == 1 + len(choice.shortlist) == 1 + len(told["shortlist"])
    assert (table["elimination_probability"].between(0, 1)).all()
    assert table["recommended"].sum() == 1
    assert replace(choice, recommended=None).text().startswith("Nothing is recommended: ")


def test_every_candidate_keeps_the_limits(koi) -> None:
    pond = draw_pond(koi, "dactylogyrus", 20, 1)
    plans = candidate_plans(koi, pond, ("praziquantel", "formalin"))
    assert len(plans) == len(set(plans)) > 20
    for plan in plans:
        formalin = [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "formalin"]
        assert 25 * len(formalin) <= koi.limits.max_formalin_mg_l_total  # customary 25 mg/L, common practice
        assert np.all(np.diff(formalin) >= 7)


def test_dates_draw_together_in_warming_water(koi) -> None:
    """Development sums up faster in warmer water, so a gap of one and the same development gets shorter."""
    from burden.case import ConstantTemperature, RecordedTemperature

    free = replace(koi, limits=Limits(max_doses=4), given=(), samples=(), deaths=())
    start = koi.visit_date
    from datetime import datetime

    times = tuple(datetime(start.year, start.month, start.day, 12) + timedelta(days=k) for k in (0, 40))
    warming = replace(free, water=replace(free.water, temperature=RecordedTemperature(times, (12.0, 24.0))))
    steady = replace(free, water=replace(free.water, temperature=ConstantTemperature(12.0)))
    gaps = {}
    for name, case in (("warming", warming), ("steady", steady)):
        plans = candidate_plans(case, draw_pond(case, "dactylogyrus", 40, 1), ("praziquantel",))
        gaps[name] = [np.diff(p.days) for p in plans if len(p.days) == 4]
    assert any(g[-1] < g[0] for g in gaps["warming"])
    assert all(np.ptp(g) <= 1 for g in gaps["steady"])  # whole days: rounding alone


def test_no_sample_no_dose(koi) -> None:
    blind = visit(replace(koi, samples=()), draws=DRAWS)
    assert blind.first_action.startswith("Do not dose today, because no sample could be read")
    assert blind.forecasts[0].recommended is None
    assert blind.forecasts[0].as_dict()["withheld_reason"]
    assert blind.cautions()


def dead_of_else(by_flukes: float, all_else: float) -> DeathAttribution:
    """Ten dead, of whom flukes killed at most so many; a death rate from all else [1/d]."""
    number, rate = CredibleInterval(0.0, 0.0, by_flukes), CredibleInterval(all_else, all_else, all_else)
    return DeathAttribution(10, number, CredibleInterval(5.0, 0.0, 10.0), True, {"flukes": rate, "all_else": rate}, "")


def test_no_dose_where_no_fluke_was_seen_and_most_died_of_something_else(koi) -> None:
    clean = replace(koi, samples=tuple(replace(row, count_low=0, count_high=0) for row in koi.samples))
    likely = [SimpleNamespace(probability_infected=0.7, mostly_else=dead_of_else(2.0, 0.01).mostly_else)]
    unclear = [SimpleNamespace(probability_infected=0.7, mostly_else=dead_of_else(8.0, 0.01).mostly_else)]
    assert "no fluke was seen" in why_not(clean, likely, ("praziquantel",), {})
    assert why_not(koi, likely, ("praziquantel",), {}) is None
    assert why_not(clean, unclear, ("praziquantel",), {}) is None


def test_low_oxygen_withholds_formalin(short_of_oxygen) -> None:
    """Common practice, no source: formalin takes oxygen; not into water short of it."""
    found = short_of_oxygen
    assert found.withheld_reason is not None
    assert "oxygen" in found.first_action.lower()
    assert found.doses == ()


def test_the_reason_reads_as_a_reason(short_of_oxygen) -> None:
    """Not "because do not dose"."""
    found = short_of_oxygen
    assert "because oxygen is 3 mg/L now" in found.first_action
    assert found.first_action.lower().count("do not dose") == 1
    assert found.day_book[-1].action.lower().count("look again") <= 1


def test_another_finding_widens_what_is_not_laid_on_flukes() -> None:
    """An assumption, checked for its direction: more ponds with another cause, and a heavier one."""
    alone, found = other_cause_rates(), other_cause_rates(("ciliates",))
    assert np.mean(alone == 0) == 0.5
    assert np.mean(found == 0) == 0.25
    assert found.max() > 2 * alone.max()
    assert found.mean() > alone.mean()


def test_shifting_every_date_by_a_year_changes_no_number(koi) -> None:
    """Days count from the visit; a record of the same days of another year is the same record."""

    def later(day: date) -> date:
        return day + timedelta(days=364)  # whole weeks, so that the days on site stay what they were

    from burden.case import RecordedTemperature

    spec = koi.water.temperature
    moved = replace(
        koi,
        visit_date=later(koi.visit_date),
        trouble_since=None,
        water=replace(
            koi.water,
            temperature=RecordedTemperature(tuple(t + timedelta(days=364) for t in spec.times), spec.temperatures_c),
        ),
        given=tuple(replace(a, date=later(a.date)) for a in koi.given),
        samples=tuple(replace(s, date=later(s.date)) for s in koi.samples),
        deaths=tuple(replace(d, date=later(d.date)) for d in koi.deaths),
    )
    a, b = estimate(replace(koi, trouble_since=None), draws=DRAWS), estimate(moved, draws=DRAWS)
    assert a.mean_abundance == b.mean_abundance
    assert a.probability_infected == b.probability_infected


def test_a_planned_course_is_judged(koi) -> None:
    tomorrow = koi.visit_date + timedelta(days=1)
    planned = replace(koi, planned=(Action(tomorrow, agent="praziquantel", route="bath", mg_l=5.0),), deaths=())
    found = forecast_case(planned, days=20, draws=DRAWS)
    assert found.planned is not None
    assert found.planned.doses[0].mass_g == pytest.approx(5.0 * koi.water.volume_l.value / 1000)
    assert found.planned.abundance_end.median < found.untreated.abundance_end.median


def test_two_sets_get_one_schedule(koi) -> None:
    """Gill flukes and live-bearing skin flukes in one pond: one list of dates, an estimate and a forecast each."""
    rows = tuple(replace(row, parasite="dactylogyrus" if row.site == "gill" else "gyrodactylus") for row in koi.samples)
    few = Limits(agents=("praziquantel",), max_doses=2)
    both = visit(replace(koi, parasites=("dactylogyrus", "gyrodactylus"), samples=rows, limits=few), draws=DRAWS)
    assert [e.parasite for e in both.estimates] == ["dactylogyrus", "gyrodactylus"]
    assert len(both.forecasts) == 2
    assert both.choice.recommended is not None
    assert all(f.recommended.doses == both.forecasts[0].recommended.doses for f in both.forecasts)


def test_regimes_are_told_apart() -> None:
    start = np.array([1.0, 1.0, 1.0, 0.0])
    end = np.array([np.exp(0.6), 1.0, np.exp(-0.6), 0.0])
    assert regime_of(start, end, 60.0) == {"growing": 0.25, "endemic": 0.25, "fading": 0.5}

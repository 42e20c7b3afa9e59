"""Concentration over time, against an ODE solver, published clearance times and plain arithmetic."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from burden.evidence import load_agent
from burden.treatment.concentration import concentration_curve, effective_hours, loss_from_clearance, restore_mg
from burden.utils.errors import InputError

PUBLISHED = Path(__file__).parents[1] / "published"


def losses() -> list[dict[str, str]]:
    with (PUBLISHED / "water_loss.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", losses(), ids=lambda r: f"{r['agent']}-{r['value']}")
def test_loss_in_the_evidence_follows_from_the_published_figures(row):
    """Role: arithmetic. The interval is what the printed ± and the assumed limits allow."""
    inputs = [float(x) for x in row["inputs"].split(";")]
    if row["agent"] == "praziquantel":
        start, least, most, soon, late = inputs
        low, high = loss_from_clearance(start, most, late), loss_from_clearance(start, least, soon)
    else:
        rate, spread, low_mg_l, high_mg_l = inputs
        low, high = 24 * (rate - spread) / high_mg_l, 24 * (rate + spread) / low_mg_l
    assert low == pytest.approx(float(row["result_low"]), rel=0.06)
    assert high == pytest.approx(float(row["result_high"]), rel=0.06)
    value = load_agent(row["agent"]).values[row["value"]]
    assert value.low == pytest.approx(low, rel=0.20)
    assert value.high == pytest.approx(high, rel=0.20)
    assert low < value.value < high


def test_first_dose_lasts_eight_days_and_the_next_two():
    """Thomas et al. 2016 PeerJ 4:e1857, abstract: 2 mg/L gone after 8 ± 1 d, then 2 and 2 ± 1 d. Role: fitted."""
    agent = load_agent("praziquantel")
    for name, published in (("loss_per_day_naive", 8.0), ("loss_per_day_adapted", 2.0)):
        days = np.log(2.0 / np.geomspace(0.01, 0.1, 5)) / agent.values[name].value
        assert days.min() < published < days.max()


def test_sterile_water_keeps_it_for_fifteen_days():
    """Thomas et al. 2016, abstract: unchanged over 15 d in sterile sea water; an assay sees a fifth, from memory."""
    left = np.exp(-15 * load_agent("praziquantel").values["loss_per_day_none"].high)
    assert left > 0.8


def test_course_matches_an_integrated_differential_equation():
    loss = np.array([0.1, 0.7])
    course = concentration_curve(
        doses=[(0.0, 5.0), (4.0, 3.0)],
        loss_per_day=loss,
        exchange_per_day=0.05,
        water_changes=[(2.5, 0.3), (4.0, 0.5)],
        loss_adapted_per_day=2 * loss,
        extra_loss=[(1.0, 2.0, 1.5)],
    )
    times = np.array([0.0, 0.5, 1.7, 2.5, 3.9, 4.0, 6.0])
    found = course.at(times)
    for i in range(2):
        expected, level, day = {}, 5.0, 0.0
        for stop, change, dose in ((1.0, 0, 0), (2.0, 0, 0), (2.5, 0.3, 0), (4.0, 0.5, 3.0), (9.0, 0, 0)):
            rate = (loss[i] * (2 if day >= 4 else 1)) + 0.05 + (1.5 if 1 <= day < 2 else 0)
            inside = [t for t in times if day <= t < stop]
            solved = solve_ivp(
                lambda t, c, rate=rate: -rate * c, (day, stop), [level], t_eval=[*inside, stop], rtol=1e-10, atol=1e-12
            )
            expected.update(zip(inside, solved.y[0][:-1], strict=True))
            level, day = solved.y[0][-1] * (1 - change) + dose, stop
        assert found[i] == pytest.approx([expected[t] for t in times], rel=1e-7)


def test_nothing_is_there_before_the_first_dose():
    assert concentration_curve([(3.0, 5.0)], 0.5).at([0.0, 2.999]).tolist() == [[0.0, 0.0]]


def test_repeated_doses_build_up_to_the_geometric_limit():
    """Closed form: Δ/(1 − exp(−kτ)) just after a dose, for ever repeated doses."""
    course = concentration_curve([(2.0 * i, 5.0) for i in range(40)], 0.3)
    assert course.at([78.0])[0, 0] == pytest.approx(5.0 / (1 - np.exp(-0.6)), rel=1e-9)


def test_stable_agent_adds_up_dose_by_dose():
    course = concentration_curve([(0.0, 5.0), (7.0, 5.0), (14.0, 5.0)], 0.0)
    assert course.at([14.0])[0, 0] == pytest.approx(15.0)


@pytest.mark.parametrize("exponent", [0.4, 1.0, 1.7])
def test_exposure_matches_quadrature(exponent):
    course = concentration_curve([(0.0, 5.0), (3.0, 2.0)], 0.6, water_changes=[(1.5, 0.4)])
    parts = [quad(lambda t: (course.at([t])[0, 0] / 5.0) ** exponent, a, b)[0] for a, b in pairwise([0.5, 1.5, 3, 6])]
    found = course.exposure_hours(0.5, 6.0, reference_mg_l=5.0, exponent=exponent)[0]
    assert found == pytest.approx(24 * sum(parts), rel=1e-9)


def test_effective_hours_at_its_limits():
    assert effective_hours(0.0, 24.0) == 24.0
    assert effective_hours(0.5, np.inf) == pytest.approx(48.0)  # ∫ exp(−0.5 t) dt = 2 d
    assert effective_hours(0.5, np.inf, exponent=0.5) == pytest.approx(96.0)
    loss = np.array([0.1, 1.0, 4.0])
    assert np.all(np.diff(effective_hours(loss, 48.0)) < 0)


def test_a_weak_bath_acts_too():
    """0.5 mg/L that fades at 0.6 per day: ∫ c dt = 0.5 (1 − exp(−0.6 t))/0.6."""
    course = concentration_curve([(0.0, 0.5)], 0.6)
    assert course.exposure_hours(0.0, 10.0)[0] == pytest.approx(24 * 0.5 * (1 - np.exp(-6.0)) / 0.6)


def test_restoring_a_change_of_a_stable_agent_is_fraction_times_dose():
    """5 mg/L in 1 000 L with 30 % changed: 1.5 g, neither nothing nor the whole 5 g (conservation of mass)."""
    assert float(restore_mg(5.0, 1000.0, 0.3).total_mg) == pytest.approx(1500.0)
    assert float(restore_mg(5.0, 1000.0, 0.3, days_since_dose=2.0).total_mg) == pytest.approx(1500.0)


def test_restoring_a_fading_agent_brings_the_course_back_to_the_dose():
    loss = np.array([0.05, 0.5])
    added = restore_mg(5.0, 1000.0, 0.3, loss, days_since_dose=2.0)
    course = concentration_curve([(0.0, 5.0)], loss, water_changes=[(2.0, 0.3)])
    assert course.at([2.0])[:, 0] + added.total_mg / 1000 == pytest.approx([5.0, 5.0])
    assert added.removed_mg + added.faded_mg == pytest.approx(added.total_mg)


@pytest.mark.parametrize(
    "arguments",
    [
        {"doses": [(0.0, -1.0)], "loss_per_day": 0.1},
        {"doses": [(0.0, 1.0)], "loss_per_day": -0.1},
        {"doses": [(0.0, 1.0)], "loss_per_day": 0.1, "water_changes": [(1.0, 1.5)]},
        {"doses": [(0.0, float("nan"))], "loss_per_day": 0.1},
    ],
)
def test_impossible_amounts_are_named(arguments):
    with pytest.raises(InputError) as caught:
        concentration_curve(**arguments)
    assert len(caught.value.problems) == 1


def test_every_impossible_amount_is_told_with_its_value():
    with pytest.raises(InputError) as caught:
        restore_mg(-5.0, 1000.0, 1.5, np.array([-0.25, 0.5]), days_since_dose=2.0)
    told = [(problem.place, problem.value) for problem in caught.value.problems]
    assert told == [("dose on day 0", "-5.0"), ("water change on day 2", "1.5"), ("loss per day", "-0.25")]


def test_what_has_faded_since_a_dose_of_today_is_nothing():
    restored = restore_mg(5.0, 1000.0, 0.3, 0.7)
    assert (float(restored.faded_mg), float(restored.removed_mg)) == (0.0, pytest.approx(1500.0))


def test_a_filter_that_could_adapt_has_met_nothing_before_the_first_dose():
    """One dose alone: the loss of a filter that has not met the agent, all along."""
    alone, plain = (
        concentration_curve([(0.0, 5.0)], 0.3, loss_adapted_per_day=adapted).at(np.array([0.0, 1.0, 4.0]))
        for adapted in (3.0, None)
    )
    np.testing.assert_allclose(alone, plain, rtol=1e-12)
    np.testing.assert_allclose(np.ravel(plain), 5 * np.exp(-0.3 * np.array([0.0, 1.0, 4.0])), rtol=1e-9)

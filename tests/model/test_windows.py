"""Windows against general-purpose integration, and their order, and what has none."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from ponds import drawn
from scipy.integrate import quad, solve_ivp
from scipy.stats import gamma

from burden.evidence import load_parasite, parasite_names
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.temperature import Temperature
from burden.model.windows import Windows, safe_below_c, windows_after
from burden.utils.errors import CannotAnswerError

DRAWS = 12
EGG_LAYERS = [n for n in parasite_names() if load_parasite(n).lays_eggs]
ANSWERING = [n for n in EGG_LAYERS if load_parasite(n).refusal("windows") is None]


@pytest.fixture(scope="module")
def parameters():
    return drawn("dactylogyrus", DRAWS, 5)


def sheltered(share: float = 0.2) -> np.ndarray:
    return np.full(DRAWS, share)


def test_constant_temperature_is_the_quantile_over_the_rate(parameters):
    """Against scipy.stats.gamma: 1 %, mean and 99 % of the eggs, 1 % of the settlers."""
    w = windows_after(parameters, sheltered(), Temperature.constant(22.0))
    hatch, maturity = parameters.development.hatch, parameters.development.maturity
    scale = 1 / hatch.rate(22.0) / hatch.shape_at(22.0)
    np.testing.assert_allclose(w.first_hatch, gamma.ppf(0.01, hatch.shape_at(22.0), scale=scale), rtol=1e-9)
    np.testing.assert_allclose(w.last_hatch, gamma.ppf(0.99, hatch.shape_at(22.0), scale=scale), rtol=1e-9)
    np.testing.assert_allclose(w.mean_hatch, 1 / hatch.rate(22.0), rtol=1e-9)
    scale = 1 / maturity.rate(22.0) / maturity.shape_at(22.0)
    np.testing.assert_allclose(w.earliest_maturity, gamma.ppf(0.01, maturity.shape_at(22.0), scale=scale), rtol=1e-9)
    np.testing.assert_allclose(w.sheltered_age, 0.2 / maturity.rate(22.0), rtol=1e-9)


@pytest.mark.parametrize(("start", "slope"), [(14.0, 0.4), (24.0, -0.4)], ids=["warming", "cooling"])
def test_changing_temperature_sums_rates(parameters, start, slope):
    """Against scipy's solve_ivp (an event where the development is done) and quad (that it is then done)."""
    course = Temperature.linear([0.0, 60.0], [start, start + 20 * slope])
    hatch = parameters.development.hatch
    w = windows_after(parameters, sheltered(), course, day=3.0)
    for m in range(0, DRAWS, 4):

        def pace(day, _=None, m=m):
            return float(hatch.rate(course.at(day))[m])

        def done(_, y):
            return y[0] - 1.0

        done.terminal = True
        solved = solve_ivp(lambda t, y: [pace(t)], (3.0, 90.0), [0.0], events=done, rtol=1e-9, max_step=0.5)
        assert w.mean_hatch[m] == pytest.approx(solved.t_events[0][0] - 3.0, abs=0.01)
        assert quad(pace, 3.0, 3.0 + w.mean_hatch[m], limit=400)[0] == pytest.approx(1.0, abs=2e-3)


def test_summing_durations_instead_of_rates_is_rejected(parameters):
    """The check above fails on a wrong model: the mean of the durations at the temperatures passed."""
    course = Temperature.linear([0.0, 10.0], [12.0, 28.0])
    right = windows_after(parameters, sheltered(), course).mean_hatch
    days = np.linspace(0.0, float(np.median(right)), 50)
    wrong = np.mean([1 / parameters.development.hatch.rate(course.at(day)) for day in days], axis=0)
    assert np.median(np.abs(wrong - right)) > 0.1


@pytest.mark.parametrize("name", ANSWERING)
@pytest.mark.parametrize("temperature_c", [14.0, 20.0])
def test_triples_are_ordered_and_so_are_the_days(name, temperature_c):
    p = draw_parameters(name, 40, 2)
    w = windows_after(p, np.full(40, 0.2), Temperature.constant(temperature_c))
    for name_, triple in w.triples().items():
        assert triple.low <= triple.median <= triple.high, name_
    hatch = np.isfinite(w.last_hatch)
    assert hatch.mean() > 0.9
    assert ((w.first_hatch < w.mean_hatch) & (w.mean_hatch < w.last_hatch))[hatch].all()
    assert (w.last_dose_not_before > w.last_hatch)[hatch].all()
    lays = np.isfinite(w.earliest_maturity)  # in a few draws this water is too cold to lay within 400 d
    assert lays.mean() > 0.9
    assert (w.longest_safe_gap < w.earliest_maturity)[lays].all()


def test_two_doses_suffice_where_the_last_dose_may_come_before_the_first_lays():
    """With hard limits: D_last + D_larva + a_s <= D_mat - a_s."""

    def hard(last: float, lays: float = 12.0) -> Windows:
        one = {"first_hatch": 2.0, "mean_hatch": 3.0, "larval_life": 1.0, "earliest_maturity": lays,
               "sheltered_age": 2.0, "last_hatch": last}  # fmt: skip
        return Windows(**{f.name: np.array([one[f.name]]) for f in fields(Windows)})

    assert hard(7.0).two_doses_suffice.all()
    assert hard(7.0).two_dose_window() == (10.0, 10.0)
    assert not hard(7.1).two_doses_suffice.any()
    assert hard(7.1).two_dose_window() is None
    assert hard(7.0, lays=np.inf).two_dose_window() == (10.0, np.inf)
    never = hard(np.inf, lays=np.inf)  # so cold that nothing hatches, nor lays
    assert not never.two_doses_suffice.any()
    assert never.two_dose_window() is None


def test_windows_differ_between_sets():
    """Swapping the parasite set moves every window, more than the width of either interval for these two at 20 °C."""
    first, second = (
        windows_after(draw_parameters(n, 40, 2), np.full(40, 0.2), Temperature.constant(20.0)).triples()
        for n in ("dactylogyrus", "heterobothrium")
    )
    for name in ("first_hatch_days", "last_hatch_days", "earliest_maturity_days"):
        assert first[name].median != pytest.approx(second[name].median, rel=0.2)
    assert first["earliest_maturity_days"].high < second["earliest_maturity_days"].low


def test_warmer_water_shortens_every_window(parameters):
    cold, warm = (windows_after(parameters, sheltered(), Temperature.constant(t)) for t in (15.0, 25.0))
    for f in fields(Windows):
        assert (getattr(warm, f.name) < getattr(cold, f.name)).all(), f.name


def test_cold_water_gives_no_day(parameters):
    """Eggs put straight into 5 °C did not hatch within a month (Zhang et al. 2021, preprint): none before day 30."""
    w = windows_after(parameters, sheltered(), Temperature.constant(5.0))
    assert np.median(w.first_hatch) > 30.0


def test_safe_temperature_is_where_the_gap_is_the_longest_safe_one(parameters):
    """The search and the windows agree: just below it two weeks are safe, half a degree above they are not."""
    edge = safe_below_c(parameters, sheltered(), 14.0)
    for m in range(DRAWS):
        gaps = [windows_after(parameters, sheltered(), Temperature.constant(edge[m] + d)) for d in (-0.2, 0.5)]
        assert gaps[0].longest_safe_gap[m] >= 14.0 > gaps[1].longest_safe_gap[m]
    assert (safe_below_c(parameters, sheltered(), 7.0) > edge).all()


def test_a_live_bearer_has_none():
    with pytest.raises(CannotAnswerError, match="no eggs"):
        windows_after(draw_parameters("gyrodactylus", DRAWS, 1), sheltered(), Temperature.constant(15.0))

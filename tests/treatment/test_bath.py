"""A bath as the solvers take it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from burden.evidence import load_agent
from burden.treatment.bath import bath_effect, loss_draws
from burden.treatment.efficacy import kill, unknown_kill
from burden.treatment.efficacy_fit import draw_kill

DRAWS = draw_kill(load_agent("praziquantel"), 200, 1)


def test_a_stable_bath_kills_at_once_what_its_hours_kill():
    effect = bath_effect(DRAWS, 5.0, 24.0, left_in_water=False)
    for form in ("adult", "juvenile", "larva", "egg", "fresh_egg", "young", "mother"):
        assert effect.kill_of(form) == pytest.approx(kill(DRAWS, form, 5.0, 24.0))
    assert effect.sheltered_kill == pytest.approx(kill(DRAWS, "juvenile_sheltered", 5.0, 24.0))


def test_a_bath_that_is_flushed_out_leaves_nothing():
    effect = bath_effect(DRAWS, 5.0, 24.0, loss_per_day=0.5, left_in_water=False)
    assert not effect.larva_hazard.any()
    assert not effect.settler_kill.any()


def test_larvae_left_after_the_residue_match_an_integrated_hazard():
    """Independent path: the hazard of the fading concentration, integrated over ten days."""
    loss = 0.7
    effect = bath_effect(DRAWS, 5.0, 24.0, loss_per_day=loss)
    for i in range(3):

        def alive(t, y, i=i):
            share = DRAWS.at_customary["larva"][i]  # killed by a day at 5 mg/L
            return np.log1p(-share) * np.exp(-loss * t) ** DRAWS.exponent[i] * y

        expected = solve_ivp(alive, (0, 10), [1.0], rtol=1e-10, atol=1e-14).y[0, -1]
        fade = effect.fade_per_day[i]
        found = np.exp(-effect.larva_hazard[i] * -np.expm1(-fade * 10) / fade)
        assert found == pytest.approx(expected, rel=1e-6)


def test_faster_loss_kills_less_and_leaves_less():
    slow, fast = (bath_effect(DRAWS, 5.0, 24.0, loss_per_day=k) for k in (0.1, 3.0))
    assert np.all(slow.kill_of("adult") >= fast.kill_of("adult"))
    assert np.all(slow.settler_kill > fast.settler_kill)
    assert np.all(slow.fade_per_day < fast.fade_per_day)


def test_unknown_agent_and_unwritten_dose_have_an_effect_too():
    unknown = bath_effect(unknown_kill(200, 1), None, None, loss_per_day=0.5)
    assert np.all((unknown.kill_of("adult") >= 0) & (unknown.kill_of("adult") <= 0.97))
    assert not unknown.settler_kill.any()
    assert not unknown.larva_hazard.any()
    unwritten = bath_effect(DRAWS, None, 1.0)
    assert np.std(unwritten.kill_of("adult")) > np.std(bath_effect(DRAWS, 5.0, 1.0).kill_of("adult"))


def test_naive_filter_that_has_met_the_agent_is_adapted():
    """Thomas et al. 2016, abstract: 8 ± 1 d the first time, 2 d afterwards."""
    agent = load_agent("praziquantel")
    first, later = (loss_draws(agent, "naive", 2000, 1, met_before=met) for met in (False, True))
    assert np.array_equal(later, loss_draws(agent, "adapted", 2000, 1))
    days_to_a_hundredth = [np.median(np.log(100) / loss) for loss in (first, later)]
    assert 6.5 < days_to_a_hundredth[0] < 10.5
    assert 1.0 < days_to_a_hundredth[1] < 3.0


def test_filter_nobody_described_is_wider_than_each_and_carbon_adds():
    agent = load_agent("praziquantel")
    unsaid = np.log(loss_draws(agent, None, 2000, 1))
    assert all(
        np.std(unsaid) > np.std(np.log(loss_draws(agent, kind, 2000, 1))) for kind in ("none", "naive", "adapted")
    )
    assert np.all(loss_draws(agent, "naive", 50, 1, uv_or_carbon_on=True) > loss_draws(agent, "naive", 50, 1))
    with pytest.raises(KeyError):
        loss_draws(agent, "sand", 5, 1)

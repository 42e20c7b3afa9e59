"""Looks from before the run: their likelihood against brute force, and that they no longer pass for later ones."""

from __future__ import annotations

import numpy as np
import pytest
from cases import a_case, clips, organs
from scipy.special import logsumexp

from burden.evidence import load_parasite
from burden.inference.earlier_visits import BurdenLaw, EarlierLook, burden_at, log_likelihood_of_earlier
from burden.inference.history import history_days
from burden.inference.looks_on_record import earlier_looks, rows_by_day
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import draw_seen

M = 16
SEEN = draw_seen(load_parasite("dactylogyrus"), M, 2)
K = np.exp(np.random.default_rng(1).normal(0, 0.7, M))
WEIGHT_G = np.full(M, 400.0)
LAW = BurdenLaw(np.full(M, np.log(100.0)), 1.5)


def by_brute_force(rows) -> np.ndarray:
    """Trapezoid over six standard deviations of the law to each side."""
    z = np.linspace(-6, 6, 241)
    at = [np.exp(LAW.middle + LAW.spread * x) for x in z]
    log = np.array([log_likelihood_of_samples(rows, mean, K, SEEN, "gill", WEIGHT_G, None, 40) for mean in at])
    return logsumexp(log - 0.5 * z[:, None] ** 2, axis=0) + np.log((z[1] - z[0]) / np.sqrt(2 * np.pi))


@pytest.mark.parametrize(
    "rows",
    [clips([0] * 5), clips([1, 0, 3, 0]), clips([5, 9, 2], chosen="moribund", share=None), clips([(51, None), 12])],
    ids=["clean", "few", "sick", "censored"],
)
def test_likelihood_is_that_of_brute_force(rows):
    found = log_likelihood_of_earlier([EarlierLook(rows, 40)], LAW, K, SEEN, "gill", WEIGHT_G)
    np.testing.assert_allclose(found, by_brute_force(rows), atol=0.25)
    assert np.abs(found - by_brute_force(rows)).mean() < 0.1


def test_the_burden_of_whole_gills_is_their_mean():
    """Forty whole gills of 90 flukes leave nothing of the law: 90 over what is detected on the site."""
    rows = organs([90] * 40)
    burden = burden_at(EarlierLook(rows, 4000), LAW, np.full(M, 50.0), SEEN, "gill", WEIGHT_G, 1)
    np.testing.assert_allclose(burden * SEEN.detection * SEEN.site_share, 90.0, rtol=0.12)


def test_a_look_of_last_year_is_not_read_as_one_of_this_spring():
    case = a_case([*clips([60, 90], day=-400), *clips([4], day=-119), *clips([0, 1])])
    assert sorted(rows_by_day(case, "dactylogyrus")) == [-119.0, 0.0]
    (look,) = earlier_looks(case, "dactylogyrus")
    assert [row.count_low for row in look.rows] == [60, 90]
    assert history_days(case)[0] == -120

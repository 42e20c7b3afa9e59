"""Adaptive importance sampling against laws whose answer is known in closed form, and scipy's densities."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri

from burden.inference.sampler import Effort, sample
from burden.statistics.adaptive_importance import (
    Proposal,
    Round,
    effective_size,
    fit_proposal,
    log_mixture_weights,
    pareto_shape,
    tempered,
)
from burden.utils.random_streams import steered, uniform_draws

NAMES = ("a", "b", "c")


def ranks(n, seed, names=NAMES):
    return {name: uniform_draws(name, n, seed) for name in names}


def test_the_log_ratio_is_that_of_the_densities():
    """A tenth of the normal prior beside scipy's multivariate t of six degrees of freedom."""
    root = np.array([[0.5, 0.0], [0.3, 0.2]])
    proposal, at = Proposal(("a", "b"), np.array([1.0, -0.5]), root), ranks(50, 3)
    score = ndtri(np.array([at["a"], at["b"]])).T
    normal = stats.multivariate_normal.logpdf(score, np.zeros(2))
    student = stats.multivariate_t.logpdf(score, proposal.centre, root @ root.T, df=6)
    expected = np.logaddexp(np.log(0.1) + normal, np.log(0.9) + student) - normal
    np.testing.assert_allclose(proposal.log_ratio(at), expected, rtol=1e-9)


def test_draws_of_a_proposal_weighed_back_are_the_prior():
    proposal = Proposal(("a",), np.array([1.5]), np.array([[0.6]]))
    drawn = proposal.draw(ranks(20_000, 1), 1)
    weight = np.exp(-proposal.log_ratio(drawn))
    assert weight.max() <= 10 + 1e-9  # a tenth comes from the prior
    assert weight.mean() == pytest.approx(1, abs=0.05)
    assert np.average(drawn["a"] < 0.25, weights=weight) == pytest.approx(0.25, abs=0.02)


def test_a_narrow_ridge_in_many_dimensions_is_found():
    """A sum of two scores known to a hundredth, a third to a tenth, among twenty: the law given them is normal."""
    names = [f"s{i}" for i in range(20)]

    def draw(n, seed, moved):
        with steered(n, seed, moved) as streams:
            score = {name: ndtri(uniform_draws(name, n, seed)) for name in names}
        log = stats.norm.logpdf(1.2, score["s0"] + score["s1"], 0.01) + stats.norm.logpdf(-2.0, score["s2"], 0.1)
        return score, streams.met, log

    found = sample(draw, Effort(1000, 2000), 1, lambda number: None)
    assert found.effective_draws >= 200
    weight = np.exp(found.log_weight - found.log_weight.max())
    both = ndtri(found.ranks["s0"]) + ndtri(found.ranks["s1"])
    assert np.average(both, weights=weight) == pytest.approx(1.2 * 2 / (2 + 1e-4), abs=0.005)
    apart = ndtri(found.ranks["s0"]) - ndtri(found.ranks["s1"])
    centre = np.average(apart, weights=weight)
    assert np.sqrt(np.average((apart - centre) ** 2, weights=weight)) == pytest.approx(np.sqrt(2), abs=0.25)
    evidence = stats.norm.logpdf(1.2, 0, np.sqrt(2 + 1e-4)) + stats.norm.logpdf(-2, 0, np.sqrt(1.01))
    assert found.log_evidence == pytest.approx(evidence, abs=0.25)


def test_scores_that_the_data_leave_alone_are_not_moved():
    at = ranks(4000, 2)
    found = fit_proposal(at, stats.norm.logpdf(1.0, ndtri(at["b"]), 0.5))
    assert found.names == ("b",)
    assert found.centre == pytest.approx([0.8], abs=0.05)  # precision 1 beside 4


def test_tempering_leaves_what_was_asked_for():
    log = -0.5 * (ndtri(uniform_draws("a", 5000, 1)) / 0.01) ** 2
    power, weights = tempered(np.zeros(5000), log, 400)
    assert effective_size(weights) == pytest.approx(400, rel=0.02)
    assert 0 < power < 1
    assert tempered(np.zeros(5000), log, 5)[0] == 1.0


def test_rounds_together_are_weighed_by_their_mixture():
    """Two rounds of the same proposal weigh as one."""
    proposal = Proposal(("a",), np.array([1.0]), np.array([[0.5]]))
    one, two = (Round(proposal, ranks(100, seed), np.zeros(100)) for seed in (1, 2))
    joined = np.concatenate([-proposal.log_ratio(one.ranks), -proposal.log_ratio(two.ranks)])
    np.testing.assert_allclose(log_mixture_weights([one, two]), joined, rtol=1e-12)


@pytest.mark.parametrize("shape", [0.2, 0.9])
def test_the_pareto_shape_is_that_of_the_law_drawn_from(shape):
    weight = stats.genpareto.rvs(shape, size=20_000, random_state=np.random.default_rng(4))
    assert pareto_shape(np.log(weight)) == pytest.approx(shape, abs=0.15)

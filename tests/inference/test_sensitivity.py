"""Which numbers a result hangs on: against a general-purpose library, and on results whose makers are known."""

import numpy as np
import pytest
from scipy import stats

from burden.inference.sensitivity import influences, rank_correlations
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.rates import with_larva_removal

DRAWS = 400


@pytest.fixture(scope="module")
def parameters():
    return draw_parameters("dactylogyrus", DRAWS, 2)


def test_correlations_are_those_of_the_library_ties_included():
    rng = np.random.default_rng(1)
    inputs, outcome = rng.integers(0, 6, (5, 60)).astype(float), rng.integers(0, 4, 60).astype(float)
    wanted = [stats.spearmanr(row, outcome).statistic for row in inputs]
    assert rank_correlations(inputs, outcome) == pytest.approx(wanted, abs=1e-12)


def test_what_makes_the_result_is_named_first_whatever_the_scale(parameters):
    outcome = np.log(parameters["fecundity"]) - 2 * np.log(parameters["adult_life_days"])
    first, second, *rest = influences(parameters, outcome)
    assert (first.parameter, second.parameter) == ("fecundity", "adult_life_days")
    assert first.correlation > 0 > second.correlation
    assert first.known == parameters.evidence.values["fecundity"].known
    # M − 1 times the share of a number that does nothing is a chi-square of one degree: the largest of them all
    assert max(row.share for row in rest) < stats.chi2.isf(0.001 / len(rest), 1) / (DRAWS - 1)
    stretched = influences(parameters, np.exp(3 * outcome))
    assert [row.share for row in stretched] == pytest.approx([row.share for row in influences(parameters, outcome)])


def test_shares_of_an_additive_result_sum_to_about_one(parameters):
    ranks = [stats.rankdata(parameters[name]) for name in ("fecundity", "aggregation", "adult_life_q10")]
    found = influences(parameters, sum(ranks))
    assert sum(row.share for row in found[:3]) == pytest.approx(1.0, abs=0.1)


def test_numbers_of_the_case_and_infinite_results_have_their_place(parameters):
    lamp = with_larva_removal(parameters, 1)
    outcome = np.where(lamp["larva_removal_per_day"] > 3, np.inf, lamp["larva_removal_per_day"])
    first = influences(lamp, outcome)[0]
    assert (first.parameter, first.known) == ("larva_removal_per_day", "assumption")
    volume = np.random.default_rng(3).random(DRAWS)
    first = influences(parameters, volume, {"volume": volume})[0]
    assert (first.parameter, first.known, first.share) == ("volume", "of this case", pytest.approx(1.0))


def test_nothing_that_stands_still_is_named(parameters):
    still = parameters.replaced(fecundity=3.0)
    assert "fecundity" not in {row.parameter for row in influences(still, still["adult_life_days"])}
    assert {row.share for row in influences(parameters, np.ones(DRAWS))} == {0.0}


@pytest.mark.parametrize("outcome", [np.zeros(3), np.full(DRAWS, np.nan)])
def test_a_result_that_is_not_one_number_a_draw_is_refused(parameters, outcome):
    with pytest.raises(ValueError, match="one number a draw"):
        influences(parameters, outcome)

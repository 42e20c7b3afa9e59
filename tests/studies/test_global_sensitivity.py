"""The sensitivity study: its indices against published ones, its ensembles by what must and must not matter."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.sensitivity import INPUTS, _strained, answers_of, draw_ensemble, indices_of
from burden.evidence import load_parasite
from burden.model.lifecycle.parameters import draw_parameters

DRAWS = 1024


def pick_and_freeze(function, a, b):
    """Indices of a function of independent columns (D, M)."""
    mixed = []
    for d in range(len(a)):
        one = a.copy()
        one[d] = b[d]
        mixed.append(function(one))
    return indices_of(function(a), function(b), np.array(mixed))


def test_indices_of_the_ishigami_function():
    """Ishigami T, Homma T (1990), Proc. ISUMA '90, 398-403, with a = 7 and b = 0.1.

    The variance is a²/8 + b π⁴/5 + b² π⁸/18 + 1/2; first order V1 = (1 + b π⁴/5)²/2, V2 = a²/8, V3 = 0, and the rest,
    8 b² π⁸/225, belongs to inputs 1 and 3 together.
    """
    rng = np.random.default_rng(4)
    a, b = rng.uniform(-np.pi, np.pi, (2, 4, 8192))  # the fourth input does nothing
    found = pick_and_freeze(lambda x: np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]), a, b)
    whole = 49 / 8 + 0.1 * np.pi**4 / 5 + 0.01 * np.pi**8 / 18 + 0.5
    alone = np.array([(1 + 0.1 * np.pi**4 / 5) ** 2 / 2, 49 / 8, 0.0, 0.0]) / whole
    together = 8 * 0.01 * np.pi**8 / 225 / whole
    assert found["first"][0] == pytest.approx(alone, abs=0.04)
    assert found["total"][0] == pytest.approx(alone + np.array([together, 0, together, 0]), abs=0.04)
    assert (found["total"][1] <= found["total"][0]).all()
    assert (found["total"][0] <= found["total"][2]).all()


@pytest.fixture(scope="module")
def timing():
    """Indices of both answers on the interval, by input."""
    a, b = draw_ensemble(DRAWS, 5), draw_ensemble(DRAWS, 6)
    names = ["strain_factor", "hatching", "maturity", "bath", "water", "larval_life_days", "fecundity", "aggregation"]
    in_a, in_b = answers_of(a, True), answers_of(b, True)
    swapped = [answers_of(a.with_input(name, b), True) for name in names]
    found = {k: indices_of(in_a[k], in_b[k], np.array([s[k] for s in swapped])) for k in in_a}
    return {k: {o: dict(zip(names, f[o][0], strict=True)) for o in f} for k, f in found.items()}


def test_what_cannot_matter_to_the_interval_does_not(timing):
    for answer in timing.values():
        assert answer["total"]["fecundity"] == answer["total"]["aggregation"] == 0
    assert timing["longest_safe_gap_days"]["total"]["hatching"] == 0
    assert timing["longest_safe_gap_days"]["total"]["larval_life_days"] == 0


def test_what_must_matter_does(timing):
    assert timing["longest_safe_gap_days"]["total"]["maturity"] > 0.1
    assert timing["last_dose_not_before_day"]["total"]["hatching"] > 0.05
    for answer in timing.values():
        assert answer["total"]["strain_factor"] > 0.02


@pytest.mark.xfail(reason="one first-order share of the timing is 1.2: an answer with a heavy tail", strict=True)
def test_shares_sum_to_one_at_most_and_totals_are_no_smaller(timing):
    """Standard error of an index some 0.03 with 1,024 draws."""
    for answer in timing.values():
        assert 0.7 < sum(answer["first"].values()) <= 1.15
        assert all(answer["total"][name] >= first - 0.12 for name, first in answer["first"].items())


def test_an_input_is_swapped_and_no_other():
    a, b = draw_ensemble(8, 5), draw_ensemble(8, 6)
    for name in INPUTS:
        mixed = a.with_input(name, b)
        changed = {n for n in mixed.parameters.values if not np.array_equal(mixed.parameters[n], a.parameters[n])} | {
            n for n in ("effect", "water_c", "abundance", "resistance") if getattr(mixed, n) is not getattr(a, n)
        }
        tables = {n for n in ("hatch", "maturity") if getattr(mixed.parameters.development, n)
                  is not getattr(a.parameters.development, n)}  # fmt: skip
        wanted = {"bath": {"effect"}, "water": {"water_c"}, "hatching": set(), "maturity": set()}.get(name, {name})
        assert changed == wanted, name
        assert tables == {"hatching": {"hatch"}, "maturity": {"maturity"}}.get(name, set()), name


def test_strain_acts_as_where_everything_is_drawn_together():
    apart = _strained(draw_ensemble(20, 5).parameters).development
    kind = load_parasite("dactylogyrus").mixture.kinds["dactylogyrus_vastator"]
    whole = draw_parameters(kind, 20, 5).development
    for table in ("hatch", "maturity"):
        assert getattr(apart, table).mean_days(20.0) == pytest.approx(getattr(whole, table).mean_days(20.0), rel=1e-9)
        assert getattr(apart, table).shape_at(20.0) == pytest.approx(getattr(whole, table).shape_at(20.0), rel=1e-9)
    assert apart.fresh.rate(20.0) == pytest.approx(whole.fresh.rate(20.0), rel=1e-9)


def test_burden_matters_to_deaths_and_the_bath_to_those_treated():
    a, b = draw_ensemble(64, 5), draw_ensemble(64, 6)
    in_a, in_b = answers_of(a), answers_of(b)
    swapped = [answers_of(a.with_input(name, b)) for name in ("abundance", "bath")]
    found = {k: indices_of(in_a[k], in_b[k], np.array([s[k] for s in swapped]))["total"][0] for k in in_a}
    assert found["deaths_untreated"][0] > 0.1
    assert found["deaths_untreated"][1] == 0
    assert found["elimination_probability"][1] > 0.05
    assert 0 <= in_a["elimination_probability"].min() <= in_a["elimination_probability"].max() <= 1
    assert (in_a["deaths_treated"] <= in_a["deaths_untreated"] + 1e-9).all()

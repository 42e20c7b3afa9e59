"""How answers look: weighted quantiles against numpy, triples, JSON without NaN, one result in all its views."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.utils.errors import InputError, Problem, near_miss
from burden.utils.results import CredibleInterval, Probability, Result, number, weighted_quantile

POINTS = [0.05, 0.25, 0.5, 0.75, 0.95]


# --- weighted quantiles -------------------------------------------------------------------------------------------
@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60))
@settings(max_examples=60, deadline=None)
def test_equal_weights_are_numpys_hazen_points(samples):
    found = weighted_quantile(samples, POINTS, np.full(len(samples), 0.7))
    np.testing.assert_allclose(found, np.quantile(samples, POINTS, method="hazen"), rtol=1e-9, atol=1e-9)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60))
@settings(max_examples=60, deadline=None)
def test_no_weights_are_numpys_own_points(samples):
    np.testing.assert_array_equal(weighted_quantile(samples, POINTS), np.quantile(samples, POINTS))


@given(st.lists(st.tuples(st.floats(-100, 100), st.integers(0, 5)), min_size=2, max_size=40), st.sampled_from(POINTS))
@settings(max_examples=150, deadline=None)
def test_whole_weights_are_repeats(pairs, probability):
    """A weight of w stands for w equal draws: the point lies where numpy's of the repeated draws lies, to a draw."""
    samples, weights = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    if weights.sum() == 0:
        assert np.isnan(weighted_quantile(samples, [probability], weights)).all()
        return
    found = weighted_quantile(samples, [probability], weights)[0]
    repeated = np.sort(np.repeat(samples, weights))
    kept = np.unique(repeated)
    middle = np.quantile(repeated, probability, method="inverted_cdf")
    at = int(np.searchsorted(kept, middle))
    low, high = kept[max(at - 1, 0)], kept[min(at + 1, len(kept) - 1)]
    assert low - 1e-9 <= found <= high + 1e-9


def test_many_weighted_draws_agree_with_numpys_repeats():
    rng = np.random.default_rng(1)
    samples, weights = rng.lognormal(0, 1, 4000), rng.integers(0, 6, 4000)
    found = weighted_quantile(samples, POINTS, weights)
    np.testing.assert_allclose(found, np.quantile(np.repeat(samples, weights), POINTS), rtol=2e-3)


def test_weights_of_nothing_have_no_influence():
    samples, weights = [5.0, 1.0, 99.0, 3.0], [1, 2, 0, 1]
    without = weighted_quantile([5.0, 1.0, 3.0], POINTS, [1, 2, 1])
    np.testing.assert_array_equal(weighted_quantile(samples, POINTS, weights), without)


# --- triples ------------------------------------------------------------------------------------------------------
def test_triple_holds_nine_draws_in_ten():
    samples = np.random.default_rng(2).normal(size=2000)
    triple = CredibleInterval.of(samples)
    assert np.mean((samples >= triple.low) & (samples <= triple.high)) == pytest.approx(0.9, abs=0.001)
    assert triple.median == np.median(samples)


def test_probability_adds_the_weighted_mean():
    samples, weights = [0.0, 0.5, 1.0], [1.0, 1.0, 2.0]
    assert Probability.of(samples, weights).mean == pytest.approx(2.5 / 4)
    assert Probability.of(samples, weights).as_dict().keys() == {"median", "low", "high", "mean"}


@pytest.mark.parametrize("kind", [CredibleInterval, Probability])
def test_what_cannot_be_given_is_null_and_never_nan(kind):
    missing = kind.missing()
    assert set(missing.as_dict().values()) == {None}
    assert missing.text() == "cannot be given"
    json.dumps(missing.as_dict(), allow_nan=False)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, None, np.float64("nan")])
def test_no_number_is_none(value):
    assert number(value) is None


@pytest.mark.parametrize("value", [0, 1.5, np.float32(2.5), np.int64(3)])
def test_numbers_are_plain_floats(value):
    assert type(number(value)) is float
    assert number(value) == value


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 2, "0"),
        (1234.5, 2, "1 200"),
        (0.01234, 2, "0.012"),
        (9.96, 2, "10"),
        (0.0999, 2, "0.1"),
        (-3.14159, 3, "-3.14"),
        (0.026000000000000002, 3, "0.026"),
        (-3.6e-15, 3, "0"),
        (2300.4, 3, "2 300"),
        (20000.0, 3, "20 000"),
        (3e6, 3, "3 000 000"),
        (12.0, 3, "12"),
    ],
)
def test_digits_that_mean_something(value, digits, text):
    assert CredibleInterval(value, value, value).text(digits).split(" (")[0] == text


def test_percent_only_in_text():
    share = CredibleInterval(0.5, 0.25, 0.75)
    assert share.text(scale=100) == "50 (25 to 75)"
    assert share.as_dict()["median"] == 0.5


# --- one result, all views ----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Answer(Result):
    """A result made for the test."""

    flukes: CredibleInterval
    note: str

    def as_dict(self) -> dict[str, Any]:
        return {"flukes": self.flukes.as_dict(), "note": self.note}

    def text(self) -> str:
        return f"{self.flukes.text()} flukes, {self.note}"

    def rows(self) -> list[dict[str, Any]]:
        return [{"what": "flukes", **self.flukes.as_dict()}, {"what": self.note}]


def test_views_show_one_and_the_same():
    answer = Answer(CredibleInterval(3.0, 1.0, 9.0), "0,5 °C <b>")
    assert json.loads(answer.to_json()) == answer.as_dict()
    assert str(answer) == answer.text() == "3 (1 to 9) flukes, 0,5 °C <b>"
    assert "°C" in answer.to_json()
    frame = answer.to_frame()
    assert frame.loc[0, ["median", "low", "high"]].tolist() == [3.0, 1.0, 9.0]
    html = answer._repr_html_()
    assert html.count("&lt;b&gt;") == 2  # in the words and in the table
    assert "<b>" not in html
    assert "<td>3</td>" in html


def test_a_long_table_is_shown_by_its_ends_and_without_exponents():
    class Long(Answer):
        def rows(self):
            return [{"day": day, "flukes": 1234567.8 / 10**day} for day in range(60)]

    html = Long(CredibleInterval(3.0, 1.0, 9.0), "")._repr_html_()
    assert html.count("<tr") < 25
    assert "<td>1 230 000</td>" in html
    assert "e+" not in html


def test_a_console_is_given_the_words():
    """As IPython asks for them: https://ipython.readthedocs.io/en/stable/config/integrating.html"""
    answer = Answer(CredibleInterval(3.0, 1.0, 9.0), "here")
    assert answer._repr_mimebundle_() == {"text/plain": answer.text(), "text/html": answer._repr_html_()}


def test_a_nan_that_slips_through_is_an_error_not_json():
    class Careless(Answer):
        def as_dict(self):
            return {"flukes": math.nan}

    with pytest.raises(ValueError, match="JSON"):
        Careless(CredibleInterval.missing(), "").to_json()


# --- errors -------------------------------------------------------------------------------------------------------
def test_every_problem_is_kept():
    problems = [Problem("a.csv", f"row {i}", "x", "a number", "write one") for i in range(3)]
    error = InputError(iter(problems))
    assert error.problems == tuple(problems)
    assert str(error).count("expected a number") == 3
    assert error.problems[0].as_dict() == {
        "file": "a.csv", "place": "row 0", "value": "x", "expected": "a number", "fix": "write one",
    }  # fmt: skip


@given(st.text(max_size=12), st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=5))
@settings(max_examples=50, deadline=None)
def test_a_hint_names_only_what_is_known(word, known):
    hint = near_miss(word, known)
    assert any(name in hint for name in known)

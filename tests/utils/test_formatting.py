"""How numbers, shares, amounts and dates are written: properties of every one, and readings back of each."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.utils import formatting as f

NUMBERS = st.floats(-1e9, 1e9).filter(lambda x: x == 0 or abs(x) > 1e-9)
AMOUNTS = st.floats(1e-6, 1e9)
WRITTEN = re.compile(r"-?\d{1,3}( \d{3})*(\.\d*[1-9])?")
UNITS = {"mg": 1e-3, "g": 1.0, "kg": 1e3, "t": 1e6, "mL": 1e-3, "L": 1.0, "m³": 1e3}


def read(text: str) -> float:
    return float(text.replace(" ", ""))


@given(NUMBERS, st.integers(1, 6))
@settings(max_examples=300, deadline=None)
def test_a_number_has_no_exponent_no_noise_and_is_within_half_a_digit(value, digits):
    text = f.plain(value, digits)
    assert WRITTEN.fullmatch(text), text
    assert text != "-0"
    assert len(text.replace(" ", "").replace(".", "").strip("-").lstrip("0").rstrip("0")) <= digits
    assert read(text) == pytest.approx(value, rel=0.5001 * 10 ** (1 - digits), abs=1e-12)


@given(st.integers(-(10**8), 10**8), st.integers(0, 4))
@settings(max_examples=200, deadline=None)
def test_what_somebody_wrote_is_written_back(whole, decimals):
    """A decimal of up to nine figures comes back as it was, whatever binary fractions make of it."""
    value = whole / 10**decimals
    assert read(f.as_given(value)) == value


@pytest.mark.parametrize(
    ("value", "text"), [(math.nan, "cannot be given"), (None, "cannot be given"), (math.inf, "no limit")]
)
def test_what_is_no_number_is_said_so(value, text):
    assert f.plain(value) == f.mass(value) == f.volume(value) == text


@given(NUMBERS, NUMBERS, NUMBERS)
@settings(max_examples=100, deadline=None)
def test_an_interval_is_three_numbers(middle, low, high):
    found = re.fullmatch(r"(.+) \((.+) to (.+)\) d", f.interval(middle, low, high, 2, " d"))
    assert found.groups() == (f.plain(middle, 2), f.plain(low, 2), f.plain(high, 2))
    assert f.interval(math.nan, low, high) == "cannot be given"


@given(st.floats(0, 1))
@settings(max_examples=200, deadline=None)
def test_a_chance_claims_never_and_always_only_where_it_is(chance):
    text = f.percent(chance)
    assert (text == "0 %") == (chance == 0)
    assert (text == "100 %") == (chance == 1)
    assert text.endswith(" %")
    assert float(re.search(r"\d+", text)[0]) == pytest.approx(100 * chance, abs=1.0)


@given(AMOUNTS, st.sampled_from([f.mass, f.volume]))
@settings(max_examples=300, deadline=None)
def test_an_amount_reads_back_and_is_below_the_next_unit(amount, write):
    number, unit = write(amount).rsplit(" ", 1)
    assert WRITTEN.fullmatch(number)
    assert read(number) * UNITS[unit] == pytest.approx(amount, rel=0.00501, abs=1e-12)
    if unit in ("g", "kg", "mg", "mL"):
        assert read(number) < 1000
    if unit == "L":
        assert read(number) < 100_000


@given(st.integers(0, 10**7), st.sampled_from(["fish", "row", "gill arch", "row of deaths"]))
@settings(max_examples=100, deadline=None)
def test_one_of_a_thing_is_one(number, noun):
    text = f.counted(number, noun)
    assert read(re.match(r"[\d ]+", text)[0]) == number
    assert (text == f"{number} {noun}") == (number == 1 or (noun == "fish" and number < 1000))
    assert "1 fish" not in f.all_of(1, "fish")
    assert "fishs" not in text
    assert "archs" not in text

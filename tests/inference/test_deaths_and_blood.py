"""Deaths and blood against what was measured: guppies, sticklebacks, kingfish; and that a wrong model is rejected."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))  # analysis is not part of the package

from analysis import deaths_and_blood as toll
from analysis.published_checks import blood, deaths


@pytest.mark.parametrize("check", [*deaths(), *blood()], ids=lambda c: c.what)
def test_model_meets_what_was_measured(check):
    assert check.passes, f"{check.published:g} published, {check.model:g} by the model, tolerance {check.tolerance:g}"


def test_tolerances_reject_a_hazard_three_times_off():
    """None of the checks would pass a hazard of three times, or of a third, the published one."""
    for check in deaths():
        if "power" not in check.what:
            assert abs(3 * check.published - check.published) > check.tolerance
            assert abs(check.published / 3 - check.published) > check.tolerance


def test_both_readings_of_the_kingfish_need_their_own_pace():
    """The readings are told apart by how fast blood is made: with the other's pace neither meets week 4 and 6 alike."""
    slow, fast = (toll.kingfish(reading, 6) for reading in ("a lag", "mature flukes"))
    assert slow < 0.574 < fast  # the published figure lies between the two, so neither is asserted


def test_blood_follows_its_equation():
    """Under a constant burden from health haemoglobin falls to recovery/(recovery + loss), as the closed form says."""
    recovery, loss, x = 0.05, 0.1, 0.6
    pace = recovery + loss * x
    level = recovery / pace
    expected = 1 - (level + (1 - level) * np.exp(-pace * 20.0))
    assert toll.haemoglobin_lost(lambda _: x, recovery, loss, 20.0) == pytest.approx(expected, rel=1e-9)

"""Fish chosen by their burden: the tilts assumed, and what it makes of a stock that few were taken from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cases import clips

from burden.evidence import load_parasite
from burden.inference.observation import fish_alike
from burden.inference.observation_parameters import draw_seen
from burden.inference.picked_fish import log_chance_picked, shares_picked, tilt_of

SEEN = draw_seen(load_parasite("dactylogyrus"), 400, 2)


def test_tilts_lie_between_nothing_and_what_is_assumed_of_each_way_of_choosing():
    for chosen, high in {"random": 0.0, "netted": 0.3, "moribund": 1.0, "dead": 1.0}.items():
        np.testing.assert_allclose(tilt_of(chosen, SEEN), high * SEEN.selection_bias)


def test_shares_picked_out_of_few_in_their_order():
    rows = [*clips([1, 2], chosen="dead"), *clips([3, 4, 5], chosen="moribund", first=3), *clips([6], first=9)]
    alike = fish_alike(rows)
    assert shares_picked(alike, 20.0) == {"dead": 2 / 20, "moribund": 3 / 18}
    assert shares_picked(alike, 500.0) == {"moribund": 3 / 498}  # two of 500 leave the others as they are
    assert shares_picked(alike, 3.0) == {"dead": 2 / 3, "moribund": 1.0}


def test_chance_of_being_among_few_that_were_picked():
    """A fish of rate y waits an exponential time of rate y^tilt; k 1 and tilt 1 take half by the time 1."""
    one = SEEN.take(np.zeros(3, int))
    full = replace(one, selection_bias=np.ones(3))
    y = np.array([[0.0, 0.5, 4.0]])
    found = log_chance_picked("moribund", y, np.ones(3), full, 0.5)
    np.testing.assert_allclose(np.exp(found[0, 1:]), 1 - np.exp(-y[0, 1:]), rtol=0.02)
    assert found[0, 0] < -600
    assert (log_chance_picked("moribund", y, np.ones(3), full, 1.0) == 0).all()
    even = np.exp(log_chance_picked("random", y, np.ones(3), full, 0.3))
    np.testing.assert_allclose(even, 0.3, rtol=0.02)

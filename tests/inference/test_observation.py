"""How a look is read: whole looks at one fish, rows alike, and how fine the rates of a fish must be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import clips, organs

from burden.evidence import load_parasite
from burden.inference import observation as looking
from burden.inference.observation import fineness, fish_alike
from burden.inference.observation_parameters import draw_seen

SEEN = draw_seen(load_parasite("dactylogyrus"), 400, 2)


def test_whole_looks_at_one_fish_are_one_look_at_their_mean():
    a, b, c = organs([4, 7, 9])
    one_fish = [replace(row, fish="1") for row in (a, b, c)]
    (rows,) = fish_alike(one_fish)
    assert [(row.count_low, row.count_high) for row in rows] == [(7, 7)]
    plain = [replace(row, fraction_examined=None) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(plain)))] == [7]
    half = [replace(row, fraction_examined=0.5) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(half)))] == [4, 7, 9]
    censored = [replace(row, count_high=None) for row in one_fish]
    assert [row.count_low for row in next(iter(fish_alike(censored)))] == [9]
    other = [one_fish[0], replace(one_fish[1], site="skin")]
    assert [row.count_low for row in next(iter(fish_alike(other)))] == [4, 7]
    assert fish_alike([a, replace(a, fish="9"), b]).most_common(1)[0][1] == 2


def test_preparations_alike_of_one_fish_are_reckoned_once(monkeypatch):
    """A sheet in which one row was copied down a thousand times took minutes; it is worth a thousand such rows."""
    reckoned = []
    plain = looking.log_part_count
    monkeypatch.setattr(looking, "log_part_count", lambda *a: reckoned.append(1) or plain(*a))
    row, other = (replace(one, fish="1") for one in clips([3, 0]))
    rate, of = np.full(400, 60.0), (SEEN, "gill", np.full(400, 400.0))
    one, two = (looking.log_likelihood_of_fish(rows, rate, *of) for rows in ([row], [other]))
    np.testing.assert_allclose(looking.log_likelihood_of_fish([row] * 1000 + [other], rate, *of), 1000 * one + two)
    assert len(reckoned) == 4
    weight_g = np.full(400, 400.0)
    assert fineness([row] * 4, SEEN, weight_g) == 4 * fineness([row], SEEN, weight_g)


@pytest.mark.parametrize(("counts", "share"), [([0], 0.02), ([30], 1.0), ([30, 200], 1.0), ([12], 0.3), ([90000], 1.0)])
def test_fineness_is_the_geometric_mean_of_two_curvatures_in_powers_of_four(counts, share):
    rows = clips(counts, share=share)
    shape = float(np.max(SEEN.part_shape))
    size = np.inf if share == 1 else (shape + share) / (1 - share)
    sharp = sum(np.sqrt((n + 1) / (1 / (n + 1) + 1 / size)) for n in counts)
    found = fineness(rows, SEEN, np.full(400, 400.0))
    assert found == 1024.0 if sharp > 1024 else (found / 4 < max(sharp, 1.0) <= found)
    assert np.log2(found) % 2 == 0

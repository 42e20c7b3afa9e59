"""What a preparation shows: shares of a site as assumed, and flukes that strayed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import clips, organs
from looks import looking

from burden.case import Uncertain
from burden.evidence import load_parasite
from burden.inference import observation_parameters
from burden.inference.observation_parameters import draw_seen, share_examined

EVIDENCE = load_parasite("dactylogyrus")
SEEN = draw_seen(EVIDENCE, 400, 2)


def test_assumed_shares_rise_from_low_to_high_and_a_clip_shrinks_with_the_gills():
    for middle, low, high in observation_parameters._SHARES.values():
        assert 0 < low < middle < high < 1
    clip, organ = clips([1], share=None)[0], organs([1])[0]
    organ = replace(organ, fraction_examined=None)
    light, heavy = (observation_parameters.share_examined(clip, SEEN, w) for w in (150.0, 4800.0))
    assert np.median(light) == pytest.approx(observation_parameters._SHARES["gill_clip"][0], rel=0.1)
    np.testing.assert_allclose(heavy / light, 32.0**-0.8, rtol=1e-9)  # gills grow with weight to the power 0.8
    whole = [observation_parameters.share_examined(organ, SEEN, w) for w in (150.0, 4800.0)]
    np.testing.assert_array_equal(*whole)


def test_every_fluke_sits_on_its_site_or_strays_and_nobody_knows_how_many_a_scrape_finds_there():
    """A whole fish shows all, its site its share; elsewhere a fifth to five times what the share leaves: assumed."""
    gill, many = clips([1])[0], draw_seen(EVIDENCE, 4000, 2)
    home, skin, whole = (
        observation_parameters._on_site(replace(gill, site=site), "gill", many)
        for site in ("gill", "skin", "whole_fish")
    )
    np.testing.assert_array_equal(whole, 1.0)
    np.testing.assert_array_equal(home, many.site_share)
    np.testing.assert_array_equal(observation_parameters._on_site(replace(gill, site="fin"), "gill", many), skin)
    np.testing.assert_array_equal(observation_parameters._on_site(gill, "skin", many), many.stray_share)
    assert np.quantile(skin / (1 - home), [0.05, 0.5, 0.95]) == pytest.approx([0.2, 1.0, 5.0], rel=0.1)


def test_a_clip_is_a_smaller_share_of_larger_gills():
    row, seen = replace(clips([0])[0], fraction_examined=None), looking()
    small, large = (float(share_examined(row, seen, weight)[0]) for weight in (20.0, 2000.0))
    assert large == pytest.approx(small * 100**-0.8)
    arch = replace(row, method="gill_arch")
    assert share_examined(arch, seen, 20.0) == share_examined(arch, seen, 2000.0)


def test_what_was_put_on_a_slide_is_read_in_its_range():
    """The 5, 50 and 95 % points of the share are those the case gives, whatever the range of clips in general."""
    evidence = load_parasite("dactylogyrus")
    seen = draw_seen(evidence, 4000, 1)
    told = Uncertain(0.0054, 0.0023, 0.013, "tips of 15 filaments")
    row = clips([0], None)[0].with_clip_share(told)
    share = share_examined(row, seen, np.full(4000, 300.0))
    assert np.quantile(share, [0.05, 0.5, 0.95]) == pytest.approx([told.low, told.value, told.high], rel=0.03)
    assert row.with_clip_share(None).clip_share is None
    assert clips([0], 0.02)[0].with_clip_share(told).clip_share is None


@pytest.mark.parametrize(("method", "most"), [("gill_clip", 1 / 8), ("skin_scrape", 1 / 2)])
def test_of_the_smallest_fish_a_part_is_no_whole_site(method, most):
    """Anatomy: a clip is of one arch of the eight, a scrape of one side; in a grown carp both are far less."""
    part = replace(clips([3], share=None)[0], method=method, site="gill" if method == "gill_clip" else "skin")
    assert share_examined(part, SEEN, 0.3).max() == most
    assert share_examined(part, SEEN, 400.0).max() < most

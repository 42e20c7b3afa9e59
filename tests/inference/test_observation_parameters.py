"""What a preparation shows: shares of a site as assumed, and flukes that strayed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import clips, organs

from burden.evidence import load_parasite
from burden.inference import observation_parameters as looking
from burden.inference.observation_parameters import draw_seen

EVIDENCE = load_parasite("dactylogyrus")
SEEN = draw_seen(EVIDENCE, 400, 2)

# --- how a look is read


def test_assumed_shares_rise_from_low_to_high_and_a_clip_shrinks_with_the_gills():
    for middle, low, high in looking._SHARES.values():
        assert 0 < low < middle < high < 1
    clip, organ = clips([1], share=None)[0], organs([1])[0]
    organ = replace(organ, fraction_examined=None)
    light, heavy = (looking.share_examined(clip, SEEN, w) for w in (150.0, 4800.0))
    assert np.median(light) == pytest.approx(looking._SHARES["gill_clip"][0], rel=0.1)
    np.testing.assert_allclose(heavy / light, 32.0**-0.8, rtol=1e-9)  # gills grow with weight to the power 0.8
    whole = [looking.share_examined(organ, SEEN, w) for w in (150.0, 4800.0)]
    np.testing.assert_array_equal(*whole)


def test_every_fluke_sits_on_its_site_or_strays_and_nobody_knows_how_many_a_scrape_finds_there():
    """A whole fish shows all, its site its share; elsewhere a fifth to five times what the share leaves: assumed."""
    gill, many = clips([1])[0], draw_seen(EVIDENCE, 4000, 2)
    home, skin, whole = (
        looking._on_site(replace(gill, site=site), "gill", many) for site in ("gill", "skin", "whole_fish")
    )
    np.testing.assert_array_equal(whole, 1.0)
    np.testing.assert_array_equal(home, many.site_share)
    np.testing.assert_array_equal(looking._on_site(replace(gill, site="fin"), "gill", many), skin)
    np.testing.assert_array_equal(looking._on_site(gill, "skin", many), many.stray_share)
    assert np.quantile(skin / (1 - home), [0.05, 0.5, 0.95]) == pytest.approx([0.2, 1.0, 5.0], rel=0.1)

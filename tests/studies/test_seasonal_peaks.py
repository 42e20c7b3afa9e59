"""Two seasons in one pond: what two species of one host showed, one kind of fluke cannot give and two kinds can."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))  # analysis is not part of the package

from analysis import seasonal_peaks as study
from burden.evidence import load_parasite

ROWS = {row["parasite"]: row for row in study.series()}


def test_two_species_of_one_pond_have_opposite_seasons():
    """Role: the cold one fitted, the warm one predicted (J Parasitol 102:507, 2016: late winter and spring against
    summer and autumn): likelier than not, and the reverse hardly ever."""
    warm, cold = (load_parasite(f"dactylogyrus_{name}") for name in ("ctenopharyngodonis", "lamellatus"))
    right, reverse = study.opposite(warm, cold)
    assert right > 0.6
    assert reverse < 0.05


def test_the_mixture_can_show_both_seasons_and_one_set_cannot():
    """One kind: in a draw all its flukes grow faster in the same water, so the chance is nothing, whatever the set."""
    warm, cold = load_parasite("dactylogyrus").mixture.kinds.values()
    right, reverse = study.opposite(warm, cold)
    assert right > 0.4
    assert reverse < 0.05
    for name in ("dactylogyrus_vastator", "dactylogyrus_extensus"):
        alone = load_parasite(name)
        assert study.opposite(alone, alone) == (0.0, 0.0)


def test_flukes_like_extensus_peak_in_early_summer_and_fall_sharply(monkeypatch):
    """Role: fitted (Aydogdu et al. 2003, Helminthologia 40:33): highest from May to July, "sharp fall" from August on,
    read as less than a fifth of the peak in September; D. vastator shows no such fall. Of two years the second."""
    monkeypatch.setattr(study, "YEARS", 2)
    row, september = ROWS["dactylogyrus_extensus"], slice(49, 55)
    left = {}
    for name in ("dactylogyrus_extensus", "dactylogyrus_vastator"):
        course = study.burdens(load_parasite(name), row, draws=12)
        month, there = study.peak_months(course)
        left[name] = float(np.median((course[september].mean(0) / course.max(0))[there]))
        if name == "dactylogyrus_extensus":
            assert np.isin(month[there], (5, 6, 7)).mean() > 0.6
    assert left["dactylogyrus_extensus"] < 0.2
    assert left["dactylogyrus_vastator"] > 1.5 * left["dactylogyrus_extensus"]


def test_months_are_counted_from_january():
    course = np.zeros((73, 3))
    course[0, 0] = course[36, 1] = 1.0
    month, there = study.peak_months(course)
    assert month[:2].tolist() == [1, 6]
    assert there.tolist() == [True, True, False]


@pytest.mark.parametrize("row", study.series(), ids=lambda row: row["parasite"])
def test_every_series_says_what_is_assumed(row):
    assert "assumed" in row["note"] or "as above" in row["note"]
    assert row["role"] in ("fitted", "predicted")

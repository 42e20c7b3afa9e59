"""The repeat interval: facts of the trade, the rules the answer states, and what cannot be answered."""

from __future__ import annotations

import numpy as np
import pytest

from burden.model.lifecycle.transitions import draw_parameters
from burden.model.windows import safe_below_c
from burden.report.text.interval import two_weeks_words
from burden.schedule.fixed_interval import CONTROL_PER_1000, ERADICATION, TIE
from burden.schedule.interval import interval
from burden.utils.results import CredibleInterval


@pytest.fixture(scope="module")
def warm():
    return interval("dactylogyrus", 26.0, draws=60)


def test_near_26_c_the_gap_is_the_customary_one(warm) -> None:
    """Common practice, no source: near 26 °C a dose every five days, two more after the first."""
    assert 3 <= warm.recommended.gap_days <= 7
    safe = warm.windows.triples()["longest_safe_gap_days"]
    assert safe.high - safe.low <= 4
    assert "maturity" in warm.extrapolated
    assert any(c.gap_days == 5 and c.doses == 3 for c, known in warm.customary if "common practice" in known)


def test_the_answer_follows_its_own_rules(warm) -> None:
    """Control: fewest doses with a median of at most 10 left, best mean; eradication: fewest with a mean of 0.9."""
    good = [c for c in warm.courses if c.survivors_per_1000.median <= CONTROL_PER_1000]
    fewest = min(c.doses for c in good)
    mine = [c for c in good if c.doses == fewest]
    top = max(c.elimination_probability.mean for c in mine)
    tied = [c for c in mine if c.elimination_probability.mean >= top - TIE]
    assert warm.recommended.doses == fewest
    assert warm.recommended.gap_days == min(c.gap_days for c in tied)
    rid = [c for c in warm.courses if c.elimination_probability.mean >= ERADICATION]
    assert (warm.eradication is None) == (not rid)
    if rid:
        assert warm.eradication.doses == min(c.doses for c in rid)


def test_a_further_dose_at_the_same_gap_never_leaves_more(warm) -> None:
    by_gap: dict[float, list] = {}
    for c in warm.courses:
        by_gap.setdefault(c.gap_days, []).append(c)
    for courses in by_gap.values():
        means = [c.elimination_probability.mean for c in sorted(courses, key=lambda c: c.doses)]
        assert np.all(np.diff(means) > -1e-3)  # p is judged at the horizon after the last dose of each


def test_print_stands_beside_the_model_at_20_c() -> None:
    """Zhang et al. (2015) Acta Hydrobiologica Sinica 39:1177: second treatment a week after the first at 20 °C."""
    answer = interval("dactylogyrus", 20.0, draws=30)
    printed = [c for c, known in answer.customary if "zhang2015" in known]
    assert [(c.doses, c.gap_days) for c in printed] == [(2, 7.0)]
    assert answer.recommended.survivors_per_1000.median < printed[0].survivors_per_1000.median


def test_two_weeks_are_right_in_cold_water_only() -> None:
    """Common practice, no source: in cold water two weeks apart. The edge must lie below where every five days is."""
    parameters = draw_parameters("dactylogyrus", 200, 1)
    edge = np.median(safe_below_c(parameters, np.full(200, 0.25), 14.0))
    assert 5 < edge < 15
    assert edge < np.median(safe_below_c(parameters, np.full(200, 0.25), 7.0)) < 26


def test_a_live_bearer_has_no_window() -> None:
    answer = interval("gyrodactylus", 20.0, draws=20).as_dict()
    assert answer["recommended"] is None
    assert answer["eradication"] is None
    assert answer["first_hatch_days"] == {"median": None, "low": None, "high": None}
    assert answer["reasons"]["recommended"]


def test_water_too_cold_says_so() -> None:
    """Zhang et al. (2021, preprint): eggs put straight into 5 °C did not hatch within a month."""
    answer = interval("dactylogyrus", 3.0, draws=30)
    assert answer.recommended is None
    assert "cold" in answer.reasons["recommended"]


def test_two_weeks_that_are_never_too_long_name_no_edge_that_was_only_where_the_search_ended() -> None:
    """Heterobothrium settlers mature so late that in most draws two weeks are within their youth up to 35 °C."""
    parameters = draw_parameters("heterobothrium", 200, 1)
    said = two_weeks_words(CredibleInterval.of(safe_below_c(parameters, np.full(200, 0.25), 14.0)))
    assert "35" not in said
    assert said.startswith("Two weeks apart is probably safe at any temperature; below 2")

"""What fits worst is named where no answer is given."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from cases import VISIT, a_case, clips, organs

from burden.case import DeathRecord
from burden.inference import fitting_ponds
from burden.inference.estimate import estimate
from burden.inference.misfit import worst_fitting
from burden.inference.sampler import Effort, TooFewDrawsError

WEEKS = tuple(DeathRecord(VISIT + timedelta(days=day), dead, 7) for day, dead in ((-14, 1), (-7, 0), (0, 2)))


def worst_of(case):
    found = fitting_ponds.ponds_sampled(case, "dactylogyrus", Effort(200, 300, 60), 1)
    return worst_fitting(case, "dactylogyrus", found, 1)


def test_the_row_of_the_log_that_no_cause_makes_likely():
    burst = DeathRecord(VISIT - timedelta(days=10), 380, 1)  # of 440 on one day, and 3 in the three weeks about it
    worst = worst_of(a_case(clips([2, 0, 5, 1]), deaths=(*WEEKS, burst)))
    assert (worst.day, worst.fish, worst.number) == (burst.date, "", 380)
    assert worst.expected.high < 380
    assert worst.drop > 1


def test_the_fish_that_is_unlike_all_others():
    odd = replace(organs([9000])[0], fish="odd one")
    worst = worst_of(a_case([*organs([3] * 9, first=2), odd], count=400, deaths=WEEKS))
    assert (worst.fish, worst.number, worst.day) == ("odd one", 9000, VISIT)


def test_a_refusal_names_it_and_holds_back_the_dose(monkeypatch):
    rng = np.random.default_rng(3)
    monkeypatch.setattr(
        fitting_ponds, "log_likelihood", lambda runs, parasite: 100 * rng.standard_normal(runs.pond.size)
    )
    case = a_case(clips([2, 0]), deaths=(*WEEKS, DeathRecord(VISIT - timedelta(days=10), 380, 1)))
    with pytest.raises(TooFewDrawsError) as refused:
        estimate(case, draws=60, effort=Effort(300, 300))
    said = str(refused.value)
    assert refused.value.worst.number == 380
    assert "380 deaths" in said
    assert "30 Apr" in said
    assert "Give no dose until it is found" in said

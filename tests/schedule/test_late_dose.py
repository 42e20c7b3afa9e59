"""The day on which a late dose becomes a mistake."""

from __future__ import annotations

import numpy as np
import pytest
from cases import a_case

from burden.inference.prior import Posterior, draw_pond
from burden.model.elimination.probability import DoseSchedule
from burden.schedule.late_dose import late_doses

DRAWS = 12


@pytest.fixture(scope="module")
def pond():
    found = draw_pond(a_case(), "dactylogyrus", DRAWS, 3)
    return Posterior(found, found.start(np.full(DRAWS, 30.0), np.array([40.0]), 0.0, np.full(DRAWS, 0.5)))


def test_one_dose_cannot_be_late(pond):
    assert late_doses([pond], DoseSchedule((0.0,), ("praziquantel",))) == ()

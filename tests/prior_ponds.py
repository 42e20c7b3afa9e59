"""Ponds of a case before anything was seen, for tests of what is built on an estimate."""

from __future__ import annotations

import numpy as np

from burden.inference.prior import Posterior, draw_pond

DRAWS = 12


def pond_of(case):
    """Prior draws with 30 flukes a fish on the day of the visit."""
    pond = draw_pond(case, case.parasites[0], DRAWS, 3)
    fish = np.array([float(group.count) for group in case.fish])
    return Posterior(pond, pond.start(np.full(DRAWS, 30.0), fish, 0.0, np.full(DRAWS, 0.5)))

"""Flukes from outside: whether they may come, and what then cannot be said."""

from __future__ import annotations

from typing import Literal

from burden.case import Case
from burden.evidence import Value
from burden.model.open_water import PRESSURE

__all__ = ["pressure_on", "withheld_eradication", "withheld_forecast"]

#: samples so far apart tell how many larvae come in: about a generation in warm water, an assumption [d]
_LEARNED_DAYS = 14


def pressure_on(case: Case) -> Value | None:
    """Return what is believed of the larvae that come with the water; None where none can come.

    They can where the case names neighbours, and in open water of which it says nothing.
    """
    neighbours = case.water.neighbours
    if neighbours == "none" or (neighbours is None and not case.water.is_open):
        return None
    return PRESSURE[neighbours or "unsaid"]


def withheld_forecast(case: Case) -> Literal["infection_pressure_unknown"] | None:
    """Return why the flukes of the weeks ahead cannot be foretold, or None.

    In open water most of what settles may come from outside. Samples two weeks apart or more tell how much; so does
    whoever knows the neighbours.
    """
    if not case.water.is_open or case.water.neighbours is not None:
        return None
    dates = case.sample_dates
    learned = len(dates) > 1 and (dates[-1] - dates[0]).days >= _LEARNED_DAYS
    return None if learned else "infection_pressure_unknown"


def withheld_eradication(case: Case) -> Literal["larvae_from_outside"] | None:
    """Return why no course can be said to leave no fluke, or None: larvae may come with the water."""
    return None if pressure_on(case) is None else "larvae_from_outside"

"""Where a treatment interval is refused: water in which a set does not live, or is not known to end what it begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from burden.model.lifecycle.parameters import Parameters
from burden.model.windows import Windows
from burden.utils.wording import Remark

__all__ = ["ABOVE_MEASURED_C", "LONGEST_HATCH_DAYS", "NoEnd", "NotLiving", "TooSlow", "TooWarm", "water_refused"]

#: warmer than the warmest water in which hatching was measured by more than this, no law tells what happens [°C]: an
#: assumption
ABOVE_MEASURED_C = 5.0
#: as long as a course is ever waited for before it is judged [d]
LONGEST_HATCH_DAYS = 120.0
#: share of eggs that hatch, in the median draw, below which a set does not live in the water: an assumption [-]
_LIVES = 0.05


@dataclass(frozen=True)
class NotLiving(Remark):
    """Eggs do not hatch at this temperature."""

    temperature_c: float


@dataclass(frozen=True)
class TooWarm(Remark):
    """Hatching was measured up to `measured_c` only [°C]."""

    measured_c: float
    temperature_c: float


@dataclass(frozen=True)
class NoEnd(Remark):
    """In a share of the draws `what` (hatching or maturity) takes longer than anything is followed."""

    what: str
    share: float


@dataclass(frozen=True)
class TooSlow(Remark):
    """The last egg hatches later than a course is waited for [d]."""

    last_hatch_days: float
    longest_days: float


def water_refused(parameters: Parameters, windows: Windows, temperature_c: float) -> Remark | None:
    """Return why no interval is given for this water; None where one is.

    Parameters
    ----------
    parameters : Parameters
        M draws of an egg-layer.
    windows : Windows
        At this temperature, M draws.
    temperature_c : float
        [°C]
    """
    development = parameters.of_eggs
    success = development.hatch_success(temperature_c)
    if success is not None and float(np.median(success)) < _LIVES:
        return NotLiving(temperature_c)
    warmest = development.hatch.measured_c[1]
    if temperature_c > warmest + ABOVE_MEASURED_C:
        return TooWarm(warmest, temperature_c)
    ends = (
        ("hatching", windows.last_hatch),
        ("maturity", windows.earliest_maturity),
        ("maturity", windows.last_dose_not_before),  # a settler may stay in its shelter without end
    )
    for what, days in ends:
        share = float(np.mean(~np.isfinite(days)))
        if share > 0.05:  # the range given has no upper end
            return NoEnd(what, share)
    last = float(np.median(windows.last_hatch + windows.larval_life))
    return TooSlow(last, LONGEST_HATCH_DAYS) if last > LONGEST_HATCH_DAYS else None

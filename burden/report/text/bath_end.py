"""Words of the end of a bath: who ends it and how, how long the drug stays, and what may not be let out."""

from __future__ import annotations

import math

from burden.case import Case
from burden.decision.records import PlannedDose
from burden.evidence import FRESH_WATER
from burden.treatment.residues import half_gone_days, stays_in_water
from burden.utils.formatting import exposure, named, plain, volume

__all__ = ["end_text", "let_out_text", "owner_let_out_text"]

#: water from which a permit is spoken of [L]: common practice, no source
_PERMIT_L = 2_000_000.0
_ASK = "whoever is responsible for water there, and the licensed veterinarian, allow it"
#: share of the water that comes in a day up to which it is shut for a bath: common practice, no source [1/d]
_SHUT_UP_TO = 1.0
#: a time as long as this is said in days [h]
_DAYS_FROM_H = 48.0


def end_text(case: Case, dose: PlannedDose) -> str:
    """Write who ends the bath and how, without a full stop.

    Parameters
    ----------
    case : Case
    dose : PlannedDose
    """
    over = f"after {exposure(dose.hours)}"
    if dose.place == "enclosed":
        return f"{over} drop the tarpaulin, or let the fish out of the well-boat: that ends the bath"
    if dose.apart:
        return f"{over} put the fish back into their own water: that ends the bath"
    if dose.place == "flow_stopped":
        return f"{over} let the water flow again: that ends the bath"
    if dose.place == "dripped":
        return f"{over} stop the drip: the flow then ends the bath"
    if not stays_in_water(case, dose.agent):
        return f"{over} replace the water: that ends the bath"
    left = f"{named(dose.agent)} is left in the water and works on after the {exposure(dose.hours)}"
    return f"nobody ends the bath: {left}, and {_goes(case, dose.agent)}"


def _goes(case: Case, agent: str) -> str:
    """How fast the drug goes; in water without a filter that is not known."""
    if case.water.filter in ("naive", "adapted"):
        half = half_gone_days(case, agent)
        return f"half of it is gone in about {_time(half.median)} ({_span(half.low, half.high)})"
    if case.water.exchange_per_day > 0:
        half_days = math.log(2) / case.water.exchange_per_day
        return f"the exchange of water alone takes half of it in {_time(half_days)}"
    return "how fast it goes in water without a filter was not measured: count on days to months"


def _span(low: float, high: float) -> str:
    """Two times, the unit once where both are in hours or both in days."""
    hours = (24 * low, 24 * high)
    if hours[0] >= _DAYS_FROM_H:
        return f"{plain(low, 2)} to {_time(high)}"
    first = plain(hours[0], 2) if hours[0] >= 1 and hours[1] < _DAYS_FROM_H else _time(low)
    return f"{first} to {_time(high)}"


def _time(days: float) -> str:
    return f"{plain(days, 2)} d" if 24 * days >= _DAYS_FROM_H else exposure(float(plain(24 * days, 2)))


def let_out_text(case: Case, dose: PlannedDose) -> str:
    """Write what may not be let out, without a full stop; empty for a bath in water alone.

    Parameters
    ----------
    case : Case
    dose : PlannedDose
    """
    if dose.agent == FRESH_WATER:
        return ""
    if dose.apart:
        return f"pour the bath away nowhere before {_ASK}"
    if _can_be_shut(case, dose):
        said = f"shut the inflow and the outlet for the bath, and let no treated water out before {_ASK}"
    elif case.water.exchange_per_day > 0:
        said = f"treated water leaves with the outflow: dose only once {_ASK}"
    else:
        said = f"keep the outlet shut, and let no treated water into a stream, a lake or a drain before {_ASK}"
    if case.water.volume_l.value >= _PERMIT_L:
        said += f"; for {volume(case.water.volume_l.value)} that takes a permit in many places, so ask before you buy"
    return f"{said} (common practice, no source)"


def _can_be_shut(case: Case, dose: PlannedDose) -> bool:
    """Whether so little water comes in that the fish do without it for a bath left in their water."""
    return dose.place == "water" and 0 < case.water.exchange_per_day <= _SHUT_UP_TO


def owner_let_out_text(case: Case, dose: PlannedDose) -> str:
    """Write the same for an owner, as a sentence; empty for a bath in water alone."""
    if dose.agent == FRESH_WATER:
        return ""
    if dose.apart:
        return "Pour the bath away nowhere before we say where."
    if _can_be_shut(case, dose):
        return "Shut the inflow and the outlet for the bath, and let no treated water out before we say so."
    if case.water.exchange_per_day > 0:
        return "Treated water leaves with the outflow: nothing goes in before we have leave for that."
    return "Keep the outlet shut, and let no treated water out before we say so."

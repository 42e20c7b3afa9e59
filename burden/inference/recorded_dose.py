"""What the record says of a dose and counts do not, and what it leaves to ask: other water, a lamp, neighbours."""

from __future__ import annotations

from burden.case import UNKNOWN_AGENT, Action, Case
from burden.inference.infection_pressure import pressure_on
from burden.inference.response_result import (
    FromOutside,
    NextStep,
    RemovedFromWater,
    WeighedForOtherWater,
)
from burden.inference.treatment_failure import could_be_removed

__all__ = ["STEPS", "from_outside", "given_in_more", "more_to_see", "still_open", "taken_out"]

#: what to do next, by the verdict
STEPS: dict[str, tuple[NextStep, ...]] = {
    "fell_short": (NextStep("check_volume"), NextStep("check_removal"), NextStep("longer_not_stronger")),
    "cannot_tell": (NextStep("look_at_more_fish"), NextStep("look_two_days_after")),
    "worked": (NextStep("next_dose_on_its_date"),),
    "new_settlers": (NextStep("next_dose_on_its_date"), NextStep("look_two_days_after")),
}
#: a dose weighed out for water that differs by no more was weighed out for this water: an assumption [-]
_SAME_WATER = 0.05


def given_in_more(case: Case, dose: Action) -> tuple[WeighedForOtherWater, ...]:
    """Say what a dose came to that was weighed out for other water than the case has."""
    volume, believed, mg_l = case.water.volume_l.value, dose.volume_l_believed, dose.concentration_mg_l
    if believed is None or mg_l is None or abs(believed / volume - 1) <= _SAME_WATER:
        return ()
    return (WeighedForOtherWater(believed, volume, mg_l, mg_l * believed / volume),)


def from_outside(case: Case, verdict: str) -> tuple[FromOutside, ...]:
    """Say that flukes may have come in since, where some may and the dose is not known to have worked."""
    return () if verdict == "worked" or pressure_on(case) is None else (FromOutside(),)


def taken_out(dose: Action) -> tuple[RemovedFromWater, ...]:
    """Say that what was left running took the agent out of the water."""
    if not dose.uv_or_carbon_on or dose.agent is None or dose.agent == UNKNOWN_AGENT:
        return ()
    return (RemovedFromWater(dose.agent, dose.date),)


def more_to_see(case: Case, looked: int, steps: tuple[NextStep, ...]) -> tuple[NextStep, ...]:
    """Ask for more of each fish where there are no more fish to look at."""
    if looked < case.fish_count:
        return steps
    return tuple(NextStep("look_at_more_of_each") if one.step == "look_at_more_fish" else one for one in steps)


def still_open(case: Case, dose: Action, steps: tuple[NextStep, ...]) -> tuple[NextStep, ...]:
    """Leave out the questions that the record of the dose answers."""
    answered = set()
    if given_in_more(case, dose):
        answered.add("check_volume")
    if dose.uv_or_carbon_on or not could_be_removed(case):
        answered.add("check_removal")
    return tuple(one for one in steps if one.step not in answered)

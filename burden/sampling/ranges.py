"""What numbers a plan takes, each with its finite range and the reason for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.utils.errors import InputError, Problem
from burden.utils.formatting import as_given

__all__ = ["RANGES", "Range", "check_numbers", "out_of_range"]


@dataclass(frozen=True)
class Range:
    """Numbers that a question is answered for.

    Parameters
    ----------
    low, high : float
        Ends, both included unless said otherwise.
    fix : str
        Why it ends there, or what to write instead.
    low_open, high_open : bool
        Whether an end itself is left out.
    """

    low: float
    high: float
    fix: str
    low_open: bool = False
    high_open: bool = False

    def holds(self, value: float) -> bool:
        """Whether a number lies inside; NaN lies nowhere."""
        above = value > self.low if self.low_open else value >= self.low
        return bool(above and (value < self.high if self.high_open else value <= self.high))

    def __str__(self) -> str:
        low, high = as_given(self.low), as_given(self.high)
        if not (self.low_open or self.high_open):
            return f"{low} to {high}"
        start = f"above {low}" if self.low_open else f"{low} or more"
        return f"{start}, {'below' if self.high_open else 'at most'} {high}"


_CONFIDENCE = Range(0.01, 0.9999, "For 95 % write 0.95; no sample makes anyone quite sure.")
_SHARE = Range(0, 1, "For 10 % write 0.1.", high_open=True)
#: by the name of the argument
RANGES = {
    "prevalence": Range(1e-6, 1, "For 5 % write 0.05; one fish in a million is the least.", high_open=True),
    "pond_prevalence": Range(1e-4, 1, "For 20 % write 0.2.", high_open=True),
    "confidence": _CONFIDENCE,
    "interval_level": Range(0.5, 0.999, "For 90 % write 0.9."),
    "population": Range(1, 1e9, "Leave it out for a large group: the answer is the same."),
    "sensitivity": Range(1e-3, 1, "1 if an infected fish is always recognised; below 0.001 hardly any look shows one."),
    "specificity": Range(0, 1, "1 if a clean fish is never called infected, as with a fluke seen and named."),
    "fail_clean": Range(1e-4, 0.5, "0.05 is usual.", high_open=True),
    "pass_infected": Range(1e-4, 0.5, "0.05 is usual.", high_open=True),
    "ponds": Range(1, 10_000, "Count the ponds that share fish or water."),
    "pond_cost": Range(0, 10_000, "Work of going to one pond, as so many fish looked at; 0 counts fish alone."),
    "rounds": Range(1, 1000, "Say how many clean rounds are planned."),
    "rounds_a_year": Range(0.1, 365, "4 is once a quarter; 365 every day."),
    "new_fish_a_year": Range(0, 1e9, "0 for a closed stock."),
    "new_infected": _SHARE,
    "prior_absent": Range(0, 1, "0.5 if nothing is known.", low_open=True, high_open=True),
    "round_sensitivity": Range(0, 1, "Take it from the plan of the round.", low_open=True),
    "introduction": _SHARE,
    "level": Range(1e-3, 1e6, "Flukes a fish on average; half a fluke a fish is 0.5."),
    "mean": Range(1e-3, 1e6, "Flukes a fish on average, as you expect them."),
    "low": Range(1e-3, 1e4, "Flukes a fish on average; beyond 10 000 nobody counts fish by fish."),
    "high": Range(1e-3, 1e4, "Flukes a fish on average; beyond 10 000 nobody counts fish by fish."),
    "k": Range(0.01, 1000, "0.3 to 2 is usual, small is clumped; 1 000 is as even as chance alone makes it."),
    "fraction_examined": Range(1e-6, 1, "For 1 % of the site write 0.01."),
    "detection_per_fluke": Range(0.01, 1, "1 if none in view is missed."),
    "part_shape": Range(0.01, 100, "About 1; 0.5 is clumped, 2 even."),
    "preparations": Range(1, 100, "Take one at least."),
    "precision": Range(0.01, 1, "0.5 is half the mean; a hundredth takes tens of thousands of fish.", high_open=True),
    "half_width": Range(0.001, 0.5, "10 percentage points are 0.1.", high_open=True),
    "handling": Range(0, 10_000, "Work of catching one fish, in preparations; leave it out if it does not matter."),
    "max_fish": Range(1, 500, "As many as can be netted in a day."),
    "call_high": Range(1e-3, 0.5, "0.1 is usual.", high_open=True),
    "call_low": Range(1e-3, 0.5, "0.1 is usual.", high_open=True),
    "lethal_allowed": Range(0, 200, "0 for none; nobody searches more than 200 whole fish for one look."),
    "fish": Range(1, 1e9, "Count the new fish."),
    "weight_g": Range(0.01, 1e6, "Grams; a koi of 30 cm has about 400."),
    "temperature_c": Range(0, 40, "Water in which fish live [°C]."),
}


def out_of_range(**values: Any) -> list[Problem]:
    """Return what is wrong with numbers, by the names of their arguments; None stands for a number not given.

    Examples
    --------
    >>> [problem.place for problem in out_of_range(prevalence=5, confidence=float("nan"), population=None)]
    ['prevalence', 'confidence']
    """
    found = []
    for name, value in values.items():
        numbers = [value] if isinstance(value, int | float) else [] if value is None else np.ravel(value).tolist()
        wrong = next((number for number in numbers if not RANGES[name].holds(number)), None)
        if wrong is not None:
            found.append(Problem("command line", name, str(wrong), str(RANGES[name]), RANGES[name].fix))
    return found


def check_numbers(*more: Problem, **values: Any) -> None:
    """Raise every problem of a plan's numbers at once.

    Parameters
    ----------
    *more : Problem
        What else is wrong, such as two numbers in the wrong order.
    **values
        Numbers or draws by the names of `RANGES`.

    Raises
    ------
    InputError
        With one problem for every number out of its range; its place is the argument's name.
    """
    if wrong := [*out_of_range(**values), *more]:
        raise InputError(wrong)

"""How many fish to find flukes, when each infected fish is found with a known chance.

References
----------
Cannon & Roe 1982 Livestock Disease Surveys (finite populations).
FAO 2008 ISPM 31, TCVN 8597:2010 (tables by the hypergeometric distribution).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from burden.sampling.plan import AT_RANDOM, SamplingPlan, check_numbers, percent, rounds_in_words
from burden.utils.results import Result

__all__ = [
    "MOST_FISH",
    "TIE",
    "FindPlan",
    "find",
    "group_sensitivity",
    "infected_caught",
    "log_choose",
    "smallest_sample",
]

#: a chance of missing that equals 1 − confidence but for rounding is a tie, and a tie is enough
TIE = 1 + 1e-9
#: no plan for a large group asks for more
MOST_FISH = 50_000


@dataclass(frozen=True, kw_only=True)
class FindPlan(SamplingPlan):
    """How many fish to look at to find flukes.

    Parameters
    ----------
    method : str
        binomial (large population) or hypergeometric.
    prevalence, confidence : float
        Share infected that must not be missed, and the chance of not missing it [-].
    population : int or None
        Fish in the group; None when large.
    sensitivity : float
        Chance that what is taken from one infected fish shows a fluke [-].
    confidence_reached : float
        With this many fish; with all fish where `fish` is None [-].
    clean_rounds : AbsenceAfterRounds or None
        Absence after each clean round, where rounds were asked for.
    """

    method: str
    prevalence: float
    confidence: float
    population: int | None
    sensitivity: float
    confidence_reached: float
    clean_rounds: Result | None = None

    def text(self) -> str:
        """Return the plan, and what its clean rounds tell where they were asked for."""
        return super().text() + rounds_in_words(self.clean_rounds)

    def headline(self) -> str:
        """Return the number of fish in one line."""
        if self.fish is None:
            return f"Not even all {self.population} fish reach {percent(self.confidence)} confidence."
        return f"Look at {self.fish} fish; all clean means, with {percent(self.confidence)} confidence, " + (
            f"fewer than {percent(self.prevalence)} infected."
        )


def find(prevalence: float, confidence: float, population: int | None = None, sensitivity: float = 1.0) -> FindPlan:
    """How many fish to look at so that flukes at this prevalence are not missed.

    Parameters
    ----------
    prevalence : float
        Share of fish infected that must not be missed [-].
    confidence : float
        Chance of at least one find at that prevalence [-].
    population : int, optional
        Fish in the group; large when not given.
    sensitivity : float
        Chance that what is taken from one infected fish shows a fluke [-].

    Returns
    -------
    FindPlan
        `fish` is None where not even all fish reach the confidence.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    Infected fish in a group of N are the whole number floor(N·prevalence), at least 1. The answer is the
    smallest n whose chance of showing nothing is at most 1 − confidence; ties count as reached.

    Examples
    --------
    >>> find(0.05, 0.95).fish, find(0.1, 0.95).fish, find(0.2, 0.95).fish
    (59, 29, 14)
    >>> find(0.05, 0.95, population=100).fish
    45
    >>> find(0.05, 0.95, sensitivity=0.29).fish  # one gill clip of each fish
    206
    """
    _check_find(prevalence, confidence, population, sensitivity)
    if population is None:
        method, most = "binomial", MOST_FISH
        miss = _binomial_miss(prevalence * sensitivity)
    else:
        method, most = "hypergeometric", population
        infected = max(1, math.floor(population * prevalence + 1e-9))
        miss = _finite_miss(population, infected, sensitivity)
    fish = smallest_sample(miss, 1 - confidence, most)
    return FindPlan(
        fish=fish,
        method=method,
        prevalence=prevalence,
        confidence=confidence,
        population=population,
        sensitivity=sensitivity,
        confidence_reached=1 - miss(most if fish is None else fish),
        reason=_reason_of_find(fish, prevalence, confidence, population, sensitivity),
        what_would_change=_changes_of_find(sensitivity, population),
    )


def _check_find(prevalence: float, confidence: float, population: int | None, sensitivity: float) -> None:
    share = "a share above 0 and below 1"
    whole = population is None or (population >= 1 and population == int(population))
    check_numbers(
        [
            ("--prevalence", prevalence, 0 < prevalence < 1, share, "For 5 % write 0.05."),
            ("--confidence", confidence, 0 < confidence < 1, share, "For 95 % write 0.95."),
            ("--population", population, whole, "a whole number of fish, 1 or more", "Leave it out if large."),
            (
                "--sensitivity",
                sensitivity,
                0 < sensitivity <= 1,
                "a share above 0, at most 1",
                "1 if an infected fish is always recognised.",
            ),
        ]
    )


def _binomial_miss(chance: float) -> Callable[[int], float]:
    return lambda n: (1 - chance) ** n if chance < 1 else float(n == 0)


def _finite_miss(population: int, infected: int, sensitivity: float) -> Callable[[int], float]:
    return lambda n: 1 - group_sensitivity(population, n, infected, sensitivity)


def smallest_sample(miss: Callable[[int], float], allowed: float, most: int) -> int | None:
    """Smallest number of fish whose chance of missing is at most `allowed`.

    Parameters
    ----------
    miss : callable
        Chance of missing at n fish, falling with n.
    allowed : float
        Largest chance of missing [-].
    most : int
        Fish there are.

    Returns
    -------
    int or None
        None where not even `most` fish serve.

    Examples
    --------
    >>> smallest_sample(lambda n: 0.5**n, 0.125, 10), smallest_sample(lambda n: 0.5**n, 0.01, 5)
    (3, None)
    """
    limit = allowed * TIE
    if miss(most) > limit:
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if miss(middle) <= limit else (middle, high)
    return high


def group_sensitivity(population: int, fish: int, infected: int, sensitivity: float = 1.0) -> float:
    """Chance of at least one find in a sample from a finite group.

    Parameters
    ----------
    population, fish, infected : int
        Fish in the group, fish sampled without replacement, fish infected.
    sensitivity : float
        Chance that an infected fish in the sample is found [-].

    Returns
    -------
    float
        One minus the mean of (1 − sensitivity)^j over the hypergeometric number j of infected fish caught [-].

    Examples
    --------
    >>> round(group_sensitivity(100, 30, 10, 0.9), 6)
    0.963137
    """
    caught, chance = infected_caught(population, fish, infected)
    if sensitivity == 1:
        return float(1 - chance[caught == 0].sum())
    return float(1 - chance @ (1 - sensitivity) ** caught)


def infected_caught(population: int, fish: int, infected: int) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of infected fish the sample may hold, and the hypergeometric chance of each [-]."""
    caught = np.arange(max(0, fish + infected - population), min(fish, infected) + 1)
    log_chance = (
        log_choose(infected, caught) + log_choose(population - infected, fish - caught) - log_choose(population, fish)
    )
    return caught, np.exp(log_chance)


def log_choose(n: int, k: np.ndarray | int) -> np.ndarray:
    """Log of the ways to choose k of n, as the standard library has it: no SciPy to load for `find`."""
    ways = [math.lgamma(n + 1) - math.lgamma(i + 1) - math.lgamma(n - i + 1) for i in np.atleast_1d(k).tolist()]
    return np.array(ways).reshape(np.shape(k))


def _reason_of_find(
    fish: int | None, prevalence: float, confidence: float, population: int | None, sensitivity: float
) -> str:
    infected = None if population is None else max(1, math.floor(population * prevalence + 1e-9))
    group = (
        f"In a large group with {percent(prevalence)} infected"
        if infected is None
        else f"With {infected} of {population} fish infected"
    )
    seen = f", each infected fish recognised with {percent(sensitivity)} chance" if sensitivity < 1 else ""
    if fish is None:
        return (
            f"{group}{seen}, looking at every fish still misses with more than {percent(1 - confidence)} "
            "chance: take more of each fish, so that an infected one is recognised more often."
        )
    return (
        f"{group}{seen}, a sample of {fish} shows nothing with at most {percent(1 - confidence)} chance; "
        "one fish fewer would not do."
    )


def _changes_of_find(sensitivity: float, population: int | None) -> tuple[str, ...]:
    seen = (
        "an infected fish is not always recognised: a gill clip of live eels found 29 % of the infested "
        "(Larrat 2012); give the sensitivity, or let it follow from burden and share seen"
        if sensitivity == 1
        else "more preparations of each fish raise the sensitivity and lower the number of fish"
    )
    size = "a known, small group needs fewer fish" if population is None else "a larger group needs more fish"
    return (
        seen,
        size,
        AT_RANDOM,
        "fewer infected fish than this can still be missed: a clean sample is not freedom",
    )

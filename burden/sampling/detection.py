"""How many fish to find flukes, when each infected fish is found with a known chance.

References
----------
Cannon & Roe 1982 Livestock Disease Surveys (finite populations).
FAO 2008 ISPM 31, TCVN 8597:2010 (tables by the hypergeometric distribution, infected rounded down).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from burden.sampling.plan import SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.utils.results import Result

__all__ = [
    "MOST_FISH",
    "TIE",
    "FindPlan",
    "Rounding",
    "find",
    "group_sensitivity",
    "infected_caught",
    "infected_in",
    "smallest_sample",
]

#: a chance of missing that equals 1 − confidence but for rounding is a tie, and a tie is enough
TIE = 1 + 1e-9
#: no plan for a large group asks for more
MOST_FISH = 50_000
#: how a prevalence of a small group becomes whole fish
Rounding = Literal["up", "down"]


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
    infected : int or None
        Infected fish of the group that must not be missed; None when large.
    round_infected : str
        How the prevalence became whole fish: up or down.
    fish_rounded_down : int or None
        Fish with the infected rounded down, the convention of printed tables; None where it is the same question, or
        where not even all fish serve.
    sensitivity : float
        Chance that what is taken from one infected fish shows a fluke [-].
    confidence_reached : float
        With this many fish; with all fish, or the most a plan asks for, where `fish` is None [-].
    fish_needed : int or None
        Fish of a large group that it would take, however many; None for a group of known size.
    clean_rounds : AbsenceAfterRounds or None
        Absence after each clean round, where rounds were asked for.
    """

    method: str
    prevalence: float
    confidence: float
    population: int | None
    sensitivity: float
    confidence_reached: float
    infected: int | None = None
    round_infected: Rounding = "up"
    fish_rounded_down: int | None = None
    fish_needed: int | None = None
    clean_rounds: Result | None = None


def find(
    prevalence: float,
    confidence: float,
    population: int | None = None,
    sensitivity: float = 1.0,
    round_infected: Rounding = "up",
) -> FindPlan:
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
    round_infected : str
        How the prevalence becomes whole fish of a known group: "up" is the fewest that reach the prevalence, "down"
        is what printed tables take, which asks for as many fish or more.

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
    The answer is the smallest n whose chance of showing nothing is at most 1 − confidence; ties count as reached. Of a
    large group that is ln(1 − confidence)/ln(1 − prevalence·sensitivity). A known group needs no more fish than a
    large one of the same share infected, as what is caught of it varies less.

    Examples
    --------
    >>> find(0.05, 0.95).fish, find(0.1, 0.95).fish, find(0.2, 0.95).fish
    (59, 29, 14)
    >>> find(0.05, 0.95, population=100).fish
    45
    >>> find(0.05, 0.95, population=33).infected, find(0.05, 0.95, population=33, round_infected="down").infected
    (2, 1)
    >>> find(0.05, 0.95, sensitivity=0.29).fish  # one gill clip of each fish
    206
    """
    check_numbers(prevalence=prevalence, confidence=confidence, population=population, sensitivity=sensitivity)
    asked = prevalence, confidence, sensitivity, round_infected
    return _in_large_group(*asked) if population is None else _in_known_group(population, *asked)


def _in_large_group(prevalence: float, confidence: float, sensitivity: float, round_infected: Rounding) -> FindPlan:
    """The plan for a group so large that what is taken of it changes nothing."""
    needed = _large_group(prevalence * sensitivity, confidence)
    fish = needed if needed <= MOST_FISH else None
    return FindPlan(
        fish=fish,
        method="binomial",
        population=None,
        prevalence=prevalence,
        confidence=confidence,
        sensitivity=sensitivity,
        round_infected=round_infected,
        confidence_reached=1 - _none_seen(prevalence * sensitivity, fish or MOST_FISH),
        fish_needed=needed,
        reason="beyond_reach" if fish is None else "smallest_sample",
        what_would_change=(_seen_code(sensitivity), "known_group", "not_at_random", "fewer_infected"),
    )


def _in_known_group(
    population: int, prevalence: float, confidence: float, sensitivity: float, round_infected: Rounding
) -> FindPlan:
    """The plan for so many fish, of which a whole number is infected."""
    infected, down = (infected_in(population, prevalence, how) for how in (round_infected, "down"))
    fish = _known_group(population, infected, sensitivity, confidence)
    rounded_down = None if down == infected else _known_group(population, down, sensitivity, confidence)
    rounding = () if down == infected else ("rounded_down",)
    return FindPlan(
        fish=fish,
        method="hypergeometric",
        population=population,
        prevalence=prevalence,
        confidence=confidence,
        sensitivity=sensitivity,
        infected=infected,
        round_infected=round_infected,
        fish_rounded_down=rounded_down,
        confidence_reached=group_sensitivity(population, fish or population, infected, sensitivity),
        reason="all_fish_too_few" if fish is None else "smallest_sample",
        what_would_change=(_seen_code(sensitivity), "larger_group", *rounding, "not_at_random", "fewer_infected"),
    )


def _seen_code(sensitivity: float) -> str:
    return "always_recognised" if sensitivity == 1 else "more_preparations"


def infected_in(group: int, prevalence: float, round_infected: str = "up") -> int:
    """Whole number of a group that is not to be missed, at least 1.

    Examples
    --------
    >>> infected_in(33, 0.05), infected_in(33, 0.05, "down"), infected_in(6, 1 / 6), infected_in(100, 0.07)
    (2, 1, 1, 7)
    """
    exact = group * prevalence
    noise = 1e-9 + 1e-12 * exact
    return max(1, math.ceil(exact - noise) if round_infected == "up" else math.floor(exact + noise))


def _none_seen(chance: float, fish: int) -> float:
    """Chance that so many fish of a large group show nothing."""
    return math.exp(fish * math.log1p(-chance)) if chance < 1 else 0.0


def _large_group(chance: float, confidence: float) -> int:
    """Smallest number of fish of a large group, each showing a fluke with this chance."""
    if chance >= 1:
        return 1
    fish = max(1, math.ceil(math.log(1 - confidence) / math.log1p(-chance)) - 1)
    return fish if _none_seen(chance, fish) <= (1 - confidence) * TIE else fish + 1


def _known_group(population: int, infected: int, sensitivity: float, confidence: float) -> int | None:
    """Smallest number of fish of a group of known size; None where not even all serve."""
    most = min(population, _large_group(infected / population * sensitivity, confidence))
    return smallest_sample(lambda n: 1 - group_sensitivity(population, n, infected, sensitivity), 1 - confidence, most)


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
    missed = float(np.sum(chance * (1 - sensitivity) ** caught))
    return min(max(1 - missed, 0.0), 1.0)


def infected_caught(population: int, fish: int, infected: int) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of infected fish the sample may hold, and the hypergeometric chance of each, shape (J,), (J,) [-].

    Notes
    -----
    Each chance follows from the one before by a ratio of whole numbers, and all add to one: no factorial of a large
    number, whose rounding would show, is needed.
    """
    caught = np.arange(max(0, fish + infected - population), min(fish, infected) + 1, dtype=float)
    j = caught[:-1]
    step = (infected - j) * (fish - j) / ((j + 1) * (population - infected - fish + j + 1))
    log_chance = np.concatenate([[0.0], np.cumsum(np.log(step))])
    chance = np.exp(log_chance - log_chance.max())
    return caught, chance / chance.sum()

"""Fish and pass mark when a test can also be wrong about clean fish.

A fluke seen and named is proof, so preparations need none of this; tests that read something else do.

References
----------
Cameron & Baldock 1998 Prev Vet Med 34:1 (imperfect tests, exact).
WOAH Aquatic Code chapter 1.4 (table of sample sizes and permitted false positives).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import bdtr, bdtrc, gammaln, ndtr, xlog1py, xlogy

from burden.sampling.detection import MOST_FISH, TIE, Rounding, infected_caught, infected_in
from burden.sampling.plan import SamplingPlan
from burden.sampling.ranges import check_numbers

__all__ = ["LARGE_GROUP", "PassMarkPlan", "chance_of_at_most", "find_with_false_positives"]

#: from so many fish on a group counts as large, which asks for a few fish more than need be
LARGE_GROUP = 1000


@dataclass(frozen=True, kw_only=True)
class PassMarkPlan(SamplingPlan):
    """Fish to look at, and finds still allowed, when a test can also be wrong about clean fish.

    Parameters
    ----------
    finds_allowed : int or None
        Up to so many positive fish the group passes; None where no plan serves.
    method : str
        binomial (large group) or hypergeometric.
    population, infected : int or None
        Fish in the group, and infected ones that must not pass; None for a large group.
    prevalence, sensitivity, specificity : float
        As given [-].
    confidence : float
        Chance of failing a group infected so, as asked for [-].
    chance_of_passing_infected, chance_of_failing_clean : float or None
        What the plan gets wrong [-].
    """

    finds_allowed: int | None
    method: str
    population: int | None
    infected: int | None
    prevalence: float
    sensitivity: float
    specificity: float
    confidence: float
    chance_of_passing_infected: float | None
    chance_of_failing_clean: float | None


def find_with_false_positives(
    prevalence: float,
    sensitivity: float,
    specificity: float,
    pass_infected: float = 0.05,
    fail_clean: float = 0.05,
    population: int | None = None,
    round_infected: Rounding = "up",
) -> PassMarkPlan:
    """How many fish, and how many positives to allow, with a test that errs both ways.

    Parameters
    ----------
    prevalence : float
        Share infected that must not pass [-].
    sensitivity, specificity : float
        Of the test; a fluke that is seen and named is proof, specificity 1 [-].
    pass_infected, fail_clean : float
        Largest chance of each error [-].
    population : int, optional
        Fish in the group; from 1,000 on, and when not given, the group counts as large.
    round_infected : str
        As in `find`.

    Returns
    -------
    PassMarkPlan
        The fewest fish for which some pass mark keeps both errors; none where positives are no commoner among
        infected groups, or where no plan of up to 50,000 fish serves.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> plan = find_with_false_positives(0.02, 1.0, 0.99)
    >>> plan.fish, plan.finds_allowed
    (524, 9)
    >>> plan = find_with_false_positives(0.1, 0.9, 0.98, population=200)
    >>> plan.fish, plan.finds_allowed
    (65, 3)
    """
    test: dict[str, Any] = {"prevalence": prevalence, "sensitivity": sensitivity, "specificity": specificity}
    check_numbers(pass_infected=pass_infected, fail_clean=fail_clean, population=population, **test)
    small = population is not None and population < LARGE_GROUP
    infected = infected_in(population, prevalence, round_infected) if population is not None and small else None
    method = "hypergeometric" if small else "binomial"
    group: dict[str, Any] = {"population": population, "infected": infected, "method": method}
    found: _Found | None = None
    reason = "test_cannot_tell"
    if sensitivity + specificity > 1:
        if population is not None and infected is not None:
            found = _of_group(population, infected, sensitivity, 1 - specificity, pass_infected, fail_clean)
        else:
            found = _of_large_group(prevalence, sensitivity, 1 - specificity, pass_infected, fail_clean)
        reason = "no_sample_keeps_both" if found is None else "keeps_both"
    fish, allowed, errors = (None, None, (None, None)) if found is None else found
    return PassMarkPlan(
        fish=fish,
        finds_allowed=allowed,
        confidence=1 - pass_infected,
        chance_of_passing_infected=errors[0],
        chance_of_failing_clean=errors[1],
        reason=reason,
        what_would_change=("second_look", "not_at_random"),
        **group,
        **test,
    )


_Found = tuple[int, int, tuple[float, float]]
"""Fish, finds allowed, and the chances of passing an infected group and of failing a clean one [-]"""


def _of_large_group(
    prevalence: float, sensitivity: float, clean: float, pass_infected: float, fail_clean: float
) -> _Found | None:
    """Fewest fish of a large group; `clean` is the chance that a clean fish is positive."""
    positive = prevalence * sensitivity + (1 - prevalence) * clean
    for first in range(1, MOST_FISH, 2000):
        n = np.arange(first, first + 2000)
        mark = _pass_mark(n, clean, fail_clean)
        good = np.flatnonzero(bdtr(mark, n, positive) <= pass_infected * TIE)
        if good.size:
            fish, allowed = int(n[good[0]]), int(mark[good[0]])
            return fish, allowed, (float(bdtr(allowed, fish, positive)), float(bdtrc(allowed, fish, clean)))
    return None


def _of_group(
    population: int, infected: int, sensitivity: float, clean: float, pass_infected: float, fail_clean: float
) -> _Found | None:
    """Fewest fish of a small group; the pass mark rises by steps, so numbers are tried one by one."""
    n = np.arange(1, population + 1)
    marks = _pass_mark(n, clean, fail_clean)
    share = infected / population
    positive = share * sensitivity + (1 - share) * clean
    between = (sensitivity - clean) ** 2 * share * (1 - share) * (n - 1) / max(population - 1, 1)
    sd = np.sqrt(np.maximum(n * (positive * (1 - positive) - between), 1e-12))
    about = np.flatnonzero(ndtr((marks + 0.5 - n * positive) / sd) <= pass_infected)
    # far below the size that the normal curve gives nothing serves; a group where that size is small is tried in full
    likely = int(n[about[0]]) if about.size else population
    for fish in range(max(int(0.8 * likely), 1) if likely > 60 else 1, population + 1):
        allowed = int(marks[fish - 1])
        passed = chance_of_at_most(allowed, population, fish, infected, sensitivity, 1 - clean)
        if passed <= pass_infected * TIE:
            return fish, allowed, (passed, float(bdtrc(allowed, fish, clean)))
    return None


def _pass_mark(n: np.ndarray, clean: float, fail_clean: float) -> np.ndarray:
    """Smallest mark that a clean group of n tests exceeds with at most `fail_clean` chance."""
    # the median is never below floor(n·clean), so the mark for less than one half is not either; the first bound of
    # the search is where a chance of a millionth lies, and is raised where that is not enough
    low = np.floor(n * clean).astype(int) - 1
    high = np.minimum(n, np.ceil(n * clean + 5 * np.sqrt(n * clean * (1 - clean)) + 12).astype(int))
    while (short := (high < n) & (bdtrc(high, n, clean) > fail_clean * TIE)).any():
        high = np.where(short, np.minimum(2 * high, n), high)
    while (high - low > 1).any():
        middle = (low + high) // 2
        serves = (middle >= n) | (bdtrc(np.maximum(middle, 0), n, clean) <= fail_clean * TIE)
        serves &= middle >= 0
        low, high = np.where(serves, low, middle), np.where(serves, middle, high)
    return high


def chance_of_at_most(
    finds: int,
    population: int,
    fish: int,
    infected: int,
    sensitivity: float = 1.0,
    specificity: float = 1.0,
) -> float:
    """Chance of at most so many positive fish in a sample from a finite group, both errors allowed.

    Parameters
    ----------
    finds, population, fish, infected : int
        Positive fish, fish in the group, fish sampled, fish infected.
    sensitivity, specificity : float
        Of the test [-].

    Returns
    -------
    float
        [-]

    Examples
    --------
    >>> round(chance_of_at_most(2, 100, 30, 10, 0.9, 0.98), 8)
    0.32684344
    """
    caught, chance = infected_caught(population, fish, infected)
    kept = chance > 1e-14
    caught, chance = caught[kept], chance[kept]
    true = np.arange(finds + 1)[:, None]
    of_infected = np.where(true <= caught, np.exp(_log_binomial(np.minimum(true, caught), caught, sensitivity)), 0.0)
    # of so many clean fish no more than all can be positive: beyond that bdtr knows no answer
    of_clean = bdtr(np.minimum(finds - true, fish - caught), (fish - caught).astype(int), 1 - specificity)
    return float(min(chance @ (of_infected * of_clean).sum(0), 1.0))


def _log_binomial(x: np.ndarray, n: np.ndarray, p: float) -> np.ndarray:
    ways = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    return ways + xlogy(x, p) + xlog1py(n - x, -p)

"""Fish and pass mark when a test can also be wrong about clean fish.

A fluke seen and named is proof, so preparations need none of this; tests that read something else do.

References
----------
Cameron & Baldock 1998 Prev Vet Med 34:1 (imperfect tests, exact).
WOAH Aquatic Code chapter 1.4 (table of sample sizes and permitted false positives).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr, bdtrc, xlog1py, xlogy

from burden.sampling.detection import MOST_FISH, TIE, infected_caught, log_choose
from burden.sampling.plan import AT_RANDOM, SamplingPlan, check_numbers, percent

__all__ = ["PassMarkPlan", "chance_of_at_most", "find_with_false_positives"]


@dataclass(frozen=True, kw_only=True)
class PassMarkPlan(SamplingPlan):
    """Fish to look at, and finds still allowed, when a test can also be wrong about clean fish.

    Parameters
    ----------
    finds_allowed : int
        Up to so many positive fish the group passes.
    prevalence, sensitivity, specificity : float
        As given [-].
    chance_of_passing_infected, chance_of_failing_clean : float
        What the plan gets wrong [-].
    """

    finds_allowed: int
    prevalence: float
    sensitivity: float
    specificity: float
    chance_of_passing_infected: float
    chance_of_failing_clean: float

    def headline(self) -> str:
        """Return fish and pass mark in one line."""
        return f"Look at {self.fish} fish; up to {self.finds_allowed} positive still pass."


def find_with_false_positives(
    prevalence: float,
    sensitivity: float,
    specificity: float,
    pass_infected: float = 0.05,
    fail_clean: float = 0.05,
) -> PassMarkPlan:
    """How many fish, and how many positives to allow, with a test that errs both ways, in a large group.

    Parameters
    ----------
    prevalence : float
        Share infected that must not pass [-].
    sensitivity, specificity : float
        Of the test; a fluke that is seen and named is proof, specificity 1 [-].
    pass_infected, fail_clean : float
        Largest chance of each error [-].

    Returns
    -------
    PassMarkPlan
        The fewest fish for which some pass mark keeps both errors.

    Raises
    ------
    InputError
        Where positives are no commoner among infected groups, or no plan up to 50,000 fish serves.

    Examples
    --------
    >>> plan = find_with_false_positives(0.02, 1.0, 0.99)
    >>> plan.fish, plan.finds_allowed
    (524, 9)
    """
    clean, infected = 1 - specificity, prevalence * sensitivity + (1 - prevalence) * (1 - specificity)
    usable = 0 < prevalence < 1 and 0 <= clean < infected <= 1
    fix = "Prevalence between 0 and 1, sensitivity + specificity above 1."
    errors = [("--pass-infected", pass_infected), ("--fail-clean", fail_clean)]
    check_numbers(
        [
            ("--sensitivity", sensitivity, usable, "a test that tells infected from clean", fix),
            *((name, v, 0 < v < 0.5, "between 0 and 0.5", "0.05 is usual.") for name, v in errors),
        ]
    )
    for first in range(1, MOST_FISH, 2000):
        n = np.arange(first, first + 2000)
        mark = _pass_mark(n, clean, fail_clean)
        good = np.flatnonzero(bdtr(mark, n, infected) <= pass_infected * TIE)
        if good.size:
            fish, allowed = int(n[good[0]]), int(mark[good[0]])
            return _pass_mark_plan(fish, allowed, prevalence, sensitivity, specificity, clean, infected)
    check_numbers([("--prevalence", prevalence, False, "a plan of 50,000 fish at most", "Raise it.")])
    raise AssertionError  # pragma: no cover


def _pass_mark(n: np.ndarray, clean: float, fail_clean: float) -> np.ndarray:
    """Smallest mark that a clean group of n tests exceeds with at most `fail_clean` chance."""
    # the median is never below floor(n·clean), so the mark for less than one half is not either
    mark = np.floor(n * clean).astype(int)
    while (over := (mark < n) & (bdtrc(mark, n, clean) > fail_clean * TIE)).any():
        mark = mark + over
    return mark


def _pass_mark_plan(
    fish: int,
    allowed: int,
    prevalence: float,
    sensitivity: float,
    specificity: float,
    clean: float,
    infected: float,
) -> PassMarkPlan:
    missed, wronged = float(bdtr(allowed, fish, infected)), float(bdtrc(allowed, fish, clean))
    return PassMarkPlan(
        fish=fish,
        finds_allowed=allowed,
        prevalence=prevalence,
        sensitivity=sensitivity,
        specificity=specificity,
        chance_of_passing_infected=missed,
        chance_of_failing_clean=wronged,
        reason=(
            f"A group with {percent(prevalence)} infected passes with {percent(missed)} chance, "
            f"a clean one fails with {percent(wronged)} chance; no smaller sample keeps both."
        ),
        what_would_change=(
            "a second look at each positive fish raises the specificity and cuts the sample most",
            AT_RANDOM,
        ),
    )


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
    total = 0.0
    for j, weight in zip(caught, chance, strict=True):
        true, clean = np.arange(min(int(j), finds) + 1), fish - int(j)
        pmf = np.exp(_log_binomial(true, int(j), sensitivity))
        # of so many clean fish no more than all can be positive: beyond that bdtr knows no answer
        total += weight * float(pmf @ bdtr(np.minimum(finds - true, clean), clean, 1 - specificity))
    return float(min(total, 1.0))


def _log_binomial(x: np.ndarray, n: int, p: float) -> np.ndarray:
    return log_choose(n, x) + xlogy(x, p) + xlog1py(n - x, -p)

"""How sure of absence clean rounds of sampling make one, while new fish come in.

References
----------
Martin, Cameron & Greiner 2007 Prev Vet Med 79:71 (freedom after repeated negative rounds).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from burden.sampling.detection import FindPlan
from burden.sampling.ranges import check_numbers
from burden.sampling.two_stage import PondsPlan
from burden.utils.results import Result, number, weighted_quantile

__all__ = ["AbsenceAfterRounds", "absent_after_clean_rounds", "introduction_probability", "with_clean_rounds"]

#: probability of absence that counts as sure enough to be said
_TARGET = 0.95


def introduction_probability(
    new_fish: int, share_infected: ArrayLike, passed_quarantine: ArrayLike = 1.0
) -> np.ndarray:
    """Chance that new fish bring flukes.

    Parameters
    ----------
    new_fish : int
        Fish brought in between two rounds.
    share_infected : array_like
        Chance that one of them is infected when bought [-].
    passed_quarantine : array_like
        Chance that an infected one still is after being held and treated [-].

    Returns
    -------
    numpy.ndarray
        [-]

    Examples
    --------
    >>> float(introduction_probability(10, 0.02).round(4))
    0.1829
    """
    carried = np.asarray(share_infected, float) * np.asarray(passed_quarantine, float)
    return -np.expm1(new_fish * np.log1p(-carried))


@dataclass(frozen=True, kw_only=True)
class AbsenceAfterRounds(Result):
    """How sure of absence each clean round makes one.

    Parameters
    ----------
    rounds : tuple of mapping
        Per round: absent_before, absent_after, and low, high of the latter over the draws [-].
    rounds_to_target : int or None
        Clean rounds until `target` is reached; None if never within those asked for.
    target : float
        Probability of absence aimed at [-].
    ceiling : float
        Where endless clean rounds settle [-].
    introduction : float
        Chance that flukes come in between two rounds [-].
    """

    rounds: tuple[Mapping[str, Any], ...]
    rounds_to_target: int | None
    target: float
    ceiling: float
    introduction: float

    @property
    def reason(self) -> str:
        """Why, as a code: reached, more_rounds, or new_fish where no number of rounds will do."""
        if self.rounds_to_target is not None:
            return "reached"
        return "new_fish" if self.ceiling < self.target else "more_rounds"

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "rounds_to_target": self.rounds_to_target,
            "target": self.target,
            "ceiling": number(self.ceiling),
            "introduction": self.introduction,
            "rounds": [dict(row) for row in self.rounds],
            "reason": self.brief(),
            "reason_code": self.reason,
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a round."""
        return [dict(row) for row in self.rounds]


def absent_after_clean_rounds(
    prior_absent: float,
    round_sensitivity: ArrayLike,
    introduction: float = 0.0,
    rounds: int = 5,
    target: float = _TARGET,
) -> AbsenceAfterRounds:
    """Probability that flukes are absent after each clean round of sampling.

    Parameters
    ----------
    prior_absent : float
        Probability of absence before the first round [-].
    round_sensitivity : array_like
        Chance that a round shows a fluke if there are any, scalar or draws [-].
    introduction : float
        Chance that flukes come in between two rounds, as from `introduction_probability` [-].
    rounds : int
        Rounds, all clean.
    target : float
        Probability of absence aimed at [-].

    Returns
    -------
    AbsenceAfterRounds

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    A clean round weighs presence by 1 − sensitivity; between rounds absence is lost with the chance of
    introduction. With draws, each keeps its own share of presence: a draw with poor sensitivity gains weight
    with every clean round, which averaging the sensitivity first would hide.

    Examples
    --------
    >>> result = absent_after_clean_rounds(0.5, 0.6, introduction=0.02)
    >>> [round(row["absent_after"], 4) for row in result.rounds]
    [0.7143, 0.8537, 0.9275, 0.9615, 0.9761]
    """
    check_numbers(
        prior_absent=prior_absent, round_sensitivity=round_sensitivity, introduction=introduction, rounds=rounds
    )
    seen = np.atleast_1d(np.asarray(round_sensitivity, float))
    table = _walk(prior_absent, seen, introduction, rounds)
    return AbsenceAfterRounds(
        rounds=table,
        rounds_to_target=next((row["round"] for row in table if row["absent_after"] >= target), None),
        target=target,
        ceiling=_settled(seen, introduction),
        introduction=introduction,
    )


def _walk(prior: float, seen: np.ndarray, introduction: float, rounds: int) -> tuple[dict[str, Any], ...]:
    """Follow absence (one number) and presence (one a draw), each draw also on its own for the spread."""
    absent, present, alone = prior, np.full(seen.shape, (1 - prior) / seen.size), np.full(seen.shape, prior)
    table = []
    for number_of_round in range(1, rounds + 1):
        before = absent
        absent, present = _clean_round(absent, present, seen)
        alone = alone / (alone + (1 - alone) * (1 - seen))
        low, high = weighted_quantile(alone, [0.05, 0.95])
        after = {"absent_after": float(absent), "low": float(low), "high": float(high)}
        table.append({"round": number_of_round, "absent_before": float(before), **after})
        present = present + absent * introduction / seen.size
        absent, alone = absent * (1 - introduction), alone * (1 - introduction)
    return tuple(table)


def _clean_round(absent: float, present: np.ndarray, seen: np.ndarray) -> tuple[float, np.ndarray]:
    left = present * (1 - seen)
    total = absent + left.sum()
    return absent / total, left / total


def _settled(seen: np.ndarray, introduction: float) -> float:
    """Absence after rounds without end.

    Where the state repeats but for a factor, absence shrinks by 1 − i a round and each draw's presence by 1 − s with
    what comes in, so its share after a clean round is i(1 − s)/(s − i) of absence. A draw that misses more often than
    flukes come in outlasts absence.
    """
    if introduction == 0:
        return 1.0
    if seen.min() <= introduction:
        return 0.0
    return float(1 / (1 + np.mean(introduction * (1 - seen) / (seen - introduction))))


def with_clean_rounds(
    plan: FindPlan | PondsPlan,
    rounds: int,
    new_fish_a_year: int = 0,
    new_infected: float = 0.1,
    rounds_a_year: float = 4.0,
    prior_absent: float = 0.5,
) -> FindPlan | PondsPlan:
    """Add to a plan how sure of absence each clean round of it makes one.

    Parameters
    ----------
    plan : FindPlan or PondsPlan
        What is looked at in every round.
    rounds : int
        Rounds, all clean.
    new_fish_a_year : int
        Fish that join in a year.
    new_infected : float
        Chance that one of them carries flukes when it joins: an assumption, give your own [-].
    rounds_a_year : float
        [1/yr]
    prior_absent : float
        Chance of absence before the first round; 0.5 knows nothing [-].

    Returns
    -------
    FindPlan or PondsPlan
        With `clean_rounds`; a plan that no number of fish serves is looked at in full.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> from burden.sampling import find
    >>> plan = with_clean_rounds(find(0.05, 0.95), 3, new_fish_a_year=8, new_infected=0.02)
    >>> [round(row["absent_after"], 3) for row in plan.clean_rounds.rounds]
    [0.954, 0.996, 0.998]
    """
    check_numbers(
        rounds=rounds,
        rounds_a_year=rounds_a_year,
        new_fish_a_year=new_fish_a_year,
        new_infected=new_infected,
        prior_absent=prior_absent,
    )
    # a plan that hardly any infected group fails tells nothing, and that too is a number
    seen = max(plan.confidence_reached, 1e-12)
    comes = float(introduction_probability(new_fish_a_year, new_infected)) if new_fish_a_year else 0.0
    between = 1 - (1 - comes) ** (1 / rounds_a_year)
    found = absent_after_clean_rounds(prior_absent, seen, between, rounds)
    return replace(plan, clean_rounds=found)

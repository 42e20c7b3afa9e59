"""Several ponds, and how sure of absence clean rounds make one.

References
----------
Cameron & Baldock 1998 Prev Vet Med 34:19 (two-stage sampling).
Martin, Cameron & Greiner 2007 Prev Vet Med 79:71 (freedom after repeated negative rounds).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from burden.sampling.detection import find, group_sensitivity
from burden.sampling.plan import AT_RANDOM, SamplingPlan, check_numbers, percent, rounds_in_words
from burden.utils.results import Result, number, weighted_quantile

__all__ = [
    "AbsenceAfterRounds",
    "PondsPlan",
    "absent_after_clean_rounds",
    "find_in_ponds",
    "introduction_probability",
]

_SHOWN = 5  # choices printed besides the best
_MOST_PER_POND = 1000  # no larger sample of one pond is considered


@dataclass(frozen=True, kw_only=True)
class PondsPlan(SamplingPlan):
    """How many ponds, and how many fish of each.

    Parameters
    ----------
    ponds_sampled, fish_per_pond : int or None
        The choice with the fewest fish in all.
    ponds : int
        Ponds on the farm.
    pond_sensitivity : float or None
        Chance that an infected pond is recognised [-].
    pond_prevalence, prevalence, confidence, sensitivity : float
        As given [-].
    confidence_reached : float
        With this plan; with every pond, and as many fish of each as there are or 1,000, where `fish` is None [-].
    options : tuple of mapping
        Other choices near the best.
    clean_rounds : AbsenceAfterRounds or None
        Absence after each clean round, where rounds were asked for.
    """

    ponds_sampled: int | None
    fish_per_pond: int | None
    ponds: int
    pond_sensitivity: float | None
    pond_prevalence: float
    prevalence: float
    confidence: float
    sensitivity: float
    confidence_reached: float
    options: tuple[Mapping[str, Any], ...]
    clean_rounds: Result | None = None

    def text(self) -> str:
        """Return the plan, and what its clean rounds tell where they were asked for."""
        return super().text() + rounds_in_words(self.clean_rounds)

    def headline(self) -> str:
        """Return ponds and fish in one line."""
        if self.fish is None:
            return f"No sample of these {self.ponds} ponds reaches {percent(self.confidence)} confidence."
        return f"Look at {self.fish_per_pond} fish in each of {self.ponds_sampled} ponds, {self.fish} in all."

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices, one a row, fewest fish first."""
        return [dict(option) for option in self.options]


def find_in_ponds(
    ponds: int,
    pond_prevalence: float,
    prevalence: float,
    confidence: float,
    fish_in_pond: int | None = None,
    sensitivity: float = 1.0,
) -> PondsPlan:
    """How many ponds and how many fish of each, so that flukes on the farm are not missed.

    Parameters
    ----------
    ponds : int
        Ponds on the farm.
    pond_prevalence, prevalence : float
        Share of ponds infected, and of fish in an infected pond, that must not be missed [-].
    confidence : float
        Chance of at least one find on the farm [-].
    fish_in_pond : int, optional
        Fish in each pond; large when not given.
    sensitivity : float
        Chance that what is taken from one infected fish shows a fluke [-].

    Returns
    -------
    PondsPlan
        The choice with the fewest fish in all; on a tie the fewer ponds.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> plan = find_in_ponds(20, 0.2, 0.1, 0.95)
    >>> plan.ponds_sampled, plan.fish_per_pond, plan.fish
    (19, 8, 152)
    """
    _check_ponds(ponds, pond_prevalence)
    choices = _splits(ponds, pond_prevalence, prevalence, confidence, fish_in_pond, sensitivity)
    options = tuple(
        {"fish": all_fish, "ponds_sampled": n, "fish_per_pond": fish, "pond_sensitivity": seen}
        for all_fish, n, fish, seen in choices[: _SHOWN + 1]
    )
    best = choices[0] if choices else (None, None, None, None)
    all_there_are = fish_in_pond or _MOST_PER_POND, prevalence, fish_in_pond, sensitivity
    looked = (ponds, _pond_sensitivity(*all_there_are)) if best[1] is None else (best[1], best[3])
    return PondsPlan(
        fish=best[0],
        ponds_sampled=best[1],
        fish_per_pond=best[2],
        ponds=ponds,
        pond_sensitivity=best[3],
        pond_prevalence=pond_prevalence,
        prevalence=prevalence,
        confidence=confidence,
        sensitivity=sensitivity,
        confidence_reached=group_sensitivity(ponds, looked[0], _infected(ponds, pond_prevalence), min(looked[1], 1.0)),
        options=options,
        reason=_reason_of_ponds(best, ponds, pond_prevalence, prevalence, confidence),
        what_would_change=(
            "shared water, nets or staff make ponds alike: then fewer ponds and more fish of each serve",
            "a pond with trouble or new arrivals is more likely infected and should be among those sampled",
            AT_RANDOM,
        ),
    )


def _splits(
    ponds: int,
    pond_prevalence: float,
    prevalence: float,
    confidence: float,
    fish_in_pond: int | None,
    sensitivity: float,
) -> list[tuple[int, int, int, float]]:
    """Fish in all, ponds, fish a pond and pond sensitivity of every split that serves, fewest fish first."""
    most = find(prevalence, 0.999, fish_in_pond, sensitivity).fish or fish_in_pond or _MOST_PER_POND
    choices = []
    for fish in range(1, min(most, _MOST_PER_POND) + 1):
        seen = _pond_sensitivity(fish, prevalence, fish_in_pond, sensitivity)
        sampled = find(pond_prevalence, confidence, ponds, min(seen, 1.0)).fish
        if sampled is not None:
            choices.append((sampled * fish, sampled, fish, seen))
    return sorted(choices)


def _check_ponds(ponds: int, pond_prevalence: float) -> None:
    share = "a share above 0 and below 1"
    check_numbers(
        [
            ("--ponds", ponds, ponds >= 1, "1 or more", "Count the ponds that share fish or water."),
            ("--pond-prevalence", pond_prevalence, 0 < pond_prevalence < 1, share, "For 20 % write 0.2."),
        ]
    )


def _pond_sensitivity(fish: int, prevalence: float, fish_in_pond: int | None, sensitivity: float) -> float:
    if fish_in_pond is None:
        return 1 - (1 - prevalence * sensitivity) ** fish
    return group_sensitivity(fish_in_pond, fish, _infected(fish_in_pond, prevalence), sensitivity)


def _infected(group: int, prevalence: float) -> int:
    """Return the whole number infected that is not to be missed, at least 1, as `find` takes it."""
    return max(1, int(group * prevalence + 1e-9))


def _reason_of_ponds(
    best: tuple[Any, ...], ponds: int, pond_prevalence: float, prevalence: float, confidence: float
) -> str:
    asked = (
        f"{percent(pond_prevalence)} of {ponds} ponds infected, in them {percent(prevalence)} of fish, must be "
        f"found with {percent(confidence)} chance."
    )
    if best[0] is None:
        return f"{asked} Even with many fish of every pond it is not: take more of each fish."
    return (
        f"{asked} {best[2]} fish recognise an infected pond with {percent(best[3])} chance; no other split "
        "between ponds and fish needs fewer fish in all."
    )


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
    reason : str
        Why, in words.
    what_would_change : tuple of str
        What would change it.
    """

    rounds: tuple[Mapping[str, Any], ...]
    rounds_to_target: int | None
    target: float
    ceiling: float
    reason: str
    what_would_change: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "rounds_to_target": self.rounds_to_target,
            "target": self.target,
            "ceiling": number(self.ceiling),
            "rounds": [dict(row) for row in self.rounds],
            "reason": self.reason,
            "what_would_change": list(self.what_would_change),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a round."""
        return [dict(row) for row in self.rounds]

    def text(self) -> str:
        """Return the last round, the reason and what would change it."""
        last = self.rounds[-1]
        spread = f" ({percent(last['low'])} to {percent(last['high'])})" if last["high"] - last["low"] > 1e-9 else ""
        rounds = "1 clean round" if last["round"] == 1 else f"{last['round']} clean rounds"
        head = f"After {rounds} flukes are absent with {percent(last['absent_after'])} probability{spread}."
        change = "\n".join(f"- {item}" for item in self.what_would_change)
        return f"{head}\n{self.reason}\nWhat would change it:\n{change}"


def absent_after_clean_rounds(
    prior_absent: float,
    round_sensitivity: ArrayLike,
    introduction: float = 0.0,
    rounds: int = 5,
    target: float = 0.95,
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
    seen = np.atleast_1d(np.asarray(round_sensitivity, float))
    _check_rounds(prior_absent, seen, introduction, rounds)
    table = _walk(prior_absent, seen, introduction, rounds)
    reached = next((row["round"] for row in table if row["absent_after"] >= target), None)
    ceiling = _settled(prior_absent, seen, introduction)
    return AbsenceAfterRounds(
        rounds=table,
        rounds_to_target=reached,
        target=target,
        ceiling=ceiling,
        reason=_reason_of_rounds(reached, target, ceiling, introduction),
        what_would_change=(
            "more fish, or more of each fish, a round",
            "a longer hold and a dose for new fish before they join",
            "flukes that come by water, birds or nets are not in the chance of introduction",
        ),
    )


def _check_rounds(prior: float, seen: np.ndarray, introduction: float, rounds: int) -> None:
    good = bool(np.all((seen > 0) & (seen <= 1)))
    share = "above 0, at most 1"
    check_numbers(
        [
            ("--prior-absent", prior, 0 < prior < 1, "between 0 and 1", "0.5 if nothing is known."),
            ("--round-sensitivity", seen, good, share, "Take it from the plan of the round."),
            ("--introduction", introduction, 0 <= introduction < 1, "0 to below 1", "0 if closed."),
            ("--rounds", rounds, rounds >= 1, "1 or more", "Ask for one round at least."),
        ]
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


def _settled(prior: float, seen: np.ndarray, introduction: float) -> float:
    """Absence after rounds without end: followed until it stands still."""
    absent, present, last = prior, np.full(seen.shape, (1 - prior) / seen.size), -1.0
    while abs(absent - last) > 1e-12:
        last = absent
        absent, present = _clean_round(absent, present, seen)
        present = present + absent * introduction / seen.size
        absent = absent * (1 - introduction)
    return _clean_round(absent, present, seen)[0]


def _reason_of_rounds(reached: int | None, target: float, ceiling: float, introduction: float) -> str:
    if reached is not None:
        rounds = "One clean round reaches" if reached == 1 else f"{reached} clean rounds in a row reach"
        return f"{rounds} {percent(target)}."
    if ceiling < target:
        return (
            f"New fish bring flukes with {percent(introduction)} chance between rounds: however many rounds are "
            f"clean, the probability stays near {percent(ceiling)}, below {percent(target)}."
        )
    return f"More rounds are needed to reach {percent(target)}."

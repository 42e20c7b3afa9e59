"""How many ponds of a farm, and how many fish of each.

References
----------
Cameron & Baldock 1998 Prev Vet Med 34:19 (two-stage sampling).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from burden.sampling.detection import Rounding, find, group_sensitivity, infected_in
from burden.sampling.plan import SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.utils.results import Result

__all__ = ["PondsPlan", "find_in_ponds"]

_SHOWN = 5  # choices given besides the best
_SPLIT = ("fish", "ponds_sampled", "fish_per_pond", "pond_sensitivity", "work")  # what a choice says
_MOST_PER_POND = 1000  # no larger sample of one pond is considered


@dataclass(frozen=True, kw_only=True)
class PondsPlan(SamplingPlan):
    """How many ponds, and how many fish of each.

    Parameters
    ----------
    ponds_sampled, fish_per_pond : int or None
        The choice with the least work.
    work : float or None
        Its fish and, at `pond_cost` each, its ponds [fish].
    ponds : int
        Ponds on the farm.
    pond_cost : float
        Work of going to one pond, as so many fish looked at [fish].
    pond_sensitivity : float or None
        Chance that an infected pond is recognised [-].
    pond_prevalence, prevalence, confidence, sensitivity : float
        As given [-].
    confidence_reached : float
        With this plan; with every pond, and as many fish of each as there are or 1,000, where `fish` is None [-].
    options : tuple of mapping
        The best and other choices near it.
    clean_rounds : AbsenceAfterRounds or None
        Absence after each clean round, where rounds were asked for.
    """

    ponds_sampled: int | None
    fish_per_pond: int | None
    work: float | None
    ponds: int
    pond_cost: float
    pond_sensitivity: float | None
    pond_prevalence: float
    prevalence: float
    confidence: float
    sensitivity: float
    confidence_reached: float
    options: tuple[Mapping[str, Any], ...]
    clean_rounds: Result | None = None

    def rows(self) -> list[dict[str, Any]]:
        """Return the choices, one a row, least work first."""
        return [dict(option) for option in self.options]


@dataclass(frozen=True)
class _Farm:
    """What is asked of a farm, and how well one pond of it is seen."""

    ponds: int
    pond_prevalence: float
    prevalence: float
    confidence: float
    fish_in_pond: int | None
    sensitivity: float
    round_infected: Rounding

    def pond_seen(self, fish: int) -> float:
        """Chance that so many fish show an infected pond [-]."""
        if self.fish_in_pond is None:
            return 1 - (1 - self.prevalence * self.sensitivity) ** fish
        infected = infected_in(self.fish_in_pond, self.prevalence, self.round_infected)
        return group_sensitivity(self.fish_in_pond, fish, infected, self.sensitivity)

    def seen(self, ponds: int, pond_seen: float) -> float:
        """Chance that so many ponds show an infected farm [-]."""
        infected = infected_in(self.ponds, self.pond_prevalence, self.round_infected)
        return group_sensitivity(self.ponds, ponds, infected, pond_seen)

    def most_per_pond(self) -> int:
        """Fish of one pond beyond which a further one tells nothing new."""
        sure = find(self.prevalence, 0.999, self.fish_in_pond, self.sensitivity, self.round_infected).fish
        return min(sure or self.fish_in_pond or _MOST_PER_POND, _MOST_PER_POND)


def find_in_ponds(
    ponds: int,
    pond_prevalence: float,
    prevalence: float,
    confidence: float,
    fish_in_pond: int | None = None,
    sensitivity: float = 1.0,
    pond_cost: float = 0.0,
    round_infected: Rounding = "up",
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
    pond_cost : float
        Work of going to one pond, netting and setting up, as so many fish looked at [fish].
    round_infected : str
        As in `find`, for ponds and for fish.

    Returns
    -------
    PondsPlan
        The choice with the least work; on a tie the fewer ponds.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> plan = find_in_ponds(20, 0.2, 0.1, 0.95)
    >>> plan.ponds_sampled, plan.fish_per_pond, plan.fish
    (19, 8, 152)
    >>> plan = find_in_ponds(20, 0.2, 0.1, 0.95, pond_cost=10)
    >>> plan.ponds_sampled, plan.fish_per_pond, plan.fish
    (15, 11, 165)
    """
    asked: dict[str, Any] = {"pond_prevalence": pond_prevalence, "prevalence": prevalence, "confidence": confidence}
    check_numbers(ponds=ponds, population=fish_in_pond, sensitivity=sensitivity, pond_cost=pond_cost, **asked)
    farm = _Farm(ponds, pond_prevalence, prevalence, confidence, fish_in_pond, sensitivity, round_infected)
    options = tuple(sorted(_splits(farm, pond_cost), key=lambda o: (o["work"], o["ponds_sampled"])))
    best: Mapping[str, Any] = options[0] if options else dict.fromkeys(_SPLIT)
    all_looked_at = farm.seen(ponds, farm.pond_seen(min(fish_in_pond or _MOST_PER_POND, _MOST_PER_POND)))
    return PondsPlan(
        fish=best["fish"],
        ponds_sampled=best["ponds_sampled"],
        fish_per_pond=best["fish_per_pond"],
        work=best["work"],
        ponds=ponds,
        pond_cost=pond_cost,
        pond_sensitivity=best["pond_sensitivity"],
        sensitivity=sensitivity,
        confidence_reached=farm.seen(best["ponds_sampled"], best["pond_sensitivity"]) if options else all_looked_at,
        options=options[: _SHOWN + 1],
        reason="least_work" if options else "all_ponds_too_few",
        what_would_change=("shared_water", "suspect_ponds", *(() if pond_cost else ("pond_cost",)), "not_at_random"),
        **asked,
    )


def _splits(farm: _Farm, pond_cost: float) -> list[dict[str, Any]]:
    """Every number of fish a pond that serves, with the ponds it takes."""
    choices = []
    for fish in range(1, farm.most_per_pond() + 1):
        seen = farm.pond_seen(fish)
        # the share of ponds, each recognised with the chance `seen`, is a prevalence and a sensitivity again
        sampled = find(farm.pond_prevalence, farm.confidence, farm.ponds, max(seen, 1e-3), farm.round_infected).fish
        if sampled is not None:
            choices.append(
                {
                    "fish": sampled * fish,
                    "ponds_sampled": sampled,
                    "fish_per_pond": fish,
                    "pond_sensitivity": seen,
                    "work": sampled * (fish + pond_cost),
                }
            )
    return choices

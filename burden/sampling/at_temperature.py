"""Rechecks and holds of a parasite set at a temperature: windows and look are drawn, then the plan is made."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from burden.case import Preparation
from burden.evidence import ParasiteSet, load_agent, load_parasite
from burden.inference.estimate import draw_seen, share_examined
from burden.model.lifecycle.transitions import draw_parameters
from burden.model.temperature import Temperature
from burden.model.windows import Windows as DoseWindows
from burden.model.windows import windows_after
from burden.sampling.burden_threshold import Look
from burden.sampling.follow_up import ArrivalsPlan, DevelopmentTimes, RecheckPlan, arrivals, recheck
from burden.treatment.bath import bath_effect
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.errors import CannotAnswerError, InputError, Problem

__all__ = ["Waters", "arrivals_at", "recheck_at", "sample_windows"]


@dataclass(frozen=True)
class Waters:
    """Which flukes, in which water, on which fish, and how they are looked at.

    Parameters
    ----------
    parasite : str
        Parasite set.
    temperature_c : float
        Constant water temperature [°C].
    weight_g : float
        Of a fish; a clip of so many filaments is a smaller share of larger gills [g].
    preparations : int
        Of each live fish: gill clips, or skin scrapes where the set lives on the skin.
    fraction_examined : float, optional
        Share of the site one preparation shows; drawn from method and weight when not given [-].
    k : float, optional
        Aggregation; drawn as the set has it when not given [-].
    draws, seed : int
        Number of draws and seed.
    """

    parasite: str
    temperature_c: float
    weight_g: float = 400.0
    preparations: int = 3
    fraction_examined: float | None = None
    k: float | None = None
    draws: int = 500
    seed: int = 1

    def look(self, evidence: ParasiteSet) -> Look:
        """Draw what the preparations of one fish show."""
        seen = draw_seen(evidence, self.draws, self.seed)
        # of no fish and no day in particular: only site and weight set the share
        row = Preparation(date.min, "1", "random", evidence.site)
        given = self.fraction_examined
        share = share_examined(row, seen, self.weight_g) if given is None else given
        return Look(share, self.preparations, seen.detection, seen.part_shape)

    def aggregation(self, evidence: ParasiteSet) -> np.ndarray | float:
        """Draw the aggregation, or take the one given."""
        return evidence.values["aggregation"].draw(self.draws, self.seed) if self.k is None else self.k

    def check(self) -> None:
        """Refuse a fish without weight: every other number is refused where it is used."""
        if not self.weight_g > 0:
            raise InputError(
                [Problem("command line", "--weight-g", str(self.weight_g), "grams above 0", "A koi of 30 cm has 400.")]
            )


def sample_windows(found: DoseWindows, hatched: DoseWindows | None = None) -> DevelopmentTimes:
    """Return the windows of a dose as a plan of samples takes them, draws whose water is too cold left out.

    Parameters
    ----------
    found : DevelopmentTimes of `burden.model.windows`
        From the day of the dose.
    hatched : DevelopmentTimes of `burden.model.windows`, optional
        From the day the last egg hatches, where the water is another by then: a winter is not waited for twice.

    Raises
    ------
    CannotAnswerError
        Where the water is too cold in every draw.
    """
    finite = np.isfinite(found.last_hatch) & np.isfinite(found.earliest_maturity)
    if not finite.any():
        raise CannotAnswerError("in water this cold eggs do not hatch within 400 d: no day to look again can be given")
    return DevelopmentTimes(
        first_hatch_days=found.first_hatch[finite],
        last_hatch_days=found.last_hatch[finite],
        earliest_maturity_days=found.earliest_maturity[finite],
        larval_life_days=found.larval_life[finite],
        # an assumption: a settler old enough for a dose to reach is large enough to be seen
        recognised_age_days=found.sheltered_age[finite],
        last_larva_shown_days=None if hatched is None else (hatched.larval_life + hatched.sheltered_age)[finite],
    )


def _windows(waters: Waters, evidence: ParasiteSet, agent: str) -> DevelopmentTimes:
    if reason := evidence.refusal("windows"):
        raise CannotAnswerError(reason)
    kill = draw_kill(load_agent(agent), waters.draws, waters.seed, evidence)
    parameters = draw_parameters(evidence, waters.draws, waters.seed)
    shelter = bath_effect(kill).sheltered_fraction
    return sample_windows(windows_after(parameters, shelter, Temperature.constant(waters.temperature_c)))


def recheck_at(
    waters: Waters,
    level: float = 10.0,
    agent: str = "praziquantel",
    confidence: float = 0.95,
    population: int | None = None,
    lethal_allowed: int = 0,
) -> RecheckPlan:
    """On which day after the last dose a clean sample means most, and how large it must be.

    Parameters
    ----------
    waters : Waters
    level : float
        Mean abundance that a clean sample is to exclude [flukes per fish].
    agent : str
        What was given.
    confidence : float
        Chance of at least one find at that level [-].
    population : int, optional
        Fish in the group.
    lethal_allowed : int
        Healthy fish that may be killed.

    Raises
    ------
    CannotAnswerError
        For live-bearers, sets without windows, and water too cold.
    InputError
        For names that are none and numbers out of range.

    Examples
    --------
    >>> plan = recheck_at(Waters("dactylogyrus", 20.0, draws=100))
    >>> 8 <= plan.day <= 20
    True
    """
    waters.check()
    evidence = load_parasite(waters.parasite)
    windows, look, k = _windows(waters, evidence, agent), waters.look(evidence), waters.aggregation(evidence)
    return recheck(windows, level, k, look, confidence, population, lethal_allowed)


def arrivals_at(
    waters: Waters, fish: int, level: float = 10.0, confidence: float = 0.95, lethal_allowed: int = 0
) -> ArrivalsPlan:
    """How long to hold new fish, and how many to look at when.

    Parameters
    ----------
    waters : Waters
        The holding water.
    fish : int
        New fish.
    level, confidence, lethal_allowed
        As in `recheck_at`.

    Raises
    ------
    CannotAnswerError
        For live-bearers, sets without windows, and water too cold.
    InputError
        For names that are none and numbers out of range.

    Examples
    --------
    >>> plan = arrivals_at(Waters("dactylogyrus", 20.0, draws=100), 60)
    >>> [look["day"] for look in plan.looks][0]
    0
    """
    waters.check()
    evidence = load_parasite(waters.parasite)
    windows = _windows(waters, evidence, "praziquantel")
    look, k = waters.look(evidence), waters.aggregation(evidence)
    return arrivals(windows, fish, level, k, look, confidence, lethal_allowed)

"""What a look at the fish must wait for: eggs that hatch and show, or, of live-bearers, young that are born."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from burden.evidence import ParasiteSet, load_agent
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.viviparous import growth_rate, live_bearer_rates
from burden.model.temperature import Temperature
from burden.model.windows import Windows, windows_after
from burden.treatment.bath import bath_effect
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.errors import InputError, Problem

__all__ = ["SURE", "DevelopmentTimes", "LiveBearerTimes", "NoTimes", "Times", "times_at"]

#: share of the draws that have shown by the day given
SURE = 0.95
#: a burden this many times smaller than the one asked about is to have grown to it by the second look at newcomers
_GROWTH = 10.0


@dataclass(frozen=True)
class DevelopmentTimes:
    """Development windows of an egg-layer at the temperature of the water, as draws.

    Parameters
    ----------
    first_hatch_days, last_hatch_days : numpy.ndarray
        1 % and 99 % of eggs hatched, shape (draws,) [d].
    earliest_maturity_days : numpy.ndarray
        1 % of settlers mature, shape (draws,) [d].
    larval_life_days : array_like
        Longest life of a larva before it settles [d].
    recognised_age_days : numpy.ndarray, optional
        Age after settling from which a fluke is recognised in a preparation [d]; at maturity when not given,
        the cautious choice.

    Raises
    ------
    InputError
        For times that are missing or out of order.
    """

    first_hatch_days: np.ndarray
    last_hatch_days: np.ndarray
    earliest_maturity_days: np.ndarray
    larval_life_days: ArrayLike = 0.0
    recognised_age_days: np.ndarray | None = None

    def __post_init__(self) -> None:
        first, last = np.asarray(self.first_hatch_days, float), np.asarray(self.last_hatch_days, float)
        mature = np.asarray(self.earliest_maturity_days, float)
        if not np.all((first > 0) & (first <= last) & (mature > 0) & (self.recognised() >= 0)):
            shown = f"{first.min():g} to {last.max():g}, mature from {mature.min():g}"
            wanted = "0 < first hatch <= last hatch, maturity above 0"
            raise InputError([Problem("command line", "development times", shown, wanted, "Check the days.")])

    def recognised(self) -> np.ndarray:
        """Age from which a settler is recognised, shape (draws,) [d]."""
        age = self.earliest_maturity_days if self.recognised_age_days is None else self.recognised_age_days
        return np.asarray(age, float)

    def all_shown(self) -> np.ndarray:
        """Day by which every egg of day 0 has hatched, settled and can be recognised, shape (draws,) [d].

        Examples
        --------
        >>> DevelopmentTimes(np.array([3.0]), np.array([5.0]), np.array([5.0]), 1.0).all_shown().tolist()
        [11.0]
        """
        return np.asarray(self.last_hatch_days, float) + self.larval_life_days + self.recognised()


@dataclass(frozen=True)
class LiveBearerTimes:
    """How fast a live-bearer, which has no egg to wait for, grows to what a look can find.

    Parameters
    ----------
    tenfold_days : numpy.ndarray
        Days in which a burden grows tenfold, nothing holding it back, shape (draws,); infinite where it dwindles [d].
    """

    tenfold_days: np.ndarray


@dataclass(frozen=True)
class NoTimes:
    """Why no day can be given.

    Parameters
    ----------
    code : str
        too_cold, or not_measured.
    why : str
        What the evidence says of it; empty where the code says all.
    """

    code: str
    why: str = ""


Times = DevelopmentTimes | LiveBearerTimes | NoTimes


def times_at(evidence: ParasiteSet, temperature_c: float, agent: str, draws: int, seed: int) -> Times:
    """What a look must wait for in water of constant temperature.

    Parameters
    ----------
    evidence : ParasiteSet
        Parasite set.
    temperature_c : float
        [°C]
    agent : str
        What was given; it settles how old a settler must be to be reached, and so seen.
    draws, seed : int
    """
    if reason := evidence.refusal("windows"):
        return NoTimes("not_measured", reason)
    parameters = draw_parameters(evidence.found_in(temperature_c), draws, seed)
    if not evidence.lays_eggs:
        growth = growth_rate(live_bearer_rates(parameters.values, temperature_c))
        tenfold = np.divide(np.log(_GROWTH), growth, out=np.full_like(growth, np.inf), where=growth > 0)
        return LiveBearerTimes(tenfold)
    shelter = bath_effect(draw_kill(load_agent(agent), draws, seed, evidence)).sheltered_fraction
    return _shown_after(windows_after(parameters, shelter, Temperature.constant(temperature_c)))


def _shown_after(found: Windows) -> DevelopmentTimes | NoTimes:
    """Windows of a dose as a plan of samples takes them, draws whose water is too cold left out."""
    finite = np.isfinite(found.last_hatch) & np.isfinite(found.earliest_maturity)
    if not finite.any():
        return NoTimes("too_cold")
    return DevelopmentTimes(
        first_hatch_days=found.first_hatch[finite],
        last_hatch_days=found.last_hatch[finite],
        earliest_maturity_days=found.earliest_maturity[finite],
        larval_life_days=found.larval_life[finite],
        # an assumption: a settler old enough for a dose to reach is large enough to be seen
        recognised_age_days=found.sheltered_age[finite],
    )

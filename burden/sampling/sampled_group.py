"""Fish of a parasite set in water of a temperature: how they are looked at, and what a look must wait for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from burden.case import Preparation
from burden.evidence import ParasiteSet, load_parasite
from burden.inference.observation_parameters import draw_seen, share_examined
from burden.sampling.burden_threshold import CleanSamplePlan, find_by_burden
from burden.sampling.development_times import Times, times_at
from burden.sampling.look import Look, level_at_prevalence
from burden.sampling.ranges import check_numbers

__all__ = ["SampledGroup"]

#: burden that a look is not to miss where none is asked for, on a fish of this weight: an assumption [flukes], [g]
_LEVEL, _OF_WEIGHT_G = 10.0, 400.0


@dataclass(frozen=True)
class SampledGroup:
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

    Raises
    ------
    InputError
        For names that are none and numbers out of range, all at once.

    Examples
    --------
    >>> from burden.sampling import recheck
    >>> group = SampledGroup("dactylogyrus", 20.0, draws=100)
    >>> plan = recheck(group.times("praziquantel"), group.clean_sample(10.0))
    >>> 8 <= plan.day <= 20
    True
    """

    parasite: str
    temperature_c: float
    weight_g: float = 400.0
    preparations: int = 3
    fraction_examined: float | None = None
    k: float | None = None
    draws: int = 500
    seed: int = 1

    def __post_init__(self) -> None:
        look = {"preparations": self.preparations, "fraction_examined": self.fraction_examined, "k": self.k}
        check_numbers(temperature_c=self.temperature_c, weight_g=self.weight_g, **look)

    @cached_property
    def evidence(self) -> ParasiteSet:
        """The parasite set's."""
        return load_parasite(self.parasite)

    def times(self, agent: str = "praziquantel") -> Times:
        """What a look must wait for after a dose of an agent, or after arrival."""
        return times_at(self.evidence, self.temperature_c, agent, self.draws, self.seed)

    def look(self) -> Look:
        """Draw what the preparations of one fish show."""
        seen = draw_seen(self.evidence, self.draws, self.seed)
        # of no fish and no day in particular: only site and weight set the share
        row = Preparation(date.min, "1", "random", self.evidence.site)
        given = self.fraction_examined
        share = share_examined(row, seen, self.weight_g) if given is None else given
        return Look(share, self.preparations, seen.detection, seen.part_shape)

    def aggregation(self) -> np.ndarray | float:
        """Draw the aggregation, or take the one given."""
        return self.evidence.values["aggregation"].draw(self.draws, self.seed) if self.k is None else self.k

    def clean_sample(
        self,
        level: float | None = None,
        confidence: float = 0.95,
        population: int | None = None,
        lethal_allowed: int = 0,
        prevalence: float | None = None,
    ) -> CleanSamplePlan:
        """How many fish to look at to show the burden is below a level, or the prevalence below a share.

        Parameters
        ----------
        level : float, optional
            Mean abundance that must not be missed; 10 flukes on a fish of 400 g, in proportion to the weight, when
            neither it nor a prevalence is given [flukes per fish].
        confidence, population, lethal_allowed
            As in `find_by_burden`.
        prevalence : float, optional
            Share of fish infected that must not be missed, instead of a level [-].
        """
        k = self.aggregation()
        check_numbers(prevalence=prevalence)
        wanted = level if level is not None else _LEVEL * self.weight_g / _OF_WEIGHT_G
        at = wanted if prevalence is None else level_at_prevalence(prevalence, k)
        return find_by_burden(at, k, self.look(), confidence, population, lethal_allowed, prevalence)

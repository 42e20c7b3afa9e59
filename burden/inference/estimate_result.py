"""The burden behind the samples of one case, and what is to be said beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from burden.case import Case
from burden.inference.diagnostics import HiddenByUnknownDose, Quantity, SampleReading
from burden.inference.mortality import DeathAttribution
from burden.inference.observation_parameters import ObservationParameters
from burden.inference.prior import Ensemble, Posterior
from burden.inference.sampler import Sampled
from burden.model.forward import State
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = ["Estimate", "FewEffectiveDraws", "LogAgainstSamples", "SickOnly"]

#: medians of flukes a fish with and without the death log, this many times apart, disagree: an assumption
_APART = 2.0


@dataclass(frozen=True)
class SickOnly(Remark):
    """Only sick or dead fish were looked at: flukes a fish if they carry what any fish carries, and if fish fell ill
    in proportion to their flukes."""

    as_any_fish: CredibleInterval
    by_burden: CredibleInterval


@dataclass(frozen=True)
class FewEffectiveDraws(Remark):
    """The samples fit few of the ponds believed possible, so the edges of the intervals are rough."""

    effective: float


@dataclass(frozen=True)
class LogAgainstSamples(Remark):
    """Death log and samples disagree: flukes a fish by both together, and by the samples alone."""

    with_log: CredibleInterval
    without_log: CredibleInterval


@dataclass(frozen=True)
class Estimate(Result):
    """The burden behind the samples of one case and one parasite set.

    Parameters
    ----------
    pond, state, seen
        The posterior: equally weighted ponds, their states on the day of the visit, and how they were looked at.
    infected : numpy.ndarray of bool
        Whether a draw carries flukes on its fish now; one that does not has none on them in its state.
    mean_abundance, flukes_total, prevalence
        Of the fish there are: those looked at today are known in part, the others are predicted.
    look : SampleReading
        What was looked at on the visit day, and what such a look misses.
    by_tilt : tuple of CredibleInterval or None
        Mean abundance were the sick as any fish, and were they picked in proportion to their burden, where no other
        fish were looked at.
    prior_and_posterior : sequence of (str, CredibleInterval, CredibleInterval)
        What the record may barely move, by code.
    mean_abundance_without_log : CredibleInterval or None
        By the samples alone; None where no death was written down.
    remarks : sequence of Remark or str
        What looks odd: of the case, as its reader worded it, and of the estimate.
    pool : Sampled or None
        Every draw the posterior was taken from, by ranks and weights: what was known at earlier visits is read from it.
    ranks : mapping of str to numpy.ndarray
        Of every stream the ponds were drawn by, shape (M,) each.
    never : numpy.ndarray of bool
        Draws in which the stock never carried a fluke, so that its ranks are as little known as before, shape (M,).
    """

    case: Case
    parasite: str
    seed: int
    pond: Ensemble
    state: State
    seen: ObservationParameters
    infected: np.ndarray
    probability_infected: float
    prevalence: CredibleInterval
    mean_abundance: CredibleInterval
    aggregation_k: CredibleInterval
    detection_per_fish: CredibleInterval
    flukes_total: CredibleInterval
    abundance_before: CredibleInterval
    eggs_waiting: CredibleInterval
    counted: Mapping[str, Any] | None
    look: SampleReading
    by_tilt: tuple[CredibleInterval, CredibleInterval] | None
    prior_and_posterior: Sequence[tuple[str, CredibleInterval, CredibleInterval]]
    effective_draws: float
    deaths_explained: DeathAttribution | None = None
    hidden: HiddenByUnknownDose | None = None
    mean_abundance_without_log: CredibleInterval | None = None
    remarks: Sequence[Remark | str] = field(default=())
    pool: Sampled[None] | None = field(default=None, repr=False, compare=False)
    ranks: Mapping[str, np.ndarray] = field(default_factory=dict, repr=False)
    never: np.ndarray = field(default_factory=lambda: np.zeros(0, bool), repr=False)

    @property
    def draws(self) -> int:
        """Number of posterior draws."""
        return self.pond.size

    @property
    def missed(self) -> str:
        """What samples like these can have missed, in words."""
        return str(self.look)

    @property
    def warnings(self) -> list[str]:
        """What looks odd, in words."""
        return [text_of(remark) for remark in self.remarks]

    @property
    def deaths_after_dose(self) -> CredibleInterval | None:
        """Of the recorded dead, those that the doses themselves killed; None where no row holds days after a dose."""
        return None if self.deaths_explained is None else self.deaths_explained.by_dose

    @property
    def log_disagrees(self) -> bool:
        """Whether the death log moves the median of flukes a fish by more than the samples alone can bear."""
        alone = self.mean_abundance_without_log
        if not self.case.has_samples or alone is None or min(alone.median, self.mean_abundance.median) <= 0:
            return False
        return not 1 / _APART <= alone.median / self.mean_abundance.median <= _APART

    def readings(self) -> dict[str, np.ndarray]:
        """Draws by who killed: positions of those in which flukes killed more than half of the dead, and of the others.

        Empty where no death was written down. A forecast of either, by `posterior.take`, is what is to come if flukes
        kill, and if something else does.
        """
        if self.deaths_explained is None:
            return {}
        by_flukes = self.deaths_explained.mostly_flukes
        return {"flukes": np.flatnonzero(by_flukes), "something_else": np.flatnonzero(~by_flukes)}

    @property
    def posterior(self) -> Posterior:
        """The ponds and their state on the day of the visit."""
        return Posterior(self.pond, self.state)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "probability_infected": number(self.probability_infected),
            "prevalence": self.prevalence.as_dict(),
            "mean_abundance": self.mean_abundance.as_dict(),
            "aggregation_k": self.aggregation_k.as_dict(),
            "detection_per_fish": self.detection_per_fish.as_dict(),
            "flukes_total": self.flukes_total.as_dict(),
            "abundance_before": self.abundance_before.as_dict(),
            "eggs_waiting": self.eggs_waiting.as_dict(),
            "counted": self.counted,
            "missed": self.missed,
            "look": self.look.as_dict(),
            "mean_abundance_by_tilt": None
            if self.by_tilt is None
            else {"none": self.by_tilt[0].as_dict(), "full": self.by_tilt[1].as_dict()},
            "effective_draws": number(self.effective_draws),
            "mean_abundance_without_log": None
            if self.mean_abundance_without_log is None
            else self.mean_abundance_without_log.as_dict(),
            "log_disagrees": self.log_disagrees,
            "deaths_explained": self.deaths_explained.as_dict() if self.deaths_explained else None,
            "hidden_by_unknown_dose": self.hidden.as_dict() if self.hidden else None,
            "prior_and_posterior": [
                {"name": str(Quantity(name)), "code": name, "prior": a.as_dict(), "posterior": b.as_dict()}
                for name, a, b in self.prior_and_posterior
            ],
            "warnings": self.warnings,
            "remarks": [remark.as_dict() for remark in self.remarks if isinstance(remark, Remark)],
        }

    @property
    def sick_only(self) -> str:
        """What it means that only sick or dead fish were looked at, in words; empty where others were too."""
        return "" if self.by_tilt is None else str(SickOnly(*self.by_tilt))

    @property
    def mostly_else(self) -> bool:
        """Whether most of the dead are surely not the flukes'; False where none died."""
        return self.deaths_explained is not None and self.deaths_explained.mostly_else

    def rows(self) -> list[dict[str, Any]]:
        """Return the main numbers, a row each, so that those of two cases can stand under one another."""
        named = {
            "mean abundance (flukes per fish)": (self.mean_abundance, "flukes/fish"),
            "flukes on all live fish": (self.flukes_total, "flukes"),
            "prevalence": (self.prevalence, "share"),
            "aggregation k": (self.aggregation_k, "1"),
            "detection per fish": (self.detection_per_fish, "share"),
            "abundance when the record starts": (self.abundance_before, "flukes/fish"),
            "eggs waiting in the water": (self.eggs_waiting, "eggs"),
        }
        about = {"case": self.case.name, "parasite": self.parasite, "date": self.case.visit_date.isoformat()}
        return [
            {**about, "quantity": name, "unit": unit, "median": t.median, "low": t.low, "high": t.high}
            for name, (t, unit) in named.items()
        ]

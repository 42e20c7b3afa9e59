"""The true burden behind imperfect samples.

Every draw of the prior is a pond with a past: it is run through its doses and its earlier visits to the day of each
sample, and weighed by how likely it makes what was seen there and who died. The posterior is a set of equally
weighted ponds, drawn from those by their weights, as they stand on the day of the visit.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, field, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.inference.diagnostics import (
    PRIOR_NONE,
    Quantity,
    SampleReading,
    chance_of_never,
    counted,
    detection,
    looked_twice,
    moved,
    not_read,
    sample_reading,
)
from burden.inference.finite_stock import StockBurden, present_on
from burden.inference.history import (
    LONGEST_HISTORY_DAYS,
    HistoryRuns,
    history_days,
    log_likelihood,
    proposal_from,
    rows_by_day,
    run_past,
    stage_shares,
)
from burden.inference.mortality import DeathAttribution, beyond_other_causes, explain
from burden.inference.observation import ObservationParameters, draw_seen, log_likelihood_of_samples, share_examined
from burden.inference.prior import Ensemble, Posterior, other_cause_rates
from burden.model.forward import State
from burden.utils.progress import report_progress
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "LONGEST_HISTORY_DAYS",
    "PRIOR_NONE",
    "Effort",
    "Estimate",
    "FewEffectiveDraws",
    "ObservationParameters",
    "SickOnly",
    "draw_seen",
    "estimate",
    "log_likelihood_of_samples",
    "share_examined",
]

#: effective ponds below which a third round is run, and below which the answer says that its edges are rough
_ENOUGH = 100
#: draws for each one kept, where they are weighed by how the sick were picked
_SPARE_DRAWS = 2


#: fewer draws than these ask for a rough look
_ROUGH_DRAWS = 80


@dataclass(frozen=True)
class Effort:
    """Ponds of the pilot, and the least of the main round, with a past to run and without one."""

    pilot: int = 500
    ponds: int = 2000
    cheap_pilot: int = 1000
    cheap_ponds: int = 4000

    @classmethod
    def for_draws(cls, draws: int) -> Effort:
        """Return the usual effort, less where so few draws are asked for that they are a rough look anyway.

        Examples
        --------
        >>> Effort.for_draws(500) == Effort(), Effort.for_draws(20).ponds
        (True, 500)
        """
        share = min(draws / _ROUGH_DRAWS, 1.0)
        return cls(*(round(share * number) for number in astuple(cls())))


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
    remarks : sequence of Remark or str
        What looks odd: of the case, as its reader worded it, and of the estimate.
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
    remarks: Sequence[Remark | str] = field(default=())

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
            "deaths_explained": self.deaths_explained.as_dict() if self.deaths_explained else None,
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
        """Return the main numbers, a row each."""
        named = {
            "mean abundance (flukes per fish)": self.mean_abundance,
            "flukes on all live fish": self.flukes_total,
            "prevalence": self.prevalence,
            "aggregation k": self.aggregation_k,
            "detection per fish": self.detection_per_fish,
            "abundance when the record starts": self.abundance_before,
            "eggs waiting in the water": self.eggs_waiting,
        }
        return [{"quantity": name, "median": t.median, "low": t.low, "high": t.high} for name, t in named.items()]


def estimate(
    case: Case, parasite: str | None = None, draws: int = 500, seed: int = 1, effort: Effort | None = None
) -> Estimate:
    """Estimate the burden of a case.

    Parameters
    ----------
    case : Case
    parasite : str, optional
        One of the case's sets; the first when not given.
    draws, seed : int
        Posterior draws, and seed: same case, draws and seed, same answer.
    effort : Effort, optional
        Less than the usual for studies of many visits.

    Returns
    -------
    Estimate

    Notes
    -----
    Importance sampling in two rounds. A pilot finds where the burden at the start of the record must have been; the
    second round draws it from there (and a fifth from the prior), corrects by the ratio of the two densities, and is
    resampled systematically. Without a past the model needs no run: more is drawn, and the second round knows that
    fish of which little is seen must carry more. Where few ponds fit, a third round looks among those that did.
    """
    parasite = parasite or case.parasites[0]
    past = bool(history_days(case)[0] < 0)
    effort = effort or Effort.for_draws(draws)
    pilot_size, size = effort.cheap_pilot, max(8 * draws, effort.cheap_ponds)
    if past:
        pilot_size, size = effort.pilot, max(4 * draws, effort.ponds)
    report_progress(f"{parasite}: the pond so far")
    pilot = run_past(case, parasite, pilot_size, seed, None)
    proposal = proposal_from(pilot, log_likelihood(pilot, parasite) + pilot.log_prior)
    report_progress(f"{parasite}: flukes behind the samples")
    whole = run_past(case, parasite, size, seed, proposal)
    log_posterior = log_likelihood(whole, parasite) + whole.log_prior
    if _effective_ponds(whole, log_posterior) < _ENOUGH:
        report_progress(f"{parasite}: flukes, once more")
        whole = run_past(case, parasite, round(1.5 * size), seed, proposal_from(whole, log_posterior))
        log_posterior = log_likelihood(whole, parasite) + whole.log_prior
    return _summarise(whole, log_posterior, parasite, draws, seed)


def _resample(log_weight: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, float]:
    """Systematic resampling: positions, shape (n,), and the number of draws the weights are worth."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    points = (np.arange(n) + uniform_draws("resample", 1, seed)[0]) / n
    chosen = np.searchsorted(np.cumsum(weight), points, side="left")
    chosen = np.minimum(chosen, weight.size - 1)
    # neighbours of a resample are copies; a fixed shuffle keeps any half of the draws a fair sample
    order = np.argsort(uniform_draws("order of the resample", n, seed), kind="stable")
    return chosen[order], float(1 / (weight**2).sum())


def _effective_ponds(past: HistoryRuns, log_posterior: np.ndarray) -> float:
    """Number of ponds the weights are worth, the ways of looking at each added up."""
    weight = np.bincount(past.of, np.exp(log_posterior - log_posterior.max()))
    return float(weight.sum() ** 2 / (weight**2).sum())


def _summarise(past: HistoryRuns, log_posterior: np.ndarray, parasite: str, draws: int, seed: int) -> Estimate:
    ways, stock, effective = _standing(past, log_posterior, parasite, draws, seed)
    case, chosen = past.pond.case, past.of[ways]
    pond, state, seen = past.pond.take(chosen), past.state.take(chosen), past.seen.take(ways)
    p = pond.setting.parameters
    p = p.replaced(background_hazard=p["background_hazard"] + past.other[ways])
    pond = replace(pond, setting=replace(pond.setting, parameters=p))
    effective = min(effective, _effective_ponds(past, log_posterior))
    k, before = pond.setting.parameters["aggregation"], past.by_day[0.0]["all"][chosen]
    now = state.flukes_per_fish(pond.setting.fish)
    never, clean = _never(past, log_posterior, parasite, draws, seed)
    total, carrying = np.where(clean, 0.0, stock.total), np.where(clean, 0.0, stock.carrying)
    alive = max(case.fish_count, 1)
    state = _as_present(state, total / np.maximum(now * alive, 1e-300), ~clean)
    explained = _explained(past, ways, ~clean, seed)
    eggs = sum((state.water[form].sum(0) for form in state.water if "egg" in form), np.zeros(draws))
    return Estimate(
        case=case,
        parasite=parasite,
        seed=seed,
        pond=pond,
        state=state,
        seen=seen,
        infected=total > 0,
        probability_infected=float((1 - never) * np.mean(1 - stock.none)),
        prevalence=CredibleInterval.of(carrying / alive),
        mean_abundance=CredibleInterval.of(total / alive),
        aggregation_k=CredibleInterval.of(k),
        detection_per_fish=detection(case, parasite, before, k, seen, pond, stage_shares(past, 0.0, chosen)),
        flukes_total=CredibleInterval.of(total),
        abundance_before=CredibleInterval.of(past.abundance_then[chosen]),
        eggs_waiting=CredibleInterval.of(eggs),
        counted=counted(case, parasite),
        look=sample_reading(past, parasite),
        by_tilt=_by_tilt(past, parasite, draws, seed),
        prior_and_posterior=moved(past, pond, seen, chosen),
        effective_draws=effective,
        deaths_explained=explained,
        remarks=[
            *case.warnings,
            *_rough(effective),
            *looked_twice(case, parasite),
            *not_read(case, parasite),
            *beyond_other_causes(case, explained),
        ],
    )


def _standing(
    past: HistoryRuns, log_posterior: np.ndarray, parasite: str, draws: int, seed: int
) -> tuple[np.ndarray, StockBurden, float]:
    """Positions of the ways drawn, what is on the stock in each, and the draws their weights are worth.

    Where fish chosen as sick came out of few, more is drawn and weighed by the chance that just these were picked.
    """
    case, evidence = past.pond.case, past.pond.setting.parameters.evidence
    dosed = any(event.kill and event.day == 0 for event in past.pond.given)  # since: today's counts no longer hold
    rows = () if dosed else rows_by_day(case, parasite).get(0.0, [])
    weighed = any(row.chosen != "random" for row in rows)
    ways, effective = _resample(log_posterior, draws * (_SPARE_DRAWS if weighed else 1), seed)
    chosen = past.of[ways]
    pond, seen = past.pond.take(chosen), past.seen.take(ways)
    stock = present_on(
        case.fish_count,
        rows,
        past.state.take(chosen).flukes_per_fish(pond.setting.fish),
        pond.setting.parameters["aggregation"],
        seen,
        evidence.site,
        pond.setting.fish.weight_g.mean(0),
        np.random.default_rng([seed, zlib.crc32(b"flukes on the stock")]),
        stage_shares(past, 0.0, chosen),
    )
    if weighed:
        kept, worth = _resample(stock.log_weight, draws, seed)
        ways, stock, effective = ways[kept], stock.take(kept), min(effective, worth)
    return ways, stock, effective


def _explained(past: HistoryRuns, ways: np.ndarray, carries: np.ndarray, seed: int) -> DeathAttribution | None:
    """How many of the dead in the log the flukes killed, beside what was believed of it."""
    home = past.pond.setting.parameters.evidence.site
    rates, every = other_cause_rates(past.pond.case.findings.other), past.of
    before = (past.dead.take(every), np.resize(rates, every.size), np.exp(past.log_prior))
    return explain(past.pond.case, home, past.dead.take(every[ways]), past.other[ways], carries, before, seed)


def _as_present(state: State, factor: np.ndarray, ever: np.ndarray) -> State:
    """Set the flukes on the fish to what is present; a stock that never had any has no eggs either."""
    return replace(
        state,
        water={form: x * ever for form, x in state.water.items()},
        fish={form: x * factor for form, x in state.fish.items()},
    )


def _never(
    past: HistoryRuns, log_posterior: np.ndarray, parasite: str, draws: int, seed: int
) -> tuple[float, np.ndarray]:
    """Chance that the stock never carried a fluke, and the draws in which it did not, (draws,)."""
    never = chance_of_never(past, log_posterior, parasite)
    return never, uniform_draws("infected", draws, seed) < never


def _by_tilt(
    past: HistoryRuns, parasite: str, draws: int, seed: int
) -> tuple[CredibleInterval, CredibleInterval] | None:
    """Mean abundance without a tilt and with a full one, where only sick or dead fish were looked at."""
    rows = [row for rows in rows_by_day(past.pond.case, parasite).values() for row in rows]
    if not rows or any(row.chosen not in ("moribund", "dead") for row in rows):
        return None
    found = []
    for selection_bias in (0.0, 1.0):
        tilted = replace(past, seen=replace(past.seen, selection_bias=np.full(past.of.size, selection_bias)))
        log_posterior = log_likelihood(tilted, parasite) + tilted.log_prior
        _, stock, _ = _standing(tilted, log_posterior, parasite, draws, seed)
        _, clean = _never(tilted, log_posterior, parasite, draws, seed)
        found.append(CredibleInterval.of(np.where(clean, 0.0, stock.total) / max(past.pond.case.fish_count, 1)))
    return found[0], found[1]


def _rough(effective: float) -> list[FewEffectiveDraws]:
    """Say so where the intervals stand on few draws."""
    return [] if effective >= _ENOUGH else [FewEffectiveDraws(effective)]

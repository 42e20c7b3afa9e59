"""The true burden behind imperfect samples.

Every draw of the prior is a pond with a past: it is run through its doses and its earlier visits to the day of each
sample, and weighed by how likely it makes what was seen there and who died. The posterior is a set of equally
weighted ponds, drawn from those by their weights, as they stand on the day of the visit.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.inference.death_log import DeathLog
from burden.inference.diagnostics import (
    PRIOR_NONE,
    HiddenByUnknownDose,
    Quantity,
    SampleReading,
    chance_of_never,
    counted,
    detection,
    hidden_by_unknown_dose,
    looked_twice,
    moved,
    not_read,
    sample_reading,
)
from burden.inference.earlier_visits import ROUGH_NODES
from burden.inference.finite_stock import StockBurden, present_on
from burden.inference.history import (
    LONGEST_HISTORY_DAYS,
    HistoryRuns,
    history_days,
    log_likelihood,
    log_likelihood_before,
    rows_by_day,
    run_past,
    stage_shares,
    with_drift,
)
from burden.inference.misfit import worst_fitting
from burden.inference.mortality import DeathAttribution, beyond_other_causes, explain
from burden.inference.observation import (
    TILT_STREAM,
    ObservationParameters,
    draw_seen,
    log_likelihood_of_samples,
    share_examined,
)
from burden.inference.prior import Ensemble, Posterior
from burden.inference.sampler import Effort, Misfit, Sampled, TooFewDrawsError, require_enough, sample
from burden.model.forward import State
from burden.model.other_deaths import OtherDeaths
from burden.statistics.adaptive_importance import effective_size
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
    "LogAgainstSamples",
    "ObservationParameters",
    "SickOnly",
    "draw_seen",
    "estimate",
    "log_likelihood_of_samples",
    "share_examined",
]

#: draws for each one kept, where they are weighed by how the sick were picked
_SPARE_DRAWS = 4
#: and at least so many, however few are kept
_LEAST_SPARE = 600
#: effective draws below which the answer says that its edges are rough
_ROUGH = 100
#: medians of flukes a fish with and without the death log, this many times apart, disagree: an assumption
_APART = 2.0
#: effective draws from which the draws of the estimate serve for the samples alone too
_SERVE = 50


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

    Raises
    ------
    TooFewDrawsError
        Where too few of the ponds believed possible fit what was written down.

    Notes
    -----
    Importance sampling in rounds (`burden.inference.sampler`), each drawn nearer to the ponds that fit, and a
    systematic resample of the last.
    """
    parasite = parasite or case.parasites[0]
    past = bool(history_days(case)[0] < 0)
    effort = effort or Effort.for_draws(draws, past)
    found = _sampled(case, parasite, effort, seed)

    def worst() -> Misfit | None:
        return worst_fitting(case, parasite, found, seed)

    require_enough(found.effective_draws, effort.least, worst)
    fitting = _those_that_fit(case, found, parasite, _spare(draws), seed)
    answer = _summarise(found, fitting, parasite, draws, effort, seed)
    require_enough(answer.effective_draws, effort.least, worst)
    return answer if answer.deaths_explained is None else _beside_samples_alone(answer, fitting, effort)


def _beside_samples_alone(answer: Estimate, fitting: tuple[HistoryRuns, np.ndarray], effort: Effort) -> Estimate:
    """Add what the samples alone say; where the draws of the estimate are too few of it, by an estimate of its own."""
    case, parasite, draws, seed = answer.case, answer.parasite, answer.draws, answer.seed
    past, log_posterior = fitting
    log_alone = log_posterior - past.log_deaths
    if effective_size(log_alone) >= _SERVE:
        stock = _standing(past, log_alone, parasite, draws, seed)[1]
        alone = CredibleInterval.of(stock.total / max(case.fish_count, 1))
    else:
        try:
            alone = estimate(_without_log(case), parasite, draws, seed, effort).mean_abundance
        except TooFewDrawsError:
            return answer
    answer = replace(answer, mean_abundance_without_log=alone)
    if not answer.log_disagrees:
        return answer
    return replace(answer, remarks=[*answer.remarks, LogAgainstSamples(answer.mean_abundance, alone)])


def _without_log(case: Case) -> Case:
    """Leave the death log out; the fish that died in it were not there, as nobody then says when."""
    return replace(case, deaths=())


def _those_that_fit(
    case: Case, found: Sampled[HistoryRuns], parasite: str, n: int, seed: int, tilt: float | None = None
) -> tuple[HistoryRuns, np.ndarray]:
    """Run once more n of all ponds drawn, by their weights; each of them once, with the log of its weight.

    That is how often it came, times how much likelier it makes the looks from before the run begins than a rough
    reading had it.
    """
    places, times = np.unique(_resample(found.log_weight, n, seed)[0], return_counts=True)
    ranks = found.at(places) | _held(tilt, places.size)
    runs = with_drift(run_past(case, parasite, places.size, seed, ranks), parasite, seed)
    return runs, np.log(times) + log_likelihood_before(runs, parasite) - _rough(runs, parasite)


def _rough(runs: HistoryRuns, parasite: str) -> np.ndarray:
    return log_likelihood_before(runs, parasite, ROUGH_NODES)


def _held(tilt: float | None, n: int) -> dict[str, np.ndarray]:
    """Ranks of the stream of the tilt where it is held, shape (n,); nothing where it is drawn."""
    return {} if tilt is None else {TILT_STREAM: np.full(n, tilt)}


def _sampled(case: Case, parasite: str, effort: Effort, seed: int, tilt: float | None = None) -> Sampled[HistoryRuns]:
    """Draw ponds until enough of them fit; with `tilt` as fish would be that were picked so strongly by burden."""

    def draw(
        m: int, round_seed: int, ranks: Mapping[str, np.ndarray]
    ) -> tuple[HistoryRuns, Mapping[str, np.ndarray], np.ndarray]:
        held = _held(tilt, m)
        runs = run_past(case, parasite, m, round_seed, {**ranks, **held})
        drawn = {name: rank for name, rank in runs.ranks.items() if name not in held}
        return runs, drawn, log_likelihood(runs, parasite)

    def report(number: int) -> None:
        what = "the pond so far" if number == 0 else f"flukes behind the samples, round {number}"
        report_progress(f"{parasite}: {what}")

    return sample(draw, effort, seed, report)


def _resample(log_weight: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, float]:
    """Systematic resampling: positions, shape (n,), and the number of draws the weights are worth."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    points = (np.arange(n) + uniform_draws("resample", 1, seed)[0]) / n
    chosen = np.searchsorted(np.cumsum(weight), points, side="left")
    chosen = np.minimum(chosen, weight.size - 1)
    # neighbours of a resample are copies; a fixed shuffle keeps any half of the draws a fair sample
    order = np.argsort(uniform_draws("order of the resample", n, seed), kind="stable")
    return chosen[order], effective_size(log_weight)


def _summarise(
    found: Sampled[HistoryRuns],
    fitting: tuple[HistoryRuns, np.ndarray],
    parasite: str,
    draws: int,
    effort: Effort,
    seed: int,
) -> Estimate:
    past, log_posterior = fitting
    case = past.pond.case
    chosen, stock, effective = _standing(past, log_posterior, parasite, draws, seed)
    effective = min(effective, found.effective_draws)
    dead = past.dead.take(chosen)
    other = past.courses.drawn(
        dead.log_likelihood(past.courses.courses), uniform_draws("other cause given the deaths", draws, seed)
    )
    pond, state, seen = replace(past.pond.take(chosen), seed=seed), past.state.take(chosen), past.seen.take(chosen)
    pond = replace(pond, setting=replace(pond.setting, other_deaths=other))
    k, before = pond.setting.parameters["aggregation"], past.burden(0.0)[chosen]
    now = state.flukes_per_fish(pond.setting.fish)
    never = chance_of_never(found.before, found.log_evidence, parasite)
    clean = uniform_draws("infected", draws, seed) < never
    total, carrying = np.where(clean, 0.0, stock.total), np.where(clean, 0.0, stock.carrying)
    alive = max(case.fish_count, 1)
    state = _as_present(state, total / np.maximum(now * alive, 1e-300), ~clean)
    home = pond.setting.parameters.evidence.site
    explained = explain(case, home, dead, other, ~clean, _believed(found.before, seed), seed)
    mean = CredibleInterval.of(total / alive)
    burden_on = {day: np.where(clean, 0.0, past.burden(day)[chosen]) for day in past.by_day}
    eggs = sum((state.water[form].sum(0) for form in state.water if "egg" in form), np.zeros(draws))
    stages = {stage: share[chosen] for stage, share in stage_shares(past, 0.0).items()}
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
        mean_abundance=mean,
        aggregation_k=CredibleInterval.of(k),
        detection_per_fish=detection(case, parasite, before, k, seen, pond, stages),
        flukes_total=CredibleInterval.of(total),
        abundance_before=CredibleInterval.of(past.abundance_then[chosen]),
        eggs_waiting=CredibleInterval.of(eggs),
        counted=counted(case, parasite),
        look=sample_reading(found, past, log_posterior, parasite),
        by_tilt=_by_tilt(case, clean, parasite, effort, seed),
        prior_and_posterior=moved(found.before, pond, seen, past.abundance_then[chosen]),
        effective_draws=effective,
        deaths_explained=explained,
        hidden=hidden_by_unknown_dose(case, burden_on, mean),
        remarks=[
            *case.warnings,
            *([FewEffectiveDraws(effective)] if effective < _ROUGH else []),
            *looked_twice(case, parasite),
            *not_read(case, parasite),
            *beyond_other_causes(case, explained),
        ],
        pool=replace(found, before=None),  # type: ignore[arg-type]
        ranks={name: rank[chosen] for name, rank in past.ranks.items()},
        never=clean,
    )


def _spare(draws: int) -> int:
    """Ponds that are run again, and weighed by how the sick were picked, for so many draws."""
    return max(_SPARE_DRAWS * draws, _LEAST_SPARE)


def _standing(
    past: HistoryRuns, log_posterior: np.ndarray, parasite: str, draws: int, seed: int
) -> tuple[np.ndarray, StockBurden, float]:
    """Positions of the ponds drawn, what is on the stock in each, and the draws their weights are worth.

    Where fish chosen as sick came out of few, more is drawn and weighed by the chance that just these were picked.
    """
    case, evidence = past.pond.case, past.pond.setting.parameters.evidence
    dosed = any(event.kill and event.day == 0 for event in past.pond.given)  # since: today's counts no longer hold
    rows = () if dosed else rows_by_day(case, parasite).get(0.0, [])
    weighed = any(row.chosen != "random" for row in rows)
    chosen, effective = _resample(log_posterior, _spare(draws) if weighed else draws, seed)
    pond, seen = past.pond.take(chosen), past.seen.take(chosen)
    burden = past.state.flukes_per_fish(past.pond.setting.fish) * past.strayed_by(0.0)
    stock = present_on(
        case.fish_count,
        rows,
        burden[chosen],
        pond.setting.parameters["aggregation"],
        seen,
        evidence.site,
        pond.setting.fish.weight_g.mean(0),
        np.random.default_rng([seed, zlib.crc32(b"flukes on the stock")]),
        {stage: share[chosen] for stage, share in stage_shares(past, 0.0).items()},
    )
    if weighed:
        kept, worth = _resample(stock.log_weight, draws, seed)
        chosen, stock, effective = chosen[kept], stock.take(kept), min(effective, worth)
    return chosen, stock, effective


def _believed(before: HistoryRuns, seed: int) -> tuple[DeathLog, OtherDeaths]:
    """What prior ponds make of the death log, and another cause of each, drawn before the log was read."""
    flat = np.zeros((before.courses.log_prior.size, before.pond.size))
    return before.dead, before.courses.drawn(flat, uniform_draws("other cause believed", before.pond.size, seed))


def _as_present(state: State, factor: np.ndarray, ever: np.ndarray) -> State:
    """Set the flukes on the fish to what is present; a stock that never had any has no eggs either."""
    return replace(
        state,
        water={form: x * ever for form, x in state.water.items()},
        fish={form: x * factor for form, x in state.fish.items()},
    )


def _by_tilt(
    case: Case, clean: np.ndarray, parasite: str, effort: Effort, seed: int
) -> tuple[CredibleInterval, CredibleInterval] | None:
    """Mean abundance without a tilt and with a full one, where only sick or dead fish were looked at.

    Each is an estimate of its own: few ponds that fit with a tilt between fit at its ends.
    """
    rows = [row for rows in rows_by_day(case, parasite).values() for row in rows]
    if not rows or any(row.chosen not in ("moribund", "dead") for row in rows):
        return None
    means = []
    for tilt in (0.0, 1.0):
        found = _sampled(case, parasite, replace(effort, enough=effort.enough / 2), seed, tilt)
        past, log_posterior = _those_that_fit(case, found, parasite, _spare(clean.size), seed, tilt)
        stock = _standing(past, log_posterior, parasite, clean.size, seed)[1]
        means.append(CredibleInterval.of(np.where(clean, 0.0, stock.total) / max(case.fish_count, 1)))
    return means[0], means[1]

"""The true burden behind imperfect samples.

Every draw of the prior is a pond with a past: it is run through its doses and its earlier visits to the day of each
sample, and weighed by how likely it makes what was seen there and who died. The posterior is a set of equally
weighted ponds, drawn from those by their weights, as they stand on the day of the visit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.inference.death_log import DeathLog
from burden.inference.diagnostics import (
    chance_of_never,
    counted,
    detection,
    hidden_by_unknown_dose,
    looked_twice,
    moved,
    not_read,
    sample_reading,
)
from burden.inference.estimate_result import Estimate, FewEffectiveDraws, LogAgainstSamples
from burden.inference.finite_stock import StockBurden
from burden.inference.fitting_ponds import ponds_kept, ponds_sampled, spare_draws, those_that_fit
from burden.inference.history import HistoryRuns, history_days, stage_shares
from burden.inference.looks_on_record import rows_by_day
from burden.inference.misfit import worst_fitting
from burden.inference.mortality import DeathAttribution, beyond_other_causes, explain
from burden.inference.observation_parameters import ObservationParameters
from burden.inference.prior import Ensemble
from burden.inference.sampler import Effort, Misfit, Sampled, TooFewDrawsError, require_enough
from burden.model.forward import State
from burden.model.other_deaths import OtherDeaths
from burden.statistics.adaptive_importance import effective_size
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval

__all__ = ["estimate"]

#: effective draws below which the answer says that its edges are rough
_ROUGH = 100
#: effective draws from which the draws of the estimate serve for the samples alone too
_SERVE = 50


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
    found = ponds_sampled(case, parasite, effort, seed)

    def worst() -> Misfit | None:
        return worst_fitting(case, parasite, found, seed)

    require_enough(found.effective_draws, effort.least, worst)
    fitting = those_that_fit(case, found, parasite, spare_draws(draws), seed)
    answer = _summarise(found, fitting, _kept(found, fitting, parasite, draws, seed), parasite, effort)
    require_enough(answer.effective_draws, effort.least, worst)
    return answer if answer.deaths_explained is None else _beside_samples_alone(answer, fitting, effort)


def _beside_samples_alone(answer: Estimate, fitting: tuple[HistoryRuns, np.ndarray], effort: Effort) -> Estimate:
    """Add what the samples alone say; where the draws of the estimate are too few of it, by an estimate of its own."""
    case, parasite, draws, seed = answer.case, answer.parasite, answer.draws, answer.seed
    past, log_posterior = fitting
    log_alone = log_posterior - past.log_deaths
    if effective_size(log_alone) >= _SERVE:
        stock = ponds_kept(past, log_alone, parasite, draws, seed)[1]
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


@dataclass(frozen=True)
class _Kept:
    """The ponds kept of those that fit, equally weighted, as they stand on the day of the visit.

    Parameters
    ----------
    chosen : numpy.ndarray of int
        Their positions among those that fit, shape (N,).
    stock : StockBurden
        What is on the fish there are, clean stocks left aside.
    clean : numpy.ndarray of bool
        Stocks that never carried a fluke, shape (N,).
    never : float
        Chance of one [-].
    effective : float
        Draws that their weights are worth.
    """

    pond: Ensemble
    state: State
    seen: ObservationParameters
    dead: DeathLog
    other: OtherDeaths
    chosen: np.ndarray
    stock: StockBurden
    clean: np.ndarray
    never: float
    effective: float

    @property
    def total(self) -> np.ndarray:
        """Flukes on all fish, shape (N,)."""
        return np.where(self.clean, 0.0, self.stock.total)

    @property
    def carrying(self) -> np.ndarray:
        """Fish that carry a fluke, shape (N,)."""
        return np.where(self.clean, 0.0, self.stock.carrying)


def _kept(
    found: Sampled[HistoryRuns],
    fitting: tuple[HistoryRuns, np.ndarray],
    parasite: str,
    draws: int,
    seed: int,
) -> _Kept:
    """Keep as many ponds as are asked for, each with another cause of deaths that fits its death log."""
    past, log_posterior = fitting
    chosen, stock, effective = ponds_kept(past, log_posterior, parasite, draws, seed)
    dead, pond = past.dead.take(chosen), replace(past.pond.take(chosen), seed=seed)
    other = past.courses.drawn(
        dead.log_likelihood(past.courses.courses), uniform_draws("other cause given the deaths", draws, seed)
    )
    never = chance_of_never(found.before, found.log_evidence, parasite)
    return _Kept(
        pond=replace(pond, setting=replace(pond.setting, other_deaths=other)),
        state=past.state.take(chosen),
        seen=past.seen.take(chosen),
        dead=dead,
        other=other,
        chosen=chosen,
        stock=stock,
        clean=uniform_draws("infected", draws, seed) < never,
        never=never,
        effective=min(effective, found.effective_draws),
    )


def _summarise(
    found: Sampled[HistoryRuns], fitting: tuple[HistoryRuns, np.ndarray], kept: _Kept, parasite: str, effort: Effort
) -> Estimate:
    past, log_posterior = fitting
    pond, chosen, clean, case, seed = kept.pond, kept.chosen, kept.clean, past.pond.case, kept.pond.seed
    explained = _deaths_explained(kept, found.before)
    then, burden = past.abundance_then[chosen], _flukes_now(kept)
    burden_on = {day: np.where(clean, 0.0, past.burden(day)[chosen]) for day in past.by_day}
    return Estimate(
        case=case,
        parasite=parasite,
        seed=seed,
        pond=pond,
        seen=kept.seen,
        **burden,
        aggregation_k=CredibleInterval.of(pond.setting.parameters["aggregation"]),
        detection_per_fish=_detection(kept, past, parasite),
        abundance_before=CredibleInterval.of(then),
        counted=counted(case, parasite),
        look=sample_reading(found, past, log_posterior, parasite),
        by_tilt=_by_tilt(case, clean, parasite, effort, seed),
        prior_and_posterior=moved(found.before, pond, kept.seen, then),
        effective_draws=kept.effective,
        deaths_explained=explained,
        hidden=hidden_by_unknown_dose(case, burden_on, burden["mean_abundance"]),
        remarks=[
            *case.warnings,
            *([FewEffectiveDraws(kept.effective)] if kept.effective < _ROUGH else []),
            *looked_twice(case, parasite),
            *not_read(case, parasite),
            *beyond_other_causes(case, explained),
        ],
        pool=replace(found, before=None),  # type: ignore[arg-type]
        ranks={name: rank[chosen] for name, rank in past.ranks.items()},
        never=clean,
    )


def _flukes_now(kept: _Kept) -> dict[str, Any]:
    """Flukes on the fish and eggs in the water on the day of the visit, by field of the answer."""
    pond, total = kept.pond, kept.total
    alive = max(pond.case.fish_count, 1)
    now = kept.state.flukes_per_fish(pond.setting.fish)
    state = _as_present(kept.state, total / np.maximum(now * alive, 1e-300), ~kept.clean)
    eggs = sum((state.water[form].sum(0) for form in state.water if "egg" in form), np.zeros(pond.size))
    return {
        "state": state,
        "infected": total > 0,
        "probability_infected": float((1 - kept.never) * np.mean(1 - kept.stock.none)),
        "prevalence": CredibleInterval.of(kept.carrying / alive),
        "mean_abundance": CredibleInterval.of(total / alive),
        "flukes_total": CredibleInterval.of(total),
        "eggs_waiting": CredibleInterval.of(eggs),
    }


def _detection(kept: _Kept, past: HistoryRuns, parasite: str) -> CredibleInterval:
    """Chance that the look of the visit finds a fish that carries flukes infected."""
    before, k = past.burden(0.0)[kept.chosen], kept.pond.setting.parameters["aggregation"]
    stages = {stage: share[kept.chosen] for stage, share in stage_shares(past, 0.0).items()}
    return detection(kept.pond.case, parasite, before, k, kept.seen, kept.pond, stages)


def _deaths_explained(kept: _Kept, before: HistoryRuns) -> DeathAttribution | None:
    """Whose the recorded deaths were, in the ponds kept and as believed before."""
    pond, seed = kept.pond, kept.pond.seed
    home = pond.setting.parameters.evidence.site
    return explain(pond.case, home, kept.dead, kept.other, ~kept.clean, _believed(before, seed), seed)


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
        found = ponds_sampled(case, parasite, replace(effort, enough=effort.enough / 2), seed, tilt)
        past, log_posterior = those_that_fit(case, found, parasite, spare_draws(clean.size), seed, tilt)
        stock = ponds_kept(past, log_posterior, parasite, clean.size, seed)[1]
        means.append(CredibleInterval.of(np.where(clean, 0.0, stock.total) / max(case.fish_count, 1)))
    return means[0], means[1]

"""What stands beside the burden: what was counted, what can have been missed, what the record moved, what is odd."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Case, Preparation
from burden.inference.arrivals import PRIOR_NONE
from burden.inference.history import HistoryRuns, log_likelihood
from burden.inference.looks_on_record import is_read, rows_by_day, rows_of
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters, whole_look
from burden.inference.prior import Ensemble
from burden.inference.sampler import Sampled
from burden.statistics import zero_share
from burden.statistics.adaptive_importance import effective_size
from burden.utils.results import CredibleInterval
from burden.utils.wording import Remark

__all__ = [
    "HiddenByUnknownDose",
    "LookedTwice",
    "Quantity",
    "SampleReading",
    "SkinNotRead",
    "chance_of_never",
    "counted",
    "detection",
    "hidden_by_unknown_dose",
    "looked_twice",
    "moved",
    "not_read",
    "sample_reading",
]


@dataclass(frozen=True)
class SampleReading(Remark):
    """What was looked at on the visit day, and what such a look misses.

    Parameters
    ----------
    preparations, fish, flukes : int
        Looked at, and counted at least; no preparation where nothing was looked at.
    method : str
        The one way they were made, or empty.
    level : float
        A burden to ask about: a usual one, to one figure [flukes/fish].
    chance_above : float or None
        Chance of a mean burden above the level had every preparation been clean [-].
    at_least : bool
        Whether some counts were not ended, so that there were more.
    """

    preparations: int
    fish: int
    flukes: int
    method: str
    level: float
    chance_above: float | None
    at_least: bool = False


@dataclass(frozen=True)
class Quantity(Remark):
    """A quantity that the record may move, by name: a value of the evidence, or what `moved` names besides."""

    name: str


@dataclass(frozen=True)
class LookedTwice(Remark):
    """The whole of a site was counted more than once: read as looks at the same flukes."""

    day: date
    fish: str
    site: str
    times: int


@dataclass(frozen=True)
class SkinNotRead(Remark):
    """Preparations of the skin left out, because gill flukes that stray there are not read."""

    parasite: str
    preparations: int
    flukes: int


#: so long a drug may hide flukes: the eggs it spared have hatched and grown since (assumption) [d]
_HIDES_DAYS = 60


@dataclass(frozen=True)
class HiddenByUnknownDose(Remark):
    """A drug that nobody can name was given: it may have cleared the fish for a while, so few flukes are seen.

    Parameters
    ----------
    dose_date : date
        The first such dose.
    before, now : CredibleInterval
        Flukes a fish before it and at the visit.
    """

    dose_date: date
    before: CredibleInterval
    now: CredibleInterval


def hidden_by_unknown_dose(
    case: Case, burden_on: Mapping[float, np.ndarray], now: CredibleInterval
) -> HiddenByUnknownDose | None:
    """Say how many flukes a drug that nobody can name may hide; None where none was given of late.

    Parameters
    ----------
    case : Case
    burden_on : mapping of float to numpy.ndarray
        Flukes a fish by day, before that day's dose, shape (M,) each.
    now : CredibleInterval
        At the visit [flukes per fish].
    """
    late = [
        day for day in case.unknown_doses if case.day_of(day) >= -_HIDES_DAYS and float(case.day_of(day)) in burden_on
    ]
    if not late:
        return None
    return HiddenByUnknownDose(min(late), CredibleInterval.of(burden_on[float(case.day_of(min(late)))]), now)


def chance_of_never(before: HistoryRuns, log_evidence: float, parasite: str) -> float:
    """Chance that the stock never carried a fluke: 0 where one was ever counted, else by Bayes' rule.

    Parameters
    ----------
    before : HistoryRuns
        Drawn from the prior.
    log_evidence : float
        Log chance of samples and death log where there are flukes.
    parasite : str
    """
    case = before.pond.case
    on_newcomers = parasite == case.parasites[0] and any(arrival.flukes_seen for _, arrival in case.arrivals)
    if on_newcomers or any(row.count_low > 0 for row in rows_of(case, parasite)):
        return 0.0
    carrying = np.log1p(-PRIOR_NONE) + log_evidence
    never = (
        np.log(PRIOR_NONE)
        + float(logsumexp(before.log_deaths_clean + before.log_signs_clean))
        - np.log(before.pond.size)
    )
    return float(np.exp(never - np.logaddexp(never, carrying)))


def detection(
    case: Case,
    parasite: str,
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    pond: Ensemble,
    stages: Mapping[str, np.ndarray],
) -> CredibleInterval:
    """Chance that the preparations taken from one infected fish, picked at random, show a fluke."""
    days = rows_by_day(case, parasite)
    if not days:
        return CredibleInterval.missing()
    rows = days[max(days)]
    home = pond.setting.parameters.evidence.site
    weight = pond.setting.fish.weight_g.mean(0)
    infected = 1 - zero_share(np.maximum(mean, 1e-9), k)
    chances = []
    for fish in sorted({row.fish for row in rows}):
        mine = [replace(row, chosen="random", count_low=0, count_high=0) for row in rows if row.fish == fish]
        nothing = np.exp(log_likelihood_of_samples(mine, mean, k, seen, home, weight, stages))
        chances.append((1 - nothing) / np.maximum(infected, 1e-12))
    return CredibleInterval.of(np.clip(np.mean(chances, axis=0), 0, 1))


def counted(case: Case, parasite: str) -> dict[str, Any] | None:
    """Prevalence, mean intensity and k of the counts themselves, fish by fish, at the last visit."""
    from burden.statistics import counted_summary

    rows = rows_of(case, parasite)
    if not rows:
        return None
    last = max(row.date for row in rows)
    totals: dict[str, int] = {}
    for row in rows:
        if row.date == last:
            totals[row.fish] = totals.get(row.fish, 0) + row.count_low
    return counted_summary(list(totals.values())).as_dict()


def sample_reading(
    found: Sampled[HistoryRuns], past: HistoryRuns, log_posterior: np.ndarray, parasite: str
) -> SampleReading:
    """Say what was looked at on the visit day, and what clean preparations like these would leave possible."""
    case = past.pond.case
    rows = rows_by_day(case, parasite).get(0.0, [])
    level = _round_level(past.pond.setting.parameters.evidence.values["abundance"].value * case.mean_weight_g.value)
    if not rows:
        return SampleReading(0, 0, 0, "", level, None)
    past, clean, whole = _as_if_clean(found, past, log_posterior, parasite)
    more = np.average(past.by_day[0.0]["all"] > level, weights=np.exp(clean - clean.max()))
    known = any(row.count_low > 0 for row in rows_of(case, parasite) if row.date != case.visit_date)
    seen_none = (1 - PRIOR_NONE) * np.exp(logsumexp(clean) - whole)
    chance = float(more * (1.0 if known else seen_none / (seen_none + PRIOR_NONE)))
    methods = {row.method or "" for row in rows}
    return SampleReading(
        preparations=_looks(rows),
        fish=len({row.fish for row in rows}),
        flukes=sum(row.count_low for row in rows),
        method=methods.pop() if len(methods) == 1 else "",
        level=level,
        chance_above=chance,
        at_least=any(row.count_high is None for row in rows),
    )


def _looks(rows: Sequence[Preparation]) -> int:
    """Number of preparations: adults and juveniles counted on one of them are two rows of it."""
    adult, juvenile = (
        Counter((row.fish, row.site, row.method) for row in rows if row.stage == stage)
        for stage in ("adult", "juvenile")
    )
    return len(rows) - (adult & juvenile).total()


def _as_if_clean(
    found: Sampled[HistoryRuns], past: HistoryRuns, log_posterior: np.ndarray, parasite: str
) -> tuple[HistoryRuns, np.ndarray, float]:
    """Ponds, their log weights had all of today's preparations been clean, and the log sum of their prior weights.

    Those drawn from the prior, or those that fit what was seen: whichever is worth more.
    """
    first, later = (log_likelihood(runs, parasite, clean=True) for runs in (found.before, past))
    later = log_posterior - log_likelihood(past, parasite) + later
    if effective_size(first) >= effective_size(later):
        return found.before, first, float(np.log(first.size))
    return past, later, float(logsumexp(log_posterior)) - found.log_evidence


def _round_level(value: float) -> float:
    """One significant figure."""
    magnitude = 10 ** np.floor(np.log10(value))
    return float(np.round(value / magnitude) * magnitude)


def moved(
    before: HistoryRuns, pond: Ensemble, seen: ObservationParameters, abundance_then: np.ndarray
) -> list[tuple[str, CredibleInterval, CredibleInterval]]:
    """Prior beside posterior of what the data may barely move, by code (words: `burden.report.text.burden`).

    Parameters
    ----------
    before : HistoryRuns
        Drawn from the prior.
    pond, seen, abundance_then
        Of the posterior.
    """
    first, after = before.pond.setting.parameters, pond.setting.parameters
    clip = "gill_clip" if first.evidence.site == "gill" else "skin_scrape"
    names = [x for x in ("aggregation", "hazard_per_burden", "reproduction_number") if x in first.values]
    pairs = {
        "abundance_before": (before.abundance_then, abundance_then),
        **{name: (first[name], after[name]) for name in names},
        f"share_seen_{clip}": (before.seen.share_factor[clip], seen.share_factor[clip]),
        "part_shape": (before.seen.part_shape, seen.part_shape),
        "selection_bias": (before.seen.selection_bias, seen.selection_bias),
    }
    rows = [(name, CredibleInterval.of(a), CredibleInterval.of(b)) for name, (a, b) in pairs.items()]
    steady, courses = first["background_hazard"], before.courses
    rate = (steady[:, None] + courses.courses.at(0.0)).ravel()
    chance = np.tile(np.exp(courses.log_prior), steady.size)
    now = after["background_hazard"] + pond.setting.other_rate(0.0)
    return [*rows, ("background_hazard", CredibleInterval.of(rate, chance), CredibleInterval.of(now))]


def looked_twice(case: Case, parasite: str) -> list[LookedTwice]:
    """Say which counts were read as looks at the same flukes."""
    whole = Counter(
        (row.date, row.fish, row.site, row.stage)
        for rows in rows_by_day(case, parasite).values()
        for row in rows
        if whole_look(row)
    )
    return [LookedTwice(day, fish, site, times) for (day, fish, site, _), times in whole.items() if times > 1]


def not_read(case: Case, parasite: str) -> list[SkinNotRead]:
    """Say which preparations were left out because gill flukes on the skin are not read."""
    left_out = [row for row in rows_of(case, parasite) if not is_read(case, parasite, row)]
    return [SkinNotRead(parasite, len(left_out), sum(row.count_low for row in left_out))] if left_out else []

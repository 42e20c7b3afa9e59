"""What is told beside the burden: what was counted, what can have been missed, what the record moved, what is odd."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Case
from burden.inference.history import HistoryRuns, is_read, log_likelihood, rows_by_day, rows_of
from burden.inference.observation import ObservationParameters, log_likelihood_of_samples, whole_look
from burden.inference.prior import Ensemble, other_cause_rates
from burden.statistics import zero_share
from burden.utils.formatting import named
from burden.utils.results import CredibleInterval

__all__ = ["PRIOR_NONE", "chance_of_never", "counted", "detection", "looked_twice", "missed", "moved", "not_read"]

PRIOR_NONE = 0.2  # prior chance that the stock carries no fluke at all: an assumption


def chance_of_never(past: HistoryRuns, log_posterior: np.ndarray, parasite: str) -> float:
    """Chance that the stock never carried a fluke: 0 where one was ever counted, else by Bayes' rule."""
    if any(row.count_low > 0 for row in rows_of(past.pond.case, parasite)):
        return 0.0
    whole = float(logsumexp(past.log_prior))
    carrying = np.log1p(-PRIOR_NONE) + float(logsumexp(log_posterior)) - whole
    never = np.log(PRIOR_NONE) + float(logsumexp(past.log_prior + past.log_deaths_clean[past.of])) - whole
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
    home = pond.setting.parameters.evidence.about["site"]
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


def _with_article(number: str) -> str:
    """Write a number below 100 after its article.

    Examples
    --------
    >>> _with_article("4"), _with_article("18"), _with_article("80")
    ('a 4', 'an 18', 'an 80')
    """
    return f"{'an' if number[0] == '8' or number in ('11', '18') else 'a'} {number}"


def missed(past: HistoryRuns, parasite: str) -> str:
    """What samples like these can have missed, in words: the second line of every report."""
    case = past.pond.case
    rows = rows_by_day(case, parasite).get(0.0, [])
    if not rows:
        return "Nothing was looked at on this visit, so nothing is ruled out."
    clean = log_likelihood(past, parasite, clean=True) + past.log_prior
    level = _round_level(
        past.pond.setting.parameters.evidence.values["abundance"].value * past.pond.case.mean_weight_g.value
    )
    more = np.average(past.by_day[0.0]["all"][past.of] > level, weights=np.exp(clean - clean.max()))
    known = any(row.count_low > 0 for row in rows_of(case, parasite) if row.date != case.visit_date)
    seen_none = (1 - PRIOR_NONE) * np.exp(logsumexp(clean) - logsumexp(past.log_prior))
    chance = float(more * (1.0 if known else seen_none / (seen_none + PRIOR_NONE)))
    fish, counts = len({row.fish for row in rows}), sum(row.count_low for row in rows)
    # adults and juveniles counted on one preparation are two rows of it
    adult, juvenile = (
        Counter((row.fish, row.site, row.method) for row in rows if row.stage == stage)
        for stage in ("adult", "juvenile")
    )
    looks = len(rows) - (adult & juvenile).total()
    several = f"{looks} {'preparation' if looks == 1 else 'preparations'} of {fish} fish"
    # a look never makes it impossible
    percent = _with_article(f"{100 * chance:.0f}") if chance >= 0.005 else "less than a 1"
    leaves = f"{percent} % chance of more than {level:g} flukes a fish"
    if counts:
        return f"{several}, had all been clean, would still leave {leaves}; yours showed {counts}."
    return f"{several}, all clean like yours, still leave {leaves}."


def _round_level(value: float) -> float:
    """One significant figure."""
    magnitude = 10 ** np.floor(np.log10(value))
    return float(np.round(value / magnitude) * magnitude)


def moved(
    past: HistoryRuns, pond: Ensemble, seen: ObservationParameters, chosen: np.ndarray
) -> list[tuple[str, CredibleInterval, CredibleInterval]]:
    """Prior beside posterior of what the data may barely move."""
    weight, ways = np.exp(past.log_weight), np.exp(past.log_prior)
    before, after = past.pond.setting.parameters, pond.setting.parameters
    rates = other_cause_rates(pond.case.findings.other)
    background = before["background_hazard"][past.of] + np.resize(rates, past.of.size)
    clip = "gill_clip" if before.evidence.about["site"] == "gill" else "skin_scrape"
    found = [
        (
            f"share seen, over its median ({named(clip)})",
            past.seen.share_factor[clip],
            seen.share_factor[clip],
        ),
        ("clumping of a part-count", past.seen.part_shape, seen.part_shape),
        ("tilt of sick fish", past.seen.selection_bias, seen.selection_bias),
        ("deaths without flukes (per day)", background, after["background_hazard"]),
    ]
    looking = [(name, CredibleInterval.of(a, ways), CredibleInterval.of(b)) for name, a, b in found]
    pairs = {"aggregation k": (before["aggregation"], after["aggregation"])}
    if "hazard_per_burden" in before.values:
        pairs["deaths per fluke/g (per day)"] = (before["hazard_per_burden"], after["hazard_per_burden"])
    if "reproduction_number" in before.values:
        pairs["reproduction number"] = (before["reproduction_number"], after["reproduction_number"])
    ponds = [(name, CredibleInterval.of(a, weight), CredibleInterval.of(b)) for name, (a, b) in pairs.items()]
    then = past.abundance_then
    return [
        (
            "flukes a fish at the start of the record",
            CredibleInterval.of(then, weight),
            CredibleInterval.of(then[chosen]),
        ),
        *ponds,
        *looking,
    ]


def looked_twice(case: Case, parasite: str) -> list[str]:
    """Say which counts were read as looks at the same flukes."""
    whole = Counter(
        (f"{row.date}", row.fish, row.site, row.stage)
        for rows in rows_by_day(case, parasite).values()
        for row in rows
        if whole_look(row)
    )
    return [
        f"{when}, fish {fish}: the whole of the {named(site)} was counted {times} times, read as one look "
        "at the same flukes; for the two sides of a fish write fraction_examined 0.5 each"
        for (when, fish, site, _), times in whole.items()
        if times > 1
    ]


def not_read(case: Case, parasite: str) -> list[str]:
    """Say which preparations were left out because gill flukes on the skin are not read."""
    left_out = [row for row in rows_of(case, parasite) if not is_read(case, parasite, row)]
    if not left_out:
        return []
    several = "1 preparation" if len(left_out) == 1 else f"{len(left_out)} preparations"
    found = sum(row.count_low for row in left_out)
    return [
        f"{several} of the skin ({found} flukes) not read: {parasite} is a gill fluke, and how many stray is nobody's "
        'figure; [parasite] gill_flukes_on_skin = "yes" reads them (common practice, no source)'
    ]

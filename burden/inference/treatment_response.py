"""Did the last dose work: what samples before and after it say, and what was to be expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.special import ndtri

from burden.case import Action, Case, Preparation
from burden.inference.dose_accounts import Accounts, verdict_of
from burden.inference.looks_on_record import is_read, rows_of
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import draw_seen
from burden.inference.paired_samples import Between, counts_by_fish
from burden.inference.prior import draw_pond
from burden.inference.recorded_dose import STEPS, from_outside, given_in_more, more_to_see, still_open, taken_out
from burden.inference.response_result import (
    ByTheRecord,
    LongAgo,
    NextStep,
    Response,
    Unanswered,
    VerdictReason,
)
from burden.inference.sampler import TOO_FEW, Effort, sample
from burden.inference.treatment_failure import why_it_fell_short
from burden.model.windows import windows_after
from burden.utils.random_streams import steered, uniform_draws
from burden.utils.results import CredibleInterval
from burden.utils.wording import Remark

__all__ = ["response"]


#: stream of the ratio of burdens
_RATIO = "ratio after over before"
#: standard deviation of the log ratio of burdens after and before, before anything was counted: an assumption, wide
#: enough for no effect at all and for 1 in 10,000 left
_RATIO_MEDIAN, _RATIO_SD = 0.15, 2.5
#: chance that it fell short from which the reasons are weighed
_WORTH_ASKING = 0.2
#: expected share of flukes settled since from which counts that leave it open cannot judge the dose [-]
_MOSTLY_NEW = 0.5
#: so many generations after a dose even what came of its survivors says little of it: an assumption [-]
_GENERATIONS = 2.0


def _long_after(between: Between, day: int) -> bool:
    """Whether a look came so long after a dose that flukes of the second generation since then lay."""
    pond = between.pond
    if not pond.has_windows:
        return False
    setting = pond.setting
    found = windows_after(setting.parameters, np.zeros(pond.size), setting.temperature, float(day))
    generation = float(np.median(found.mean_hatch + found.larval_life + found.earliest_maturity))
    return bool(between.days[1] - day >= _GENERATIONS * generation)


def response(
    case: Case,
    parasite: str | None = None,
    draws: int = 500,
    seed: int = 1,
    by_record: ByTheRecord | None = None,
) -> Response:
    """Judge the last dose before the visit.

    Parameters
    ----------
    case : Case
    parasite : str, optional
        One of the case's sets; the first when not given.
    draws, seed : int
        Number of draws and seed.
    by_record : ByTheRecord, optional
        Where a decision takes the dose for one that fell short, why: the verdict then is the same.

    Notes
    -----
    What is gone is estimated from the two samples alone, with a wide prior of the ratio of burdens, the same
    aggregation, shares and clumping on both days. The verdict weighs accounts of the dose by how likely each makes the
    counts (`burden.inference.paired_samples`): in every pond it did what it should, or too little in one of the ways of
    `burden.inference.treatment_failure`. A pond fell short where more than twice as many are left as with the whole
    dose, and before
    the later counts that is held as likely as not. With a chance P that it fell short, twice the smaller of P and
    1 − P is taken back: counts that fit both alike tell nothing of the dose. Where more than half of the flukes on the
    fish have settled since, by a run in which the dose leaves none on them, the verdict is new settlers: of a dose that
    did not fall short, and of what was taken back.
    """
    parasite = parasite or case.parasites[0]
    frame: dict[str, Any] = {
        "case": case, "parasite": parasite, "seed": seed, "draws": draws, "by_record": by_record
    }  # fmt: skip
    doses = case.doses_given
    if not doses:
        return _cannot(frame, None, "no_dose")
    looks = _Looks.around(case, parasite, doses[-1])
    if not looks.before or not looks.after:
        return _cannot(frame, doses[-1], "no_sample_after" if looks.before else "no_sample_before")
    ratio, weight, effective = _ratio_of_counts(case, parasite, looks.before, looks.after, seed)
    if effective < TOO_FEW:
        return _cannot(frame, doses[-1], "too_few_draws")
    frame |= {"reduction_percent": CredibleInterval.of(100 * (1 - ratio), weight), "effective_draws": effective}
    return _judged(frame, looks, Between.of(case, parasite, looks.before, looks.after, draws, seed + 1))


@dataclass(frozen=True)
class _Looks:
    """A dose, and the preparations of the last day looked at up to it and of the last day since."""

    dose: Action
    before: list[Preparation]
    after: list[Preparation]

    @classmethod
    def around(cls, case: Case, parasite: str, dose: Action) -> _Looks:
        rows = [r for r in rows_of(case, parasite) if is_read(case, parasite, r)]
        before, after = [r for r in rows if r.date <= dose.date], [r for r in rows if r.date > dose.date]
        return cls(dose, _of_the_last_day(before), _of_the_last_day(after))


def _of_the_last_day(rows: list[Preparation]) -> list[Preparation]:
    last = max((row.date for row in rows), default=None)
    return [row for row in rows if row.date == last]


def _judged(frame: dict[str, Any], looks: _Looks, between: Between) -> Response:
    """Weigh the accounts of a dose, and say what follows."""
    case, by_record, dose, later = frame["case"], frame["by_record"], looks.dose, looks.after[0].date
    accounts = Accounts.of(between)
    chances, likely = accounts.verdicts(), between.weight_before
    expected = accounts.left / np.maximum(between.start, 1e-9)
    new = CredibleInterval.of(accounts.new, likely)
    verdict, late = _verdict(chances, new, by_record, between, case.day_of(dose.date))
    why = LongAgo((later - dose.date).days) if late else VerdictReason(verdict)
    asked = not late and (verdict == "fell_short" or chances["fell_short"] >= _WORTH_ASKING)
    return Response(
        **frame,
        dose_date=dose.date,
        before=looks.before[0].date,
        after=later,
        expected_reduction_percent=CredibleInterval.of(100 * (1 - expected), likely),
        new_share=new,
        verdict_probability=chances,
        reasons=(by_record or why, *from_outside(case, verdict), *given_in_more(case, dose), *taken_out(dose)),
        next_steps=(NextStep("look_two_days_after"),)
        if late
        else more_to_see(case, len({row.fish for row in looks.after}), still_open(case, dose, STEPS[verdict])),
        counted=_counted(looks.before, looks.after),
        counted_if_same_fish=_paired(looks.before, looks.after),
        causes=why_it_fell_short(case, accounts.failed) if asked else (),
    )


def _verdict(
    chances: Mapping[str, float], new: CredibleInterval, by_record: ByTheRecord | None, between: Between, day: int
) -> tuple[str, bool]:
    """Return the verdict, and whether the counts came too late after a dose of that day to judge it."""
    verdict = "fell_short" if by_record is not None else verdict_of(chances)
    late = by_record is None and verdict != "worked" and _long_after(between, day)
    late = late or (verdict == "cannot_tell" and new.median > _MOSTLY_NEW)
    return ("cannot_tell" if late and verdict == "fell_short" else verdict), late


def _counted(before: Sequence[Preparation], after: Sequence[Preparation]) -> dict[str, Any] | None:
    """Reduction of the mean count per fish, without a model: comparable where both days were looked at alike."""
    from burden.statistics import reduction

    return reduction(list(counts_by_fish(before).values()), list(counts_by_fish(after).values())).as_dict()


def _paired(before: Sequence[Preparation], after: Sequence[Preparation]) -> dict[str, Any] | None:
    """The same fish by fish, where the labels are the same ones; a label is a fish's own on one day only."""
    from burden.statistics import paired_reduction

    first, second = counts_by_fish(before), counts_by_fish(after)
    if set(first) != set(second):
        return None
    return paired_reduction(list(first.values()), [second[label] for label in first]).as_dict()


def _cannot(
    frame: dict[str, Any],
    dose: Action | None,
    kind: Literal["no_dose", "no_sample_before", "no_sample_after", "too_few_draws"],
) -> Response:
    nothing = CredibleInterval.missing()
    known: tuple[Remark, ...] = tuple(filter(None, [frame["by_record"]]))
    return Response(
        **frame,
        dose_date=None if dose is None else dose.date,
        before=None,
        after=None,
        reduction_percent=nothing,
        expected_reduction_percent=nothing,
        new_share=nothing,
        verdict_probability={"worked": 0.0, "fell_short": 0.0, "new_settlers": 0.0, "cannot_tell": 1.0},
        reasons=(
            *known,
            Unanswered(kind, None if dose is None else dose.date),
            *(() if dose is None else (*given_in_more(frame["case"], dose), *taken_out(dose))),
        ),
        next_steps=(
            *(still_open(frame["case"], dose, STEPS["fell_short"]) if known and dose is not None else ()),
            NextStep("sample_before_and_after"),
        ),
    )


def _ratio_of_counts(
    case: Case, parasite: str, before: list, after: list, seed: int
) -> tuple[np.ndarray, np.ndarray, float]:
    """Ratio of burdens after and before, its weights, (n,) each, and the draws these are worth."""

    def draw(n: int, round_seed: int, ranks: Mapping[str, np.ndarray]) -> tuple[None, Mapping, np.ndarray]:
        with steered(n, round_seed, ranks) as streams:
            pond = draw_pond(case, parasite, n, round_seed)
            p, weight_g = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
            seen, value = draw_seen(p.evidence, n, round_seed), p.evidence.values["abundance"]
            start = value.quantile(uniform_draws("burden before", n, round_seed)) * weight_g
            ratio = _ratio_of(uniform_draws(_RATIO, n, round_seed))
        home, k = p.evidence.site, p["aggregation"]
        log = log_likelihood_of_samples(before, start, k, seen, home, weight_g)
        return None, streams.met, log + log_likelihood_of_samples(after, start * ratio, k, seen, home, weight_g)

    found = sample(draw, Effort(1500, 2500), seed, lambda number: None)
    weight = np.exp(found.log_weight - found.log_weight.max())
    return _ratio_of(found.ranks[_RATIO]), weight, found.effective_draws


def _ratio_of(rank: np.ndarray) -> np.ndarray:
    """Ratio of burdens after and before at a rank of what is believed of it."""
    return _RATIO_MEDIAN * np.exp(_RATIO_SD * ndtri(rank))

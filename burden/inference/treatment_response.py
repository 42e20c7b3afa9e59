"""Did the last dose work: what samples before and after it say, and what was to be expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
from scipy.special import ndtri

from burden.case import UNKNOWN_AGENT, Action, Case, Preparation
from burden.inference.diagnostics import not_read
from burden.inference.dose_accounts import VERDICTS, Accounts, verdict_of
from burden.inference.estimate import draw_seen, log_likelihood_of_samples
from burden.inference.history import is_read, rows_of
from burden.inference.infection_pressure import pressure_on
from burden.inference.paired_samples import Between, counts_by_fish
from burden.inference.prior import draw_pond
from burden.inference.sampler import TOO_FEW, Effort, sample
from burden.inference.treatment_failure import Cause, could_be_removed, why_it_fell_short
from burden.model.windows import windows_after
from burden.utils.random_streams import steered, uniform_draws
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "VERDICTS",
    "ByTheRecord",
    "FromOutside",
    "LongAgo",
    "NextStep",
    "RemovedFromWater",
    "Response",
    "Unanswered",
    "VerdictReason",
    "WeighedForOtherWater",
    "response",
]

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


@dataclass(frozen=True)
class Unanswered(Remark):
    """Why nothing can be said of the last dose."""

    kind: Literal["no_dose", "no_sample_before", "no_sample_after", "too_few_draws"]
    dose_date: date | None


@dataclass(frozen=True)
class VerdictReason(Remark):
    """What the counts show, by the verdict."""

    verdict: str


@dataclass(frozen=True)
class ByTheRecord(Remark):
    """All that is known speaks of a dose that killed too few, and the decision acts on it, whatever two samples say.

    Parameters
    ----------
    chance : float
        That it killed too few, in the draws of the estimate [-].
    held_up : bool
        Whether preparations showed nearly as many flukes soon after it as before the first.
    """

    chance: float
    held_up: bool


@dataclass(frozen=True)
class WeighedForOtherWater(Remark):
    """A dose of `mg_l`, weighed out for the water believed, that came to `reached_mg_l` in the water there is."""

    believed_l: float
    volume_l: float
    mg_l: float
    reached_mg_l: float


@dataclass(frozen=True)
class RemovedFromWater(Remark):
    """A lamp or carbon that was left on took the agent out of the water."""

    agent: str
    dose_date: date


@dataclass(frozen=True)
class LongAgo(Remark):
    """The dose cannot be judged: so many days after it most flukes on the fish have likely settled since."""

    days: int


@dataclass(frozen=True)
class FromOutside(Remark):
    """Some of the flukes counted later may have come with the water, from neighbours."""


@dataclass(frozen=True)
class NextStep(Remark):
    """What to do next."""

    step: Literal[
        "check_volume",
        "check_removal",
        "longer_not_stronger",
        "look_at_more_fish",
        "look_at_more_of_each",
        "look_two_days_after",
        "next_dose_on_its_date",
        "sample_before_and_after",
    ]


_STEPS: dict[str, tuple[NextStep, ...]] = {
    "fell_short": (NextStep("check_volume"), NextStep("check_removal"), NextStep("longer_not_stronger")),
    "cannot_tell": (NextStep("look_at_more_fish"), NextStep("look_two_days_after")),
    "worked": (NextStep("next_dose_on_its_date"),),
    "new_settlers": (NextStep("next_dose_on_its_date"), NextStep("look_two_days_after")),
}


@dataclass(frozen=True)
class Response(Result):
    """Whether the last dose before the visit worked, one parasite set.

    Parameters
    ----------
    dose_date : date or None
    before, after : date or None
        Samples compared.
    reduction_percent, expected_reduction_percent : CredibleInterval
        What the counts say, and what kill and new settlers together lead one to expect [%].
    new_share : CredibleInterval
        Share of the flukes expected on the fish at the later sample that settled since the dose.
    verdict_probability : mapping of str to float
        Sums to one.
    reasons : tuple of Remark
        Why this verdict, and what is to be known of the dose besides.
    next_steps : tuple of NextStep
        The first one first.
    counted, counted_if_same_fish : mapping or None
        Reduction of the mean count a fish itself [%], with its method; says nothing of what preparations miss. The
        second pairs the fish, where both days bear the same labels.
    causes : tuple of Cause
        Why it fell short, if it did; empty where that is unlikely.
    by_record : ByTheRecord or None
        Why it counts as one that fell short, though these samples alone may leave it open.
    """

    case: Case
    parasite: str
    seed: int
    draws: int
    dose_date: date | None
    before: date | None
    after: date | None
    reduction_percent: CredibleInterval
    expected_reduction_percent: CredibleInterval
    new_share: CredibleInterval
    verdict_probability: Mapping[str, float]
    reasons: tuple[Remark, ...]
    next_steps: tuple[NextStep, ...]
    counted: Mapping[str, Any] | None = None
    counted_if_same_fish: Mapping[str, Any] | None = None
    causes: tuple[Cause, ...] = ()
    effective_draws: float | None = None
    by_record: ByTheRecord | None = None

    @property
    def verdict(self) -> str:
        """The one verdict on the dose: fell short where the whole record says so, else that of the samples."""
        if self.by_record is not None:
            return "fell_short"
        verdict = verdict_of(self.verdict_probability)
        return "cannot_tell" if self.long_ago and verdict == "fell_short" else verdict

    @property
    def long_ago(self) -> bool:
        """Whether the counts came too late after the dose to judge it."""
        return any(isinstance(reason, LongAgo) for reason in self.reasons)

    @property
    def reason(self) -> str:
        """Why this verdict, in words."""
        return " ".join(map(text_of, self.reasons))

    @property
    def what_next(self) -> list[str]:
        """What to do next, in words."""
        return list(map(text_of, self.next_steps))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What looks odd in the case, and what of it was not read."""
        return (*self.case.warnings, *map(str, not_read(self.case, self.parasite)))

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "dose_date": None if self.dose_date is None else self.dose_date.isoformat(),
            "sampled_before": None if self.before is None else self.before.isoformat(),
            "sampled_after": None if self.after is None else self.after.isoformat(),
            "reduction_percent": self.reduction_percent.as_dict(),
            "expected_reduction_percent": self.expected_reduction_percent.as_dict(),
            "new_settler_share": self.new_share.as_dict(),
            "verdict": self.verdict,
            "verdict_probability": dict(self.verdict_probability),
            "by_record": None if self.by_record is None else self.by_record.as_dict(),
            "effective_draws": None if self.effective_draws is None else number(self.effective_draws),
            "counted": self.counted,
            "counted_if_same_fish": self.counted_if_same_fish,
            "causes": [cause.as_dict() for cause in self.causes],
            "reason": self.reason,
            "reasons": [reason.as_dict() for reason in self.reasons],
            "what_next": self.what_next,
            "next_steps": [step.as_dict() for step in self.next_steps],
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the verdicts, a row each."""
        return [{"verdict": name, "probability": share} for name, share in self.verdict_probability.items()]


#: a dose weighed out for water that differs by no more was weighed out for this water: an assumption [-]
_SAME_WATER = 0.05


def _given_in_more(case: Case, dose: Action) -> tuple[WeighedForOtherWater, ...]:
    """Say what a dose came to that was weighed out for other water than the case has."""
    volume, believed, mg_l = case.water.volume_l.value, dose.volume_l_believed, dose.concentration_mg_l
    if believed is None or mg_l is None or abs(believed / volume - 1) <= _SAME_WATER:
        return ()
    return (WeighedForOtherWater(believed, volume, mg_l, mg_l * believed / volume),)


def _long_after(between: Between, day: int) -> bool:
    """Whether a look came so long after a dose that flukes of the second generation since then lay."""
    pond = between.pond
    if not pond.has_windows:
        return False
    setting = pond.setting
    found = windows_after(setting.parameters, np.zeros(pond.size), setting.temperature, float(day))
    generation = float(np.median(found.mean_hatch + found.larval_life + found.earliest_maturity))
    return bool(between.days[1] - day >= _GENERATIONS * generation)


def _from_outside(case: Case, verdict: str) -> tuple[FromOutside, ...]:
    """Say that flukes may have come in since, where some may and the dose is not known to have worked."""
    return () if verdict == "worked" or pressure_on(case) is None else (FromOutside(),)


def _taken_out(dose: Action) -> tuple[RemovedFromWater, ...]:
    """Say that what was left running took the agent out of the water."""
    if not dose.uv_or_carbon_on or dose.agent is None or dose.agent == UNKNOWN_AGENT:
        return ()
    return (RemovedFromWater(dose.agent, dose.date),)


def _more_to_see(case: Case, looked: int, steps: tuple[NextStep, ...]) -> tuple[NextStep, ...]:
    """Ask for more of each fish where there are no more fish to look at."""
    if looked < case.fish_count:
        return steps
    return tuple(NextStep("look_at_more_of_each") if one.step == "look_at_more_fish" else one for one in steps)


def _still_open(case: Case, dose: Action, steps: tuple[NextStep, ...]) -> tuple[NextStep, ...]:
    """Leave out the questions that the record of the dose answers."""
    answered = set()
    if _given_in_more(case, dose):
        answered.add("check_volume")
    if dose.uv_or_carbon_on or not could_be_removed(case):
        answered.add("check_removal")
    return tuple(one for one in steps if one.step not in answered)


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
    rows = [r for r in rows_of(case, parasite) if is_read(case, parasite, r)]
    given = doses[-1].date
    before = [r for r in rows if r.date <= given]
    after = [r for r in rows if r.date > given]
    if not before or not after:
        return _cannot(frame, doses[-1], "no_sample_before" if not before else "no_sample_after")
    earlier, later = max(r.date for r in before), max(r.date for r in after)
    before, after = [r for r in before if r.date == earlier], [r for r in after if r.date == later]
    ratio, weight, effective = _ratio_of_counts(case, parasite, before, after, seed)
    if effective < TOO_FEW:
        return _cannot(frame, doses[-1], "too_few_draws")
    between = Between.of(case, parasite, before, after, draws, seed + 1)
    accounts = Accounts.of(between)
    chances, likely = accounts.verdicts(), between.weight_before
    expected = accounts.left / np.maximum(between.start, 1e-9)
    verdict = "fell_short" if by_record is not None else verdict_of(chances)
    new = CredibleInterval.of(accounts.new, likely)
    late = by_record is None and verdict != "worked" and _long_after(between, case.day_of(given))
    late = late or (verdict == "cannot_tell" and new.median > _MOSTLY_NEW)
    verdict = "cannot_tell" if late and verdict == "fell_short" else verdict
    why = LongAgo((later - given).days) if late else VerdictReason(verdict)
    asked = not late and (verdict == "fell_short" or chances["fell_short"] >= _WORTH_ASKING)
    return Response(
        **frame,
        dose_date=given,
        before=earlier,
        after=later,
        reduction_percent=CredibleInterval.of(100 * (1 - ratio), weight),
        expected_reduction_percent=CredibleInterval.of(100 * (1 - expected), likely),
        new_share=new,
        effective_draws=effective,
        verdict_probability=chances,
        reasons=(
            by_record or why,
            *_from_outside(case, verdict),
            *_given_in_more(case, doses[-1]),
            *_taken_out(doses[-1]),
        ),
        next_steps=(NextStep("look_two_days_after"),)
        if late
        else _more_to_see(case, len({row.fish for row in after}), _still_open(case, doses[-1], _STEPS[verdict])),
        counted=_counted(before, after),
        counted_if_same_fish=_paired(before, after),
        causes=why_it_fell_short(case, accounts.failed) if asked else (),
    )


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
            *(() if dose is None else (*_given_in_more(frame["case"], dose), *_taken_out(dose))),
        ),
        next_steps=(
            *(_still_open(frame["case"], dose, _STEPS["fell_short"]) if known and dose is not None else ()),
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

"""Whether the last dose worked: the verdict, its reasons and what to do next, as codes and numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from burden.case import Case
from burden.inference.diagnostics import not_read
from burden.inference.dose_accounts import verdict_of
from burden.inference.treatment_failure import Cause
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "ByTheRecord",
    "FromOutside",
    "LongAgo",
    "NextStep",
    "RemovedFromWater",
    "Response",
    "Unanswered",
    "VerdictReason",
    "WeighedForOtherWater",
]


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

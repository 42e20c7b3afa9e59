"""What every sampling plan has in common: fish, fish killed, the reason, and what would change it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from burden.utils.results import CredibleInterval, Result, number
from burden.utils.wording import text_of

__all__ = ["MOST_PREPARATIONS", "PlanRemark", "SamplingPlan"]

#: more from one live fish is not done (common practice, no source)
MOST_PREPARATIONS = 6


@dataclass(frozen=True)
class PlanRemark:
    """Something said of a plan: a code, read beside the plan's numbers.

    Parameters
    ----------
    plan : SamplingPlan
    code : str
    role : str
        headline, reason or change.
    """

    plan: SamplingPlan
    code: str
    role: str

    def __str__(self) -> str:
        return text_of(self)


@dataclass(frozen=True, kw_only=True)
class SamplingPlan(Result):
    """A sampling plan.

    Parameters
    ----------
    fish : int or None
        Fish to sample; None where no number of fish answers the question, and `reason` says why.
    fish_killed : int
        Healthy fish killed for it; moribund fish do not count.
    reason : str
        Why this plan: a code, to be read beside the plan's numbers.
    what_would_change : tuple of str
        What would change it: codes.
    """

    fish: int | None
    fish_killed: int = 0
    reason: str
    what_would_change: tuple[str, ...]

    @property
    def because(self) -> PlanRemark:
        """Why this plan; `str` gives the sentence."""
        return PlanRemark(self, self.reason, "reason")

    @property
    def changes(self) -> tuple[PlanRemark, ...]:
        """What would change it; `str` gives each sentence."""
        return tuple(PlanRemark(self, code, "change") for code in self.what_would_change)

    def headline(self) -> str:
        """Return the plan in one line."""
        return str(PlanRemark(self, "headline", "headline"))

    def as_dict(self) -> dict[str, Any]:
        """Return every part of the plan as plain Python, null where a number cannot be given."""
        names = [f.name for f in fields(self) if f.name not in ("reason", "what_would_change")]
        return {
            **{name: _plain(getattr(self, name)) for name in names},
            "reason": str(self.because),
            "reason_code": self.reason,
            "what_would_change": [str(change) for change in self.changes],
            "what_would_change_codes": list(self.what_would_change),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row: the numbers and words of the plan that fit a cell."""
        return [{k: v for k, v in self.as_dict().items() if not isinstance(v, list | dict)}]


def _plain(value: Any) -> Any:
    if isinstance(value, CredibleInterval | Result):
        return value.as_dict()
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    return number(value)

"""What a search for a schedule recommends, and what it was chosen from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from burden.schedule.evaluation import EvaluatedSchedule
from burden.utils.results import Result

__all__ = ["Recommendation"]


@dataclass(frozen=True)
class Recommendation(Result):
    """What the search recommends.

    Parameters
    ----------
    recommended : EvaluatedSchedule or None
        Fewest doses that leave at most 10 of 1,000, the best of them; None where nothing may be given.
    eradication : EvaluatedSchedule or None
        Fewest doses that reach a mean probability of 0.9.
    nothing : EvaluatedSchedule
        Watch and wait.
    shortlist : tuple of EvaluatedSchedule
        Best of each number of doses and each line of agents, best first.
    reason, would_change : str
        In words.
    notes : tuple of str
    """

    recommended: EvaluatedSchedule | None
    eradication: EvaluatedSchedule | None
    nothing: EvaluatedSchedule
    shortlist: tuple[EvaluatedSchedule, ...]
    reason: str
    would_change: str = ""
    notes: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form; a schedule that there is none of is null."""
        return {
            "recommended": None if self.recommended is None else self.recommended.as_dict(),
            "eradication": None if self.eradication is None else self.eradication.as_dict(),
            "nothing": self.nothing.as_dict(),
            "shortlist": [judged.as_dict() for judged in self.shortlist],
            "reason": self.reason,
            "would_change": self.would_change,
            "notes": list(self.notes),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the schedules it was chosen from, nothing first, a row each."""
        return [
            {
                "doses": judged.doses,
                "days": " ".join(f"{day:g}" for day in judged.plan.days),
                "agents": " ".join(judged.plan.agents),
                "elimination_probability": judged.elimination.mean,
                "left_per_1000": judged.left_per_1000.median,
                "left_per_1000_low": judged.left_per_1000.low,
                "left_per_1000_high": judged.left_per_1000.high,
                "deaths": judged.deaths.median,
                "deaths_by_day": judged.deaths_by_day,
                "recommended": self.recommended is not None and judged.plan == self.recommended.plan,
            }
            for judged in (self.nothing, *self.shortlist)
        ]

    def text(self) -> str:
        """Return the choice in words, what was chosen first."""
        lines = [f"Nothing is recommended: {self.reason}."]
        if self.recommended is not None:
            lines = [f"Recommended: {self.recommended.text()}.", f"Why: {self.reason}"]
        if self.eradication is not None:
            lines.append(f"To be rid of them: {self.eradication.text()}.")
        lines.append(f"Left alone: {self.nothing.text()}.")
        if self.would_change:
            lines.append(f"If it turns out otherwise: {self.would_change}.")
        return "\n".join([*lines, *(f"Note: {note}." for note in self.notes)])

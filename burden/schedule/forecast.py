"""Flukes and deaths by day: untreated, as planned, as recommended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.model.elimination.probability import HORIZON_DAYS
from burden.schedule.projection import BANDS, Delay, Projection, fish_words
from burden.utils.results import CredibleInterval, Result, frame

__all__ = ["AFTER_A_DOSE", "STEADY_PER_DAY", "Forecast", "Regime", "regime_of"]

#: growth of the untreated course beyond which a pond grows or fades [1/d]
STEADY_PER_DAY = 0.005
#: what to watch for once doses go in
AFTER_A_DOSE = (
    "Breathing, and appetite in water warm enough to feed in, should pick up within one to two days of an effective "
    "dose; anaemic fish take weeks. No change by day 3 is a reason to look again (common practice, no source)."
)


Regime = Mapping[str, float]
"""growing, endemic, fading -> probability"""


@dataclass(frozen=True)
class Forecast(Result):
    """Forecast of one case and one parasite set."""

    case: Case
    parasite: str
    seed: int
    draws: int
    horizon_days: float
    regime: Regime
    untreated: Projection
    planned: Projection | None
    recommended: Projection | None
    withheld_reason: str | None
    warnings: Sequence[str] = ()
    delay: Delay | None = None

    def avoided(self, name: str) -> CredibleInterval | None:
        """Return the deaths that a course avoids by the horizon, draw by draw against the course left alone."""
        course = self.courses().get(name)
        return None if course is None else CredibleInterval.of(self.untreated.dead - course.dead)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "horizon_days": self.horizon_days,
            "elimination_by_days": HORIZON_DAYS,
            "regime_probability": dict(self.regime),
            "untreated": self.untreated.as_dict(),
            "planned": self.planned.as_dict() if self.planned else None,
            "recommended": self.recommended.as_dict() if self.recommended else None,
            "withheld_reason": self.withheld_reason,
            "deaths_avoided": {
                name: None if (avoided := self.avoided(name)) is None else avoided.as_dict()
                for name in ("planned", "recommended")
            },
            "week_later": self.delay.as_dict() if self.delay else None,
            "after_a_dose": AFTER_A_DOSE,
            "warnings": list(self.warnings),
        }

    def courses(self) -> dict[str, Projection]:
        """Return the courses there are, by name."""
        named = {"untreated": self.untreated, "planned": self.planned, "recommended": self.recommended}
        return {name: course for name, course in named.items() if course is not None}

    def rows(self) -> list[dict[str, Any]]:
        """Return flukes per fish and deaths by day, a row a course and day."""
        return [
            {
                "course": name,
                "date": (self.case.visit_date + timedelta(days=float(day))).isoformat(),
                "day": float(day),
                **{f"flukes_per_fish_{100 * band:g}": float(course.abundance[b, i]) for b, band in enumerate(BANDS)},
                **{f"deaths_{100 * band:g}": float(course.deaths[b, i]) for b, band in enumerate(BANDS)},
            }
            for name, course in self.courses().items()
            for i, day in enumerate(course.days)
        ]

    def text(self) -> str:
        """Return the forecast in words."""
        lines = [f"{self.parasite}, {self.horizon_days:g} days on from {self.case.visit_date.isoformat()}:"]
        for name, course in self.courses().items():
            lines.append(
                f"  {name}: {fish_words(course.deaths_end)} fish dead, {course.abundance_end.text()} flukes a fish; "
                f"rid of them a year after the last dose in {100 * course.elimination.mean:.0f} of 100 "
                f"({100 * course.elimination_braked.mean:.0f} with resistance and crowding as they stand)."
            )
        for name in ("planned", "recommended"):
            avoided = self.avoided(name)
            if avoided is not None:
                lines.append(f"  {name}, against left alone: {fish_words(avoided)} deaths avoided.")
        if self.delay is not None:
            lines.append(f"  {self.delay.text()}")
        if any(course.doses for course in self.courses().values()):
            lines.append(f"  {AFTER_A_DOSE}")
        if self.recommended is None and self.withheld_reason:
            lines.append(f"  nothing recommended: {self.withheld_reason}")
        chances = ", ".join(f"{name} {100 * share:.0f} %" for name, share in self.regime.items())
        return "\n".join([*lines, f"Left alone the pond is: {chances}.", *(f"Note: {w}" for w in self.warnings)])


def regime_of(start: np.ndarray, end: np.ndarray, days: float) -> dict[str, float]:
    """Share of draws that grow, stay and fade over the horizon, from flukes per fish, shape (M,) each.

    Growing is above +0.005 per day, fading below −0.005; a draw without flukes fades.
    """
    alive = start > 1e-9
    rate = np.full(start.shape, -np.inf)
    rate[alive] = np.log(np.maximum(end[alive], 1e-12) / start[alive]) / days
    growing, fading = float(np.mean(rate > STEADY_PER_DAY)), float(np.mean(rate < -STEADY_PER_DAY))
    return {"growing": growing, "endemic": max(1 - growing - fading, 0.0), "fading": fading}

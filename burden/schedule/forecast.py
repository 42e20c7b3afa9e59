"""Flukes and deaths by day: untreated, as planned, as recommended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.evidence import load_parasite
from burden.inference.estimate_result import Estimate
from burden.model.elimination.probability import HORIZON_DAYS, DoseSchedule
from burden.schedule.by_killer import IfThisKills, deaths_by_killer
from burden.schedule.fading import why_fading
from burden.schedule.projection import BANDS, DELAY_DAYS, Delay, Dosed, Projection, Strategy, follow
from burden.treatment.dose_result import DoseResult
from burden.utils.results import CredibleInterval, Result, frame
from burden.utils.wording import Remark

__all__ = ["STEADY_PER_DAY", "AfterADose", "Forecast", "Regime", "forecast_of", "regime_of"]

#: growth of the untreated course beyond which a pond grows or fades [1/d]
STEADY_PER_DAY = 0.005


@dataclass(frozen=True)
class AfterADose(Remark):
    """What to watch for once doses go in.

    Parameters
    ----------
    gills : bool
        Whether flukes of the gills are among them.
    """

    gills: bool = True

    @classmethod
    def of(cls, parasites: Sequence[str]) -> AfterADose:
        """Say what to watch for by where the flukes of these sets sit."""
        return cls(any(load_parasite(name).site == "gill" for name in parasites))


Regime = Mapping[str, float]
"""growing, endemic, fading -> probability"""


@dataclass(frozen=True)
class Forecast(Result):
    """Forecast of one case and one parasite set; `by_killer` where the death log leaves open who kills.

    `fewer_because` names what makes untreated flukes fewer, codes of `burden.schedule.fading.FADING`.
    """

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
    by_killer: tuple[IfThisKills, ...] = ()
    fewer_because: tuple[str, ...] = ()

    def avoided(self, name: str) -> CredibleInterval | None:
        """Return the deaths by flukes that a course avoids by the horizon, draw by draw against doing nothing."""
        course = self.courses().get(name)
        if course is None:
            return None
        return CredibleInterval.of(self.untreated.dead_by_flukes - course.dead_by_flukes)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "horizon_days": self.horizon_days,
            "elimination_by_days": HORIZON_DAYS,
            "regime_probability": dict(self.regime),
            "fewer_because": list(self.fewer_because),
            "untreated": self.untreated.as_dict(),
            "planned": self.planned.as_dict() if self.planned else None,
            "recommended": self.recommended.as_dict() if self.recommended else None,
            "withheld_reason": self.withheld_reason,
            "deaths_avoided": {
                name: None if (avoided := self.avoided(name)) is None else avoided.as_dict()
                for name in ("planned", "recommended")
            },
            "deaths_by_killer": [reading.as_dict() for reading in self.by_killer],
            "week_later": self.delay.as_dict() if self.delay else None,
            "after_a_dose": str(AfterADose.of([self.parasite])),
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
                "case": self.case.name,
                "parasite": self.parasite,
                "course": name,
                "date": (self.case.visit_date + timedelta(days=float(day))).isoformat(),
                "day": float(day),
                **{f"flukes_per_fish_{100 * band:g}": float(course.abundance[b, i]) for b, band in enumerate(BANDS)},
                **{f"deaths_{100 * band:g}": float(course.deaths[b, i]) for b, band in enumerate(BANDS)},
            }
            for name, course in self.courses().items()
            for i, day in enumerate(course.days)
        ]


def forecast_of(found: Estimate, advised: DoseSchedule | None, doses: Sequence[DoseResult], days: float) -> Forecast:
    """Forecast one parasite set of a case: untreated, as planned, as recommended.

    Parameters
    ----------
    found : Estimate
    advised : DoseSchedule or None
        The schedule recommended; None where no dose is.
    doses : sequence of DoseResult
        One a dose of it.
    days : float
        How far [d].
    """
    case, pond, state = found.case, found.pond, found.state
    doings = {"untreated": Strategy()}
    if case.planned:
        doings["planned"] = Strategy(events=pond.planned, doses=_written(case))
    if advised is not None:
        doings["recommended"] = Strategy(advised, doses=_weighed(case, advised, doses))
    followed, delay = follow(pond, state, days, list(doings.values()), None if advised is None else DELAY_DAYS)
    courses = dict(zip(doings, followed, strict=True))
    return Forecast(
        case=case,
        parasite=found.parasite,
        seed=found.seed,
        draws=found.draws,
        horizon_days=float(days),
        regime=regime_of(state.flukes_per_fish(pond.setting.fish), courses["untreated"].end, float(days)),
        untreated=courses["untreated"],
        planned=courses.get("planned"),
        recommended=courses.get("recommended"),
        withheld_reason=None,
        warnings=tuple(found.warnings),
        delay=delay,
        by_killer=deaths_by_killer(found, courses, float(days)),
        fewer_because=why_fading(pond, courses["untreated"].run, float(days)),
    )


def _weighed(case: Case, plan: DoseSchedule, doses: Sequence[DoseResult]) -> list[Dosed]:
    return [
        Dosed(case.visit_date + timedelta(days=day), d.agent, d.mg_l, None if d.apart else d.mass_g)
        for day, d in zip(plan.days, doses, strict=True)
    ]


def _written(case: Case) -> list[Dosed]:
    found = []
    for dose in case.doses_planned:
        mg_l = dose.concentration_mg_l
        mass_g = None if mg_l is None else mg_l * case.water.volume_l.value / 1000
        found.append(Dosed(dose.date, dose.agent or "unknown", mg_l, mass_g))
    return found


def regime_of(start: np.ndarray, end: np.ndarray, days: float) -> dict[str, float]:
    """Share of draws that grow, stay and fade over the horizon, from flukes per fish, shape (M,) each.

    Growing is above +0.005 per day, fading below −0.005; a draw without flukes fades.
    """
    alive = start > 1e-9
    rate = np.full(start.shape, -np.inf)
    rate[alive] = np.log(np.maximum(end[alive], 1e-12) / start[alive]) / days
    growing, fading = float(np.mean(rate > STEADY_PER_DAY)), float(np.mean(rate < -STEADY_PER_DAY))
    return {"growing": growing, "endemic": max(1 - growing - fading, 0.0), "fading": fading}

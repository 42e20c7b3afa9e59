"""Why this repeat interval: one parasite set, one temperature, one agent, in a reference pond.

The reference pond holds 40 fish of 400 g in 10 m³ with 50 adults a fish in the stable stage mix of the temperature,
without exchange, cleaning, fish deaths or brakes; each dose acts at once with the drawn kill of the agent's customary
bath and leaves no residue. Two aims are answered apart: control, and eradication.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from burden.evidence import ParasiteSet, load_agent, load_parasite
from burden.model.dose_effect import DoseEffect
from burden.model.lifecycle.transitions import Parameters, draw_parameters, establishment_for
from burden.model.temperature import Temperature
from burden.model.windows import Windows, safe_below_c, windows_after
from burden.schedule.fixed_interval import (
    REFERENCE_FISH,
    REFERENCE_VOLUME_M3,
    Regimen,
    control,
    eradicate,
    evaluate_courses,
    gaps_searched,
    search_courses,
)
from burden.treatment.bath import bath_effect
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.errors import CannotAnswerError
from burden.utils.formatting import plain
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = ["Borrowed", "Extrapolated", "IntervalAnswer", "LongerThanSafe", "NoEggs", "interval"]


@dataclass(frozen=True)
class NoEggs(Remark):
    """A live-bearer has no window to wait for."""


@dataclass(frozen=True)
class Extrapolated(Remark):
    """What was measured from `low_c` to `high_c` alone is read at `to_c` [°C]."""

    what: str
    low_c: float
    high_c: float
    to_c: float


@dataclass(frozen=True)
class Borrowed(Remark):
    """Values of relatives, or their timing, as "value from set"."""

    names: tuple[str, ...]
    timing: bool


@dataclass(frozen=True)
class LongerThanSafe(Remark):
    """The recommended gap is longer than the longest at which no settler can lay [d]."""

    gap_days: float
    safe_days: float


@dataclass(frozen=True)
class IntervalAnswer(Result):
    """The answer to `burden interval`. Courses are None where no number of doses serves, with the reason."""

    parasite: str
    title: str
    temperature_c: float
    agent: str
    mg_l: float
    hours: float
    seed: int
    draws: int
    windows: Windows | None
    recommended: Regimen | None
    eradication: Regimen | None
    why_not: Mapping[str, Remark | str]
    customary: Sequence[tuple[Regimen, str]]
    extrapolated: Sequence[str]
    sources: Sequence[str]
    remarks: Sequence[Remark | str]
    courses: Sequence[Regimen] = field(default=())
    two_weeks_safe_below_c: CredibleInterval = field(default_factory=CredibleInterval.missing)

    @property
    def bath(self) -> str:
        """The bath of every dose."""
        return f"{plain(self.mg_l)} mg/L for {plain(self.hours)} h"

    @property
    def reasons(self) -> dict[str, str]:
        """Why a course is None, in words."""
        return {aim: text_of(why) for aim, why in self.why_not.items()}

    @property
    def warnings(self) -> list[str]:
        """What is extrapolated, borrowed or longer than safe, in words."""
        return list(map(text_of, self.remarks))

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        names = (
            "first_hatch_days",
            "mean_hatch_days",
            "last_hatch_days",
            "earliest_maturity_days",
            "longest_safe_gap_days",
            "last_dose_not_before_day",
        )
        triples = self.windows.triples() if self.windows else dict.fromkeys(names, CredibleInterval.missing())
        window = self.windows.two_dose_window() if self.windows else None
        chance = float(np.mean(self.windows.two_doses_suffice)) if self.windows else None
        return {
            **frame(self.seed, self.draws),
            "parasite": self.parasite,
            "temperature_c": self.temperature_c,
            "agent": self.agent,
            "bath": self.bath,
            **{name: triples[name].as_dict() for name in names},
            "two_dose_window_days": list(window) if window else None,
            "two_dose_window_probability": number(chance),
            "recommended": self.recommended.as_dict() if self.recommended else None,
            "eradication": self.eradication.as_dict() if self.eradication else None,
            "two_weeks_safe_below_c": self.two_weeks_safe_below_c.as_dict(),
            "reasons": self.reasons,
            "customary": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "extrapolated": list(self.extrapolated),
            "sources": list(self.sources),
            "warnings": self.warnings,
            "remarks": [remark.as_dict() for remark in self.remarks if isinstance(remark, Remark)],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return every course computed, a row each."""
        return [
            {
                "gap_days": c.gap_days,
                "doses": c.doses,
                "survivors_per_1000": c.survivors_per_1000.median,
                "survivors_low": c.survivors_per_1000.low,
                "survivors_high": c.survivors_per_1000.high,
                "elimination_probability": c.elimination_probability.mean,
            }
            for c in self.courses
        ]


def interval(
    parasite: str, temperature_c: float, agent: str = "praziquantel", draws: int = 200, seed: int = 1
) -> IntervalAnswer:
    """Answer why this repeat interval.

    Parameters
    ----------
    parasite, agent : str
        Names of a set and of an agent.
    temperature_c : float
        Constant water temperature [°C].
    draws, seed : int
        Number of draws and seed.

    Returns
    -------
    IntervalAnswer

    Raises
    ------
    InputError
        For a name that is none.
    """
    evidence, agent_evidence = load_parasite(parasite), load_agent(agent)
    kill = draw_kill(agent_evidence, draws, seed, evidence)
    common: dict[str, Any] = {
        "parasite": parasite,
        "title": evidence.title,
        "temperature_c": temperature_c,
        "agent": agent,
        "mg_l": kill.customary_mg_l,
        "hours": kill.customary_hours,
        "seed": seed,
        "draws": draws,
        "sources": sorted({*evidence.source_keys(), *kill.sources}),
    }
    reason = evidence.refusal("windows") if evidence.lays_eggs else NoEggs()
    if reason:
        return _without_windows(common, reason)
    parameters = establishment_for(draw_parameters(evidence, draws, seed), REFERENCE_FISH / REFERENCE_VOLUME_M3)
    effect = bath_effect(kill, kill.customary_mg_l).without_residue()
    windows = windows_after(parameters, effect.sheltered_fraction, Temperature.constant(temperature_c))
    extrapolated, remarks = _limits(evidence, parameters, temperature_c)
    customary = _customary(evidence, parameters, effect, temperature_c)
    courses: list[Regimen] = []
    why_not: Remark | str | None
    why_neither: Remark | str | None
    try:
        courses = search_courses(parameters, effect, temperature_c, gaps_searched(windows))
        recommended, why_not = control(courses)
        eradication, why_neither = eradicate(courses)
    except CannotAnswerError as error:
        recommended, eradication = None, None
        why_not = why_neither = str(error)
    return IntervalAnswer(
        **common,
        windows=windows,
        recommended=recommended,
        eradication=eradication,
        why_not={k: v for k, v in (("recommended", why_not), ("eradication", why_neither)) if v is not None},
        customary=customary,
        extrapolated=extrapolated,
        remarks=[*remarks, *_longer_than_safe(recommended, windows)],
        courses=courses,
        two_weeks_safe_below_c=CredibleInterval.of(safe_below_c(parameters, effect.sheltered_fraction, 14.0)),
    )


def _without_windows(common: dict[str, Any], reason: Remark | str) -> IntervalAnswer:
    return IntervalAnswer(
        **common,
        windows=None,
        recommended=None,
        eradication=None,
        why_not={"recommended": reason, "eradication": reason},
        customary=(),
        extrapolated=(),
        remarks=[reason],
    )


def _limits(evidence: ParasiteSet, parameters: Parameters, temperature_c: float) -> tuple[list[str], list[Remark]]:
    """What is extrapolated at this temperature, by name, and what to say about it and about what is borrowed."""
    tables = (("maturity", parameters.of_eggs.maturity), ("hatching", parameters.of_eggs.hatch))
    beyond = [(name, table) for name, table in tables if table.extrapolates(temperature_c)]
    remarks: list[Remark] = [Extrapolated(name, *table.measured_c, temperature_c) for name, table in beyond]
    timing = sorted({f"{p.quantity} from {p.borrowed_from}" for p in evidence.points if p.borrowed_from})
    borrowed = sorted({f"{v.name} from {v.borrowed_from}" for v in evidence.values.values() if v.borrowed_from})
    remarks += [Borrowed(tuple(timing), timing=True)] if timing else []
    remarks += [Borrowed(tuple(borrowed), timing=False)] if borrowed else []
    return [name for name, _ in reversed(beyond)], remarks


def _longer_than_safe(course: Regimen | None, windows: Windows) -> list[Remark]:
    safe = float(np.median(windows.longest_safe_gap))
    return [] if course is None or course.gap_days <= safe else [LongerThanSafe(course.gap_days, safe)]


def _customary(
    evidence: ParasiteSet, parameters: Parameters, effect: DoseEffect, temperature_c: float
) -> list[tuple[Regimen, str]]:
    """What custom or print says near this temperature, judged in the same pond."""
    found = []
    for row in evidence.published_intervals:
        if abs(row.temperature_c - temperature_c) <= 1.5:
            course = evaluate_courses(parameters, effect, temperature_c, np.array([float(row.gap_days)]), [row.doses])[
                0
            ]
            found.append((course, row.known))
    return found

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
from burden.model.windows import WARMEST_SEARCHED_C, Windows, safe_below_c, windows_after
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
from burden.utils.results import CredibleInterval, Result, frame, number

__all__ = ["IntervalAnswer", "cold_water_words", "customary_words", "interval"]


@dataclass(frozen=True)
class IntervalAnswer(Result):
    """The answer to `burden interval`. Courses are None where no number of doses serves, with the reason."""

    parasite: str
    title: str
    temperature_c: float
    agent: str
    bath: str
    seed: int
    draws: int
    windows: Windows | None
    recommended: Regimen | None
    eradication: Regimen | None
    reasons: Mapping[str, str]
    customary: Sequence[tuple[Regimen, str]]
    extrapolated: Sequence[str]
    sources: Sequence[str]
    warnings: Sequence[str]
    courses: Sequence[Regimen] = field(default=())
    two_weeks_safe_below_c: CredibleInterval = field(default_factory=CredibleInterval.missing)

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
            "reasons": dict(self.reasons),
            "customary": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "extrapolated": list(self.extrapolated),
            "sources": list(self.sources),
            "warnings": list(self.warnings),
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

    def text(self) -> str:
        """Return the answer in words."""
        lines = [f"{self.title}, {self.temperature_c:g} °C, {self.agent} ({self.bath})."]
        why, neither = self.reasons.get("recommended", ""), self.reasons.get("eradication", "")
        if why and why == neither:
            lines.append(f"To control them, or be rid of them: {why}.")
        else:
            lines += [
                _say("To control them", self.recommended, why),
                _say("To be rid of them", self.eradication, neither),
            ]
        if self.windows:
            lines += ["Why:", *(f"  {line}" for line in _why(self.windows))]
            lines.append(cold_water_words(self.two_weeks_safe_below_c))
        for course, known in self.customary:
            lines.append(
                f"Customary or printed: {course.doses} doses every {course.gap_days:g} d ({known}): "
                f"{course.survivors_per_1000.text()} left per 1 000, "
                f"rid of them in {100 * course.elimination_probability.mean:.0f} of 100."
            )
        if self.extrapolated:
            lines.append("Extrapolated beyond what was measured: " + ", ".join(self.extrapolated) + ".")
        lines += [f"Note: {warning}" for warning in self.warnings if warning not in self.reasons.values()]
        return "\n".join(lines)


def cold_water_words(below: CredibleInterval) -> str:
    """Say from which temperature down doses two weeks apart are right."""
    if below.median >= WARMEST_SEARCHED_C:
        sure = f"; below {below.low:.0f} °C that is all but sure" if below.low < WARMEST_SEARCHED_C else ""
        return f"Two weeks apart most likely gives no settler time to lay at any temperature{sure}."
    return (
        f"Two weeks apart gives no settler time to lay in water below {below.text()} °C; in warmer water it does, so "
        "there the doses belong closer together."
    )


def _say(aim: str, course: Regimen | None, reason: str) -> str:
    if course is None:
        return f"{aim}: {reason}."
    return (
        f"{aim}: {course.doses} doses, {course.gap_days:g} d apart. Left per 1 000 flukes on the fish a day after the "
        f"last dose: {course.survivors_per_1000.text()}; none left a year later in "
        f"{100 * course.elimination_probability.mean:.0f} of 100."
    )


def _why(windows: Windows) -> list[str]:
    t = windows.triples()
    return [
        *_hatching(t["first_hatch_days"], t["last_hatch_days"]),
        _if_given(
            t["earliest_maturity_days"], "a settled larva lays from day {};", f"most settlers do not lay {_BY_THEN};"
        ),
        _if_given(
            t["longest_safe_gap_days"], "longest gap at which no settler can lay first: {} d;", "so no gap is too long;"
        ),
        _if_given(
            t["last_dose_not_before_day"],
            "last dose not before day {}, when the last egg has hatched;",
            "no day can be named for the last dose: some egg has not hatched by then;",
        ),
        f"{_two_doses(windows)} (in {100 * np.mean(windows.two_doses_suffice):.0f} of 100 draws some gap does).",
    ]


#: what the windows look ahead over
_BY_THEN = "in the time reckoned"


def _if_given(days: CredibleInterval, words: str, otherwise: str) -> str:
    return words.format(days.text()) if np.isfinite(days.median) else otherwise


def _hatching(first: CredibleInterval, last: CredibleInterval) -> list[str]:
    if not np.isfinite(first.median):
        return [f"most eggs do not hatch {_BY_THEN};"]
    until = f"to day {last.text()} after laying" if np.isfinite(last.median) else f"after laying, not all {_BY_THEN}"
    return [f"eggs hatch from day {first.text()} {until};"]


def _two_doses(windows: Windows) -> str:
    between = windows.two_dose_window()
    if between is None:
        return "no gap of two doses catches the last larva before the first lays"
    apart = f"{between[0]:.1f} to {between[1]:.1f} d" if np.isfinite(between[1]) else f"{between[0]:.1f} d or more"
    return f"two doses {apart} apart would suffice with total kill"


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
    bath = f"{kill.customary_mg_l:g} mg/L for {kill.customary_hours:g} h, acting at once"
    common: dict[str, Any] = {
        "parasite": parasite,
        "title": evidence.title,
        "temperature_c": temperature_c,
        "agent": agent,
        "bath": bath,
        "seed": seed,
        "draws": draws,
        "sources": sorted({*evidence.source_keys(), *kill.sources}),
    }
    reason = _NO_EGGS if not evidence.lays_eggs else evidence.refusal("windows")
    if reason:
        return _without_windows(common, reason)
    parameters = establishment_for(draw_parameters(evidence, draws, seed), REFERENCE_FISH / REFERENCE_VOLUME_M3)
    effect = bath_effect(kill, kill.customary_mg_l).without_residue()
    windows = windows_after(parameters, effect.sheltered_fraction, Temperature.constant(temperature_c))
    extrapolated, warnings = _limits(evidence, parameters, temperature_c)
    customary = _customary(evidence, parameters, effect, temperature_c)
    courses: list[Regimen] = []
    try:
        courses = search_courses(parameters, effect, temperature_c, gaps_searched(windows))
        recommended, why_not = control(courses)
        eradication, why_neither = eradicate(courses)
    except CannotAnswerError as error:
        recommended, eradication, why_not, why_neither = None, None, str(error), str(error)
    return IntervalAnswer(
        **common,
        windows=windows,
        recommended=recommended,
        eradication=eradication,
        reasons={k: v for k, v in (("recommended", why_not), ("eradication", why_neither)) if v},
        customary=customary,
        extrapolated=extrapolated,
        warnings=[*warnings, *_longer_than_safe(recommended, windows)],
        courses=courses,
        two_weeks_safe_below_c=CredibleInterval.of(safe_below_c(parameters, effect.sheltered_fraction, 14.0)),
    )


_NO_EGGS = "a live-bearer lays no eggs: every fluke is on a fish at the dose, and no window has to be waited for"


def _without_windows(common: dict[str, Any], reason: str) -> IntervalAnswer:
    return IntervalAnswer(
        **common,
        windows=None,
        recommended=None,
        eradication=None,
        reasons={"recommended": reason, "eradication": reason},
        customary=(),
        extrapolated=(),
        warnings=[reason],
    )


def _limits(evidence: ParasiteSet, parameters: Parameters, temperature_c: float) -> tuple[list[str], list[str]]:
    """What is extrapolated at this temperature, by name, and what to say about it."""
    development = parameters.of_eggs
    names = [
        name
        for name, table in (("hatching", development.hatch), ("maturity", development.maturity))
        if table.extrapolates(temperature_c)
    ]
    warnings = []
    if "maturity" in names:
        low, high = development.maturity.measured_c
        where = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"
        warnings.append(f"maturity was measured at {where} alone and is extrapolated to {temperature_c:g} °C")
    if "hatching" in names:
        low, high = development.hatch.measured_c
        warnings.append(
            f"hatching was measured from {low:g} to {high:g} °C and is extrapolated to {temperature_c:g} °C"
        )
    timing = sorted({f"{p.quantity} from {p.borrowed_from}" for p in evidence.points if p.borrowed_from})
    if timing:
        warnings.append("the timing itself is borrowed: " + ", ".join(timing))
    borrowed = sorted({f"{v.name} from {v.borrowed_from}" for v in evidence.values.values() if v.borrowed_from})
    if borrowed:
        warnings.append("borrowed, with a wider range: " + ", ".join(borrowed))
    return names, warnings


def _longer_than_safe(course: Regimen | None, windows: Windows) -> list[str]:
    if course is None:
        return []
    safe = float(np.median(windows.longest_safe_gap))
    if course.gap_days <= safe:
        return []
    return [
        f"the recommended gap of {course.gap_days:g} d is longer than the longest gap at which no settler can lay "
        f"({safe:.1f} d): a few settlers lay before the next dose, but fewer doses then also catch the late hatchers, "
        "and the numbers left are within the aim"
    ]


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


def customary_words(evidence: ParasiteSet, temperature_c: float) -> list[str]:
    """Say what custom or print gives, and at which temperature, nearest first."""
    rows = sorted(evidence.published_intervals, key=lambda row: abs(row.temperature_c - temperature_c))
    return [f"{row.doses} doses every {row.gap_days:g} d near {row.temperature_c:g} °C ({row.known})" for row in rows]

"""Why this repeat interval: one parasite set, one temperature, one agent, in a reference pond.

Control is judged as the decision judges it for a case: by `burden.schedule.search` on the reference pond, with its
brakes, by the chance that the burden stays low from the check day on. Eradication is judged with both brakes off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from burden.evidence import ParasiteSet, load_agent, load_parasite
from burden.inference.prior import Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.lifecycle.kinds import KIND
from burden.model.lifecycle.transitions import Parameters
from burden.model.temperature import Temperature
from burden.model.windows import Windows, safe_below_c, windows_after
from burden.schedule.aim import ERADICATION_CHANCE, Aim, aim_of
from burden.schedule.evaluation import EvaluatedSchedule, evaluate
from burden.schedule.fixed_interval import DOSES, Regimen, eradicate, evaluate_courses, gaps_searched
from burden.schedule.recommendation import Recommendation
from burden.schedule.reference_pond import Drawn, drawn_for, even_draws, least_gap_days, reference_pond
from burden.schedule.search import UNSURE, search
from burden.schedule.water_limits import water_refused
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.formatting import plain
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "Borrowed",
    "Control",
    "Extrapolated",
    "IntervalAnswer",
    "LongerThanSafe",
    "MixedKinds",
    "NoEggs",
    "NoEradication",
    "NoRoom",
    "NotNeeded",
    "interval",
]

#: steps that a first hatch is cut into, at least, where many gaps are compared
_PARTS = 8


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
class MixedKinds(Remark):
    """Nobody told the flukes apart: a share of the ponds hold the second of two kinds, the names of the sets [-]."""

    kinds: tuple[str, str]
    second_share: float


@dataclass(frozen=True)
class LongerThanSafe(Remark):
    """The recommended gap is longer than the longest at which no settler can lay [d]."""

    gap_days: float
    safe_days: float


@dataclass(frozen=True)
class NotNeeded(Remark):
    """In the reference pond the aim of control is met without a dose; its chance [-]."""

    chance: float


@dataclass(frozen=True)
class NoRoom(Remark):
    """Every gap worth trying is longer than a course may wait."""


@dataclass(frozen=True)
class NoEradication(Remark):
    """No course reaches the mean probability of elimination that is wanted; the best one searched."""

    best: Regimen
    wanted: float


@dataclass(frozen=True)
class Control:
    """The course that keeps the burden low, and what it was compared with, all on the same draws.

    Parameters
    ----------
    aim : Aim
    why : str
        fewest, custom or best, as the decision has it.
    course : Regimen
    check_day : float
        From this day on the burden has to be low [d].
    untreated : float
        Chance of the aim without a dose [-].
    one_more, one_less : Regimen or None
        The same course with one dose more, and one less.
    fewer_as_good, more_better : bool
        As in `Recommendation`.
    """

    aim: Aim
    why: str
    course: Regimen
    check_day: float
    untreated: float
    one_more: Regimen | None
    one_less: Regimen | None
    fewer_as_good: bool
    more_better: bool

    @property
    def aim_met(self) -> bool:
        """Whether the course reaches the aim with the chance that it asks for."""
        return (self.course.chance or 0.0) >= self.aim.chance

    @property
    def fewer_may_do(self) -> bool:
        """Whether one dose less lies so near the aim that the draws cannot say that it misses it."""
        less = self.one_less
        return self.aim_met and less is not None and (less.chance or 0.0) >= self.aim.chance - UNSURE

    @property
    def may_miss(self) -> bool:
        """Whether the course lies so near the aim that the draws cannot say that it meets it."""
        return self.aim_met and (self.course.chance or 0.0) < self.aim.chance + UNSURE


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
    control: Control | None
    eradication: Regimen | None
    why_not: Mapping[str, Remark | str]
    customary: Sequence[tuple[Regimen, str]]
    extrapolated: Sequence[str]
    sources: Sequence[str]
    remarks: Sequence[Remark | str]
    nearest_eradication: Regimen | None = None
    courses: Sequence[Regimen] = field(default=())
    two_weeks_safe_below_c: CredibleInterval = field(default_factory=CredibleInterval.missing)

    @property
    def bath(self) -> str:
        """The bath of every dose."""
        return f"{plain(self.mg_l)} mg/L for {plain(self.hours)} h"

    @property
    def recommended(self) -> Regimen | None:
        """The course to control flukes; the best there is where none meets the aim."""
        return None if self.control is None else self.control.course

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
            "recommended": _json(self.recommended),
            "eradication": _json(self.eradication),
            "nearest_eradication": _json(self.nearest_eradication),
            **self._of_control(),
            "custom": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "two_weeks_safe_below_c": self.two_weeks_safe_below_c.as_dict(),
            "reasons": self.reasons,
            "customary": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "extrapolated": list(self.extrapolated),
            "sources": list(self.sources),
            "warnings": self.warnings,
            "remarks": [remark.as_dict() for remark in self.remarks if isinstance(remark, Remark)],
        }

    def _of_control(self) -> dict[str, Any]:
        """What stands beside the course recommended; the same keys where there is none."""
        c = self.control
        return {
            "aim": c and c.aim.as_dict(),
            "aim_met": c and c.aim_met,
            "why": c and c.why,
            "check_day": c and c.check_day,
            "untreated_chance": c and number(c.untreated),
            "one_more": c and _json(c.one_more),
            "one_less": c and _json(c.one_less),
            "fewer_as_good": c and (c.fewer_as_good or c.fewer_may_do),
            "more_better": c and c.more_better,
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
    evidence = load_parasite(parasite).found_in(temperature_c)
    with even_draws(draws, seed):
        reason = evidence.refusal("windows") if evidence.lays_eggs else NoEggs()
        kill = draw_kill(load_agent(agent), draws, seed, evidence)
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
        if reason:
            return _without_courses(common, reason)
        return _with_windows(common, evidence, drawn_for(evidence, agent, draws, seed))


def _without_courses(common: dict[str, Any], reason: Remark | str, **more: Any) -> IntervalAnswer:
    nothing = {"windows": None, "extrapolated": (), "remarks": [reason]}
    return IntervalAnswer(
        **{**common, **nothing, **more},
        control=None,
        eradication=None,
        why_not={"recommended": reason, "eradication": reason},
        customary=(),
    )


def _with_windows(common: dict[str, Any], evidence: ParasiteSet, drawn: Drawn) -> IntervalAnswer:
    temperature_c, shelter = common["temperature_c"], drawn.effect.sheltered_fraction
    windows = windows_after(drawn.parameters, shelter, Temperature.constant(temperature_c))
    extrapolated, remarks = _limits(evidence, drawn.parameters, temperature_c)
    known: dict[str, Any] = {
        "windows": windows,
        "extrapolated": extrapolated,
        "two_weeks_safe_below_c": CredibleInterval.of(safe_below_c(drawn.parameters, shelter, 14.0)),
    }
    if refused := water_refused(drawn.parameters, windows, temperature_c):
        return _without_courses(common, refused, **known, remarks=[refused, *remarks])
    return _with_courses(common, known, remarks, drawn)


def _with_courses(
    common: dict[str, Any], known: dict[str, Any], remarks: Sequence[Remark], drawn: Drawn
) -> IntervalAnswer:
    agent = common["agent"]
    case, posterior = reference_pond(drawn, common["parasite"], agent, common["temperature_c"], common["seed"])
    aim = aim_of(case, [posterior], "control")
    found = search(case, [posterior], [agent], aim, dose_anyway=True)
    control = _control(found)
    courses = _courses(drawn, known["windows"], common["temperature_c"])
    best, met = eradicate(courses)
    why_not: dict[str, Remark | str] = {}
    best = _on_the_pond(best, posterior, agent, aim)
    if control is None:
        why_not["recommended"] = NoRoom()
    if not met:
        why_not["eradication"] = NoEradication(best, ERADICATION_CHANCE)
    return IntervalAnswer(
        **common,
        **known,
        control=control,
        eradication=best if met else None,
        nearest_eradication=None if met else best,
        why_not=why_not,
        customary=_customary(found),
        remarks=[*_of_course(control, known["windows"]), *remarks],
        courses=courses,
    )


def _control(found: Recommendation) -> Control | None:
    chosen = found.recommended
    if chosen is None:
        return None
    more, less = found.named("one_more"), found.named("one_less")
    return Control(
        aim=found.aim,
        why=found.why,
        course=_regimen(chosen, found.aim),
        check_day=chosen.check_day,
        untreated=found.untreated.chance(found.aim),
        one_more=None if more is None else _regimen(more, found.aim),
        one_less=None if less is None else _regimen(less, found.aim),
        fewer_as_good=found.fewer_as_good,
        more_better=found.more_better,
    )


def _regimen(one: EvaluatedSchedule, aim: Aim) -> Regimen:
    """A schedule of even gaps as a course; a single dose has the gap 0."""
    days = one.plan.days
    gap = days[1] - days[0] if len(days) > 1 else 0.0
    return Regimen(gap, one.doses, one.left_per_1000, one.elimination, one.chance(aim))


def _courses(drawn: Drawn, windows: Windows, temperature_c: float) -> list[Regimen]:
    gaps = gaps_searched(windows, least_gap_days(drawn.kill.customary_hours))
    found = evaluate_courses(drawn.parameters, drawn.effect, temperature_c, gaps, DOSES, _PARTS)
    return [replace(course, chance=course.elimination_probability.mean) for course in found]


def _on_the_pond(course: Regimen, posterior: Posterior, agent: str, aim: Aim) -> Regimen:
    """The course with what it leaves in the same pond, brakes on, as every other course shown."""
    days = tuple(course.gap_days * i for i in range(course.doses))
    (one,) = evaluate([posterior], [DoseSchedule(days, (agent,) * course.doses)], aim)
    return replace(course, survivors_per_1000=one.left_per_1000)


def _customary(found: Recommendation) -> list[tuple[Regimen, str]]:
    """What custom or print says for this water, judged in the same pond on the same draws."""
    return [(_regimen(one.schedule, found.aim), one.custom.known) for one in found.compared if one.custom is not None]


def _json(course: Regimen | None) -> dict[str, Any] | None:
    return None if course is None else course.as_dict()


def _of_course(control: Control | None, windows: Windows) -> list[Remark]:
    if control is None:
        return []
    safe = float(np.median(windows.longest_safe_gap))
    longer: list[Remark] = []
    if control.course.gap_days > safe:
        longer = [LongerThanSafe(control.course.gap_days, safe)]
    needless = control.untreated >= control.aim.chance
    return [*([NotNeeded(control.untreated)] if needless else []), *longer]


def _limits(evidence: ParasiteSet, parameters: Parameters, temperature_c: float) -> tuple[list[str], list[Remark]]:
    """What is extrapolated at this temperature, by name, and what to say about it and about what is borrowed."""
    tables = (("maturity", parameters.of_eggs.maturity), ("hatching", parameters.of_eggs.hatch))
    beyond = [(name, table) for name, table in tables if table.extrapolates(temperature_c)]
    remarks: list[Remark] = [Extrapolated(name, *table.measured_c, temperature_c) for name, table in beyond]
    if evidence.mixture is not None:
        first, second = evidence.mixture.kinds
        remarks.append(MixedKinds((first, second), float(np.mean(parameters[KIND]))))
    timing = sorted({f"{p.quantity} from {p.borrowed_from}" for p in evidence.points if p.borrowed_from})
    borrowed = sorted({f"{v.name} from {v.borrowed_from}" for v in evidence.values.values() if v.borrowed_from})
    remarks += [Borrowed(tuple(timing), timing=True)] if timing else []
    remarks += [Borrowed(tuple(borrowed), timing=False)] if borrowed else []
    return [name for name, _ in reversed(beyond)], remarks

"""Why this repeat interval: one parasite set, one temperature, one agent, in a reference pond.

Control is judged as the decision judges it for a case: by `burden.schedule.search` on the reference pond, with its
brakes, by the chance that the burden stays low from the check day on. Eradication is judged with both brakes off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from burden.evidence import ParasiteSet, load_agent, load_parasite
from burden.inference.prior import Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.lifecycle.kinds import KIND
from burden.model.lifecycle.parameters import Parameters
from burden.model.temperature import Temperature
from burden.model.windows import Windows, safe_below_c, windows_after
from burden.schedule.aim import ERADICATION_CHANCE, Aim, aim_of
from burden.schedule.evaluation import EvaluatedSchedule, evaluate
from burden.schedule.fixed_interval import DOSES, Regimen, eradicate, evaluate_courses, gaps_searched
from burden.schedule.interval_result import (
    Borrowed,
    Control,
    Extrapolated,
    IntervalAnswer,
    LongerThanSafe,
    MixedKinds,
    NoEggs,
    NoEradication,
    NoRoom,
    NotNeeded,
)
from burden.schedule.recommendation import Recommendation
from burden.schedule.reference_pond import Drawn, drawn_for, even_draws, least_gap_days, reference_pond
from burden.schedule.search import search
from burden.schedule.water_limits import water_refused
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.results import CredibleInterval
from burden.utils.wording import Remark

__all__ = ["interval"]

#: steps that a first hatch is cut into, at least, where many gaps are compared
_PARTS = 8


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

"""Which dates, how many doses, which agents: the fewest doses that reach the aim with the chance it asks for.

The search goes up by doses. Many candidates are looked at with a few draws, the best of them with all; what custom
gives and what the case plans stand among these. Only a difference that the draws can show decides: among schedules
that do as well the customary one is taken, then the one with the lesser risks, then the one nearest to a usual gap.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from burden.case import Case
from burden.evidence import load_agent
from burden.inference.infection_pressure import withheld_forecast
from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.schedule.aim import Aim
from burden.schedule.candidates import (
    DEFAULT_MOST_DOSES,
    LIVE_BEARER_DOSES,
    MOST_DOSES,
    NO_END,
    Underway,
    allowed,
    candidate_plans,
    gone_day,
    in_time,
    one_more,
    underway,
    usual_gap_days,
)
from burden.schedule.customary import Custom, customs_for, planned_course
from burden.schedule.eligibility import LAST_RESORT, netted_apart
from burden.schedule.evaluation import EvaluatedSchedule, beats, evaluate, first_draws, with_elimination
from burden.schedule.recommendation import Compared, Recommendation

__all__ = [
    "CONTENDERS",
    "CUSTOM_WITHIN",
    "FAR",
    "GOES_ON",
    "LEAST_AGAINST_EGGS",
    "ROUGH_DRAWS",
    "UNSURE",
    "USUAL_DOSES",
    "WORTH_A_DOSE",
    "WORTH_A_RISK",
    "search",
]

#: draws that many candidates are looked at with: enough to drop what is clearly worse
ROUGH_DRAWS = 48
#: candidates of each number of doses that are evaluated with all draws
CONTENDERS = 6
#: a chance this near to the one asked for may be on either side of it: another seed moves it as far [-]
UNSURE = 0.05
#: a customary course is left only for a schedule that reaches the aim more often by this: the chances rest on
#: assumptions, as the tolerable level, that move them further; by as much again for a dose more than a usual course,
#: which a look after it may still add. An assumption about what a vet would act on [-]
CUSTOM_WITHIN = 0.1
#: gain in the chance of the aim that one dose more has to bring where no schedule meets it: an assumption, as above [-]
WORTH_A_DOSE = 0.05
#: gain for which formalin, or a second agent, is taken into a course: an assumption, as above [-]
WORTH_A_RISK = 0.1
#: doses of a course against flukes that lay eggs, as one never meets what hatches later: common practice, no source
LEAST_AGAINST_EGGS = 2
#: doses of a course to control flukes where no number of doses meets the aim: the look after it decides whether
#: more are wanted (common practice, no source)
USUAL_DOSES = 3
#: flukes that are back so soon after a whole course are a relapse: an assumption [d]
_RELAPSE_DAYS = 90
#: chance of the aim from which what is left of a customary course is given, and the fish looked at, before another is
#: planned: below it the course has failed. An assumption [-]
GOES_ON = 0.25
#: a number of doses whose best candidate seems so far from the aim is passed over at first [-]
FAR = 0.2
#: how much rarer than the best a candidate may look in the first round, for each of its standard errors
_ROUGH_MARGIN = 0.03
_NO_DOSE = DoseSchedule((), ())


@dataclass(frozen=True)
class _Field:
    """What the search runs on, and every schedule that all draws have already judged: none is run twice."""

    case: Case
    ponds: Sequence[Posterior]
    few: Sequence[Posterior]
    aim: Aim
    agents: tuple[str, ...]
    lead: Ensemble
    course: Underway | None
    not_before: float = 0.0
    spent: tuple[str, ...] = ()
    until: Mapping[str, float] = dataclasses.field(default_factory=lambda: NO_END)
    carried: bool = True
    judged: dict[DoseSchedule, EvaluatedSchedule] = dataclasses.field(default_factory=dict)

    def evaluated(self, plans: Sequence[DoseSchedule]) -> list[EvaluatedSchedule]:
        new = [plan for plan in dict.fromkeys(plans) if plan not in self.judged]
        self.judged.update(zip(new, evaluate(self.ponds, new, self.aim), strict=True))
        return [self.judged[plan] for plan in plans]

    def roughly(self, plans: Sequence[DoseSchedule]) -> list[EvaluatedSchedule]:
        """With a few of the draws; with all where there are no more."""
        if self.ponds[0].pond.size <= ROUGH_DRAWS:
            return self.evaluated(plans)
        return evaluate(self.few, plans, self.aim)


def search(
    case: Case,
    ponds: Sequence[Posterior],
    agents: Sequence[str],
    aim: Aim,
    dose_anyway: bool = False,
    not_before: float = 0.0,
    spent: Sequence[str] = (),
) -> Recommendation:
    """Search for a schedule: of those that do not put a harvest off, and of all only where none of these can be given.

    Parameters
    ----------
    case : Case
    ponds : sequence of Posterior
        One a parasite set, M draws each.
    agents : sequence of str
        Agents that may be given, the preferred one first; none where no dose may be given.
    aim : Aim
    dose_anyway : bool
        Whether a course is wanted even where the aim is met without a dose.
    not_before : float
        Until then the water is put right [d].
    spent : sequence of str
        Agents whose course has failed: one of another begins anew.

    Returns
    -------
    Recommendation
        Every schedule of it evaluated with all draws.
    """
    lead = _egg_layer(ponds)
    few = first_draws(ponds, ROUGH_DRAWS)
    course = underway(case, lead, spent)
    most = min(_most_doses(case, aim, any(p.has_windows for p, _ in ponds), course), MOST_DOSES)
    (untreated,) = evaluate(ponds, [_NO_DOSE], aim)
    start = Recommendation(aim, untreated, None, "none_needed", (Compared("untreated", untreated),), underway=course)
    field = _Field(case, ponds, few, aim, tuple(agents), lead, course, not_before, tuple(spent), aim.last_days)
    field.judged[_NO_DOSE] = untreated
    found, field, customs = _found(start, field, most, dose_anyway)
    if found.why == "no_plan" and field.until:
        found, field, customs = _found(start, replace(field, until=NO_END), most, dose_anyway)
    return _beside(found, field, customs)


def _found(
    start: Recommendation, field: _Field, most: int, dose_anyway: bool
) -> tuple[Recommendation, _Field, list[Custom]]:
    """What is recommended within the last days of the field, the field as it was searched, and its customs."""
    case, agents, until = field.case, field.agents, field.until
    one_dose = partial(
        candidate_plans, case, field.lead, agents, 1, not_before=field.not_before, spent=field.spent, until=until
    )
    field = replace(field, carried=not agents or most == 0 or bool(one_dose()))
    customs = [] if most == 0 else customs_for(case, field.ponds, agents, field.not_before, field.spent, until)
    if field.course is None:  # what comes back after a whole course is not met with a shorter one
        customs = [custom for custom in customs if len(custom.plan.days) >= min(_after_relapse(field), most)]
    if start.untreated.meets(field.aim) and not (dose_anyway or _begun(field, field.course)):
        return start, field, customs
    if not agents or most == 0 or not one_dose(carried=field.carried):
        return replace(start, why="no_plan"), field, []
    if field.course is not None and (goes_on := _goes_on(field, customs)) is not None:
        return replace(start, recommended=goes_on, why="goes_on"), field, customs
    found = _upwards(start, field, customs, most)
    return replace(found, change_water_first=not field.carried), field, customs


def _egg_layer(ponds: Sequence[Posterior]) -> Ensemble:
    """The first set that lays eggs, whose hatching sets the gaps; the first of all where none does."""
    return next((p for p, _ in ponds if p.setting.parameters.development is not None), ponds[0].pond)


def _most_doses(case: Case, aim: Aim, lays_eggs: bool, course: Underway | None) -> int:
    """Most doses still to be planned: those given count, and two at least may follow before the fish are looked at.

    Where fish are clean in the middle of a course only what is left of a usual one follows. A limit of the case is
    one of the course and asks for no more than without it; one dose more may always follow, unless it allows none.
    """
    usual = DEFAULT_MOST_DOSES if lays_eggs else LIVE_BEARER_DOSES  # of newcomers too: two clean looks settle the rest
    if withheld_forecast(case) is not None:
        usual = LEAST_AGAINST_EGGS  # how soon flukes come in again nobody knows: look before more are planned
    if course is not None:
        ends = aim.kind != "eradicate" and course.clean and LEAST_AGAINST_EGGS <= course.doses < USUAL_DOSES
        usual = USUAL_DOSES - course.doses if ends else max(usual - course.doses, LEAST_AGAINST_EGGS)
    limit = case.limits.max_doses
    if limit is None:
        return usual
    given = 0 if course is None else course.doses
    return min(usual, max(limit - given, min(limit, 1)))


def _upwards(start: Recommendation, field: _Field, customs: Sequence[Custom], most: int) -> Recommendation:
    """Take one dose more until the aim is met, or more doses no longer help."""
    aim = field.aim
    best: dict[int, list[EvaluatedSchedule]] = {}
    far: dict[int, list[DoseSchedule]] = {}
    fewest = _fewest(field, start.underway, most)
    for doses in range(fewest, most + 1):
        plans, near = _promising(field, doses)
        if not near:
            far[doses] = plans  # with all draws only if nothing better turns up
            continue
        best |= _evaluated(field, customs, doses, plans)
        if doses in best and _top(best[doses], aim).meets(aim):
            return _chosen(start, field, customs, best, _near_enough(best, doses, aim))
        if {doses, doses - 2} <= set(best) and not beats(_top(best[doses], aim), _top(best[doses - 2], aim), aim):
            break
    for doses, plans in far.items():
        best |= _evaluated(field, customs, doses, plans)
    if not best and fewest > 1:  # the limits have no room for a second dose
        best |= _evaluated(field, customs, 1, _promising(field, 1)[0])
    if not best:
        return replace(start, why="no_plan")
    return _chosen(start, field, customs, best, _enough(_usual(field, best, start.underway), aim))


def _usual(
    field: _Field, best: dict[int, list[EvaluatedSchedule]], course: Underway | None
) -> dict[int, list[EvaluatedSchedule]]:
    """Numbers of doses up to a usual course, as none meets the aim: a look tells then whether one more is wanted."""
    if field.aim.kind == "eradicate":
        return best
    left = max(USUAL_DOSES - (0 if course is None else course.doses), LEAST_AGAINST_EGGS)
    return {n: found for n, found in best.items() if n <= left} or best


def _near_enough(best: dict[int, list[EvaluatedSchedule]], doses: int, aim: Aim) -> int:
    """One dose fewer than meets the aim, where that comes so near that another seed may find it met."""
    fewer = best.get(doses - 1)
    return doses - 1 if fewer and _top(fewer, aim).chance(aim) >= aim.chance - UNSURE else doses


def _promising(field: _Field, doses: int) -> tuple[list[DoseSchedule], bool]:
    """Candidates of a number of doses that may be the best, and whether any may meet the aim, by a few draws."""
    plans = candidate_plans(
        field.case, field.lead, field.agents, doses, field.carried, field.not_before, field.spent, field.until
    )
    if len(plans) <= CONTENDERS:
        return plans, True
    rough = field.roughly(plans)
    near = max(one.chance(field.aim) for one in rough) >= field.aim.chance - FAR
    return _contenders(rough, field.aim), near


def _evaluated(
    field: _Field, customs: Sequence[Custom], doses: int, plans: Sequence[DoseSchedule]
) -> dict[int, list[EvaluatedSchedule]]:
    """Schedules of a number of doses with all draws, custom among them, without those not worth their risk."""
    wanted = [custom.plan for custom in customs if len(custom.plan.days) == doses]
    if not plans and not wanted:
        return {}
    evaluated = field.evaluated(list(dict.fromkeys((*plans, *wanted))))
    kept = _worth_their_risk([one for one in evaluated if one.plan in plans], field)
    return {doses: kept + [one for one in evaluated if one.plan in wanted and one not in kept]}


def _goes_on(field: _Field, customs: Sequence[Custom]) -> EvaluatedSchedule | None:
    """What is left of the course under way, where it does not seem to have failed: a look then decides.

    The customary one; what the case itself plans, where that is worth its doses; for fish that are to be free only what
    comes near to the aim, as no look shows the last fluke.
    """
    aim = field.aim
    enough = aim.chance - CUSTOM_WITHIN if aim.kind == "eradicate" else GOES_ON
    left, own = [custom.plan for custom in customs], _own_rest(field)
    found = [one for one in field.evaluated(left) if one.chance(aim) >= enough] if left else []
    rest = max(found, key=lambda one: one.chance(aim), default=None)
    if rest is not None:
        rest = _to_a_usual_course(field, rest)
    if own is None or rest is None:
        return rest
    (planned,) = field.evaluated([own])
    gain = planned.chance(aim) - rest.chance(aim)
    as_good = planned.doses <= rest.doses and rest.plan not in left and not beats(rest, planned, aim)
    return planned if as_good or gain >= WORTH_A_DOSE * max(planned.doses - rest.doses, 1) else rest


def _to_a_usual_course(field: _Field, rest: EvaluatedSchedule) -> EvaluatedSchedule:
    """One dose more than is left, up to a usual course, where the aim is not met without and it is worth its dose."""
    given = 0 if field.course is None else field.course.doses
    limit = USUAL_DOSES if field.case.limits.max_doses is None else min(USUAL_DOSES, field.case.limits.max_doses)
    if rest.meets(field.aim) or given + rest.doses >= limit:
        return rest
    more = one_more(field.case, field.lead, rest.plan, field.until)
    if more is None:
        return rest
    (longer,) = field.evaluated([more])
    worth = longer.chance(field.aim) - rest.chance(field.aim) >= WORTH_A_DOSE and beats(longer, rest, field.aim)
    return longer if worth else rest


def _own_rest(field: _Field) -> DoseSchedule | None:
    """What the case plans, at the customary strength, where its agents may be given and its days are within limits."""
    own = planned_course(field.case, field.lead, of_any_strength=True)
    if own is None or not set(own.agents) <= set(field.agents) or own.days[0] < field.not_before:
        return None
    if not in_time(own.days, own.agents, field.until):
        return None
    return own if allowed(field.case, own.days, own.agents, field.carried) else None


def _begun(field: _Field, course: Underway | None) -> bool:
    """Whether a course has fewer doses so far than the least that meets what hatches after the first."""
    return course is not None and course.doses < LEAST_AGAINST_EGGS and _lays_eggs(field)


def _lays_eggs(field: _Field) -> bool:
    return any(pond.setting.parameters.evidence.lays_eggs for pond, _ in field.ponds)


def _fewest(field: _Field, course: Underway | None, most: int) -> int:
    """Fewest doses tried: a course against flukes that lay eggs has two at least, those given counted."""
    if not _lays_eggs(field):
        return 1
    if course is None:
        return min(max(LEAST_AGAINST_EGGS, _after_relapse(field)), most)
    return min(max(LEAST_AGAINST_EGGS - course.doses, 1), most)


def _after_relapse(field: _Field) -> int:
    """Fewest doses where a whole course was given in the last months, and flukes are back; none asked for otherwise."""
    lately = [dose for dose in field.case.doses_given if -field.case.day_of(dose.date) <= _RELAPSE_DAYS]
    return USUAL_DOSES if len(lately) >= USUAL_DOSES and _lays_eggs(field) else 0


def _enough(best: dict[int, list[EvaluatedSchedule]], aim: Aim) -> int:
    """Fewest doses than which no larger number is worth its doses."""
    tops = {doses: _top(best[doses], aim) for doses in sorted(best)}

    def worth(more: int, fewer: int) -> bool:
        gain = tops[more].chance(aim) - tops[fewer].chance(aim)
        return gain >= WORTH_A_DOSE * (more - fewer) and beats(tops[more], tops[fewer], aim)

    return next(n for n in tops if not any(worth(more, n) for more in tops if more > n))


def _worth_their_risk(found: Sequence[EvaluatedSchedule], field: _Field) -> list[EvaluatedSchedule]:
    """Of the schedules those of the least risk, unless others of more risk reach the aim clearly more often."""
    groups: dict[tuple[int, ...], list[EvaluatedSchedule]] = {}
    for one in found:
        groups.setdefault(_risk(one, field.case), []).append(one)
    kept: list[EvaluatedSchedule] = []
    for risk in sorted(groups):
        most, so_far = (_top(few, field.aim).chance(field.aim) if few else -1.0 for few in (groups[risk], kept))
        if most - so_far >= WORTH_A_RISK:
            kept = groups[risk]
    return kept


def _contenders(rough: Sequence[EvaluatedSchedule], aim: Aim) -> list[DoseSchedule]:
    """The best of each line of agents, and those not clearly worse than the best of their line."""
    by_line: dict[tuple[str, ...], list[EvaluatedSchedule]] = {}
    for one in sorted(rough, key=lambda one: -one.chance(aim)):
        by_line.setdefault(one.plan.agents, []).append(one)
    each = max(CONTENDERS // len(by_line), 2)
    return [one.plan for mine in by_line.values() for one in mine[:each] if _may_be_best(one, mine[0], aim)]


def _may_be_best(one: EvaluatedSchedule, top: EvaluatedSchedule, aim: Aim) -> bool:
    gain = top.reached(aim) - one.reached(aim)
    return float(np.mean(gain)) <= _ROUGH_MARGIN + 2 * float(np.std(gain)) / float(np.sqrt(gain.size))


def _top(found: Sequence[EvaluatedSchedule], aim: Aim) -> EvaluatedSchedule:
    return max(found, key=lambda one: one.chance(aim))


def _chosen(
    start: Recommendation,
    field: _Field,
    customs: Sequence[Custom],
    best: dict[int, list[EvaluatedSchedule]],
    doses: int,
) -> Recommendation:
    """The customary course if it does nearly as well as so many doses; else, of these, the schedule of least risk."""
    aim, mine = field.aim, best[doses]
    top = _top(mine, aim)
    as_good = [one for one in mine if not beats(top, one, aim) and (one.meets(aim) or not top.meets(aim))]
    customary = _customary(field, customs, top)
    risks: tuple[str, ...] = ()
    if customary is not None:
        chosen, why = customary, "custom"
    else:
        waits = field.course is not None and start.untreated.meets(aim)
        chosen, risks = _least_risk(as_good, field.case, _usual_gap(field, customs), waits)
        why = "goes_on" if waits else _why(chosen, aim)
    fewer = [one for n in best if n == chosen.doses - 1 for one in [_top(best[n], aim)]]
    return replace(
        start,
        recommended=chosen,
        why=why,
        risks=risks,
        fewer_as_good=any(not beats(chosen, one, aim) for one in fewer),
    )


def _why(chosen: EvaluatedSchedule, aim: Aim) -> str:
    """Why so many doses: the fewest that meet the aim, near to it, or the best there is."""
    if chosen.meets(aim):
        return "fewest"
    return "near" if chosen.chance(aim) >= aim.chance - UNSURE else "best"


def _customary(field: _Field, customs: Sequence[Custom], top: EvaluatedSchedule) -> EvaluatedSchedule | None:
    """The customary course unless the best schedule is clearly better; one dose longer than that only if it has to be.

    It may be shorter than the best by any number of doses; longer by one, where the best may as well miss the aim.
    """
    aim = field.aim
    asked = min(top.chance(aim), aim.chance)
    unsure = top.chance(aim) < aim.chance + UNSURE
    plans = {c.plan: None for c in customs if len(c.plan.days) <= top.doses + (1 if unsure else 0)}
    found = field.evaluated(list(plans)) if plans else []
    near = [one for one in found if one.chance(aim) >= asked - _custom_within(field, one, top)]
    shorter = [one for one in near if one.doses <= top.doses]
    longer = [one for one in near if one.meets(aim)]
    return next(iter(shorter or longer), None)


def _custom_within(field: _Field, custom: EvaluatedSchedule, top: EvaluatedSchedule) -> float:
    """How far a custom may stay behind the best: as far again where that has a dose more than a usual course."""
    given = 0 if field.course is None else field.course.doses
    longer = top.doses > custom.doses and custom.doses + given >= USUAL_DOSES
    return 2 * CUSTOM_WITHIN if longer else CUSTOM_WITHIN


def _usual_gap(field: _Field, customs: Sequence[Custom]) -> float:
    """Days between doses that dates are drawn to where others do as well: custom's, else a little over a hatch."""
    return customs[0].gap_days if customs else usual_gap_days(field.lead)


def _least_risk(
    as_good: Sequence[EvaluatedSchedule], case: Case, gap_days: float, waits: bool = False
) -> tuple[EvaluatedSchedule, tuple[str, ...]]:
    """Of schedules that do as well, those of the least risk, of these the one nearest to a usual gap; what decided.

    A gap that is fixed beforehand keeps the dates where they are with another seed: many gaps do nearly as well. A next
    dose that only meets what is still to hatch, as flukes are few without it, waits until that has hatched.
    """
    least = min(_risk(one, case) for one in as_good)
    kept = [one for one in as_good if _risk(one, case) == least]
    # no later a start than needed: what waits a day kills a day longer
    start = (max if waits else min)(one.plan.days[0] for one in kept)
    agents = next(one.plan.agents for one in kept if one.plan.days[0] == start)
    kept = [one for one in kept if one.plan.days[0] == start and one.plan.agents == agents]
    usual_end = start + gap_days * (kept[0].doses - 1)
    nearest = min(kept, key=lambda one: (abs(one.plan.days[-1] - usual_end), one.plan.days))
    return nearest, _decided(least, [_risk(one, case) for one in as_good])


def _risk(one: EvaluatedSchedule, case: Case) -> tuple[int, ...]:
    """Other findings no agent of it works on, doses for which thousands are netted, doses of formalin, agents: fewer is
    better, in this order."""
    agents = set(one.plan.agents)
    met = {finding for agent in agents - LAST_RESORT for finding in load_agent(agent).works_on}
    netted = sum(netted_apart(case, agent) for agent in one.plan.agents)
    return len(set(case.findings.diseases) - met), netted, one.plan.agents.count("formalin"), len(agents)


def _decided(least: tuple[int, ...], all_near: Sequence[tuple[int, ...]]) -> tuple[str, ...]:
    """Which differences decided between schedules that do as well."""
    names, left, found = ("other_findings", "apart", "formalin", "agents"), list(all_near), []
    for place, name in enumerate(names):
        if any(risk[place] > least[place] for risk in left):
            found.append(name)
        left = [risk for risk in left if risk[place] == least[place]]
    return tuple(found)


def _beside(found: Recommendation, field: _Field, customs: Sequence[Custom]) -> Recommendation:
    """Put custom, the case's own plan and one dose more beside what is recommended, with elimination for all."""
    chosen = found.recommended
    rows: list[tuple[str, DoseSchedule, Custom | None]] = [("untreated", _NO_DOSE, None)]
    if chosen is not None:
        mine = next((c for c in customs if c.plan == chosen.plan), None)
        rows.append(("recommended", chosen.plan, mine))
        more = one_more(field.case, field.lead, chosen.plan, field.until) if chosen.doses < MOST_DOSES else None
        rows += [("one_more", more, None)] if more is not None else []
        rows += (
            [("one_less", DoseSchedule(chosen.plan.days[:-1], chosen.plan.agents[:-1]), None)]
            if chosen.doses > 1
            else []
        )
    rows += [("custom", c.plan, c) for c in customs if chosen is None or c.plan != chosen.plan]
    gone = gone_day(field.case)
    rows = [row for row in rows if row[0] == "recommended" or not any(day >= gone for day in row[1].days)]
    own = planned_course(field.case, field.lead)
    rows += [("planned", own, None)] if own is not None and own not in {plan for _, plan, _ in rows} else []
    every = with_elimination(field.ponds, field.evaluated(list(dict.fromkeys(plan for _, plan, _ in rows))))
    by_plan = {one.plan: one for one in every}
    compared = tuple(Compared(name, by_plan[plan], custom) for name, plan, custom in rows)
    more_row = next((one.schedule for one in compared if one.name == "one_more"), None)
    recommended = None if chosen is None else by_plan[chosen.plan]
    return replace(
        found,
        untreated=by_plan[_NO_DOSE],
        recommended=recommended,
        compared=compared,
        more_better=recommended is not None and more_row is not None and beats(more_row, recommended, found.aim),
    )

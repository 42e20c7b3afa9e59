"""The day-book: what to do on each date, in words, made from the decision alone."""

from __future__ import annotations

import math
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from burden.decision import Assessment, PlannedDose
from burden.decision.plan import is_tried_first
from burden.report.text.bath_end import end_text, let_out_text
from burden.report.text.decision import AUTHORITY_FIRST, headline, tells_authority
from burden.report.text.gates import FOR_THE_LABORATORY, change_text, gates_text, other_text, unused_text
from burden.report.text.handling import (
    aftercare_days,
    better_text,
    emptied_text,
    handling_of,
    notes_of_filter,
    showed_it,
    trial_fish,
    trial_steps,
    unfed_text,
)
from burden.report.text.next_look import look_text, outcome_lines
from burden.report.text.other_bath import (
    baths_against_others,
    day_of_bath,
    steps_of_bath,
    title_of_bath,
)
from burden.report.text.plan import dose_text
from burden.report.text.reasons import reason_text, reasons_of
from burden.schedule.delayed_hatch import DelayedHatch
from burden.schedule.late_dose import LateDose
from burden.treatment.dose_result import DoseResult
from burden.treatment.gates import change_of, without_change
from burden.treatment.residues import ceiling_mg_l, given_baths, left_mg_l
from burden.treatment.withdrawal import Withdrawal
from burden.utils.dates import say_date
from burden.utils.formatting import interval, named, percent, plain, uncapitalised

__all__ = ["Day", "days_of", "folded", "look_today_of"]

#: share of a dose from which what is left of earlier ones is said: an assumption [-]
_WORTH_SAYING = 0.2
#: water of which half is soon changed: common practice, no source [L]
_SOON_CHANGED_L = 5000.0
#: tests of why a dose failed that a day has room for; the others stand with the last dose
_MOST_TESTS = 2
#: day after a dose on which the fish should be better: common practice, no source [d]
_BETTER_AFTER_DAYS = 3


@dataclass(frozen=True)
class Day:
    """One entry of the day-book.

    Parameters
    ----------
    date : date
    kind : str
        water, none, other (a bath against another disease), trial, dose, care, look, sample, food, later or empty.
    headline : str
        The day's action.
    steps, look_for : tuple of str
        What to do, in order, and what to watch.
    dose : int or None
        Number of the dose it belongs to.
    year : int or None
        Of the visit; a date of another year is said with its own.
    """

    date: date
    kind: str
    headline: str
    steps: tuple[str, ...] = ()
    look_for: tuple[str, ...] = ()
    dose: int | None = None
    year: int | None = None

    @property
    def label(self) -> str:
        """The date as people say it."""
        return say_date(self.date, self.year)


def days_of(found: Assessment) -> tuple[Day, ...]:
    """Return the day-book of a visit, in the order of its dates."""
    days = [*_today(found), *_others(found), *_doses(found), *_food(found), *_later(found)]
    days += [*_sample(found), *_emptied(found)]
    days += _changes(found, {day.date for day in days if day.kind == "dose"})
    order = ("water", "none", "other", "trial", "dose")
    return tuple(sorted(days, key=lambda day: (day.date, order.index(day.kind) if day.kind in order else len(order))))


def _day(
    found: Assessment, when: date, kind: str, text: str, steps: Sequence[str] = (), dose: int | None = None
) -> Day:
    if kind in ("trial", "dose") and tells_authority(found.decision):
        steps = [uncapitalised(AUTHORITY_FIRST), *steps]
        text = f"once the authority has been told: {text}"
    return Day(when, kind, text.rstrip("."), tuple(steps), dose=dose, year=found.decision.visit_date.year)


def _today(found: Assessment) -> Iterator[Day]:
    """What today asks for where no dose goes in."""
    decision = found.decision
    if decision.action == "dose":
        return
    kind = "water" if decision.action == "water_first" else "none"
    levels = () if kind == "water" else ("stop", "agent", "measure", "care")
    causes = [reason_text(reason) for reason in decision.reasons if reason.code == "look_for_another_cause"]
    steps = [*_virus(found), *_other_first(found), *causes, *gates_text(decision, *levels), *_why_it_failed(found)]
    yield _day(found, decision.visit_date, kind, headline(decision), [step.rstrip(".") for step in steps])


def _other_first(found: Assessment) -> list[str]:
    """What comes before the flukes and has no bath of its own on the list."""
    return [
        other_text(other)
        for other in found.decision.others
        if other.to_treat_first and other.bath is None and other.finding != "virus_suspected"
    ]


def _others(found: Assessment) -> Iterator[Day]:
    """Baths against other diseases that come first, each on its day."""
    for other, dose, _ in baths_against_others(found):
        when = day_of_bath(found, other)
        if when is not None and is_tried_first(found.case, other.at_hand):
            today = found.decision.visit_date
            text = f"against the {named(other.finding)} treat a few fish first"
            yield _day(found, today, "other", text, trial_steps(found.case, dose, found.decision.gates))
        if when is not None:
            yield _day(found, when, "other", title_of_bath(other, dose), [*steps_of_bath(found, dose)])


def _virus(found: Assessment) -> list[str]:
    """What a suspected virus asks for today: the test, the authority, and that nothing leaves."""
    others = [other for other in found.decision.others if other.finding == "virus_suspected"]
    return [said for other in others for said in (other_text(other), *([FOR_THE_LABORATORY] if not other.test else []))]


def _why_it_failed(found: Assessment) -> list[str]:
    """How to find out why a dose failed, the likeliest cause first, where the next one waits for that."""
    if not any(reason.code == "doses_fell_short" for reason in found.decision.reasons):
        return []
    causes = sorted((cause for r in found.responses for cause in r.causes), key=lambda cause: -cause.probability)
    tests = dict.fromkeys(str(cause.test) for cause in causes)
    return [f"to find out why: {uncapitalised(test)}" for test in [*tests][:_MOST_TESTS]]


def _changes(found: Assessment, dosed: Container[date]) -> Iterator[Day]:
    """Changes of water, a day apart from today on; where no dose goes in, what today asks for says the first."""
    decision, remedy = found.decision, change_of(found.decision.gates)
    if remedy is None:
        return
    for after in range(0 if decision.action == "dose" else 1, remedy.times):
        when, said = decision.visit_date + timedelta(days=after), change_text(remedy, " again" if after else "")
        yield _day(found, when, "water", f"before the dose, {said}" if when in dosed else said)


def _doses(found: Assessment) -> Iterator[Day]:
    before: list[tuple[float, DoseResult]] = []
    said: set[str] = set()
    late = {one.number: one for one in found.late}
    for place, (planned, given) in enumerate(zip(found.decision.plan, found.doses, strict=False), 1):
        tried = planned.trial_date is not None and planned.trial_date < planned.date
        if tried:
            yield _trial(found, planned, first=not said)
        first = given.agent not in said
        steps = [*_steps(found, planned, given, before, first, care=not said and not tried)]
        steps += _late(late.get(place), found)
        name = "one dose" if planned.of == 1 else f"dose {planned.number} of {planned.of}"
        yield _day(found, planned.date, "dose", f"{name}: {dose_text(planned)}", steps, planned.number)
        yield from _aftercare(found, planned)
        before.append((planned.day, given))
        said.add(given.agent)


def _trial(found: Assessment, planned: PlannedDose, first: bool) -> Day:
    steps = [*(_care(found) if first else ()), *trial_steps(found.case, planned, found.decision.gates)]
    if planned.trial_date == planned.fast_from:
        steps.append(unfed_text(planned, found.decision.visit_date.year))
    return _day(found, planned.trial_date or planned.date, "trial", "treat a few fish first", steps)


def _care(found: Assessment) -> list[str]:
    """What water and fish ask for beside a dose, without full stops."""
    apart = replace(found.decision, gates=tuple(map(without_change, found.decision.gates)))  # it has days of its own
    near = [reason_text(reason) for reason in reasons_of(found.decision) if reason.code == "treat_neighbours"]
    besides = unused_text(found.decision)
    said = [*near, *gates_text(apart, "agent", "measure", "care"), *([besides] if besides else [])]
    return [text.rstrip(".") for text in said]


def _steps(
    found: Assessment,
    planned: PlannedDose,
    given: DoseResult,
    before: Sequence[tuple[float, DoseResult]],
    first: bool,
    care: bool,
) -> Iterator[str]:
    if care:
        yield from _care(found)
    if planned.trial_date is not None and planned.trial_date == planned.date:
        fish = trial_fish(found.case, planned)
        tub = "in a tub first, aerated, covered and as warm as the water"
        yield f"treat {fish} with {named(planned.agent)} {tub}, and watch them"
    left = _left(found, planned, before)
    if left:
        yield left
    yield unfed_text(planned, found.decision.visit_date.year)
    if first:
        told = [
            *handling_of(found.case, planned),
            *notes_of_filter(found.case, given.agent, planned.apart),
        ]
        yield from (step.rstrip(".") for step in told)
        yield end_text(found.case, planned)
        if out := let_out_text(found.case, planned):
            yield out
    else:
        yield f"all else as with the first dose of {named(given.agent)}"


def _left(found: Assessment, planned: PlannedDose, before: Sequence[tuple[float, DoseResult]]) -> str:
    """Say what earlier doses of the agent left in the water, where it is worth saying; a bath apart leaves nothing."""
    if planned.apart:
        return ""
    baths = [(when, given.mg_l) for when, given in before if given.agent == planned.agent]
    case = found.case
    left = left_mg_l(case, planned.agent, planned.day, [*given_baths(case, planned.agent), *baths])
    if left < _WORTH_SAYING * planned.mg_l:
        return ""
    total, ceiling = left + planned.mg_l, ceiling_mg_l(planned.agent)
    over = f"; that is above {plain(ceiling)} mg/L, so change water first" if total > ceiling else _BEARABLE
    if over is _BEARABLE and left >= planned.mg_l:  # as much again as the dose: needless strain
        over = "; change half of the water first" if case.water.volume_l.value <= _SOON_CHANGED_L else _BEARABLE
    if case.water.filter in ("naive", "adapted"):
        return (
            f"up to {plain(left, 2)} mg/L of earlier doses may still be in the water, with this dose "
            f"{plain(total, 2)} mg/L{over}"
        )
    bearable, half = ", no more than a long bath may have" if over is _BEARABLE else over, plain(planned.mg_l / 2, 2)
    return (
        f"up to {plain(left, 2)} mg/L of earlier doses may still be in the water, or none, as nobody has measured how "
        f"fast it goes without a filter: have it measured if you can, and with {half} mg/L or more "
        "let this dose wait, as the fish are then still in the bath; without a reading count on "
        f"{plain(total, 2)} mg/L with this dose{bearable}"
    )


#: what is said of drug left in the water that nothing need be done about
_BEARABLE = "; that is still no more than a long bath may have, so do nothing about it"


def _late(late: LateDose | None, found: Assessment) -> Iterator[str]:
    """Until when it may wait, said only where the aim is then still met."""
    if late is None:
        return
    decision = found.decision
    if late.aim_met_until_day is not None and late.aim_met_until_day > late.day:
        until = say_date(decision.date_of(late.aim_met_until_day), decision.visit_date.year)
        after = "; the doses after it then wait as many days" if late.number < len(decision.plan) else ""
        yield f"if it has to wait, the aim is still met until {until}{after}"
    elif late.worse_from_day is not None:
        yield "if it has to wait, the aim is met less surely with each day: give it as soon as you can"


def _aftercare(found: Assessment, planned: PlannedDose) -> Iterator[Day]:
    measured = aftercare_days(found.case, planned.agent, planned.apart)
    for after in range(1, 1 + measured):
        text = f"measure ammonia and nitrite, day {after} after {named(planned.agent)}"
        yield _day(found, planned.date + timedelta(days=after), "care", text, dose=planned.number)
    look = better_text(found.case)
    if not showed_it(found.case) and planned is not found.decision.plan[0]:
        return  # well fish are looked at once, after the first dose
    yield _day(found, planned.date + timedelta(days=_BETTER_AFTER_DAYS), "look", look, dose=planned.number)


def _food(found: Assessment) -> Iterator[Day]:
    for one in found.withdrawals:
        if one.latest_day is not None and one.degree_days > 0:
            yield _day(found, found.decision.date_of(one.latest_day), "food", _held(one))
        if one.harvest is not None:
            early = f"the harvest planned for today comes too early after {named(one.agent)}: do not harvest"
            yield _day(found, one.harvest, "food", early, [_held(one)])


def _emptied(found: Assessment) -> Iterator[Day]:
    """What is done with the water on the day all fish leave it: at the harvest, or as newcomers move."""
    decision, moved = found.decision, found.decision.action == "discharge" and found.decision.release_date is not None
    harvest = found.case.emptied_on if decision.emptied_by_then else None
    when = decision.visit_date if moved else harvest
    said = emptied_text(found.case, moved)
    waits = any(one.harvest is not None for one in found.withdrawals)
    if when is not None and said is not None and (moved or not waits):
        yield _day(found, when, "empty", said[0], [said[1]])


def _held(one: Withdrawal) -> str:
    later = ", later where the drug was still in the water after the last dose" if one.in_water else ""
    approved = f" ({plain(one.degree_days)} where a product of it is approved for animals that are eaten)"
    return (
        f"food fish: the example of {plain(one.longest_degree_days)} degree-days after {named(one.agent)}"
        f"{approved if one.unapproved_degree_days else ''} ends{later}; local rules and the licensed veterinarian "
        "decide when the fish may be eaten"
    )


def _later(found: Assessment) -> Iterator[Day]:
    """Doses for eggs that cold water keeps from hatching."""
    later, look = found.later, found.decision.look
    waits = look is not None and look.purpose == "survivors"  # else one look comes after the last hatch, and decides
    if later is None or not waits or found.decision.action != "dose":
        return
    for number, day in enumerate(later.days, 1):
        if math.isfinite(day.median):
            when = found.decision.date_of(day.median)
            text = f"about now further dose {number} may be due, for eggs that hatch late"
            yield _day(found, when, "later", text, [_waiting(later)])


def _waiting(later: DelayedHatch) -> str:
    return (
        f"in this cold water only {percent(later.hatched_share)} of the eggs laid today hatch before the course "
        "ends; the "
        f"water decides the day ({interval(*_three(later))} days from the visit for the first eggs): measure it, "
        "look at "
        "the fish and run the report again a week before"
    )


def _three(later: DelayedHatch) -> tuple[float, float, float]:
    first = later.hatch_from_day
    return first.median, first.low, first.high


def _sample(found: Assessment) -> Iterator[Day]:
    look = found.decision.look
    if look is None or look.date == found.decision.visit_date:
        return
    steps = [look_text(look, found.decision.visit_date.year), *outcome_lines(look)]
    what = "look at the fish again"
    if look.purpose == "water":
        see = "look at the fish" if look.fish else "see how the fish breathe"
        doses = " for the doses" if found.decision.after_water else ""
        what = f"measure the water and {see}; once it is right, run the report again{doses}"
    yield _day(found, look.date, "sample", what, steps)


def look_today_of(found: Assessment) -> Iterator[Day]:
    """Yield the look that the visit itself asks for, as a day: the day-book has it in the headline of today."""
    look = found.decision.look
    if look is not None and look.date == found.decision.visit_date:
        yield _day(found, look.date, "sample", look_text(look, found.decision.visit_date.year), outcome_lines(look))


def folded(days: Sequence[Day]) -> list[Day]:
    """Return the day-book with what follows from a dose folded into its entry, so that a page shows it at a glance.

    The calendar keeps every date apart.
    """
    kept = [day for day in days if day.kind not in ("care", "look")]
    followers: dict[int, list[Day]] = {}
    for day in days:
        if day.kind in ("care", "look") and day.dose is not None:
            followers.setdefault(day.dose, []).append(day)
    said: set[str] = set()
    result = []
    for day in kept:
        mine = followers.get(day.dose or -1, []) if day.kind == "dose" else []
        result.append(Day(day.date, day.kind, day.headline, day.steps, tuple(_phrases(mine, said)), day.dose, day.year))
    return result


def _phrases(days: Sequence[Day], said: set[str]) -> Iterator[str]:
    """One phrase for what is done on several days; what was said with an earlier dose is not said again."""
    care = [day for day in days if day.kind == "care"]
    if care:
        yield f"from {care[0].label} to {care[-1].label} measure ammonia and nitrite daily"
    for day in days:
        if day.kind == "look":
            again = day.headline in said
            said.add(day.headline)
            yield f"on {day.label} {'look at the fish' if again else day.headline}"

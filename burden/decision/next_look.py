"""The next look: on which day, at how many fish, and what each result leads to.

A look is worth advising where its result can change the decision, so results are drawn from the same ponds as the
decision itself: what so many fish would show, and how often the burden is too high where they show it.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from burden.case import Case
from burden.decision.action import FEW_MORE, LIKELY
from burden.decision.doses_given import last_dose, seen_since
from burden.decision.facts import LOOKS_APART_DAYS, clean_looks, trouble_in
from burden.decision.grounds import Grounds
from burden.decision.look_counts import FEW_FISH, counts_seen, outcomes_of, plain_look
from burden.decision.look_dates import (
    LOOK_LATE_DAYS,
    LOOK_SOON_DAYS,
    TOO_LONG_TO_WAIT_DAYS,
    WARM_C,
    before_cold,
    clean_look_day,
    not_in_the_cold,
    spring_day,
    warm_day,
    watch_day,
)
from burden.decision.look_due import chance_due, short_of_usual
from burden.decision.look_harvest import beside_harvest, day_in_time
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import Reason
from burden.inference.estimate_result import Estimate
from burden.inference.straying import strayed_ahead
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.recommendation import Recommendation

__all__ = [
    "CONCLUSIVE",
    "LEAST_DOUBT",
    "fish_to_look_at",
    "known_beforehand",
    "look_of",
    "look_today",
    "next_look",
    "settles_little",
]

#: numbers of fish tried; a vet nets no more in a visit, and fewer where nothing hangs on it but whether to look once
#: more: common practice, no source
_NUMBERS, _ROUTINE_NUMBERS, _RELEASE_NUMBERS = (FEW_FISH, 8, 10, 15, 20, 30), (FEW_FISH, 8, 10), (10, 15)
_ROUTINE = ("check", "watch", "survivors", "in_time")
#: chance of a result that decides, from which more fish are not asked for: an assumption [-]
CONCLUSIVE = 0.8
#: least days between the last dose and the look that decides whether newcomers may move: common practice, no source [d]
_HELD_DAYS = 14.0
#: days until a laboratory has tested for a virus: an assumption [d]
_RESULT_DAYS = 7.0
#: days until the reason why doses failed is found, or an agent that may be given: a trial in a tub takes two of them.
#: Common practice, no source [d]
_CAUSE_DAYS = 7.0
#: fish to look at where samples have to tell how many flukes come in: an assumption
_LEARN_FROM_FISH = 10
#: counts drawn of a look, at least
_COUNTED = 4000
#: chance of what a look leads to from which nobody is sent to look: an assumption [-]
_ALL_BUT_SURE = 0.95
#: doubt that no look is asked to lower: an assumption [-]
LEAST_DOUBT = 0.02


def next_look(
    case: Case,
    estimates: Sequence[Estimate],
    day: float,
    purpose: str,
    burdens: Sequence[np.ndarray],
    high: np.ndarray,
    surely_low: float,
    now: np.ndarray | None = None,
    due: float = LIKELY,
    numbers: Sequence[int] | None = None,
) -> NextLook:
    """Plan a look.

    Parameters
    ----------
    case : Case
        For how many fish there are.
    estimates : sequence of Estimate
        One a parasite set.
    day : float
        From the visit [d].
    purpose : str
        As `NextLook` has it.
    burdens : sequence of numpy.ndarray
        Mean burden on that day, one a parasite set, shape (M,) each [flukes per fish].
    high : numpy.ndarray
        Chance, draw by draw, that the burden does not stay low, shape (M,).
    surely_low : float
        Chance of that at which a result is good news [-].
    now : numpy.ndarray, optional
        Chance, draw by draw, that it is too high on that very day, where a dose is given for that alone, shape (M,).
    due : float
        Chance of too many from which a dose follows: that of the action itself [-].
    numbers : sequence of int, optional
        Numbers of fish tried, rising; those usual for the purpose when not given.
    """
    there = max(case.fish_count, 1)
    released = _RELEASE_NUMBERS if purpose == "release" else _NUMBERS
    tried: Sequence[int] = numbers or (_ROUTINE_NUMBERS if purpose in _ROUTINE else released)
    numbers = [n for n in tried if n < there] + ([there] if there <= tried[-1] else [])
    fish, outcomes = fish_to_look_at(estimates, burdens, high, numbers or [there], purpose, surely_low, now, due)
    look = plain_look(case, day, purpose, fish)
    return replace(look, outcomes=tuple(outcomes))


def fish_to_look_at(
    estimates: Sequence[Estimate],
    burdens: Sequence[np.ndarray],
    high: np.ndarray,
    numbers: Sequence[int],
    purpose: str,
    surely_low: float,
    now: np.ndarray | None = None,
    due: float = LIKELY,
) -> tuple[int, list[Outcome]]:
    """Return the fewest fish whose result likely decides, else the most there are, and what each result leads to.

    Parameters
    ----------
    estimates, burdens, high, purpose, surely_low, now, due
        As `next_look` takes them.
    numbers : sequence of int
        Numbers of fish tried, rising.
    """
    tried: list[tuple[int, list[Outcome]]] = []
    # a clean look has to be news: where the burden is likely low anyway, it has to halve what doubt is left
    surely_low = min(surely_low, max(float(np.mean(high)) / 2, LEAST_DOUBT))
    times = -(-_COUNTED // high.size)  # each draw shows several counts, so that a limit does not hang on one of them
    high, now = np.tile(high, times), None if now is None else np.tile(now, times)
    for fish in numbers:
        flukes = sum(counts_seen(e, burden, fish, times) for e, burden in zip(estimates, burdens, strict=True))
        outcomes = outcomes_of(np.asarray(flukes), high, purpose, surely_low, now, due)
        tried.append((fish, outcomes))
        undecided = sum(one.chance for one in outcomes if _leaves_open(one, surely_low, now is not None))
        if 1 - undecided >= CONCLUSIVE:
            break
    leads_to = {one.action for one in tried[-1][1]}
    if len(leads_to) > 1:
        return tried[-1]
    # whatever they show leads to the same: no more are netted than show that
    return next(one for one in tried if {outcome.action for outcome in one[1]} == leads_to)


def _leaves_open(outcome: Outcome, surely_low: float, judged_by_the_day: bool) -> bool:
    """Whether a result decides nothing; few flukes, where only what is there that day counts, mean no dose."""
    if judged_by_the_day and outcome.code == "few":
        return False
    return surely_low < outcome.chance_high < LIKELY


def look_of(
    grounds: Grounds,
    action: str,
    reasons: Sequence[Reason],
    shown: EvaluatedSchedule | None,
    mended: float = 1.0,
    asked: NextLook | None = None,
) -> NextLook | None:
    """Return the next look at the fish; None where none is asked for.

    Parameters
    ----------
    grounds : Grounds
    action : str
        Today's.
    reasons : sequence of Reason
    shown : EvaluatedSchedule or None
        The schedule to be given.
    mended : float
        Day on which the water may be right, where that comes first [d].
    asked : NextLook or None
        The look at more fish today, where the action hung on it.
    """
    look = _look_of(grounds, action, {reason.code for reason in reasons}, shown, mended, asked)
    if look is None:
        return None
    return beside_harvest(grounds, shown, not_in_the_cold(grounds.case, grounds.estimates, look))


def _look_of(
    grounds: Grounds,
    action: str,
    codes: Set[str],
    shown: EvaluatedSchedule | None,
    mended: float,
    asked: NextLook | None,
) -> NextLook | None:
    case = grounds.case
    if case.fish_count == 0 or action == "discharge":
        return None
    if "virus_first" in codes:
        return None if case.findings.virus_test == "positive" else plain_look(case, _RESULT_DAYS, "result")
    if "harvest_first" in codes and case.harvest_date is not None:
        return plain_look(case, float(max(case.day_of(case.harvest_date), 0)), "harvest")
    if action == "look_first" and "doses_fell_short" in codes:
        # by then a trial in a tub has told whether the agent still kills
        return plain_look(case, _CAUSE_DAYS, "watch")
    if "too_cold" in codes:
        action = "watch"  # in such cold no fish is netted, whatever ails some
    if "identify_first" in codes:
        return plain_look(case, _RESULT_DAYS, "named")
    if codes & {"no_dose_possible", "other_first", "dose_does_not_help"} and action == "look_first":
        return plain_look(case, _CAUSE_DAYS, "watch")  # nothing that more fish show today changes what is done
    look = _look_after(grounds, action, codes, shown, mended, asked)
    if look is not None and codes & {"too_much_water", "no_dose_possible"}:
        return replace(look, outcomes=())  # whatever it shows, no dose follows
    return look


def _look_after(
    grounds: Grounds,
    action: str,
    codes: Set[str],
    shown: EvaluatedSchedule | None,
    mended: float,
    asked: NextLook | None,
) -> NextLook | None:
    """The next look of an action and its reasons, with what each result leads to."""
    if action == "water_first":
        # where doses follow no fish need be netted again: they are ill, and the count would change nothing
        found = grounds.case.findings
        undisturbed = shown is not None or bool(found.gasping) or "virus_suspected" in found.diseases
        return plain_look(grounds.case, mended, "water", 0 if undisturbed else FEW_FISH)
    if action == "look_first":
        return _look_before_deciding(grounds, codes, asked)
    return _look_untreated(grounds, action, codes) if shown is None else _look_after_doses(grounds, shown)


def _look_before_deciding(grounds: Grounds, codes: Set[str], asked: NextLook | None) -> NextLook | None:
    case = grounds.case
    if "wrong_water" in codes:
        return None
    if "model_does_not_reach" in codes:
        return plain_look(case, LOOK_SOON_DAYS, "watch", _LEARN_FROM_FISH)
    purpose = "check" if "too_few_to_end" in codes else "more_fish"
    look = asked or look_today(case, grounds.estimates, grounds.found, purpose)
    looked = len({row.fish for row in case.samples_on(case.visit_date) if row.readable and row.chosen == "netted"})
    if "look_for_another_cause" in codes and (known_beforehand(look) or settles_little(look) or looked >= FEW_FISH):
        return plain_look(case, _CAUSE_DAYS, "watch")  # it would change nothing: what else ails them is looked for
    return look


def _look_after_doses(grounds: Grounds, shown: EvaluatedSchedule) -> NextLook:
    """When what hatched since the doses shows; newcomers, when they may be free; in the cold, what is left on fish."""
    case, estimates, aim = grounds.case, grounds.estimates, grounds.found.aim
    last, low = shown.plan.days[-1], 1 - aim.chance
    turns_cold = before_cold(estimates, [shown.check_day]) is None and before_cold(estimates, [last]) is not None
    waits = turns_cold or shown.check_day - last > TOO_LONG_TO_WAIT_DAYS
    if aim.kind == "eradicate" and not waits:
        day = max(shown.check_day, last + _HELD_DAYS)
        ahead = _Ahead.of(grounds, shown, day)
        return next_look(case, estimates, day, "release", ahead.then, 1 - shown.reached(aim) ** ahead.factor, low)
    after = (LOOK_LATE_DAYS, LOOK_SOON_DAYS, LOOKS_APART_DAYS, 0.0)
    usual = before_cold(estimates, [last + wait for wait in after]) if waits else shown.check_day
    if usual is None:
        spring = warm_day(estimates, last) or shown.check_day
        return replace(plain_look(case, spring, "watch"), once_c=WARM_C)
    day = day_in_time(grounds, shown, usual)
    purpose = "survivors" if waits else "in_time" if day < usual else "check"
    ahead = _Ahead.of(grounds, shown, day)
    # flukes seen while a usual course has doses left are met by these, many or few as they are that day
    now, due = (None, FEW_MORE) if short_of_usual(grounds, shown) else (ahead.now, LIKELY)
    look = next_look(case, estimates, day, purpose, ahead.then, ahead.high, low, now, due)
    if day == last:  # the dose of that day is given whatever the fish show: nobody comes again before spring
        look = plain_look(case, day, "before_last")
    if waits:
        later = warm_day(estimates, shown.check_day) or shown.check_day
        return replace(look, again=case.visit_date + timedelta(days=int(later)))
    if purpose == "in_time":
        later = max(shown.check_day, day + LOOKS_APART_DAYS)
        return replace(look, again=case.visit_date + timedelta(days=int(later)))
    sure = clean_look_day(estimates, shown.plan)
    # of a course that hardly reaches the aim nobody asks whether none came back
    asked = sure is not None and sure > day and shown.chance(aim) >= LIKELY
    return replace(look, clean_from=case.visit_date + timedelta(days=int(sure or 0)) if asked else None)


def _look_untreated(grounds: Grounds, action: str, codes: Set[str]) -> NextLook:
    """Whether flukes left alone increase; on newcomers, whether there are any; in the cold, once it is warm."""
    case, estimates, found = grounds.case, grounds.estimates, grounds.found
    day = float(LOOKS_APART_DAYS) if "clean_once" in codes else watch_day(case, estimates, found)
    cold = "too_cold" in codes and not trouble_in(case)
    if not cold and seen_since(case, last_dose(case)):  # flukes are followed as far as the warmth goes
        day = before_cold(estimates, [day, LOOK_SOON_DAYS]) or day
    warm = spring_day(estimates) if cold else warm_day(estimates, day)
    if "too_cold" in codes and warm is None:
        return plain_look(case, day, "watch")
    if warm is not None and action == "watch":  # what it will show so far ahead nobody can say
        return replace(plain_look(case, warm, "watch"), once_c=WARM_C)
    day = day_in_time(grounds, None, day)
    ahead, low = _Ahead.of(grounds, found.untreated, day), 1 - found.aim.chance
    if found.aim.kind == "eradicate":
        # what may move must be free on that day: that the last one dies out in the months after is no help
        left = 1 - np.exp(-case.fish_count * np.sum(ahead.then, axis=0))
        look = next_look(case, estimates, day, "release", ahead.then, left, low)
        return replace(look, clean_before=clean_looks(case) if "clean_once" in codes else 0)
    return next_look(case, estimates, day, "watch", ahead.then, ahead.high, low, ahead.now, chance_due(case))


@dataclass(frozen=True, eq=False)
class _Ahead:
    """What a look on a day will stand before: the pond as foretold, and as it strays from that until then.

    Parameters
    ----------
    then : tuple of numpy.ndarray
        Mean burden on that day, one a parasite set, shape (M,) each [flukes per fish].
    factor : numpy.ndarray
        By how much the pond has strayed, shape (M,) [-].
    high : numpy.ndarray
        Chance, draw by draw, that the burden does not stay low from then on, shape (M,).
    now : numpy.ndarray or None
        The same for that day alone; None of flukes that bear young, which are many again before the look after it.
    """

    then: tuple[np.ndarray, ...]
    factor: np.ndarray
    high: np.ndarray
    now: np.ndarray | None

    @classmethod
    def of(cls, grounds: Grounds, schedule: EvaluatedSchedule, day: float) -> _Ahead:
        aim, first = grounds.found.aim, grounds.estimates[0]
        factor = strayed_ahead(day, first.pond.size, first.seed)
        then = tuple(burden * factor for burden in schedule.burden_on(day))
        highest = tuple(burden * factor for burden in schedule.highest_from(day))
        waited = any(e.pond.setting.parameters.evidence.lays_eggs for e in grounds.estimates)
        return cls(then, factor, 1 - aim.share_kept(highest), 1 - aim.share_kept(then) if waited else None)


def known_beforehand(look: NextLook) -> bool:
    """Whether what a look leads to is all but sure before anybody looks.

    Parameters
    ----------
    look : NextLook
    """
    by_action: dict[str, float] = {}
    for one in look.outcomes:
        by_action[one.action] = by_action.get(one.action, 0.0) + one.chance
    return max(by_action.values(), default=0.0) >= _ALL_BUT_SURE


def settles_little(look: NextLook) -> bool:
    """Whether a look before a decision more likely than not leaves it open.

    Parameters
    ----------
    look : NextLook
    """
    return sum(one.chance for one in look.outcomes if one.action == "look_first") > LIKELY


def look_today(
    case: Case,
    estimates: Sequence[Estimate],
    found: Recommendation,
    purpose: str = "more_fish",
    numbers: Sequence[int] | None = None,
) -> NextLook:
    """Plan a look on the day of the visit.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.
    found : Recommendation
    purpose : str
        more_fish or check.
    numbers : sequence of int, optional
        Numbers of fish tried, rising; the usual ones when not given.
    """
    today = [e.state.flukes_per_fish(e.pond.setting.fish) for e in estimates]
    high, now = 1 - found.untreated.kept, 1 - found.aim.share_kept(today)
    look = next_look(case, estimates, 0.0, purpose, today, high, 1 - found.aim.chance, now, chance_due(case), numbers)
    if not trouble_in(case):
        return look
    # ill fish without flukes are ill of something else
    none = (replace(one, action="look_first") if one.code == "none" else one for one in look.outcomes)
    return replace(look, outcomes=tuple(none))

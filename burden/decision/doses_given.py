"""What the record tells of the doses given: how strong they were, and what was counted before and after them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import pairwise
from statistics import mean

from burden.case import Action, Arrival, Case, Preparation
from burden.evidence import agent_names, load_agent
from burden.treatment.water_chemistry import LEFT_IN_HOURS

__all__ = [
    "COUNTED_DAYS",
    "ENOUGH_FLUKES",
    "WEAK_SHARE",
    "alike",
    "by_calendar",
    "came_since",
    "counts_around_course",
    "counts_beside_doses",
    "full_doses",
    "given_and_clean",
    "given_lately",
    "held_up",
    "last_agents",
    "last_dose",
    "last_look",
    "left_in",
    "read_since",
    "seen_since",
    "strength_given",
    "underdosed",
    "weak_doses",
]

#: doses of the last so many days are those of one course: an assumption [d]
COUNTED_DAYS = 60
#: counts that are this share of those before are no success, where so many flukes were counted so soon after a dose
#: that few of them have settled since; after several doses later, as they met what hatched between them: assumptions
#: [-], [flukes], [d], [d]
_HELD_UP, ENOUGH_FLUKES, _SOON_AFTER_DAYS, _SOON_AFTER_COURSE_DAYS = 0.5, 10, 7, 14
#: doses weaker than this share of the customary one may have failed for that alone: an assumption [-]
WEAK_SHARE = 0.8
#: below this share of it no length of a bath makes up for strength: an assumption [-]
_NEVER_ENOUGH = 0.5
#: doses one after the other, so many days apart, that no look at the fish asked for: assumptions [-], [d]
_BY_CALENDAR, _MONTHLY_DAYS = 3, (20, 45)


def last_dose(case: Case) -> date | None:
    return max((dose.date for dose in case.doses_given), default=None)


def last_agents(case: Case) -> set[str | None]:
    """Return the agents of the last day on which a dose was given; none where none was."""
    last = last_dose(case)
    return {dose.agent for dose in case.doses_given if dose.date == last}


def came_since(case: Case) -> list[Arrival]:
    """Return the fish that came in the last two months and were not treated, on arrival or by a dose here since.

    None where all the fish came lately, since then there are no others that they could bring flukes to.
    """
    last = last_dose(case)
    lately = [one for _, one in case.arrivals if -case.day_of(one.date) <= COUNTED_DAYS]
    if not lately or case.fish_on(min(one.date for one in lately) - timedelta(days=1)) == 0:
        return []
    return [one for one in lately if not one.treated and (last is None or one.date > last)]


def read_since(case: Case, since: date | None) -> list[Preparation]:
    """Return the preparations after a date that could be read; all of them where no date is given."""
    return [row for row in case.samples if row.readable and (since is None or row.date > since)]


def seen_since(case: Case, since: date | None) -> bool:
    """Whether a preparation after a date showed a fluke; any preparation where no date is given."""
    return any(row.count_low > 0 for row in read_since(case, since))


def alike(rows: Iterable[Preparation], others: Sequence[Preparation]) -> list[Preparation]:
    """Return the rows of a site and a method that others are of, so that their counts can be compared."""
    like = {(row.site, row.method) for row in others}
    return [row for row in rows if (row.site, row.method) in like]


def given_and_clean(case: Case) -> int:
    """Doses of the last two months after which no fluke was seen: a course, though its last dose is weeks ago."""
    last = last_dose(case)
    if last is None or seen_since(case, last):
        return 0
    known = agent_names()
    return sum(dose.agent in known for dose in given_lately(case))


def given_lately(case: Case) -> list[Action]:
    """Return the doses of the last two months."""
    return [dose for dose in case.doses_given if -case.day_of(dose.date) <= COUNTED_DAYS]


def strength_given(case: Case) -> float | None:
    """Lowest strength of the doses given, as a share of the customary one; None where nobody wrote one down [-].

    A dose weighed out for less water than there is was as much weaker, whatever it was. What is left in the water and
    is customary as a short bath has no customary strength: see `left_in`.
    """
    shares = (_strength(case, dose) for dose in case.doses_given)
    return min((share for share in shares if share is not None), default=None)


def full_doses(case: Case) -> list[Action]:
    """Return the doses of two months that were not clearly weaker than is customary, with no lamp or carbon running."""
    strengths = ((dose, _strength(case, dose)) for dose in given_lately(case))
    return [d for d, share in strengths if not d.uv_or_carbon_on and (share is None or share >= WEAK_SHARE)]


def _strength(case: Case, dose: Action) -> float | None:
    """Strength of a dose in the water there is, as a share of the customary one; None where nobody wrote it down."""
    known = dose.concentration_mg_l is not None and dose.agent in agent_names() and not _left_in(dose)
    usual = load_agent(str(dose.agent)).customary if known else None
    meant = 1.0 if usual is None else (dose.concentration_mg_l or 0.0) / usual.mg_l
    if not known and dose.volume_l_believed is None:
        return None
    share = meant * (dose.volume_l_believed or case.water.volume_l.value) / case.water.volume_l.value
    longer = 1.0 if usual is None or dose.hours is None else dose.hours / usual.hours
    return max(share, 1.0) if share * longer >= 1 and share >= _NEVER_ENOUGH else share  # half of it for twice as long


def left_in(case: Case) -> str | None:
    """Agent of the last dose, where it was left in the water far weaker than the short bath it serves as; else None."""
    last = last_dose(case)
    return next((dose.agent for dose in case.doses_given if dose.date == last and _left_in(dose)), None)


def _left_in(dose: Action) -> bool:
    if dose.agent not in agent_names() or dose.concentration_mg_l is None or dose.route not in (None, "bath"):
        return False
    usual = load_agent(str(dose.agent)).customary
    lasts = dose.hours is None or dose.hours >= LEFT_IN_HOURS
    return lasts and usual.hours < LEFT_IN_HOURS and dose.concentration_mg_l < usual.mg_l


def underdosed(case: Case) -> bool:
    """Whether a dose had clearly less than the customary strength."""
    share = strength_given(case)
    return share is not None and share < WEAK_SHARE


def weak_doses(case: Case) -> bool:
    """Whether doses that failed were too weak, no treatment in that strength, or given with UV or carbon running."""
    weak = underdosed(case) or left_in(case) is not None
    return weak or any(dose.uv_or_carbon_on for dose in case.doses_given)


def counts_around_course(case: Case) -> tuple[list[Preparation], list[Preparation]]:
    """Preparations alike of the last look before the course and of the first one after it; empty where there is none.

    The course is all doses of two months up to the last; alike are those of the same site and method. Later looks, and
    any more than two months after it, tell of a relapse, not of the course.
    """
    days = _course(case)
    return _beside(case, days[0], days[-1]) if days else ([], [])


def counts_beside_doses(case: Case) -> tuple[list[Preparation], list[Preparation], list[Preparation]]:
    """Preparations alike of the last look before the last dose, of the first after it, and of the latest if later.

    Empty where the last dose is more than two months ago; doses between two looks stand together.
    """
    last = last_dose(case)
    if last is None or -case.day_of(last) > COUNTED_DAYS:
        return [], [], []
    before, after = _beside(case, last, last)
    latest = last_look(alike(read_since(case, last), after))
    return before, after, latest if latest and latest[0].date != after[0].date else []


def _beside(case: Case, first: date, last: date) -> tuple[list[Preparation], list[Preparation]]:
    """Preparations alike of the last look up to one dose and of the first after another, each within two months."""
    since = [row for row in read_since(case, last) if (row.date - last).days <= COUNTED_DAYS]
    first_look = min((row.date for row in since), default=None)
    after = [row for row in since if row.date == first_look]
    recent = (row for row in read_since(case, None) if 0 <= (first - row.date).days <= COUNTED_DAYS)
    return last_look(alike(recent, after)), after


def _course(case: Case) -> list[date]:
    """Dates of the doses of two months up to the last."""
    days = sorted(dose.date for dose in case.doses_given)
    return [day for day in days if (days[-1] - day).days <= COUNTED_DAYS]


def last_look(rows: Sequence[Preparation]) -> list[Preparation]:
    """Return those of the rows that were taken on the latest day."""
    latest = max((row.date for row in rows), default=None)
    return [row for row in rows if row.date == latest]


def held_up(case: Case) -> bool:
    """Whether preparations alike show at least half as many flukes soon after the last dose as before its course."""
    before, after = counts_around_course(case)
    if not before or sum(row.count_low for row in after) < ENOUGH_FLUKES:
        return False
    days = _course(case)
    soon = _SOON_AFTER_COURSE_DAYS if len(days) > 1 else _SOON_AFTER_DAYS
    if (after[0].date - days[-1]).days > soon:
        return False
    return mean(row.count_low for row in after) >= _HELD_UP * mean(row.count_low for row in before)


def by_calendar(case: Case) -> bool:
    """Whether the last doses of one agent lie a month or so apart: enough of them, and no two a course."""
    days = sorted(case.day_of(dose.date) for dose in case.doses_given)[-_BY_CALENDAR:]
    apart = [later - earlier for earlier, later in pairwise(days)]
    low, high = _MONTHLY_DAYS
    return len(days) == _BY_CALENDAR and all(low <= gap <= high for gap in apart)

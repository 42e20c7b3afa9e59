"""What is to be done on each date of a visit, and the words it is said in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from burden.case import Case, ConstantTemperature
from burden.evidence import load_agent
from burden.sampling import RecheckPlan
from burden.schedule.delayed_hatch import DelayedHatch
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.fixed_interval import CONTROL_PER_1000
from burden.schedule.late_dose import DELAYS_DAYS, RARER, LateDose
from burden.treatment.dose_result import DoseResult
from burden.treatment.residues import ceiling_mg_l, given_baths, left_mg_l
from burden.treatment.withdrawal import Withdrawal
from burden.utils.formatting import named, plain, product_words, say_date, uncapitalised
from burden.utils.results import CredibleInterval

__all__ = [
    "DayBookEntry",
    "day_book",
    "dose_words",
    "held_water_words",
    "late_words",
    "later_words",
]


#: share of a dose from which what is left of earlier ones is said: an assumption [-]
_WORTH_SAYING = 0.2


@dataclass(frozen=True)
class DayBookEntry:
    """What is to be done on one date: the day's action, what to do in order, until when it is not too late, and what is
    still in the water from before."""

    date: date
    action: str
    steps: tuple[str, ...]
    kind: str = "dose"
    late: str = ""
    left: str = ""


def dose_words(result: DoseResult) -> str:
    """Return a dose in a few words: how much of what, how strong and for how long.

    A bath too short to be left in the water is given apart, so its amount is of a bath and never of the pond.
    """
    amount = product_words(result.product_g, result.product_ml)
    strength = f"{plain(result.mg_l)} mg/L for {plain(result.hours)} h"
    apart = f" for each {plain(result.volume_l)} L of a bath apart" if result.apart else ""
    return f"{amount} of {named(result.agent)}{apart} ({strength})"


def late_words(late: LateDose, visit_date: date) -> str:
    """Say from which date on a dose is too late.

    Parameters
    ----------
    late : LateDose
    visit_date : date
        Day 0.
    """
    name = f"dose {late.number} ({_date_of(late.day, visit_date)})"
    lay = late.settlers_lay_from_day
    first = (
        ""
        if not math.isfinite(lay.median)
        else f"larvae settled since the dose before lay from {_when(lay, visit_date)}; "
    )
    rarer = ""
    if late.rarer_from_day is not None:
        when = _date_of(late.rarer_from_day, visit_date)
        rarer = f"; from {when} on the pond is rid of them in {100 * RARER:.0f} of 100 fewer"
    if late.mistake_within <= _LIKELY:
        return f"{name}: {first}up to {DELAYS_DAYS[-1]:g} d late the course likelier than not still controls{rarer}"
    return (
        f"{name}: {first}given late it becomes a mistake, with more than {CONTROL_PER_1000:g} of 1 000 left and twice "
        f"as many as in time, from {_when(late.mistake_from_day, visit_date)}{rarer}"
    )


def later_words(later: DelayedHatch, visit_date: date) -> str:
    """Say that eggs wait in the cold, when they hatch, and when the doses for them have to go in.

    Parameters
    ----------
    later : DelayedHatch
    visit_date : date
        Day 0.
    """
    waiting = (
        f"{later.parasite}: eggs still wait when these doses are over. {100 * later.hatched_share:.0f} of 100 laid "
        f"today have hatched by then, and {later.eggs_per_1000.text()} eggs are in the water for 1 000 flukes of now: "
        "few flukes on the fish are no success yet, and control is not eradication"
    )
    if not later.days:
        return f"{waiting}; in this water they do not hatch within 400 days: reckon anew when it warms"
    dates = ", ".join(_when(day, visit_date) for day in later.days)
    return (
        f"{waiting}; they hatch from {_when(later.hatch_from_day, visit_date)} to "
        f"{_when(later.hatch_until_day, visit_date)} in this water: reckon with further doses, at the latest on "
        f"{dates}"
    )


#: days for which one temperature passes without a word [d]: an assumption
_HELD_DAYS = 28
#: a mistake within the delays judged in no more draws than this is not dated
_LIKELY = 0.5


def _when(day: CredibleInterval, visit_date: date) -> str:
    """Dates of a triple; a day that has begun counts whole."""
    middle, low, high = (_date_of(d, visit_date) for d in (day.median, day.low, day.high))
    return middle if low == high else f"{middle} ({low} to {high})"


def _date_of(day: float, visit_date: date) -> str:
    return say_date(visit_date + timedelta(days=int(day)), visit_date.year) if math.isfinite(day) else "beyond 400 d"


def day_book(
    case: Case,
    chosen: EvaluatedSchedule | None,
    doses: Sequence[DoseResult],
    plan: RecheckPlan | None,
    last: float,
    late: Sequence[LateDose] = (),
    later: DelayedHatch | None = None,
    held: Sequence[Withdrawal] = (),
    first: Sequence[str] = (),
    withheld: str | None = None,
) -> tuple[DayBookEntry, ...]:
    """Return what to do on each date, in order.

    Parameters
    ----------
    case : Case
    chosen : EvaluatedSchedule or None
        The recommended schedule, where a dose may be given.
    doses : sequence of DoseResult
        One a dose of it.
    plan : RecheckPlan or None
    last : float
        Day of the last dose, from which the look counts [d].
    late : sequence of LateDose
        From which day each next dose is too late.
    later : DelayedHatch or None
        For eggs that the cold keeps waiting.
    held : sequence of Withdrawal
        For food fish.
    first : sequence of str
        What water and fish ask for before a dose.
    withheld : str or None
        Why no dose may be given today.
    """
    entries: list[DayBookEntry] = [] if later is None else _for_waiting_eggs(later, case.visit_date)
    if chosen is not None:
        too_late = {one.number: one for one in late}
        dated = [*zip(chosen.plan.days, doses, strict=True)]
        for number, (day, d) in enumerate(dated, 1):
            left = _left_words(case, day, d, dated[: number - 1])
            steps = (*(first if number == 1 else ()), *([left] if left else ()), *_steps(d))
            entries += _of_dose(case, f"dose {number} of {chosen.doses}", day, d, steps, too_late.get(number), left)
    entries += [
        _eaten(case, one, one.until_day, later is not None)
        for one in held
        if one.until_day is not None and one.degree_days > 0
    ]
    if plan is not None:
        when = case.visit_date + timedelta(days=last + plan.day)
        entries.append(DayBookEntry(when, uncapitalised(plan.headline(chosen is not None)), (), "sample"))
    if withheld is not None:
        entries.append(DayBookEntry(case.visit_date, f"no dose today: {withheld}", tuple(first), "none"))
    return tuple(sorted(entries, key=lambda entry: (entry.date, entry.kind != "dose")))


def _eaten(case: Case, held: Withdrawal, until_day: float, further: bool) -> DayBookEntry:
    when = case.visit_date + timedelta(days=until_day)
    action = (
        f"food fish: nobody eats them before the licensed veterinarian allows it; the example of {held.degree_days:g} "
        f"degree-days since the last {named(held.agent)} ends, in water as reckoned"
        f"{'; a further dose begins it anew' if further else ''}"
    )
    return DayBookEntry(when, action, (f"{held.words()}",), "food")


def _for_waiting_eggs(later: DelayedHatch, visit_date: date) -> list[DayBookEntry]:
    said = "the water decides the day: measure it, look at the fish and reckon anew a week before"
    return [
        DayBookEntry(
            visit_date + timedelta(days=int(day.median)),
            f"further dose {number}, for eggs not hatched yet: at the latest {_when(day, visit_date)}",
            (said,),
            "later",
        )
        for number, day in enumerate(later.days, 1)
        if math.isfinite(day.median)
    ]


def held_water_words(case: Case, until: date) -> tuple[str, ...]:
    """Say that one temperature was taken for weeks, which no water outdoors keeps; nothing where it was not.

    Parameters
    ----------
    case : Case
    until : date
        Last date that rests on it.
    """
    water = case.water.temperature
    if not isinstance(water, ConstantTemperature) or (until - case.visit_date).days <= _HELD_DAYS:
        return ()
    return (
        f"these dates hold only for water that stays at {water.temperature_c:g} °C until "
        f"{say_date(until, case.visit_date.year)}: where it warms or cools, give readings or a yearly course as "
        "temperature_c, and reckon anew",
    )


def _of_dose(
    case: Case, name: str, day: float, d: DoseResult, steps: tuple[str, ...], late: LateDose | None, left: str
) -> list[DayBookEntry]:
    """A dose, its aftercare day by day, the look at the fish, and the day on which it is too late."""
    when = case.visit_date + timedelta(days=day)
    said = "" if late is None else late_words(late, case.visit_date)
    entries = [DayBookEntry(when, f"{name}: {dose_words(d)}", steps, "dose", said, left)]
    for after in range(1, 1 + load_agent(d.agent).aftercare_days):
        measure = f"measure ammonia and nitrite (day {after} after {d.agent})"
        entries.append(DayBookEntry(when + timedelta(days=after), measure, (), "care"))
    look = (
        "look at the fish: breathing, and appetite in water warm enough to feed in, should be better by now; if not, "
        "look again"
    )
    entries.append(DayBookEntry(when + timedelta(days=3), look, (), "look"))
    if late is not None:
        entries += _when_late(late, case.visit_date)
    return entries


def _when_late(late: LateDose, visit_date: date) -> list[DayBookEntry]:
    """The first day of each kind of mistake within the delays judged: a dose that does harm late is not one to skip."""
    mistake = max(late.mistake_from_day.median, late.day) if late.mistake_within > _LIKELY else math.inf
    found = []
    if late.rarer_from_day is not None and late.rarer_from_day < mistake:
        said = (
            f"dose {late.number} is late: from now on the pond is rid of them in {100 * RARER:.0f} of 100 fewer; if it "
            "has not gone in, give it at once"
        )
        found.append((late.rarer_from_day, said))
    if math.isfinite(mistake):
        said = f"too late for dose {late.number} from now on: if it has not gone in, look and reckon anew"
        found.append((mistake, said))
    return [DayBookEntry(visit_date + timedelta(days=int(day)), said, (), "late") for day, said in found]


def _left_words(case: Case, day: float, d: DoseResult, before: Sequence[tuple[float, DoseResult]]) -> str:
    """Say what earlier doses of the agent left in the water, where it is worth saying; a short bath leaves nothing."""
    if d.apart:
        return ""
    planned = [(when, b.mg_l) for when, b in before if b.agent == d.agent]
    left = left_mg_l(case, d.agent, day, [*given_baths(case, d.agent), *planned])
    if left < _WORTH_SAYING * d.mg_l:
        return ""
    total, ceiling = left + d.mg_l, ceiling_mg_l(d.agent)
    over = f", above the ceiling of {plain(ceiling)} mg/L: change water first" if total > ceiling else ""
    now = f"with this dose {plain(total, 2)} mg/L{over}"
    return f"Up to {plain(left, 2)} mg/L from before may still be in the water: {now}"


def _steps(d: DoseResult) -> tuple[str, ...]:
    return load_agent(d.agent).handling

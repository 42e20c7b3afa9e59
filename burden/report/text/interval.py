"""Words of a treatment interval: how many doses, how far apart, and why."""

from __future__ import annotations

import math

import numpy as np

from burden.model.windows import WARMEST_SEARCHED_C, Windows
from burden.report.text.notes import noted, parasite_name
from burden.schedule.aim import WATCHED_DAYS
from burden.schedule.candidates import MOST_DOSES
from burden.schedule.fixed_interval import Regimen
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
from burden.schedule.reference_pond import (
    REFERENCE_ADULTS,
    REFERENCE_FISH,
    REFERENCE_VOLUME_M3,
    REFERENCE_WEIGHT_G,
)
from burden.schedule.water_limits import NoEnd, NotLiving, TooSlow, TooWarm
from burden.utils.formatting import counted, named, percent, plain, sentence
from burden.utils.results import CredibleInterval
from burden.utils.wording import writes, writes_brief

__all__ = ["two_weeks_words"]

_WITHIN = "within the time looked ahead"
_LEAST_PERCENT = 0.01  # of flukes left: less is written as less


@writes
def _interval(a: IntervalAnswer) -> str:
    lines = _answer(a)
    if a.windows:
        lines += ["Why this interval:", *(f"  {line}" for line in _why(a.windows))]
        lines.append(two_weeks_words(a.two_weeks_safe_below_c))
    if a.control:
        lines += [*_compared(a.control), *(_custom(course, known) for course, known in a.customary)]
        lines.append(_POND)
    if a.extrapolated:
        lines.append(f"Beyond what was measured: {', '.join(a.extrapolated)}.")
    return noted(lines, (warning for warning in a.warnings if warning not in a.reasons.values()))


@writes_brief
def _interval_brief(a: IntervalAnswer) -> str:
    lines = _answer(a)
    if a.control and a.windows:
        lines += [f"{_safe_gap(a.windows)} {_last_dose(a.windows)}", _POND_IN_SHORT]
    return "\n".join(lines)


_POND_IN_SHORT = (
    f"This holds for a reference pond ({REFERENCE_FISH} fish of {plain(REFERENCE_WEIGHT_G)} g in "
    f"{plain(REFERENCE_VOLUME_M3)} m³, {REFERENCE_ADULTS} adult flukes a fish); for your own pond run `burden report`."
)
_POND = (
    f"Reference pond: {REFERENCE_FISH} fish of {plain(REFERENCE_WEIGHT_G)} g in {plain(REFERENCE_VOLUME_M3)} m³, "
    f"{REFERENCE_ADULTS} adult flukes a fish with the eggs and young flukes that go with them, water that stays as "
    "warm, no water exchange or cleaning, no fish that die, fish not yet resistant, and no drug that stays in "
    "the water after a bath. For control, flukes that crowd and fish that become resistant slow the flukes, as in "
    "`burden report`; for eradication nothing slows them. Your own pond differs: `burden report` uses its records."
)


def _answer(a: IntervalAnswer) -> list[str]:
    head = f"{a.title}, {plain(a.temperature_c)} °C, {named(a.agent)} ({a.bath})."
    control, eradicate = (a.reasons.get(aim, "") for aim in ("recommended", "eradication"))
    if control and control == eradicate:
        return [head, f"No interval to control or to eradicate: {control}."]
    return [head, _control(a, control), f"To eradicate: {eradicate if a.eradication is None else _rid(a.eradication)}."]


def _control(a: IntervalAnswer, reason: str) -> str:
    c = a.control
    if c is None:
        return f"To control: {reason}."
    reach = f"The burden then stays low in {_chance(c.course)} of simulated ponds (aim: {percent(c.aim.chance)})"
    more = f", with one dose more in {_chance(c.one_more)}" if c.one_more is not None else ""
    return f"To control: {_doses(c.course)}{_WHY.get(c.why, '')}. {reach}{more}.{_not_told_apart(c)}"


#: why a course is the one recommended; the fewest doses that meet the aim need no word
_WHY = {"custom": " (the customary course)", "best": " (no course meets the aim; this one comes nearest)"}


def _not_told_apart(c: Control) -> str:
    n = c.course.doses
    if c.fewer_may_do or c.fewer_as_good:
        return f" The simulation cannot say whether {n - 1} or {n} doses are needed."
    if c.may_miss:
        return f" The simulation cannot say whether {n} or {n + 1} doses are needed."
    return ""


def _compared(c: Control) -> list[str]:
    level = c.aim.tolerable[0]
    low = (
        f"The burden is low below {plain(level.median, 2)} ({plain(level.low, 2)} to {plain(level.high, 2)}) flukes a "
        f"fish (assumption), from day {plain(c.check_day)}, when all eggs laid before the last dose have hatched, to "
        f"day {plain(max(c.aim.horizon_days, c.check_day + WATCHED_DAYS))}."
    )
    beside = [f"without a dose {percent(c.untreated)}"]
    beside += [f"one dose less {_chance(c.one_less)}"] if c.one_less is not None else []
    beside += [f"one dose more {_chance(c.one_more)}"] if c.one_more is not None else []
    shares = f"A day after the last dose {_left(c.course.survivors_per_1000)} of the flukes are left"
    gone = f"after a year none in {percent(c.course.elimination_probability.mean)} of simulated ponds"
    return [low, f"Chance of a low burden: {', '.join(beside)}.", f"{shares}, and {gone}."]


def _custom(course: Regimen, known: str) -> str:
    return f"Customary or published: {_doses(course)}; a low burden in {_chance(course)} ({known})."


def _doses(course: Regimen) -> str:
    if course.doses == 1:
        return "1 dose"
    return f"{counted(course.doses, 'dose')}, {plain(course.gap_days)} d apart"


def _chance(course: Regimen) -> str:
    return percent(course.chance or 0.0)


def _rid(course: Regimen) -> str:
    return f"{_doses(course)}; after a year no fluke is left in {_chance(course)} of simulated ponds"


def _left(per_1000: CredibleInterval) -> str:
    """Write a share of the flukes in percent; what is next to nothing as less than that."""
    shares = (x / 10 for x in (per_1000.median, per_1000.low, per_1000.high))
    middle, low, high = (f"under {_LEAST_PERCENT}" if 0 < x < _LEAST_PERCENT else plain(x, 2) for x in shares)
    return f"{middle} % ({low} to {high} %)"


def _why(windows: Windows) -> list[str]:
    t = windows.triples()
    lay = t["earliest_maturity_days"]
    lays = f"A young fluke lays from day {lay.text()} after it settled." if _given(lay) else _NO_LAYING
    return [_hatching(t["first_hatch_days"], t["last_hatch_days"]), lays, _safe_gap(windows), _last_dose(windows),
            _two_doses(windows)]  # fmt: skip


_NO_LAYING = f"Most young flukes do not lay {_WITHIN}."


def _given(days: CredibleInterval) -> bool:
    return math.isfinite(days.median)


def _hatching(first: CredibleInterval, last: CredibleInterval) -> str:
    if not _given(first):
        return f"Most eggs do not hatch {_WITHIN}."
    until = f"to day {last.text()} after laying" if _given(last) else f"after laying, and not all of them {_WITHIN}"
    return f"Eggs, which the dose does not kill, hatch from day {first.text()} {until}."


def _safe_gap(windows: Windows) -> str:
    gap = windows.triples()["longest_safe_gap_days"]
    if not _given(gap):
        return "No gap between doses is too long."
    return f"With up to {gap.text()} d between doses, no young fluke can lay before the next dose."


def _last_dose(windows: Windows) -> str:
    day = windows.triples()["last_dose_not_before_day"]
    if not _given(day):
        return f"No day can be named for the last dose, because some eggs have not hatched {_WITHIN}."
    return f"Eggs laid up to the first dose have all hatched on day {day.text()}; a dose from then on meets the last."


def _two_doses(windows: Windows) -> str:
    between = windows.two_dose_window()
    ponds = f"in {percent(float(np.mean(windows.two_doses_suffice)))} of simulated ponds some gap does"
    if between is None:
        return f"Two doses do not catch the last larva before the first one lays ({ponds})."
    apart = f"{plain(between[0], 2)} d or more"
    if math.isfinite(between[1]):
        apart = f"{plain(between[0], 2)} to {plain(between[1], 2)} d"
    return f"Two doses {apart} apart would do if each killed every fluke ({ponds})."


def two_weeks_words(below: CredibleInterval) -> str:
    """Write from which temperature down doses two weeks apart are right."""
    if below.median >= WARMEST_SEARCHED_C:
        sure = f"; below {below.low:.0f} °C that is nearly certain" if below.low < WARMEST_SEARCHED_C else ""
        return f"Two weeks apart is probably safe at any temperature{sure}."
    return (
        f"Two weeks apart is safe in water below {below.text()} °C. In warmer water young flukes lay in between, so "
        "doses belong closer together."
    )


@writes
def _no_eggs(_: NoEggs) -> str:
    return "this fluke bears live young and lays no eggs, so every fluke is on a fish at the dose"


@writes
def _not_needed(found: NotNeeded) -> str:
    return (
        f"With this few flukes the burden stays low without a dose in {percent(found.chance)} of simulated ponds: "
        "count flukes before you dose."
    )


@writes
def _no_room(_: NoRoom) -> str:
    return "eggs hatch so slowly in this water that doses would lie more than 45 d apart"


@writes
def _no_eradication(none: NoEradication) -> str:
    return (
        f"no course of up to {counted(MOST_DOSES, 'dose')} reaches {percent(none.wanted)}; the nearest, "
        f"{_doses(none.best)}, leaves no fluke after a year in {_chance(none.best)} of simulated ponds"
    )


@writes
def _not_living(found: NotLiving) -> str:
    return f"eggs of this fluke do not hatch at {plain(found.temperature_c)} °C"


@writes
def _too_warm(found: TooWarm) -> str:
    return (
        f"hatching was measured up to {plain(found.measured_c)} °C, and nothing says what happens at "
        f"{plain(found.temperature_c)} °C"
    )


@writes
def _no_end(found: NoEnd) -> str:
    waits = "eggs do not hatch" if found.what == "hatching" else "young flukes do not mature"
    if found.share > 0.5:
        return f"in water this cold most {waits} within 400 d"
    return f"in water this cold {waits} within 400 d in {percent(found.share)} of simulated ponds: no day can be given"


@writes
def _too_slow(found: TooSlow) -> str:
    return (
        f"in water this cold the last egg hatches after {plain(found.last_hatch_days, 2)} d, longer than a course can "
        f"wait ({plain(found.longest_days)} d)"
    )


@writes
def _extrapolated(found: Extrapolated) -> str:
    where = f"at {plain(found.low_c)} °C only"
    if found.low_c != found.high_c:
        where = f"from {plain(found.low_c)} to {plain(found.high_c)} °C"
    return f"{sentence(found.what).rstrip('.')} was measured {where} and is extrapolated to {plain(found.to_c)} °C."


@writes
def _borrowed(found: Borrowed) -> str:
    what = "The timing itself is" if found.timing else "Some values are"
    wider = "" if found.timing else ", with wider ranges"
    return f"{what} borrowed from relatives{wider}: {', '.join(found.names)}."


@writes
def _mixed_kinds(found: MixedKinds) -> str:
    warm, cold = (parasite_name(kind) for kind in found.kinds)
    return (
        f"The species is not known: in {percent(found.second_share)} of simulated ponds the flukes are like {cold} "
        f"(cool water), in the others like {warm} (warm water). Where a parasitologist has named it, take its own set."
    )


@writes
def _longer(gap: LongerThanSafe) -> str:
    return (
        f"After the recommended gap of {plain(gap.gap_days)} d a few young flukes will have laid (none within "
        f"{plain(gap.safe_days, 2)} d), but waiting catches more of the late hatchers with fewer doses."
    )

"""Words of a treatment interval: how many doses, how far apart, and why."""

from __future__ import annotations

import math

import numpy as np

from burden.model.windows import WARMEST_SEARCHED_C, Windows
from burden.report.text.notes import noted
from burden.schedule.fixed_interval import NoControl, NoEradication, Regimen
from burden.schedule.interval import Borrowed, Extrapolated, IntervalAnswer, LongerThanSafe, NoEggs
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
    lines += [f"Customary or published: {_course(course)} ({known})." for course, known in a.customary]
    if a.extrapolated:
        lines.append(f"Beyond what was measured: {', '.join(a.extrapolated)}.")
    return noted(lines, (warning for warning in a.warnings if warning not in a.reasons.values()))


@writes_brief
def _interval_brief(a: IntervalAnswer) -> str:
    lines = _answer(a)
    if a.windows:
        lines += [_safe_gap(a.windows), _last_dose(a.windows)]
    return "\n".join(lines)


def _answer(a: IntervalAnswer) -> list[str]:
    head = f"{a.title}, {plain(a.temperature_c)} °C, {named(a.agent)} ({a.bath})."
    control, eradicate = (a.reasons.get(aim, "") for aim in ("recommended", "eradication"))
    if control and control == eradicate:
        return [head, f"No interval to control or to eradicate: {control}."]
    return [head, _aim("To control", a.recommended, control), _aim("To eradicate", a.eradication, eradicate)]


def _aim(aim: str, course: Regimen | None, reason: str) -> str:
    return f"{aim}: {reason if course is None else _course(course)}."


def _course(course: Regimen) -> str:
    return (
        f"{counted(course.doses, 'dose')}, {plain(course.gap_days)} d apart; a day after the last dose "
        f"{_left(course.survivors_per_1000)} of the flukes are left, and after a year none in "
        f"{percent(course.elimination_probability.mean)} of simulated ponds"
    )


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
    return f"Give the last dose on day {day.text()} or later, when the last egg has hatched."


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
def _no_control(none: NoControl) -> str:
    return (
        f"up to {counted(none.doses, 'dose')} of this bath leave more than {plain(none.per_1000 / 10)} % of the flukes"
    )


@writes
def _no_eradication(none: NoEradication) -> str:
    return (
        f"up to {counted(none.best.doses, 'dose')} do not reach {percent(none.wanted)}; the best course, "
        f"{plain(none.best.gap_days)} d apart, reaches {percent(none.best.elimination_probability.mean)}"
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
def _longer(gap: LongerThanSafe) -> str:
    return (
        f"After the recommended gap of {plain(gap.gap_days)} d a few young flukes will have laid (none within "
        f"{plain(gap.safe_days, 2)} d), but waiting catches more of the late hatchers with fewer doses, and few enough "
        "flukes are left."
    )

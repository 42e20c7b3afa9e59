"""Words of a round: which ponds to look at, why each, what would change it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from burden.decision.look_value import Look
from burden.report.text.next_look import outcome_lines
from burden.report.visit_round import LeftOut, RoundResult, Stop
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import counted, percent, plain, sentence, several
from burden.utils.wording import writes, writes_brief, writes_lines

__all__ = ["MOVES"]  # writers are found by the type they write

_WHY_NOT = {
    "no_room": "a look there saves less than the same time and fish elsewhere",
    "too_large": "a look that is worth its cost takes more fish or hours than there are",
    "no_gain": "no count would likely change what is done",
    "own_look": "its report asks for a look, which stands among the dates due; more fish would hardly change anything",
    "water": "the water comes first; when to measure it, and whether to look, stands among the dates due",
    "no_fish": "no fish is left",
    "not_foretold": "nobody knows how many flukes come in with the water, so a look cannot be weighed; the report says "
    "when to look",
    "no_course": "no course can be given there, so a look changes nothing now",
    "newcomers": "newcomers have dates of their own: a whole course, then the look that decides whether they may move",
    "under_way": "a course is under way: give its doses, and look when they are over",
    "virus": "a virus is suspected: go there last, for that, with its own nets and clothes",
}


#: dates of the short answer: what is overdue, water and looks
_BRIEF_DUE = 6


@writes
def _round(found: RoundResult) -> str:
    stops = [f"{i}. {stop.title}, {' '.join(_lines_of_stop(stop))}" for i, stop in enumerate(found.stops, 1)]
    left = [f"Not {one.title}: {_left_line(one)}" for one in found.left_out]
    return "\n".join([*_head(found), *stops, *left, *_due_lines(found.due)])


@writes_brief
def _round_brief(found: RoundResult) -> str:
    lines = _head(found)
    if found.stops:
        first = max(found.stops, key=lambda stop: stop.look.value)
        lines.insert(2, f"Worth most: {first.title}. {' '.join(_lines_of_stop(first)[1:])}")
    if found.left_out:
        lines.append(f"Left out: {_groups(found)}.")
    pressing = [row for row in found.due if row["overdue"] or row["kind"] in ("water", "sample")][:_BRIEF_DUE]
    lines += _due_lines(pressing)
    if more := len(found.due) - len(pressing):
        lines.append(f"Besides, {counted(more, 'date')} for doses, looks or care at these ponds: --all lists each.")
    return "\n".join(lines)


@writes_lines
def _round_lines(found: RoundResult) -> list[str]:
    return _head(found)


@writes_lines
def _stop_lines(stop: Stop) -> list[str]:
    return _lines_of_stop(stop)


@writes_lines
def _left_lines(one: LeftOut) -> list[str]:
    return [_left_line(one)]


def _head(found: RoundResult) -> list[str]:
    """Write what to do, what it saves, and what more would bring."""
    of = f"{len(found.stops)} of {counted(len(found.stops) + len(found.left_out), 'pond')}"
    spent = (
        f"{found.fish} of {counted(found.limits.fish, 'fish')} and {plain(found.minutes / 60, 2)} of "
        f"{plain(found.limits.hours)} h"
    )
    if not found.stops:
        ponds = counted(len(found.left_out), "pond")
        none = f"No look at any of {ponds} beyond those due is worth its time: counts would hardly change what is done."
        return [_AT_ONCE, none]
    where = several(f"{stop.title} ({stop.look.fish} fish)" for stop in found.stops)
    lines = [
        _AT_ONCE,
        f"From {say_date(found.start)} look at {of}, fewest flukes first: {where}. That takes {spent}.",
        f"On average it saves what counts as {plain(found.value, 2)} fish: fish killed by flukes, needless courses and "
        "ponds left with too many flukes.",
    ]
    more = [(found.with_more_fish, "5 fish more"), (found.with_more_time, "an hour more")]
    gains = [f"{words} would save {plain(v - found.value, 2)} more" for v, words in more if v > 1.02 * found.value]
    return [*lines, (sentence(several(gains)) if gains else "More fish or an hour more would hardly save more.")]


def _lines_of_stop(stop: Stop) -> list[str]:
    """Write what to do at a pond, why, and what each result leads to."""
    look = stop.look
    prepared = f"look at {look.fish} fish, 3 preparations of each ({plain(stop.minutes)} min with the way there)"
    last = f"Fish were last looked at on {day_in_words(stop.visited)}."
    return [f"{say_date(stop.date)}: {prepared}.", _why(look), _then(stop), last]


def _why(look: Look) -> str:
    return (
        f"The chance is {percent(look.chance)} that the counts change what is done, and the change then saves what "
        f"counts as {plain(look.worth, 2)} fish: {plain(look.value, 2)} on average."
    )


def _then(stop: Stop) -> str:
    look, pond = stop.look, stop.pond
    lost = (
        f"Flukes kill {plain(pond.lost_untreated, 2)} of {counted(pond.fish_there, 'fish')} untreated, "
        f"{plain(pond.lost_treated, 2)} treated; the chance that they stay too many is {percent(pond.high_untreated)} "
        f"untreated, {percent(pond.high_treated)} treated."
    )
    turn = "" if look.plan is None else " ".join(outcome_lines(replace(look.plan, date=stop.date)))
    before = "Look before the dose." if pond.action == "dose" else ""
    today = f"Without a look: {stop.today}" if stop.today else ""
    return " ".join(filter(None, (before, turn, today, lost)))


def _left_line(one: LeftOut) -> str:
    said = _WHY_NOT[one.why]
    if one.best is None:
        return f"{said}."
    return f"{said} ({one.best.fish} fish there would save {plain(one.best.value, 2)})."


def _groups(found: RoundResult) -> str:
    by_why: dict[str, list[str]] = {}
    for one in found.left_out:
        by_why.setdefault(one.why, []).append(one.title)
    return "; ".join(f"{several(names)} ({_WHY_NOT[why]})" for why, names in by_why.items())


def _due_lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Write what is due, a line each; what is overdue keeps its own date."""
    missed = any(row["overdue"] and row["kind"] == "dose" for row in rows)
    return [MOVES] * missed + [
        f"{'Overdue since' if row['overdue'] else 'Due:'} {say_date(date.fromisoformat(row['date']))}, {row['title']}: "
        f"{row['what']}."
        for row in rows
    ]


MOVES = (
    "A dose is overdue until it is on record: enter it once it is given and run the report again, as the later dates "
    "of that pond move with it."
)
_AT_ONCE = "Fish that gasp or die today do not wait for a round: go there first."

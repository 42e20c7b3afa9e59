"""Which ponds to look at next week: read cases, weigh a look at each, choose, and write one page and one calendar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import date as Date
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.decision.assessment import assess
from burden.decision.look_value import Look, PondValue, value_of_pond
from burden.decision.visit_round import BestRound, Choice, best_round
from burden.report.due_dates import due_dates
from burden.report.files.calendar import joined_calendar, looks_calendar
from burden.report.files.folder import refuse_foreign, write_folder
from burden.report.files.tables import csv_bytes
from burden.report.page.index import Water, water_of
from burden.utils.errors import InputError, Problem
from burden.utils.parallel import each
from burden.utils.progress import report_progress
from burden.utils.results import Result, frame, number
from burden.utils.wording import lines_of

__all__ = ["LeftOut", "RoundLimits", "RoundResult", "Stop", "plan_round"]

#: minutes of work in one day of a round: common practice, no source
_DAY_MINUTES = 480.0
_COLUMNS = (
    *("order", "case", "title", "date", "fish", "minutes", "fish_saved", "chance_of_change", "saved_if_changed"),
    *("course_if_more_flukes_than", "why_not"),
)


@dataclass(frozen=True)
class RoundLimits:
    """What there is to spend.

    Parameters
    ----------
    fish : int
        To net and look at, in all.
    hours : float
        In all [h].
    travel_minutes : tuple of float
        To each pond from the one before, one a case, or one for all [min].
    minutes_a_fish : float
        To net, sedate, clip and count one, three preparations [min].
    """

    fish: int
    hours: float
    travel_minutes: tuple[float, ...] = (30.0,)
    minutes_a_fish: float = 10.0

    def minutes(self, place: int, fish: int) -> float:
        """Minutes that a look at so many fish of one of the cases takes, with the way there [min]."""
        way = self.travel_minutes[place if len(self.travel_minutes) > 1 else 0]
        return way + self.minutes_a_fish * fish


@dataclass(frozen=True)
class Stop:
    """A pond to look at.

    Parameters
    ----------
    case, title : str
    date : Date
    look : Look
    minutes : float
        With the way there [min].
    pond : PondValue
    visited : Date
        Day on which fish were last looked at.
    today : str
        What the decision says without a look, in words.
    """

    case: str
    title: str
    date: Date
    look: Look
    minutes: float
    pond: PondValue
    visited: Date
    today: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "case": self.case,
            "title": self.title,
            "date": self.date.isoformat(),
            "minutes": number(self.minutes),
            "last_look": self.visited.isoformat(),
            "first_action": self.today,
            **self.look.as_dict(),
            "pond": self.pond.as_dict(),
        }


@dataclass(frozen=True)
class LeftOut:
    """A pond that no look is spent on.

    Parameters
    ----------
    case, title : str
    why : str
        no_room beside the others; too_large, where no look that saves any fits the limits; own_look, where the pond's
        own decision asks for one; no_gain; or a code of `PondValue.why_not`.
    best : Look or None
        What would save most there, of what fits the limits where anything does.
    pond : PondValue
    """

    case: str
    title: str
    why: str
    best: Look | None
    pond: PondValue

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        best = None if self.best is None else self.best.as_dict()
        return {"case": self.case, "title": self.title, "why": self.why, "best": best, "pond": self.pond.as_dict()}


@dataclass(frozen=True)
class RoundResult(Result):
    """The round, and why each pond is in it or not.

    Parameters
    ----------
    start : Date
        Its first day.
    limits : RoundLimits
    stops : tuple of Stop
        In the order to go: fewest flukes first.
    left_out : tuple of LeftOut
        The one that a look would save most at first.
    due : tuple of mapping
        What is due at any pond in that week, and what was due before and is not on record: case, title, date, label,
        what, kind, overdue.
    value, with_more_fish, with_more_time : float
        Fish saved on average; and with five fish, or an hour, more [fish].
    folder : str
        Written to; empty where nothing was.
    files : tuple of str
    """

    start: Date
    limits: RoundLimits
    stops: tuple[Stop, ...]
    left_out: tuple[LeftOut, ...]
    due: tuple[Mapping[str, Any], ...]
    value: float
    with_more_fish: float
    with_more_time: float
    draws: int
    seed: int
    folder: str = ""
    files: tuple[str, ...] = ()

    @property
    def fish(self) -> int:
        """Fish it looks at."""
        return sum(stop.look.fish for stop in self.stops)

    @property
    def minutes(self) -> float:
        """Minutes it takes [min]."""
        return sum(stop.minutes for stop in self.stops)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            **frame(self.seed, self.draws),
            "start": self.start.isoformat(),
            "fish_at_most": self.limits.fish,
            "hours_at_most": number(self.limits.hours),
            "fish": self.fish,
            "minutes": number(self.minutes),
            "fish_saved": number(self.value),
            "fish_saved_with_5_fish_more": number(self.with_more_fish),
            "fish_saved_with_an_hour_more": number(self.with_more_time),
            "stops": [stop.as_dict() for stop in self.stops],
            "left_out": [one.as_dict() for one in self.left_out],
            "due": [dict(one) for one in self.due],
            "folder": self.folder or None,
            "files": list(self.files),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return every pond, a row each, those to look at first."""
        stops = [
            _row(i, stop.case, stop.title, stop.look, stop.date.isoformat(), stop.minutes, "")
            for i, stop in enumerate(self.stops, 1)
        ]
        return stops + [_row(None, one.case, one.title, one.best, "", None, one.why) for one in self.left_out]


def _row(
    order: int | None, case: str, title: str, look: Look | None, day: str, minutes: float | None, why: str
) -> dict[str, Any]:
    numbers = (None,) * 5 if look is None else (look.fish, look.value, look.chance, look.worth, look.more_than)
    fish, saved, chance, worth, more_than = numbers
    cells = (order, case, title, day, fish, minutes, saved, chance, worth, more_than, why)
    return dict(zip(_COLUMNS, cells, strict=True))


@dataclass(frozen=True)
class _Pond:
    """What the plan needs of one case: plain values, from another process."""

    water: Water | None
    value: PondValue | None
    visited: Date = Date.min
    problems: tuple[Problem, ...] = ()


def plan_round(
    cases: Sequence[Path],
    limits: RoundLimits,
    start: Date | None = None,
    out: Path | None = None,
    draws: int = 500,
    seed: int = 1,
    executor: Executor | None = None,
) -> RoundResult:
    """Choose the ponds to look at, and write page, table and calendar where a folder is named.

    Parameters
    ----------
    cases : sequence of Path
        Case folders.
    limits : RoundLimits
    start : Date, optional
        First day of the round; the day after the latest visit when not given.
    out : Path, optional
    draws, seed : int
    executor : concurrent.futures.Executor, optional
        Where the cases are worked out.

    Raises
    ------
    InputError
        For cases or options that will not do, all at once; nothing is written then.
    """
    read = _read(cases, limits, out)
    first = start or max(case.visit_date for case in read) + timedelta(days=1)
    work = partial(_pond, draws=draws, seed=seed)
    ponds: list[_Pond] = [_Pond(None, None)] * len(read)
    for i, pond in each(work, read, executor, f"{len(read)} ponds"):
        ponds[i] = pond
    if problems := [problem for pond in ponds for problem in pond.problems]:
        raise InputError(problems)
    report_progress("choosing the ponds to look at")
    found = _chosen(ponds, limits, first, draws, seed)
    return found if out is None else _written(found, ponds, out)


def _pond(case: Case, draws: int, seed: int) -> _Pond:
    try:
        found = assess(case, draws, seed)
    except InputError as error:
        return _Pond(None, None, problems=tuple(error.problems))
    return _Pond(water_of(found), value_of_pond(found), max(case.sample_dates, default=case.visit_date))


def _read(cases: Sequence[Path], limits: RoundLimits, out: Path | None) -> list[Case]:
    from burden.io import read_case

    read, problems = [], [] if out is None else refuse_foreign(out)
    for folder in cases:
        try:
            read.append(read_case(folder))
        except InputError as error:
            problems += [replace(p, file=f"{folder}: {p.file}") if p.file != str(folder) else p for p in error.problems]
    given = len(limits.travel_minutes)
    if given not in (1, len(cases)):
        expected, fix = f"one for all, or {len(cases)}, one a case", "Repeat --travel in the order of the cases."
        problems.append(Problem("command line", "--travel", f"{given} of them", expected, fix))
    if problems:
        raise InputError(problems)
    return read


def _chosen(ponds: Sequence[_Pond], limits: RoundLimits, first: Date, draws: int, seed: int) -> RoundResult:
    pairs = [(p.water, p.value, p.visited) for p in ponds if p.water is not None and p.value is not None]
    choices = [
        [Choice(look.fish, limits.minutes(i, look.fish), look.value) for look in value.looks]
        for i, (_, value, _) in enumerate(pairs)
    ]
    best = best_round(choices, limits.fish, 60 * limits.hours)
    stops = _stops(pairs, best, limits, first)
    return RoundResult(
        start=first,
        limits=limits,
        stops=stops,
        left_out=_left_out(pairs, best, limits),
        due=due_dates([water for water, *_ in pairs], first, {stop.case for stop in stops}),
        value=best.value,
        with_more_fish=best.value_with_more_fish,
        with_more_time=best.value_with_more_time,
        draws=draws,
        seed=seed,
    )


def _stops(
    pairs: Sequence[tuple[Water, PondValue, Date]], best: BestRound, limits: RoundLimits, first: Date
) -> tuple[Stop, ...]:
    """The ponds chosen, fewest flukes first, on as many days as the work fills."""
    chosen = [(i, choice) for i, choice in enumerate(best.chosen) if choice is not None]
    stops, spent = [], 0.0
    for i, choice in sorted(chosen, key=lambda one: (*pairs[one[0]][0].walk, pairs[one[0]][0].name)):
        water, value, visited = pairs[i]
        minutes = limits.minutes(i, value.looks[choice].fish)
        day = first + timedelta(days=int(spent // _DAY_MINUTES))
        today = str(water.answer.get("first_action", ""))
        stops.append(Stop(water.name, water.title, day, value.looks[choice], minutes, value, visited, today))
        spent += minutes
    return tuple(stops)


def _left_out(
    pairs: Sequence[tuple[Water, PondValue, Date]], best: BestRound, limits: RoundLimits
) -> tuple[LeftOut, ...]:
    found = []
    for i, (water, value, _) in enumerate(pairs):
        if best.chosen[i] is None:
            why, look = _why_left_out(value, i, limits)
            found.append(LeftOut(water.name, water.title, why, look, value))
    return tuple(sorted(found, key=lambda one: (0.0 if one.best is None else -one.best.value, one.case)))


def _why_left_out(value: PondValue, place: int, limits: RoundLimits) -> tuple[str, Look | None]:
    gains = [look for look in value.looks if look.value > 0]
    if value.why_not or not gains:
        return value.why_not or ("own_look" if value.action == "look_first" else "no_gain"), None
    fits = [
        look for look in gains if look.fish <= limits.fish and limits.minutes(place, look.fish) <= 60 * limits.hours
    ]
    return ("no_room" if fits else "too_large"), max(fits or gains, key=lambda look: look.value)


def _written(found: RoundResult, ponds: Sequence[_Pond], out: Path) -> RoundResult:
    from burden import __version__
    from burden.report.page.page import template
    from burden.report.text.visit_round import MOVES

    words = {stop.case: lines_of(stop) for stop in found.stops}
    looks = looks_calendar((s.case, s.title, s.date, words[s.case][0], words[s.case][1]) for s in found.stops)
    calendars = [pond.water.calendar for pond in ponds if pond.water is not None]
    page = template("round.html.j2").render(
        found=found,
        head=lines_of(found),
        moves=MOVES,
        stops=[(stop, words[stop.case]) for stop in found.stops],
        left_out=[(one, lines_of(one)) for one in found.left_out],
        made=f"burden {__version__}, {found.draws} draws, seed {found.seed}",
    )
    files = {
        "round.html": page.encode("utf-8"),
        "round.csv": csv_bytes(found.rows(), _COLUMNS),
        "all.ics": joined_calendar([looks, *calendars]),
    }
    write_folder(out, files)
    return replace(found, folder=str(out), files=tuple(files))

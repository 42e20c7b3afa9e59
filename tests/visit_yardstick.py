"""Judged visits: what a good colleague would do on each, and how an answer is held against it.

A visit is one TOML file in tests/visits/: why and on what ground, what is expected, what must never be, and the case
itself with its tables of samples and deaths. They were written from veterinary judgement before the decision they
judge, and nothing is tuned to them. README.md in that folder explains every key.
"""

from __future__ import annotations

import html
import re
import tempfile
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from spelt_cases import spell_toml

import burden
from burden.cli import main
from burden.io import check_case

__all__ = [
    "ACTIONS",
    "FOLDER",
    "Answer",
    "JudgedVisit",
    "all_visits",
    "answer",
    "decide",
    "faults",
    "missing_keys",
    "trespasses",
]

FOLDER = Path(__file__).parent / "visits"
ACTIONS = ("water_first", "dose", "look_first", "watch", "discharge")
_CASE_TABLES = ("case", "water", "fish", "parasite", "looking", "findings", "limits", "arrivals", "given", "planned")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True)
class JudgedVisit:
    """A visit, and what a good colleague makes of it.

    Parameters
    ----------
    name, title, why, ground : str
        File name without its ending, title, reason in a sentence or two, and a reference key of the evidence or
        "common practice, no source".
    needs : tuple of str
        Keys the case uses that may not be known yet.
    expect, never : mapping
        What is right, and what would be dangerous.
    tables, csv : mapping
        Of the case: tables of case.toml, and text of each CSV file by its name without ending.
    """

    name: str
    title: str
    why: str
    ground: str
    needs: tuple[str, ...]
    expect: Mapping[str, Any]
    never: Mapping[str, Any]
    tables: Mapping[str, Any]
    csv: Mapping[str, str]

    @property
    def visit_date(self) -> date:
        return self.tables["case"]["visit_date"]

    @property
    def live_fish(self) -> int:
        fish = self.tables["fish"]
        return sum(group["count"] for group in (fish if isinstance(fish, list) else [fish]))

    @property
    def volume_l(self) -> float:
        volume = self.tables["water"]["volume_l"]
        return volume["value"] if isinstance(volume, dict) else volume

    @property
    def asks_for_words(self) -> bool:
        """Whether the page has to be read to judge it, and the decision alone is not enough."""
        return "must_say" in self.expect or "must_not_say" in self.expect

    def write(self, folder: Path) -> Path:
        """Write the case into a folder, which must not exist yet."""
        folder.mkdir(parents=True)
        (folder / "case.toml").write_bytes(spell_toml(dict(self.tables), None))
        for name, text in self.csv.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        return folder


@dataclass(frozen=True)
class Answer:
    """What the tool decided: the object of `burden decide --json`, and the words of the page where they are needed."""

    decision: Mapping[str, Any]
    words: str = ""

    @property
    def action(self) -> str:
        return self.decision["action"]

    @property
    def plan(self) -> list[dict[str, Any]]:
        """Doses to come, each with date, number, of, agent, mg_l and mass_g."""
        return self.decision.get("plan") or []

    @property
    def doses(self) -> list[dict[str, Any]]:
        """All doses shown, those that follow once the water is right included."""
        return self.plan + list(self.decision.get("after_water") or [])

    @property
    def dates(self) -> list[date]:
        return [date.fromisoformat(str(dose["date"])) for dose in self.plan]

    @property
    def agents(self) -> set[str]:
        return {dose["agent"] for dose in self.plan}

    def short(self) -> str:
        """The action and the doses in a few words, for a table."""
        doses = " ".join(f"{dose['date']} {dose['agent']} {dose['mg_l']:g}" for dose in self.doses)
        return f"{self.action}: {'' if self.plan else 'then '}{doses}" if doses else self.action


def read_visit(path: Path) -> JudgedVisit:
    """Read one visit file."""
    read = tomllib.loads(path.read_text(encoding="utf-8"))
    return JudgedVisit(
        name=path.stem,
        title=read["case"]["title"],
        why=read["why"],
        ground=read["ground"],
        needs=tuple(read.get("needs", ())),
        expect=read["expect"],
        never=read.get("never", {}),
        tables={name: read[name] for name in _CASE_TABLES if name in read},
        csv=read["csv"],
    )


def all_visits() -> list[JudgedVisit]:
    """All visits, by name."""
    return [read_visit(path) for path in sorted(FOLDER.glob("*.toml"))]


def missing_keys(visit: JudgedVisit) -> list[str]:
    """Needed keys that the case reader does not know yet; any other fault of the case raises."""
    with tempfile.TemporaryDirectory() as scratch:
        problems = check_case(visit.write(Path(scratch) / visit.name)).problems
    missing = [key for key in visit.needs if any(key.rpartition(".")[2] in str(p) for p in problems)]
    unforeseen = [str(p) for p in problems if not any(key.rpartition(".")[2] in str(p) for key in missing)]
    if unforeseen:
        raise ValueError(f"{visit.name}: {'; '.join(unforeseen)}")
    return missing


def answer(visit: JudgedVisit, draws: int = 100, seed: int = 1, words: bool = True) -> Answer:
    """Let the tool decide a visit; with `words` also read its page, where the visit asks for words."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = visit.write(Path(scratch) / visit.name)
        decision = decide(folder, draws, seed)
        return Answer(decision, _page(folder, draws, seed) if words and visit.asks_for_words else "")


def decide(folder: Path, draws: int, seed: int) -> dict[str, Any]:
    """The decision on the case in a folder."""
    return burden.decide(burden.read_case(folder), draws=draws, seed=seed).as_dict()


def _page(folder: Path, draws: int, seed: int) -> str:
    """The report's page as plain text, spaces and marks made plain."""
    words = ["report", str(folder), "--draws", str(draws), "--seed", str(seed), "--workers", "1", "--quiet"]
    ran = CliRunner().invoke(main, words)
    if ran.exit_code != 0:
        raise RuntimeError(ran.output)
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    page = re.sub(r"(?s)<(style|script|svg).*?</\1>", " ", page)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


# --- an answer against what is expected


def faults(visit: JudgedVisit, given: Answer) -> list[str]:
    """Everything in which an answer differs from what a good colleague would do, a sentence each; empty if right."""
    expect = visit.expect
    found = [] if given.action in expect["action"] else [f"{given.action}, not {' or '.join(expect['action'])}"]
    found += _look_faults(visit, given)
    found += _gate_faults(expect, given, visit.volume_l)
    found += _said_faults(expect, given.words)
    if given.action == "dose":
        found += [*_date_faults(visit, given), *_dose_faults(expect, given)]
    found += _release_faults(visit, given)
    return found + trespasses(visit, given)


def trespasses(visit: JudgedVisit, given: Answer) -> list[str]:
    """What must never be, whatever else is right: it hurts fish or people."""
    never, found = visit.never, []
    if never.get("dose") and (given.action == "dose" or given.doses):
        found.append(f"doses where none may be given ({given.short()})")
    if never.get("dose_today") and (given.action == "dose" or visit.visit_date in given.dates):
        found.append(f"a dose today where none may be given ({given.short()})")
    if wrong := {dose["agent"] for dose in given.doses} & set(never.get("agents", ())):
        found.append(f"never {', '.join(sorted(wrong))} here")
    return found


def _outside(name: str, value: float, limits: Sequence[float]) -> list[str]:
    return [] if limits[0] <= value <= limits[1] else [f"{name} {value:g}, not {limits[0]:g} to {limits[1]:g}"]


def _date_faults(visit: JudgedVisit, given: Answer) -> Iterator[str]:
    expect, dates = visit.expect, given.dates
    days = [(day - visit.visit_date).days for day in dates]
    if not days:
        yield "dose, and no dose is planned"
        return
    if "first_dose_day" in expect:
        yield from _outside("first dose on day", days[0], expect["first_dose_day"])
    if "last_dose_day" in expect:
        yield from _outside("last dose on day", days[-1], expect["last_dose_day"])
    for a, b in pairwise(days):
        yield from _outside("gap in days", b - a, expect.get("gap_days", (0.5, 400)))
    for day in dates:
        if _WEEKDAYS[day.weekday()] not in expect.get("weekdays", _WEEKDAYS):
            yield f"a dose on a {_WEEKDAYS[day.weekday()]}"


def _dose_faults(expect: Mapping[str, Any], given: Answer) -> Iterator[str]:
    plan = given.plan
    if "doses" in expect:
        yield from _outside("doses", len(plan), expect["doses"])
    if wrong := given.agents & set(expect.get("agents_forbidden", ())):
        yield f"{', '.join(sorted(wrong))} is the wrong agent"
    if "agents_allowed" in expect and (wrong := given.agents - set(expect["agents_allowed"])):
        yield f"{', '.join(sorted(wrong))} is not among {', '.join(expect['agents_allowed'])}"
    if "mass_g" in expect and plan:
        yield from _outside("first dose in g", plan[0]["mass_g"], expect["mass_g"])
    for agent, most in expect.get("mg_l_max", {}).items():
        yield from (f"{d['mg_l']:g} mg/L of {agent}" for d in plan if d["agent"] == agent and d["mg_l"] > most)
    for agent, most in expect.get("total_mg_l_max", {}).items():
        total = sum(dose["mg_l"] for dose in plan if dose["agent"] == agent)
        yield from [f"{total:g} mg/L of {agent} in all"] if total > most else []


def _look_faults(visit: JudgedVisit, given: Answer) -> Iterator[str]:
    look = given.decision.get("look")
    if look is None:
        if given.action == "look_first":
            yield "look first, and no look is planned"
        return
    fish = look.get("fish")
    if fish is not None and fish > visit.live_fish:
        yield f"look at {fish} of {visit.live_fish} fish"
    if "look_fish" in visit.expect and fish is not None:
        yield from _outside("fish to look at", fish, visit.expect["look_fish"])
    if "next_look_day" in visit.expect:
        day = (date.fromisoformat(str(look["date"])) - visit.visit_date).days
        yield from _outside("next look on day", day, visit.expect["next_look_day"])


def _gate_faults(expect: Mapping[str, Any], given: Answer, volume_l: float) -> Iterator[str]:
    gates = given.decision.get("gates") or []
    codes = " ".join(str(gate["code"]) for gate in gates)
    yield from (f"no word of {wanted}" for wanted in expect.get("gates", ()) if wanted not in codes)
    litres = [gate["remedy"]["litres"] for gate in gates if (gate.get("remedy") or {}).get("litres")]
    if "remedy_litres" in expect:
        low, high = expect["remedy_litres"]
        if not any(low <= amount <= high for amount in litres):
            yield f"water change of {', '.join(f'{x:g}' for x in litres) or 'no'} L, not {low} to {high} L at a time"
    # all of the water at once is a shock of its own (common practice, no source)
    yield from (f"{x:g} L changed at once of {volume_l:g} L" for x in litres if x > 0.8 * volume_l)
    others = {row["finding"] for row in given.decision.get("other_treatments") or []}
    wanted_others = expect.get("other_treatments", ())
    yield from (f"no word on the treatment of {other}" for other in wanted_others if other not in others)


def _said_faults(expect: Mapping[str, Any], words: str) -> Iterator[str]:
    if words:
        yield from (f"does not say /{must}/" for must in expect.get("must_say", ()) if not re.search(must, words))
        for must_not in expect.get("must_not_say", ()):
            if said := re.search(must_not, words):
                yield f'says "{said[0]}"'


def _release_faults(visit: JudgedVisit, given: Answer) -> Iterator[str]:
    if "release_day" not in visit.expect:
        return
    said = given.decision.get("release_date")
    if said is None:
        yield "no release date"
        return
    released = date.fromisoformat(str(said))
    yield from _outside("released on day", (released - visit.visit_date).days, visit.expect["release_day"])
    if given.dates and released <= max(given.dates):
        yield "released before the last dose"

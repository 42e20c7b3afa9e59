"""One decision on every surface: dates, amounts, agents and counts agree wherever a person or a program reads them.

The decision itself is the yardstick. Where one surface works anything out anew, it differs here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import pytest
from surfaces import DOSES_IN, SIMULATED, Shown, Surfaces, command, dates_in, json_of, plain_text, shown_in
from visit_yardstick import all_visits, decide

#: how surfaces agree does not hang on the draws; with those of test_visits.py both share the decisions
DRAWS = 100
WORDS = ("--draws", str(DRAWS), "--seed", "1", "--quiet")
#: a course in warm water, unsafe water, nothing looked at
NAMES = ("01", "27", "57")
VISITS = {visit.name: visit for visit in all_visits() if visit.name.startswith(NAMES)}
#: amounts are written to two or three figures
ROUNDED = 0.03


@pytest.fixture(scope="module")
def written(tmp_path_factory, each_case_once):
    """Reports of all cases in one run, and what it printed."""
    home = tmp_path_factory.mktemp("surfaces")
    folders = [visit.write(home / name) for name, visit in VISITS.items()]
    printed = command("report", *folders, "--out", home / "out", "--workers", 1, *WORDS)
    return home, printed


@pytest.fixture(scope="module")
def surfaces_of(written):
    """All surfaces of a case by its name, worked out once."""
    home, printed = written

    @cache
    def of(name: str) -> Surfaces:
        visit = VISITS[name]
        index = (home / "out" / "index.html").read_text(encoding="utf-8")
        return Surfaces(
            visit.visit_date,
            decide(home / name, draws=DRAWS, seed=1),
            home / "out" / name,
            "".join(_about(index, visit.title)),
            next(part for part in printed.split("\n\n") if part.startswith(f"{name}:")),
            json_of("forecast", home / name, *WORDS),
        )

    return of


def _about(index: str, title: str) -> Iterator[str]:
    """Parts of the page of several waters that are about one of them: its section and its dates."""
    for part in re.findall(r"(?s)<section>.*?</section>", index):
        own = [part] if "<li" not in part else re.findall(r"(?s)<li\b.*?</li>", part)
        yield from (piece for piece in own if title in plain_text(piece))


def agrees(shown: Shown, planned: Shown) -> bool:
    """Whether a surface shows what was decided, in as far as it shows it."""
    if shown.mass_g is not None and planned.mass_g is not None:
        if abs(shown.mass_g - planned.mass_g) > ROUNDED * planned.mass_g:
            return False
        shown = replace(shown, mass_g=planned.mass_g)
    seen = {name: value for name, value in vars(shown).items() if value is not None}
    return all(getattr(planned, name) == value for name, value in seen.items())


def test_a_difference_in_anything_is_seen():
    """The comparison itself: each thing that may differ, does."""
    planned = shown_in("Sat 11 Jul: dose 1 of 3: 60 g of praziquantel (5 mg/L for 24 h)", dates_in("11 Jul", 2026)[0])
    assert planned == Shown(dates_in("11 Jul 2026", 2020)[0], "praziquantel", 1, 3, 5.0, 60.0)
    assert agrees(replace(planned, mass_g=61.0), planned)
    for name, other in {"day": planned.day.replace(day=12), "agent": "formalin", "of": 2, "mg_l": 2.5}.items():
        assert not agrees(replace(planned, **{name: other}), planned)
    assert not agrees(replace(planned, mass_g=66.0), planned)


@pytest.mark.parametrize("surface", DOSES_IN)
@pytest.mark.parametrize("name", VISITS)
def test_surface_shows_the_doses_decided(surfaces_of, name, surface):
    s = surfaces_of(name)
    shown, decided = DOSES_IN[surface](s), s.simulated if surface in SIMULATED else s.planned
    assert len(shown) == len(decided), (shown, decided)
    assert all(agrees(*pair) for pair in zip(shown, decided, strict=True)), (shown, decided)


@pytest.mark.parametrize("name", VISITS)
def test_every_dose_of_so_many_says_how_many_there_are(surfaces_of, name):
    """Nowhere stands another number of doses, nor a dose where there is none."""
    s = surfaces_of(name)
    said = {of for _, words in s.everything_said() for of in re.findall(r"\bdose \d+ of (\d+)", words)}
    assert said == {str(dose.of) for dose in s.planned}


@pytest.mark.parametrize("name", VISITS)
def test_the_next_look_is_one_date_and_one_number_of_fish(surfaces_of, name):
    s = surfaces_of(name)
    look = s.decision.get("look")
    looks = [day for kind, day, _ in s.events if kind == "sample"]
    if look is None or look["date"] == s.visit_date.isoformat():
        assert looks == []  # what is done today is no date to keep
        return
    assert [day.isoformat() for day in looks] == [look["date"]]
    said = plain_text(s.section("answer"))
    fish = {int(n) for n in re.findall(r"\beach of (\d+) fish", said)}
    assert fish <= {look["fish"]}


@pytest.mark.parametrize("name", VISITS)
def test_the_action_of_today_is_said_alike(surfaces_of, name):
    """The first line of page, index and terminal is the same, and no dose stands on today's date but in its plan."""
    s = surfaces_of(name)
    first = plain_text(re.search(r'(?s)<p class="act">(.*?)</p>', s.page)[1])
    assert first in plain_text(s.index)
    assert first in plain_text(s.printed)
    if s.decision["action"] != "dose":
        assert not re.match(r"Today: dose", first)

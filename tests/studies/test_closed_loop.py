"""The closed-loop study: its ponds, its customary rules and its arithmetic, without a decision asked."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from burden.case import Action, Preparation, RecordedTemperature
from burden.io import read_case

sys.path.insert(0, str(Path(__file__).parents[2]))  # analysis is not part of the package

from analysis.closed_loop import MEASURES, follow, summarise
from analysis.followed import SETTINGS, draw_followed, write_folder
from analysis.visited import FIRST_DAY
from analysis.ways import Told, Visit, custom, dose_on, every_sight, never
from burden.evidence import load_parasite

POND = draw_followed(7)


@cache
def untreated():
    return POND.lived(())


def visit(temperature_c: float, counts: dict[int, list[int]], given: list[Action] = ()) -> Visit:
    """A visit of the pond on the last day of `counts`."""
    first, day = POND.case.visit_date, max(counts)
    rows = [
        Preparation(first + timedelta(on), f"{i}", "random", "gill", count, count, method="gill_clip")
        for on, seen in counts.items()
        for i, count in enumerate(seen)
    ]
    case = POND.case_on(day, untreated(), given, rows)
    read = replace(case.water.temperature, temperatures_c=(temperature_c,) * len(case.water.temperature.times))
    case = replace(case, water=replace(case.water, temperature=read))
    return Visit(case, lambda fish: case)


def spelt(told: Told) -> list[tuple[int, str]]:
    return [(POND.day_of(dose.date), dose.agent) for dose in told.doses]


def dose(day: int, agent: str = "praziquantel") -> Action:
    return dose_on(POND.case.visit_date + timedelta(day), agent, 5.0, 24.0)


# customary courses: common practice, no source (issue 17: three doses of praziquantel every five days near 26 °C; two
# weeks apart with formalin in the middle in the cold)
@pytest.mark.parametrize(
    ("temperature_c", "course"),
    [
        (26.0, [(1, "praziquantel"), (6, "praziquantel"), (11, "praziquantel")]),
        (20.0, [(1, "praziquantel"), (8, "praziquantel"), (15, "praziquantel")]),
        (10.0, [(1, "praziquantel"), (15, "formalin"), (29, "praziquantel")]),
    ],
)
def test_custom_begins_once_a_fluke_is_seen(temperature_c, course):
    assert spelt(custom(visit(temperature_c, {0: [0, 1, 0]}))) == course
    assert spelt(custom(visit(temperature_c, {0: [0, 0, 0]}))) == []


def test_custom_carries_a_course_through_and_begins_another_on_a_clear_relapse_alone():
    in_the_cold = [dose(1)]
    assert spelt(custom(visit(10.0, {0: [4], 14: [0, 0]}, in_the_cold))) == [(15, "formalin"), (29, "praziquantel")]
    done = [dose(1), dose(6), dose(11)]
    assert spelt(custom(visit(26.0, {0: [4, 4], 14: [9, 9]}, done))) == []  # three days after the last dose
    assert spelt(custom(visit(26.0, {0: [4, 4], 28: [1, 1]}, done))) == []  # a few, a quarter of what began it
    assert [day for day, _ in spelt(custom(visit(26.0, {0: [4, 4], 28: [2, 2]}, done)))] == [29, 34, 39]


def test_the_other_ways():
    seen, clean = visit(20.0, {0: [0, 3]}), visit(20.0, {0: [0, 0]})
    assert spelt(every_sight(seen)) == [(1, "praziquantel")]
    assert spelt(every_sight(clean)) == spelt(never(seen)) == []


def test_a_dose_changes_nothing_before_its_day_and_kills_after_it():
    dosed, day = POND.lived([dose(20)]), 20 - FIRST_DAY
    before, after = POND.per_gram(dosed), POND.per_gram(untreated())
    np.testing.assert_array_equal(before[: day + 1], after[: day + 1])
    assert before[day + 1] < 0.7 * after[day + 1]  # the young are sheltered


def test_settings_are_not_the_medians_of_the_model():
    known = load_parasite("dactylogyrus").values
    for name, (value, low, high) in SETTINGS.items():
        assert value >= 1.5 * known[name].value or value <= known[name].value / 1.5, name
        assert low < value < high


def test_a_folder_holds_the_same_case(tmp_path):
    case = POND.case_on(14, untreated(), [dose(1)], POND.looked_at(0, untreated()) + POND.looked_at(14, untreated()))
    write_folder(case, tmp_path / "pond")
    read = read_case(tmp_path / "pond")
    assert isinstance(read.water.temperature, RecordedTemperature)
    assert read.water.temperature.temperatures_c == case.water.temperature.temperatures_c
    assert replace(read.water, temperature=case.water.temperature) == case.water
    assert read.fish == case.fish
    assert read.deaths == case.deaths
    assert [(a.date, a.agent, a.mg_l, a.hours) for a in read.given] == [
        (a.date, a.agent, a.mg_l, a.hours) for a in case.given
    ]
    seen = [(r.date, r.fish, r.chosen, r.count_low, r.count_high) for r in read.samples]
    assert seen == [(r.date, r.fish, r.chosen, r.count_low, r.count_high) for r in case.samples]


def test_visits_that_were_answered_before_are_not_asked_again():
    rows: list[dict[str, object]] = []

    def ask(seen: Visit) -> Told:
        assert seen.case.visit_date == POND.case.visit_date
        raise InterruptedError

    first = follow(POND, lambda seen: Told((dose(1),)) if not seen.case.given else Told(), note=rows.append)
    kept = {row["day"]: {key: str(value) for key, value in row.items()} for row in rows}
    assert follow(POND, ask, kept) == first
    assert first["doses"] == 1
    with pytest.raises(InterruptedError):
        follow(POND, ask, {day: row for day, row in kept.items() if day > 0})


def test_differences_to_custom_are_paired():
    # arithmetic: ponds far apart, the tool always one less than custom, so the interval of the difference has no width
    rows = [
        {"seed": str(seed), "clean": "False", "way": way, **{measure: str(10.0 * seed - less) for measure in MEASURES}}
        for seed in range(6)
        for way, less in (("tool", 1), ("custom", 0))
    ]
    lines = [line for line in summarise(rows, 500) if line["ponds of"] == "all" and line["measure"] == "doses"]
    tool = next(line for line in lines if line["way"] == "tool")
    assert tool["mean"] == pytest.approx(24.0)
    assert tool["low"] < 20 < 28 < tool["high"]  # standard error of six ponds 10 apart: 7
    assert [tool[f"less_custom_{end}"] for end in ("mean", "low", "high")] == pytest.approx([-1.0] * 3)

"""A case folder as a form and back: nothing lost either way, comments kept, two writers never over each other."""

from __future__ import annotations

import copy
import datetime as dt
import os
import tempfile
import threading
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutated_cases import BASES, lay_out, mutated, plain

from burden.io import check_case, read_case
from burden.io.form import check_form, new_folder_from_form, read_form, write_form
from burden.io.form_settled import settled
from burden.io.toml_merge import merged_toml, plain_tables, same_value
from burden.io.whole_write import ConflictError, digest_of, finish_pending, write_whole
from burden.utils.errors import InputError

FEW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


@contextmanager
def folder_of(found):
    with tempfile.TemporaryDirectory() as made:
        yield lay_out(found, Path(made) / "pond")


def files_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def bare(case):
    """A case without its folder's name and what hangs on how its file was spelt."""
    return replace(case, name="", warnings=(), assumptions=())


# --- every valid folder into the form and out again


@pytest.mark.parametrize("seed", range(70))
def test_a_valid_folder_goes_through_the_form_without_loss(seed):
    """Read as a form and written back, not a byte changes; written as a new folder, the same case is read."""
    with folder_of(mutated(seed)) as folder:
        if not check_case(folder).ok:
            with pytest.raises(InputError):
                read_form(folder)
            return
        before, form = files_of(folder), read_form(folder)
        assert write_form(folder, form.fields, form.seen).seen == form.seen
        assert files_of(folder) == before
        again = folder.with_name("again")
        named = form.fields["water"]["temperature_c"]
        if isinstance(named, str) and "readings" not in form.fields:
            return  # the logger's file stays where it is
        new_folder_from_form(again, form.fields)
        if "readings" not in form.fields:
            assert bare(read_case(again)) == bare(read_case(folder))
        assert same_value(read_form(again).fields, form.fields)


@pytest.mark.parametrize("base", BASES)
def test_one_changed_figure_changes_one_line(base):
    with folder_of(plain(base)) as folder:
        form = read_form(folder)
        fields = copy.deepcopy(form.fields)
        fields["water"]["nitrite_n_mg_l"] = 0.123
        old = (folder / "case.toml").read_text(encoding="utf-8").splitlines()
        new = write_form(folder, fields, form.seen)
        lines = (folder / "case.toml").read_text(encoding="utf-8").splitlines()
        assert [line for line in lines if line not in old] == ["nitrite_n_mg_l = 0.123"]
        assert len([line for line in old if line not in lines]) <= 1
        assert same_value(new.fields, fields)


def test_comments_of_the_owner_stay():
    text = (
        "# mine\n[case]\nvisit_date = 2026-05-10 # a Sunday\n\n# the water\n[water]\nph = 7.0   # drops at night\n"
        "\n[[given]]\n# weighed on the kitchen scales\ndate = 2026-05-01\nagent = 'unknown'\n"
    )
    tables = plain_tables(text)
    tables["water"]["ph"] = 7.4
    tables["given"].append({"date": "2026-05-03", "agent": "salt"})
    written = merged_toml(text, tables)
    for comment in ("# mine", "# a Sunday", "# the water", "# drops at night", "# weighed on the kitchen scales"):
        assert comment in written
    assert "date = 2026-05-03" in written
    assert plain_tables(written) == tables


_KEYS = st.sampled_from(["a", "b", "date", "c d", "é"])
_TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=12)
_VALUES = st.recursive(
    st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | _TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=6,
)
_TABLES = st.fixed_dictionaries(
    {"case": st.dictionaries(_KEYS, _VALUES, max_size=4)},
    optional={
        "water": st.dictionaries(_KEYS, _VALUES, max_size=4),
        "given": st.lists(st.dictionaries(_KEYS, _VALUES, min_size=1, max_size=3), max_size=4),
        "fish": st.lists(st.dictionaries(_KEYS, _VALUES, min_size=1, max_size=3), min_size=1, max_size=3),
    },
)


@FEW
@given(_TABLES, _TABLES)
def test_any_tables_can_be_written_over_any_others(first, second):
    """Whatever stood there, what is read afterwards is what was to be written."""
    for start in (None, merged_toml(None, first)):
        found = plain_tables(merged_toml(start, second))
        assert same_value({n: v if isinstance(v, list) or n != "fish" else [v] for n, v in found.items() if v},
                          {n: v for n, v in second.items() if v})  # fmt: skip


# --- any form into a folder

_DAYS = st.dates(dt.date(2026, 3, 1), dt.date(2026, 5, 10))
_NUMBER = st.floats(0.01, 50, allow_nan=False).map(lambda x: float(f"{x:.6g}"))
_COUNT = st.integers(0, 400).map(str) | st.integers(1, 90).map(lambda n: f">{n}") | st.just("10-20") | st.just("")


def _some(**optional):
    return st.fixed_dictionaries({}, optional=optional)


_ROW = st.fixed_dictionaries(
    {
        "date": _DAYS.map(str),
        "fish": st.integers(1, 6).map(str),
        "chosen": st.sampled_from(["random", "netted", "dead"]),
        "site": st.sampled_from(["gill", "skin"]),
        "count": _COUNT,
    },
    optional={
        "weight_g": st.integers(1, 5000).map(str),
        "method": st.just("gill_clip"),
        "stage": st.sampled_from(["adult", "juvenile"]),
        "lethal": st.sampled_from(["yes", "no"]),
    },
).map(lambda row: {key: text for key, text in row.items() if text})
_FORMS = st.fixed_dictionaries(
    {
        "case": st.fixed_dictionaries(
            {"visit_date": st.just("2026-05-10")}, optional={"title": st.just("a “pond” № 1")}
        ),
        "water": st.fixed_dictionaries(
            {
                "volume_l": _NUMBER.map(lambda x: x * 1000)
                | st.just({"value": 9, "low": 8, "high": 11, "how": 'a "meter"'}),
                "medium": st.just("fresh"),
                "temperature_c": st.floats(1, 30).map(lambda x: round(x, 2))
                | st.just({"mean_c": 12, "swing_c": 8, "warmest_day": "07-25"}),
            },
            optional={"ph": st.floats(6, 9), "uv": st.booleans() | st.just("yes"), "oxygen_mg_l": _NUMBER},
        ),
        "fish": st.lists(
            st.fixed_dictionaries(
                {"species": st.just("koi"), "count": st.integers(6, 90), "food_fish": st.sampled_from(["yes", False])},
                optional={
                    "new_arrivals": st.just([{"date": "2026-05-01", "count": 2}]),
                    "length_mm": _NUMBER.map(lambda x: x + 1),
                    "harvest_date": st.sampled_from(["2026-09-20", "2026-05-09"]),
                },
            ),
            min_size=1,
            max_size=1,
        ),
        "arrivals": st.lists(
            st.fixed_dictionaries(
                {"date": _DAYS.map(str), "count": st.integers(1, 5)},
                optional={
                    "treated": st.sampled_from(["yes", "no"]),
                    "naive": st.booleans(),
                    "preparations": st.just(2),
                },
            ),
            max_size=2,
        ),
        "parasite": st.just({"set": "dactylogyrus"}) | st.just({"set": ["dactylogyrus"]}),
        "looking": st.just({}),
        "limits": _some(
            max_doses=st.integers(0, 9),
            agents=st.just(["praziquantel"]),
            strength_percent=st.dictionaries(
                st.sampled_from(["formalin", "praziquantel"]), st.floats(0.5, 90), min_size=1
            ),
        ),
        "findings": _some(
            note=_TEXT,
            gasping=st.booleans(),
            gill_colour=st.just("pale"),
            ulcers=st.booleans(),
            fish=st.just([{"fish": "1", "gill_mucus": "yes"}]),
            virus_test=st.just("sent"),
        ),
        "given": st.lists(st.fixed_dictionaries({"date": _DAYS.map(str), "agent": st.just("unknown")}), max_size=3),
        "planned": st.lists(st.just({"date": "2026-05-11", "agent": "formalin", "mg_l": 15}), max_size=2),
        "samples": st.lists(_ROW, max_size=5),
        "deaths": st.lists(_DAYS, unique=True, max_size=5).map(
            lambda days: [{"date": str(day), "deaths": str(day.day % 3)} for day in sorted(days)]
        ),
    }
)


@FEW
@given(_FORMS, _FORMS)
def test_any_sequence_of_edits_gives_a_case_or_says_why_not(first, second):
    """A new folder, then the whole of another form into it: read back is what was said, or why not."""
    with tempfile.TemporaryDirectory() as made:
        folder, there = Path(made) / "pond", None
        for form in (first, second, first):
            checked = check_form(form, folder if there else None)
            if checked.case is None:
                assert all(p.place and p.fix for p in checked.problems)
                continue
            there = write_form(folder, form, there.seen) if there else new_folder_from_form(folder, form)
            assert check_case(folder).ok
            assert same_value(_sorted(there.fields), _sorted(settled(form)))


def _sorted(form):
    return {name: value for name, value in form.items() if value}


# --- what is no form


@pytest.mark.parametrize(
    "form",
    [None, [], "x", 7, {"water": []}, {"fish": {}}, {"fish": ["koi"]}, {"evil": {}}, {"samples": [{"path": "x"}]},
     {"case": {"title": "\ud800"}}, {"water": {"volume_l": {"size_m": [1, 2], "shape": "oval"}}},
     {"water": {"volume_l": {"size_m": [1, 2, 3], "shape": "heart"}}},
     {"looking": {"gill_clip_share": {"pieces": 0, "of": "tips"}}}],
)  # fmt: skip
def test_what_is_no_form_is_a_problem_with_its_place(form):
    found = check_form(form)
    assert found.case is None
    assert found.problems
    assert all(p.place for p in found.problems)


def test_measures_become_figures_with_their_range():
    form = {
        "water": {"volume_l": {"salt_g": 5000, "rise_g_l": 0.5}},
        "looking": {"gill_clip_share": {"pieces": 2, "of": "arches"}},
    }
    found = settled(form)
    assert found["water"]["volume_l"]["value"] == pytest.approx(9900, rel=0.001)  # 0.99 of the salt over the rise
    assert found["looking"]["gill_clip_share"]["value"] == pytest.approx(0.25)  # two of eight arches


# --- whole or not at all, and never over another


def test_the_second_window_is_told_and_nothing_is_overwritten():
    with folder_of(plain(next(iter(BASES)))) as folder:
        one, other = read_form(folder), read_form(folder)
        mine, theirs = copy.deepcopy(one.fields), copy.deepcopy(other.fields)
        mine["findings"]["note"], theirs["findings"]["note"] = "first", "second"
        now = write_form(folder, mine, one.seen)
        with pytest.raises(ConflictError):
            write_form(folder, theirs, other.seen)
        assert read_form(folder).fields["findings"]["note"] == "first"
        assert write_form(folder, theirs, now.seen).fields["findings"]["note"] == "second"


def test_a_log_changed_by_hand_counts_as_a_change():
    with folder_of(plain(next(iter(BASES)))) as folder:
        form = read_form(folder)
        with open(folder / "deaths.csv", "a", encoding="utf-8") as stream:
            stream.write("\n")
        with pytest.raises(ConflictError):
            write_form(folder, form.fields, form.seen)


def test_of_many_windows_at_once_one_wins(tmp_path):
    names = ("a", "b")
    (tmp_path / "a").write_text("old")
    (tmp_path / "b").write_text("old")
    seen, won = digest_of(tmp_path, names), []

    def write(mark):
        try:
            write_whole(tmp_path, {"a": mark, "b": mark}, seen, names)
            won.append(mark)
        except ConflictError:
            pass

    threads = [threading.Thread(target=write, args=(f"{i}",)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
    assert (tmp_path / "a").read_text() == (tmp_path / "b").read_text() == won[0]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b"]


@pytest.mark.parametrize("moves", [0, 1, 2])
def test_killed_between_two_moves_the_rest_is_moved_by_whoever_comes_next(tmp_path, monkeypatch, moves):
    names, real, done = ("a", "b"), os.replace, []
    for name in names:
        (tmp_path / name).write_text("old")

    def killed(source, target):
        if len(done) == moves:
            raise KeyboardInterrupt
        done.append(target)
        real(source, target)

    monkeypatch.setattr(os, "replace", killed)
    if moves < 2:
        with pytest.raises(KeyboardInterrupt):
            write_whole(tmp_path, {"a": "new", "b": "new"}, None, names)
    else:
        write_whole(tmp_path, {"a": "new", "b": "new"}, None, names)
    monkeypatch.undo()
    finish_pending(tmp_path)
    assert [(tmp_path / name).read_text() for name in names] == ["new", "new"]


def test_a_full_disk_leaves_what_was_there(tmp_path, monkeypatch):
    (tmp_path / "a").write_text("old")
    monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(OSError):
        write_whole(tmp_path, {"a": "new"}, None, ("a",))
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_text() == "old"

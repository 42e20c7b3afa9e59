"""Where a report is written: what is kept, what is left alone, a run broken off, several cases."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from report_cases import DRAWS, KOI, TITLE, blind, blind_case, koi, koi_files
from report_pages import Reader, fetched

from burden.report.files import folder as report_folder
from burden.report.files.folder import MARKER, write_folder
from burden.report.page.index import cleanest_first, in_order, render_ponds, water_of
from burden.report.text.decision import headline, withheld_text
from burden.report.write import write_reports
from burden.utils.errors import InputError

pytestmark = pytest.mark.usefixtures("each_case_once")


@pytest.fixture
def quick(monkeypatch):
    """The assessments of this module in place of new ones: these tests are about files."""
    monkeypatch.setattr("burden.decision.assess", lambda case, *_: blind() if case.name == "blind" else koi())


def case_folder(parent: Path, name: str = "koi_pond") -> Path:
    import shutil

    return Path(shutil.copytree(KOI, parent / name, ignore=shutil.ignore_patterns("report")))


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_own_files_in_an_earlier_report_are_kept(tmp_path):
    write_folder(tmp_path / "r", {"report.html": b"1", "old/a.csv": b"1"})
    (tmp_path / "r" / "notes.txt").write_text("mine")
    write_folder(tmp_path / "r", {"report.html": b"2"})
    assert set(everything_in(tmp_path / "r")) == {MARKER, "report.html", "notes.txt"}
    assert (tmp_path / "r" / "report.html").read_bytes() == b"2"


@pytest.mark.parametrize("foreign", ["folder", "file", "page"])
def test_what_is_not_ours_is_left_alone(tmp_path, quick, foreign):
    out = tmp_path / "out"
    if foreign == "file":
        out.write_text("a letter")
    else:
        out.mkdir()
        (out / ("report.html" if foreign == "page" else "photo.jpg")).write_text("somebody's own")
    before = everything_in(tmp_path)
    with pytest.raises(InputError) as error:
        write_reports([KOI], out, draws=DRAWS)
    assert [problem.place for problem in error.value.problems] == ["--out"]
    assert everything_in(tmp_path) == before


def test_broken_off_half_way_leaves_what_was_there(tmp_path, monkeypatch):
    write_folder(tmp_path / "r", {"report.html": b"old"})
    real = report_folder.write_new

    def stop(path, data):
        if path.name == "second":
            raise KeyboardInterrupt
        return real(path, data)

    monkeypatch.setattr(report_folder, "write_new", stop)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "r", {"report.html": b"new", "second": b"x"})
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "fresh", {"report.html": b"new", "second": b"x"})
    assert [p.name for p in tmp_path.iterdir()] == ["r"]
    assert (tmp_path / "r" / "report.html").read_bytes() == b"old"


def test_a_move_that_fails_is_taken_back(tmp_path, monkeypatch):
    write_folder(tmp_path / "r", {"report.html": b"old"})
    real = os.rename

    def stop(source, target):
        if Path(source).name == "new":
            raise OSError("disk full")
        return real(source, target)

    monkeypatch.setattr(os, "rename", stop)
    with pytest.raises(OSError, match="disk full"):
        write_folder(tmp_path / "r", {"report.html": b"new"})
    assert (tmp_path / "r" / "report.html").read_bytes() == b"old"


def test_several_cases(tmp_path, quick):
    cases = [case_folder(tmp_path), case_folder(tmp_path, "blind")]
    found = write_reports(cases, tmp_path / "out", draws=DRAWS)
    files = set(everything_in(tmp_path / "out"))
    assert {"index.html", "koi_pond/report.html", "blind/report.html", "blind/dates.ics"} <= files
    answer = found.as_dict()
    assert {"folder", "files", "first_action", "withheld_reason", "reports"} <= set(answer)
    assert [report["case"] for report in answer["reports"]] == ["koi_pond", "blind"]
    withheld = [withheld_text(found.decision) for found in (koi(), blind())]
    assert [report["withheld_reason"] for report in answer["reports"]] == withheld
    assert answer["first_action"] == headline(koi().decision)
    assert {name: pond["first_action"] for name, pond in answer["ponds"].items()} == {
        "koi_pond": headline(koi().decision), "blind": headline(blind().decision),
    }  # fmt: skip
    assert answer["ponds"]["blind"]["decision"]["action"] == blind().decision.action
    assert answer["first_action_case"] == "koi_pond"
    assert "all.ics" in files
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    links = [attrs["href"] for tag, attrs in Reader(page).tags if tag == "a"]
    assert links == ["koi_pond/report.html", "blind/report.html"]
    assert all((tmp_path / "out" / link).is_file() for link in links)


def test_report_goes_into_the_case_and_is_replaced(tmp_path, quick):
    case = case_folder(tmp_path)
    first = write_reports([case], None, draws=DRAWS)
    folder = case / "report"
    assert Path(first.folder) == folder
    assert set(first.files) | {MARKER} == set(everything_in(folder))
    assert first.as_dict()["withheld_reason"] is None
    (folder / "report.html").write_text("spoilt")
    again = write_reports([case], None, draws=DRAWS)
    assert (folder / "report.html").read_bytes() == koi_files()["report.html"]
    assert (folder / "kept" / "report.html").read_text() == "spoilt"
    assert any("kept/report.html" in warning for warning in again.warnings)
    assert [p.name for p in case.iterdir() if p.name.startswith(".")] == []


def test_every_problem_of_several_cases_at_once(tmp_path, quick):
    one, other = case_folder(tmp_path / "a"), case_folder(tmp_path / "b")
    out = tmp_path / "out"
    out.mkdir()
    (out / "photo.jpg").write_text("x")
    with pytest.raises(InputError) as error:
        write_reports([one, other, tmp_path / "none"], out, draws=DRAWS)
    places = [problem.place for problem in error.value.problems]
    assert "CASE" in places
    assert "--out" in places
    assert len(places) >= 3
    with pytest.raises(InputError):
        write_reports([one, other], None, draws=DRAWS)
    assert set(everything_in(out)) == {"photo.jpg"}


def test_folders_a_disk_takes_for_one_are_refused(tmp_path, quick):
    """Of Koi and koi, written beside each other, many disks keep the one written last."""
    one = case_folder(tmp_path / "a")
    other = one.rename(tmp_path / "a" / "Koi_Pond")
    with pytest.raises(InputError) as error:
        write_reports([case_folder(tmp_path / "b"), other], tmp_path / "out", draws=DRAWS)
    assert [(p.place, p.value) for p in error.value.problems] == [("CASE", "koi_pond"), ("CASE", "Koi_Pond")]


def test_list_of_waters():
    waters = [water_of(blind()), water_of(koi())]
    text = Reader(render_ponds(waters, DRAWS, 1)).text
    assert "Nets, buckets, boots and water carry flukes and their eggs" in text
    assert headline(koi().decision) in text
    assert headline(blind().decision) in text
    assert TITLE in text
    assert text.index(koi().case.title) < text.index(TITLE)  # a dose before none
    assert fetched(render_ponds(waters[1:], DRAWS, 1)) == ["koi_pond/report.html"]
    assert [w.name for w in in_order(waters)] == ["koi_pond", "blind"]


def test_walk_from_the_cleanest_to_a_suspected_virus():
    ill = replace(koi().case, name="ill", findings=replace(koi().case.findings, other=("virus_suspected",)))
    sick = replace(blind(), case=replace(blind_case(), findings=ill.findings))
    assert cleanest_first([water_of(sick), water_of(koi())])[-1].name == "blind"
    assert [w.name for w in cleanest_first([water_of(koi()), water_of(blind())])] == ["blind", "koi_pond"]

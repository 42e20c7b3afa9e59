"""Many cases: the same answers for any number of workers, a stopped run that goes on, problems told together."""

from __future__ import annotations

import json
import os
import pickle
import shutil
import signal
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from click.testing import CliRunner

import burden.report.write as write
from burden.cli import main
from burden.io import read_case
from burden.report.files.folder import MARKER
from burden.report.files.unfinished import Unfinished, code_of, program
from burden.report.write import write_reports
from burden.utils.errors import BurdenError, InputError, Problem
from burden.utils.parallel import cluster, each, processes
from burden.utils.progress import listening, report_progress

DATA = Path(__file__).parents[2] / "simulated_data"
NAMES = ("quarantine_tank", "estate_pond")
DRAWS = 20


def cases_in(folder: Path, names=NAMES) -> list[Path]:
    """Cases nobody has looked at: the report is whole and quickly made, since no dose can be recommended."""
    left_out = shutil.ignore_patterns("samples.csv", "report", "truth.toml")
    return [Path(shutil.copytree(DATA / name, folder / name, ignore=left_out)) for name in names]


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def double(x: int) -> int:
    if x < 0:
        raise ValueError("below nothing")
    return 2 * x


@pytest.mark.parametrize("workers", [1, 2])
def test_each_item_once_and_an_error_is_raised(workers):
    with processes(workers) as executor:
        assert dict(each(double, range(5), executor)) == {i: 2 * i for i in range(5)}
        with pytest.raises(ValueError, match="below nothing"):
            list(each(double, [1, -1], executor))


def test_a_case_survives_the_way_to_another_process():
    for name in ("koi_pond", *NAMES):
        case = read_case(DATA / name)
        assert pickle.loads(pickle.dumps(case)) == case


@pytest.fixture(scope="module")
def alone(tmp_path_factory, each_case_once):
    folder = tmp_path_factory.mktemp("alone")
    write_reports(cases_in(folder), folder / "out", draws=DRAWS)
    return everything_in(folder / "out")


def slowly(x: int) -> tuple[int, int]:
    time.sleep(0.1)
    return os.getpid(), double(x)


def program_of_nobody() -> str:
    return str(os.getpid())


@pytest.fixture(scope="module")
def address():
    """A scheduler and two workers, each a process of its own, on this machine."""
    distributed = pytest.importorskip("distributed", reason="dask.distributed is not installed: the extra `cluster`")
    with (
        warnings.catch_warnings(action="ignore"),  # its own, of loops and of ports
        distributed.LocalCluster(2, threads_per_worker=1, dashboard_address=None, scheduler_port=0) as both,
    ):
        yield both.scheduler_address


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_of_two_writes_the_same_bytes_though_a_worker_is_lost_and_another_comes(tmp_path, alone, address):
    with cluster(address, program) as executor:
        ran = {}
        for i, (process, answer) in each(slowly, range(12), executor):
            ran[i] = answer
            if len(ran) == 2:
                os.kill(process, signal.SIGKILL)
        assert ran == {i: 2 * i for i in range(12)}
        with pytest.raises(ValueError, match="below nothing"):
            list(each(double, [1, -1], executor))
    (folder,), out = cases_in(tmp_path, NAMES[:1]), tmp_path / "out"
    words = ["report", str(folder), "--out", str(out), "--draws", str(DRAWS), "--quiet", "--scheduler", address]
    found = CliRunner().invoke(main, words)
    assert found.exit_code == 0, found.output
    here = {name.partition("/")[2]: content for name, content in alone.items() if name.startswith(folder.name)}
    there = everything_in(out)
    assert there.keys() - here.keys() <= {MARKER}
    assert here.items() <= there.items()


@pytest.mark.filterwarnings("ignore")
def test_a_worker_with_another_program_is_refused(address):
    with cluster(address, program_of_nobody) as executor, pytest.raises(BurdenError, match="another version"):
        list(each(double, [1], executor))


@pytest.mark.parametrize("said", ["somewhere", "tcp://host", "file:///etc/passwd", "tcp://127.0.0.1:1 --workers 2"])
def test_an_address_that_cannot_be_one_is_refused_before_it_is_tried(tmp_path, said):
    words = ["report", *map(str, cases_in(tmp_path)), "--out", str(tmp_path / "out"), "--scheduler", *said.split()]
    found = CliRunner().invoke(main, [*words, "--json"])
    assert found.exit_code == 2
    assert [p["value"] for p in json.loads(found.stdout)["problems"]] == ["2" if "workers" in said else said]


def test_a_stopped_run_goes_on(tmp_path, alone, monkeypatch):
    """The first report is kept when the second is broken off; the same command makes the second alone."""
    cases, made, real = cases_in(tmp_path), [], write.report_of

    def noted(case, *args, **options):
        made.append(case.name)
        if len(made) == 2:
            raise KeyboardInterrupt
        return real(case, *args, **options)

    monkeypatch.setattr(write, "report_of", noted)
    with pytest.raises(KeyboardInterrupt):
        write_reports(cases, tmp_path / "out", draws=DRAWS)
    assert not (tmp_path / "out").exists()
    write_reports(cases, tmp_path / "out", draws=DRAWS)
    assert made == [NAMES[0], NAMES[1], NAMES[1]]
    assert everything_in(tmp_path / "out") == alone
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["out", *NAMES])


@pytest.mark.usefixtures("each_case_once")
def test_what_is_kept_serves_the_very_same_case_and_options_alone(tmp_path):
    folder = cases_in(tmp_path, NAMES[:1])[0]
    case = read_case(folder)
    made = write.report_of(case, DRAWS, 1, False)
    with Unfinished(tmp_path / "out", "20 draws") as kept:
        kept.put(case, made.files, made.water)
    aside = kept.aside.path

    def served(options="20 draws", case=case) -> bool:
        """Whether a report is served; whatever was taken over for it is thrown away again."""
        with Unfinished(tmp_path / "out", options) as again:
            found = again.water(case) is not None
            again.notes.clear()
        assert [p for p in tmp_path.iterdir() if p.name.startswith(".")] == [aside]
        return found

    assert [served(), served("21 draws")] == [True, False]
    page = aside / "new" / case.name / "report.html"
    whole = page.read_bytes()
    page.unlink()
    assert not served()  # somebody cleared a part of it away
    page.symlink_to("/etc/hostname")
    assert not served()  # or led it elsewhere
    page.unlink()
    page.write_bytes(whole.replace(b"fluke", b"louse", 1))
    assert not served()  # or wrote into it
    page.write_bytes(whole)
    assert served()
    (note,) = (aside / "notes").iterdir()
    said = note.read_bytes()
    for other in (said[: len(said) // 2], b"[]", b'{"of": 1}', said.replace(b'"files"', b'"fills"')):
        note.write_bytes(other)
        assert not served()  # killed in the midst of writing it, or not ours
    note.write_bytes(said)
    toml = folder / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("count = ", "count = 1"), encoding="utf-8")
    assert not served(case=read_case(folder))


def test_problems_of_a_worker_reach_the_caller_and_nothing_is_kept(tmp_path, monkeypatch):
    def refuse(case, *_):
        raise InputError([Problem("case.toml", case.name, "x", "y", "z")])

    monkeypatch.setattr("burden.decision.assess", refuse)
    with ThreadPoolExecutor(2) as executor, pytest.raises(InputError) as error:
        write_reports(cases_in(tmp_path), tmp_path / "new" / "here" / "out", draws=DRAWS, executor=executor)
    assert sorted(problem.place for problem in error.value.problems) == sorted(NAMES)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(NAMES)


def test_a_change_of_code_or_evidence_is_seen_though_the_version_is_the_same(tmp_path):
    """What an older version of the code made is not taken over: any file that differs, or another name, tells."""
    prints = []
    for number, (name, text) in enumerate([("a.py", "x = 1"), ("a.py", "x = 2"), ("b.py", "x = 1"), ("a.py", "x = 1")]):
        package = tmp_path / str(number) / "package"
        (package / "__pycache__").mkdir(parents=True)
        (package / "__pycache__" / "a.pyc").write_bytes(bytes([number]))
        (package / name).write_text(text, encoding="utf-8")
        prints.append(code_of(package))
    assert prints[0] == prints[3]
    assert len(set(prints)) == 3


def talkative(x: int) -> int:
    report_progress("a stage of one case alone")
    return x


@pytest.mark.parametrize("pool", [False, True])
def test_of_many_items_a_listener_hears_how_far_all_are(pool):
    """`burden group` showed the stages of one pond, and with workers nothing until the first was done."""
    heard: list[tuple[str, float | None]] = []
    with ThreadPoolExecutor(1) as some, listening(lambda *told: heard.append(told)):
        list(each(talkative, [1, 2, 3, 4], some if pool else None, "4 ponds"))
    assert {stage for stage, _ in heard} == {"4 ponds"}
    shares = [share for _, share in heard]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0 if pool else 0.75)


def test_one_item_alone_is_told_by_its_own_stages():
    heard: list[str] = []
    with listening(lambda stage, _: heard.append(stage)):
        list(each(talkative, [1], None, "1 pond"))
    assert "a stage of one case alone" in heard

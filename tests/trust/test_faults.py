"""What is wrong with the machine, not with the case: it is said, and earlier results stay whole."""

from __future__ import annotations

import errno
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from report_cases import KOI

import burden
from burden.cli import main
from burden.io import read_case
from burden.report import write
from burden.report.files import folder as report_folder
from burden.report.files.folder import MARKER, is_ours, write_folder

OLD = {"report.html": b"old", "tables/a.csv": b"old"}
#: writes one report over the other, each of its own content throughout, until it is killed
REWRITE = """
import sys
from pathlib import Path
from burden.report.files.folder import write_folder
for i in range(10**6):
    write_folder(Path(sys.argv[1]), {f"part/{k}.csv": b"%d" % i * 2000 for k in range(20)})
"""


def command(*words: object, **environment: str | None) -> subprocess.CompletedProcess:
    """Run the program as its own process, some of the environment set, or gone (None)."""
    kept = {**os.environ, "OMP_NUM_THREADS": "1", **environment}
    kept = {name: value for name, value in kept.items() if value is not None}
    return subprocess.run(
        [sys.executable, "-m", "burden", *map(str, words)], capture_output=True, env=kept, check=False
    )


def without_traceback(found: subprocess.CompletedProcess, code: int) -> str:
    said = found.stderr.decode("utf-8", "replace")
    assert found.returncode == code, said
    assert "Traceback" not in said
    return said


def whole(folder: Path) -> bool:
    """Whether a report is one run's alone, none of its files missing."""
    names = [line.split(" ", 1)[1] for line in (folder / MARKER).read_text(encoding="utf-8").splitlines()[1:]]
    contents = {(folder / name).read_bytes() for name in names}
    return is_ours(folder) and len(names) == 20 and len(contents) == 1


@pytest.mark.parametrize("seed", range(3))
def test_killed_at_any_moment_an_earlier_report_is_whole(tmp_path, seed):
    """It stands in its place, or, killed between two renames, aside, and the next run puts it back."""
    target = tmp_path / "r"
    with subprocess.Popen([sys.executable, "-c", REWRITE, target]) as process:
        while not (target / MARKER).exists():
            time.sleep(0.01)
        time.sleep(random.Random(seed).uniform(0, 0.2))
        process.send_signal(signal.SIGKILL)
    places = [target] if target.exists() else list(tmp_path.glob(".r-*/old"))
    assert [whole(place) for place in places] == [True]


#: writes a report over another, and is killed at the second of the two renames that put it in place
HALF_PUT = """
import os, sys, signal
from pathlib import Path
from burden.report.files.folder import write_folder
real = os.rename
def rename(source, target):
    if Path(source).name == "new":
        os.kill(os.getpid(), signal.SIGKILL)
    real(source, target)
os.rename = rename
write_folder(Path(sys.argv[1]), {"report.html": b"newer"})
"""


def killed_between_the_renames(target: Path) -> Path:
    """Return the folder such a run leaves, the earlier report in it."""
    subprocess.run([sys.executable, "-c", HALF_PUT, target], check=False)
    (aside,) = target.parent.glob(f".{target.name}-*")
    assert is_ours(aside / "old")
    assert not target.exists()
    return aside


def test_a_report_left_aside_by_a_killed_run_is_put_back(tmp_path):
    target = tmp_path / "r"
    write_folder(target, OLD)
    (target / "notes.txt").write_text("mine", encoding="utf-8")
    killed_between_the_renames(target)
    write_folder(target, {"report.html": b"new"})
    assert [p.name for p in tmp_path.iterdir()] == ["r"]
    assert {p.name for p in target.iterdir()} == {MARKER, "report.html", "notes.txt"}


def test_a_report_left_aside_is_not_put_back_in_the_place_of_another(tmp_path):
    """Of `r-2` a killed run left the report aside; `r` is written for the first time."""
    write_folder(tmp_path / "r-2", OLD)
    aside = killed_between_the_renames(tmp_path / "r-2")
    write_folder(tmp_path / "r", {"report.html": b"new"})
    assert is_ours(aside / "old")
    write_folder(tmp_path / "r-2", {"report.html": b"new"})
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r", "r-2"]


@pytest.mark.parametrize("at", ["os.open", "os.mkdir", "os.rename", "os.fsync", "os.link"])
def test_a_full_disk_is_told_and_the_earlier_report_is_whole(tmp_path, monkeypatch, at):
    target = tmp_path / "r"
    write_folder(target, OLD)
    (target / "notes.csv").write_bytes(b"mine")
    monkeypatch.setattr(write, "report_of", lambda *_: write.Made({"report.html": b"new"}, object()))

    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    real = os.open

    def full_for_writing(path, flags, *more, **others):
        return full() if flags & os.O_CREAT else real(path, flags, *more, **others)

    with monkeypatch.context() as patch:
        patch.setattr(at, full_for_writing if at == "os.open" else full)
        if at == "os.link":  # a disk without second names: own files are copied, and that fails
            patch.setattr(shutil, "copy2", full)
        found = CliRunner().invoke(main, ["report", str(KOI), "--out", str(target), "--draws", "40"])
    assert found.exit_code == 1
    assert found.stderr.splitlines()[-1] == "burden: [Errno 28] No space left on device"
    there = {str(p.relative_to(target)): p.read_bytes() for p in target.rglob("*.[hc]*") if p.is_file()}
    assert there == {**OLD, "notes.csv": b"mine"}
    assert [p.name for p in tmp_path.iterdir()] == ["r"]


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_full_disk_leaves_an_earlier_figure_whole(tmp_path, monkeypatch, kind):
    """As many bytes as a half-written figure has, then no more."""
    chart = tmp_path / f"effort.{kind}"
    words = ["sampling", "mean", "--mean", "100", "--k", "1", "--precision", "0.5", "--handling", "3", "--plot", chart]
    assert CliRunner().invoke(main, [*map(str, words)]).exit_code == 0
    before = chart.read_bytes()

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    assert CliRunner().invoke(main, [*map(str, words)]).exit_code == 1
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {chart.name: before}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here: a device on which every write fails")
@pytest.mark.parametrize("words", [("agents",), ("agents", "--json")])
def test_a_full_disk_under_standard_output(words):
    with open("/dev/full", "wb") as full:
        found = subprocess.run(
            [sys.executable, "-m", "burden", *words], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert "No space left" in without_traceback(found, 1)


def test_a_file_that_grows_too_large_is_no_case_folder(tmp_path):
    """The system lets no file grow over a hundred bytes: the folder begun is taken away again."""
    import resource

    found = subprocess.run(
        [sys.executable, "-m", "burden", "new", str(tmp_path / "pond")],
        capture_output=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100)),
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )
    assert found.returncode in (1, 2)
    without_traceback(found, found.returncode)
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_told_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr(report_folder.os, "access", lambda path, mode: Path(path) != tmp_path)
    monkeypatch.setattr("burden.decision.assess", lambda *_: pytest.fail("worked for nothing"))
    found = CliRunner().invoke(main, ["report", str(KOI), "--out", str(tmp_path / "a" / "b")])
    assert found.exit_code == 2
    assert f"{tmp_path} is not" in found.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_place_below_a_file_is_told_before_the_work(tmp_path):
    (tmp_path / "letter").write_text("x", encoding="utf-8")
    found = CliRunner().invoke(main, ["report", str(KOI), "--out", str(tmp_path / "letter" / "r")])
    assert (found.exit_code, "a place that can be written" in found.stderr) == (2, True)


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "ascii:strict"},
        {"PYTHONIOENCODING": "cp437:strict", "NO_COLOR": "1"},
    ],
    ids=["C", "ascii", "cp437"],
)
def test_an_odd_locale_loses_no_answer(environment):
    """Words may lose a sign a terminal cannot show; JSON is the same bytes in every locale."""
    without_traceback(command("check", KOI, **environment), 0)
    odd, plain = (command("check", KOI, "--json", **more) for more in (environment, {}))
    assert odd.stdout == plain.stdout
    assert without_traceback(odd, 0) == without_traceback(plain, 0)


def test_no_word_or_number_hangs_on_the_locale():
    """No locale is set, so Python keeps to its own; nothing asks for one either: in Turkish an I is none of ours."""
    package = Path(burden.__file__).parent
    asked = [p for p in package.rglob("*.py") if re.search(r"import locale|setlocale|strftime", p.read_text("utf-8"))]
    assert asked == []


def test_no_display_and_no_home(tmp_path):
    (tmp_path / "letter").write_text("x", encoding="utf-8")
    bare = {
        "HOME": str(tmp_path / "letter" / "nowhere"),
        "DISPLAY": None,
        "XDG_CONFIG_HOME": None,
        "XDG_CACHE_HOME": None,
    }
    chart = tmp_path / "law.svg"
    found = command("parasites", "dactylogyrus", "--plot", chart, MPLBACKEND="nonsense", **bare)
    without_traceback(found, 0)
    assert chart.read_bytes().lstrip().startswith(b"<?xml")


@pytest.mark.skipif(os.name != "posix", reason="a shell of ours closes the channels")
@pytest.mark.parametrize(
    ("closed", "words", "code"),
    [
        ("2>&-", "sampling find --prevalence 0.05", 0),
        ("2>&-", "sampling find --prevalence 5", 2),
        ("<&-", "new pond --ask", 2),
        ("<&- >&- 2>&-", "sampling find --prevalence 0.05", 0),
    ],
)
def test_a_closed_channel_is_no_fault_of_ours(tmp_path, closed, words, code):
    """A service or a window without a console may have no channel to be told or asked on."""
    line = f'exec "{sys.executable}" -m burden {words} {closed}'
    found = subprocess.run(["sh", "-c", line], capture_output=True, cwd=tmp_path, check=False)
    assert "the program failed" not in without_traceback(found, code)
    assert bool(found.stdout) == (code == 0 and ">&- 2" not in closed)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="names are bytes there alone")
def test_a_folder_whose_name_is_no_text(tmp_path):
    """As an archive packed elsewhere leaves it: Süd in Windows' own letters."""
    named = os.fsdecode(os.fsencode(tmp_path) + b"/S\xfcd")
    shutil.copytree(KOI, named, ignore=shutil.ignore_patterns("report"))
    assert read_case(named).name == "S\ufffdd"
    for folder, code in ((named, 0), (named + "x", 2)):
        found = command("check", folder, "--json")
        without_traceback(found, code)
        assert json.loads(found.stdout)["ok"] is (code == 0)


def test_a_fault_nobody_foresaw_is_told_in_a_line(monkeypatch):
    """A letter that cannot be written carries the whole page it stands on."""

    def broken(*_, **__):
        "\udcff".join(["page"] * 50_000).encode("utf-8")

    monkeypatch.setattr("burden.sampling.find", broken)
    found = CliRunner().invoke(main, ["sampling", "find", "--prevalence", "0.05"])
    kept = Path(re.search(r"Send (\S+\.txt)", found.stderr)[1])
    assert (found.exit_code, "UnicodeEncodeError" in found.stderr) == (1, False)
    assert "UnicodeEncodeError" in kept.read_text(encoding="utf-8")
    assert (len(found.stderr) < 500, kept.stat().st_size < 50_000) == (True, True)
    kept.unlink()

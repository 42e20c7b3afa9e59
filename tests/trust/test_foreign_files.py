"""Links, pipes, devices and planted state: nothing that is not ours is read, followed, taken over or removed."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from broken_cases import write_case
from click.testing import CliRunner

import burden
from burden.cli import main
from burden.io.aside import Aside, place_of
from burden.io.safe_files import read_plain
from burden.report.files.folder import MARKER, is_ours, refuse_foreign, write_folder
from burden.utils.parallel import processes

pytestmark = pytest.mark.skipif(os.name != "posix", reason="links, pipes and devices as this system has them")
NEW = {"report.html": b"new", "tables/a.csv": b"1"}


def run(*words: object, **environment: str) -> subprocess.CompletedProcess:
    """Run the program as its own process; it ends within five minutes of a busy machine or has hung."""
    env = {**os.environ, "OMP_NUM_THREADS": "1", **environment}
    cwd = environment.get("PWD")
    return subprocess.run(
        [sys.executable, "-m", "burden", *map(str, words)],
        capture_output=True,
        env=env,
        cwd=cwd,
        check=False,
        timeout=300,
    )


# --- a report's folder


def test_a_link_in_the_place_of_a_report_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "r").symlink_to(tmp_path / "elsewhere")
    assert [p.expected for p in refuse_foreign(tmp_path / "r")] == ["a folder, no link to one"]
    (tmp_path / "r").unlink()
    (tmp_path / "r").symlink_to("nowhere")
    assert refuse_foreign(tmp_path / "r")


def test_what_is_not_ours_in_a_report_stays_as_it_is(tmp_path):
    """Links stay links, empty folders and pipes stay, nothing is opened."""
    folder = tmp_path / "r"
    write_folder(folder, NEW)
    (tmp_path / "secret").write_text("secret")
    (folder / "link").symlink_to(tmp_path / "secret")
    (folder / "broken").symlink_to("nowhere")
    (folder / "folders").symlink_to(tmp_path, target_is_directory=True)
    (folder / "empty" / "inner").mkdir(parents=True)
    os.mkfifo(folder / "pipe")
    (folder / "photos").mkdir()
    (folder / "photos" / "gill.jpg").write_bytes(b"photo")
    write_folder(folder, {"report.html": b"newer"})
    assert {name: os.readlink(folder / name) for name in ("link", "broken", "folders")} == {
        "link": str(tmp_path / "secret"), "broken": "nowhere", "folders": str(tmp_path),
    }  # fmt: skip
    assert (folder / "empty" / "inner").is_dir()
    assert (folder / "pipe").is_fifo()
    assert (folder / "photos" / "gill.jpg").read_bytes() == b"photo"
    assert not (folder / "tables").exists()  # ours, and of the earlier report alone
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r", "secret"]


def test_a_file_of_ours_that_was_changed_is_kept_beside_the_new_one(tmp_path):
    folder = tmp_path / "r"
    write_folder(folder, NEW)
    (folder / "report.html").write_bytes(b"with a note of my own")
    (folder / "tables" / "a.csv").unlink()
    (folder / "tables" / "a.csv").symlink_to("/etc/hostname")
    assert sorted(write_folder(folder, NEW)) == ["kept/report.html", "kept/tables/a.csv"]
    assert (folder / "report.html").read_bytes() == b"new"
    assert (folder / "kept" / "report.html").read_bytes() == b"with a note of my own"
    assert (folder / "kept" / "tables" / "a.csv").is_symlink()
    (folder / "report.html").write_bytes(b"another note")
    assert write_folder(folder, NEW) == ["kept 2/report.html"]
    assert (folder / "kept" / "report.html").read_bytes() == b"with a note of my own"


def test_own_files_give_way_to_new_ones_of_their_name(tmp_path):
    folder = tmp_path / "r"
    write_folder(folder, {"report.html": b"1"})
    (folder / "tables").write_text("a file of mine")
    (folder / "index.html").mkdir()
    (folder / "index.html" / "x").write_text("mine")
    write_folder(folder, {**NEW, "index.html": b"index"})
    assert (folder / "kept" / "tables").read_text() == "a file of mine"
    assert (folder / "kept" / "index.html" / "x").read_text() == "mine"
    assert (folder / "index.html").read_bytes() == b"index"


def test_a_report_of_the_first_release_is_replaced(tmp_path):
    """Its marker lists names without digests."""
    folder = tmp_path / "r"
    folder.mkdir()
    (folder / MARKER).write_text("burden report 1: this folder is replaced\nreport.html\ntables/old.csv\n")
    (folder / "report.html").write_bytes(b"old")
    (folder / "mine.txt").write_bytes(b"mine")
    assert write_folder(folder, NEW) == []
    assert sorted(p.name for p in folder.iterdir()) == [MARKER, "mine.txt", "report.html", "tables"]


@pytest.mark.parametrize("plant", ["pipe", "device", "link", "bytes", "folder", "large"])
def test_a_marker_that_is_none_of_ours_keeps_nobody_waiting(tmp_path, plant):
    folder, marker = tmp_path / "r", tmp_path / "r" / MARKER
    folder.mkdir()
    write_folder(tmp_path / "real", NEW)
    make = {
        "pipe": lambda: os.mkfifo(marker),
        "device": lambda: marker.symlink_to("/dev/zero"),
        "link": lambda: marker.symlink_to(tmp_path / "real" / MARKER),
        "bytes": lambda: marker.write_bytes(b"\xff\xfe"),
        "folder": marker.mkdir,
        "large": lambda: marker.write_bytes(b"burden report 2\n" + b"x" * 30_000_000),
    }
    make[plant]()
    assert not is_ours(folder)
    assert [p.place for p in refuse_foreign(folder)] == ["--out"]


# --- folders aside


@pytest.mark.parametrize("plant", ["folder", "link", "marked elsewhere", "pipe"])
def test_a_folder_aside_that_is_not_ours_is_left_alone(tmp_path, plant):
    target, planted = place_of(tmp_path / "r"), tmp_path / ".r-0123abcd"
    mark = planted / ".burden-aside"
    if plant == "link":
        (tmp_path / "elsewhere").mkdir()
        (tmp_path / "elsewhere" / "letter").write_text("mine")
        planted.symlink_to(tmp_path / "elsewhere")
    else:
        planted.mkdir()
        (planted / "letter").write_text("mine")
    if plant == "marked elsewhere":  # the mark of another folder, copied
        with Aside(target) as aside:
            shutil.copy(aside.path / ".burden-aside", mark)
    if plant == "pipe":
        os.mkfifo(mark)
    (tmp_path / ".r-unfinished").mkdir()
    (tmp_path / ".r-unfinished" / "letter").write_text("mine")
    write_folder(target, NEW)
    assert (planted / "letter").read_text() == "mine"
    assert (tmp_path / ".r-unfinished" / "letter").read_text() == "mine"


def test_a_killed_runs_folder_is_removed_and_a_living_ones_is_not(tmp_path):
    target = place_of(tmp_path / "r")
    code = "import sys,time; from pathlib import Path; from burden.io.aside import *\n"
    code += "with Aside(place_of(Path(sys.argv[1]))) as a: print(a.path, flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", code, target], stdout=subprocess.PIPE, text=True) as process:
        other = Path(process.stdout.readline().strip())
        write_folder(target, NEW)
        assert other.is_dir()  # it lives
        process.send_signal(signal.SIGKILL)
    write_folder(target, NEW)
    assert [p.name for p in tmp_path.iterdir()] == ["r"]


def test_two_runs_to_one_target_leave_one_whole_report_and_nothing_else(tmp_path):
    code = """
import sys
from pathlib import Path
from burden.report.files.folder import write_folder
for i in range(30):
    write_folder(Path(sys.argv[1]), {f"part/{k}.csv": sys.argv[2].encode() for k in range(5)})
"""
    runs = [subprocess.Popen([sys.executable, "-c", code, tmp_path / "r", name]) for name in "ab"]
    assert [process.wait(60) for process in runs] == [0, 0]
    assert [p.name for p in tmp_path.iterdir()] == ["r"]
    assert len({p.read_bytes() for p in (tmp_path / "r" / "part").iterdir()}) == 1


# --- what is read


@pytest.mark.parametrize("name", ["case.toml", "samples.csv", "deaths.csv", "water.csv"])
def test_a_pipe_or_a_device_in_a_case_is_refused_at_once(tmp_path, name):
    folder = write_case(tmp_path / "pond")
    if name == "water.csv":
        text = (
            (folder / "case.toml")
            .read_text(encoding="utf-8")
            .replace("temperature_c = 18.0", 'temperature_c = "water.csv"')
        )
        assert "water.csv" in text
        (folder / "case.toml").write_text(text, encoding="utf-8")
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    found = CliRunner().invoke(main, ["check", str(folder)])
    assert (found.exit_code, "a file of the case folder" in found.output) == (2, True)
    (folder / name).unlink()
    (folder / name).symlink_to("/dev/zero")
    assert CliRunner().invoke(main, ["check", str(folder)]).exit_code == 2


def test_a_plain_file_grows_no_larger_than_it_may(tmp_path):
    (tmp_path / "f").write_bytes(b"12345")
    assert read_plain(tmp_path / "f", 5) == b"12345"
    for bad, most in ((tmp_path / "f", 4), (tmp_path, 5), (Path("/dev/zero"), 5)):
        with pytest.raises(OSError, match=r"larger|plain|directory"):
            read_plain(bad, most)


# --- the current folder


def test_no_settings_of_the_current_folder_or_the_user_reach_a_figure(tmp_path):
    """A matplotlibrc that asks for TeX and another font; a program in the path that would be started for it."""
    here, home = tmp_path / "here", tmp_path / "home"
    for folder in (here, home / ".config" / "matplotlib", home / "bin"):
        folder.mkdir(parents=True)
    settings = "text.usetex: True\nfont.size: 20\naxes.facecolor: red\nnonsense: 1\n"
    for folder in (here, home / ".config" / "matplotlib"):
        (folder / "matplotlibrc").write_text(settings)
    for program in ("latex", "dvipng", "fc-list"):
        (home / "bin" / program).write_text(f"#!/bin/sh\ntouch {tmp_path}/started\n")
        (home / "bin" / program).chmod(0o755)
    (here / "numpy.py").write_text(f"open({str(tmp_path / 'started')!r}, 'w')")
    words = ("sampling", "mean", "--mean", 100, "--k", 1, "--precision", 0.5, "--handling", 3, "--plot")
    package = str(Path(burden.__file__).parents[1])
    more = {"HOME": str(home), "PATH": f"{home / 'bin'}:{os.environ['PATH']}", "PWD": str(here), "PYTHONPATH": package}
    more |= {"XDG_CONFIG_HOME": str(home / ".config"), "XDG_CACHE_HOME": str(home / ".cache")}
    found = run(*words, tmp_path / "a.svg", **more)
    assert (found.returncode, found.stderr) == (0, b"")
    assert not (tmp_path / "started").exists()
    run(*words, tmp_path / "b.svg")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_settings_of_a_notebook_stay_out_of_a_figure_and_in_force_after_it(tmp_path):
    import matplotlib

    from burden.report.figures.style import figure_of_size, svg_bytes

    def draw():
        figure = figure_of_size(2, 1)
        figure.subplots().set_title("title")
        return figure

    plain = svg_bytes(draw, "a")
    with matplotlib.rc_context({"savefig.facecolor": "red", "svg.image_inline": False, "font.size": 30}):
        assert svg_bytes(draw, "a") == plain
        assert matplotlib.rcParams["font.size"] == 30


def test_a_figure_replaces_a_link_of_its_name(tmp_path):
    (tmp_path / "mine").write_text("mine")
    (tmp_path / "x.svg").symlink_to(tmp_path / "mine")
    words = ["sampling", "mean", "--mean", "100", "--k", "1", "--precision", "0.5", "--handling", "3", "--plot"]
    assert CliRunner().invoke(main, [*words, str(tmp_path / "x.svg")]).exit_code == 0
    assert (tmp_path / "mine").read_text() == "mine"
    assert not (tmp_path / "x.svg").is_symlink()


# --- workers


def nap(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def parent_of_workers(pids) -> None:
    with processes(2) as executor:
        for pid in executor.map(nap, [0.1, 0.1]):
            pids.put(pid)
        list(executor.map(nap, [60, 60]))


def alive(pid: int) -> bool:
    try:
        return "zombie" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to see processes in")
def test_workers_end_with_a_parent_that_is_killed():
    spawn = multiprocessing.get_context("spawn")
    pids = spawn.Queue()
    parent = spawn.Process(target=parent_of_workers, args=(pids,))
    parent.start()
    workers = {pids.get(timeout=300) for _ in range(2)}
    assert all(map(alive, workers))
    time.sleep(0.5)  # both at their long work
    parent.kill()
    parent.join()
    until = time.monotonic() + 60  # they end at once; a busy machine sees it later
    while any(map(alive, workers)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(alive, workers))

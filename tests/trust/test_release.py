"""What a stranger installs: a wheel built from the checkout holds the package, its templates and the demo cases."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

import burden
from burden.cli import main
from burden.cli.cases import DEMOS

pytest.importorskip("build", reason="the wheel is built by `build`, of the test extra")
ROOT = Path(__file__).parents[2]
TOP = ("burden", "simulated_data", "pyproject.toml", "README.md", "LICENSE")


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The wheel, built without a network from a copy of what the repository holds, and laid out as pip lays it out."""
    source, place = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("site")
    for name in TOP:
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        left = ("__pycache__", *(["report"] if name == "simulated_data" else []))
        more = {"ignore": shutil.ignore_patterns(*left)} if (ROOT / name).is_dir() else {}
        copy(ROOT / name, source / name, **more)
    words = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", source / "dist", source]
    subprocess.run([*map(str, words)], check=True, capture_output=True, cwd=source)
    (wheel,) = (source / "dist").glob("*.whl")
    with zipfile.ZipFile(wheel) as file:
        file.extractall(place)
    return place


def test_a_stranger_begins_a_demo_case_and_gets_its_estimate(installed, tmp_path):
    """From the wheel alone, in a folder that knows no checkout."""
    env = {**os.environ, "PYTHONPATH": str(installed), "OMP_NUM_THREADS": "1"}

    def run(*words: str) -> str:
        code = "import burden, sys; assert burden.__file__.startswith(sys.argv.pop(1)), burden.__file__\n"
        code += "from burden.__main__ import run; run()"
        found = subprocess.run([sys.executable, "-c", code, str(installed), *words], capture_output=True, text=True,
                               cwd=tmp_path, env=env, check=False)  # fmt: skip
        assert found.returncode == 0, found.stderr
        return found.stdout

    assert "0.2.0" in run("--version")
    run("new", "pond", "--demo", "estate_pond")  # of the three the quickest to report
    assert "dactylogyrus" in run("check", "pond")
    (tmp_path / "pond" / "samples.csv").unlink()  # of a pond nobody looked at a report is as whole, and soon made
    run("report", "pond", "--draws", "20")
    assert (tmp_path / "pond" / "report" / "report.html").stat().st_size > 10_000


def test_the_wheel_holds_what_the_package_reads_and_no_tests(installed):
    held = {p.relative_to(installed).as_posix() for p in installed.rglob("*") if p.is_file()}
    mine = [p for p in (ROOT / "burden").rglob("*") if p.is_file() and "__pycache__" not in p.parts]
    assert {p.relative_to(ROOT).as_posix() for p in mine} <= held
    assert {f"burden/demo/{name}/case.toml" for name in DEMOS} <= held
    assert {name.split("/")[0] for name in held} == {"burden", f"burden-{burden.__version__}.dist-info"}


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_case_is_a_copy_that_reads(tmp_path, name):
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), "--demo", name])
    assert found.exit_code == 0, found.output
    for path in (tmp_path / "pond").iterdir():
        assert path.read_bytes() == (ROOT / "simulated_data" / name / path.name).read_bytes()
    assert not (tmp_path / "pond" / "truth.toml").exists()
    assert CliRunner().invoke(main, ["check", str(tmp_path / "pond")]).exit_code == 0


def test_a_demo_takes_no_other_options(tmp_path):
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), "--demo", "koi_pond", "--count", "3"])
    assert (found.exit_code, list(tmp_path.iterdir())) == (2, [])


def test_one_version():
    assert (
        tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == burden.__version__
    )
    assert f"**{burden.__version__}**" in (ROOT / "README.md").read_text(encoding="utf-8")

"""How the tests share the machine, and what several would each work out anew for one case.

`each_case_once` is for tests that compare what is shown of one case; that the same case, draws and seed give the same
estimate and the same decision is tested where nothing is kept. Files that show the same cases run in one process.
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from importlib import import_module
from inspect import signature
from pathlib import Path, PurePosixPath
from typing import Any

import pytest
from hypothesis import settings

__all__ = ["each_case_once", "pytest_collection_modifyitems", "pytest_xdist_make_scheduler"]

# as many workers as cores, so one thread each: NumPy's library would start more. It reads this when it is loaded; the
# workers of xdist and every process a test starts inherit it
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# a run starts some hundred processes, and without bytecode kept each would compile NumPy and its kin anew (6 s for
# 1.4). Where none is to be kept beside the code it is kept aside for the run: xdist's workers inherit the place
if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
    sys.pycache_prefix = tempfile.mkdtemp(prefix="burden-tests-bytecode-")
    sys.dont_write_bytecode = False
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix
    atexit.register(shutil.rmtree, sys.pycache_prefix, ignore_errors=True)

# the same examples in every run, however busy the machine: a failure is one of the code. Whoever looks for new ones
# asks for `--hypothesis-profile=default`
settings.register_profile("the same", deadline=None, derandomize=True)
settings.load_profile("the same")

#: files that take longest, the longest first [about 100 to 10 s of processor time]: a worker that begins one of them
#: last would let the others wait. The rest follow in the order of their names
_LONGEST = (
    *("test_estimate", "test_page_browser", "test_calibration", "test_cli", "test_style", "test_readme"),
    *("test_treatment_response", "test_forward", "test_visits", "test_report", "test_page", "test_parallel"),
    *("test_surfaces", "test_report_fonts", "test_counts_decide", "test_forecasts_study", "test_individuals"),
    *("test_release", "test_work", "test_faults", "test_regulation", "test_handling", "test_parasite_sheet"),
    *("test_elimination", "test_report_browser"),
)
#: files that show the same cases, by what they share: a process works each case out once
_TOGETHER = {
    **dict.fromkeys(("test_cli", "test_report", "test_page", "test_surfaces_agree"), "koi pond, 40 draws"),
    **dict.fromkeys(("test_report_fonts", "test_report_browser", "test_assessment"), "koi pond, 40 draws"),
    **dict.fromkeys(
        (f"test_report_{part}" for part in ("words", "tables", "calendar", "writing", "figures")), "koi pond, 40 draws"
    ),
    "test_readme": "koi pond, 40 draws",
    **dict.fromkeys(("test_visits", "test_surfaces"), "judged visits"),
}


def pytest_sessionstart(session: pytest.Session) -> None:
    """Let every second worker of a whole run read the test files from the last to the first.

    On a fresh machine nothing is compiled yet, and workers that read in one order compile all of it each: 11 s of 19.
    They meet half way, and each finds what the other has compiled.
    """
    worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0")
    if int(worker.removeprefix("gw")) % 2 and session.config.args_source is pytest.Config.ArgsSource.TESTPATHS:
        for path in sorted(Path(__file__).parent.glob("*/test_*.py"), reverse=True):
            if str(path.parent) not in sys.path:
                sys.path.insert(0, str(path.parent))  # as pytest itself does when it comes to the file
            with suppress(Exception, pytest.skip.Exception):  # said by pytest when it comes to the file
                import_module(path.stem)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Run the longest files first."""
    place = {stem: i for i, stem in enumerate(_LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(place)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep a file with one process, as `--dist=loadfile` does, and files that share cases with the same one."""
    if config.getoption("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class ByCases(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            return _TOGETHER.get(PurePosixPath(file).stem, file)

    return ByCases(config, log)


@pytest.fixture(scope="session", autouse=True)
def own_temporary_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a fault writes down, here or in a process that a test starts, goes with pytest's own files."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TMPDIR", str(tmp_path_factory.mktemp("faults")))
        patch.setattr(tempfile, "tempdir", None)
        yield


@pytest.fixture
def few_ponds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Estimate from a quarter of the usual ponds: for clear cases, and where no number is looked at."""
    from burden.inference.sampler import Effort

    monkeypatch.setattr(Effort, "for_draws", lambda draws, past=True: Effort(150, 400, 80.0))


@pytest.fixture(scope="module")
def each_case_once() -> Iterator[None]:
    """Keep estimates, decisions and forecasts by everything they were asked with, for all files that ask for this."""
    from burden.decision import assessment, grounds  # loads NumPy, which reads how many threads it may have
    from burden.inference import estimate

    with pytest.MonkeyPatch.context() as patch:
        kept = _kept(estimate.estimate)
        patch.setattr(estimate, "estimate", kept)
        patch.setattr(grounds, "estimate", kept)
        patch.setattr(assessment, "grounds_of", _kept(grounds.grounds_of))
        patch.setattr(assessment, "forecast_of", _kept(assessment.forecast_of))
        yield


#: what was worked out in this process, by the work and all it was asked with
_MADE: dict[tuple[str, str], Any] = {}


def _kept(work: Callable[..., Any]) -> Callable[..., Any]:
    """The same work; a case is known by all that it holds, which no two cases share by chance."""

    def of(*given: Any, **named: Any) -> Any:
        bound = signature(work).bind(*given, **named)
        bound.apply_defaults()
        asked = work.__qualname__, repr(bound.arguments)
        if asked not in _MADE:
            _MADE[asked] = work(*given, **named)
        return _MADE[asked]

    return of

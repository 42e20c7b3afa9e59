"""Visits the report tests share: each is worked out once a session."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from burden.case import Case
from burden.decision import Assessment, assess
from burden.io import read_case
from burden.report.files.folder import write_folder
from burden.report.page.index import render_ponds, water_of
from burden.report.write import report_files

KOI = Path(__file__).parents[1] / "simulated_data" / "koi_pond"
DRAWS = 40
#: what somebody may write into a title, by mistake or not
TITLE = "<script>alert('x')</script> & pond"
PAGES = ("koi_pond/report.html", "blind/report.html", "index.html")


@cache
def koi() -> Assessment:
    """A pond with a recommendation."""
    return assess(read_case(KOI), DRAWS)


def koi_as(case: Case) -> Assessment:
    """Decide the koi pond otherwise; pages are held against decisions here, so the burden is not estimated anew."""
    return assess(case, DRAWS, estimates=[replace(estimate, case=case) for estimate in koi().estimates])


def blind_case() -> Case:
    """The same pond, two parasite sets, nothing looked at and nothing written down: no dose can be recommended."""
    case = read_case(KOI)
    return replace(
        case, name="blind", title=TITLE, parasites=("dactylogyrus", "gyrodactylus"), samples=(), deaths=(), given=()
    )


@cache
def blind() -> Assessment:
    """A pond nobody has looked at."""
    return assess(blind_case(), DRAWS)


@cache
def koi_files() -> dict[str, bytes]:
    return report_files(koi())


@cache
def blind_files() -> dict[str, bytes]:
    return report_files(blind())


def page_of(files: dict[str, bytes]) -> str:
    return files["report.html"].decode("utf-8")


def pages_in(folder: Path) -> Path:
    """Write the report over both ponds and return its folder."""
    files = {"index.html": render_ponds([water_of(koi()), water_of(blind())], DRAWS, 1).encode()}
    files |= {f"koi_pond/{name}": content for name, content in koi_files().items()}
    write_folder(folder, files | {f"blind/{name}": content for name, content in blind_files().items()})
    return folder

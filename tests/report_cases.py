"""Visits the report tests share: each is worked out once a session."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from cases import VISIT

from burden.case import Case
from burden.decision import Assessment, assess
from burden.decision.records import PlannedDose
from burden.io import read_case
from burden.report.files.folder import write_folder
from burden.report.page.index import render_ponds, water_of
from burden.report.page.owner import owner_page
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


def planned(agent="formalin", mg_l=150.0, hours=1.0, place="enclosed", litres=1000.0, grams=None) -> PlannedDose:
    """One dose of a plan, of 37 % formalin unless weighed [mg/L], [h], [L], [g]."""
    apart = place in ("tank", "enclosed")
    ml = None if grams else 138.0
    return PlannedDose(VISIT, 0.0, 1, 1, agent, mg_l, hours, None, grams, ml, 37.0, litres, apart, None, VISIT, place)


def owner_of(found: Assessment) -> str:
    """All that an owner's page says, in one line."""
    return " ".join(text for _, texts in owner_page(found) for text in texts)


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

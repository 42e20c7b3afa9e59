"""The folder of cases the page shows: their names, visits of one water, what is due, and what the last report found.

A visit is a folder of its own, so that the record of an earlier one stays as it was. Visits of one water share its
name, and later ones carry their date behind it: `koi_pond`, `koi_pond_2026-05-24`.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from starlette.responses import FileResponse, Response

from burden.io.case_toml import CASE_FILE
from burden.io.form import read_form
from burden.page.catalogue import say
from burden.page.guard import REPORT_POLICY
from burden.utils.errors import InputError
from burden.utils.formatting import plain

__all__ = [
    "Library",
    "Water",
    "has_history",
    "in_words",
    "mean_burden",
    "next_due",
    "next_visit",
    "report_file",
    "report_rows",
]

_NAME = re.compile(r"[\w][\w .\-()]{0,79}")
_DATED = re.compile(r"(?P<water>.+?)_(?P<date>\d{4}-\d{2}-\d{2})(?:_\d+)?")
_MOST_CASES = 2000
#: files of a report that are given out, by their kind
_REPORT_FILES = {
    "report.html": "text/html; charset=utf-8",
    "dates.ics": "text/calendar; charset=utf-8",
    "history.svg": "image/svg+xml",
}


@dataclass(frozen=True)
class Water:
    """One water as the list shows it: its last visit.

    Parameters
    ----------
    name : str
        Folder of the last visit.
    visits : tuple of str
        Folders of all, the earliest first.
    title : str
    visit_date : date or None
    due : tuple of (date, str)
        What the last report says is to be done from the visit on.
    problems : int
        Faults that keep it from being read.
    report : bool
        Whether there is a report of the last visit.
    burden : str
        Flukes a fish, in words; empty without a report.
    """

    name: str
    visits: tuple[str, ...]
    title: str
    visit_date: date | None
    due: tuple[tuple[date, str], ...] = ()
    problems: int = 0
    report: bool = False
    burden: str = ""


class Library:
    """A folder of cases; no name leads out of it.

    Parameters
    ----------
    folder : Path
        A folder of cases, or one case, which then is the only one.
    """

    def __init__(self, folder: Path) -> None:
        folder = folder.resolve()
        self.only = folder.name if (folder / CASE_FILE).is_file() else None
        self.root = folder.parent if self.only else folder

    def names(self) -> list[str]:
        """Return the folders that hold a case."""
        found = [self.only] if self.only else [path.name for path in self.root.iterdir()]
        return sorted(name for name in found[:_MOST_CASES] if self._is_case(name))

    def _is_case(self, name: str) -> bool:
        path = self.root / name
        inside = not path.is_symlink() or path.resolve().is_relative_to(self.root)
        return not name.startswith(".") and inside and (path / CASE_FILE).is_file()

    def path(self, name: str) -> Path:
        """Return the folder of a case.

        Raises
        ------
        KeyError
            For what is no case of this folder: names are looked up, never joined to a path.
        """
        if name not in self.names():
            raise KeyError(name)
        return self.root / name

    def free_name(self, title: str) -> str:
        """Return a folder name for a new case that nothing bears yet."""
        plain = "_".join(re.findall(r"[\w-]+", title.lower()))[:60].strip("_") or say("frame.new_title").lower()
        plain = plain.replace(" ", "_")
        names, number = {path.name.casefold() for path in self.root.iterdir()}, 2
        name = plain
        while name.casefold() in names:
            name, number = f"{plain}_{number}", number + 1
        return name

    def visits(self) -> dict[str, list[str]]:
        """Return the case folders by water."""
        found: dict[str, list[str]] = {}
        names = self.names()
        for name in names:
            dated = _DATED.fullmatch(name)
            water = dated["water"] if dated and dated["water"] in names else name
            found.setdefault(water, []).append(name)
        return found

    def visits_of(self, name: str) -> list[str]:
        """Return the folders of the water a case is of, the earliest first."""
        mine = next(names for names in self.visits().values() if name in names)
        return sorted(mine, key=lambda one: (_visit_date(self.root / one) or date.min, one))

    def waters(self, today: date) -> list[Water]:
        """Return every water, what is due first first.

        Parameters
        ----------
        today : date
            Of the page, never of the model.
        """
        found = [self._water(names) for names in self.visits().values()]
        return sorted(found, key=lambda w: (next_due(w, today)[0], w.title.casefold()))

    def due(self, name: str) -> list[tuple[date, str]]:
        """Return what the last report of a visit says is to be done, by date."""
        return list(dict.fromkeys(_due(self.path(name))))

    def _water(self, names: list[str]) -> Water:
        dated = sorted(names, key=lambda one: (_visit_date(self.root / one) or date.min, one))
        last = dated[-1]
        try:
            case = read_form(self.root / last).case
        except InputError as error:
            return Water(last, tuple(dated), last, None, problems=len(error.problems))
        rows = report_rows(self.root / last, "estimate.csv")
        return Water(
            last,
            tuple(dated),
            case.title or last,
            case.visit_date,
            due=tuple(self.due(last)),
            report=(self.root / last / "report" / "report.html").is_file(),
            burden=in_words(mean_burden(rows)),
        )


def next_due(water: Water, today: date) -> tuple[date, str]:
    """Return the next date of a water and what is to be done; the last one where all lie behind."""
    if not water.due:
        return (date.max, "")
    coming = [entry for entry in water.due if entry[0] >= today]
    return min(coming) if coming else max(water.due)


def _visit_date(folder: Path) -> date | None:
    found = re.search(r"^\s*visit_date\s*=\s*[\"']?(\d{4}-\d{2}-\d{2})", _text(folder / CASE_FILE), re.M)
    try:
        return date.fromisoformat(found[1]) if found else None
    except ValueError:
        return None


def _text(path: Path) -> str:
    try:
        return path.read_bytes()[:100_000].decode("utf-8", "replace")
    except OSError:
        return ""


def report_rows(folder: Path, table: str) -> list[dict[str, str]]:
    """Return the rows of a table of a case's last report; none without one.

    Parameters
    ----------
    folder : Path
    table : str
        A file of `report/tables`.
    """
    try:
        with open(folder / "report" / "tables" / table, encoding="utf-8-sig", newline="") as stream:
            return list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error):
        return []


def _due(folder: Path) -> Iterator[tuple[date, str]]:
    for row in report_rows(folder, "day_book.csv"):
        if row.get("kind") == "care":
            continue
        try:
            yield date.fromisoformat(row["date"]), row["action"]
        except (KeyError, ValueError):
            continue


def in_words(found: Mapping[str, float] | None) -> str:
    """Write flukes a fish with their range, two digits each; nothing where there are none."""
    return "" if found is None else say("decide.interval", **{name: plain(value, 2) for name, value in found.items()})


def mean_burden(rows: list[dict[str, str]]) -> dict[str, float] | None:
    """Return flukes a fish from a report's table of estimates: median, low, high, of the heaviest set."""
    found = []
    for row in rows:
        if row.get("quantity", "").replace("_", " ").startswith("mean abundance"):
            try:
                found.append(
                    {k: float(row[c]) for k, c in (("median", "median"), ("low", "low_5"), ("high", "high_95"))}
                )
            except (KeyError, ValueError):
                continue
    return max(found, key=lambda one: one["median"], default=None)


#: what another visit finds as it was; counts, findings and measurements of the day are taken anew
_STAYS_IN_WATER = (
    *("volume_l", "medium", "temperature_c", "exchange_per_day", "egg_removal_per_day", "salinity_g_l"),
    *("alkalinity_dkh", "alkalinity_mg_l_caco3", "chloride_mg_l", "tap_chlorine_mg_l", "filter", "uv", "aeration"),
    *("kind", "neighbours", "outlook"),
)


def next_visit(form: Mapping[str, Any], today: date) -> dict[str, Any]:
    """Return the form of a new visit of a known water: what stays is filled in, what must be looked at is empty.

    Parameters
    ----------
    form : mapping
        Of the last visit.
    today : date
        Of the new visit.

    Returns
    -------
    dict
        Samples and deaths of before stay, as they tell how it went; planned actions up to the day count as done, and
        can be taken out.
    """
    visit = today.isoformat()
    planned = list(form.get("planned", []))
    done = [{**row, "told_by": "record"} for row in planned if str(row.get("date")) <= visit]
    return {
        **form,
        "case": {**form.get("case", {}), "visit_date": visit},
        "water": {key: value for key, value in form.get("water", {}).items() if key in _STAYS_IN_WATER},
        "findings": {},
        "given": [*form.get("given", []), *done],
        "planned": [row for row in planned if str(row.get("date")) > visit],
    }


def has_history(library: Library, name: str) -> bool:
    """Whether the report of a visit holds the figure of all visits."""
    return (library.path(name) / "report" / "figures" / "history.svg").is_file()


def report_file(library: Library, name: str, file: str) -> Response:
    """Give a file of a finished report; no other file of the folder.

    Raises
    ------
    KeyError
        Where there is none.
    """
    kind = _REPORT_FILES.get(file)
    path = library.path(name) / "report" / ("figures" if file.endswith(".svg") else "") / file
    if kind is None or not path.is_file():
        raise KeyError(path.name)
    return FileResponse(path, media_type=kind, headers={"content-security-policy": REPORT_POLICY})

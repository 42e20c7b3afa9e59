"""The whole job: read cases, join everything for each, write the reports into place whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import asdict, astuple, dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burden.utils.errors import InputError, Problem
from burden.utils.parallel import each
from burden.utils.progress import report_progress
from burden.utils.results import Result, frame
from burden.utils.safe_text import one_line

if TYPE_CHECKING:
    from burden.case import Case
    from burden.decision import Assessment
    from burden.report.page.index import Water

__all__ = ["Made", "ReportResult", "report_files", "report_of", "write_reports"]

#: what stands under the name of each of several ponds
_OF_A_POND = ("first_action", "withheld_reason", "decision")


@dataclass(frozen=True)
class ReportResult(Result):
    """Where the reports are, and the answer of each.

    Parameters
    ----------
    folder : str
        Written to.
    files : tuple of str
        Paths inside the folder.
    first_action : str
        Of the case, or of the first of several that is due.
    withheld_reason : str or None
        Of a single case.
    draws, seed : int
    answers : tuple of str
        The answer of each case in words.
    reports : tuple of mapping
        One a case where there are several.
    changes : tuple of (mapping or None)
        What moved since the last visit of a single case, one a parasite set.
    late_doses : tuple of mapping
        From when on each dose of a single case is too late.
    warnings : tuple of str
    first_case : str
        Whose first action it is.
    """

    folder: str
    files: tuple[str, ...]
    first_action: str
    withheld_reason: str | None
    draws: int
    seed: int
    answers: tuple[str, ...]
    reports: tuple[dict[str, Any], ...] = ()
    changes: tuple[dict[str, Any] | None, ...] = ()
    late_doses: tuple[dict[str, Any], ...] = ()
    warnings: tuple[str, ...] = field(default=())
    first_case: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        found = {
            **frame(self.seed, self.draws),
            "folder": self.folder,
            "files": list(self.files),
            "first_action": self.first_action,
            "withheld_reason": self.withheld_reason,
            "changes": list(self.changes),
            "late_doses": list(self.late_doses),
            "warnings": list(self.warnings),
        }
        if self.reports:
            found |= {
                "index": "index.html",
                "calendar": "all.ics",
                "reports": [dict(report) for report in self.reports],
                "ponds": {r["case"]: {key: r[key] for key in _OF_A_POND} for r in self.reports},
                "first_action_case": self.first_case,
            }
        return found

    def rows(self) -> list[dict[str, Any]]:
        """Return the files, a row each."""
        return [{"folder": self.folder, "file": name} for name in self.files]

    def text(self) -> str:
        """Return the answers, and where the files are."""
        page = "index.html" if self.reports else "report.html"
        where = f"Written to {self.folder}: open {page}; {len(self.files)} files in all."
        return "\n\n".join([*self.answers, where])


def write_reports(
    cases: Sequence[Path],
    out: Path | None,
    *,
    draws: int = 500,
    seed: int = 1,
    accept_unpublished: bool = False,
    executor: Executor | None = None,
    png: bool = False,
) -> ReportResult:
    """Write the report of one case, or of several with a list of what is due first.

    Parameters
    ----------
    cases : sequence of Path
        Case folders.
    out : Path or None
        Folder to write to; None is the folder `report` inside the case, for one case alone.
    draws, seed : int
        Posterior draws and seed.
    accept_unpublished : bool
        Work out doses no source gives.
    executor : concurrent.futures.Executor, optional
        Where the cases are worked out; here, one after the other, without.
    png : bool
        Write the figures as PNG too.

    Returns
    -------
    ReportResult

    Raises
    ------
    InputError
        For cases, options or a target that will not do, all at once; nothing is written then.

    Notes
    -----
    All files are written aside and moved into place whole, so a run that is broken off leaves what was there. Of
    several cases those done are kept aside, and the same command goes on from there.
    """
    target = _target(cases, out)
    read = _read_all(cases, target, accept_unpublished)
    options = _Options(draws, seed, accept_unpublished, png)
    return _one(target, read[0], options, executor) if len(read) == 1 else _several(target, read, options, executor)


@dataclass(frozen=True)
class _Options:
    """What a report was asked with, beside its case."""

    draws: int
    seed: int
    accept_unpublished: bool
    png: bool


def _one(target: Path, case: Case, options: _Options, executor: Executor | None) -> ReportResult:
    from burden.report.files.folder import write_folder

    asked = (case, *astuple(options))
    made = executor.submit(report_of, *asked).result() if executor else report_of(*asked)
    if made.water is None:
        raise InputError(made.problems)
    kept = write_folder(target, made.files)
    return _result(target, [made.water], [*made.files], kept, options.draws, options.seed)


def _several(target: Path, read: list[Case], options: _Options, executor: Executor | None) -> ReportResult:
    """Write those not done yet, and a list of all; problems of any of them leave the target as it is."""
    from burden.report.files.calendar import joined_calendar
    from burden.report.files.unfinished import Unfinished
    from burden.report.page.index import render_ponds

    with Unfinished(target, repr(astuple(options))) as unfinished:
        problems: list[Problem] = []
        left = [case for case in read if unfinished.water(case) is None]
        for i, made in each(partial(report_of, **asdict(options)), left, executor, f"{len(left)} waters"):
            problems += made.problems
            if made.water is not None:
                unfinished.put(left[i], made.files, made.water)
        if problems:
            unfinished.discard()
            raise InputError(problems)
        waters = [water for case in read if (water := unfinished.water(case)) is not None]
        index = {
            "index.html": render_ponds(waters, options.draws, options.seed).encode("utf-8"),
            "all.ics": joined_calendar(w.calendar for w in waters),
        }
        files, kept = unfinished.finish([w.name for w in waters], index)
    return _result(target, waters, files, kept, options.draws, options.seed)


@dataclass(frozen=True)
class Made:
    """One report, ready to be written, or what is wrong with it."""

    files: Mapping[str, bytes]
    water: Water | None
    problems: tuple[Problem, ...] = ()


def report_of(case: Case, draws: int, seed: int, accept_unpublished: bool, png: bool = False) -> Made:
    """Return the files of one case's report and what it is beside others; problems are an answer."""
    from burden.decision import assess
    from burden.report.page.index import water_of

    report_progress(f"{case.name}: what is there, and what to do")
    try:
        found = assess(case, draws, seed, accept_unpublished)
    except InputError as error:
        return Made({}, None, tuple(error.problems))
    report_progress(f"{case.name}: figures, tables, calendar, page")
    return Made(report_files(found, png), water_of(found))


def _target(cases: Sequence[Path], out: Path | None) -> Path:
    if out is not None:
        return Path(out)
    if len(cases) == 1:
        return Path(cases[0]) / "report"
    raise InputError([
        Problem("command line", "--out", "", "a folder, for several cases", "Name one: each case gets a folder in it.")
    ])  # fmt: skip


def _read_all(cases: Sequence[Path], target: Path, accept_unpublished: bool) -> list[Any]:
    """Read every case, and gather what is wrong with any of them, their plans, their names and the target."""
    from burden.io import read_case
    from burden.report.files.folder import refuse_foreign
    from burden.schedule.eligibility import unpublished_plans

    problems, read = [], []
    for folder in cases:
        try:
            read.append(read_case(folder))
            plans = [] if accept_unpublished else unpublished_plans(read[-1])
            problems += [_of_case(p, folder) for p in plans] if len(cases) > 1 else plans
        except InputError as error:
            problems += [_of_case(p, folder) for p in error.problems] if len(cases) > 1 else error.problems
    problems += _odd_names(cases) if len(cases) > 1 else []
    # many disks take Koi and koi for one folder
    names = [Path(folder).resolve().name for folder in cases]
    alike = [name.casefold() for name in names]
    problems += [
        Problem("command line", "CASE", name, "case folders of different names", "Rename one of the folders.")
        for name in dict.fromkeys(names)
        if alike.count(name.casefold()) > 1
    ]
    if not problems or target.exists():
        problems += refuse_foreign(target)
    if problems:
        raise InputError(problems)
    return read


def _of_case(problem: Problem, folder: Path) -> Problem:
    """A problem of one of several cases, with the case it is of."""
    return problem if problem.file == str(folder) else replace(problem, file=f"{folder}: {problem.file}")


def _odd_names(cases: Sequence[Path]) -> list[Problem]:
    """Names of case folders that could not stand beside each other in a report: the names of its own files."""
    from burden.report.files.folder import MARKER

    names = [Path(folder).resolve().name for folder in cases]
    expected, fix = "the name of a case folder in plain letters, no name of a report's own file", "Rename the folder."
    return [
        Problem("command line", "CASE", name, expected, fix)
        for name in dict.fromkeys(names)
        if name.casefold() in ("index.html", "all.ics", MARKER) or not name or one_line(name) != name
    ]


def report_files(visit: Assessment, png: bool = False) -> dict[str, bytes]:
    """Return every file of one report, by its path inside the folder; figures as PNG too where that is asked for."""
    from burden.report.figures.inline import figures_of
    from burden.report.files.calendar import calendar_bytes
    from burden.report.files.tables import tables_of
    from burden.report.page.page import render_page

    inline, drawn = figures_of(visit, png)
    files = {"report.html": render_page(visit, inline).encode("utf-8"), "dates.ics": calendar_bytes(visit)}
    files |= {f"tables/{name}": content for name, content in tables_of(visit).items()}
    return files | {f"figures/{name}": content for name, content in drawn.items()}


def _result(
    target: Path, waters: Sequence[Water], files: Sequence[str], kept: Sequence[str], draws: int, seed: int
) -> ReportResult:
    from burden.report.page.index import in_order

    several = len(waters) > 1
    reports = [
        {
            "case": w.name,
            "folder": str(target / w.name),
            "files": [name.split("/", 1)[1] for name in files if name.startswith(f"{w.name}/")],
            **{key: w.answer[key] for key in ("first_action", "withheld_reason", "changes", "late_doses", "decision")},
        }
        for w in waters
    ]
    foremost = in_order(waters)[0]
    first = foremost.answer
    return ReportResult(
        folder=str(target),
        first_case=foremost.name,
        files=tuple(files),
        first_action=first["first_action"],
        withheld_reason=None if several else first["withheld_reason"],
        draws=draws,
        seed=seed,
        answers=tuple(f"{w.name}: {w.answer['text']}" if several else w.answer["text"] for w in waters),
        reports=tuple(reports) if several else (),
        changes=() if several else tuple(first["changes"]),
        late_doses=() if several else tuple(first["late_doses"]),
        warnings=(*dict.fromkeys(text for w in waters for text in w.answer["warnings"]), *map(_kept_words, kept)),
    )


def _kept_words(name: str) -> str:
    return f"A file of the earlier report had been changed by hand; it is kept as {name}."

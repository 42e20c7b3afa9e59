"""The page's JSON interface: another program sends a case, has it decided, and fetches decision, table and report.

It stands behind the same guard as the page and writes folders the same way: whole or not at all. What it takes and
gives is described by the framework's own OpenAPI document, `/v1/openapi.json`.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

from fastapi import FastAPI, HTTPException
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from burden import __version__
from burden.io.form import new_folder_from_form, read_form, write_form
from burden.io.whole_write import ConflictError
from burden.page.jobs import Jobs
from burden.page.library import Library, report_file
from burden.report.tidy import COLUMNS
from burden.utils.errors import InputError, Problem

__all__ = [
    "CaseChanged",
    "CaseListed",
    "CaseRead",
    "CaseSent",
    "Decided",
    "Kept",
    "OneProblem",
    "Problems",
    "Table",
    "build_api",
]

_FORM = (
    "The tables of case.toml as they stand there, and the logs as lists of rows under `samples`, `deaths` and "
    "`temperature`, their columns as keys. GET a case to see one."
)
_SEEN = "Fingerprint of the case's files."


class _Told(BaseModel):
    model_config = ConfigDict(extra="forbid")


class CaseSent(_Told):
    """A case, as a form."""

    form: dict[str, Any] = Field(description=_FORM)


class CaseChanged(CaseSent):
    """A case, as a form, and what it was made from."""

    seen: str = Field(description=f"{_SEEN} As read; where they have changed since, nothing is written.")


class Kept(BaseModel):
    """Where a case stands now."""

    case: str = Field(description="Name of its folder.")
    seen: str = Field(description=_SEEN)


class CaseRead(Kept):
    """A case as it stands."""

    title: str
    form: dict[str, Any] = Field(description=_FORM)


class CaseListed(BaseModel):
    """A case in the list."""

    case: str
    title: str
    visit_date: date | None
    problems: int = Field(description="Faults that keep it from being read.")
    report: bool = Field(description="Whether a report of it is there.")


class Decided(BaseModel):
    """How far a case is, and its decision once it is done."""

    state: Literal["none", "queued", "working", "done", "failed", "stopped"]
    stage: str = ""
    before: int = Field(default=0, description="Cases in front of it.")
    faults: list[str] = Field(default_factory=list)
    seen: str | None = Field(default=None, description=f"{_SEEN} Of the case that was decided on.")
    outdated: bool | None = Field(default=None, description="Whether the case was changed since.")
    decision: dict[str, Any] | None = Field(default=None, description="As `burden decide --json` gives it.")


class Table(BaseModel):
    """The answer as one tidy table, as `burden table` writes it."""

    seen: str = Field(description=f"{_SEEN} Of the case that was decided on.")
    outdated: bool = Field(description="Whether the case was changed since.")
    columns: list[str] = list(COLUMNS)
    rows: list[dict[str, Any]]


class OneProblem(BaseModel):
    """One thing wrong with what was sent."""

    file: str
    place: str
    value: str
    expected: str
    fix: str


class Problems(BaseModel):
    """All that is wrong; nothing was written."""

    problems: list[OneProblem]


_WRONG: dict[int | str, dict[str, Any]] = {422: {"model": Problems}}
_MISSING: dict[int | str, dict[str, Any]] = {404: {"description": "No such case."}}
_CHANGED: dict[int | str, dict[str, Any]] = {409: {"model": Kept, "description": "Changed since; it stands so now."}}
_NOT_YET: dict[int | str, dict[str, Any]] = {409: {"description": "Not decided yet."}}


class _Api:
    """What each address does."""

    def __init__(self, library: Library, jobs: Jobs) -> None:
        self.library, self.jobs = library, jobs

    def cases(self) -> list[CaseListed]:
        """List the cases."""
        return [self._listed(name) for name in self.library.names()]

    def _listed(self, name: str) -> CaseListed:
        folder = self.library.path(name)
        report = (folder / "report" / "report.html").is_file()
        try:
            case = read_form(folder).case
        except InputError as error:
            return CaseListed(case=name, title=name, visit_date=None, problems=len(error.problems), report=report)
        title = case.title or name
        return CaseListed(case=name, title=title, visit_date=case.visit_date, problems=0, report=report)

    def send(self, sent: CaseSent) -> Kept:
        """Write a new case, whole or not at all; its folder is named after its title."""
        about = sent.form.get("case")
        title = about.get("title") if isinstance(about, dict) else None
        name = self.library.free_name(str(title or ""))
        return Kept(case=name, seen=new_folder_from_form(self.library.root / name, sent.form).seen)

    def read(self, name: str) -> CaseRead:
        """Read a case."""
        found = read_form(self.library.path(name))
        return CaseRead(case=name, seen=found.seen, title=found.case.title or name, form=found.fields)

    def change(self, name: str, sent: CaseChanged) -> Kept:
        """Change a case, whole or not at all."""
        return Kept(case=name, seen=write_form(self.library.path(name), sent.form, sent.seen).seen)

    def decide(self, name: str) -> Decided:
        """Have a case decided and its report written; ask again until `state` is done."""
        self.jobs.begin(name, self.library.path(name))
        return self.decision(name)

    def decision(self, name: str) -> Decided:
        """Say how far a case is, and give its decision."""
        folder, about = self.library.path(name), self.jobs.about(name)
        if about is None:
            return Decided(state="none")
        told = {key: about[key] for key in ("state", "stage", "before", "faults")}
        found = self.jobs.found.get(name) if about["state"] == "done" else None
        if found is None:
            return Decided(**told)
        outdated = read_form(folder).seen != found["seen"]
        return Decided(**told, seen=found["seen"], outdated=outdated, decision=found["decision"])

    def table(self, name: str) -> Table:
        """Give the answer as one tidy table."""
        decided = self.decision(name)
        if decided.seen is None:
            raise HTTPException(409, "not decided yet")
        return Table(seen=decided.seen, outdated=bool(decided.outdated), rows=self.jobs.found[name]["rows"])

    def report(self, name: str, file: Literal["report.html", "dates.ics"]) -> Response:
        """Give the report, one page that needs no other file, or its calendar."""
        return report_file(self.library, name, file)


def build_api(library: Library, jobs: Jobs) -> FastAPI:
    """Return the JSON interface of one folder, for the page to mount.

    Parameters
    ----------
    library : Library
    jobs : Jobs
    """
    # the framework's own pages of help load scripts from elsewhere, so there are none
    api = FastAPI(title="burden", version=__version__, docs_url=None, redoc_url=None, description=__doc__ or "")
    at, here = _Api(library, jobs), "/cases/{name}"
    api.get("/cases")(at.cases)
    api.post("/cases", status_code=201, responses=_WRONG)(at.send)
    api.get(here, responses=_MISSING | _WRONG)(at.read)
    api.put(here, responses=_MISSING | _WRONG | _CHANGED)(at.change)
    api.post(f"{here}/decision", status_code=202, responses=_MISSING)(at.decide)
    api.get(f"{here}/decision", responses=_MISSING)(at.decision)
    api.get(f"{here}/table", responses=_MISSING | _NOT_YET)(at.table)
    api.get(f"{here}/report/{{file}}", responses=_MISSING, response_class=FileResponse)(at.report)

    def changed(request: Request, error: Exception) -> Response:
        name = request.path_params["name"]
        return JSONResponse({"case": name, "seen": read_form(library.path(name)).seen}, 409)

    api.add_exception_handler(KeyError, _not_here)
    api.add_exception_handler(InputError, _wrong)
    api.add_exception_handler(RequestValidationError, _misshapen)
    api.add_exception_handler(ConflictError, changed)
    return api


def _not_here(request: Request, error: Exception) -> Response:
    return JSONResponse({"detail": "not here"}, 404)


def _wrong(request: Request, error: Exception) -> Response:
    return JSONResponse({"problems": [problem.as_dict() for problem in getattr(error, "problems", ())]}, 422)


def _misshapen(request: Request, error: Exception) -> Response:
    """What does not have the shape that the OpenAPI document asks for, as problems like any other."""
    found = error.errors() if isinstance(error, RequestValidationError) else []
    places = [(".".join(map(str, one["loc"])), str(one["msg"])) for one in found]
    fix = "See /v1/openapi.json."
    return _wrong(request, InputError([Problem("request", place, "", said, fix) for place, said in places]))

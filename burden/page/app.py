"""The page's addresses: what each asks of the folder, of the queue and of the plans tried, and how it answers."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route

from burden.io.form import check_form, new_folder_from_form, read_form, write_form
from burden.io.whole_write import ConflictError
from burden.page.catalogue import say, texts
from burden.page.course import course_of, trend_svg
from burden.page.facts import form_facts
from burden.page.guard import Shared
from burden.page.jobs import Jobs, Trials
from burden.page.library import Library, has_history, in_words, next_due, next_visit, report_file
from burden.page.plans import plans_of, with_planned
from burden.page.problems import as_field, path_in_form
from burden.report.formatting import unbroken
from burden.utils.dates import day_in_words
from burden.utils.errors import InputError

__all__ = ["FORM_SCRIPTS", "STATIC", "Page", "build_app", "in_page"]

STATIC = Path(__file__).with_name("static")
FORM_SCRIPTS = ("read.js", "dom.js", "form.js", "steps.js", "looked.js", "odd.js", "entry.js")


def in_page(value: object) -> Markup:
    """Write plain data into a page: no character in it can end the element it stands in."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))


@cache
def _templates() -> Environment:
    loader = PackageLoader("burden.page", "templates")
    found = Environment(loader=loader, autoescape=select_autoescape(default=True, default_for_string=True))
    found.filters["in_words"] = in_words
    found.filters["unbroken"] = unbroken
    return found


def _html(template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Fill a template; `facts` is what its scripts are told."""
    facts = values.pop("facts", {})
    page = _templates().get_template(template)
    values |= {"text": texts(), "text_json": in_page(texts()), "facts": in_page(facts)}
    return HTMLResponse(page.render(**values), status)


class Page:
    """One folder of cases, its queue and its plans.

    Parameters
    ----------
    library : Library
    jobs : Jobs
    trials : Trials
    shared : Shared or None
    """

    def __init__(self, library: Library, jobs: Jobs, trials: Trials, shared: Shared | None) -> None:
        self.library, self.jobs, self.trials, self.shared = library, jobs, trials, shared

    # --- pages

    def list(self, request: Request) -> Response:
        """Show every water, what is due first first."""
        today = date.today()
        waters = [self._entry(water, today) for water in self.library.waters(today)]
        facts = {"folder": self.library.root.name}
        return _html("list.html.j2", waters=waters, folder=self.library.root.name, facts=facts)

    def _entry(self, water: Any, today: date) -> dict[str, Any]:
        day, what = next_due(water, today)
        points = course_of(self.library, water.name) if len(water.visits) > 1 else []
        return {
            **{name: getattr(water, name) for name in ("name", "title", "problems", "report", "burden")},
            "visits": len(water.visits),
            "visit": "" if water.visit_date is None else day_in_words(water.visit_date),
            "when": _day_words(day, today) if what else "",
            "next": what if water.due else say("list.not_decided"),
            "late": bool(what) and day < today,
            "trend": Markup(trend_svg(points, small=True)) if len(points) > 1 else "",
        }

    def new(self, request: Request) -> Response:
        """Show an empty form."""
        return self._form(say("frame.new_title"), {"case": None})

    def case(self, request: Request) -> Response:
        """Show the form of a case, or what keeps it from being read."""
        name = request.path_params["name"]
        found = read_form(self.library.path(name))
        title = found.case.title or name
        return self._form(title, {"case": name, "form": found.fields, "seen": found.seen})

    def again(self, request: Request) -> Response:
        """Show the form of a new visit: what stays is filled in."""
        name = request.path_params["name"]
        found = read_form(self.library.path(name))
        form = next_visit(found.fields, date.today())
        last = {"visit_date": found.case.visit_date.isoformat(), "fish": found.fields["fish"]}
        facts = {"case": None, "of": name, "form": form, "unsaved": True, "last": last}
        return self._form(found.case.title or name, facts)

    def _form(self, name: str, facts: Mapping[str, Any]) -> Response:
        facts = {**form_facts(), "folder": self.library.root.name, **facts}
        return _html("form.html.j2", name=name, scripts=FORM_SCRIPTS, facts=facts)

    def decide(self, request: Request) -> Response:
        """Show what to do, as it is worked out."""
        name = request.path_params["name"]
        folder = self.library.path(name)
        found = read_form(folder)
        report = folder / "report" / "report.html"
        facts = {
            "folder": self.library.root.name,
            "case": name,
            "seen": found.seen,
            "report": report.is_file(),
            "outdated": report.is_file() and _newer(folder, report),
            "days": self._days(name),
        }
        follow = len(self.library.visits_of(name)) > 1
        return _html("decide.html.j2", name=name, title=found.case.title or name, follow=follow, facts=facts)

    def _days(self, name: str) -> Sequence[Mapping[str, str]]:
        return [{"date": day.isoformat(), "what": what} for day, what in self.library.due(name)]

    def follow(self, request: Request) -> Response:
        """Show all visits of a water, and what was expected of each."""
        name = request.path_params["name"]
        points = course_of(self.library, name)
        title = read_form(self.library.path(name)).case.title or name
        # the report of the last visit that has one holds all visits in one figure, with counts, water and deaths
        with_all = (p["name"] for p in reversed(points) if has_history(self.library, p["name"]))
        whole, trend = next(with_all, None), Markup(trend_svg(points))
        return _html("follow.html.j2", title=title, name=name, points=points, whole=whole, figure=trend)

    def report(self, request: Request) -> Response:
        """Give a file of a finished report; no other file of the folder."""
        return report_file(self.library, request.path_params["name"], request.path_params["file"])

    def static(self, request: Request) -> Response:
        """Give one of the page's own files."""
        name = request.path_params["file"]
        if name not in {path.name for path in STATIC.iterdir()}:
            raise KeyError(name)
        return FileResponse(STATIC / name, headers={"cache-control": "no-cache"})

    async def enter(self, request: Request) -> Response:
        """Let a telephone in that knows the code."""
        if self.shared is None:
            raise KeyError("enter")
        if request.method == "GET":
            return _html("enter.html.j2", sentence="")
        form = dict(pair.partition("=")[::2] for pair in (await request.body()).decode("ascii", "replace").split("&"))
        session = self.shared.enter(form.get("code", ""))
        if session is None:
            said = say("share.closed") if self.shared.closed else say("share.wrong")
            return _html("enter.html.j2", 403, sentence=said)
        return RedirectResponse("/", 303, headers={"set-cookie": self.shared.cookie(session)})

    # --- what the scripts ask

    async def answer(self, request: Request) -> Response:
        """Answer a question of the page's scripts: plain data in, plain data out."""
        work = getattr(self, f"_{request.path_params['what']}", None) if request.path_params["what"] in _ASKED else None
        if work is None:
            raise KeyError(request.path_params["what"])
        try:
            told = json.loads(await request.body())
        except (ValueError, RecursionError):
            told = None
        if not isinstance(told, dict):
            return JSONResponse({"problems": []}, 400)
        try:
            return await run_in_threadpool(work, told)
        except (TypeError, ValueError):  # data of another shape than the page's scripts send
            return JSONResponse({"problems": []}, 400)

    def _folder(self, told: Mapping[str, Any], key: str = "case") -> Path | None:
        return None if told.get(key) is None else self.library.path(str(told[key]))

    def _check(self, told: Mapping[str, Any]) -> Response:
        form = told.get("form")
        found = check_form(form, self._folder(told) or self._folder(told, "of"))
        body: dict[str, Any] = {
            "problems": [as_field(p, form if isinstance(form, dict) else {}) for p in found.problems],
            "odd": [{"path": path_in_form(place), "text": text} for place, text in found.oddities],
            "words": [], "assumed": [], "volume": None, "clip": None,
        }  # fmt: skip
        if found.case is not None:
            volume = found.case.water.volume_l
            clip = next((row.clip_share for row in found.case.samples if row.clip_share is not None), None)
            body |= {
                "words": found.case.in_words(),
                "assumed": [str(sentence) for sentence in found.case.assumptions],
                "volume": [volume.value, volume.low, volume.high],
                "clip": None if clip is None else [clip.value, clip.low, clip.high],
            }
        return JSONResponse(body)

    def _save(self, told: Mapping[str, Any]) -> Response:
        form, folder = told.get("form"), self._folder(told)
        try:
            if folder is not None:
                return JSONResponse({"case": folder.name, "seen": write_form(folder, form, str(told.get("seen"))).seen})
            return self._save_new(form, told)
        except ConflictError:
            return JSONResponse({"seen": read_form(folder).seen if folder else None}, 409)
        except InputError as error:
            fields = [as_field(p, form if isinstance(form, dict) else {}) for p in error.problems]
            return JSONResponse({"problems": fields}, 422)

    def _save_new(self, form: Any, told: Mapping[str, Any]) -> Response:
        like = self._folder(told, "of")
        case = form.get("case", {}) if isinstance(form, dict) else {}
        title = case.get("title") if isinstance(case, dict) else None
        if like is not None:
            water = next(w for w, names in self.library.visits().items() if like.name in names)
            title = f"{water}_{case.get('visit_date')}"
        name = self.library.free_name(str(title or ""))
        made = new_folder_from_form(self.library.root / name, form, like)
        return JSONResponse({"case": name, "seen": made.seen})

    def _decide(self, told: Mapping[str, Any]) -> Response:
        name = str(told.get("case"))
        self.jobs.begin(name, self.library.path(name))
        return JSONResponse(self.jobs.about(name))

    def _job(self, told: Mapping[str, Any]) -> Response:
        name = str(told.get("case"))
        found = self.jobs.about(name) or {"state": "none"}
        return JSONResponse({**found, "days": self._days(name)} if found["state"] == "done" else found)

    def _stop(self, told: Mapping[str, Any]) -> Response:
        self.jobs.stop(str(told.get("case")))
        return self._job(told)

    def _ready(self, told: Mapping[str, Any]) -> Response:
        name = str(told.get("case"))
        folder = self.library.path(name)
        found = self.trials.ready(name, folder, read_form(folder).seen, self.jobs.ponds.get(name))
        plans = plans_of(folder, read_form(folder).case, found.pop("customary", ()))
        return JSONResponse({**found, "plans": plans})

    def _try(self, told: Mapping[str, Any]) -> Response:
        name = str(told.get("case"))
        found = self.trials.tried(name, str(told.get("seen")), dict(told.get("plan") or {}))
        return JSONResponse({"again": True}, 409) if found is None else JSONResponse(found)

    def _take(self, told: Mapping[str, Any]) -> Response:
        """Write the doses of a plan into the case as planned."""
        name = str(told.get("case"))
        folder = self.library.path(name)
        found = read_form(folder)
        try:
            form = with_planned(found.fields, found.case, dict(told.get("plan") or {}))
            return JSONResponse({"seen": write_form(folder, form, str(told.get("seen"))).seen})
        except ConflictError:
            return JSONResponse({"seen": found.seen}, 409)
        except InputError as error:
            return JSONResponse({"problems": [as_field(p, found.fields) for p in error.problems]}, 422)


_ASKED = frozenset({"check", "save", "decide", "job", "stop", "ready", "try", "take"})


def _newer(folder: Path, report: Path) -> bool:
    made = report.stat().st_mtime
    return any(path.stat().st_mtime > made for path in folder.iterdir() if path.suffix in (".toml", ".csv"))


def _day_words(day: date, today: date) -> str:
    near = {0: say("list.today"), 1: say("list.tomorrow")}
    said = near.get((day - today).days, day_in_words(day))
    return f"{say('list.overdue')}, {said}" if day < today else said


def _not_here(request: Request, error: Exception) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"problems": []}, 404)
    return _html("error.html.j2", 404, sentence=say("error.not_here"), problems=[])


def _no_case(request: Request, error: Exception) -> Response:
    problems = [str(problem) for problem in getattr(error, "problems", ())]
    if request.url.path.startswith("/api/"):
        return JSONResponse({"problems": [{"path": ["case"], "text": problem} for problem in problems]}, 422)
    return _html("error.html.j2", 422, sentence=say("error.not_a_case"), problems=problems)


def _interface(library: Library, jobs: Jobs) -> list[BaseRoute]:
    """The JSON interface for other programs, where what describes it is installed."""
    try:
        from burden.page.api import build_api
    except ModuleNotFoundError as error:
        if error.name != "fastapi":
            raise
        return []
    return [Mount("/v1", build_api(library, jobs))]


def build_app(library: Library, jobs: Jobs, trials: Trials, shared: Shared | None = None) -> Starlette:
    """Return the page of one folder; `burden.page.guard.Guard` stands in front of it.

    Parameters
    ----------
    library : Library
    jobs : Jobs
    trials : Trials
    shared : Shared, optional
        Where telephones may come in by a code.
    """
    page = Page(library, jobs, trials, shared)
    routes: list[BaseRoute] = [
        Route("/", page.list),
        Route("/new", page.new),
        Route("/enter", page.enter, methods=["GET", "POST"]),
        Route("/case/{name}", page.case),
        Route("/case/{name}/again", page.again),
        Route("/case/{name}/decide", page.decide),
        Route("/case/{name}/follow", page.follow),
        Route("/case/{name}/report/{file}", page.report),
        Route("/static/{file}", page.static),
        Route("/api/{what}", page.answer, methods=["POST"]),
        *_interface(library, jobs),
    ]
    handlers = {KeyError: _not_here, 404: _not_here, InputError: _no_case}
    return Starlette(routes=routes, exception_handlers=handlers)

"""The page's server: who may talk to it, what it gives out, what it refuses, and that no folder is half written."""

from __future__ import annotations

import asyncio
import json
import pickle
import shutil
from importlib.util import find_spec
from pathlib import Path

import httpx
import pytest

from burden.io import check_case
from burden.page.app import build_app
from burden.page.catalogue import say, texts
from burden.page.guard import MAX_BODY, Guard, Shared
from burden.page.library import Library
from burden.report.tidy import COLUMNS

SIMULATED = Path(__file__).parents[2] / "simulated_data"
HOST = "127.0.0.1:8731"
HERE = {"host": HOST, "origin": f"http://{HOST}"}


class NoJobs:
    """A queue that works nothing out: these tests are of the server."""

    ponds: dict = {}  # noqa: RUF012
    found: dict = {}  # noqa: RUF012

    def begin(self, name, folder):
        return None

    def about(self, name):
        return {"state": "queued"}

    def stop(self, name):
        return None

    def tried(self, name, version, plan):
        return None


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(SIMULATED / "koi_pond", tmp_path / "cases" / "koi_pond")
    (tmp_path / "secret.txt").write_text("not yours")
    (tmp_path / "outside").mkdir()
    shutil.copy(SIMULATED / "koi_pond" / "case.toml", tmp_path / "outside" / "case.toml")
    return tmp_path / "cases"


class Client:
    """Asks the page without a network, as a browser at some address would; `headers` go with every request."""

    def __init__(self, app, peer, headers):
        self.app, self.peer, self.headers = app, peer, dict(headers)

    def get(self, path, **more):
        return self._ask("GET", path, more)

    def post(self, path, **more):
        return self._ask("POST", path, more)

    def put(self, path, **more):
        return self._ask("PUT", path, more)

    def _ask(self, method, path, more):
        headers = {**self.headers, **more.pop("headers", {})}

        async def ask():
            transport = httpx.ASGITransport(self.app, client=(self.peer, 50000))
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
                return await client.request(method, path, headers=headers, **more)

        return asyncio.run(ask())


def client_of(folder, shared=None, peer="127.0.0.1", hosts=(HOST,), jobs=None):
    app = Guard(build_app(Library(folder), jobs or NoJobs(), NoJobs(), shared), hosts, shared)
    return Client(app, peer, HERE)


@pytest.fixture
def client(folder):
    return client_of(folder)


def form_of(client, name="koi_pond"):
    page = client.get(f"/case/{name}").text
    return json.loads(page.split('id="facts">')[1].split("</script>")[0])


# --- what it shows


def test_the_list_the_form_and_the_decision_are_there(client):
    assert "Koi pond behind the mill" in client.get("/").text
    assert form_of(client)["form"]["fish"][0]["count"] == 24
    assert client.get("/case/koi_pond/decide").status_code == 200
    assert client.get("/new").status_code == 200


def test_a_save_writes_the_folder_and_a_second_window_is_told(client, folder):
    told = form_of(client)
    form = told["form"]
    form["water"]["ph"] = 8.2
    first = client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]})
    assert first.status_code == 200
    assert "ph = 8.2" in (folder / "koi_pond" / "case.toml").read_text()
    form["water"]["ph"] = 6.9
    second = client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]})
    assert second.status_code == 409
    assert "ph = 8.2" in (folder / "koi_pond" / "case.toml").read_text()
    assert second.json()["seen"] == first.json()["seen"]


def test_what_is_wrong_is_told_beside_its_field_and_nothing_is_written(client, folder):
    told = form_of(client)
    before = (folder / "koi_pond" / "case.toml").read_bytes()
    form = told["form"]
    form["water"]["ph"] = 99
    form["given"][0]["date"] = "2026-09-01"
    form["samples"][1]["count"] = "-3"
    found = client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]})
    assert found.status_code == 422
    paths = [problem["path"] for problem in found.json()["problems"]]
    assert ["water", "ph"] in paths
    assert ["samples", 1, "count"] in paths
    assert (folder / "koi_pond" / "case.toml").read_bytes() == before


def test_what_is_odd_is_said_at_its_field_while_the_rest_is_missing(client):
    """0.4 mg/L of oxygen is odd in any water; 24 fish in unknown water are not."""
    water = {"oxygen_mg_l": 0.4}
    form = {"case": {"visit_date": "2026-05-10"}, "water": water, "fish": [{"count": 24}], "parasite": {}}
    found = client.post("/api/check", json={"case": None, "form": form}).json()
    assert [one["path"] for one in found["odd"]] == [["water", "oxygen_mg_l"]]
    assert ["fish", 0, "species"] in [one["path"] for one in found["problems"]]


def test_strengths_and_a_harvest_are_written_and_told_beside_their_fields(client, folder):
    told = form_of(client)
    form = told["form"]
    form["limits"]["strength_percent"] = {"formalin": 140}
    form["fish"][0]["harvest_date"] = "2026-05-01"
    found = client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]})
    paths = [problem["path"] for problem in found.json()["problems"]]
    assert sorted(paths, key=str) == [["fish", 0, "harvest_date"], ["limits", "strength_percent", "formalin"]]
    form["limits"]["strength_percent"], form["fish"][0]["harvest_date"] = {"formalin": 24}, "2026-09-20"
    odd = client.post("/api/check", json={"case": "koi_pond", "form": form}).json()["odd"]
    assert ["fish", 0, "harvest_date"] in [one["path"] for one in odd]  # food_fish is no
    form["fish"][0]["food_fish"] = "yes"
    assert client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]}).status_code == 200
    again = form_of(client)["form"]
    assert again["limits"]["strength_percent"] == {"formalin": 24}
    assert again["fish"][0]["harvest_date"] == "2026-09-20"


def test_a_new_case_and_a_new_visit_are_folders_of_their_own(client, folder):
    form = form_of(client)["form"]
    named = {**form, "case": {**form["case"], "title": "Żaba/../<b>"}}
    made = client.post("/api/save", json={"case": None, "form": named})
    assert made.status_code == 200, made.text
    name = made.json()["case"]
    assert (folder / name).parent == folder
    assert check_case(folder / name).ok
    again = json.loads(client.get("/case/koi_pond/again").text.split('id="facts">')[1].split("</script>")[0])
    assert again["form"]["samples"] == form["samples"]
    assert "ph" not in again["form"]["water"]
    assert again["form"]["water"]["volume_l"]["value"] == 18000
    kept = {**again["form"], "case": {**again["form"]["case"], "visit_date": "2026-05-24"}}
    visit = client.post("/api/save", json={"case": None, "of": "koi_pond", "form": kept})
    assert visit.json()["case"] == "koi_pond_2026-05-24"
    assert "# no carbon in the filter" in (folder / "koi_pond_2026-05-24" / "case.toml").read_text()
    assert check_case(folder / "koi_pond_2026-05-24").ok


def test_an_unreadable_folder_says_why(client, folder):
    (folder / "koi_pond" / "case.toml").write_text("[case]\nvisit_date = soon\n")
    page = client.get("/case/koi_pond")
    assert page.status_code == 422
    assert "Put text and names in quotes" in page.text or "visit_date" in page.text
    assert client.get("/").status_code == 200


def test_what_is_in_a_folder_is_text_on_the_page(client, folder):
    """A title, a note and a fish label full of markup come back as text, in the list, in the form and in its data."""
    evil = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"'&"
    told = form_of(client)
    form = told["form"]
    form["case"]["title"] = evil
    form["findings"]["note"] = evil
    assert client.post("/api/save", json={"case": "koi_pond", "form": form, "seen": told["seen"]}).status_code == 200
    for path in ("/", "/case/koi_pond", "/case/koi_pond/decide"):
        page = client.get(path).text
        assert "<script>alert" not in page
        assert "<img src=x" not in page
    assert form_of(client)["form"]["case"]["title"] == evil


# --- what it refuses


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:1", "", "127.0.0.1.evil.example:8731", "localhost:8732"])
def test_another_host_name_is_refused(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "http://127.0.0.1:9999", f"http://{HOST}.evil.example"]
)
def test_what_changes_something_must_come_from_the_page(client, origin):
    found = client.post("/api/decide", json={"case": "koi_pond"}, headers={"origin": origin})
    assert found.status_code == 403
    del client.headers["origin"]
    assert client.post("/api/decide", json={}).status_code == 403


NAMES = (
    *("..", ".", "../outside", "..%2Foutside", "%2e%2e/outside", "koi_pond/..", "koi_pond%2F..%2F..%2Foutside", "/etc"),
    *("....//outside", "koi_pond\\..\\..\\outside", "outside", "koi_pond\0", "C:", "~", "KOI_POND/."),
)


@pytest.mark.parametrize("name", NAMES)
def test_no_case_outside_the_folder_is_reached(client, folder, name):
    told = form_of(client)
    for path in (f"/case/{name}", f"/case/{name}/report/report.html", f"/case/koi_pond/report/{name}"):
        try:
            found = client.get(path)
        except (httpx.InvalidURL, UnicodeEncodeError):
            continue  # the client itself refuses the address
        # the client folds /case/.. into / itself
        assert found.status_code in (307, 404) or (name == ".." and found.status_code == 200), path
    for what in ("save", "decide", "check", "take", "ready", "try"):
        found = client.post(f"/api/{what}", json={"case": name, "form": told["form"], "seen": told["seen"], "plan": {}})
        assert found.status_code in (404, 409), what


def test_a_link_out_of_the_folder_is_no_case(client, folder):
    (folder / "linked").symlink_to(folder.parent / "outside")
    assert "linked" not in Library(folder).names()
    assert client.get("/case/linked").status_code == 404


def test_only_the_report_is_given_out(client, folder):
    report = folder / "koi_pond" / "report"
    report.mkdir()
    (report / "report.html").write_text("<p>the report</p>")
    (report / "other.txt").write_text("other")
    (report / "figures").mkdir()
    (report / "figures" / "history.svg").write_text("<svg/>")
    figure = client.get("/case/koi_pond/report/history.svg")
    assert figure.headers["content-type"] == "image/svg+xml"
    assert 'src="/case/koi_pond/report/history.svg"' in client.get("/case/koi_pond/follow").text
    found = client.get("/case/koi_pond/report/report.html")
    assert found.status_code == 200
    assert "sandbox" in found.headers["content-security-policy"]
    for name in ("other.txt", "case.toml", "..%2Fcase.toml", "%2e%2e%2fcase.toml"):
        assert client.get(f"/case/koi_pond/report/{name}").status_code == 404


def test_visits_and_what_is_due_are_read_off_the_last_reports(client, folder):
    """Two visits: what was found, what the first had expected of the second; the days of the day-book, each once."""
    shutil.copytree(folder / "koi_pond", folder / "koi_pond_2026-05-24")
    later = folder / "koi_pond_2026-05-24" / "case.toml"
    later.write_text(later.read_text().replace("visit_date = 2026-05-10", "visit_date = 2026-05-24"))
    estimate = "quantity,median,low_5,high_95\nmean abundance (flukes per fish),1234.5,410,7000\n"
    forecast = (
        "course,date,flukes_per_fish_5,flukes_per_fish_50,flukes_per_fish_95\nuntreated,2026-05-24,400,1800,9100\n"
    )
    days = (
        "date,kind,action,step\n2026-05-24,water,change water,a\n2026-05-24,water,change water,b\n2026-05-25,care,x,\n"
    )
    for visit in ("koi_pond", "koi_pond_2026-05-24"):
        tables = folder / visit / "report" / "tables"
        tables.mkdir(parents=True)
        for name, text in {"estimate": estimate, "forecast": forecast, "day_book": days}.items():
            (tables / f"{name}.csv").write_text(text, encoding="utf-8-sig")
    page = client.get("/case/koi_pond/follow")
    assert page.status_code == 200
    assert page.text.count("1 200 (410 to 7 000)") >= 2
    assert "1 800 (400 to 9 100)" in page.text
    due = json.loads(client.get("/case/koi_pond/decide").text.split('id="facts">')[1].split("</script>")[0])["days"]
    assert due == [{"date": "2026-05-24", "what": "change water"}]
    assert "change water" in client.get("/").text


def test_a_long_body_is_refused(client):
    assert client.post("/api/check", content=b"x" * (MAX_BODY + 1)).status_code == 413
    deep = b'{"form":' + b"[" * 200_000 + b"]" * 200_000 + b"}"
    assert client.post("/api/check", content=deep).status_code == 400
    assert client.post("/api/check", content=b"[]").status_code == 400
    assert client.post("/api/__init__", json={}).status_code == 404


def test_every_answer_says_what_the_page_may_do(client):
    for path in ("/", "/new", "/static/page.css", "/nowhere", "/case/koi_pond"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


# --- a phone in the same network

PHONE = "192.168.1.20"
LAN = "192.168.1.5:8731"


def phone_of(folder, shared):
    found = client_of(folder, shared, PHONE, (HOST, LAN))
    found.headers.update({"host": LAN, "origin": f"http://{LAN}"})
    return found


def test_nobody_else_comes_in_without_share(folder):
    found = client_of(folder, None, PHONE).get("/")
    assert (found.status_code, found.headers["location"]) == (303, "/enter")
    assert client_of(folder, None, PHONE).get("/enter").status_code == 303


def test_the_code_lets_one_phone_in_once(folder):
    shared = Shared()
    phone, other, code = phone_of(folder, shared), phone_of(folder, shared), shared.code
    assert phone.get("/").headers["location"] == "/enter"
    assert phone.get("/case/koi_pond").status_code == 303
    assert phone.post("/api/check", json={}).status_code == 303
    assert phone.post("/enter", data={"code": "AAAAAAAA"}).status_code == 403
    entered = phone.post("/enter", data={"code": code.lower()})
    assert entered.status_code == 303
    assert "HttpOnly" in entered.headers["set-cookie"]
    assert "SameSite=Strict" in entered.headers["set-cookie"]
    assert phone.get("/", headers={"cookie": entered.headers["set-cookie"].split(";")[0]}).status_code == 200
    assert other.post("/enter", data={"code": code}).status_code == 403
    assert other.get("/", headers={"cookie": "burden_session=guess"}).status_code == 303


def test_guessing_closes_the_door(folder):
    shared = Shared()
    phone, code = phone_of(folder, shared), shared.code
    for _ in range(10):
        phone.post("/enter", data={"code": "WRONGONE"})
    assert phone.post("/enter", data={"code": code}).status_code == 403
    assert say("share.closed") in phone.post("/enter", data={"code": code}).text


# --- the catalogue


def test_every_text_the_scripts_and_templates_ask_for_is_in_the_catalogue():
    import re

    page = Path(__file__).parents[2] / "burden" / "page"
    sources = "\n".join(path.read_text() for path in (*page.glob("static/*.js"), *page.glob("*.py")))
    asked = set(re.findall(r"""say\(["']([a-z_]+\.[\w.]+)["']""", sources))
    asked |= set(re.findall(r"text\.([a-z]+\.[a-z_]+)", "\n".join(p.read_text() for p in page.glob("templates/*.j2"))))
    missing = [path for path in asked if not isinstance(_found(path), str)]
    assert missing == []
    assert len(asked) > 100


def _found(path):
    found = texts()
    for part in path.split("."):
        found = found.get(part, {})
    return found


# --- the JSON interface for other programs
needs_fastapi = pytest.mark.skipif(find_spec("fastapi") is None, reason="fastapi is not installed: the extra `api`")


@needs_fastapi
def test_a_program_reads_changes_and_sends_a_case(client, folder):
    assert [(case["case"], case["problems"]) for case in client.get("/v1/cases").json()] == [("koi_pond", 0)]
    read = client.get("/v1/cases/koi_pond").json()
    read["form"]["water"]["ph"] = 8.2
    sent = {"form": read["form"], "seen": read["seen"]}
    changed = client.put("/v1/cases/koi_pond", json=sent)
    assert (changed.status_code, changed.json()["case"]) == (200, "koi_pond")
    assert "ph = 8.2" in (folder / "koi_pond" / "case.toml").read_text()
    again = client.put("/v1/cases/koi_pond", json=sent)
    assert (again.status_code, again.json()["seen"]) == (409, changed.json()["seen"])
    read["form"]["case"]["title"] = "../../Tank 3"
    made = client.post("/v1/cases", json={"form": read["form"]})
    assert made.status_code == 201
    assert sorted(path.name for path in folder.iterdir()) == sorted(["koi_pond", made.json()["case"]])
    assert check_case(folder / made.json()["case"]).ok


@needs_fastapi
@pytest.mark.parametrize(
    ("sent", "place"),
    [
        ({}, "body.form"),
        ({"form": 3}, "body.form"),
        ({"form": {}, "more": 1}, "body.more"),
        ({"form": {"water": {"volume_l": -3}}}, "[water] volume_l"),
    ],
)
def test_a_case_that_is_none_is_refused_whole(client, folder, sent, place):
    found = client.post("/v1/cases", json=sent)
    assert found.status_code == 422
    assert place in [problem["place"] for problem in found.json()["problems"]]
    assert [path.name for path in folder.iterdir()] == ["koi_pond"]


@needs_fastapi
def test_the_interface_stands_behind_the_same_guard(folder):
    """Foreign names of the host, pages of others, other machines, and bodies no case has."""
    client, case = client_of(folder), {"form": {}}
    assert client.get("/v1/cases", headers={"host": "evil.example"}).status_code == 421
    for origin in ("http://evil.example", "null"):
        assert client.post("/v1/cases", json=case, headers={"origin": origin}).status_code == 403
    assert client.post("/v1/cases", content=b" " * (MAX_BODY + 1)).status_code == 413
    assert client.post("/v1/cases", content=b"[" * 100_000).status_code in (400, 422)
    assert client_of(folder, Shared(), peer="192.0.2.9").get("/v1/cases").status_code == 303
    for name in ("%2e%2e", "secret.txt", "koi_pond%2F..%2F..%2Foutside", "none"):
        assert client.get(f"/v1/cases/{name}").status_code == 404
    assert client.get("/v1/cases/koi_pond/report/case.toml").status_code in (404, 422)
    assert client.get("/v1/docs").status_code == 404  # the framework's own would load scripts from elsewhere


@needs_fastapi
def test_a_case_is_decided_and_decision_table_and_report_are_fetched(folder, monkeypatch, each_case_once):
    """By the very function of the worker, its report left out; a tank nobody has looked at is soon decided."""
    left_out = shutil.ignore_patterns("samples.csv", "report", "truth.toml")
    shutil.copytree(SIMULATED / "quarantine_tank", folder / "tank", ignore=left_out)
    jobs = OneJob()
    client, at = client_of(folder, jobs=jobs), "/v1/cases/tank"
    assert client.get(f"{at}/decision").json()["state"] == "none"
    assert client.get(f"{at}/table").status_code == 409
    monkeypatch.setattr("burden.report.write.report_files", lambda found: {"report.html": b"<p>yes", "dates.ics": b""})
    begun = client.post(f"{at}/decision")
    assert begun.status_code == 202
    found = begun.json()
    assert (found["state"], found["outdated"]) == ("done", False)
    assert found["decision"]["action"] in {"water_first", "dose", "look_first", "watch", "discharge"}
    # the page's customary course is the decision's own
    compared = [(plan["days"], plan["agents"]) for plan in found["decision"]["compared"]]
    assert [list(column) for column in zip(*jobs.trial.customary, strict=True)] in [[*pair] for pair in compared]
    table = client.get(f"{at}/table").json()
    assert table["columns"] == [*COLUMNS] == [*table["rows"][0]]
    assert "mean abundance (flukes per fish)" in {row["quantity"] for row in table["rows"]}
    report = client.get(f"{at}/report/report.html")
    assert (report.text, "sandbox" in report.headers["content-security-policy"]) == ("<p>yes", True)
    toml = folder / "tank" / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert client.get(f"{at}/decision").json()["outdated"]


class OneJob(NoJobs):
    """Works a case out at once, in this process."""

    def __init__(self):
        self.found, self.state = {}, None

    def begin(self, name, folder):
        from burden.page.work import _decide

        said = {}
        _decide(folder, 20, lambda what, *values: said.update({what: values}))
        self.found[name], self.state = said["done"][1], "done"
        self.trial = pickle.loads(said["burden"][1])

    def about(self, name):
        return self.state and {"state": self.state, "stage": "", "before": 0, "faults": []}


@needs_fastapi
def test_what_it_takes_and_gives_is_described(client):
    told = client.get("/v1/openapi.json").json()
    assert told["openapi"].startswith("3.")
    asked = {(path, way) for path, ways in told["paths"].items() for way in ways}
    case = "/cases/{name}"
    assert asked == {
        *(("/cases", way) for way in ("get", "post")),
        *((case, way) for way in ("get", "put")),
        *((f"{case}/decision", way) for way in ("get", "post")),
        (f"{case}/table", "get"),
        (f"{case}/report/{{file}}", "get"),
    }
    assert all(each["summary"] and each["description"] for ways in told["paths"].values() for each in ways.values())

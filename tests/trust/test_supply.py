"""Supply: no network, nothing of a case executed, every dependency with a least version, a reason, a licence."""

from __future__ import annotations

import ast
import re
import tomllib
from importlib.metadata import requires
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "burden").rglob("*.py"))
NETWORK = {"socket", "ssl", "http", "urllib", "ftplib", "smtplib", "xmlrpc", "requests", "httpx", "aiohttp", "urllib3"}
NETWORK |= {"uvicorn", "webbrowser"}
EXECUTES = {"pickle", "marshal", "shelve", "dill", "joblib", "subprocess", "code", "runpy", "yaml"}
CALLS = {"eval", "exec", "compile", "__import__", "system", "popen"}

#: what one room alone may use, and what for; the page is reached over HTTP, from this machine unless it is shared
ALLOWED = {
    "burden/page/guard.py": {"http"},  # takes the cookie of a request apart
    "burden/page/serve.py": {"socket", "uvicorn", "webbrowser"},  # listens, and opens the page here
    "burden/page/work.py": {"pickle"},  # ponds from one of our own processes to the other, by a pipe, as it sends all
}


def dangers(source: str) -> set[str]:
    """Modules and calls of a source by which it could reach a network or run what it reads."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names} & (NETWORK | EXECUTES)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            # urllib.parse only writes and reads addresses
            found |= {str(node.module).split(".")[0]} & (NETWORK | EXECUTES) if node.module != "urllib.parse" else set()
        elif isinstance(node, ast.Call):
            plain = isinstance(node.func, ast.Name)
            name = node.func.id if plain else getattr(node.func, "attr", "")
            if name in CALLS and (plain or ast.unparse(node.func).split(".")[0] in ("os", "builtins")):
                found.add(name)
            if any(word.arg == "allow_pickle" for word in node.keywords):
                found.add("allow_pickle")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_network_and_nothing_executed(path):
    allowed = ALLOWED.get(path.relative_to(ROOT).as_posix(), set())
    assert dangers(path.read_text(encoding="utf-8")) == allowed


@pytest.mark.parametrize(
    "source",
    ["import urllib.request", "from pickle import loads", "eval(x)", "import os; os.system(x)", "import socket"],
)
def test_a_danger_is_seen(source):
    assert dangers(source)


@pytest.mark.parametrize(("share", "address"), [(False, "127.0.0.1"), (True, "0.0.0.0")])
def test_the_page_listens_on_this_machine_alone_unless_it_is_shared(monkeypatch, tmp_path, share, address):
    """Of the port it serves, and of the names by which a browser may ask for it."""
    import uvicorn

    from burden.page import guard, serve

    bound, named = [], []
    monkeypatch.setattr(uvicorn.Server, "run", lambda _, sockets: bound.extend(s.getsockname() for s in sockets))
    monkeypatch.setattr(guard.Guard, "__init__", lambda self, app, hosts, shared: named.extend(hosts))
    monkeypatch.setattr(serve, "own_address", lambda: "192.0.2.7")
    serve.open_page(tmp_path, share, browser=False, tell=lambda _: None, port=0, draws=20)
    assert [host for host, _ in bound] == [address]
    assert ({name.partition(":")[0] for name in named} <= {"127.0.0.1", "localhost"}) == (not share)


def test_running_a_command_opens_no_connection(monkeypatch, tmp_path, few_ponds):
    """Sockets raise; a case is read, estimated and a dose reckoned all the same, and no word of it is looked up."""
    import socket

    from broken_cases import COUNTED, GOOD, write_case
    from click.testing import CliRunner

    from burden.cli import main

    monkeypatch.setattr(socket, "socket", lambda *_, **__: pytest.fail("a connection"))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: pytest.fail("a name looked up"))
    text = GOOD.replace("Garden pond", "https://example.org/{{ 7 * 7 }}")
    folder = write_case(tmp_path / "pond", case=text, samples=COUNTED)
    for words in (
        ["check", str(folder)],
        ["estimate", str(folder), "--draws", "20", "--quiet"],
        ["dose", "--agent", "formalin", "--volume-l", "1000"],
    ):
        found = CliRunner().invoke(main, words)
        assert found.exit_code == 0, found.output
        assert ("{{ 7 * 7 }}" in found.stdout) == (words[0] != "dose")


def needed() -> list[str]:
    with (ROOT / "pyproject.toml").open("rb") as file:
        return tomllib.load(file)["project"]["dependencies"]


@pytest.mark.parametrize("need", needed())
def test_every_dependency_has_a_least_version_its_reason_and_its_licence(need):
    name, _, least = need.partition(">=")
    assert re.fullmatch(r"\d+(\.\d+)+", least)
    line = next(x for x in (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines() if f'"{need}"' in x)
    assert len(line.partition("#")[2].split()) >= 3
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## 7. Supply")[2]
    assert re.search(rf"^\| {name} \| \S", table, re.MULTILINE)


def test_what_is_installed_asks_for_what_is_written():
    """The metadata of the installed package names the same dependencies, none besides."""
    installed = {
        re.split(r"[<>=!~ ;\[]", need)[0].lower() for need in requires("burden") or () if "extra ==" not in need
    }
    assert installed == {need.partition(">=")[0].lower() for need in needed()}


def test_code_imports_nothing_besides_its_dependencies():
    """Nor what they bring along, but for a part of pydantic and one of jinja2."""
    import sys

    known = (
        {need.partition(">=")[0] for need in needed()}
        | {
            "burden",
            "pydantic_core",
            "markupsafe",
            "openpyxl",
            "distributed",
            "fastapi",
        }  # the extras "spreadsheets", "cluster" and "api", asked for with their reason
        | set(sys.stdlib_module_names)
    )
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [str(node.module)] if isinstance(node, ast.ImportFrom) and node.level == 0 else []
            assert {name.split(".")[0] for name in names} <= known, path

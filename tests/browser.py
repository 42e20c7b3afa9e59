"""A browser without a window, driven by its own debugging protocol through a pair of pipes: no package is needed."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_FLAGS = (
    *("--headless", "--remote-debugging-pipe", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-extensions"),
    *("--disable-dev-shm-usage", "--hide-scrollbars", "--disable-default-apps"),
)
_PATIENCE_S = 90.0


def browser_path() -> str | None:
    """Where a browser is, or None."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


class Tab:
    """One page, and everything it asked for or complained of."""

    def __init__(self, write: int, read: int) -> None:
        self._write, self._read, self._number, self._buffer = write, read, 0, b""
        self.events: list[dict[str, Any]] = []
        self.session: str | None = None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send a command and return its result."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self.session is not None:
            message["sessionId"] = self.session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], _PATIENCE_S)
            part = os.read(self._read, 1 << 20) if ready else b""
            if not part:
                raise RuntimeError("the browser went silent")
            self._buffer += part
        message, self._buffer = self._buffer.split(b"\0", 1)
        return json.loads(message)

    def open(self, path: Path, width: int, height: int = 800) -> None:
        """Load a file at a width, and wait until it has loaded."""
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=True)
        self.call("Page.navigate", url=path.as_uri())
        until = time.monotonic() + _PATIENCE_S
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            assert time.monotonic() < until, "the page never finished loading"
            self.events.append(self._next())

    def run(self, expression: str) -> Any:
        """Evaluate JavaScript and return its value."""
        found = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def requests(self) -> list[str]:
        """Addresses asked for since the page was opened."""
        return [e["params"]["request"]["url"] for e in self.events if e.get("method") == "Network.requestWillBeSent"]

    def complaints(self) -> list[dict[str, Any]]:
        """Errors and warnings of the console and of scripts."""
        wanted = {"Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded"}
        return [e for e in self.events if e.get("method") in wanted]

    def pages(self) -> int:
        """Pages of paper, by the page's own size."""
        pdf = base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"])
        return pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page/")


@contextmanager
def a_tab(profile: Path) -> Iterator[Tab]:
    """Start a browser of our own, give its tab, and end it."""
    to_browser, ours = os.pipe()
    theirs, from_browser = os.pipe()
    # the browser talks on 3 and 4: keep our ends clear of these
    child = [fcntl.fcntl(fd, fcntl.F_DUPFD, 10) for fd in (to_browser, from_browser)]
    os.close(to_browser)
    os.close(from_browser)
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    shell = f'exec "$@" 3<&{child[0]} 4>&{child[1]}'
    command = ["bash", "-c", shell, "bash", browser_path(), *_FLAGS, *root, f"--user-data-dir={profile}"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
    process = subprocess.Popen(command, pass_fds=child, **quiet)
    for fd in child:
        os.close(fd)
    try:
        yield Tab(ours, theirs)
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        os.close(ours)
        os.close(theirs)

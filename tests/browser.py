"""A browser without a window, driven by Playwright: the one the system has, never one downloaded."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_FLAGS = (
    *("--disable-gpu", "--disable-quic", "--no-first-run", "--disable-dev-shm-usage", "--disable-default-apps"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-extensions"),
)
_PATIENCE_MS = 90_000


def browser_path() -> str | None:
    """Where a browser is, or None."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


def beyond(width: float) -> str:
    """JavaScript that lists elements whose right edge lies beyond a width; heads kept for readers aloud stand aside."""
    return f"""[...document.querySelectorAll('body *')]
        .filter(e => e.getBoundingClientRect().right > {width} + 0.5 && !e.closest('svg') && !e.closest('thead'))
        .map(e => e.outerHTML.slice(0, 80))"""


class Tab:
    """One page, and everything it asked for or complained of since it was opened."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def open(self, path: Path, width: int, height: int = 800) -> None:
        """Load a file at a width, and wait until it has loaded."""
        self.requests.clear()
        self.complaints.clear()
        self.page.emulate_media(media="null")
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.goto(path.as_uri())

    def run(self, expression: str) -> Any:
        """Evaluate JavaScript and return its value."""
        return self.page.evaluate(expression)

    def barriers(self) -> list[str]:
        """What axe finds that keeps people out who read with a screen reader, a keyboard or weak eyes."""
        found = Axe().run(self.page).response["violations"]
        return [f"{v['id']} ({v['impact']}): {node['html'][:120]}" for v in found for node in v["nodes"]]

    def on_paper(self, width: int) -> None:
        """Lay the page out as for paper of a width, margins aside [CSS px]; opening a page ends it."""
        self.page.emulate_media(media="print")
        self.page.set_viewport_size({"width": width, "height": 1000})

    def pages(self) -> int:
        """Pages of paper, by the page's own size."""
        pdf = self.page.pdf(prefer_css_page_size=True, print_background=True)
        return pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page/")


@contextmanager
def a_tab(fonts: Path | None = None) -> Iterator[Tab]:
    """Start a browser of our own, give a tab of it, and end it; `fonts` is a fontconfig file of its own."""
    env = os.environ | ({} if fonts is None else {"FONTCONFIG_FILE": str(fonts)})
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path(), args=[*_FLAGS, *root], env=env)
        # as a telephone lays a page out: no scroll bar takes width, and the viewport tag counts
        page = browser.new_context(is_mobile=True, viewport={"width": 360, "height": 800}).new_page()
        page.set_default_timeout(_PATIENCE_MS)
        yield Tab(page)
        browser.close()

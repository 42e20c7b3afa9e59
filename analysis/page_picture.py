"""Take README's picture of the page: fish by fish, and a dose moved along the calendar, at a phone's width.

Run with `python analysis/page_picture.py [FILE.png]`. It starts `burden open` on a copy of the invented koi pond and
drives the system's Chromium; nothing outside this machine is asked.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page

REPO = Path(__file__).parents[1]
PICTURE = REPO / "analysis" / "figures" / "page.png"
SCREEN = {"width": 390, "height": 844}
#: an address the picture's own page has for itself
PORT = 8931
#: what is worked out takes minutes on a busy machine [ms]
PATIENCE_MS = 300_000
#: grey between the two screens [px]
GAP = 24


def wait_for(address: str) -> None:
    """Wait until the page answers."""
    for _ in range(600):
        try:
            urllib.request.urlopen(address).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise SystemExit(f"{address} does not answer")


def fish_by_fish(page: Page, address: str) -> bytes:
    """The screen on which flukes are counted."""
    page.goto(f"{address}/case/koi_pond")
    page.evaluate("burden.form.go('looked')")
    last = page.locator(".counter").last
    last.evaluate("(node) => window.scrollTo(0, node.getBoundingClientRect().top + window.scrollY - 420)")
    page.wait_for_timeout(500)
    return page.screenshot()


def a_dose_moved(page: Page, address: str) -> bytes:
    """The plan in hand once the ponds are there."""
    page.goto(f"{address}/case/koi_pond/decide?start=1")
    page.wait_for_selector("#answer", timeout=PATIENCE_MS)
    page.wait_for_selector("#beside tr:nth-child(3)", timeout=PATIENCE_MS)
    page.locator('[data-plan="recommended"]').click()
    page.wait_for_timeout(2000)
    page.evaluate("window.scrollTo(0, document.getElementById('whatif').getBoundingClientRect().top + window.scrollY)")
    page.wait_for_timeout(500)
    return page.screenshot()


def side_by_side(screens: list[bytes], target: Path) -> None:
    """Write screens beside each other, in 64 colours that keep the file small."""
    from PIL import Image

    shown = [Image.open(io.BytesIO(data)).convert("RGB") for data in screens]
    width = sum(one.width for one in shown) + GAP * (len(shown) + 1)
    whole = Image.new("RGB", (width, max(one.height for one in shown) + 2 * GAP), "#eef2f5")
    at = GAP
    for one in shown:
        whole.paste(one, (at, GAP))
        at += one.width + GAP
    whole.quantize(64).save(target, optimize=True)
    print(f"{target}: {whole.width} x {whole.height} px, {target.stat().st_size / 1000:.0f} kB")


def main(target: Path = PICTURE) -> None:
    """Take the picture."""
    from playwright.sync_api import sync_playwright

    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    address = f"http://127.0.0.1:{PORT}"
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        shutil.copytree(REPO / "simulated_data" / "koi_pond", Path(made) / "koi_pond")
        command = [sys.executable, "-m", "burden", "open", made, "--no-browser", "--port", str(PORT)]
        server = subprocess.Popen(command, cwd=REPO, stdout=subprocess.DEVNULL)
        try:
            wait_for(address)
            tab = playwright.chromium.launch(executable_path=browser, args=["--no-sandbox"])
            page = tab.new_context(is_mobile=True, viewport=SCREEN, device_scale_factor=1.4).new_page()
            side_by_side([fish_by_fish(page, address), a_dose_moved(page, address)], target)
            tab.close()
        finally:
            server.terminate()
            server.wait()


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))

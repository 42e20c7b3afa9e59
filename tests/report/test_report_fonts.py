"""The report holds in any font, from a narrow one to one as wide as a typewriter's, in none, and at twice the size."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import pytest
from browser import NAMES, a_tab, beyond, browser_path
from report_cases import PAGES, koi, pages_in

from burden.report.text.day_book import days_of
from burden.utils.dates import day_in_words

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser_path() is None, reason=f"no browser: none of {', '.join(NAMES)} is installed"),
]

#: fonts that come with matplotlib, so every machine has them; the last is a machine without any
FONTS = ("STIXGeneral", "DejaVu Sans", "DejaVu Sans Mono", "")
_CONFIG = """<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig>
{folder}<cachedir>{cache}</cachedir>
<match target="pattern"><edit name="family" mode="assign" binding="strong"><string>{family}</string></edit></match>
</fontconfig>"""
#: text as large as a reader may set it: on a small telephone, a tablet upright and a desk
SIZES = (100, 150, 200)
WIDTHS = (320, 700, 1200)
#: A4 less the margins of the page [CSS px]
PAPER = 703


def config_of(family: str, folder: Path) -> Path:
    """A fontconfig file that gives one family whatever is asked for."""
    fonts = f"<dir>{Path(matplotlib.get_data_path()) / 'fonts' / 'ttf'}</dir>" if family else ""
    path = folder / "fonts.conf"
    path.write_text(_CONFIG.format(folder=fonts, cache=folder / "cache", family=family))
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return pages_in(tmp_path_factory.mktemp("browser") / "out")


@pytest.fixture(scope="module", params=FONTS, ids=lambda family: family or "none")
def tab(request, tmp_path_factory):
    with a_tab(config_of(request.param, tmp_path_factory.mktemp("fonts"))) as tab:
        tab.family = request.param
        yield tab


_WIDTHS_SEEN: dict[str, float] = {}


def test_fonts_are_those_meant(tab, folder):
    """Each family sets the same line to another width."""
    tab.open(folder / PAGES[0], 1200)
    tab.run("document.querySelector('h1').style.display = 'inline-block'")
    width = tab.run("document.querySelector('h1').getBoundingClientRect().width")
    assert width not in _WIDTHS_SEEN.values()
    _WIDTHS_SEEN[tab.family] = width


@pytest.mark.parametrize("name", PAGES)
def test_nothing_lies_beyond_the_window(tab, folder, name):
    tab.open(folder / name, 1200)
    for width in WIDTHS:
        tab.page.set_viewport_size({"width": width, "height": 800})
        for size in SIZES:
            tab.run(f"document.documentElement.style.fontSize = '{size}%'")
            assert tab.run("document.scrollingElement.scrollWidth") <= width, (width, size)
            assert tab.run(beyond(width)) == [], (width, size)


@pytest.mark.parametrize("name", PAGES)
def test_nothing_lies_beyond_the_paper(tab, folder, name):
    tab.open(folder / name, 1200)
    tab.on_paper(PAPER)
    assert tab.run(beyond(PAPER)) == []


def test_the_decision_with_its_dates_prints_on_page_one(tab, folder):
    tab.open(folder / "koi_pond/report.html", 1200)
    tab.run("[...document.querySelectorAll('.answer ~ *')].forEach(e => e.remove())")
    assert tab.pages() == 1
    said = tab.run("document.body.textContent").replace("\u00a0", " ")
    for day in days_of(koi()):
        if day.kind in ("dose", "sample"):
            assert day_in_words(day.date).rsplit(" ", 1)[0] in said


def test_every_sheet_begins_a_page_and_ends_it(tab, folder):
    """As many pages as the parts have that are printed each alone: none shares a page with the one before."""
    parts = 1 + koi_sheets(tab, folder)
    assert parts == 4  # the answer with its reasons, the owner's page, the record, the appendix
    whole = tab.pages()
    alone = []
    for kept in range(parts):
        tab.open(folder / "koi_pond/report.html", 1200)
        tab.run(f"""(() => {{ const sheets = [...document.querySelectorAll('.sheet')];
            [...document.querySelectorAll('main > *')].forEach(e => {{
                if ((sheets.includes(e) ? sheets.indexOf(e) + 1 : 0) !== {kept}) e.remove(); }}); }})()""")
        alone.append(tab.pages())
    assert whole == sum(alone)


def koi_sheets(tab, folder) -> int:
    tab.open(folder / "koi_pond/report.html", 1200)
    return tab.run("document.querySelectorAll('.sheet').length")

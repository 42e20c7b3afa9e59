"""The report as a browser shows and prints it. Skipped, with the reason, where no browser is installed."""

from __future__ import annotations

import pytest
from browser import NAMES, a_tab, beyond, browser_path
from report_cases import PAGES, blind, koi, pages_in

from burden.report.formatting import unbroken
from burden.report.text.decision import headline

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser_path() is None, reason=f"no browser: none of {', '.join(NAMES)} is installed"),
]

#: a small telephone, a common one, a desk
WIDTHS = (320, 360, 1200)
SMALLEST_TEXT = """Math.min(...[...document.querySelectorAll('p, li, td, th, figcaption, time')]
    .filter(e => e.innerText && e.getBoundingClientRect().width > 2)
    .map(e => parseFloat(getComputedStyle(e).fontSize)))"""
SMALLEST_IN_FIGURES = """Math.min(...[...document.querySelectorAll('svg text')]
    .filter(e => e.getBoundingClientRect().height > 0).map(e => e.getBoundingClientRect().height))"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return pages_in(tmp_path_factory.mktemp("browser") / "out")


@pytest.fixture(scope="module")
def tab():
    with a_tab() as tab:
        yield tab


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_quiet_alone_and_inside_the_window(tab, folder, name, width):
    tab.open(folder / name, width)
    assert tab.complaints == []
    assert tab.requests == [(folder / name).as_uri()]
    assert tab.run("document.scrollingElement.scrollWidth") <= width
    assert tab.run(beyond(width)) == []


def test_a_page_that_asks_and_sticks_out_is_seen(tab, folder, tmp_path):
    """The checks above fail on a page that fetches, complains and is too wide."""
    page = tmp_path / "bad.html"
    page.write_text("<img src='none.png'><p style='width:900px'>x</p><script>console.error('no')</script>")
    tab.open(page, 360)
    assert len(tab.requests) > 1
    assert tab.complaints
    assert tab.run(beyond(360))


@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("name", PAGES)
def test_nobody_is_kept_out(tab, folder, name, width):
    """No fault by the rules of axe (WCAG 2 and its own): names, contrast, headings, tables, landmarks."""
    tab.open(folder / name, width)
    assert tab.barriers() == []


def test_a_page_that_keeps_people_out_is_seen(tab, tmp_path):
    """The check above fails on a page of pale words, without language, title or words for its picture."""
    page = tmp_path / "closed.html"
    page.write_text("<p style='color:#ddd'>pale</p><img src='data:image/gif;base64,R0lGODlhAQABAAAAACw='>")
    tab.open(page, 360)
    found = {barrier.split(" ")[0] for barrier in tab.barriers()}
    assert found >= {"color-contrast", "html-has-lang", "document-title", "image-alt"}


@pytest.mark.parametrize("name", PAGES)
def test_text_is_large_enough_on_a_telephone(tab, folder, name):
    """Nothing under 12 CSS pixels (common practice, no source); words in figures at least 8 high."""
    tab.open(folder / name, 360)
    assert tab.run(SMALLEST_TEXT) >= 12
    if "index" not in name:
        assert tab.run(SMALLEST_IN_FIGURES) >= 8


def test_the_action_is_the_first_line_and_in_sight(tab, folder):
    tab.open(folder / "koi_pond/report.html", 360)
    lines = tab.run("[...document.querySelectorAll('.answer p')].map(p => p.innerText)")
    assert lines[0] == unbroken(headline(koi().decision))
    # the action is in sight without scrolling
    assert tab.run("document.querySelector('.answer .act').getBoundingClientRect().bottom") < 640


def test_markup_in_a_title_is_shown_not_run(tab, folder):
    tab.open(folder / "blind/report.html", 360)
    assert tab.run("document.querySelector('h1').innerText") == blind().case.title
    assert tab.run("document.querySelectorAll('script').length") == 0

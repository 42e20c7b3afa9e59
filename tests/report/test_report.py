"""The report: what stands where, what is escaped, how sure it says it is."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from report_cases import DRAWS, KOI, TITLE, blind, blind_files, koi, koi_files, page_of
from report_pages import Reader, fetched

from burden.evidence import load_agent, load_parasite
from burden.inference.kill_record import KillRecord, Trial
from burden.inference.pond_history import History
from burden.report.page.cautions import cautions_of
from burden.report.page.unknowns import unknowns_of
from burden.report.text.pond_history import kill_lines
from burden.utils.results import CredibleInterval

pytestmark = pytest.mark.usefixtures("each_case_once")


# --- what stands where ------------------------------------------------------------------------------------------------


def answer_of(page: str) -> list[str]:
    """Paragraphs of the first section, as read."""
    section = re.search(r'<section class="answer".*?</section>', page, re.S)[0]
    return [Reader(p).text.strip() for p in re.findall(r"<p.*?</p>", section, re.S)]


def test_order_of_the_sections(page):
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads[0].startswith("What was seen")
    order = ["What they will do", "Day-book", "Why this interval", "Schedules compared", "Cautions", "For the owner"]
    places = [next(i for i, head in enumerate(heads) if head.startswith(name)) for name in order]
    assert places == sorted(places)
    assert heads[-2:] == ["Treatment record", "Appendix"]


@pytest.mark.parametrize("files", [koi_files, blind_files], ids=["dosed", "withheld"])
def test_no_report_without_its_cautions(files):
    text = Reader(page_of(files())).text.lower()
    for said in (
        "poisonous to people",
        "takes the oxygen",
        "local rules and the licensed veterinarian decide",
        "withdrawal",
    ):
        assert said in text


def test_every_caution_of_every_dose_is_on_the_page(page):
    text = Reader(page).text
    handled = {step for d in koi().doses for step in load_agent(d.agent).handling}
    for d in koi().doses:
        for caution in set(d.cautions) - handled:
            if not caution.startswith(("Food fish", "Test a few fish first")):
                assert re.sub(r"\s+", " ", caution) in text
    for note in koi().notes:
        assert note.text in text


def test_history_gives_the_last_dose_no_verdict_beside_that_of_response():
    """ "Less than expected" stood in `burden history` where the report said that these samples cannot show it."""
    kill, expected = CredibleInterval(0.45, 0.05, 0.91), CredibleInterval(0.97, 0.7, 1.0)
    given = koi().case.doses_given[-1].date
    trial = Trial("praziquantel", given, given, 1, given, given + timedelta(days=10), kill, expected, 0.95)
    assert trial.verdict == "less"
    kills = (KillRecord("praziquantel", (trial,), None),)
    found = History(koi().case, "dactylogyrus", 1, DRAWS, (), np.zeros(0), np.zeros(0), (), kills)
    for said in (found.text(), found.brief()):
        assert "less than expected" not in said
        assert "says `burden response`" in said
        assert "anything from 5 to 91 %" in said
    assert "says “The last dose”" in kill_lines(found, given, "“The last dose”")[0]
    again = replace(koi().case.doses_given[-1], date=given + timedelta(days=20))
    earlier = replace(found, case=replace(koi().case, given=(*koi().case.given, again)))
    assert "less than expected" in earlier.text()


def test_every_estimate_stands_with_its_interval(page):
    for name in ("flukes a fish", "on all live fish", "fish that carry any", "aggregation k"):
        value = re.search(rf'<th scope="row">{name}</th><td>(.*?)</td>', page)[1]
        # an interval that lies wholly above 99.5 % is written as that alone (`percent_interval`)
        assert re.fullmatch(r"\S.* \(.+ to .+\)( %)?|over 99 %", value.replace("\u00a0", " "))


def test_no_number_claims_more_than_it_is_worth():
    """Nothing but the appendix, where inputs stand as they were given, carries four decimals or exponents."""
    for files in (koi_files, blind_files):
        words = Reader(re.sub(r"<svg.*?</svg>", "", page_of(files()).split('<section class="sheet appendix">')[0])).text
        assert not re.search(r"\d\.\d*[1-9]\d*e[-+]?\d", words)
        assert not re.search(r"(?<![\d.])[1-9]\d+\.\d{3,}", words)
        assert "nan" not in words.lower().split()
        assert "None" not in words


def test_assumptions_and_sources_in_full(page):
    text = Reader(page).text
    for said in (*koi().case.in_words(), *koi().case.assumptions):
        assert re.sub(r"\s+", " ", said) in text
    rows = list(csv.DictReader(io.StringIO(koi_files()["tables/sources.csv"].decode("utf-8-sig"))))
    assert set(load_parasite("dactylogyrus").source_keys()) <= {row["key"] for row in rows}
    for row in rows:
        assert row["key"] in text
        assert re.sub(r"\s+", " ", row["reference"]) in text


def test_sources_named_in_the_cautions_are_listed(page):
    keys = {row["key"] for row in csv.DictReader(io.StringIO(koi_files()["tables/sources.csv"].decode("utf-8-sig")))}
    named = {
        word for _, texts in cautions_of(koi()) for text in texts for word in re.findall(r"\b[a-z]+\d{4}[a-z]?\b", text)
    }
    assert named
    assert named <= keys


def test_record_leaves_blank_what_is_measured_on_the_day(page):
    record = re.search(r'<section class="sheet record">.*?</section>', page, re.S)[0]
    rows = re.findall(r"<tr><th scope=\"row\">\d.*?</tr>", record, re.S)
    before = sum(action.action == "dose" for action in koi().case.given)
    assert len(rows) == before + len(koi().doses)
    for row, given in zip(rows[before:], koi().doses, strict=True):
        assert f'data-head="mg/L">{given.mg_l:g}<' in row
        for blank in ("batch", "°C before", "°C after", "O₂ before [mg/L]", "O₂ after [mg/L]", "given by"):
            assert f'data-head="{blank}">____<' in row


# --- what a case says is text, never markup ---------------------------------------------------------------------------


def test_text_from_a_case_is_escaped():
    page = page_of(blind_files())
    assert TITLE not in page
    assert "&lt;script&gt;" in page
    assert "script" not in {tag for tag, _ in Reader(page).tags}
    assert TITLE in Reader(page).text


def test_a_page_fetches_nothing():
    for files in (koi_files, blind_files):
        assert fetched(page_of(files())) == []
    assert fetched('<img src="http://x/y.png"><style>a { background: url(z.png) }</style><link href="a.css">')


def test_ids_are_unique(page):
    ids = [attrs["id"] for _, attrs in Reader(page).tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page))
    assert {a or b for a, b in used} <= set(ids)


# --- the same again ---------------------------------------------------------------------------------------------------


def test_no_time_of_day_and_no_path_in_any_file():
    from datetime import datetime

    year = str(datetime.now().year).encode()
    for name, content in koi_files().items():
        assert str(KOI.parent.parent).encode() not in content, name
        if year != b"2026" and name.endswith((".html", ".svg", ".ics")):
            assert not re.search(rb"(?<!\d)" + year + rb"-\d\d-\d\d", content), name


# --- how sure ---------------------------------------------------------------------------------------------------------


def test_what_matters_is_told_apart_from_chance():
    unknowns, least = unknowns_of(koi())
    assert least >= 2 / np.sqrt(koi().decision.draws)
    assert all(abs(u.correlation) > least for _, u in unknowns)
    strengths = [abs(u.correlation) for _, u in unknowns]
    assert strengths == sorted(strengths, reverse=True)


def test_a_chart_explains_what_it_shows():
    """ "Diamonds: the gaps of this schedule" stood under charts of no schedule."""
    marks = "Diamonds: the gaps of this schedule"
    assert len(koi().decision.doses) > 1
    assert marks in page_of(koi_files())
    assert not blind().decision.doses
    assert marks not in page_of(blind_files())

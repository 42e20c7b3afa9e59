"""Tables of a report, of ponds beside one another, and of a pond a row: what spreadsheets make of them."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from report_cases import blind, koi, koi_files

from burden.case import Preparation
from burden.report.files.tables import csv_bytes, safe_cell, tables_of
from burden.report.pond_row import POND_COLUMNS, POND_DATES, POND_NUMBERS, pond_row
from burden.report.text.day_book import days_of
from burden.report.text.decision import headline
from burden.report.tidy import COLUMNS, _cell, _frame, parquet_bytes, tidy_rows

pytestmark = pytest.mark.usefixtures("each_case_once")

# OWASP, "CSV Injection" (page of the OWASP Foundation, from memory): a cell must not begin with = + - @, tab or
# carriage return; a number may
INJECTIONS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1+1", "=cmd|' /C calc'!A0", "-"]


@pytest.mark.parametrize("text", INJECTIONS)
def test_no_cell_is_a_formula(text):
    cell = safe_cell(text)
    assert cell[0] not in "=+-@\t\r"
    assert cell == "'" + text


@pytest.mark.parametrize(
    ("value", "cell"), [(-3.5, "-3.5"), ("-3.5", "-3.5"), ("+1e-3", "+1e-3"), (0, "0"), (None, "")]
)
def test_numbers_stay_numbers(value, cell):
    assert safe_cell(value) == cell


def test_a_case_cannot_plant_a_formula():
    """Labels of fish are free text: they come back as text, whatever they begin with."""
    planted = [Preparation(date(2026, 5, 10), text, "netted", "gill", 1, 1) for text in INJECTIONS]
    case = replace(koi().case, samples=tuple(planted))
    table = tables_of(replace(koi(), case=case))["samples.csv"].decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(table, newline="")))
    assert [row["fish"] for row in rows] == ["'" + text for text in INJECTIONS]


def test_tables_read_back():
    """RFC 4180: lines end in CRLF, every row has as many cells as the head; numbers come back as they were."""
    for name, content in tables_of(koi()).items():
        text = content.decode("utf-8-sig")
        assert content.startswith(b"\xef\xbb\xbf"), name
        rows = list(csv.reader(io.StringIO(text, newline="")))
        assert {len(row) for row in rows} == {len(rows[0])}
        assert text.count("\r\n") >= len(rows)
    read = csv.DictReader(io.StringIO(tables_of(koi())["forecast.csv"].decode("utf-8-sig")))
    days = [row for row in read if row["course"] == "untreated"]
    assert [float(row["deaths_50"]) for row in days] == pytest.approx(koi().forecasts[0].untreated.deaths[2], rel=1e-14)


def test_csv_keeps_what_is_missing_empty():
    assert csv_bytes([{"a": float("nan"), "b": None}]).decode("utf-8-sig") == "a,b\r\n,\r\n"


def test_tidy_rows_of_two_ponds_stand_under_one_another():
    rows = [*tidy_rows(koi()), *tidy_rows(blind())]
    assert {tuple(row) for row in rows} == {COLUMNS}
    assert {row["case"] for row in rows} == {"koi_pond", "blind"}
    key = ("case", "parasite", "date", "quantity", "course", "agent")
    assert len({tuple(row[name] for name in key) for row in rows}) == len(rows)
    assert all(isinstance(row["date"], date) and row["quantity_unit"] for row in rows)
    bands = [(row["low"], row["median"], row["high"]) for row in rows if row["high"] is not None]
    bands = [band for band in bands if not np.isnan(band).any()]  # what the draws cannot say
    assert len(bands) > 100
    assert all(low <= median <= high for low, median, high in bands)


def test_the_tidy_table_says_what_the_report_says():
    rows = {(row["quantity"], row["course"]): row for row in tidy_rows(koi()) if row["date"] == koi().case.visit_date}
    burden = rows["mean abundance (flukes per fish)", None]
    found = koi().estimates[0].mean_abundance
    assert (burden["low"], burden["median"], burden["high"]) == (found.low, found.median, found.high)
    assert burden["action"] == koi().decision.action
    assert (burden["doses_given"], burden["doses_planned"]) == (len(koi().case.given), len(koi().decision.plan))


def test_one_row_a_pond_says_what_the_report_says():
    """What a farm vet wants of a pond on a Monday: date, step, agent, amount, reason, flukes with their range."""
    row = pond_row(koi())
    assert tuple(row) == POND_COLUMNS
    dose, found = koi().decision.plan[0], koi().estimates[0].mean_abundance
    assert (row["dose_date"], row["agent"], row["doses_planned"]) == (dose.date, dose.agent, len(koi().decision.plan))
    assert row["amount"] == pytest.approx(dose.product_g if dose.product_ml is None else dose.product_ml, rel=0.005)
    for name, value in (("", found.median), ("_low", found.low), ("_high", found.high)):
        assert row[f"flukes_per_fish{name}"] == pytest.approx(value, rel=0.005)
    assert row["next_date"] == min(day.date for day in days_of(koi()) if day.kind not in ("none", "care"))
    assert row["answer"] == headline(koi().decision)
    assert row["reason"]
    assert row["next_step"]
    numbers = [value for value in row.values() if isinstance(value, float) and not value.is_integer()]
    assert numbers == [float(f"{value:.3g}") for value in numbers]


def test_a_written_table_has_three_digits_and_records_as_they_are():
    row = dict.fromkeys(COLUMNS) | {"quantity": "prevalence", "high": 0.999999998438012, "low": 412.3776}
    assert (_cell(row, "high"), _cell(row, "low")) == (1.0, 412.0)
    assert _cell({**row, "quantity": "dose given", "median": 0.1875}, "median") == 0.1875


def test_a_row_a_pond_has_the_types_of_a_spreadsheet():
    frame = _frame([pond_row(koi()), pond_row(blind())], True)
    assert list(frame.columns) == list(POND_COLUMNS)
    assert list(frame["case"]) == ["koi_pond", "blind"]
    assert {str(frame[name].dtype) for name in POND_DATES} == {"datetime64[s]"}
    assert {str(frame[name].dtype) for name in POND_NUMBERS} == {"float64"}


def test_parquet_keeps_dates_and_numbers_as_such(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    (tmp_path / "t.parquet").write_bytes(parquet_bytes(tidy_rows(koi())))
    types = {field.name: str(field.type) for field in parquet.read_schema(tmp_path / "t.parquet")}
    assert (types["date"], types["visit_date"], types["median"]) == ("date32[day]", "date32[day]", "double")
    assert "null" not in types.values()


def test_frames_of_results_name_their_pond():
    frame = koi().estimates[0].to_frame()
    assert list(frame.columns) == ["case", "parasite", "date", "quantity", "unit", "median", "low", "high"]
    assert {"case", "parasite", "course", "date", "day"} <= set(koi().forecasts[0].to_frame().columns)


def test_treatments_are_those_given_then_those_planned():
    rows = list(csv.DictReader(io.StringIO(koi_files()["tables/treatments.csv"].decode("utf-8-sig"))))
    given = [a.date.isoformat() for a in koi().case.given if a.action == "dose"]
    planned = [dose.date.isoformat() for dose in koi().decision.plan]
    assert [(row["state"], row["date"]) for row in rows] == [
        *(("given", day) for day in given),
        *(("planned", day) for day in planned),
    ]
    assert {row["withdrawal_end"] for row in rows} == {""}  # koi that nobody eats
    assert given
    for row, dose in zip(rows[len(given) :], koi().decision.plan, strict=True):
        for name, amount in (("product_g", dose.product_g), ("product_ml", dose.product_ml)):
            told = float(row[name]) if row[name] else None
            assert told == (amount if amount is None else pytest.approx(amount, rel=0.005))  # three digits

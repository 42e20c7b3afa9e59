"""The tables of a report as CSV: one number a cell, units in the heads, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from typing import Any

from burden.decision import Assessment
from burden.inference.pond_history import HISTORY_COLUMNS
from burden.report.files.treatments import TREATMENT_COLUMNS, treatments_of
from burden.report.page.sources import sources_of
from burden.report.text.day_book import days_of
from burden.utils.safe_text import cell_text

__all__ = ["CSV_FORM", "csv_bytes", "safe_cell", "tables_of"]

CSV_FORM = (
    "UTF-8 with a byte-order mark, so that a spreadsheet shows ° and – right; commas between cells, decimal points; a "
    "text cell that begins with = + - @ carries an apostrophe, so that no spreadsheet runs it"
)


def safe_cell(value: Any) -> str:
    """Write a cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("-3.5"), safe_cell(None), safe_cell(0.1)
    ("'=1+1", '-3.5', '', '0.1')
    """
    if value is None:
        return ""
    if isinstance(value, float):
        # 15 figures: what a double carries whatever the machine, and 0.1 stays 0.1
        return "" if value != value else f"{value:.15g}"
    return cell_text(str(value))


def csv_bytes(rows: Sequence[Mapping[str, Any]], columns: Sequence[str] | None = None) -> bytes:
    """Return rows as CSV.

    Parameters
    ----------
    rows : sequence of mapping
    columns : sequence of str, optional
        Heads, in order; those of the rows when not given.
    """
    columns = list(columns or dict.fromkeys(key for row in rows for key in row))
    text = StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([safe_cell(column) for column in columns])
    writer.writerows([safe_cell(row.get(column)) for column in columns] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def tables_of(visit: Assessment) -> dict[str, bytes]:
    """Return every table of a report by its name."""
    return {
        "estimate.csv": csv_bytes(_estimate(visit), ("parasite", "quantity", "median", "low_5", "high_95")),
        "forecast.csv": csv_bytes([row for f in visit.forecasts for row in f.rows()]),
        "changes.csv": csv_bytes(_changes(visit), _CHANGES_COLUMNS),
        "history.csv": csv_bytes([row for h in visit.histories for row in h.rows()], HISTORY_COLUMNS),
        "day_book.csv": csv_bytes(_day_book(visit), ("date", "kind", "action", "step")),
        "schedules.csv": csv_bytes(_schedules(visit), _SCHEDULE_COLUMNS),
        "treatments.csv": csv_bytes(treatments_of(visit), TREATMENT_COLUMNS),
        "samples.csv": csv_bytes(_samples(visit), _SAMPLE_COLUMNS),
        "sources.csv": csv_bytes(sources_of(visit), ("key", "reference", "used_for")),
    }


def _estimate(visit: Assessment) -> list[dict[str, Any]]:
    rows = []
    for e in visit.estimates:
        rows += [
            {"parasite": e.parasite, "quantity": r["quantity"], "median": r["median"], "low_5": r["low"],
             "high_95": r["high"]}
            for r in e.rows()
        ]  # fmt: skip
        rows.append({"parasite": e.parasite, "quantity": "probability infected", "median": e.probability_infected})
    return rows


_CHANGES_COLUMNS = (
    *("parasite", "since", "quantity", "then_median", "then_low", "then_high", "now_median", "now_low", "now_high"),
    "verdict",
)


def _changes(visit: Assessment) -> list[dict[str, Any]]:
    """What moved since the last visit, a row a quantity; no row where there was none."""
    found = [c for c in visit.changes if c is not None]
    return [{"parasite": c.parasite, "since": c.since.isoformat(), **row} for c in found for row in c.rows()]


def _day_book(visit: Assessment) -> list[dict[str, Any]]:
    """The day-book, a row a step."""
    return [
        {"date": day.date.isoformat(), "kind": day.kind, "action": day.headline, "step": step}
        for day in days_of(visit)
        for step in (day.steps or ("",))
    ]


_SCHEDULE_COLUMNS = (
    *("role", "doses", "dates", "agents", "aim", "aim_chance", "control_chance", "elimination_mean"),
    *("check_date", "fluke_deaths_median", "fluke_deaths_low_5", "fluke_deaths_high_95", "other_deaths_median"),
    *("left_per_1000_median", "left_per_1000_low_5", "left_per_1000_high_95"),
)


def _schedules(visit: Assessment) -> list[dict[str, Any]]:
    from burden.report.formatting import on_day

    found, start = visit.decision.recommendation, visit.case.visit_date
    return [
        {
            "role": one.name,
            "doses": one.schedule.doses,
            "dates": " ".join(on_day(start, day).isoformat() for day in one.schedule.plan.days),
            "agents": " ".join(one.schedule.plan.agents),
            "aim": found.aim.kind,
            "aim_chance": one.schedule.chance(found.aim),
            "control_chance": float(one.schedule.kept.mean()),
            "elimination_mean": one.schedule.elimination.mean,
            "check_date": on_day(start, one.schedule.check_day).isoformat(),
            "fluke_deaths_median": one.schedule.fluke_deaths.median,
            "fluke_deaths_low_5": one.schedule.fluke_deaths.low,
            "fluke_deaths_high_95": one.schedule.fluke_deaths.high,
            "other_deaths_median": one.schedule.other_deaths.median,
            "left_per_1000_median": one.schedule.left_per_1000.median,
            "left_per_1000_low_5": one.schedule.left_per_1000.low,
            "left_per_1000_high_95": one.schedule.left_per_1000.high,
        }
        for one in visit.decision.compared
    ]


_SAMPLE_COLUMNS = (
    *("date", "fish", "chosen", "site", "method", "count_low", "count_high", "readable", "fraction_examined"),
    *("parasite", "species", "stage", "weight_g", "lethal", "hours_dead"),
)


def _samples(visit: Assessment) -> list[dict[str, Any]]:
    return [{column: getattr(row, column) for column in _SAMPLE_COLUMNS} for row in visit.case.samples]

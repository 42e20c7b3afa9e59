"""Rows of the logs of a case as a form has them, and as CSV: one spelling, whatever the file's own was."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from datetime import time

from burden.case import Case, Preparation, RecordedTemperature
from burden.io.csv_logs import SAMPLE_COLUMNS

__all__ = ["LOGS", "csv_of", "death_rows", "reading_rows", "sample_rows"]

#: columns of each log a form can write, required ones first
LOGS: Mapping[str, tuple[str, ...]] = {
    "samples": (*SAMPLE_COLUMNS[0], *SAMPLE_COLUMNS[1]),
    "deaths": ("date", "deaths"),
    "readings": ("date", "time", "temperature_c"),
}
#: columns that are written even where no row fills them
_ALWAYS = {
    "samples": (*SAMPLE_COLUMNS[0], "method", "fraction_examined", "weight_g"),
    "deaths": ("date", "deaths"),
    "readings": ("date", "temperature_c"),
}


def sample_rows(case: Case) -> list[dict[str, str]]:
    """Return the preparations as rows of text, empty cells left out."""
    return [{key: text for key, text in _sample(case, row) if text} for row in case.samples]


def _sample(case: Case, row: Preparation) -> Iterator[tuple[str, str]]:
    yield "date", row.date.isoformat()
    yield "fish", row.fish
    yield "chosen", row.chosen
    yield "site", row.site
    yield "count", _count(row)
    yield "method", row.method or ""
    yield "fraction_examined", _number(row.fraction_examined)
    # the reader fills in the only set of a case; the row itself need not name it
    yield "parasite", (row.parasite or "") if len(case.parasites) > 1 else ""
    yield "species", row.species or ""
    yield "stage", row.stage or ""
    yield "weight_g", _number(row.weight_g)
    yield "lethal", "" if row.lethal is None else "yes" if row.lethal else "no"
    yield "hours_dead", _number(row.hours_dead)


def _count(row: Preparation) -> str:
    if not row.readable:
        return ""
    if row.count_high is None:
        return f">={row.count_low}" if row.count_low == 0 else f">{row.count_low - 1}"
    return str(row.count_low) if row.exact else f"{row.count_low}-{row.count_high}"


def _number(value: float | None) -> str:
    if value is None:
        return ""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def death_rows(case: Case) -> list[dict[str, str]]:
    """Return the log of deaths as rows of text."""
    return [{"date": row.date.isoformat(), "deaths": str(row.deaths)} for row in case.deaths]


def reading_rows(record: RecordedTemperature) -> list[dict[str, str]]:
    """Return the readings as rows of text; noon stands for a date alone."""
    return [
        {"date": when.date().isoformat()}
        | ({} if when.time() == time(12) else {"time": when.time().isoformat()})
        | {"temperature_c": _number(float(value))}
        for when, value in zip(record.times, record.temperatures_c, strict=True)
    ]


def csv_of(log: str, rows: Sequence[Mapping[str, str]]) -> str:
    """Return rows as a CSV file.

    Parameters
    ----------
    log : str
        A name of `LOGS`.
    rows : sequence of mapping
        Column to text.
    """
    filled = {column for row in rows for column, text in row.items() if text}
    columns = [column for column in LOGS[log] if column in filled or column in _ALWAYS[log]]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([row.get(column, "") for column in columns] for row in rows)
    return stream.getvalue()

"""One tidy table of many cases: a row a case, parasite, date and quantity, in one unit, with median, low and high.

Rows of one pond can be put under those of another: each carries its site, its unit and its case. `low` and `high` are
the 5 and 95 % points. A dose is a row too, its strength the number, so that a course can be read beside the flukes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import date
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.decision import Assessment, assess
from burden.report.files.tables import csv_bytes
from burden.report.pond_row import POND_COLUMNS, POND_DATES, POND_NUMBERS, pond_row
from burden.utils.errors import InputError, Problem
from burden.utils.formatting import significant
from burden.utils.parallel import each
from burden.utils.results import Result

__all__ = ["COLUMNS", "TableResult", "parquet_bytes", "tidy_rows", "tidy_table", "write_table"]

#: in order; `case` is the folder, `site` and `unit` the parts of a title "Site / unit", as an import writes it
COLUMNS = (
    *("site", "unit", "case", "visit_date", "parasite", "date", "quantity", "course", "agent", "quantity_unit"),
    *("median", "low", "high", "action", "doses_given", "doses_planned", "draws", "seed"),
)
_DATES, _NUMBERS = ("visit_date", "date"), ("median", "low", "high")
#: quantities somebody wrote down, which are not rounded
_RECORDED = ("dose given", "flukes counted", "preparations", "fish found dead")


@dataclass(frozen=True, eq=False)
class TableResult(Result):
    """One table of several cases, written.

    Parameters
    ----------
    file : str
    table : tuple of mapping
        Its rows.
    cases : tuple of str
    columns : tuple of str
    """

    file: str
    table: tuple[dict[str, Any], ...]
    cases: tuple[str, ...]
    columns: tuple[str, ...] = COLUMNS

    def as_dict(self) -> dict[str, Any]:
        """Return the file, its columns, and how many rows it has."""
        return {"file": self.file, "columns": list(self.columns), "rows": len(self.table), "cases": list(self.cases)}

    def rows(self) -> list[dict[str, Any]]:
        """Return the rows of the table."""
        return [dict(row) for row in self.table]


def tidy_rows(visit: Assessment) -> list[dict[str, Any]]:
    """Return the rows of one visit.

    Parameters
    ----------
    visit : Assessment

    Returns
    -------
    list of dict
        Keys of `COLUMNS`; dates as `datetime.date`, what does not apply None.
    """
    case, decision = visit.case, visit.decision
    site, _, unit = case.title.rpartition(" / ")
    about = {
        "site": site or None,
        "unit": unit or case.name,
        "case": case.name,
        "visit_date": case.visit_date,
        "action": decision.action,
        "doses_given": len(case.doses_given),
        "doses_planned": len(decision.plan),
        "draws": decision.draws,
        "seed": decision.seed,
    }
    found = [*_estimates(visit), *_deaths(visit), *_forecasts(visit), *_doses(visit), *_seen(case)]
    return [{name: {**about, **row}.get(name) for name in COLUMNS} for row in found]


def _estimates(visit: Assessment) -> Iterator[dict[str, Any]]:
    for e in visit.estimates:
        for row in e.rows():
            kept = {name: row[name] for name in ("parasite", "quantity", "median", "low", "high")}
            yield {**kept, "date": visit.case.visit_date, "quantity_unit": row["unit"]}
        yield {
            "parasite": e.parasite,
            "date": visit.case.visit_date,
            "quantity": "probability infected",
            "quantity_unit": "share",
            "median": e.probability_infected,
        }


def _deaths(visit: Assessment) -> Iterator[dict[str, Any]]:
    """Deaths to come by the horizon or the harvest of all fish, of all causes that the decision parts."""
    decision = visit.decision
    end = decision.deaths_until
    for name, value in decision.deaths.items():
        interval = {"median": value.median, "low": value.low, "high": value.high}
        yield {"date": end, "quantity": f"deaths: {name}", "quantity_unit": "fish", **interval}


def _forecasts(visit: Assessment) -> Iterator[dict[str, Any]]:
    """Flukes a fish and fish dead on each whole day of a course."""
    for f in visit.forecasts:
        for row in f.rows():
            if row["day"] != int(row["day"]):
                continue
            about = {"parasite": f.parasite, "date": date.fromisoformat(row["date"]), "course": row["course"]}
            for key, quantity, unit in (
                ("flukes_per_fish", "forecast flukes per fish", "flukes/fish"),
                ("deaths", "forecast deaths since the visit", "fish"),
            ):
                low, median, high = (row[f"{key}_{band}"] for band in (5, 50, 95))
                numbers = {"median": median, "low": low, "high": high}
                yield {**about, "quantity": quantity, "quantity_unit": unit, **numbers}


def _doses(visit: Assessment) -> Iterator[dict[str, Any]]:
    for one in visit.case.doses_given:
        strength = (one.mg_per_kg_fish, "mg/kg") if one.concentration_mg_l is None else (one.concentration_mg_l, "mg/L")
        yield _dose("dose given", one.date, one.agent, *strength)
    for dose in visit.decision.plan:
        yield _dose("dose planned", dose.date, dose.agent, dose.mg_l, "mg/L")


def _dose(quantity: str, day: date, agent: str | None, strength: float | None, unit: str) -> dict[str, Any]:
    return {"quantity": quantity, "date": day, "agent": agent, "median": strength, "quantity_unit": unit}


def _seen(case: Case) -> Iterator[dict[str, Any]]:
    """What the records hold: flukes counted on each day by set, and fish found dead."""
    readable = [row for row in case.samples if row.readable]
    for day, parasite in sorted({(row.date, row.parasite or "") for row in readable}):
        rows = [row for row in readable if (row.date, row.parasite or "") == (day, parasite)]
        about = {"parasite": parasite or None, "date": day}
        low = float(sum(row.count_low for row in rows))
        exact = all(row.exact for row in rows)
        yield {
            **about,
            "quantity": "flukes counted",
            "quantity_unit": "flukes",
            "low": low,
            "median": low if exact else None,
        }
        yield {**about, "quantity": "preparations", "quantity_unit": "preparations", "median": float(len(rows))}
    for dead in case.deaths:
        yield {"date": dead.date, "quantity": "fish found dead", "quantity_unit": "fish", "median": float(dead.deaths)}


def _rows_of(case: Case, draws: int, seed: int, one_row: bool) -> list[dict[str, Any]]:
    visit = assess(case, draws, seed, True)
    return [pond_row(visit)] if one_row else tidy_rows(visit)


def _rows(
    folders: Sequence[Path | str], draws: int, seed: int, executor: Executor | None, one_row: bool
) -> tuple[list[Any], list[Any]]:
    """Return the cases and their rows, in the order given; what is wrong with any case comes all at once."""
    from burden.io.many_checks import read_cases

    cases = read_cases(folders)
    work = partial(_rows_of, draws=draws, seed=seed, one_row=one_row)
    found = dict(each(work, cases, executor, f"{len(cases)} waters"))
    return cases, [row for i in range(len(cases)) for row in found[i]]


def tidy_table(
    folders: Sequence[Path | str],
    draws: int = 500,
    seed: int = 1,
    executor: Executor | None = None,
    one_row: bool = False,
) -> Any:
    """Return one table of many cases: tidy, or a row a pond.

    Parameters
    ----------
    folders : sequence of Path or str
        Case folders.
    draws, seed : int
        Posterior draws and seed.
    executor : concurrent.futures.Executor, optional
        Where the cases are worked out; here, one after the other, without.
    one_row : bool
        A row a pond (`burden.report.pond_row`) instead of a row a quantity.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS` or `POND_COLUMNS`, dates as datetime64.

    Raises
    ------
    InputError
        With what is wrong with any of the cases.
    """
    return _frame(_rows(folders, draws, seed, executor, one_row)[1], one_row)


def _frame(rows: Sequence[dict[str, Any]], one_row: bool = False) -> Any:
    import pandas as pd

    frame = pd.DataFrame(list(rows), columns=list(POND_COLUMNS if one_row else COLUMNS))
    # of a type even where every cell is empty, so that two tables fit under one another
    text = ("next_step", "reason", "agent", "amount_unit") if one_row else ("site", "parasite", "course", "agent")
    dates, numbers = (POND_DATES, POND_NUMBERS) if one_row else (_DATES, _NUMBERS)
    types = {
        **dict.fromkeys(dates, "datetime64[s]"),
        **dict.fromkeys(numbers, "float64"),
        **dict.fromkeys(text, "string"),
    }
    return frame.astype(types | ({"look_fish": "Int64"} if one_row else {}))


def write_table(
    folders: Sequence[Path | str],
    out: Path,
    draws: int = 500,
    seed: int = 1,
    executor: Executor | None = None,
    one_row: bool = False,
) -> TableResult:
    """Write one table of many cases as CSV or Parquet, tidy or a row a pond.

    Parameters
    ----------
    folders : sequence of Path or str
    out : Path
        Ends in .csv or .parquet; one that is there is replaced.
    draws, seed, executor, one_row
        As `tidy_table` takes them.

    Raises
    ------
    InputError
        For a file of another kind, or cases that are wrong.
    """
    _refuse_kind(out)
    cases, rows = _rows(folders, draws, seed, executor, one_row)
    columns = POND_COLUMNS if one_row else COLUMNS
    if out.suffix == ".csv":
        content = csv_bytes([{name: _cell(row, name) for name in columns} for row in rows], columns)
    else:
        content = parquet_bytes(rows, one_row)
    try:
        # whole or not at all: a table that is read elsewhere is never half there
        part = out.with_name(f".{out.name}.part")
        part.write_bytes(content)
        part.replace(out)
    except OSError as error:
        fix = "Choose a place that can be written."
        raise InputError([Problem("command line", "--out", str(out), f"a file to write ({error})", fix)]) from error
    return TableResult(str(out), tuple(rows), tuple(case.name for case in cases), columns)


def _cell(row: dict[str, Any], name: str) -> Any:
    """Return what a cell of a CSV holds: dates as ISO; worked-out numbers with three digits, records as they are."""
    value = row[name]
    if isinstance(value, date):
        return value.isoformat()
    rounded = name in _NUMBERS and row["quantity"] not in _RECORDED
    return significant(value) if rounded else value


def _refuse_kind(out: Path) -> None:
    if out.suffix not in (".csv", ".parquet"):
        raise InputError(
            [Problem("command line", "--out", out.name, "a name that ends in .csv or .parquet", "Rename it.")]
        )
    if out.suffix == ".parquet":
        from importlib.util import find_spec

        if find_spec("pyarrow") is None:
            fix = 'Install burden with its extra: pip install "burden[parquet]", or write .csv.'
            raise InputError([Problem("command line", "--out", out.name, "the package pyarrow, which writes it", fix)])


def parquet_bytes(rows: Sequence[dict[str, Any]], one_row: bool = False) -> bytes:
    """Return the rows as Parquet: dates as dates, numbers as doubles with all their digits, words as text."""
    frame = _frame(rows, one_row)
    for name in POND_DATES if one_row else _DATES:
        frame[name] = frame[name].dt.date
    stream = BytesIO()
    frame.to_parquet(stream, index=False, engine="pyarrow")
    return stream.getvalue()

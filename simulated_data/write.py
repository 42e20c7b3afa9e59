"""Writing what was seen of a simulated pond as a case folder, and what was true beside it."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np

__all__ = ["write_case_toml", "write_deaths", "write_samples", "write_temperatures", "write_truth"]

_SAMPLE_COLUMNS = (
    *("date", "fish", "chosen", "site", "count", "method"),
    *("fraction_examined", "weight_g", "lethal"),
)


def _write_csv(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_case_toml(folder: Path, template: str, **filled: object) -> None:
    """Write case.toml, its gaps in << >> filled."""
    for name, value in filled.items():
        template = template.replace(f"<<{name}>>", str(value))
    if "<<" in template:
        raise ValueError(f"a gap is left in {folder.name}: {template[template.index('<<') :][:40]}")
    (folder / "case.toml").write_text(template, encoding="utf-8", newline="\n")


def write_samples(folder: Path, rows: Sequence[Mapping[str, object]]) -> None:
    """Write samples.csv, without the columns nobody filled."""
    filled = [name for name in _SAMPLE_COLUMNS if any(row.get(name, "") != "" for row in rows)]
    _write_csv(folder / "samples.csv", filled, [{name: row.get(name, "") for name in filled} for row in rows])


def write_deaths(folder: Path, visit: date, found: Sequence[int], since: int) -> None:
    """Write deaths.csv: a first look without deaths, every day with dead fish, and the visit.

    Parameters
    ----------
    folder : Path
    visit : date
    found : sequence of int
        Day of each dead fish [d].
    since : int
        Day of the first look [d].
    """
    days = sorted({since, 0, *(day for day in found if since <= day <= 0)})
    rows = [{"date": visit + timedelta(days=day), "deaths": found.count(day)} for day in days]
    _write_csv(folder / "deaths.csv", ("date", "deaths"), rows)


def write_temperatures(folder: Path, visit: date, days: Sequence[int], temperature_c: Sequence[float]) -> None:
    """Write temperature.csv, a reading a day."""
    readings = zip(days, temperature_c, strict=True)
    rows = [{"date": visit + timedelta(days=int(day)), "temperature_c": f"{c:.1f}"} for day, c in readings]
    _write_csv(folder / "temperature.csv", ("date", "temperature_c"), rows)


def write_truth(folder: Path, remarks: Sequence[str], tables: Mapping[str, Mapping[str, object]]) -> None:
    """Write truth.toml: remarks, then tables of numbers and lists of numbers."""
    lines = [f"# {remark}" for remark in remarks]
    for name, table in tables.items():
        lines += ["", f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in table.items())]
    (folder / "truth.toml").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _toml(value: object) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, int | np.integer):
        return str(value)
    if isinstance(value, float | np.floating):
        return f"{value:.6g}" if "." in f"{value:.6g}" or "e" in f"{value:.6g}" else f"{value:.6g}.0"
    return "[" + ", ".join(_toml(each) for each in value) + "]"

"""What `burden new` wrote, as a result like any other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from burden.result import Result

__all__ = ["NewCase", "facts_of", "temperature_csv"]

_QUESTIONS = {
    "title": ("What is it called", str, None),
    "visit_date": ("Date of the visit", click.DateTime(["%Y-%m-%d"]), None),
    "species": ("Which fish", str, "koi"),
    "count": ("How many of them are alive", click.IntRange(min=1), None),
    "weight_g": ("What does one weigh on average [g]", click.FloatRange(min=0, min_open=True), None),
    "volume_l": (
        "How much water is there, filter and pipes included [L]",
        click.FloatRange(min=0, min_open=True),
        None,
    ),
    "temperature_c": ("How warm is the water [°C]", click.FloatRange(-2, 40), None),
}


@dataclass(frozen=True)
class NewCase(Result):
    """A case folder just begun.

    Parameters
    ----------
    folder : Path
    files : tuple of Path
        Files written.
    """

    folder: Path
    files: tuple[Path, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"folder": str(self.folder), "files": [path.name for path in self.files]}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a file."""
        return [{"file": str(path)} for path in self.files]

    def text(self) -> str:
        """Return what is there and what comes next."""
        return (
            f"{self.folder} holds {', '.join(path.name for path in self.files)}.\n"
            "Write your own values over those in case.toml, and a row a preparation into samples.csv; then:\n"
            f"  burden check {self.folder}\n"
            f"  burden report {self.folder}"
        )


def facts_of(given: Mapping[str, Any], ask: bool) -> dict[str, Any]:
    """Return what the options and the answers say, by key of case.toml.

    Parameters
    ----------
    given : mapping of str to value
        Options of `burden new`; None where not given.
    ask : bool
        Whether to ask for what is missing.

    Returns
    -------
    dict

    Raises
    ------
    click.UsageError
        Where the water is given in two ways.
    """
    told = {key: value for key, value in given.items() if value is not None}
    ways = [way for way in ("volume_l", "size_m", "salt") if way in told]
    if len(ways) > 1:
        raise click.UsageError("give the water once: --volume-l, --size-m or --salt")
    for key, (question, kind, usual) in _QUESTIONS.items():
        if ask and key not in told and not (key == "volume_l" and ways):
            told[key] = click.prompt(question, type=kind, default=usual, err=True)
    if "visit_date" in told:
        told["visit_date"] = told["visit_date"].date()
    if ways:
        told["volume_l"] = _water(told)
    named = {"weight_g": "mean_weight_g"}
    return {named.get(k, k): v for k, v in told.items() if k not in ("size_m", "salt", "shape")}


def temperature_csv(
    readings: Sequence[tuple[datetime, float]], logger: Path | None, steady: float | None
) -> str | None:
    """Return what temperature.csv is to hold: readings by hand in order, or a logger's file as it is; None for neither.

    Raises
    ------
    click.UsageError
        Where the temperature is given in two ways, or the file is no text.
    """
    if (steady is not None) + (logger is not None) + bool(readings) > 1:
        raise click.UsageError("give the temperature once: --temperature-c, --reading or --logger")
    if logger is not None:
        try:
            return logger.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise click.UsageError(f"--logger: {error}; save it as a CSV file in UTF-8") from error
    if not readings:
        return None
    rows = [f"{day.date().isoformat()},{celsius:g}" for day, celsius in sorted(readings)]
    return "\n".join(["date,temperature_c", *rows, ""])


def _water(told: Mapping[str, Any]) -> Any:
    from burden.casefile.begin import volume_by_salt_words, volume_by_shape

    if "salt" in told:
        return volume_by_salt_words(*told["salt"])
    return volume_by_shape(*told["size_m"], told["shape"]) if "size_m" in told else told["volume_l"]

"""What `burden new` is told, by option or answer, and what it wrote."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from burden.cli.prompts import questions
from burden.io.new_folder import clip_share_words, logger_record, volume_by_salt_words, volume_by_shape
from burden.utils.results import Result

__all__ = ["Begun", "NewCase", "begin", "copy_demo"]


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
        # quoted as both kinds of shell take it
        named = f'"{self.folder}"' if " " in str(self.folder) else str(self.folder)
        return (
            f"{self.folder} holds {', '.join(path.name for path in self.files)}.\n"
            "Replace the values in case.toml with your own, and write one row per preparation into samples.csv. Then:\n"
            f"  burden check {named}\n"
            f"  burden report {named}"
        )


@dataclass(frozen=True)
class Begun:
    """What is known of a case that begins.

    Parameters
    ----------
    facts : mapping of str to value
        By key of case.toml.
    remarks : mapping of str to str
        What is to stand beside a key.
    temperature_csv : str or None
        What temperature.csv is to hold.
    """

    facts: Mapping[str, Any]
    remarks: Mapping[str, str]
    temperature_csv: str | None


#: beside the volume, by how it was found
_VOLUME_REMARKS = {
    "size_m": "from the pond's measures [L]; add filter, sump and pipes to all three numbers",
    "salt": "from the salt test [L]: all the water the salt mixed into; low and high from the meter's error",
}
_NAMES = {"weight_g": "mean_weight_g"}
_PLAIN = ("title", "visit_date", "species", "count", "weight_g", "food_fish")


def begin(given: Mapping[str, Any], ask: bool) -> Begun:
    """Join what the options say and what is answered.

    Parameters
    ----------
    given : mapping of str to value
        Options of `burden new`; None, or nothing, where not given.
    ask : bool
        Whether to ask for what is missing.

    Returns
    -------
    Begun

    Raises
    ------
    click.UsageError
        Where the water or its temperature is given in two ways.
    InputError
        For a logger's file that is none, or more on a slide than a fish has.
    """
    told = {key: value for key, value in given.items() if value not in (None, ())}
    _once(told, "the water", {"volume_l": "--volume-l", "size_m": "--size-m", "salt": "--salt"})
    _once(told, "the temperature", {"temperature_c": "--temperature-c", "readings": "--reading", "logger": "--logger"})
    if ask:
        told |= questions(told)
    facts = {_NAMES.get(key, key): told[key] for key in _PLAIN if key in told}
    volume, remark = _volume(told)
    facts |= volume
    record = _record(told)
    if record is not None:
        facts["temperature_c"] = "temperature.csv"
    elif "temperature_c" in told:
        facts["temperature_c"] = told["temperature_c"]
    if "gill_clip" in told:
        pieces, of = told["gill_clip"]
        facts["gill_clip_share"] = clip_share_words(pieces, of, told.get("weight_g"))
    return Begun(facts, {"volume_l": remark} if remark else {}, record)


def copy_demo(name: str, folder: Path, given: Mapping[str, Any], ask: bool) -> list[Path]:
    """Begin a case as a copy of an invented one, and return its files.

    Raises
    ------
    click.UsageError
        Where other options say what the case is to hold.
    """
    from burden.io import new_case

    if ask or any(value not in (None, (), "rectangle") for value in given.values()):
        raise click.UsageError("give --demo alone: it copies a case as it is")
    here = Path(__file__).parents[1]
    # beside the package in a checkout, inside it where it was installed
    source = next(place for place in (here / "demo" / name, here.parent / "simulated_data" / name) if place.is_dir())
    texts = {path.name: path.read_text(encoding="utf-8") for path in sorted(source.glob("*.csv"))}
    return new_case(folder, (source / "case.toml").read_text(encoding="utf-8"), more=texts)


def _once(told: Mapping[str, Any], what: str, ways: Mapping[str, str]) -> None:
    if sum(way in told for way in ways) > 1:
        *first, last = ways.values()
        raise click.UsageError(f"give {what} once: {', '.join(first)} or {last}")


def _volume(told: Mapping[str, Any]) -> tuple[dict[str, Any], str | None]:
    if "salt" in told:
        return {"volume_l": volume_by_salt_words(*told["salt"])}, _VOLUME_REMARKS["salt"]
    if "size_m" in told:
        length_m, width_m, depth_m = told["size_m"]
        volume = volume_by_shape(length_m, width_m, depth_m, told["shape"])
        return {"volume_l": volume}, _VOLUME_REMARKS["size_m"]
    return ({"volume_l": told["volume_l"]} if "volume_l" in told else {}), None


def _record(told: Mapping[str, Any]) -> str | None:
    """What temperature.csv is to hold: a logger's file as it is, or readings by hand in order."""
    if "record" in told:
        return str(told["record"])
    if "logger" in told:
        return logger_record(told["logger"])
    if "readings" not in told:
        return None
    rows = [f"{day.isoformat()},{celsius:g}" for day, celsius in sorted(told["readings"])]
    return "\n".join(["date,temperature_c", *rows, ""])

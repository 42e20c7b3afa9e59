"""How one value of case.toml is read: a number within limits, a date, yes or no, one word of several, text."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator
from pydantic_core import PydanticCustomError

from burden.case import WEEKDAYS
from burden.io.cells import TEMPERATURE_LIMITS_C, CellError, day_from_text, temperature_fix
from burden.io.files import hint
from burden.utils.safe_text import one_line

__all__ = [
    "AtLeast0",
    "Day",
    "Name",
    "NumberLimits",
    "Positive",
    "Temperature",
    "Text",
    "YesNo",
    "as_list",
    "choice",
    "day_of_year",
    "form_of",
    "label",
    "number",
    "or_yes_no",
    "visit_day",
    "water_share",
    "whole",
    "wrong",
]


def wrong(fix: str) -> PydanticCustomError:
    """Make the error of a value, with what to write instead."""
    return PydanticCustomError("wrong_value", "{fix}", {"fix": fix})


@dataclass(frozen=True)
class NumberLimits:
    """Accepts a finite number from `low` (not itself if `above`) to `high`; a boolean is no number."""

    low: float = 0.0
    high: float = math.inf
    above: bool = False
    fix: Callable[[float], str] | None = None

    def __call__(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise wrong("Write a plain number: no quotes, no unit, a point for decimals.")
        if not abs(value) < 1e300:  # also nan, inf and whole numbers no float can hold
            raise wrong("Write a finite number, or leave the key out if nobody measured.")
        if not self.low <= value <= self.high or (self.above and value <= self.low):
            raise wrong(self.fix(value) if self.fix else f"It must be {self.words()}. Check the unit.")
        return float(value)

    def words(self) -> str:
        """Return the limits in words."""
        end = f" to {self.high:g}" if self.high < math.inf else ""
        return f"{'above' if self.above else 'from'} {self.low:g}{end}"


def number(low: float = 0.0, high: float = math.inf, **more: Any) -> BeforeValidator:
    """Accept a finite number within `NumberLimits`."""
    return BeforeValidator(NumberLimits(low, high, **more))


def whole(low: int) -> BeforeValidator:
    """Accept a whole number from `low`."""

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
            raise wrong("Write a whole number, without quotes.")
        if value != int(value) or value < low:
            raise wrong(f"Write a whole number, {low} or more.")
        return int(value)

    return BeforeValidator(check)


def choice(*known: str) -> BeforeValidator:
    """Accept one of these words, however spaced and in capitals or not."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise wrong("Write it as text, in quotes.")
        word = value.strip().lower().replace(" ", "_")
        if word not in known:
            raise wrong(hint(word, known))
        return word

    return BeforeValidator(check)


def _yes_no(value: Any) -> bool:
    answers = {"yes": True, "no": False, "true": True, "false": False}
    if isinstance(value, str):
        value = answers.get(value.strip().lower(), value)
    if isinstance(value, str) and value.strip().lower() in ("unknown", "not known", "?"):
        raise wrong('Where nobody knows leave the line out; else write "yes" or "no".')
    if not isinstance(value, bool):
        raise wrong('Write "yes" or "no", or true or false.')
    return value


def _day(value: Any) -> dt.date:
    if isinstance(value, dt.date):  # a date and time too: its date counts
        value = f"{value.year:04d}-{value.month:02d}-{value.day:02d}"
    if not isinstance(value, str):
        raise wrong("Write the date as 2026-05-10.")
    try:
        return day_from_text(value)
    except CellError as error:
        raise wrong(error.fix) from error


def day_of_year(value: Any) -> tuple[int, int]:
    """Read an ISO date or MM-DD as (month, day)."""
    if isinstance(value, str) and len(value.strip()) == 5:
        value = f"2000-{value.strip()}"  # a leap year, so that 02-29 is a day
    day = _day(value)
    return (day.month, day.day)


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise wrong("Write it as text, in quotes, not empty.")
    return one_line(value).strip()


def label(value: Any) -> str:
    """Read the label of a fish, a number as samples.csv has it or a word."""
    return _text(str(value) if isinstance(value, int) and not isinstance(value, bool) else value)


def _name(value: Any) -> str:
    return _text(value).lower().replace(" ", "_").replace("-", "_")


def visit_day(value: Any) -> str | dt.date | int:
    """Read a weekday, also a short one, a date, or whole days after the visit."""
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 3650:
        return value
    if isinstance(value, str):
        word = value.strip().lower()
        full = [day for day in WEEKDAYS if len(word) >= 2 and day.startswith(word)]
        if full:
            return full[0]
        if word[:1].isalpha():
            raise wrong(hint(word, WEEKDAYS))
    return _day(value)


def water_share(value: Any) -> Any:
    """Refuse a percentage written for a share of the water."""
    if isinstance(value, int | float) and 1 < value <= 100:
        raise wrong(f"Write a share: {value:g} % is {value / 100:g}.")
    return value


def or_yes_no(value: Any) -> str:
    """Tell a yes or no, which leaves the number open, from a number."""
    return "form:yes_no" if isinstance(value, bool | str) else "form:number"


def form_of(value: Any) -> str:
    """Name the form a value is written in, to choose the branch that tells what is wrong with it."""
    if isinstance(value, BaseModel | Mapping):
        return "form:table"
    if isinstance(value, list | tuple):
        return "form:list"
    return "form:text" if isinstance(value, str) else "form:number"


def as_list(value: Any) -> Any:
    """Return one value as a list of one; words with commas between them are several."""
    if isinstance(value, str):
        return [word.strip() for word in value.split(",")]
    return [value] if isinstance(value, Mapping) else value


Positive = Annotated[float, number(above=True)]
AtLeast0 = Annotated[float, number()]
Temperature = Annotated[float, number(*TEMPERATURE_LIMITS_C, fix=temperature_fix)]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
Day = Annotated[dt.date, BeforeValidator(_day)]
Text = Annotated[str, BeforeValidator(_text)]
Name = Annotated[str, BeforeValidator(_name)]

"""Problems of a case by the field of the form they belong to."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from burden.utils.errors import Problem
from burden.utils.formatting import capitalised

__all__ = ["as_field", "path_in_form", "path_of"]

_TABLE = re.compile(r"\[\[?(?P<table>\w+)(?:\.(?P<inner>[^\]]+))?\]\]?(?: (?P<rest>.*))?")
_CELL = re.compile(r"row (?P<row>\d+), column (?P<column>\w+)")
_LISTS = ("fish", "arrivals", "given", "planned")


def path_of(problem: Problem, form: Mapping[str, Any]) -> list[str | int]:
    """Return where in the form a problem stands; the table alone where its place is no key.

    Parameters
    ----------
    problem : Problem
    form : mapping
        The form it was found in, whose rows stand in the file in this order.

    Examples
    --------
    >>> path_of(Problem("case.toml", "[[given]] 2 date", "", "", ""), {})
    ['given', 1, 'date']
    >>> path_of(Problem("samples.csv", "row 3, column count", "", "", ""), {})
    ['samples', 1, 'count']
    """
    if problem.file.endswith(".csv"):
        log = problem.file.removesuffix(".csv")
        log = log if log in ("samples", "deaths") else "readings"
        cell = _CELL.match(problem.place)
        return [log, int(cell["row"]) - 2, cell["column"]] if cell else [log]
    found = _TABLE.match(problem.place)
    if found is None:
        return ["case"]
    path: list[str | int] = [found["table"]]
    words = (found["rest"] or "").split()
    if found["table"] in _LISTS:
        number = int(words.pop(0)) - 1 if words and words[0].isdigit() else 0
        path.append(number)
    if found["inner"]:
        path += ["override", found["inner"]]
    return path + [int(word) - 1 if word.isdigit() else word for word in words]


def path_in_form(place: str) -> list[str | int]:
    """Return a place with points between as a path.

    Examples
    --------
    >>> path_in_form("samples.3.weight_g")
    ['samples', 3, 'weight_g']
    """
    return [int(part) if part.isdigit() else part for part in place.split(".")]


def as_field(problem: Problem, form: Mapping[str, Any]) -> dict[str, Any]:
    """Return a problem as the page shows it: its path, its place in words, what was expected and what to do."""
    path = path_of(problem, form)
    expected = capitalised(problem.expected)
    shown = "" if problem.value == "missing" else f"“{problem.value}”: "
    return {"path": path, "place": problem.place, "text": f"{shown}{expected}. {problem.fix}".strip()}

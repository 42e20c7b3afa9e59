"""What every sampling plan has in common: fish, fish killed, the reason, and what would change it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from burden.utils.errors import InputError, Problem
from burden.utils.results import CredibleInterval, Result, number

__all__ = [
    "AT_RANDOM",
    "MOST_PREPARATIONS",
    "SamplingPlan",
    "check_numbers",
    "percent",
    "percent_range",
    "rounds_in_words",
]

#: said by every plan, because a plan is only as good as the net
AT_RANDOM = "fish netted at random; the slow and the weak carry more, and they come to the net first"
#: more from one live fish is not done (common practice, no source)
MOST_PREPARATIONS = 6


@dataclass(frozen=True, kw_only=True)
class SamplingPlan(Result):
    """A sampling plan.

    Parameters
    ----------
    fish : int or None
        Fish to sample; None where no number of fish answers the question, and `reason` says why.
    fish_killed : int
        Healthy fish killed for it; moribund fish do not count.
    reason : str
        Why this plan, in words.
    what_would_change : tuple of str
        What would change it.
    """

    fish: int | None
    fish_killed: int = 0
    reason: str
    what_would_change: tuple[str, ...]

    def headline(self) -> str:
        """Return the plan in one line."""
        raise NotImplementedError

    def as_dict(self) -> dict[str, Any]:
        """Return every part of the plan as plain Python, null where a number cannot be given."""
        last = ("reason", "what_would_change")
        names = [f.name for f in fields(self) if f.name not in last]
        return {name: _plain(getattr(self, name)) for name in (*names, *last)}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row: the numbers and words of the plan that fit a cell."""
        return [{k: v for k, v in self.as_dict().items() if not isinstance(v, list | dict)}]

    def text(self) -> str:
        """Return the plan, its reason and what would change it."""
        killed = (
            "No healthy fish is killed: look at moribund fish whole, at the others live."
            if not self.fish_killed
            else f"{self.fish_killed} of them are killed and looked at whole."
        )
        change = "\n".join(f"- {item}" for item in self.what_would_change)
        return f"{self.headline()}\n{self.reason}\n{killed}\nWhat would change it:\n{change}"


def _plain(value: Any) -> Any:
    if isinstance(value, CredibleInterval | Result):
        return value.as_dict()
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    return number(value)


def rounds_in_words(clean_rounds: Result | None) -> str:
    """Return what clean rounds tell, a line a round; empty where none were asked for."""
    if clean_rounds is None:
        return ""
    table = [
        f"{row['round']:>5}  {percent(row['absent_before']):>11}  {percent(row['absent_after']):>11}"
        for row in clean_rounds.rows()
    ]
    return "\n".join(["", "", clean_rounds.text(), "", "round       before        after", *table])


def check_numbers(rules: Iterable[tuple[str, Any, bool, str, str]]) -> None:
    """Raise every problem of a plan's numbers at once.

    Parameters
    ----------
    rules : iterable of (option, value, holds, expected, fix)
        `holds` says whether the value is as expected.

    Raises
    ------
    InputError
        With one problem for every rule that does not hold.
    """
    wrong = [
        Problem("command line", option, "missing" if value is None else str(value), expected, fix)
        for option, value, holds, expected, fix in rules
        if not holds
    ]
    if wrong:
        raise InputError(wrong)


def percent(share: float) -> str:
    """Write a share as percent for people, with what digits it needs.

    Examples
    --------
    >>> percent(0.05), percent(0.125)
    ('5 %', '12.5 %')
    >>> percent(0.9999)  # nearly sure is not sure
    'over 99.9 %'
    """
    rounded = float(np.round(100 * share, 1))
    return f"{rounded:g} %" if share >= 1 or rounded < 100 else "over 99.9 %"


def percent_range(share: CredibleInterval) -> str:
    """Write a share with its interval as percent, the interval left out where the draws agree.

    Examples
    --------
    >>> percent_range(CredibleInterval(0.5, 0.4, 0.62)), percent_range(CredibleInterval(0.5, 0.5, 0.5))
    ('50 (40 to 62) %', '50 %')
    """
    if share.high - share.low < 1e-9:
        return percent(share.median)
    return f"{share.text(2, 100)} %"

"""Answers and problems as they leave: words for people, or one JSON object for programs."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from burden.utils.safe_text import json_text, shown

if TYPE_CHECKING:
    from burden.utils.errors import Problem
    from burden.utils.results import Result

__all__ = ["Answer", "document", "print_answer", "print_failure", "print_problems", "warn"]


@dataclass(frozen=True)
class Answer:
    """What a command found.

    Parameters
    ----------
    result : Result
    seed, draws : int or None
        None where nothing was drawn.
    """

    result: Result
    seed: int | None = None
    draws: int | None = None

    @property
    def ok(self) -> bool:
        """Whether the input was right; only a check can find that it was not and still be an answer."""
        return getattr(self.result, "ok", True)


def document(
    body: Mapping[str, Any], seed: int | None = None, draws: int | None = None, warnings: Sequence[str] = ()
) -> dict[str, Any]:
    """Return one JSON object of the contract: what every object carries, around what one command says.

    Parameters
    ----------
    body : mapping
        What the command says; its own warnings count.
    seed, draws : int, optional
        None where nothing was drawn.
    warnings : sequence of str
        Used where the body has none.

    Examples
    --------
    >>> document({"fish": 59, "share": float("nan")})["share"] is None
    True
    """
    from burden.utils.results import frame

    first = frame(seed, draws)
    rest = {key: value for key, value in body.items() if key not in first and key != "warnings"}
    return _plain({**first, **rest, "warnings": list(body.get("warnings", warnings))})


def _plain(value: Any) -> Any:
    """Return plain Python with null for a number that cannot be given: JSON has no NaN."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value


def _print_json(body: Mapping[str, Any]) -> None:
    text = json_text(json.dumps(body, allow_nan=False, ensure_ascii=False, indent=2)) + "\n"
    # bytes, so that every system writes UTF-8 and the same line ends; a folder may bear a name that is no UTF-8, and
    # what stands for its bytes becomes an escape that JSON knows
    click.echo(text.encode("utf-8", "backslashreplace"), nl=False)


def print_answer(answer: Answer, as_json: bool, quiet: bool, whole: bool = True) -> None:
    """Print an answer, or its main lines, and its warnings where they are not part of it already."""
    result = answer.result
    text = "" if as_json else result.text() if whole else result.brief()
    warnings = [str(warning) for warning in getattr(result, "warnings", ())]
    if as_json:
        _print_json(document(result.as_dict(), answer.seed, answer.draws, warnings))
    else:
        click.echo(shown(text))
    if not quiet:
        for warning in dict.fromkeys(warnings):
            if warning not in text:
                warn(warning)


def print_problems(problems: Sequence[Problem], as_json: bool) -> None:
    """Print everything wrong with the input."""
    if as_json:
        _print_json(document({"ok": False, "problems": [problem.as_dict() for problem in problems]}))
        return
    many = "s" if len(problems) > 1 else ""
    click.echo(_styled(f"{len(problems)} problem{many}, nothing was written:", fg="red"), err=True)
    for problem in problems:
        file = shown(problem.file, lines=False)
        click.echo(f"- {_styled(file, bold=True)}: {str(problem).removeprefix(f'{file}: ')}", err=True)


def print_failure(sentence: str, as_json: bool) -> None:
    """Print why there is no answer although the input is right."""
    if as_json:
        with suppress(OSError):  # a full disk under standard output is told on the other channel
            _print_json(document({"ok": False, "problems": [], "error": sentence}))
    click.echo(f"{_styled('burden:', fg='red')} {shown(sentence, lines=False)}", err=True)


def warn(sentence: str) -> None:
    """Print a warning to standard error."""
    click.echo(f"{_styled('warning:', fg='yellow')} {shown(sentence, lines=False)}", err=True)


def _styled(text: str, **style: Any) -> str:
    """Colour on a terminal alone (click takes it out elsewhere), and not where NO_COLOR says so."""
    return text if os.environ.get("NO_COLOR") else click.style(text, **style)

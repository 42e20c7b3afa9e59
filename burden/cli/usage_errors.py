"""What is wrong with a command line, in the same words as what is wrong with a case."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from burden.utils.errors import Problem

__all__ = ["all_problems", "problem_of", "unknown_command"]


def all_problems(command: click.Command, ctx: click.Context, given: list[str], first: Exception) -> list[Problem]:
    """Read a command line once more, option by option, and return everything wrong with it.

    Parameters
    ----------
    command : click.Command
    ctx : click.Context
    given : list of str
        The words after the command.
    first : Exception
        What click stopped at.
    """
    try:
        values, _, _ = command.make_parser(ctx).parse_args(list(given))
    except click.UsageError as error:  # an option nobody knows: the others cannot be told apart
        return [problem_of(ctx, error)]
    found: list[Problem] = []
    for param in command.get_params(ctx):
        found += _problems_of(param, ctx, values)
    return found or _as_problems(ctx, first)


def _problems_of(param: click.Parameter, ctx: click.Context, values: dict[str, Any]) -> list[Problem]:
    from burden.utils.errors import InputError

    if param.name is None or param.is_eager:
        return []
    try:
        param.handle_parse_result(ctx, values, [])
    except (click.UsageError, InputError) as error:
        return _as_problems(ctx, error, values.get(param.name))
    return []


def _as_problems(ctx: click.Context, error: Exception, value: Any = None) -> list[Problem]:
    return list(error.problems) if hasattr(error, "problems") else [problem_of(ctx, error, value)]


def problem_of(ctx: click.Context | None, error: Exception, value: Any = None) -> Problem:
    """Return a usage error of click as a problem: place, value, what was expected, what to do.

    Parameters
    ----------
    ctx : click.Context or None
    error : click.UsageError
    value : object
        What was written, where it is known.
    """
    from burden.utils.errors import Problem

    path = ctx.command_path if ctx is not None else "burden"
    see = f"See `{path} --help`."
    if isinstance(error, click.NoSuchOption):
        close = f"Did you mean {error.possibilities[0]}?" if error.possibilities else see
        return Problem("command line", error.option_name, error.option_name, f"an option of `{path}`", close)
    if isinstance(error, click.MissingParameter):
        place = _place(error)
        return Problem("command line", place, "nothing", _said(error) or "a value", f"Give {place}. {see}")
    if isinstance(error, click.BadParameter):
        wanted, why = _wanted(error.param) or _said(error), getattr(getattr(error.param, "type", None), "why", "")
        return Problem("command line", _place(error), _text(value), wanted, f"{why} {see}".strip())
    if isinstance(error, click.BadOptionUsage):
        return Problem("command line", error.option_name, "nothing", "a value after it", see)
    extra = re.search(r"unexpected extra arguments? \((.*)\)", _said(error))
    if extra:
        return Problem("command line", "words after the command", extra[1], "nothing more", see)
    return Problem("command line", "command", _text(value), _said(error), see)


def _place(error: click.BadParameter) -> str:
    param = error.param
    if param is None:
        return str(error.param_hint or "option")
    return param.opts[0] if param.param_type_name == "option" else param.human_readable_name


def _wanted(param: click.Parameter | None) -> str | None:
    """Say what numbers or files an option takes, in a vet's words; None for other options."""
    kind = None if param is None else param.type
    if isinstance(kind, click.Path):
        return f"a {'folder' if kind.dir_okay else 'file'} that is there and can be read"
    if isinstance(kind, click.IntRange | click.FloatRange):
        whole = "a whole number" if isinstance(kind, click.IntRange) else "a number"
        return f"{whole} {'above' if kind.min_open else 'from'} {kind.min:g}" + (
            "" if kind.max is None else f" to {kind.max:.12g}"
        )
    return {"integer": "a whole number", "float": "a number"}.get(getattr(kind, "name", ""))


def _said(error: Exception) -> str:
    message = getattr(error, "message", "") or str(error)
    if isinstance(error, click.MissingParameter):
        message = getattr(error.param, "help", None) or "a value"
    text = message.strip().rstrip(".")
    if choice := re.search(r"is not one of (.*)", text):  # click says what it is not, and in quotes
        return f"one of {choice[1]}".replace("'", "")
    return text[0].lower() + text[1:] if text else "something else"


def _text(value: Any) -> str:
    if isinstance(value, list | tuple):
        return " ".join(map(_text, value))
    return "nothing" if value is None else str(value)


def unknown_command(ctx: click.Context, word: str, known: Sequence[str]) -> Problem:
    """Return the problem of a command that is none, with the near miss.

    Examples
    --------
    >>> context = click.Context(click.Command("burden"), info_name="burden")
    >>> unknown_command(context, "estimat", ["estimate", "report"]).fix
    'Did you mean "estimate"?'
    """
    from burden.utils.errors import Problem, near_miss

    hint = near_miss(word, known)
    fix = hint[0].upper() + hint[1:] + ("" if hint.endswith("?") else ".")
    return Problem("command line", "command", word, f"a command of `{ctx.command_path}`", fix)

"""Options every command has, and the commands that list all their wrong options at once."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from functools import wraps
from typing import Any

import click

from burden.cli.output import Answer, print_answer
from burden.cli.types import SCHEDULER, Whole
from burden.cli.usage_errors import all_problems, unknown_command

__all__ = ["DRAWS", "Command", "Group", "answers", "group_settings", "work_places", "workers_options"]

_SEED = Whole(0, 4_294_967_295, "Any whole number will do.")
DRAWS = Whole(20, 2000, "Fewer give no interval; more take gigabytes and move the answer less than chance does.")
_VALUES = {"integer": "N", "integer range": "N", "float": "NUMBER", "float range": "NUMBER"}
group_settings = {"help_option_names": ["-h", "--help"], "max_content_width": 110}


def _limits_in_words(said: str) -> str:
    """Write what click says of an option's limits in a vet's words.

    Examples
    --------
    >>> _limits_in_words("Water [°C].  [-2<=x<=40; required]"), _limits_in_words("[default: 1; x>=0]")
    ('Water [°C].  [-2 to 40; required]', '[default: 1; 0 or more]')
    """
    said = re.sub(r"\d{5,}(?=\.0\b)\.0|(?<=[<=])\d+\.0\b|\b\d+\.0(?=<)", lambda found: found[0][:-2], said)
    said = re.sub(r"(-?[\d.]+)<x<=([\d.]+)", r"above \1 to \2", said)
    said = re.sub(r"(-?[\d.]+)<=x<=([\d.]+)", r"\1 to \2", said)
    return re.sub(r"x>([\d.]+)", r"above \1", re.sub(r"x>=([\d.]+)", r"\1 or more", said))


def workers_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command of many cases the two ways to work on several at once."""
    many = Whole(1, 256, "No machine of a practice has more processors.")
    said = "How many cases to work on at once (default: one per processor)."
    command = click.option("--scheduler", type=SCHEDULER, help="Instead: a dask.distributed cluster, tcp://HOST:PORT.")(
        command
    )
    return click.option("--workers", type=many, help=said)(command)


@contextmanager
def work_places(number: int | None, scheduler: str | None, cases: int) -> Iterator[Executor | None]:
    """Start processes to work in, or go to a running cluster; None, for this process, where one is enough."""
    from burden.report.files.unfinished import program
    from burden.utils.errors import InputError, Problem
    from burden.utils.parallel import cluster, processes

    if number is not None and scheduler is not None:
        fix = "Leave one of the two out: a cluster has its own workers."
        raise InputError([Problem("command line", "--workers", str(number), "none beside --scheduler", fix)])
    with cluster(scheduler, program) if scheduler else processes(min(number or os.cpu_count() or 1, cases)) as executor:
        yield executor


class Command(click.Command):
    """A command that tells every wrong option, not the first alone, and names values in a vet's words."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for param in self.params:
            if isinstance(param, click.Option) and param.metavar is None and not param.is_flag:
                param.metavar = _VALUES.get(param.type.name)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, their limits in words."""
        records = [record for param in self.get_params(ctx) if (record := param.get_help_record(ctx))]
        if records:
            with formatter.section("Options"):
                formatter.write_dl([(name, _limits_in_words(said)) for name, said in records])

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the options."""
        from burden.utils.errors import InputError

        given = list(args)
        try:
            return super().parse_args(ctx, args)
        except (click.UsageError, InputError) as first:
            if isinstance(first, click.exceptions.NoArgsIsHelpError):
                raise
            raise InputError(all_problems(self, ctx, given, first)) from first


class Group(click.Group):
    """Commands in the order a visit takes them, not the alphabet's."""

    command_class = Command

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return list(self.commands)

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[Any, Any, list[str]]:
        """Find a command, or name the near miss."""
        from burden.utils.errors import InputError

        wrong = args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None
        if wrong and not ctx.resilient_parsing:  # a shell that completes a line wants no words on it
            raise InputError([unknown_command(ctx, args[0], self.list_commands(ctx))])
        return super().resolve_command(ctx, args)


def answers(
    draws: int | None = 500, asks: bool = False, brief: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., int]]:
    """Give a command the options all have; print what it returns and turn that into an exit code.

    Parameters
    ----------
    draws : int, optional
        Default number of draws; None for a command that draws nothing.
    asks : bool
        Whether the command puts questions: no bar may then write over them.
    brief : bool
        Whether it prints the answer in a few lines, and all of it with --all.
    """

    def decorate(command: Callable[..., Any]) -> Callable[..., int]:
        @wraps(command)
        def run(*, as_json: bool, quiet: bool, debug: bool, whole: bool = not brief, **options: Any) -> int:
            from burden.cli.progress_bar import Bar
            from burden.utils.progress import listening

            with Bar(quiet or asks) as bar, listening(bar.heard):
                found = command(**options)
            if not isinstance(found, Answer):
                found = Answer(found, options.get("seed"), options.get("draws"))
            print_answer(found, as_json, quiet, whole)
            return 0 if found.ok else 2

        for option in reversed([*([_ALL] if brief else []), *_common(draws)]):
            run = option(run)
        return run

    return decorate


_ALL = click.option("--all", "whole", is_flag=True, help="Print all of the answer, not only its main lines.")


def _common(draws: int | None) -> list[Callable[[Any], Any]]:
    drawn = [
        click.option("--seed", default=1, show_default=True, type=_SEED, help="Same seed, same answer."),
        click.option("--draws", default=draws, show_default=True, type=DRAWS,
                     help="Number of simulated ponds; more take longer and give steadier ranges."),
    ]  # fmt: skip
    return [
        *(drawn if draws is not None else []),
        click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output, nothing else."),
        click.option("--quiet", is_flag=True, help="No progress, no warnings."),
        click.option("--debug", is_flag=True, help="Show the traceback of an error."),
    ]

"""The first command, through which every other is reached and every error leaves."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from burden import __version__
from burden.cli.options import Group, group_settings
from burden.cli.output import print_failure, print_problems
from burden.cli.usage_errors import problem_of
from burden.utils.environment import draw_by_own_settings

__all__ = ["Root", "main"]

_STOPPED = 130  # as shells have it for a program stopped by Ctrl-C
_LONGEST = 20_000  # of what is kept of an error nobody foresaw: some hold the whole page they failed on


class Root(Group):
    """Turns what went wrong into an exit code, and into one JSON object where that was asked for."""

    def main(self, args: Sequence[str] | None = None, **more: Any) -> NoReturn:  # type: ignore[override]
        """Run one command line and leave with its exit code."""
        words = list(sys.argv[1:] if args is None else args)
        more["standalone_mode"] = False
        draw_by_own_settings()
        try:
            code = super().main(args=args, **more)
        except Exception as error:
            if "--debug" in words:
                import traceback

                traceback.print_exc()
            code = _code_of(error, as_json="--json" in words)
        sys.exit(code or 0)


def _code_of(error: Exception, as_json: bool) -> int:
    """Say what went wrong and return the exit code."""
    from burden.utils.errors import BurdenError, InputError

    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        click.echo(error.format_message())
        return 2
    if isinstance(error, click.UsageError):
        print_problems([problem_of(error.ctx, error)], as_json)
        return 2
    if isinstance(error, InputError):
        print_problems(error.problems, as_json)
        return 2
    if isinstance(error, click.Abort):
        click.echo("burden: stopped", err=True)
        return _STOPPED
    if isinstance(error, BurdenError | OSError | click.ClickException):
        print_failure(str(error), as_json)
        return 1
    if isinstance(error, MemoryError):
        print_failure("there is not enough memory for this; fewer draws (--draws) take less", as_json)
        return 1
    print_failure(_fault(error), as_json)
    return 1


def _fault(error: Exception) -> str:
    """Say what to do about an error nobody foresaw; where it happened goes to a file, not to the vet."""
    import tempfile
    import traceback

    said = (
        "the program failed; the fault is its own, not yours. Nothing was half-written: what was there before still is."
    )
    lines = traceback.format_exception(error)
    try:
        with tempfile.NamedTemporaryFile("w", prefix="burden-fault-", suffix=".txt", delete=False, encoding="utf-8",
                                         errors="backslashreplace") as file:  # fmt: skip
            file.write(f"burden {__version__}, Python {sys.version}\n{''.join(lines)}"[:_LONGEST])
    except OSError:
        return (
            f"{said} Run the same command with --debug, and send what it prints to whoever looks after burden for you."
        )
    return (
        f"{said} Send {file.name}, your command and, if you may, the case folder to whoever looks after burden for you."
    )


@click.group(cls=Root, context_settings=group_settings)
@click.version_option(__version__, prog_name="burden")
def main() -> None:
    """How many flukes are really on the fish, what they will do, and when the next dose must go in.

    \b
    Start a case folder:   burden new my_pond
    Read it back:          burden check my_pond
    Write the report:      burden report my_pond

    Every command has help that ends with an example: burden interval --help.
    """

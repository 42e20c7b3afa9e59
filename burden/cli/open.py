"""`burden open`: the local page, and the form as one file for a phone."""

from __future__ import annotations

from pathlib import Path

import click

from burden.cli.options import DRAWS, Command
from burden.cli.types import Whole

__all__ = ["open_command"]


@click.command("open", cls=Command, short_help="Enter, decide and follow up cases in the browser.")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
@click.option("--share", is_flag=True, help="Let a phone in the same network in, by a code that is good once.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    help="Write the form as one file that works on a phone without a network, and open nothing.",
)
@click.option("--no-browser", is_flag=True, help="Print the address, open no browser.")
@click.option(
    "--port",
    type=Whole(1024, 65000, "Lower ports belong to the system, higher ones to connections that come and go."),
    help="First port to try.",
)
@click.option("--draws", default=500, show_default=True, type=DRAWS, help="As of burden report.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
def open_command(
    folder: Path, share: bool, sheet: Path | None, no_browser: bool, port: int | None, draws: int, debug: bool
) -> int:
    """Open the local page on a folder of cases: the list, the form, the decision as it is worked out, and what if.

    FOLDER is this one unless named; a case folder opens that case alone. The page listens on this machine alone, and
    uses no network.

    \b
    Example:
      burden open simulated_data
    """
    from burden.page.serve import PORT, open_page

    if sheet is not None:
        _write_sheet(sheet)
        return 0
    _refuse_no_folder(folder)
    open_page(folder, share, not no_browser, click.echo, port or PORT, draws)
    return 0


def _write_sheet(sheet: Path) -> None:
    from burden.page.catalogue import say
    from burden.page.sheet import sheet_html
    from burden.utils.errors import InputError, Problem

    if sheet.suffix.lower() not in (".html", ".htm") or sheet.is_dir() or not sheet.absolute().parent.is_dir():
        fix = "Name a file such as visit.html in a folder that exists."
        raise InputError([Problem("command line", "--sheet", str(sheet), "a file that ends in .html", fix)])
    sheet.write_text(sheet_html(), encoding="utf-8", newline="\n")
    click.echo(say("cli.sheet", file=sheet))


def _refuse_no_folder(folder: Path) -> None:
    from burden.utils.errors import InputError, Problem

    if not folder.is_dir():
        fix = "Check the path; make the folder first where it is to be new."
        raise InputError([Problem("command line", "FOLDER", str(folder), "a folder", fix)])

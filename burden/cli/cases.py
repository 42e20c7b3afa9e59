"""Commands about one case: report, estimate, forecast, response, new, check."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from burden.cli.common import Command, answers
from burden.cli.types import ParasiteName

__all__ = ["check", "estimate", "forecast", "new", "report", "response"]

_case = click.argument("case", type=click.Path(path_type=Path))
_parasite = click.option("--parasite", type=ParasiteName(), help="One of the case's sets (default: its first).")


def _read(folder: Path, parasite: str | None = None) -> Any:
    """Read a case; refuse a set that the case does not name."""
    from burden.casefile import read_case
    from burden.errors import InputError, Problem

    case = read_case(folder)
    if parasite is not None and parasite not in case.parasites:
        known = ", ".join(case.parasites)
        fix = "Name one of these, or add it to [parasite] in case.toml."
        raise InputError([Problem("command line", "--parasite", parasite, f"a set of this case: {known}", fix)])
    return case


@click.command(cls=Command, short_help="The whole job for one case or several.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to (default: CASE/report).")
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose no source gives.")
@click.option("--workers", type=click.IntRange(1, 256), help="Cases worked out at once (default: one a processor).")
@answers()
def report(
    cases: tuple[Path, ...], out: Path | None, accept_unpublished_dose: bool, workers: int | None, draws: int, seed: int
) -> Any:
    """The whole job: burden, forecast, schedule, doses, calendar, all in one folder to read and print.

    An older report of ours is replaced; a folder that holds anything else is left alone. Of several cases those done
    when a run is stopped are kept, and the same command goes on from there.

    \b
    Example:
      burden report simulated_data/koi_pond
    """
    from burden.many import processes
    from burden.report import write_reports

    with processes(min(workers or os.cpu_count() or 1, len(cases))) as executor:
        return write_reports(
            cases, out, draws=draws, seed=seed, accept_unpublished=accept_unpublished_dose, executor=executor
        )


@click.command(cls=Command, short_help="The true burden behind the samples.")
@_case
@_parasite
@answers()
def estimate(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """The true burden behind the samples, and what they can have missed.

    \b
    Example:
      burden estimate simulated_data/koi_pond
    """
    from burden.estimate import estimate as run

    return run(_read(case, parasite), parasite, draws, seed)


@click.command(cls=Command, short_help="Flukes and deaths: untreated, as planned, as recommended.")
@_case
@click.option("--days", default=60.0, show_default=True, type=click.FloatRange(1, 400), help="Horizon [d].")
@_parasite
@answers()
def forecast(case: Path, days: float, parasite: str | None, draws: int, seed: int) -> Any:
    """Flukes and deaths over the days to come: untreated, as planned in the case, as recommended.

    \b
    Example:
      burden forecast simulated_data/koi_pond --days 30
    """
    from burden.visit import forecast_case

    return forecast_case(_read(case, parasite), days, draws, seed, parasite)


@click.command(cls=Command, short_help="Did the last dose work.")
@_case
@_parasite
@answers()
def response(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """Did the last dose work: worked, fell short, new settlers since, or the samples cannot tell.

    \b
    Example:
      burden response simulated_data/koi_pond
    """
    from burden.response import response as run

    return run(_read(case, parasite), parasite, draws, seed)


@click.command(cls=Command, short_help="Begin a case folder, every value explained.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@answers(None)
def new(folder: Path) -> Any:
    """Begin a case folder: an example that reads as it stands, every value explained, to be written over.

    \b
    Example:
      burden new my_pond
    """
    from burden.casefile import new_case
    from burden.cli.begun import NewCase

    return NewCase(folder, tuple(new_case(folder)))


@click.command(cls=Command, short_help="Read a case back in words; list all that is wrong.")
@_case
@answers(None)
def check(case: Path) -> Any:
    """Read a case back in words, with what had to be assumed, or list everything wrong with it.

    \b
    Example:
      burden check simulated_data/koi_pond
    """
    from burden.casefile import check_case

    return check_case(case)

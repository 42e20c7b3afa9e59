"""Commands about one case: report, estimate, forecast, response, new, check."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from burden.cli.options import Command, answers
from burden.cli.types import DAY, ParasiteName

__all__ = ["check", "estimate", "forecast", "new", "report", "response"]

_case = click.argument("case", type=click.Path(path_type=Path))
_parasite = click.option("--parasite", type=ParasiteName(), help="One of the case's sets (default: its first).")


def _read(folder: Path, parasite: str | None = None) -> Any:
    """Read a case; refuse a set that the case does not name."""
    from burden.io import read_case
    from burden.utils.errors import InputError, Problem

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
    from burden.report.write import write_reports
    from burden.utils.parallel import processes

    with processes(min(workers or os.cpu_count() or 1, len(cases))) as executor:
        return write_reports(
            cases, out, draws=draws, seed=seed, accept_unpublished=accept_unpublished_dose, executor=executor
        )


@click.command(cls=Command, short_help="The true burden behind the samples.")
@_case
@_parasite
@answers(brief=True)
def estimate(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """The true burden behind the samples, and what they can have missed.

    \b
    Example:
      burden estimate simulated_data/koi_pond
    """
    from burden.inference.estimate import estimate as run

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
@answers(brief=True)
def response(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """Did the last dose work: worked, fell short, new settlers since, or the samples cannot tell.

    \b
    Example:
      burden response simulated_data/koi_pond
    """
    from burden.inference.treatment_response import response as run

    return run(_read(case, parasite), parasite, draws, seed)


_MEASURE = click.FloatRange(min=0, min_open=True)


@click.command(cls=Command, short_help="Begin a case folder, every value explained.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--visit-date", type=DAY, help="The date of decision.")
@click.option("--title", help="What the case is called.")
@click.option("--volume-l", type=_MEASURE, help="All the water [L].")
@click.option(
    "--size-m", type=_MEASURE, nargs=3, metavar="LENGTH WIDTH DEPTH", help="Instead: measures, mean depth [m]."
)
@click.option("--shape", type=click.Choice(["rectangle", "oval", "free"]), default="rectangle", help="With --size-m.")
@click.option("--salt", type=_MEASURE, nargs=2, metavar="GRAMS RISE", help="Instead: salt added [g] and rise [g/L].")
@click.option("--temperature-c", type=click.FloatRange(-2, 40), help="Of the water [°C].")
@click.option(
    "--reading",
    "readings",
    type=(DAY, click.FloatRange(-2, 40)),
    multiple=True,
    metavar="DATE CELSIUS",
    help="Instead: a reading by hand; give it as often as you read.",
)
@click.option(
    "--logger", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Instead: a logger's file, copied."
)
@click.option("--species", help="Of the fish.")
@click.option("--count", type=click.IntRange(min=1), help="Fish alive.")
@click.option("--weight-g", type=_MEASURE, help="Mean weight of a fish [g].")
@click.option("--food-fish", type=click.Choice(["yes", "no"]), help="Whether anybody may ever eat them.")
@click.option(
    "--gill-clip",
    type=(_MEASURE, click.Choice(["tips", "filaments", "arches"])),
    metavar="N WHAT",
    help="On one slide of gill: so many tips (of filaments), whole filaments, or arches.",
)
@click.option("--ask", is_flag=True, help="Ask, in plain questions, for what no option gives.")
@answers(None, asks=True)
def new(folder: Path, ask: bool, **given: Any) -> Any:
    """Begin a case folder that reads as it stands, every value explained; what no option gives is an example.

    With --ask it asks for the rest in plain questions, and says what it expected where an answer cannot be read.

    \b
    Example:
      burden new my_pond --size-m 4 3 1.2 --shape oval --count 24 --weight-g 300 --gill-clip 15 tips
    """
    from burden.cli.new_case import NewCase, begin
    from burden.io import new_case
    from burden.io.new_folder import case_toml

    begun = begin(given, ask)
    toml = case_toml(begun.facts, begun.remarks)
    return NewCase(folder, tuple(new_case(folder, toml, begun.temperature_csv)))


@click.command(cls=Command, short_help="Read a case back in words; list all that is wrong.")
@_case
@answers(None)
def check(case: Path) -> Any:
    """Read a case back in words, with what had to be assumed, or list everything wrong with it.

    \b
    Example:
      burden check simulated_data/koi_pond
    """
    from burden.io import check_case

    return check_case(case)

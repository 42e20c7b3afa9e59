"""Commands about many ponds: a farm's table into case folders, one table out, what they share, which to look at."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from burden.cli.options import Command, answers, work_places, workers_options
from burden.cli.types import DAY, Number, ParasiteName, Whole

__all__ = ["group", "import_command", "round_command", "table"]

#: draws of a report when none are asked for, so that the group and each pond's report say the same
_REPORT_DRAWS = 500
_FISH = Whole(1, 2000, "More fish than anybody looks at in a week.")
_HOURS = Number(0.25, 400, "From a quarter of an hour to ten people's week.")
_MINUTES = Number(0, 1440, "A way of more than a day is a round of its own.")
_A_FISH = Number(1, 240, "To net, sedate, clip and count one fish.")


@click.command("import", cls=Command, short_help="Read a spreadsheet of many ponds into case folders.")
@click.argument("table", metavar="TABLE", type=click.Path(path_type=Path))
@click.option("--to", "folder", required=True, type=click.Path(path_type=Path), help="Folder of the case folders.")
@click.option("--mapping-only", is_flag=True, help="Write mapping.toml with blanks to fill in, and no case.")
@answers(None)
def import_command(table: Path, folder: Path, mapping_only: bool) -> Any:
    """Read a spreadsheet's export (CSV or .xlsx), one row a preparation or a fish, into a case folder a pond.

    How the table is read stands in mapping.toml in the same folder. It is written once and then kept. The command lists
    every cell it cannot read and writes nothing then. Rows appended later update the same cases.

    \b
    Example:
      burden import counts.csv --to ponds
    """
    from burden.io.spreadsheet_cases import import_table

    return import_table(table, folder, mapping_only)


@click.command(cls=Command, short_help="Write the answers of many cases as one table.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="File to write: .csv or .parquet.")
@click.option("--one-row", is_flag=True, help="A row a pond: next date, step, agent, amount, reason, chance, flukes.")
@workers_options
@answers()
def table(
    cases: tuple[Path, ...],
    out: Path,
    one_row: bool,
    workers: int | None,
    scheduler: str | None,
    draws: int,
    seed: int,
) -> Any:
    """Write one table of many cases: a row a case, parasite, date and quantity, with median, low and high.

    With --one-row the table has one row a pond, to read or print.

    \b
    Example:
      burden table ponds/* --out ponds.csv
      burden table ponds/* --one-row --out week.csv
    """
    from burden.report.tidy import write_table

    with work_places(workers, scheduler, len(cases)) as executor:
        return write_table(cases, out, draws, seed, executor, one_row)


@click.command(cls=Command, short_help="What ponds of one group say of each other.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@click.option("--parasite", type=ParasiteName(), help="A set that all cases have (default: the first case's first).")
@click.option("--links", type=click.Path(path_type=Path),
              help="CSV with the columns from, to, by (water, fish, nets): adds which pond first.")  # fmt: skip
@workers_options
@answers(1000, brief=True)
def group(
    cases: tuple[Path, ...],
    parasite: str | None,
    links: Path | None,
    workers: int | None,
    scheduler: str | None,
    draws: int,
    seed: int,
) -> Any:
    """Estimate ponds that are alike, each alone and with what the others say of what they share.

    With --links each pond's own decision is made too: only ponds that are dosed stand in the order of treatment.

    They may share how many flukes they had, how unevenly fish carry them, what a clip shows, what a product kills and
    how fast this fluke breeds. How much they share is learned. Every case stays as it is.

    \b
    Example:
      burden group ponds/* --links links.csv
    """
    from burden.decision import actions_of
    from burden.inference.group import group as run
    from burden.io.links import read_links
    from burden.io.many_checks import read_cases

    read = read_cases(cases)
    found = read_links(links, [case.name for case in read]) if links is not None else ()
    with work_places(workers, scheduler, len(cases)) as executor:
        actions = actions_of(read, min(draws, _REPORT_DRAWS), seed, executor) if found else None
        return run(read, parasite, draws, seed, found, executor, actions)


@click.command("round", cls=Command, short_help="Which ponds to look at next week.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@click.option("--fish", required=True, type=_FISH, help="Fish to look at, in all.")
@click.option("--hours", required=True, type=_HOURS, help="Hours there are, in all [h].")
@click.option(
    "--travel",
    multiple=True,
    default=(30.0,),
    show_default="30",
    type=_MINUTES,
    help="Minutes to a pond from the one before: one for all, or repeated, one a case in their order [min].",
)
@click.option("--minutes-a-fish", default=10.0, show_default=True, type=_A_FISH, help="For each fish looked at [min].")
@click.option("--date", "start", type=DAY, help="First day (default: the day after the latest visit).")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for one page, one table and one calendar.")
@workers_options
@answers(brief=True)
def round_command(
    cases: tuple[Path, ...],
    fish: int,
    hours: float,
    travel: tuple[float, ...],
    minutes_a_fish: float,
    start: date | None,
    out: Path | None,
    workers: int | None,
    scheduler: str | None,
    draws: int,
    seed: int,
) -> Any:
    """Choose which ponds to look at with so many fish and hours: those where a look saves most fish.

    \b
    Example:
      burden round ponds/* --fish 30 --hours 6 --out round
    """
    from burden.report.visit_round import RoundLimits, plan_round

    limits = RoundLimits(fish, hours, travel, minutes_a_fish)
    with work_places(workers, scheduler, len(cases)) as executor:
        return plan_round(cases, limits, start, out, draws, seed, executor)

"""Commands about one case: report, estimate, forecast, response, history, new, check."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from burden.cli.options import Command, answers, work_places, workers_options
from burden.cli.types import DAY, FIGURE, VOLUME, Number, ParasiteName, Whole

__all__ = ["DEMOS", "check", "decide", "estimate", "forecast", "history", "new", "report", "response"]

#: invented cases that come with the package
DEMOS = ("koi_pond", "quarantine_tank", "estate_pond")
_AHEAD = Number(1, 400, "Further ahead than a year a forecast of one visit tells nothing.")
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


@click.command(cls=Command, short_help="Write the report of one case or several.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to (default: CASE/report).")
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose that no source gives.")
@click.option("--png", is_flag=True, help="Write the figures as PNG too, for a letter or a slide.")
@workers_options
@answers()
def report(
    cases: tuple[Path, ...],
    out: Path | None,
    accept_unpublished_dose: bool,
    png: bool,
    workers: int | None,
    scheduler: str | None,
    draws: int,
    seed: int,
) -> Any:
    """Write the report: burden, forecast, schedule, doses and calendar, in one folder to read and print.

    An older report is replaced; a folder that holds anything else is left alone. If you stop a run over several cases,
    the finished reports are kept and the same command carries on from there.

    \b
    Example:
      burden report simulated_data/koi_pond
    """
    from burden.report.write import write_reports

    with work_places(workers, scheduler, len(cases)) as executor:
        chosen = {"draws": draws, "seed": seed, "accept_unpublished": accept_unpublished_dose, "png": png}
        return write_reports(cases, out, **chosen, executor=executor)  # type: ignore[arg-type]


@click.command(cls=Command, short_help="How many flukes are really on the fish.")
@_case
@_parasite
@answers(brief=True)
def estimate(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """Estimate how many flukes are really on the fish, and what the samples can have missed.

    \b
    Example:
      burden estimate simulated_data/koi_pond
    """
    from burden.inference.estimate import estimate as run

    return run(_read(case, parasite), parasite, draws, seed)


@click.command(cls=Command, short_help="What to do today, and why.")
@_case
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose no source gives.")
@answers(brief=True)
def decide(case: Path, accept_unpublished_dose: bool, draws: int, seed: int) -> Any:
    """Decide what to do today: water, doses or a look at more fish, and why.

    \b
    Example:
      burden decide simulated_data/koi_pond
    """
    from burden.decision import decide as run

    return run(_read(case), draws, seed, accept_unpublished_dose)


@click.command(cls=Command, short_help="Forecast flukes and deaths, untreated and treated.")
@_case
@click.option(
    "--days",
    default=60.0,
    show_default=True,
    type=_AHEAD,
    help="How far ahead, at most to the harvest [d].",
)
@_parasite
@answers(brief=True)
def forecast(case: Path, days: float, parasite: str | None, draws: int, seed: int) -> Any:
    """Forecast flukes and deaths: untreated, as planned in the case, and as recommended.

    \b
    Example:
      burden forecast simulated_data/koi_pond --days 30
    """
    from burden.decision.assessment import forecast_case

    return forecast_case(_read(case, parasite), days, draws, seed, parasite)


@click.command(cls=Command, short_help="Did the last dose work?")
@_case
@_parasite
@answers(brief=True)
def response(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """Judge the last dose: it worked, it fell short, the flukes seen are new, or the samples cannot show it.

    \b
    Example:
      burden response simulated_data/koi_pond
    """
    from burden.inference.treatment_response import response as run

    return run(_read(case, parasite), parasite, draws, seed)


@click.command(cls=Command, short_help="All visits of a pond, and how the forecasts held.")
@_case
@_parasite
@click.option("--plot", type=FIGURE, help="Write the figure of all visits, .svg or .png.")
@answers(brief=True)
def history(case: Path, parasite: str | None, plot: Path | None, draws: int, seed: int) -> Any:
    """Look back over all visits: burden by date, what was expected and what came, and what each treatment killed.

    \b
    Example:
      burden history simulated_data/koi_pond
    """
    from burden.inference.pond_history import history as run

    found = run(_read(case, parasite), parasite, draws, seed)
    if plot is not None:
        from burden.report.figures.history import draw_history
        from burden.report.figures.style import write_figure

        write_figure(plot, lambda: draw_history(found), "history")
    return found


_METRES = Number(0, 10_000, "Measure in metres; ten kilometres are no pond.", above=True)
_SALT = Number(0, 1e9, "Above nothing, and no more than a thousand tonnes.", above=True)
_RISE = Number(0.001, 100, "No meter shows less, and no fish of these sets lives in more.")
_WEIGHT = Number(0.0001, 1e7, "In grams: from a larva just hatched to more than any fish.")
_PIECES = Number(0, 100_000, "More than all gill filaments of a fish lie on no slide.", above=True)
_WARMTH = Number(-2, 40, "Sea water freezes near -2 °C, and no fish of these sets lives above 40 °C.")


@click.command(cls=Command, short_help="Start a case folder with every value explained.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--visit-date", type=DAY, help="The date of decision.")
@click.option("--title", help="What the case is called.")
@click.option("--volume-l", type=VOLUME, help="All the water [L].")
@click.option(
    "--size-m", type=_METRES, nargs=3, metavar="LENGTH WIDTH DEPTH", help="Instead: measures, mean depth [m]."
)
@click.option("--shape", type=click.Choice(["rectangle", "oval", "free"]), default="rectangle", help="With --size-m.")
@click.option("--salt", type=(_SALT, _RISE), metavar="GRAMS RISE", help="Instead: salt added [g] and rise [g/L].")
@click.option("--temperature-c", type=_WARMTH, help="Of the water [°C].")
@click.option(
    "--reading",
    "readings",
    type=(DAY, _WARMTH),
    multiple=True,
    metavar="DATE CELSIUS",
    help="Instead: a reading by hand; repeat it for each reading.",
)
@click.option(
    "--logger", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Instead: a logger's file, copied."
)
@click.option("--species", help="Of the fish.")
@click.option("--count", type=Whole(1, 100_000_000, "More fish than any farm keeps."), help="Fish alive.")
@click.option("--weight-g", type=_WEIGHT, help="Mean weight of a fish [g].")
@click.option("--food-fish", type=click.Choice(["yes", "no"]), help="Whether anyone could ever eat them.")
@click.option(
    "--gill-clip",
    type=(_PIECES, click.Choice(["tips", "filaments", "arches"])),
    metavar="N WHAT",
    help="What lies on one gill slide: how many filament tips, whole filaments or arches.",
)
@click.option("--demo", type=click.Choice(DEMOS), help="Instead of all these: a copy of an invented case.")
@click.option("--ask", is_flag=True, help="Ask, in plain questions, for what no option gives.")
@click.option(
    "--from",
    "visit_file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="VISIT",
    help="Take the visit from visit.json, which the phone's sheet saved.",
)
@answers(None, asks=True)
def new(folder: Path, ask: bool, visit_file: Path | None, demo: str | None, **given: Any) -> Any:
    """Start a case folder with every value explained. Values that no option gives are examples to replace.

    With --ask it asks for the rest in plain questions, and explains what it needs if it cannot read an answer.

    \b
    Example:
      burden new my_pond --size-m 4 3 1.2 --shape oval --count 24 --weight-g 300 --gill-clip 15 tips
    """
    from burden.cli.new_case import NewCase, begin, copy_demo
    from burden.io import new_case
    from burden.io.new_folder import case_toml

    if visit_file is not None:
        return _from_sheet(folder, visit_file)
    if demo is not None:
        return NewCase(folder, tuple(copy_demo(demo, folder, given, ask)))
    begun = begin(given, ask)
    toml = case_toml(begun.facts, begun.remarks)
    return NewCase(folder, tuple(new_case(folder, toml, begun.temperature_csv)))


def _from_sheet(folder: Path, visit_file: Path) -> Any:
    """Make a case folder of what a phone's sheet saved."""
    from burden.cli.new_case import NewCase
    from burden.io.form import new_folder_from_form
    from burden.page.sheet import form_of_visit_file

    new_folder_from_form(folder, form_of_visit_file(visit_file.read_bytes(), visit_file.name))
    return NewCase(folder, tuple(sorted(path for path in folder.iterdir() if path.is_file())))


@click.command(cls=Command, short_help="Read cases back, or list all that is wrong.")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE...")
@answers(None)
def check(cases: tuple[Path, ...]) -> Any:
    """Read a case back in words, with what had to be assumed, or list everything that is wrong with it.

    Of several cases it gives one list, each problem with the case it is in.

    \b
    Example:
      burden check simulated_data/koi_pond
    """
    from burden.io import check_case
    from burden.io.many_checks import check_cases

    return check_case(cases[0]) if len(cases) == 1 else check_cases(cases)

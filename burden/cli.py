"""The command line: reads, calls one function, prints. Everything heavy is imported inside the command that needs it.

Exit codes: 0 done (warnings and a withheld recommendation included), 2 wrong input or options, 1 anything else.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from burden import __version__

__all__ = ["main"]

_SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class _Group(click.Group):
    """Commands in the order a visit takes them, not the alphabet's."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(cls=_Group, context_settings=_SETTINGS)
@click.version_option(__version__, prog_name="burden")
def main() -> None:
    """How many flukes are really on the fish, what they will do, and when the next dose must go in.

    \b
    Start with a case folder:   burden new my_pond
    Read it back:               burden check my_pond
    The whole job:              burden report my_pond
    """


def _common(draws: int | None = 500) -> Callable[[Callable[..., Any]], Callable[..., None]]:
    """Options every command has, and what becomes of its answer and of its errors."""

    def decorate(command: Callable[..., Any]) -> Callable[..., None]:
        @wraps(command)
        def run(*, as_json: bool, quiet: bool, debug: bool, **options: Any) -> None:
            _answer(lambda: command(**options), as_json=as_json, quiet=quiet, debug=debug)

        run = click.option("--debug", is_flag=True, help="Show the traceback of an error.")(run)
        run = click.option("--quiet", is_flag=True, help="No progress and no warnings.")(run)
        run = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")(run)
        if draws is not None:
            run = click.option(
                "--draws", default=draws, show_default=True, type=click.IntRange(20, 20000), help="Number of draws."
            )(run)
            run = click.option(
                "--seed", default=1, show_default=True, type=click.IntRange(0), help="Same seed, same answer."
            )(run)
        return run

    return decorate


def _answer(call: Callable[[], Any], *, as_json: bool, quiet: bool, debug: bool) -> None:
    """Print the answer, or the problems, and leave with the right code."""
    from burden.errors import BurdenError, InputError

    try:
        with _Progress(quiet):
            result = call()
    except InputError as error:
        if debug:
            raise
        _print_problems(error, as_json)
        sys.exit(2)
    except (BurdenError, OSError) as error:
        if debug:
            raise
        click.echo(f"burden: {error}", err=True)
        sys.exit(1)
    except Exception as error:
        if debug:
            raise
        click.echo(f"burden: something went wrong that should not: {error!r}. Run again with --debug.", err=True)
        sys.exit(1)
    _print_result(result, as_json, quiet)


def _print_problems(error: Any, as_json: bool) -> None:
    if as_json:
        problems = [problem.as_dict() for problem in error.problems]
        click.echo(json.dumps({"ok": False, "problems": problems}, ensure_ascii=False, indent=2))
        return
    count = len(error.problems)
    click.echo(f"{count} problem{'s' * (count > 1)}, nothing was written:", err=True)
    for problem in error.problems:
        click.echo(f"- {problem}", err=True)


def _print_result(result: Any, as_json: bool, quiet: bool) -> None:
    if as_json:
        click.echo(result.to_json())
    else:
        click.echo(result.text())
    if not quiet:
        for warning in getattr(result, "warnings", ()):
            if as_json or str(warning) not in result.text():
                click.echo(f"warning: {warning}", err=True)
    if getattr(result, "ok", True) is False:
        sys.exit(2)


class _Progress:
    """A line on standard error that says the time gone, from two seconds on; a terminal only."""

    def __init__(self, quiet: bool) -> None:
        self.on = not quiet and sys.stderr.isatty()

    def __enter__(self) -> None:
        if not self.on:
            return
        import threading
        import time

        self.done, start = threading.Event(), time.monotonic()

        def tick() -> None:
            while not self.done.wait(0.25):
                gone = time.monotonic() - start
                if gone > 2:
                    bar = "▏▎▍▌▋▊▉█"[int(gone * 4) % 8]
                    sys.stderr.write(f"\r{bar} working, {gone:.0f} s ")
                    sys.stderr.flush()

        self.thread = threading.Thread(target=tick, daemon=True)
        self.thread.start()

    def __exit__(self, *_: object) -> None:
        if self.on:
            self.done.set()
            self.thread.join()
            sys.stderr.write("\r" + " " * 40 + "\r")


_case = click.argument("case", type=click.Path(path_type=Path))


def _read(folder: Path) -> Any:
    from burden.casefile import read_case

    return read_case(folder)


@main.command()
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to (default: CASE/report).")
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose no source gives.")
@_common()
def report(cases: tuple[Path, ...], out: Path | None, accept_unpublished_dose: bool, draws: int, seed: int) -> Any:
    """The whole job: estimate, forecast, schedule, doses, calendar, report.

    \b
    Example:  burden report simulated_data/koi_pond
    """
    from burden.report import write_reports

    return write_reports(cases, out, draws=draws, seed=seed, accept_unpublished=accept_unpublished_dose)


@main.command()
@_case
@click.option("--parasite", help="One of the case's sets (default: the first).")
@_common()
def estimate(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """The true burden behind the samples.

    \b
    Example:  burden estimate simulated_data/koi_pond
    """
    from burden.estimate import estimate as run

    return run(_read(case), parasite, draws, seed)


@main.command()
@_case
@click.option("--days", default=60.0, show_default=True, type=click.FloatRange(1, 400), help="Horizon [d].")
@click.option("--parasite", help="One of the case's sets (default: the first).")
@_common()
def forecast(case: Path, days: float, parasite: str | None, draws: int, seed: int) -> Any:
    """Flukes and deaths: untreated, as planned, as recommended.

    \b
    Example:  burden forecast simulated_data/koi_pond --days 30
    """
    from burden.visit import forecast_case

    return forecast_case(_read(case), days, draws, seed, parasite)


@main.command()
@_case
@click.option("--parasite", help="One of the case's sets (default: the first).")
@_common()
def response(case: Path, parasite: str | None, draws: int, seed: int) -> Any:
    """Did the last dose work.

    \b
    Example:  burden response simulated_data/koi_pond
    """
    from burden.response import response as run

    return run(_read(case), parasite, draws, seed)


@main.command()
@click.option("--parasite", required=True, help="Parasite set, see `burden parasites`.")
@click.option("--temperature", required=True, type=click.FloatRange(0, 40), help="Water temperature [°C].")
@click.option("--agent", default="praziquantel", show_default=True, help="Agent, see `burden agents`.")
@click.option("--plot", type=click.Path(path_type=Path), help="Write the chart of interval against temperature.")
@_common(200)
def interval(parasite: str, temperature: float, agent: str, plot: Path | None, draws: int, seed: int) -> Any:
    """Why this repeat interval.

    \b
    Example:  burden interval --parasite dactylogyrus --temperature 26
    """
    from burden.interval import interval as run

    answer = run(parasite, temperature, agent, draws, seed)
    if plot is not None:
        from burden.report.interval_chart import write_interval_chart

        write_interval_chart(parasite, agent, plot, today_c=temperature, draws=draws, seed=seed)
    return answer


@main.command()
@click.option("--agent", required=True, help="Agent, see `burden agents`.")
@click.option("--volume-l", required=True, type=float, help="All the water, filter and pipes included [L].")
@click.option("--mg-l", type=float, help="Concentration (default: the customary one) [mg/L].")
@click.option("--strength-percent", type=float, help="Active substance in the product [%].")
@click.option("--temperature", type=float, help="Water temperature [°C].")
@click.option("--species", help="Host, for its own limits.")
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose no source gives.")
@_common(None)
def dose(
    agent: str,
    volume_l: float,
    mg_l: float | None,
    strength_percent: float | None,
    temperature: float | None,
    species: str | None,
    accept_unpublished_dose: bool,
) -> Any:
    """What to weigh or measure out, and the cautions.

    \b
    Example:  burden dose --agent praziquantel --volume-l 18000
    """
    from burden.dosing import dose as run

    return run(
        agent,
        volume_l,
        mg_l,
        strength_percent,
        accept_unpublished=accept_unpublished_dose,
        temperature_c=temperature,
        species=species,
    )


@main.command()
@_case
@_common(None)
def check(case: Path) -> Any:
    """Read a case back in words, and list everything wrong with it.

    \b
    Example:  burden check simulated_data/koi_pond
    """
    from burden.casefile import check_case

    return check_case(case)


@main.group(cls=_Group)
def sampling() -> None:
    """How many fish: to find flukes, measure them, stop counting, call it clear, hold newcomers."""


@sampling.command()
@click.option("--prevalence", required=True, type=float, help="Share of fish infected, at least [0 to 1].")
@click.option("--confidence", default=0.95, show_default=True, type=float, help="Chance of a find [0 to 1].")
@click.option("--population", type=int, help="Fish in the group (default: many).")
@click.option("--sensitivity", default=1.0, show_default=True, type=float, help="Chance that an infected fish shows.")
@_common(None)
def find(prevalence: float, confidence: float, population: int | None, sensitivity: float) -> Any:
    """How many fish to find flukes.

    \b
    Example:  burden sampling find --prevalence 0.05
    """
    from burden.sampling import find as run

    return run(prevalence, confidence, population, sensitivity)

"""Commands about samples: find, mean, stop, recheck, arrivals."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from burden.cli.options import Group, answers
from burden.cli.types import FIGURE, AgentName, ParasiteName

__all__ = ["arrivals", "find", "mean", "recheck", "sampling", "stop"]


@click.group(cls=Group, short_help="How many fish to look at, how much of each, and when.")
def sampling() -> None:
    """How many fish: to find flukes, measure them, stop counting, call it clear, hold newcomers.

    \b
    Example:
      burden sampling find --prevalence 0.05
    """


def _options(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def decorate(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


_confidence = click.option(
    "--confidence", default=0.95, show_default=True, type=float, help="Chance of not missing them [0 to 1]."
)
_population = click.option("--population", type=int, help="Fish in the group (default: many).")
_preparations = click.option("--preparations", default=3, show_default=True, type=int, help="Clips or scrapes a fish.")
_lethal = click.option("--lethal", default=0, show_default=True, type=int, help="Healthy fish that may be killed.")
_burden_level = click.option(
    "--level", default=10.0, show_default=True, type=float, help="Mean burden that must not be missed [flukes/fish]."
)
#: what is looked at, where no parasite set says it
_look = _options(
    click.option(
        "--fraction-examined",
        default=1.0,
        show_default=True,
        type=float,
        help="Share of the site one preparation shows; about 0.01 for a gill clip, 1 for the whole of it [0 to 1].",
    ),
    click.option("--preparations", default=1, show_default=True, type=int, help="Preparations of each fish."),
    click.option(
        "--detection-per-fluke", default=1.0, show_default=True, type=float, help="Chance that one in view is counted."
    ),
    click.option(
        "--part-shape", default=1.0, show_default=True, type=float, help="Clumping in a part-count (assumption)."
    ),
)
_k = click.option("--k", required=True, type=float, help="Aggregation across fish; 0.3 to 2 is usual, small clumped.")
#: what is looked at, where a parasite set says most of it
_waters = _options(
    click.option("--parasite", required=True, type=ParasiteName(), help="Parasite set, see `burden parasites`."),
    click.option("--temperature", required=True, type=click.FloatRange(0, 40), help="Water [°C]."),
    _burden_level,
    _preparations,
    click.option("--fraction-examined", type=float, help="Share a preparation shows (default: by method and weight)."),
    click.option("--k", type=float, help="Aggregation across fish (default: the set's own, with its range)."),
    click.option("--weight-g", default=400.0, show_default=True, type=float, help="Of a fish [g]."),
    _confidence,
    _lethal,
)


def _look_at(fraction_examined: float, preparations: int, detection_per_fluke: float, part_shape: float) -> Any:
    from burden.sampling import Look
    from burden.sampling.plan import check_numbers

    share = "above 0, at most 1"
    check_numbers(
        [
            ("--fraction-examined", fraction_examined, 0 < fraction_examined <= 1, share, "For 1 % write 0.01."),
            ("--preparations", preparations, preparations >= 1, "1 or more", "Take one at least."),
            ("--detection-per-fluke", detection_per_fluke, 0 < detection_per_fluke <= 1, share, "1 if none is missed."),
            ("--part-shape", part_shape, part_shape > 0, "above 0", "About 1; 0.5 is clumped, 2 even."),
        ]
    )
    return Look(fraction_examined, preparations, detection_per_fluke, part_shape)


#: new fish, and how often the plan is repeated
_rounds = _options(
    click.option("--rounds", type=int, help="Clean rounds of this plan: how sure of absence each makes you."),
    click.option("--rounds-a-year", default=4.0, show_default=True, type=float, help="How often it is repeated."),
    click.option("--new-fish-a-year", default=0, show_default=True, type=int, help="Fish that join in a year."),
    click.option(
        "--new-infected", default=0.1, show_default=True, type=float, help="Share of them with flukes (assumption)."
    ),
    click.option("--prior-absent", default=0.5, show_default=True, type=float, help="Chance of absence at the start."),
)


@sampling.command(short_help="How many fish to find flukes.")
@click.option("--prevalence", required=True, type=float, help="Share of fish infected not to be missed [0 to 1].")
@_confidence
@_population
@click.option("--sensitivity", default=1.0, show_default=True, type=float, help="Chance that an infected fish shows.")
@click.option("--ponds", type=int, help="Ponds on the farm; --population is then of each.")
@click.option("--pond-prevalence", type=float, help="Share of ponds infected not to be missed (default: one of them).")
@_rounds
@answers(None)
def find(
    prevalence: float,
    confidence: float,
    population: int | None,
    sensitivity: float,
    ponds: int | None,
    pond_prevalence: float | None,
    rounds: int | None,
    rounds_a_year: float,
    new_fish_a_year: int,
    new_infected: float,
    prior_absent: float,
) -> Any:
    """How many fish to look at so that flukes on this share of the fish are not missed.

    \b
    Example:
      burden sampling find --prevalence 0.05 --population 100 --rounds 4 --new-fish-a-year 10
    """
    from burden.sampling import find as run

    if ponds is None and pond_prevalence is None:
        plan = run(prevalence, confidence, population, sensitivity)
    else:
        plan = _find_in_ponds(ponds, pond_prevalence, prevalence, confidence, population, sensitivity)
    if rounds is None:
        return plan
    from burden.sampling import with_clean_rounds

    return with_clean_rounds(plan, rounds, new_fish_a_year, new_infected, rounds_a_year, prior_absent)


def _find_in_ponds(ponds: int | None, pond_prevalence: float | None, *fish: Any) -> Any:
    from burden.sampling import find_in_ponds
    from burden.sampling.plan import check_numbers

    count = ponds or 0
    check_numbers([("--ponds", ponds, count >= 1, "1 or more", "Say how many ponds there are.")])
    return find_in_ponds(count, 1 / count if pond_prevalence is None else pond_prevalence, *fish)


@sampling.command(short_help="How many fish to measure the mean burden.")
@click.option("--mean", "expected", type=float, help="Burden expected [flukes/fish].")
@click.option("--k", type=float, help="Aggregation across fish; 0.3 to 2 is usual, small clumped.")
@click.option("--prevalence", type=float, help="Or the share of fish infected expected, to measure that [0 to 1].")
@click.option(
    "--precision",
    required=True,
    type=float,
    help="Half-width as a share of the mean, 0.5 for half of it; of a prevalence as it stands.",
)
@_look
@click.option("--handling", type=float, help="Work of catching a fish, in preparations; then these are chosen too.")
@click.option("--level", default=0.9, show_default=True, type=float, help="Level of the interval [0 to 1].")
@_population
@click.option("--plot", type=FIGURE, help="Draw more fish against more of each fish, .svg or .png.")
@answers(None)
def mean(
    expected: float | None,
    k: float | None,
    prevalence: float | None,
    precision: float,
    handling: float | None,
    level: float,
    population: int | None,
    plot: Path | None,
    **look: Any,
) -> Any:
    """How many fish for a mean burden, or a prevalence, of a stated precision, and how many preparations of each.

    \b
    Example:
      burden sampling mean --mean 100 --k 1 --precision 0.5 --fraction-examined 0.01 --handling 3 --plot effort.svg
    """
    from burden.sampling import mean as run
    from burden.sampling import prevalence_within

    _check_measured(expected, k, prevalence, plot)
    if prevalence is not None:
        return prevalence_within(prevalence, precision, level, population)
    plan = run(expected, k, precision, _look_at(**look), handling, level, population)
    if plot is not None:
        _draw(plot, "draw_effort", plan)
    return plan


def _check_measured(expected: float | None, k: float | None, prevalence: float | None, plot: Path | None) -> None:
    from burden.sampling.plan import check_numbers

    both = "--mean or --prevalence, one of them"
    check_numbers(
        [
            ("--mean", expected, (expected is None) != (prevalence is None), both, "Say what is to be measured."),
            ("--k", k, expected is None or k is not None, "--k beside --mean", "0.3 to 2 is usual, small clumped."),
            ("--plot", plot, plot is None or prevalence is None, "--mean", "A prevalence has no figure."),
        ]
    )


def _draw(path: Path, figure: str, plan: Any) -> None:
    from burden.report.figures import sampling as sampling_figures
    from burden.report.figures.style import write_figure

    write_figure(path, lambda: getattr(sampling_figures, figure)(plan), "sampling")


@sampling.command(short_help="When to stop counting, fish by fish.")
@_k
@click.option("--precision", type=float, help="Stop when the mean is known to this half-width, as its share.")
@click.option("--low", type=float, help="Or stop when the burden is clearly below this, or above --high [flukes/fish].")
@click.option("--high", type=float, help="Burden at which something must be done (default: --low is the one line).")
@click.option("--max-fish", default=30, show_default=True, type=int, help="Fish there are, or that will be looked at.")
@_look
@click.option("--level", default=0.9, show_default=True, type=float, help="Level of the interval [0 to 1].")
@click.option("--call-high", default=0.1, show_default=True, type=float, help="Chance of calling a low burden high.")
@click.option("--call-low", default=0.1, show_default=True, type=float, help="Chance of calling a high burden low.")
@click.option("--plot", type=FIGURE, help="Draw the card with its stop lines, .svg or .png.")
@answers(None)
def stop(
    k: float,
    precision: float | None,
    low: float | None,
    high: float | None,
    max_fish: int,
    level: float,
    call_high: float,
    call_low: float,
    plot: Path | None,
    **look: Any,
) -> Any:
    """A card to take to the pond: after each fish, the total count at which to stop.

    Give --precision for a mean, or --low (and --high) for a decision.

    \b
    Example:
      burden sampling stop --k 1 --low 5 --high 20 --max-fish 15 --plot card.svg
    """
    from burden.sampling import stop_at_precision, stop_at_threshold

    _check_aim(precision, low, high)
    seen = _look_at(**look)
    if low is None:
        card = stop_at_precision(k, precision, max_fish, seen, level)
    else:
        card = stop_at_threshold(k, low, high, max_fish, seen, call_high, call_low)
    if plot is not None:
        _draw(plot, "draw_stop_card", card)
    return card


def _check_aim(precision: float | None, low: float | None, high: float | None) -> None:
    from burden.sampling.plan import check_numbers

    both = "--precision or --low, one of them"
    check_numbers(
        [
            ("--precision", precision, (precision is None) != (low is None), both, "Say what is to be decided."),
            ("--high", high, high is None or low is not None, "--low beside it", "Give both, or --low alone."),
        ]
    )


@sampling.command(short_help="When to look after a dose, and at how many fish.")
@_waters
@click.option("--agent", default="praziquantel", show_default=True, type=AgentName(), help="What was given.")
@_population
@answers()
def recheck(
    parasite: str,
    temperature: float,
    level: float,
    confidence: float,
    lethal: int,
    agent: str,
    population: int | None,
    **looked: Any,
) -> Any:
    """On which day after the last dose a clean sample means most, and how large it must be.

    \b
    Example:
      burden sampling recheck --parasite dactylogyrus --temperature 20 --population 40
    """
    from burden.sampling import Waters, recheck_at

    return recheck_at(Waters(parasite, temperature, **looked), level, agent, confidence, population, lethal)


@sampling.command(short_help="How long to hold newcomers, and when to look at how many.")
@_waters
@click.option("--fish", required=True, type=int, help="New fish.")
@answers()
def arrivals(
    parasite: str, temperature: float, level: float, confidence: float, lethal: int, fish: int, **looked: Any
) -> Any:
    """How long to hold new fish so that eggs carried in have hatched and shown, and how many to look at when.

    \b
    Example:
      burden sampling arrivals --parasite dactylogyrus --temperature 20 --fish 30
    """
    from burden.sampling import Waters, arrivals_at

    return arrivals_at(Waters(parasite, temperature, **looked), fish, level, confidence, lethal)

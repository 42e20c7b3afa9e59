"""Commands about samples: find, mean, stop, recheck, response, arrivals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from burden.cli.options import Group
from burden.cli.sampling_options import (
    K_SAID,
    answers_in_brief,
    asked_for,
    confidence_option,
    fish_of_set_options,
    group_options,
    interval_level_option,
    look_options,
    number_option,
    population_option,
    round_infected_option,
    rounds_options,
)
from burden.cli.types import FIGURE, AgentName

__all__ = ["arrivals", "find", "mean", "recheck", "response", "sampling", "stop"]


@click.group(cls=Group, short_help="How many fish to look at, how much of each, and when.")
def sampling() -> None:
    """How many fish: to find flukes, measure them, stop counting, call it clear, hold newcomers.

    \b
    Example:
      burden sampling find --prevalence 0.05
    """


def _look_at(**look: Any) -> Any:
    from burden.sampling import Look

    return Look(**look)


@sampling.command(short_help="How many fish to find flukes.")
@number_option("--prevalence", None, "Share of fish infected not to be missed [0 to 1].", required=True)
@confidence_option
@population_option
@number_option("--sensitivity", 1.0, "Chance that an infected fish shows.")
@number_option("--specificity", 1.0, "Chance that a clean fish is called clean; a fluke seen and named is proof: 1.")
@number_option("--fail-clean", 0.05, "Largest chance that a clean group fails, with --specificity.")
@round_infected_option
@number_option("--ponds", None, "Ponds on the farm; --population is then of each.", whole=True)
@number_option("--pond-prevalence", None, "Share of ponds infected not to be missed (default: one of them).")
@number_option("--pond-cost", 0.0, "Work of going to one pond, as so many fish looked at.")
@rounds_options
@answers_in_brief(None)
def find(specificity: float, fail_clean: float, ponds: int | None, rounds: int | None, **options: Any) -> Any:
    """How many fish to look at so that flukes on this share of the fish are not missed.

    \b
    Example:
      burden sampling find --prevalence 0.05 --population 100 --rounds 4 --new-fish-a-year 10
    """
    repeated = {name: options.pop(name) for name in _REPEATED}
    pond = {name: options.pop(name) for name in ("pond_prevalence", "pond_cost")}
    several = ponds is not None or pond["pond_prevalence"] is not None
    _check_found(specificity, several, rounds)
    if specificity != 1:
        return _with_false_positives(specificity, fail_clean, **options)
    plan = _in_ponds(ponds, **pond, **options) if several else _in_one(**options)
    if rounds is None:
        return plan
    from burden.sampling import with_clean_rounds

    return with_clean_rounds(plan, rounds, **repeated)


_REPEATED = ("new_fish_a_year", "new_infected", "rounds_a_year", "prior_absent")


def _in_one(**options: Any) -> Any:
    from burden.sampling import find as run

    return run(**options)


def _with_false_positives(specificity: float, fail_clean: float, confidence: float, **options: Any) -> Any:
    from burden.sampling import find_with_false_positives
    from burden.sampling.ranges import check_numbers

    check_numbers(confidence=confidence)
    return find_with_false_positives(
        specificity=specificity, pass_infected=1 - confidence, fail_clean=fail_clean, **options
    )


def _in_ponds(ponds: int | None, pond_prevalence: float | None, population: int | None, **options: Any) -> Any:
    from burden.sampling import find_in_ponds
    from burden.sampling.ranges import check_numbers

    check_numbers(
        *asked_for(("ponds", ponds, ponds is None, "a number of ponds", "Say how many there are.")), ponds=ponds
    )
    share = 1 / (ponds or 1) if pond_prevalence is None else pond_prevalence
    return find_in_ponds(ponds or 1, share, fish_in_pond=population, **options)


def _check_found(specificity: float, several: bool, rounds: int | None) -> None:
    from burden.sampling.ranges import check_numbers

    alone = "no --specificity beside it"
    fix = "A pass mark is worked out for one group and one round."
    check_numbers(
        *asked_for(
            ("ponds", "given", several and specificity != 1, alone, fix),
            ("rounds", rounds, rounds is not None and specificity != 1, alone, fix),
        ),
        specificity=specificity,
    )


@sampling.command(short_help="How many fish to measure the mean burden.")
@number_option("--mean", None, "Burden expected [flukes/fish].")
@number_option("--k", None, f"{K_SAID}.")
@number_option("--prevalence", None, "Or the share of fish infected expected, to measure that [0 to 1].")
@number_option(
    "--precision",
    None,
    "Half-width of the interval: of a mean as a share of it, 0.5 for half; of a prevalence in points, 0.1 for ten.",
    required=True,
)
@look_options
@number_option("--handling", None, "Work of catching a fish, in preparations; then these are chosen too.")
@interval_level_option
@population_option
@click.option("--plot", type=FIGURE, help="Draw more fish against more of each fish, .svg or .png.")
@answers_in_brief(None)
def mean(
    mean: float | None,
    k: float | None,
    prevalence: float | None,
    precision: float,
    handling: float | None,
    interval_level: float,
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

    _check_measured(mean, k, prevalence, plot)
    if mean is None or k is None:
        return _prevalence(prevalence, precision, interval_level, population)
    plan = run(mean, k, precision, _look_at(**look), handling, interval_level, population)
    if plot is not None:
        _draw(plot, "draw_effort", plan)
    return plan


def _prevalence(prevalence: float | None, precision: float, interval_level: float, population: int | None) -> Any:
    from dataclasses import replace

    from burden.sampling import prevalence_within
    from burden.utils.errors import InputError

    try:
        return prevalence_within(prevalence or 0.0, precision, interval_level, population)
    except InputError as error:
        renamed = {"half_width": "precision"}
        raise InputError([replace(p, place=renamed.get(p.place, p.place)) for p in error.problems]) from error


def _check_measured(expected: float | None, k: float | None, prevalence: float | None, plot: Path | None) -> None:
    from burden.sampling.ranges import check_numbers

    one = "--mean or --prevalence, one of them"
    lone = expected is not None and k is None
    check_numbers(
        *asked_for(
            ("mean", expected, (expected is None) == (prevalence is None), one, "Say what is to be measured."),
            ("k", k, lone, "--k beside --mean", "0.3 to 2 is usual, small is clumped."),
            ("plot", plot, plot is not None and prevalence is not None, "--mean", "A prevalence has no figure."),
        )
    )


def _draw(path: Path, figure: str, plan: Any) -> None:
    from burden.report.figures import sampling as sampling_figures
    from burden.report.figures.style import write_figure

    write_figure(path, lambda: getattr(sampling_figures, figure)(plan), "sampling")


@sampling.command(short_help="When to stop counting, fish by fish.")
@number_option("--k", None, f"{K_SAID}.", required=True)
@number_option("--precision", None, "Stop when the mean is known to this half-width, as a share of it.")
@number_option("--low", None, "Or stop when the burden is clearly below this, or above --high [flukes/fish].")
@number_option("--high", None, "Burden at which something must be done (default: --low is the one line).")
@number_option("--max-fish", 30, "Fish there are, or that will be looked at.", whole=True)
@look_options
@interval_level_option
@number_option("--call-high", 0.1, "Chance of calling a low burden high.")
@number_option("--call-low", 0.1, "Chance of calling a high burden low.")
@click.option("--plot", type=FIGURE, help="Draw the card with its stop lines, .svg or .png.")
@answers_in_brief(None)
def stop(
    k: float,
    precision: float | None,
    low: float | None,
    high: float | None,
    max_fish: int,
    interval_level: float,
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
        card = stop_at_precision(k, precision, max_fish, seen, interval_level)
    else:
        card = stop_at_threshold(k, low, high, max_fish, seen, call_high, call_low)
    if plot is not None:
        _draw(plot, "draw_stop_card", card)
    return card


def _check_aim(precision: float | None, low: float | None, high: float | None) -> None:
    from burden.sampling.ranges import check_numbers

    one = "--precision or --low, one of them"
    lone = high is not None and low is None
    check_numbers(
        *asked_for(
            ("precision", precision, (precision is None) == (low is None), one, "Say what is to be decided."),
            ("high", high, lone, "--low beside it", "Give both, or --low alone."),
        )
    )


@sampling.command(short_help="When to look after a dose, and at how many fish.")
@group_options
@click.option("--agent", default="praziquantel", show_default=True, type=AgentName(), help="What was given.")
@population_option
@answers_in_brief()
def recheck(agent: str, population: int | None, **options: Any) -> Any:
    """On which day after the last dose a clean sample means most, and how large it must be.

    \b
    Example:
      burden sampling recheck --parasite dactylogyrus --temperature 20 --population 40
    """
    from burden.sampling import recheck as run

    group, sample = _sampled(population, **options)
    return run(group.times(agent), sample)


@sampling.command(short_help="How many fish before and after a dose tell whether it worked.")
@fish_of_set_options
@click.option("--agent", default="praziquantel", show_default=True, type=AgentName(), help="What is given.")
@number_option(
    "--burden-before",
    None,
    "Mean burden before the dose, as believed within a factor of 2 [flukes/fish] (default: what is usual for the set).",
)
@number_option("--chance", 0.8, "Wanted, that a dose that worked is called so, and one that fell short [0 to 1].")
@population_option
@answers_in_brief()
def response(
    parasite: str,
    temperature: float,
    agent: str,
    burden_before: float | None,
    chance: float,
    population: int | None,
    **looked: Any,
) -> Any:
    """How many fish to look at before and after a dose, and on which day after it, to tell whether it worked.

    \b
    Example:
      burden sampling response --parasite dactylogyrus --temperature 20 --burden-before 100 --preparations 6
    """
    from burden.sampling import SampledGroup, fish_for_verdict

    return fish_for_verdict(SampledGroup(parasite, temperature, **looked), agent, burden_before, chance, population)


@sampling.command(short_help="How long to hold newcomers, and when to look at how many.")
@group_options
@number_option("--fish", None, "New fish.", whole=True, required=True)
@answers_in_brief()
def arrivals(fish: int, **options: Any) -> Any:
    """How long to hold new fish so that flukes carried in have shown, and how many to look at when.

    \b
    Example:
      burden sampling arrivals --parasite dactylogyrus --temperature 20 --fish 30
    """
    from burden.sampling import arrivals as run
    from burden.sampling.ranges import check_numbers

    check_numbers(fish=fish)
    group, sample = _sampled(fish, **options)
    return run(group.times(), sample, fish)


def _sampled(
    population: int | None,
    parasite: str,
    temperature: float,
    level: float | None,
    prevalence: float | None,
    confidence: float,
    lethal: int,
    **looked: Any,
) -> tuple[Any, Any]:
    """The fish as they are looked at, and the clean sample asked for."""
    from burden.sampling import SampledGroup
    from burden.sampling.ranges import check_numbers, out_of_range

    both = level is not None and prevalence is not None
    fix = "Say what must not be missed in one way."
    named = {"weight_g": looked["weight_g"], "preparations": looked["preparations"], "k": looked["k"]}
    check_numbers(
        *[
            *asked_for(("level", level, both, "--level or --prevalence, not both", fix)),
            *out_of_range(temperature_c=temperature, level=level, prevalence=prevalence, confidence=confidence),
            *out_of_range(population=population, lethal_allowed=lethal),
        ],
        fraction_examined=looked["fraction_examined"],
        **named,
    )
    group = SampledGroup(parasite, temperature, **looked)
    return group, group.clean_sample(level, confidence, population, lethal, prevalence)

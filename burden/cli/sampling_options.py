"""Options that the commands about samples share, and how a problem names them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any

import click

from burden.cli.options import answers
from burden.cli.types import ParasiteName

__all__ = [
    "K_SAID",
    "answers_in_brief",
    "asked_for",
    "confidence_option",
    "fish_of_set_options",
    "group_options",
    "interval_level_option",
    "look_options",
    "number_option",
    "population_option",
    "round_infected_option",
    "rounds_options",
]


@contextmanager
def _options_named() -> Iterator[None]:
    """Name a wrong number by its option, where the room names it by its argument."""
    from dataclasses import replace

    from burden.utils.errors import InputError

    try:
        yield
    except InputError as error:
        ctx = click.get_current_context()
        names = {_ARGUMENTS.get(p.name or "", p.name): p.opts[0] for p in ctx.command.params}
        raise InputError([replace(p, place=names.get(p.place, p.place)) for p in error.problems]) from error


#: argument of the room by parameter of a command, where they differ
_ARGUMENTS = {"expected": "mean", "lethal": "lethal_allowed", "temperature": "temperature_c"}


def answers_in_brief(draws: int | None = 500) -> Callable[[Any], Any]:
    """Give a command what all have, name its options in problems, and print the answer in a few lines."""

    def decorate(command: Callable[..., Any]) -> Any:
        @wraps(command)
        def run(**options: Any) -> Any:
            with _options_named():
                return command(**options)

        return answers(draws, brief=True)(run)

    return decorate


def _options(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def decorate(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def number_option(
    name: str, default: float | None, said: str, whole: bool = False, **more: Any
) -> Callable[[Any], Any]:
    """Make an option that takes a number, a whole one where it is a count."""
    kind = int if whole else float
    return click.option(name, default=default, show_default=default is not None, type=kind, help=said, **more)


confidence_option = number_option("--confidence", 0.95, "Chance of not missing them [0 to 1].")
interval_level_option = number_option("--interval-level", 0.9, "Level of the interval [0 to 1].")
population_option = number_option("--population", None, "Fish in the group (default: many).", whole=True)
_lethal = number_option("--lethal", 0, "Healthy fish that may be killed.", whole=True)
K_SAID = "Aggregation across fish; 0.3 to 2 is usual, small is clumped"
round_infected_option = click.option(
    "--round-infected",
    type=click.Choice(["up", "down"]),
    default="up",
    show_default=True,
    help="How a share of a small group becomes whole fish; printed tables round down.",
)
#: what is looked at, where no parasite set says it
look_options = _options(
    number_option(
        "--fraction-examined",
        1.0,
        "Share of the site one preparation shows; about 0.01 for a gill clip, 1 for the whole of it [0 to 1].",
    ),
    number_option("--preparations", 1, "Preparations of each fish.", whole=True),
    number_option("--detection-per-fluke", 1.0, "Chance that one in view is counted."),
    number_option("--part-shape", 1.0, "How unevenly flukes sit on a fish; 0.5 is clumped, 2 even (assumption)."),
)
#: what is looked at, where a parasite set says most of it
fish_of_set_options = _options(
    click.option("--parasite", required=True, type=ParasiteName(), help="Parasite set, see `burden parasites`."),
    number_option("--temperature", None, "Water [°C], 0 to 40.", required=True),
    number_option("--preparations", 3, "Clips or scrapes of each fish.", whole=True),
    number_option("--fraction-examined", None, "Share a preparation shows (default: by method and weight)."),
    number_option("--k", None, f"{K_SAID} (default: the set's own, with its range)."),
    number_option("--weight-g", 400.0, "Of a fish [g]."),
)
#: fish of which something must not be missed
group_options = _options(
    fish_of_set_options,
    number_option(
        "--level",
        None,
        "Mean burden that must not be missed [flukes/fish] (default: 10 on a fish of 400 g, in proportion to weight).",
    ),
    number_option("--prevalence", None, "Or the share of fish infected that must not be missed [0 to 1]."),
    confidence_option,
    _lethal,
)
#: new fish, and how often the plan is repeated
rounds_options = _options(
    number_option("--rounds", None, "Clean rounds of this plan: how sure of absence they make you.", whole=True),
    number_option("--rounds-a-year", 4.0, "How often it is repeated."),
    number_option("--new-fish-a-year", 0, "Fish that join in a year.", whole=True),
    number_option("--new-infected", 0.1, "Share of them with flukes (assumption)."),
    number_option("--prior-absent", 0.5, "Chance of absence at the start."),
)


def asked_for(*rules: tuple[str, Any, bool, str, str]) -> list[Any]:
    """Problems of what was given together: option, value, whether it is wrong, what was expected, what to do."""
    from burden.utils.errors import Problem

    return [
        Problem("command line", option, "missing" if value is None else str(value), expected, fix)
        for option, value, wrong, expected, fix in rules
        if wrong
    ]

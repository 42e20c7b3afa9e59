"""Commands that need no case: interval, dose, parasites, agents."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from burden.cli.options import Command, answers
from burden.cli.output import Answer
from burden.cli.types import FIGURE, VOLUME, AgentName, Number, ParasiteName

__all__ = ["agents", "dose", "interval", "parasites"]

_WARMTH = Number(0, 40, "Outside these limits no egg, fluke or fish of these sets was ever measured.")
_water = click.option("--temperature", required=True, type=_WARMTH, help="Water [°C].")
_MG_L = Number(0, 400_000, "Above nothing, and no more than water can hold of salt.", above=True)
_PERCENT = Number(0, 100, "It is the share of the product that is active substance.", above=True)
_HOURS = Number(0, 720, "No bath lasts longer than a month.", above=True)
_COLDEST = Number(-2.5, 40, "Sea water freezes near -2 °C, and no fish of these sets lives above 40 °C.")


@click.command(cls=Command, short_help="Why repeat the dose at this interval.")
@click.option("--parasite", required=True, type=ParasiteName(), help="Parasite set, see `burden parasites`.")
@_water
@click.option(
    "--agent", default="praziquantel", show_default=True, type=AgentName(), help="Agent, see `burden agents`."
)
@click.option("--plot", type=FIGURE, help="Write the chart of interval against temperature, .svg or .png.")
@answers(200, brief=True)
def interval(parasite: str, temperature: float, agent: str, plot: Path | None, draws: int, seed: int) -> Any:
    """Explain the repeat interval: when eggs hatch, when young flukes lay, and what doses in between can do.

    It is worked out for a reference pond: 40 fish of 400 g in 10 m³. For the dates of a case run `burden report`.

    \b
    Example:
      burden interval --parasite dactylogyrus --temperature 26 --plot interval.svg
    """
    from burden.schedule.interval import interval as run

    answer = run(parasite, temperature, agent, draws, seed)
    if plot is not None:
        from burden.report.figures.interval import write_interval_chart

        write_interval_chart(parasite, agent, plot, today_c=temperature, draws=draws, seed=seed, answer=answer)
    return answer


@click.command(cls=Command, short_help="What to weigh or measure, and the cautions.")
@click.option("--agent", required=True, type=AgentName(), help="Agent, see `burden agents`.")
@click.option("--volume-l", required=True, type=VOLUME, help="All the water, filter, sump and pipes included [L].")
@click.option("--mg-l", type=_MG_L, help="Concentration (default: the customary one) [mg/L].")
@click.option("--strength-percent", type=_PERCENT, help="Active substance in the product [%].")
@click.option("--hours", type=_HOURS, help="Length of the bath (default: as published) [h].")
@click.option("--temperature", type=_COLDEST, help="Of the water; without it the warm-water limit holds [°C].")
@click.option("--species", help="Host, for its own limits.")
@click.option("--accept-unpublished-dose", is_flag=True, help="Work out a dose that no source gives.")
@answers(None)
def dose(
    agent: str,
    volume_l: float,
    mg_l: float | None,
    strength_percent: float | None,
    hours: float | None,
    temperature: float | None,
    species: str | None,
    accept_unpublished_dose: bool,
) -> Any:
    """Work out what to weigh or measure for one bath, with the cautions.

    \b
    Example:
      burden dose --agent formalin --volume-l 18000 --mg-l 25 --temperature 17
    """
    from burden.treatment.dose import dose as run

    return run(
        agent,
        volume_l,
        mg_l,
        strength_percent,
        hours=hours,
        accept_unpublished=accept_unpublished_dose,
        temperature_c=temperature,
        species=species,
    )


@click.command(cls=Command, short_help="List the parasite sets, or show one.")
@click.argument("name", required=False, type=ParasiteName())
@click.option("--plot", type=FIGURE, help="Write the figure of its thermal laws, .svg or .png; needs a name.")
@answers(200)
def parasites(name: str | None, plot: Path | None, draws: int, seed: int) -> Any:
    """List the parasite sets, or show all that is known of one: values, points, laws and sources.

    \b
    Example:
      burden parasites dactylogyrus --plot laws.svg
    """
    from burden.report.reference.parasite_sheet import parasite_list, parasite_sheet

    if name is None:
        if plot is not None:
            raise _no_set_to_draw(plot)
        return Answer(parasite_list())
    sheet = parasite_sheet(name, draws, seed)
    if plot is not None:
        from burden.report.figures.style import write_figure
        from burden.report.figures.thermal import draw_thermal_laws

        write_figure(plot, lambda: draw_thermal_laws(sheet), "laws")
    return sheet


def _no_set_to_draw(plot: Path) -> Exception:
    from burden.utils.errors import InputError, Problem

    expected, fix = "the name of one set before it", "For instance: burden parasites dactylogyrus --plot laws.svg"
    return InputError([Problem("command line", "--plot", str(plot), expected, fix)])


@click.command(cls=Command, short_help="List the agents, or show one.")
@click.argument("name", required=False, type=AgentName())
@answers()
def agents(name: str | None, draws: int, seed: int) -> Any:
    """List the agents, or show one: how it is given, what it kills and spares, which fish tolerate it badly.

    \b
    Example:
      burden agents praziquantel
    """
    from burden.evidence import load_agent
    from burden.report.reference.agent_sheet import agent_list, agent_sheet

    return Answer(agent_list()) if name is None else agent_sheet(load_agent(name), draws, seed)

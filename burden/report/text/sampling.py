"""Words of sampling plans: what they share, and how many fish and ponds find flukes at a prevalence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import singledispatch
from typing import Any

from burden.report.text import load_writers
from burden.sampling.detection import FindPlan
from burden.sampling.freedom import AbsenceAfterRounds
from burden.sampling.plan import PlanRemark, SamplingPlan
from burden.sampling.two_stage import PondsPlan
from burden.utils.formatting import all_of, as_given, counted, percent, plain
from burden.utils.results import Result
from burden.utils.wording import brief_of, text_of, writes, writes_brief

__all__ = [
    "CHANGES",
    "as_asked",
    "brief_plan",
    "headline_of",
    "of_fish",
    "reason_of",
    "table",
    "whole_plan",
]

#: most lines of an answer on a screen
_LINES = 5
#: what would change a plan, by code
CHANGES = {
    "not_at_random": "Net fish at random. Slow and weak fish carry more flukes and come to the net first.",
    "always_recognised": (
        "This counts every infected fish as recognised. One gill clip of live eels found 29 % of the infected "
        "(Larrat 2012): give the share with --sensitivity."
    ),
    "more_preparations": "More clips or scrapes of each fish raise the sensitivity, so fewer fish are enough.",
    "known_group": "A small group of known size needs fewer fish.",
    "larger_group": "A larger group needs more fish.",
    "fewer_infected": "Fewer infected fish can still be missed: a clean sample does not prove the group free.",
    "shared_water": "Ponds that share water, nets or staff are alike: take fewer ponds and more fish of each.",
    "suspect_ponds": "Include every pond with trouble or with new fish, as it is more likely to be infected.",
    "pond_cost": "If each pond takes time to set up, give it with --pond-cost: fewer ponds, more fish of each.",
}


# --- parts of every plan ------------------------------------------------------------------------------------------
def as_asked(share: float) -> str:
    """Write a share that somebody asked for in percent, with all its digits.

    Examples
    --------
    >>> as_asked(0.05), as_asked(0.125), as_asked(0.0005)
    ('5 %', '12.5 %', '0.05 %')
    """
    return f"{as_given(100 * share)} %"


def of_fish(fish: int, population: int | None) -> str:
    """Write so many fish, of how many where that is known.

    Examples
    --------
    >>> of_fish(45, 100), of_fish(33, 33), of_fish(59, None)
    ('45 of 100 fish', 'all 33 fish', '59 fish')
    """
    if fish == population:
        return all_of(fish, "fish")
    return counted(fish, "fish") if population is None else f"{plain(fish, 9)} of {counted(population, 'fish')}"


@singledispatch
def headline_of(plan: SamplingPlan) -> str:
    """Write a plan in one line; a writer for each type of plan is registered here."""
    raise TypeError(f"{type(plan).__name__} has no headline: register one in burden.report.text")


@singledispatch
def reason_of(plan: SamplingPlan, code: str) -> str:
    """Write why a plan is as it is; a writer for each type of plan is registered here."""
    raise TypeError(f"{type(plan).__name__} has no reason: register one in burden.report.text")


@writes
def _remark_text(remark: PlanRemark) -> str:
    """Write a remark beside the numbers of its plan."""
    load_writers(type(remark.plan).__module__)
    if remark.role == "change":
        return CHANGES[remark.code]
    return headline_of(remark.plan) if remark.role == "headline" else reason_of(remark.plan, remark.code)


def whole_plan(plan: SamplingPlan, *more: str) -> str:
    """Write a plan: what to do, why, whether fish are killed, what would change it, and tables."""
    changes = [f"- {change}" for change in plan.changes]
    lines = [plan.headline(), str(plan.because), *_killed(plan), "What would change it:", *changes]
    return "\n".join([*lines, *(part for text in more if text for part in ("", text))])


def brief_plan(plan: SamplingPlan, *more: str, why: str | None = None) -> str:
    """Write a plan in five lines: what to do, why, what matters besides."""
    lines = [plan.headline(), str(plan.because) if why is None else why, *_killed(plan), *more]
    lines += [change for change in map(str, plan.changes) if change not in lines]
    return "\n".join(lines[:_LINES])


def _killed(plan: SamplingPlan) -> list[str]:
    if plan.fish_killed:
        return [f"{plan.fish_killed} of them must be killed and searched whole."]
    return ["No healthy fish need be killed. Look at dying fish whole, and at the others alive."] if plan.fish else []


def table(heads: Mapping[str, str], rows: Iterable[Mapping[str, Any]], missing: str = "none") -> str:
    """Write rows as columns under heads; `heads` goes from key to words."""
    cells = [[*heads.values()], *([missing if row[key] is None else str(row[key]) for key in heads] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(heads))]
    return "\n".join("  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in cells)


# --- find ---------------------------------------------------------------------------------------------------------
@headline_of.register
def _(plan: FindPlan) -> str:
    if plan.fish is None and plan.population is None:
        return f"No practical sample is enough: it would take {counted(plan.fish_needed or 0, 'fish')}."
    if plan.fish is None:
        reached = percent(plan.confidence_reached)
        whole = all_of(plan.population or 0, "fish").capitalize()
        return f"{whole} are not enough: they reach {reached} confidence, not {as_asked(plan.confidence)}."
    fewer = f" ({_fewer_than(plan.infected)} of {plan.population})" if plan.infected else ""
    return (
        f"Look at {of_fish(plan.fish, plan.population)}. If none shows a fluke, fewer than {as_asked(plan.prevalence)} "
        f"of the fish are infected{fewer}, with {as_asked(plan.confidence)} confidence."
    )


def _fewer_than(infected: int) -> str:
    return "none" if infected == 1 else f"at most {infected - 1}"


@reason_of.register
def _(plan: FindPlan, code: str) -> str:
    if plan.infected is None:
        group = f"With {as_asked(plan.prevalence)} of many fish infected"
    else:
        group = f"With {plan.infected} of {counted(plan.population or 0, 'fish')} infected"
    seen = f" and each recognised with {as_asked(plan.sensitivity)} chance" if plan.sensitivity < 1 else ""
    if code == "smallest_sample":
        missed = as_asked(1 - plan.confidence)
        return f"{group}{seen}, {counted(plan.fish or 0, 'fish')} all look clean with a chance of at most {missed}."
    chance = percent(1 - plan.confidence_reached)
    if code == "beyond_reach":
        return f"{group}{seen}, even 50 000 fish all look clean with {chance} chance. Ask for a higher prevalence."
    return f"{group}{seen}, even all of them look clean with {chance} chance. Take more clips or scrapes of each fish."


def _rounding(plan: FindPlan) -> list[str]:
    """What printed tables would ask for, where they round the infected fish down and we up."""
    if plan.round_infected == "down" or "rounded_down" not in plan.what_would_change or plan.infected is None:
        return []
    down = f"{as_asked(plan.prevalence)} of {plain(plan.population, 9)} fish is rounded up to "
    down += f"{counted(plan.infected, 'infected fish')}."
    if plan.fish_rounded_down is None:
        return [f"{down} Rounded down, as in printed tables, not even all fish are enough (--round-infected down)."]
    fish = counted(plan.fish_rounded_down, "fish")
    return [f"{down} Rounded down, as in printed tables, it takes {fish} (--round-infected down)."]


CHANGES["rounded_down"] = "Printed tables round the infected fish down: more fish (--round-infected down)."


@writes
def _find_text(plan: FindPlan) -> str:
    """Write how many fish find flukes."""
    return whole_plan(plan, *_rounding(plan), _rounds_table(plan.clean_rounds))


@writes_brief
def _find_brief(plan: FindPlan) -> str:
    """Write how many fish find flukes, in a few lines."""
    return brief_plan(plan, *_rounds_line(plan.clean_rounds), *_rounding(plan))


# --- several ponds --------------------------------------------------------------------------------------------------
@headline_of.register
def _(plan: PondsPlan) -> str:
    if plan.fish is None:
        reached = percent(plan.confidence_reached)
        return f"Not even many fish of every pond are enough: they reach {reached}, not {as_asked(plan.confidence)}."
    ponds = f"all {plan.ponds}" if plan.ponds_sampled == plan.ponds else f"{plan.ponds_sampled} of the {plan.ponds}"
    return f"Look at {counted(plan.fish_per_pond or 0, 'fish')} in each of {ponds} ponds: {counted(plan.fish, 'fish')}."


@reason_of.register
def _(plan: PondsPlan, code: str) -> str:
    farm = (
        f"If {as_asked(float(plain(plan.pond_prevalence, 3)))} of the ponds have flukes on {as_asked(plan.prevalence)} "
        "of their fish"
    )
    if code == "all_ponds_too_few":
        return f"{farm}, that is found too seldom. Take more clips or scrapes of each fish."
    cost = f", each pond counted as {counted(round(plan.pond_cost), 'fish')}" if plan.pond_cost else ""
    return (
        f"{farm}, this finds it with {percent(plan.confidence_reached)} chance: an infected pond is recognised with "
        f"{percent(plan.pond_sensitivity or 0.0)} chance. No other split takes less work{cost}."
    )


@writes
def _ponds_text(plan: PondsPlan) -> str:
    """Write how many ponds, and fish of each."""
    heads = {"ponds_sampled": "ponds", "fish_per_pond": "fish a pond", "fish": "fish in all"}
    splits = table(heads, plan.options) if plan.options else ""
    return whole_plan(plan, splits, _rounds_table(plan.clean_rounds))


@writes_brief
def _ponds_brief(plan: PondsPlan) -> str:
    """Write how many ponds, and fish of each, in a few lines."""
    return brief_plan(plan, *_rounds_line(plan.clean_rounds))


# --- clean rounds -----------------------------------------------------------------------------------------------------
@writes_brief
def _rounds_brief(found: AbsenceAfterRounds) -> str:
    """Write what the last clean round says, and what stands in the way."""
    last = found.rounds[-1]
    spread = last["high"] - last["low"] > 1e-9
    between = f" ({percent(last['low'])} to {percent(last['high'])})" if spread else ""
    head = (
        f"After {counted(last['round'], 'clean round')} flukes are absent, or on fewer fish than the rounds look for, "
        f"with {percent(last['absent_after'])} chance"
    )
    if found.reason == "reached":
        reached = counted(found.rounds_to_target or 0, "round")
        return f"{head}{between}; {as_asked(found.target)} is reached after {reached}."
    if found.reason == "new_fish":
        return (
            f"{head}{between}. New fish bring flukes with {percent(found.introduction)} chance between two rounds, so "
            f"no number of clean rounds takes it beyond {percent(found.ceiling)}."
        )
    return f"{head}{between}; it takes more rounds to reach {as_asked(found.target)}."


@writes
def _rounds_text(found: AbsenceAfterRounds) -> str:
    """Write what clean rounds say, a line a round."""
    return f"{brief_of(found)}\n{_ROUNDS_CHANGE}\n\n{_rounds_rows(found.rounds)}"


_ROUNDS_CHANGE = (
    "More fish a round, more of each fish, or a longer hold and a dose for new fish would raise it. Flukes that come "
    "with water, birds or nets are not counted."
)


def _rounds_rows(rounds: Sequence[Mapping[str, Any]]) -> str:
    rows = [
        {"round": row["round"], "before": percent(row["absent_before"]), "after": percent(row["absent_after"])}
        for row in rounds
    ]
    return table({"round": "round", "before": "absent before", "after": "absent after"}, rows)


def _rounds_table(found: Result | None) -> str:
    return "" if found is None else text_of(found)


def _rounds_line(found: Result | None) -> list[str]:
    return [] if found is None else [brief_of(found)]

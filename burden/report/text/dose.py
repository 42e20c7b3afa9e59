"""Words of a dose: what to weigh or measure out, why, how to measure very little, and how long nobody may eat."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from burden.case.volume import SaltVolume
from burden.evidence import FRESH_WATER
from burden.evidence.cautions import by_weight
from burden.treatment.dose_result import DoseReason, DoseResult, StockSolution, WouldChangeDose
from burden.treatment.efficacy_checks import KillTable, PointChecks
from burden.treatment.efficacy_contradiction import Contradiction
from burden.treatment.withdrawal import LastDose, UnnamedAgent, Withdrawal
from burden.utils.dates import day_in_words
from burden.utils.formatting import (
    exposure,
    mass,
    named,
    percent,
    percent_interval,
    plain,
    product_words,
    sentence,
    several,
    strength,
    volume,
)
from burden.utils.wording import writes

__all__ = ["amount", "bath_words", "degree_days"]

_MUCH_OF_THE_METER = 0.1  # a relative error of a volume from which more salt is advised


@writes
def _dose(d: DoseResult) -> str:
    water = d.agent == FRESH_WATER
    lines = [
        f"{d.title}: {'' if water else f'{strength(d.mg_l)} in '}{volume(d.volume_l)} for {exposure(d.hours)}.",
        amount(d),
        *([d.stock] if d.stock and not water else []),
        *([] if water else [f"Counted as {d.basis}."]),
        f"Why: {sentence(d.reason)}",
        f"What would change it: {d.would_change}.",
        "Cautions:",
        *(f"- {line}" for line in by_weight(d.cautions)),
    ]
    return "\n".join(lines)


def amount(d: DoseResult) -> str:
    """Write what to weigh or measure out, in one sentence."""
    if d.agent == FRESH_WATER:
        return f"Fill the bath with {volume(d.volume_l)} of fresh water alone."
    product, of_it = product_words(d.product_g, d.product_ml), f"{mass(d.mass_g)} {d.mass_of}"
    if d.product_ml is not None:
        return f"Measure out {product} of the {plain(d.strength_percent)} % solution ({of_it})."
    return f"Weigh out {product} of the product with {plain(d.strength_percent)} % active substance ({of_it})."


def bath_words(agent: str, mg_l: float, hours: float) -> str:
    """Write how strong and how long a bath is; of water alone how long.

    Parameters
    ----------
    agent : str
    mg_l, hours : float
        [mg/L], [h].
    """
    return exposure(hours) if agent == FRESH_WATER else f"{plain(mg_l)} mg/L for {exposure(hours)}"


@writes
def _stock(stock: StockSolution) -> str:
    if stock.product == "solid":
        return (
            f"Too little for a scale that shows 0.1 g: stir {mass(stock.amount)} of the product into "
            f"{volume(stock.stock_l)} of the water, keep it moving, and use {volume(stock.use_l)} of that."
        )
    return (
        f"Too little for a 1 mL syringe: make {volume(stock.amount / 1000)} up to {volume(stock.stock_l)} with water, "
        f"and use {volume(stock.use_l)} of that."
    )


@writes
def _reason(why: DoseReason) -> str:
    if why.kind == "customary":
        return why.evidence
    if why.kind == "published":
        return f"published: {why.evidence} ({', '.join(why.sources)})"
    return "no source gives this dose; it was asked for and accepted"


@writes
def _would_change(what: WouldChangeDose) -> str:
    if what.water_alone:
        return "another species or size of fish, or weak fish: for these a shorter bath (see the cautions)"
    return "another volume or strength (in proportion), another host or warmer water (see the cautions)"


@writes
def _withdrawal(found: Withdrawal) -> str:
    agent = named(found.agent)
    if found.degree_days == 0:
        return found.text  # which names it
    here = (
        "does not end within 400 d in this water"
        if found.days is None
        else f"takes {found.days:.0f} d in this water{_longer(found)}"
    )
    return (
        f"{agent}: local rules and the licensed veterinarian decide whether it may be used at all and how long nobody "
        f"may eat the fish; as an example, a wait of {degree_days(found)} {here} ({found.text})"
        f"{_too_early(found)}"
    )


def _longer(found: Withdrawal) -> str:
    """How long the longer example takes; empty where there is none."""
    if found.unapproved_degree_days is None:
        return ""
    if found.unapproved_days is None:
        return ", and the longer one does not end within 400 d"
    return f", and the longer one {found.unapproved_days:.0f} d"


def degree_days(found: Withdrawal | LastDose) -> str:
    """Write the example of a wait, with the longer one where a product has to be approved for the shorter."""
    other = found.unapproved_degree_days
    longer = "" if other is None else f" ({plain(other)} where no product of it is approved for animals that are eaten)"
    return f"{plain(found.degree_days)} degree-days{longer}"


def _too_early(found: Withdrawal) -> str:
    return "" if found.harvest is None else f". The harvest planned on {day_in_words(found.harvest)} comes too early"


@writes
def _unnamed(unnamed: UnnamedAgent) -> str:
    return (
        f"nobody could name what was given on {several(map(day_in_words, unnamed.days))}: find out what it was, as its "
        "withdrawal may be longer than any date here"
    )


@writes
def _kill_table(table: KillTable) -> str:
    bath = bath_words(table.agent, table.mg_l, table.hours)
    head = f"{named(table.agent).capitalize()}, {bath} at full strength, kills:"
    rows = (
        f"  {named(form)}: {percent_interval(s.median, s.low, s.high)}, mean {percent(s.mean)}"
        for form, s in table.shares.items()
    )
    return "\n".join([head, *rows])


@writes
def _point_checks(found: PointChecks) -> str:
    lines = [f"{named(found.agent).capitalize()}: published kill, and what the model predicts without seeing it:"]
    for check in found.checks:
        row = check.row()
        sign = {"equal": "", "at_least": "at least ", "at_most": "at most "}[row["relation"]]
        blind = percent_interval(row["blind"], row["blind_low"], row["blind_high"])
        strong = "" if found.agent == FRESH_WATER else f", {plain(row['mg_l'])} mg/L"
        bath = f"{row['form']}{strong}, {row['hours']} h"
        lines.append(
            f"  {bath}: published {sign}{percent(row['published'])}, predicted {blind}"
            f"{'' if row['agrees'] else f', {_how_off(row)}'} ({row['role']}; {row['source']})"
        )
    return "\n".join(lines)


def _how_off(row: Mapping[str, Any]) -> str:
    """Which way a published kill lies outside what the model predicts of it."""
    return "KILLS MORE THAN PREDICTED" if row["published"] > row["blind"] else "KILLS LESS THAN PREDICTED"


@writes
def _contradiction(found: Contradiction) -> str:
    """One trial that speaks against an agent, in a sentence without a full stop."""
    agent, fluke = named(found.agent), found.species
    where = f"on {found.host}" if found.setting == "on fish" else "in the dish"
    dose = _span(found.mg_l, "mg/L") + (f" for {_span(found.hours, 'h')}" if found.hours else "")
    if found.agent == FRESH_WATER and found.hours:
        given = f"{agent} for {_span(found.hours, 'h')}"
    else:
        given = f"{agent} at {dose}" if found.mg_l else f"{agent} at a dose the source does not give"
    did = f"killed {percent(found.kill)} of {fluke} {where}" if found.kill is not None else f"failed on {fluke} {where}"
    chance = f"the usual bath kills at least half with a chance of {percent(found.kills_half)}"
    return f"{given} {did} ({found.finding}; {', '.join(found.sources)}); {chance}"


def _span(span: tuple[float, float] | None, unit: str) -> str:
    if span is None:
        return ""
    low, high = span
    return f"{plain(low)} {unit}" if low == high else f"{plain(low)} to {plain(high)} {unit}"


@writes
def _salt_volume(found: SaltVolume) -> str:
    high = volume(found.high_l) if math.isfinite(found.high_l) else "any volume above"
    words = f"{volume(found.volume_l)} ({volume(found.low_l)} to {high})"
    if found.relative_error < _MUCH_OF_THE_METER:
        return words
    return f"{words}; add more salt, because the rise is close to the error of the meter"

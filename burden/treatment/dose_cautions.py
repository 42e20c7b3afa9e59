"""What to print beside a dose: what to watch, what the law and the label ask for, how to make it up."""

from __future__ import annotations

from collections.abc import Iterator

from burden.evidence import FRESH_WATER, DoseRange
from burden.evidence.cautions import Caution
from burden.treatment.concentration import restore_mg
from burden.treatment.host_tolerance import HostAdvice, withdrawal_text
from burden.treatment.published_dose import DoseAsked, bath_hours, range_words
from burden.treatment.water_chemistry import LEFT_IN_HOURS, oxygen_demand_mg_l
from burden.utils.formatting import alike, exposure, percent, plain, product_words, volumes

__all__ = ["dose_cautions", "product_of"]

_WHO_DECIDES = (
    "Local rules and the licensed veterinarian decide whether it may be given, to food fish or others. If anyone could "
    "eat the fish, a withdrawal applies: ask first."
)
#: share of the water changed that the example of a top-up speaks of
_CHANGED = 0.2
_FILTER_WORDS = {
    "none": "no filter",
    "naive": "filter new to the drug",
    "adapted": "filter that has met the drug",
}


def product_of(asked: DoseAsked, mass_g: float) -> tuple[float | None, float | None]:
    """Grams of a solid product or millilitres of a liquid one; the other None."""
    agent = asked.agent
    product_g = mass_g * agent.mass_strength_percent / asked.strength_percent
    if agent.density is None:
        return product_g, None
    return None, product_g / agent.density.at(asked.strength_percent)


def dose_cautions(asked: DoseAsked, found: DoseRange | None, advice: HostAdvice | None) -> Iterator[Caution]:
    """Everything to print beside a dose, in the order in which it is read.

    Parameters
    ----------
    asked : DoseAsked
    found : DoseRange or None
        The published range it falls in.
    advice : HostAdvice or None
        What the host bears.
    """
    agent = asked.agent
    if found is None:
        yield Caution("No source gives this dose; you accepted it as unpublished. Try it on a few fish first.", "trial")
    else:
        words = range_words(found, agent.name)
        yield Caution(f"Published: {words} ({', '.join(found.sources)}).", "bookkeeping")
        if asked.temperature_c is None and asked.where == "command line" and found.max_temperature_c is not None:
            yield Caution("Water temperature not given: the warm-water limit was used.", "bookkeeping")
    length = bath_hours(asked, found)
    if agent.name == FRESH_WATER:  # neither an amount that can be wrong, nor a label to read
        yield Caution(f"A bath of {exposure(length)} must end on time: have nets ready and watch the clock.", "danger")
    else:
        yield from _product_cautions(asked, found, length)
    if advice is not None:
        yield Caution(advice.text, "danger" if advice.over_limit or advice.advice == "avoid" else "trial")
    if demand := oxygen_demand_mg_l(asked.agent, asked.mg_l, bath_hours(asked, found)):
        takes = f"It takes about {plain(demand)} mg/L of oxygen from the water: measure before and during the bath."
        yield Caution(takes, "danger")
    if asked.food_fish:
        yield Caution(withdrawal_text(asked.agent, asked.temperature_c), "food")
    else:
        yield Caution(_WHO_DECIDES, "food")
    yield Caution(agent.pre_dissolve, "making_up")
    if length >= LEFT_IN_HOURS:  # nobody changes a part of a bath that is over within the hour
        yield Caution(_after_change(asked, length), "care")
    for heading in ("cautions", "handling", "does_not", "aftercare"):
        yield from (said for said in getattr(agent, heading) if said.of_bath(length < LEFT_IN_HOURS))


def _product_cautions(asked: DoseAsked, found: DoseRange | None, length: float) -> Iterator[Caution]:
    """What the volume, the length of a short bath and the product itself ask for."""
    yield from _volume_cautions(asked, found)
    if length < LEFT_IN_HOURS:
        where = "give it in a tub, or where all the water can be flushed"
        if asked.where == "case.toml":  # the plan says where it is given, and what ends it
            where = "watch the clock, and have ready what ends it"
        yield Caution(f"A bath of {exposure(length)} must end on time: {where}.", "danger")
    if not asked.strength_given:
        taken = plain(asked.strength_percent)
        yield Caution(f"Strength not given: {taken} % assumed. Read the label of the product.", "bookkeeping")
    if asked.agent.density is not None:
        yield Caution(f"Density taken as {asked.agent.density.text}.", "bookkeeping")


def _volume_cautions(asked: DoseAsked, found: DoseRange | None) -> Iterator[Caution]:
    if asked.volume_range_l is None:
        count = "An error in the volume is an equal error in the dose: count filter, sump and pipes, leave out stones."
        if asked.where == "case.toml":  # a bath apart
            count = "An error in the volume is an equal error in the dose: measure the water of the bath."
        yield Caution(count, "making_up")
        return
    small, large = asked.volume_range_l
    most, least = asked.mg_l * asked.volume_l / small, asked.mg_l * asked.volume_l / large
    yield Caution(f"In {volumes(small, large)} of water, this amount gives {alike(most, least)} mg/L.", "care")
    if found is not None and most > found.mg_l[1]:
        above = f"In the smallest volume that is above {plain(found.mg_l[1])} mg/L: measure the volume first."
        yield Caution(above, "trial")


def _after_change(asked: DoseAsked, hours: float) -> str:
    """What to put back after a water change: for a stable agent the share changed of the dose, never the whole."""

    def amount(mg: float) -> str:
        grams, millilitres = product_of(asked, mg / 1000)
        return product_words(grams, millilitres)

    days, loss = hours / 24, asked.agent.values[f"loss_per_day_{asked.filter_kind}"].value
    whole = asked.mg_l * asked.volume_l
    removed = restore_mg(asked.mg_l, asked.volume_l, _CHANGED).total_mg.item()
    faded = restore_mg(asked.mg_l, asked.volume_l, _CHANGED, loss, days).faded_mg.item()
    said = (
        f"If {percent(_CHANGED)} of the water is changed during the bath, put back that share of the dose "
        f"({amount(removed)}), not the whole"
    )
    if faded < 0.02 * whole:
        return f"{said}."
    return (
        f"{said}. After {plain(hours)} h about {percent(1 - faded / whole)} of the dose is still in the water "
        f"({_FILTER_WORDS[asked.filter_kind]}); {amount(faded)} more would bring it back to full strength, which is "
        "seldom needed."
    )

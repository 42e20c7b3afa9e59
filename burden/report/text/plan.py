"""Words of the plan: the doses, the aim, and why this schedule and no other."""

from __future__ import annotations

import math
from collections.abc import Callable

from burden.decision.records import Decision, Missing, PlannedDose
from burden.evidence import FRESH_WATER, load_parasite
from burden.report.text.dose import degree_days
from burden.treatment.withdrawal import Withdrawal
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import (
    counted,
    exposure,
    interval,
    mass,
    named,
    percent,
    plain,
    product_words,
    several,
    strength,
    volume,
)

__all__ = [
    "aim_text",
    "as_recommended",
    "compared_text",
    "dose_text",
    "doses_text",
    "last_dose_text",
    "missing_text",
    "not_eaten_text",
]

#: a product as strong as this is called by its agent alone [%]
_NEARLY_PURE = 99.0


# --- doses ---------------------------------------------------------------------------------------------------------
def dose_text(dose: PlannedDose) -> str:
    """Write one dose: how much of what, how strong, how long."""
    apart = f" for each {volume(dose.bath_volume_l)} of {_WATERS[dose.place]}" if dose.apart else ""
    flow = ", the flow stopped" if dose.place == "flow_stopped" else ""
    if dose.agent == FRESH_WATER:
        where = {"tank": " in a separate tank", "enclosed": " in a tank, tarpaulin or well-boat"}.get(dose.place, "")
        return f"a bath in fresh water of the same temperature{where}, {exposure(dose.hours)}"
    product = named(dose.agent)
    if dose.product_ml is not None or dose.strength_percent < _NEARLY_PURE:
        product += f", {plain(dose.strength_percent)} % strong,"
    amount = product_words(dose.product_g, dose.product_ml)
    drip = product_words(*dose.dripped) if any(dose.dripped) else ""
    besides = f" at once and {drip} more, dripped evenly into the inflow over the bath" if drip else ""
    bath = f"({strength(dose.mg_l)} for {exposure(dose.hours)}{flow})"
    return f"{amount} of {product}{besides}{apart} {bath}".replace(", (", " (")


_WATERS = {"tank": "a bath in a separate tank", "enclosed": "water in the tarpaulin or well-boat"}


def missing_text(missing: Missing) -> str:
    """Write one bath of an agent that is not at hand."""
    apart = f" for each {volume(missing.bath_volume_l)} of {_WATERS[missing.place]}" if missing.place in _WATERS else ""
    strong = f"{strength(missing.mg_l)} for {exposure(missing.hours)}"
    if missing.agent == FRESH_WATER:
        return f"A bath in fresh water of the same temperature, {exposure(missing.hours)},"
    amount = product_words(missing.product_g, missing.product_ml)
    return f"{named(missing.agent).capitalize()}, {amount}{apart} ({strong})"


def doses_text(doses: tuple[PlannedDose, ...], year: int) -> str:
    """Write all doses with their dates, an amount that stays the same once."""
    if len({dose_text(dose) for dose in doses}) == 1:
        days = several(say_date(dose.date, year) for dose in doses)
        each = " each time" if len(doses) > 1 else ""
        return f"{days}, {dose_text(doses[0])}{each}"
    return "; ".join(f"{say_date(dose.date, year)} {dose_text(dose)}" for dose in doses)


def aim_text(decision: Decision) -> str:
    """Write the aim and how it was set."""
    aim = decision.recommendation.aim
    beyond = decision.judged[0] >= decision.deaths_until
    if decision.emptied_by_then and (beyond or not decision.doses):
        return ""  # no course is planned for fish that leave the water, and its days would lie beyond the harvest
    if aim.kind == "eradicate":
        left = "fluke, egg or larva" if _lays_eggs(decision) else "fluke"
        return f"The aim: no {left} left after a year, with a chance of at least {percent(aim.chance)}."
    start, end = (say_date(day, decision.visit_date.year) for day in decision.judged)
    return (
        f"The aim: on average no more than {_level(decision)} from {start} to {end}, with a chance of at least "
        f"{percent(aim.chance)}. {_dates_text(decision)}"
    ).strip()


def _dates_text(decision: Decision) -> str:
    """Write how the days of the aim, of the next look and of the forecast hang together."""
    year, look = decision.visit_date.year, decision.look
    start, end = decision.judged
    said = []
    if _lays_eggs(decision) and decision.doses:  # without a dose nothing hangs on the eggs of today
        before = "the last dose"
        day = ", the day of the next look," if look is not None and look.date == start else ""
        said.append(f"By {say_date(start, year)}{day} the eggs laid before {before} have hatched.")
    days = plain(decision.recommendation.aim.deaths_until_day)
    if decision.emptied_by_then:
        said.append(f"Deaths are forecast for {days} days, to the harvest.")
    elif decision.deaths_until != end:
        said.append(f"Deaths are forecast for {days} days, to {say_date(decision.deaths_until, year)}.")
    return " ".join(said)


def not_eaten_text(decision: Decision) -> str:
    """Write until when food fish may not be eaten, as an example with its date; empty where no date can be given."""
    ends = [one for one in decision.withdrawals if one.degree_days > 0]
    # what ends last is waited for: the others are over by then
    last = max(ends, key=lambda one: math.inf if one.until_day is None else one.until_day, default=None)
    return "" if last is None else _not_eaten(decision, last)


def last_dose_text(decision: Decision) -> str:
    """Write until when a dose is over by the harvest; empty where nothing asks for it."""
    last, year = decision.last_dose, decision.visit_date.year
    if last is None or (decision.look is not None and decision.look.purpose == "harvest"):
        return ""  # no look before the harvest asks for a dose
    harvest = f"the harvest on {say_date(last.harvest, year)}"
    example = f"the example of {degree_days(last)}"
    if last.date is None:
        return f"By {example} a dose of {named(last.agent)} from today on comes too late for {harvest}."
    look = decision.look
    late = " The next look comes after it, too late for a dose." if look is not None and look.late_for else ""
    return (
        f"Should a {'further ' if decision.plan else ''}dose become due, the last day for {named(last.agent)} before "
        f"{harvest} is {say_date(last.date, year)}, by {example}; local rules and the licensed veterinarian decide."
        f"{late}"
    )


def _not_eaten(decision: Decision, one: Withdrawal) -> str:
    example = f"Food fish: the example of {degree_days(one)} after {named(one.agent)}"
    if one.until_day is None:
        return f"{example} does not end within 400 d in this water; the licensed veterinarian sets the date."
    until = say_date(decision.date_of(one.until_day), decision.visit_date.year)
    told = one.harvest is None or any(reason.code == "harvest_waits" for reason in decision.reasons)
    early = (
        "" if told or one.harvest is None else f" The harvest planned on {day_in_words(one.harvest)} comes too early."
    )
    longer = ""
    if one.unapproved_until_day is not None:
        last = say_date(decision.date_of(one.unapproved_until_day), decision.visit_date.year)
        longer = f", and the longer one on {last}"
    return (
        f"{example} ends on {until}, {plain(one.days)} d after the last dose{longer}; local rules and the licensed "
        f"veterinarian set the date before which nobody may eat them.{_in_water(one)}{early}"
    )


def _in_water(one: Withdrawal) -> str:
    """Say from when the days count where the drug stays: rules count from the last dose, fish take it up for longer."""
    if not one.in_water:
        return ""
    return (
        " This counts from the last dose, as rules do. But fish take up the drug as long as it is in the water: where "
        "it is found there later, count from the day it is gone."
    )


def _level(decision: Decision) -> str:
    """Write how many flukes a fish are borne, each set by its name where there are two."""
    aim = decision.recommendation.aim
    if aim.own_level:
        return f"{plain(aim.tolerable[0].median, 2)} flukes a fish (as the case says)"
    levels = [interval(one.median, one.low, one.high, 1) for one in aim.tolerable]
    fish = "a fish" if aim.weight_g is None else f"a fish of {mass(aim.weight_g, 2)}"
    if len(levels) == 1:
        return f"{levels[0]} flukes on {fish} (an assumption with a wide range; larger fish bear more)"
    each = (f"{level} of {named(name)}" for level, name in zip(levels, decision.parasites, strict=True))
    return f"{several(each)} on {fish} (assumptions with a wide range; larger fish bear more)"


def as_recommended(decision: Decision) -> str:
    """Write why this schedule, and how surely it is the better one; empty where none is shown."""
    found, doses = decision.recommendation, decision.doses
    if found.recommended is None or not doses:
        return ""
    if math.isnan(decision.chances["aim_planned"]):
        return "How soon flukes come in again is not known: look again before more doses are planned."
    chance, untreated = found.recommended.chance(found.aim), found.untreated.chance(found.aim)
    number = counted(len(doses), "dose")
    like_this = _LIKE_THIS[bool(decision.on_record.get("pond"))]
    reach = "reach" if len(doses) > 1 else "reaches"
    said = [f"{number} from now {reach} the aim in {percent(chance)} of {like_this}, no dose in {percent(untreated)}."]
    less, more = found.named("one_less"), found.named("one_more")
    if found.why == "fewest" and less is not None and less.meets(found.aim):
        said.append(f"One dose fewer may be enough, but {_one_alone(decision)}.")
    elif found.why == "best":
        said.append(_falls_short(decision, number))
    else:
        said.append(_WHY[found.why](number))
    if found.why == "custom" and not found.aim_met:
        aim = percent(found.aim.chance)
        short = "just short" if percent(chance) == aim else "short"
        said.append(f"It falls {short} of the aim of {aim}: look at the fish after it, before one more is given.")
    if found.underway is not None:
        given = counted(found.underway.doses, "dose")
        were = "was" if found.underway.doses == 1 else "were"
        said.append(f"{given} of this course {were} given before.")
    elif decision.on_record.get("doses_between"):
        said.append("Doses given before are counted as a course of their own.")
    if more is not None:
        with_it = percent(more.chance(found.aim))
        reached = "would reach it in" if found.more_better else "would do no better, as far as the simulation can tell:"
        said.append(f"One dose more {reached} {with_it}.")
    if found.fewer_as_good and not (less is not None and less.meets(found.aim)):
        said.append("One dose fewer may do as well; the simulation cannot tell the two apart.")
    said += [_RISKS[risk] for risk in found.risks]
    return " ".join(said)


def _falls_short(decision: Decision, number: str) -> str:
    """Write that the course does not meet the aim, and how many doses were tried where none does."""
    found = decision.recommendation
    rows = [one.schedule for one in decision.compared]
    short = "fall short of the aim" if len(decision.doses) > 1 else "falls short of the aim"
    if any(one.meets(found.aim) for one in rows):
        return f"{number} {short}: look at the fish after the course, before a dose more."
    tried = max((one.doses for one in rows), default=0)
    if tried <= 1:
        return "It falls short of the aim, but nothing that fits comes nearer."
    return f"No course of up to {counted(tried, 'dose')} that was tried meets the aim; of {number} this comes nearest."


def _lays_eggs(decision: Decision) -> bool:
    return any(load_parasite(name).lays_eggs for name in decision.parasites)


def _one_alone(decision: Decision) -> str:
    if _lays_eggs(decision):
        return "one alone never meets what hatches later"
    return "one alone seldom reaches every fluke"


_WHY: dict[str, Callable[[str], str]] = {
    "fewest": lambda n: (
        f"{n} is the least that meets the aim." if n.startswith("1 ") else f"{n} are the least that meet the aim."
    ),
    "near": lambda n: "That is near enough to the aim to look at the fish then, before one more is given.",
    "custom": lambda n: f"This is the customary course; no other of {n} is clearly better.",
    "goes_on": lambda n: "This is what is left of the course begun. The look after it decides whether more is needed.",
}
_LIKE_THIS = {True: "simulated ponds like this one", False: "simulations of water like this"}
_RISKS = {
    "other_findings": "Of schedules that do as well it is the one that also works on the other disease found.",
    "apart": "Of schedules that do as well it needs no thousands of fish netted for a bath apart.",
    "formalin": "Of schedules that do as well it needs less formalin.",
    "agents": "Of schedules that do as well it needs fewer agents.",
}


def compared_text(name: str, doses: int) -> str:
    """Write what a row of the comparison is."""
    return {
        "untreated": "No dose",
        "recommended": "Recommended",
        "best": "If any were given",
        "one_more": "One dose more",
        "one_less": "One dose fewer",
        "custom": "Customary",
        "planned": "As the case plans",
    }[name] + (f", {counted(doses, 'dose')}" if doses else "")

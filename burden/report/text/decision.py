"""Words of the decision: today's action, its reasons, water and fish before a dose, the doses and the next look."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from burden.decision.records import Decision, NextLook, OtherTreatment, Outcome, PlannedDose, Reason
from burden.treatment.gates import Gate, Remedy
from burden.utils.formatting import (
    all_of,
    counted,
    exposure,
    interval,
    mass,
    named,
    percent,
    plain,
    product_words,
    say_date,
    several,
    strength,
    volume,
)
from burden.utils.wording import writes, writes_brief

__all__ = [
    "aim_text",
    "as_recommended",
    "compared_text",
    "deaths_text",
    "dose_text",
    "doses_text",
    "gate_text",
    "headline",
    "look_text",
    "other_text",
    "outcome_text",
    "reason_text",
    "withheld_text",
]

#: reasons of the short answer
_BRIEF_REASONS = 2
#: a product as strong as this is called by its agent alone [%]
_NEARLY_PURE = 99.0
_Numbers = Mapping[str, float | str | None]


# --- today's action ------------------------------------------------------------------------------------------------
def headline(decision: Decision) -> str:
    """Write today's action in one sentence, the first line of every answer."""
    return _HEADLINES[decision.action](decision)


def _water_first(decision: Decision) -> str:
    stops = [gate for gate in decision.gates if gate.level == "stop"]
    if not stops:
        missing = several(_MEASURED[g.code] for g in decision.gates if g.code in _MEASURED)
        return f"Measure {missing} first; no dose before that."
    first = several(dict.fromkeys(_PUT_RIGHT[gate.code] for gate in stops))
    return f"No dose today: {first} first."


def _dose(decision: Decision) -> str:
    first = decision.plan[0]
    year = decision.visit_date.year
    when = "today" if first.date == decision.visit_date else f"on {say_date(first.date, year)}"
    which = "the only dose" if first.of == 1 else f"dose {first.number} of {first.of}"
    trial = ""
    if first.trial_date is not None:
        day = "today" if first.trial_date == decision.visit_date else f"on {say_date(first.trial_date, year)}"
        trial = f"Treat a few fish {day}. " if first.trial_date < first.date else "Treat a few fish first. "
    return f"{trial}Give {which} {when}: {dose_text(first)}."


def _look_first(decision: Decision) -> str:
    codes = {reason.code for reason in decision.reasons}
    if "wrong_water" in codes:
        return "No dose today: the fluke named does not live in this water, so put the case right first."
    if "virus_first" in codes:
        return "No dose today: have the suspected virus tested first."
    if "doses_fell_short" in codes:
        return "No dose today: find out first why the last dose failed."
    if "look_for_another_cause" in codes:
        return "No dose today: look for another cause of the deaths first."
    look = decision.look
    if "too_much_water" in codes:
        return "No dose: this much water cannot be dosed."
    if look is not None and look.day > 0:
        return _watch(decision)
    fish = "more fish" if look is None else all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    return f"No dose today: look at {fish} first."


def _watch(decision: Decision) -> str:
    if any(reason.code == "too_much_water" for reason in decision.reasons):
        return "No dose: this much water cannot be dosed."
    if decision.look is None:
        return "No dose today."
    return f"No dose today: look again on {say_date(decision.look.date, decision.visit_date.year)}."


def _discharge(decision: Decision) -> str:
    if decision.release_date is not None:
        return "No further dose: these fish may move to the others."
    return "No further dose and no further visit needed, as long as no fish dies."


_HEADLINES: dict[str, Callable[[Decision], str]] = {
    "water_first": _water_first,
    "dose": _dose,
    "look_first": _look_first,
    "watch": _watch,
    "discharge": _discharge,
}
_PUT_RIGHT = {
    "gasping": "help the gasping fish with air and fresh water",
    "oxygen_low": "raise the oxygen",
    "ammonia_high": "bring the ammonia down",
    "nitrite_high": "bring the nitrite down",
    "ph_extreme": "put the pH right",
}
_MEASURED = {
    "oxygen_unmeasured": "oxygen",
    "ammonia_unmeasured": "ammonia",
    "ph_unmeasured": "pH",
    "nitrite_unmeasured": "nitrite",
}


def withheld_text(decision: Decision) -> str | None:
    """Write why no dose is given today, as a phrase; None where one is."""
    if decision.action == "dose":
        return None
    return reason_text(decision.reasons[0]).rstrip(".") if decision.reasons else headline(decision).rstrip(".")


# --- reasons -------------------------------------------------------------------------------------------------------
def reason_text(reason: Reason) -> str:
    """Write one reason of the action."""
    return _REASONS[reason.code](reason.numbers)


def _whole(numbers: _Numbers, name: str) -> int:
    return round(float(numbers[name] or 0))


def _share(numbers: _Numbers, name: str) -> str:
    return percent(float(numbers[name] or 0))


def _too_many(n: _Numbers) -> str:
    return f"too many flukes (on average {plain(float(n['level'] or 0), 1)} a fish or more)"


def _never_seen(n: _Numbers) -> str:
    looks = counted(_whole(n, "preparations"), "preparation")
    fish = counted(_whole(n, "fish_looked_at"), "fish")
    return (
        f"No fluke was found in {looks} of {fish}. The chance that there are flukes all the same is "
        f"{_share(n, 'chance_present')}, and that there are too many {_share(n, 'chance_high')}."
    )


_REASONS: dict[str, Callable[[_Numbers], str]] = {
    "no_fish": lambda n: "No fish is alive.",
    "water_stops": lambda n: "In this water a dose can kill, and bad water can be what the fish suffer from.",
    "measure_first": lambda n: "The agents at hand may not be given before these are known.",
    "wrong_water": lambda n: f"These flukes do not live in this water: {named(str(n['wrong_water']))}.",
    "virus_first": lambda n: "A virus is suspected. Handling and dosing add stress, and some viruses are notifiable.",
    "notifiable": lambda n: (
        "These may be notifiable flukes: have them identified, and tell the authority before you treat or move fish."
    ),
    "no_samples": lambda n: "No fish was looked at, or nothing could be read. Look at gills and skin first.",
    "never_seen": _never_seen,
    "more_fish": lambda n: "What was looked at is too little to decide.",
    "held_apart": lambda n: "One clean look does not show that newcomers are free of flukes. Keep them apart.",
    "clean_and_held": lambda n: "They were clean when all eggs laid before had hatched.",
    "stays_low": lambda n: (
        f"The chance that there are or will be too many flukes is {_share(n, 'chance_high')}. Few flukes on well "
        "fish do no harm."
    ),
    "may_stay_low": lambda n: (
        f"There are flukes, but more likely than not they stay few: the chance of {_too_many(n)} is "
        f"{_share(n, 'chance_high')}."
    ),
    "course_worked": lambda n: (
        f"The doses given have worked. The chance that flukes become too many again is {_share(n, 'chance_high')}."
    ),
    "course_likely_worked": lambda n: (
        f"The doses given have likely worked: the chance that flukes become too many again is "
        f"{_share(n, 'chance_high')}."
    ),
    "too_few_to_end": lambda n: "Too few fish were looked at since the last eggs hatched to call the course over.",
    "clean_once": lambda n: (
        "These fish had a whole course and show no fluke. One clean look can miss a few: keep them apart, and look a "
        "second time. Clean again, they may move."
    ),
    "too_many_now": lambda n: (
        f"Fish are ill, and the chance of too many flukes today is {_share(n, 'chance_high_now')}: treat now, whatever "
        "comes in later."
    ),
    "to_be_free": lambda n: (
        "Flukes were seen on fish that are to carry none: the chance that no fluke or egg is left by itself is "
        f"{_share(n, 'chance_gone')}."
    ),
    "look_for_another_cause": lambda n: (
        "Look for another cause of the deaths: water over a whole day, bacteria, other parasites, a virus."
    ),
    "deaths_of_other_cause": lambda n: "Most of the dead fish did not die of flukes.",
    "not_yet": lambda n: (
        f"There are few flukes now: the chance of {_too_many(n)} today is {_share(n, 'chance_high_now')}. They may "
        f"increase, with a chance of {_share(n, 'chance_high')}, so look again before that."
    ),
    "sick_only": lambda n: (
        "Flukes were seen on sick or dead fish alone. Such fish carry more than the others, and flukes also thrive on "
        "fish that are ill of something else."
    ),
    "too_much_water": lambda n: (
        "This much water cannot be dosed. Look for what else ails the fish; fish that need it can be bathed apart."
    ),
    "too_cold": lambda n: (
        "In water this cold eggs hatch only in weeks or months, so doses now would not meet what is to come. Wait for "
        "warmer water, and look again."
    ),
    "model_does_not_reach": lambda n: (
        "This water flows in from outside, and nothing here tells how many flukes come with it, so no course can be "
        "planned ahead. Are there fish with flukes nearby or upstream? Say so in the case (neighbours), or look again "
        "in two weeks."
    ),
    "no_dose_possible": lambda n: "No dose can be given within the limits of this case.",
    "doses_fell_short": lambda n: (
        "The doses given have killed too few. Find out why before the next one: was the volume right, was the product "
        "fresh and as strong as labelled, was carbon or a UV lamp running? If all that was right, the flukes may be "
        "resistant: change the agent."
    ),
    "dose_does_not_help": lambda n: "No course within the limits of this case helps enough to be worth giving.",
    "course_goes_on": lambda n: (
        f"The course goes on. Without a further dose the chance of too many flukes is {_share(n, 'chance_high')}."
    ),
    "flukes_persist": lambda n: (
        "Look after look shows flukes while fish are ill, so treat them. Without a dose the chance of "
        f"{_too_many(n)} is {_share(n, 'chance_high')}."
    ),
    "stays_high": lambda n: f"Without a dose the chance of {_too_many(n)} is {_share(n, 'chance_high')}.",
}


# --- water and fish before a dose ----------------------------------------------------------------------------------
def gate_text(gate: Gate) -> str:
    """Write one thing to see to before a dose: what was measured, what it is held against, what to do."""
    return _GATES[gate.code](gate)


def _remedy(remedy: Remedy | None) -> str:
    if remedy is None:
        return ""
    said = ["Aerate strongly."] if remedy.aerate else []
    if remedy.times:
        often = "once" if remedy.times == 1 else f"{remedy.times} times, a day apart"
        said.append(
            f"Change {plain(remedy.percent)} % of the water ({volume(remedy.litres)}) {often}, with clean water of the "
            "same temperature without chlorine."
        )
    if remedy.salt_g is not None:
        said.append(f"{mass(remedy.salt_g, 2)} of pure salt in all protects the fish meanwhile.")
    return f" {' '.join([*said, 'Measure again after it.'])}"


def _oxygen(gate: Gate) -> str:
    share = "" if gate.saturation is None else f", {percent(gate.saturation)} of what this water can hold"
    return (
        f"Oxygen is {plain(gate.value)} mg/L{share}; it should be above {plain(gate.limit, 2)} mg/L."
        f"{_remedy(gate.remedy)}"
    )


def _ammonia(gate: Gate) -> str:
    return (
        f"Un-ionised ammonia is about {plain(gate.value, 2)} mg/L; it should be below {plain(gate.limit)} mg/L. At "
        "this "
        f"pH and temperature that is {plain(gate.as_read, 2)} mg/L of total ammonia nitrogen on a home test kit."
        f"{_remedy(gate.remedy)}"
    )


def _nitrite(gate: Gate) -> str:
    return (
        f"Nitrite is {plain(gate.value)} mg/L of nitrogen; in water with little chloride it should be below "
        f"{plain(gate.limit)} mg/L.{_remedy(gate.remedy)}"
    )


def _anaemia(gate: Gate) -> str:
    how = "" if gate.value is None else f" (haematocrit {plain(gate.value)} %)"
    return (
        f"The fish lack blood{how}: no agent that takes oxygen from the water, and treat a few fish first "
        "(common practice, no source)."
    )


def _alkalinity(gate: Gate) -> str:
    grams = 0.0 if gate.remedy is None else gate.remedy.bicarbonate_g
    return (
        f"Alkalinity is {plain(gate.value, 2)} mg/L as CaCO3; below {plain(gate.limit)} mg/L the pH can fall within a "
        f"course. {mass(grams, 2)} of sodium bicarbonate in all, over several days, raises it (common "
        "practice, no source)."
    )


def _gasping(gate: Gate) -> str:
    return f"Fish gasp today: help them before anything else.{_remedy(gate.remedy)}"


_GATES: dict[str, Callable[[Gate], str]] = {
    "gasping": _gasping,
    "oxygen_low": _oxygen,
    "ammonia_high": _ammonia,
    "nitrite_high": _nitrite,
    "ph_extreme": lambda g: (
        f"pH is {plain(g.value)}; fish bear {plain(g.limit)} at the most or least.{_remedy(g.remedy)}"
    ),
    "alkalinity_low": _alkalinity,
    "anaemia": _anaemia,
    "oxygen_unmeasured": lambda g: "Oxygen was not measured: measure it before dosing. Without it no formalin.",
    "ammonia_unmeasured": lambda g: "Ammonia was not measured: measure it before dosing.",
    "ph_unmeasured": lambda g: "pH was not measured: measure it before dosing.",
    "nitrite_unmeasured": lambda g: "Nitrite was not measured: measure it before dosing.",
}


# --- doses ---------------------------------------------------------------------------------------------------------
def dose_text(dose: PlannedDose) -> str:
    """Write one dose: how much of what, how strong, how long."""
    apart = f" for each {volume(dose.bath_volume_l)} of {_WATERS[dose.place]}" if dose.apart else ""
    flow = {"flow_stopped": ", the flow stopped", "dripped": ", kept up by a drip"}.get(dose.place, "")
    if dose.agent == "fresh_water":
        where = " in a separate tank" if dose.apart else ""
        return f"a bath in fresh water of the same temperature{where}, {exposure(dose.hours)}"
    product = named(dose.agent)
    if dose.product_ml is not None or dose.strength_percent < _NEARLY_PURE:
        product += f", {plain(dose.strength_percent)} % strong,"
    amount = product_words(dose.product_g, dose.product_ml)
    return f"{amount} of {product}{apart} ({strength(dose.mg_l)} for {exposure(dose.hours)}{flow})".replace(", (", " (")


_WATERS = {"tank": "a bath in a separate tank", "enclosed": "water in the tarpaulin or well-boat"}


def doses_text(doses: tuple[PlannedDose, ...], year: int) -> str:
    """Write all doses with their dates, an amount that stays the same once."""
    if len({dose_text(dose) for dose in doses}) == 1:
        days = several(say_date(dose.date, year) for dose in doses)
        each = " each time" if len(doses) > 1 else ""
        return f"{days}: {dose_text(doses[0])}{each}"
    return "; ".join(f"{say_date(dose.date, year)} {dose_text(dose)}" for dose in doses)


def aim_text(decision: Decision) -> str:
    """Write the aim and how it was set."""
    aim = decision.recommendation.aim
    if aim.kind == "eradicate":
        return f"The aim: no fluke, egg or larva left after a year, with a chance of at least {percent(aim.chance)}."
    level = several(interval(one.median, one.low, one.high, 1) for one in aim.tolerable)
    own = "as the case says" if aim.own_level else "an assumption with a wide range"
    levels = plain(aim.tolerable[0].median, 2) if aim.own_level else level
    start, end = (say_date(day, decision.visit_date.year) for day in decision.judged)
    return (
        f"The aim: on average no more than {levels} flukes a fish ({own}) from {start} to {end}, with a chance of at "
        f"least {percent(aim.chance)}."
    )


def as_recommended(decision: Decision) -> str:
    """Write why this schedule, and how surely it is the better one; empty where none is shown."""
    found, doses = decision.recommendation, decision.doses
    if found.recommended is None or not doses:
        return ""
    if math.isnan(decision.chances["aim_planned"]):
        return "How soon flukes come in again is not known: look again before more doses are planned."
    chance, untreated = found.recommended.chance(found.aim), found.untreated.chance(found.aim)
    number = counted(len(doses), "dose")
    reach = "reach" if len(doses) > 1 else "reaches"
    said = [
        f"{number} from now {reach} the aim in {percent(chance)} of simulated ponds like this one, no dose in "
        f"{percent(untreated)}."
    ]
    less = found.named("one_less")
    if found.why == "fewest" and less is not None and less.meets(found.aim):
        said.append("One dose fewer may be enough, but one alone never meets what hatches later.")
    else:
        said.append(_WHY[found.why](number))
    if found.underway is not None:
        given = counted(found.underway.doses, "dose")
        were = "was" if found.underway.doses == 1 else "were"
        said.append(f"{given} of this course {were} given before.")
    more = found.named("one_more")
    if more is not None:
        with_it = percent(more.chance(found.aim))
        worth = "better" if found.more_better else "no better, as far as the simulation can tell"
        said.append(f"One dose more would be {worth}: {with_it}.")
    if found.fewer_as_good and not (less is not None and less.meets(found.aim)):
        said.append("One dose fewer may do as well; the simulation cannot tell the two apart.")
    said += [_RISKS[risk] for risk in found.risks]
    return " ".join(said)


_WHY: dict[str, Callable[[str], str]] = {
    "fewest": lambda n: (
        f"{n} is the least that meets the aim." if n.startswith("1 ") else f"{n} are the least that meet the aim."
    ),
    "near": lambda n: f"{n} come near enough to the aim to look at the fish then, before one more is given.",
    "custom": lambda n: "This is the customary course; no other schedule is clearly better.",
    "goes_on": lambda n: "This is what is left of the course begun. The look after it decides whether more is needed.",
    "best": lambda n: "No schedule that was tried meets the aim; this one comes nearest with the fewest doses.",
}
_RISKS = {
    "other_findings": "Of schedules that do as well it is the one that also works on the other disease found.",
    "formalin": "Of schedules that do as well it needs less formalin.",
    "agents": "Of schedules that do as well it needs fewer agents.",
}


def compared_text(name: str, doses: int) -> str:
    """Write what a row of the comparison is."""
    return {
        "untreated": "No dose",
        "recommended": "Recommended",
        "best": "Best of those tried",
        "one_more": "One dose more",
        "one_less": "One dose fewer",
        "custom": "Customary",
        "planned": "As the case plans",
    }[name] + (f", {counted(doses, 'dose')}" if doses else "")


# --- the next look -------------------------------------------------------------------------------------------------
def look_text(look: NextLook, year: int) -> str:
    """Write when to look at how many fish, and what for."""
    fish = all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    what = f"{fish}, {counted(look.preparations_per_fish, 'preparation')} of each"
    if look.purpose == "water":
        return f"{say_date(look.date, year)}: measure the water again and look at {what}; the doses follow from that."
    if look.purpose == "more_fish" or look.day == 0:
        return f"Look at {what}, netted at random, before you decide."
    if look.purpose == "survivors" and look.again is not None:
        later = say_date(look.again, year)
        return (
            f"{say_date(look.date, year)}: look at {what}; this look shows what the doses left on the fish. "
            f"Eggs in the cold water hatch later, so look again about {later}."
        )
    why = {
        "check": "flukes that were left show by then, so this tells whether the course worked",
        "release": "flukes that were left show by then, so this look decides whether they may move",
        "watch": "this look shows whether the flukes increase",
    }[look.purpose]
    return f"{say_date(look.date, year)}: look at {what}; {why}."


def outcome_text(outcome: Outcome) -> str:
    """Write one result of a look and what it leads to."""
    limit = outcome.flukes_max
    seen = {
        "none": "No fluke",
        "few": f"Up to {counted(limit or 0, 'fluke')} in all",
        "many": "More than that" if limit is None else "",
    }[outcome.code]
    return f"{seen} ({percent(outcome.chance)} likely): {_LEADS_TO[outcome.action]}."


_LEADS_TO = {
    "watch": "no dose, look again later",
    "discharge": "done, no further dose",
    "dose": "a dose is due; enter the counts and run the report again for its date",
    "look_first": "still open; look at more fish or for another cause",
    "water_first": "put the water right first",
}


# --- other diseases, deaths ----------------------------------------------------------------------------------------
def other_text(other: OtherTreatment) -> str:
    """Write what happens about another disease found."""
    name = named(other.finding)
    name = f"{name[:1].upper()}{name[1:]}"
    first = " Treat this first (common practice, no source)." if other.first and other.agent is None else ""
    if other.finding == "virus_suspected":
        return "A virus is suspected: have it tested before any dose; some are notifiable."
    if other.agent is not None:
        return f"{name}: {named(other.agent)} works on it too."
    return f"{name}: needs a treatment of its own, which this tool does not plan.{first}"


def deaths_text(decision: Decision) -> str:
    """Write how many fish flukes and other causes are expected to kill, with and without the plan."""
    d = decision.deaths
    if not d:
        return ""
    end = say_date(decision.date_of(decision.recommendation.aim.horizon_days), decision.visit_date.year)

    def fish(name: str) -> str:
        return d[name].whole()

    said = f"By {end}, without a dose flukes kill {fish('flukes_untreated')} fish"
    if "flukes_planned" in d:
        said += f", with the plan {fish('flukes_planned')}"
    return f"{said}; other causes {fish('other')}."


# --- the whole -----------------------------------------------------------------------------------------------------
@writes_brief
def _brief(decision: Decision) -> str:
    """Write the answer in about five lines."""
    said = [reason for i, reason in enumerate(decision.reasons) if i < _BRIEF_REASONS or reason.code == "notifiable"]
    lines = [headline(decision), *(reason_text(reason) for reason in said)]
    stops = [gate for gate in decision.gates if gate.level == "stop"]
    lines += [gate_text(gate) for gate in stops[:2]]
    if decision.plan:
        lines.append(f"Doses: {doses_text(decision.plan, decision.visit_date.year)}.")
    if decision.look is not None:
        lines.append(look_text(decision.look, decision.visit_date.year))
    return "\n".join(lines)


@writes
def _whole_text(decision: Decision) -> str:
    """Write the decision with everything it rests on."""
    year = decision.visit_date.year
    lines = [headline(decision), *(reason_text(reason) for reason in decision.reasons)]
    lines += [gate_text(gate) for gate in decision.gates]
    lines += [other_text(other) for other in decision.others]
    if decision.plan:
        lines.append(f"Doses: {doses_text(decision.plan, year)}.")
    if decision.after_water:
        lines.append(f"Once the water is right: {doses_text(decision.after_water, year)}.")
    if decision.release_date is not None and decision.action != "discharge":
        lines.append(f"Keep the newcomers apart until {say_date(decision.release_date, year)} at the earliest.")
    if decision.look is not None:
        lines.append(look_text(decision.look, year))
        lines += [outcome_text(outcome) for outcome in decision.look.outcomes]
    lines += [deaths_text(decision), aim_text(decision), as_recommended(decision)]
    return "\n".join(line for line in lines if line)

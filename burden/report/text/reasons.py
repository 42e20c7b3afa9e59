"""Words of the reasons of today's action."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

from burden.decision.action import FEW_LEFT, LIKELY
from burden.decision.doses_given import WEAK_SHARE
from burden.decision.records import Decision, Reason
from burden.inference.dose_accounts import LEAST_CHANCE
from burden.utils.dates import day_in_words
from burden.utils.formatting import capitalised, counted, named, percent, plain, several

__all__ = [
    "EVEN",
    "NOTIFIABLE",
    "SURELY_THERE",
    "day_of",
    "for_the_deaths",
    "reason_codes",
    "reason_text",
    "reasons_of",
]

_Numbers = Mapping[str, float | str | None]


#: reasons that say that a disease may have to be reported
NOTIFIABLE = ("notifiable", "identify_first")


def reason_codes() -> frozenset[str]:
    """Return the codes of all reasons that have words."""
    return frozenset(_REASONS)


def reason_text(reason: Reason) -> str:
    """Write one reason of the action."""
    return _REASONS[reason.code](reason.numbers)


def reasons_of(decision: Decision) -> tuple[Reason, ...]:
    """Return the reasons as they stand beside each other: where one is of a notifiable disease, the others know it."""
    if not any(reason.code in NOTIFIABLE for reason in decision.reasons):
        return decision.reasons
    return tuple(replace(one, numbers={**one.numbers, "notifiable": 1.0}) for one in decision.reasons)


def _whole(numbers: _Numbers, name: str) -> int:
    return round(float(numbers[name] or 0))


def _share(numbers: _Numbers, name: str) -> str:
    return percent(float(numbers[name] or 0))


def _too_many(n: _Numbers) -> str:
    return f"too many flukes (on average {plain(float(n['level'] or 0), 1)} a fish or more)"


#: chances between which "more likely than not" would be said of a coin's toss
EVEN, _NO_LONGER_EVEN = 0.4, 0.6


def _even(chance: float) -> str:
    """Say of a chance near one half what it is; of another nothing."""
    return ": about as likely as not" if EVEN <= chance <= _NO_LONGER_EVEN else ""


def _there_are(n: _Numbers) -> str:
    """Write that there are flukes as surely as that is known."""
    present = float(n.get("chance_present") or 1.0)
    if present >= SURELY_THERE:
        return "There are flukes"
    return f"The chance that any fluke is there is {percent(present)}"


#: chance from which flukes are said to be there: an assumption [-]
SURELY_THERE = 0.95
#: chance of too many below which a course under way goes on for what hatches later alone
_FEW = 0.2


def _may_stay_low(n: _Numbers) -> str:
    high = float(n["chance_high"] or 0)
    chance = f"he chance of {_too_many(n)} is {_share(n, 'chance_high')}"
    if high >= EVEN:
        return f"{_there_are(n)}. T{chance}{_even(high)}."
    few = "more likely than not they stay few"
    there = f"{_there_are(n)}, but {few}" if _there_are(n) == "There are flukes" else f"{_there_are(n)}; {few}"
    return f"{there}: t{chance}. From {percent(LIKELY)} on a course is begun."


def _not_yet(n: _Numbers) -> str:
    high = float(n["chance_high_now"] or 0)
    chance = f"the chance of {_too_many(n)} today is {_share(n, 'chance_high_now')}"
    even = ", about as likely as not" if _even(high) else ""
    now = f"There are flukes; {chance}{even}" if high >= EVEN else f"There are few flukes now: {chance}"
    return f"{now}. They may increase, with a chance of {_share(n, 'chance_high')}, so look again before that."


def _stays_high(n: _Numbers) -> str:
    said = f"Without a dose the chance of {_too_many(n)} is {_share(n, 'chance_high')}"
    if for_the_deaths(n):
        return f"{said}, but flukes would kill about {plain(float(n['saves'] or 0), 2)} fish more than with the plan."
    return f"{said}."


def for_the_deaths(n: _Numbers) -> bool:
    """Whether a dose is given for the fish it saves, as too many flukes are not likely."""
    return float(n["chance_high"] or 0) < LIKELY and float(n.get("saves") or 0) >= 1


def _course_goes_on(n: _Numbers) -> str:
    if n.get("eradicate"):
        left = percent(1 - float(n["chance_gone"] or 0))
        return f"The course goes on. Without a further dose the chance that {_any_left(n)} is left in a year is {left}."
    chance = f"the chance of {_too_many(n)} is {_share(n, 'chance_high')}"
    if float(n["chance_high"] or 0) < _FEW:
        return f"The course goes on: without a further dose {chance}, but one dose never meets what hatches after it."
    return f"The course goes on. Without a further dose {chance}."


def _eggs_wait(n: _Numbers) -> str:
    return " and eggs hatch only after weeks or months" if n.get("lays_eggs", 1.0) else ""


def _any_left(n: _Numbers) -> str:
    return "a fluke or egg" if n.get("lays_eggs", 1.0) else "a fluke"


def _course_not_enough(n: _Numbers) -> str:
    return (
        "The course has been given, and there are still flukes. Without a further dose the chance of "
        f"{_too_many(n)} is {_share(n, 'chance_high')}."
    )


def _agent_changed(n: _Numbers) -> str:
    lamp = ", the product fresh, and no carbon or UV lamp running"
    lamp = lamp if n.get("may_be_removed", 1.0) else " and the product fresh"
    weak = f"the chance that it kills too few of them is {_share(n, 'chance_weak')}"
    why = "the counts have hardly fallen" if n.get("counts_held_up") else weak
    if n.get("kills_less"):
        why = "by the counts around each treatment it kills fewer and fewer of them, as where flukes resist it"
    return (
        f"{capitalised(named(str(n['spent'])))} has left flukes, and {why}: change the agent. Make sure all the same "
        f"that the volume is right{lamp}."
    )


def _clean_and_held(n: _Numbers) -> str:
    """Write why newcomers may move, and what clean looks leave open."""
    clean = (
        "They were clean when all eggs laid before had hatched."
        if n.get("lays_eggs", 1.0)
        else "They were clean when any fluke that was left would have shown."
    )
    left = float(n.get("chance_present") or 0.0)
    if left < FEW_LEFT:
        return clean
    return (
        f"{clean} By the model alone some flukes are left in {percent(left)} of such groups all the same: so few are "
        "missed by any look. Watch the others for flukes in the weeks after."
    )


def _never_seen(n: _Numbers) -> str:
    looks = counted(_whole(n, "preparations"), "preparation")
    fish = counted(_whole(n, "fish_looked_at"), "fish")
    return (
        f"No fluke was found in {looks} of {fish}. The chance that there are flukes all the same is "
        f"{_share(n, 'chance_present')}, and the chance of {_too_many(n)} is {_share(n, 'chance_high')}."
    )


def _killed_too_few(n: _Numbers) -> str:
    """Write how likely the doses have killed too few, in the words of the verdict on the last dose."""
    chance = float(n.get("chance_fell_short") or 0)
    if n.get("counts_held_up"):
        return "The doses given have most likely killed too few, as there are nearly as many flukes as before"
    how = "most likely" if chance >= LEAST_CHANCE else "as likely as not"
    return f"The doses given have {how} killed too few ({percent(chance)})"


def _fell_short(n: _Numbers) -> str:
    share = n.get("strength_given")
    known, mend = [], []
    if isinstance(share, float) and share < WEAK_SHARE:
        known.append(f"they had {percent(share)} of the usual strength")
        following = f"the {named(str(n['next_agent']))}" if n.get("next_agent") else "the next one"
        mend.append(f"weigh {following} in full for the true volume")
    if n.get("left_in"):
        agent = named(str(n["left_in"]))
        known.append(f"{agent} left in the water, this weak, does not treat flukes")
        mend.append(f"put in no more {agent}")
    if n.get("light_or_carbon"):
        known.append("UV or carbon was running")
        mend.append("switch UV off and take carbon out before it")
    if known:
        return f"{_killed_too_few(n)}: {several(known)}. {capitalised(several(mend))}."
    asked = ["was the volume right", "was the product fresh and as strong as labelled"]
    asked += ["was the flow stopped for all of the bath"] if n.get("flows") else []
    asked += ["was carbon or a UV lamp running"] if n.get("may_be_removed", 1.0) else []
    asked += ["have flukes come in from neighbours"] if n.get("from_outside") else []
    questions = ", ".join(asked)
    if n.get("dosed_now"):
        return f"{_killed_too_few(n)}. Before the next one goes in make sure: {questions}? Count again after it."
    return (
        f"{_killed_too_few(n)}. Find out why before the next one: {questions}? If none of that explains it, the flukes "
        "may be resistant: change the agent."
    )


def _planned_waits(n: _Numbers) -> str:
    when = day_of(n, "planned")
    if n.get("eradicate"):
        return (
            f"The case plans a dose on {when}. No fluke asks for it; a course begun as a precaution may be "
            "given to its end."
        )
    if n.get("done"):
        return f"The dose planned for {when} is not needed: give none unless flukes are found."
    return f"Do not give the dose planned for {when}: nothing found asks for it. The next look tells more."


def _of_carp(n: _Numbers) -> str:
    """Name the virus to rule out first, where fish and water are those it kills in."""
    if not n.get("koi_herpesvirus"):
        return ""
    return (
        " In carp and koi in water this warm have gills tested for koi herpesvirus today as well: it is notifiable in "
        "many countries, so move no fish before the result (common practice, no source)."
    )


def _seen_when(n: _Numbers) -> str:
    """Write when flukes were last seen, where a later look showed none."""
    return f" last on {day_of(n, 'seen_before')}" if n.get("seen_before") else ""


def day_of(n: _Numbers, name: str) -> str:
    return day_in_words(date.fromisoformat(str(n[name])))


def _eaten(n: _Numbers) -> str:
    """Write from when on the fish might be eaten after the course: an example that others decide."""
    until = f"not before {day_of(n, 'eaten_from')}" if n.get("eaten_from") else "not for more than a year"
    return (
        f"by the example of a withdrawal period used here the fish may be eaten {until}; local rules and the licensed "
        "veterinarian decide."
    )


_REASONS: dict[str, Callable[[_Numbers], str]] = {
    "no_fish": lambda n: "No fish is alive.",
    "water_stops": lambda n: (
        "Gasping fish do not bear a bath, whatever makes them gasp."
        if n.get("gasping_alone")
        else "A second drug on top of an unknown one can kill."
        if n.get("unknown_alone")
        else "In this water a dose can kill, and bad water can be what the fish suffer from."
    ),
    "measure_first": lambda n: "The agents at hand may not be given before these are known.",
    "wrong_water": lambda n: f"These flukes do not live in this water: {named(str(n['wrong_water']))}.",
    "virus_first": lambda n: (
        "Handling and dosing add stress, and no dose against flukes stops a virus: net only dying fish, for the "
        "laboratory, and leave the others alone until then."
    ),
    "identify_first": lambda n: (
        "One kind of these flukes kills salmon and is notifiable in many countries: send some to be identified, and "
        "treat or move no fish before the authority has answered."
    ),
    "newcomers_untreated": lambda n: (
        f"{counted(_whole(n, 'came'), 'fish')} that came in up to {day_of(n, 'came_on')} have had no dose: look at "
        "some of these as well as at the others, and hold the next ones apart until looks weeks apart find them clean."
    ),
    "treat_neighbours": lambda n: (
        "Fish nearby may carry these flukes too: the authority decides what is done with them."
        if n.get("notifiable")
        else "Flukes come in from fish nearby: look at those too, and bathe all that carry flukes within the same "
        "days, or they bring them back (common practice, no source)."
    ),
    "notifiable": lambda n: (
        "In some countries these flukes are notifiable: have them identified, and tell the authority where the "
        "law asks for it before you treat or move fish."
    ),
    "unknown_product": lambda n: (
        "Find out what was given: without its name and amount nobody knows what it killed, or what may go with it."
    ),
    "dosed_by_calendar": lambda n: (
        "Doses by the calendar breed flukes that bear the drug. Dose by what the fish show, and look before and after."
    ),
    "no_samples": lambda n: "No fish was looked at, or nothing could be read. Look at gills and skin first.",
    "never_seen": _never_seen,
    "more_fish": lambda n: "What was looked at is too little to decide.",
    "held_apart": lambda n: "One clean look does not show that newcomers are free of flukes. Keep them apart.",
    "clean_and_held": _clean_and_held,
    "stays_low": lambda n: (
        f"The chance that there are or will be {_too_many(n)} is {_share(n, 'chance_high')}. Fewer than "
        "that do well fish no harm."
    ),
    "may_stay_low": _may_stay_low,
    "course_worked": lambda n: (
        f"The doses given have done enough: the chance that flukes become too many again is {_share(n, 'chance_high')}."
    ),
    "course_likely_worked": lambda n: (
        f"The doses given have probably done enough: the chance that flukes become too many again is "
        f"{_share(n, 'chance_high')}."
    ),
    "too_few_to_end": lambda n: (
        f"Too few fish were looked at since {'the last eggs hatched' if n.get('lays_eggs', 1.0) else 'the last dose'} "
        "to call the course over."
    ),
    "clean_once": lambda n: (
        "These fish had a whole course and show no fluke. One clean look can miss a few: keep them apart, and look "
        "again a week later at the earliest."
    ),
    "too_many_now": lambda n: (
        f"Fish are ill, and the chance of {_too_many(n)} today is {_share(n, 'chance_high_now')}: treat now."
    ),
    "to_be_free": lambda n: (
        f"Flukes were seen{_seen_when(n)} on fish that are to carry none: the chance that they die out by themselves "
        f"within a year is {_share(n, 'chance_gone')}."
    ),
    "look_for_another_cause": lambda n: (
        f"Look for what else ails the fish: water over a whole day, bacteria, other parasites, a virus.{_of_carp(n)}"
    ),
    "deaths_of_other_cause": lambda n: "Most of the dead fish did not die of flukes.",
    "not_yet": _not_yet,
    "sick_only": lambda n: (
        "Flukes were seen on sick or dead fish alone. Such fish carry more than the others, and flukes also thrive on "
        "fish that are ill of something else."
    ),
    "too_much_water": lambda n: (
        "This much water cannot be dosed. Look for what else ails the fish; fish that need it can be bathed apart."
    ),
    "too_cold": lambda n: (
        f"In water this cold flukes hardly increase{_eggs_wait(n)}, so a course now would have to be given again in "
        "spring. Wait for warmer water, have the agent at hand by then, and look again."
    ),
    "model_does_not_reach": lambda n: (
        "This water flows in from outside, and nothing here tells how many flukes come with it, so nobody can say what "
        "comes after the next look. Are there fish with flukes nearby or upstream? Say so in the case: neighbours "
        "some, many, or none, as of well water."
    ),
    "no_dose_possible": lambda n: "A dose is wanted, but none of the agents at hand can be given.",
    "doses_fell_short": _fell_short,
    "agent_changed": _agent_changed,
    "course_not_enough": _course_not_enough,
    "hardly_cleared": lambda n: (
        "No course tried clears these fish of the last fluke with any certainty: count on keeping flukes few, and call "
        "the fish free only after looks weeks apart have found them clean."
    ),
    "not_for_long": lambda n: (
        "No course tried keeps flukes few for long. Find out why they come back: too many "
        "fish in this water, fish or nets from elsewhere, a dose too weak for the volume, or resistant flukes."
    ),
    "few_saved": lambda n: (
        "Far more fish are expected to die of something else than of flukes, and a course would save few of them."
    ),
    "others_kill_more": lambda n: (
        "Expect far more deaths of other causes than of flukes: look for bacteria, other parasites, bad water and a "
        f"virus as well.{_of_carp(n)}"
    ),
    "weak_before": lambda n: (
        f"A dose given before had only {_share(n, 'strength_given')} of the usual strength: expect little of it."
    ),
    "dose_killed": lambda n: (
        "A dose given before likely killed fish itself: find out why before the next (strength, volume, oxygen, how "
        "they were handled), and treat a few fish first."
    ),
    "planned_waits": _planned_waits,
    "other_met": lambda n: (
        "Fish die of another disease, and a bath treats that and the flukes as well. By themselves these flukes would "
        f"hardly ask for it: the chance of {_too_many(n)} is {_share(n, 'chance_high')}."
    ),
    "other_first": lambda n: (
        "Another disease was found: see to it first. The flukes can wait until then, and are looked at again after it."
    ),
    "harvest_first": lambda n: (
        f"The harvest is planned on {day_of(n, 'harvest')}, and a course would put it off: {_eaten(n)} Few fish would "
        "be saved by it, so harvest first. If the harvest can wait, say so in the case and run the report again."
        if n.get("put_off", 1.0)
        else f"The fish are well, and the harvest is planned on {day_of(n, 'harvest')}: a dose saves hardly a fish "
        "by then."
    ),
    "harvest_waits": lambda n: f"The harvest planned on {day_of(n, 'harvest')} has to wait: {_eaten(n)}",
    "dose_does_not_help": lambda n: "No course tried helps enough to be worth giving.",
    "course_goes_on": _course_goes_on,
    "flukes_persist": lambda n: (
        "Look after look shows flukes while fish are ill, so treat them. Without a dose the chance of "
        f"{_too_many(n)} is {_share(n, 'chance_high')}."
    ),
    "stays_high": _stays_high,
}

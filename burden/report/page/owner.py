"""The page for the owner, in plain words: what was found, what to do when, how, and whom to ring."""

from __future__ import annotations

from dataclasses import replace

from burden.decision import Assessment, PlannedDose
from burden.evidence import FRESH_WATER, agent_names, load_agent
from burden.report.page.owner_findings import what_was_found
from burden.report.page.owner_outlook import elsewhere, expected_lines
from burden.report.page.owner_words import for_an_owner, untagged
from burden.report.text.bath_end import owner_let_out_text
from burden.report.text.decision import headline, help_lines, release_text
from burden.report.text.gates import FOR_THE_LABORATORY, gates_text, may_be_harvested
from burden.report.text.handling import aftercare_days, breath_text, handling_of, same_water, trial_steps, unfed_text
from burden.report.text.other_bath import baths_against_others, day_of_bath
from burden.report.text.owner_reasons import FOR_OWNERS, owner_reason_text
from burden.report.text.plan import dose_text
from burden.report.text.reasons import reasons_of
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import counted, named, plain, sentence, several, uncapitalised

__all__ = ["owner_page"]

#: of how a bath is made up and where a figure is from the owner need not know
_NOT_FOR_OWNERS = ("making_up", "bookkeeping")
_NOT_EATEN = "Nobody may eat these fish, or send them to be eaten, before the licensed veterinarian allows it."
_NOTIFIED = (
    "This may be a disease that the law asks to be reported. The veterinarian tells the authority. Until the "
    "authority or the laboratory has answered, no {what} leaves this place."
)
_NOT_BEFORE = "The doses below are given only once we have told the authority and say that they may be given."
_KEPT_FEW = "Hardly a fish is likely to die of flukes, but without a dose there would likely be many: we keep them few."
_KEPT_FEW_ON_ONE = "Your fish is not likely to die of flukes, but without a dose it would carry many: we keep them few."
_NOT_BY_FLUKES = "Most deaths are likely of something else. No dose against flukes stops these: we look for the cause."
_DEAD_APART = "Gather dead fish every day, keep them in a closed bin, and let no animal reach them."
_BOTTLE = "Bring us the bottle of what was given, or tell us its name and how much went in."
_LACK_BLOOD = (
    "The fish{} lack blood: keep the air on at full strength, do not net, move or crowd them, and take out dying fish "
    "every day."
)
_SOONER = "Ask us whether the fish that are well should be harvested sooner."
_APART = "The fish that came lately were not treated. Keep any that come later apart until we have found them clean."
_DOSES_FOLLOW = "Doses against flukes follow once the water is right: we tell you when, and how much."


def owner_page(found: Assessment) -> list[tuple[str, list[str]]]:
    """Return headings and sentences for the owner."""
    parts = [
        ("What we found", what_was_found(found)),
        ("Who has to be told", _told(found)),
        ("What to do when", _dates(found)),
        ("How to protect yourself and the fish", _protection(found)),
        ("Why more than one dose", _why(found)),
        ("Your part", _part(found)),
        ("Ring us at once when", _ring(found)),
        ("What to expect", expected_lines(found)),
    ]
    return [(heading, sentences) for heading, sentences in parts if sentences]


def _told(found: Assessment) -> list[str]:
    codes = {reason.code for reason in found.decision.reasons}
    virus = any(other.finding == "virus_suspected" for other in found.decision.others)
    what = "fish, net or bucket" if found.case.water.is_open else "fish, water, net or bucket"
    said = [_NOTIFIED.format(what=what)] if virus or codes & {"notifiable", "identify_first"} else []
    said += [_NOT_BEFORE] if said and found.decision.plan else []
    to_send = any(o.finding == "virus_suspected" and o.test is None for o in found.decision.others)
    said += [_DEAD_APART] if virus else []
    return [*said, FOR_THE_LABORATORY] if to_send else said


# --- what to do ----------------------------------------------------------------------------------------------------
def _dates(found: Assessment) -> list[str]:
    decision = found.decision
    year = decision.visit_date.year
    said = []
    if decision.action != "dose":
        said += [headline(decision), *_reasons(found)]
        said += map(for_an_owner, gates_text(decision, "stop"))
        said += map(for_an_owner, help_lines(decision))
        said += [_DOSES_FOLLOW] if decision.after_water else []
    else:
        said += _reasons(found)
    said += _planned_before(found)
    said += [
        f"{say_date(day, year)}: we treat the {named(other.finding)}; {unfed_text(dose, year)}."
        for other, dose, _ in baths_against_others(found)
        for day in [day_of_bath(found, other)]
        if day is not None
    ]
    for dose in decision.plan:
        if dose.trial_date is not None and dose.trial_date < dose.date:
            steps = "; ".join(untagged(step) for step in trial_steps(found.case, dose, found.decision.gates))
            said.append(f"{say_date(dose.trial_date, year)}: {steps}.")
        name = "one dose" if dose.of == 1 else f"dose {dose.number} of {dose.of}"
        said.append(f"{say_date(dose.date, year)}: {name}, {dose_text(dose)}. {sentence(unfed_text(dose, year))}")
    return [line for line in (*said, _next_visit(found), release_text(decision, "new fish")) if line]


#: reasons that an owner reads though another is the first
_TOLD_AS_WELL = ("agent_changed", "treat_neighbours", "look_for_another_cause")


def _reasons(found: Assessment) -> list[str]:
    """Why this is done, and that a dose does not stop what else kills."""
    decision = found.decision
    first = [one for one in decision.reasons[:1] if decision.action != "dose" or one.code in FOR_OWNERS]
    said = [_harmless(found) or owner_reason_text(one, _present(found), _at_harvest(found)) for one in first]
    said += [owner_reason_text(one) for one in reasons_of(decision)[1:] if one.code in _TOLD_AS_WELL]
    told = {reason.code for reason in decision.reasons} & {"look_for_another_cause", "few_saved"}
    return said + ([_NOT_BY_FLUKES] if elsewhere(found) and not told else [])


def _at_harvest(found: Assessment) -> bool:
    """Whether nothing is done before the fish are harvested."""
    return found.decision.look is not None and found.decision.look.purpose == "harvest"


def _present(found: Assessment) -> float:
    """Chance that any fluke is there today [-]."""
    return max(e.probability_infected for e in found.estimates)


def _harmless(found: Assessment) -> str:
    """Say why flukes are kept few where hardly a fish is to die of them; empty where some are."""
    decision = found.decision
    dead = decision.deaths.get("flukes_untreated")
    high = decision.action == "dose" and decision.reasons[0].code == "stays_high"
    kept_few = _KEPT_FEW_ON_ONE if found.case.fish_count == 1 else _KEPT_FEW
    return kept_few if high and dead is not None and not round(dead.median) else ""


def _planned_before(found: Assessment) -> list[str]:
    """Say what becomes of the dates that were planned before this visit, where the plan is another."""
    planned = {dose.date for dose in found.case.doses_planned}
    if not planned or planned == {dose.date for dose in found.decision.plan}:
        return []
    year = found.decision.visit_date.year
    days = several(say_date(day, year) for day in sorted(planned))
    if found.decision.plan:
        return [f"The dates below take the place of those planned before ({days})."]
    return [f"Planned before: a dose on {days}. Give none unless we say so."]


def _next_visit(found: Assessment) -> str:
    decision, look = found.decision, found.decision.look
    if look is None:
        if decision.action == "discharge":
            return "No further visit is needed as long as no fish dies."
        return "We ring you as soon as we know more, and agree on the next visit then."
    if look.date <= decision.visit_date and any(other.to_treat_first for other in decision.others):
        return f"We treat what else was found first, and then look at {counted(look.fish, 'fish')} for flukes again."
    if look.date <= decision.visit_date:
        return f"We look at {counted(look.fish, 'fish')} before anything is given, today or on a day we agree on now."
    when = say_date(look.date, decision.visit_date.year)
    if look.purpose == "harvest":
        return f"{when}, at the harvest: we look at a few of the fish that are killed."
    if look.purpose == "result":
        return f"About {when}, once the laboratory has answered: we come again. Until then disturb no fish."
    if look.once_c is not None:
        warm = f"once the water has been at {plain(look.once_c)} °C for a week or two"
        return f"About {when}, {warm}: we come again and look at the fish. Until then leave them in peace."
    if look.purpose == "water":
        return f"{when}: we come again, measure the water and {'look at' if look.fish else 'see'} the fish."
    return f"{when}: we come again and look at the fish."


def _protection(found: Assessment) -> list[str]:
    """With which protection the doses are given; by the veterinarian where nobody wrote it down."""
    others = [dose for _, dose, _ in baths_against_others(found)]
    agents = dict.fromkeys(dose.agent for dose in (*found.decision.plan, *others) if dose.agent != FRESH_WATER)
    said = [
        f"{named(agent).capitalize()}: {uncapitalised(untagged(text))}."
        for agent in agents
        for text in load_agent(agent).cautions
        if text.kind == "people"
    ]
    return said or (["Only the veterinarian gives these doses."] if agents else [])


def _why(found: Assessment) -> list[str]:
    if len(found.decision.plan) < 2:
        return []
    if not found.windows:
        return ["These flukes bear live young, and no dose reaches every one: the next dose is for those it missed."]
    return [
        "A dose kills flukes on the fish, not their eggs. Eggs go on hatching for days, and the young flukes settle "
        "on the fish. The next dose comes when most of them are on the fish and few have laid eggs, so keep to the "
        "dates."
    ]


def _part(found: Assessment) -> list[str]:
    decision, water = found.decision, same_water(found.case)
    moves = decision.action == "discharge" and decision.release_date is not None
    gates = tuple(gate for gate in decision.gates if gate.code != "anaemia")
    steps = [for_an_owner(text) for text in gates_text(replace(decision, gates=gates), "measure", "care")]
    if lack := next((gate for gate in decision.gates if gate.code == "anaemia"), None):
        blood = _LACK_BLOOD.format(" may" if lack.deduced else "")
        steps = [blood, *([_SOONER] if may_be_harvested(decision) else []), *steps]
    others = [dose for other, dose, _ in baths_against_others(found) if day_of_bath(found, other) is not None]
    first = {dose.agent: dose for dose in (*others, *decision.plan)}
    steps += [said for dose in first.values() for said in [_each_time(found, dose)] if said]
    steps += [_measure_after(agent) for agent, d in first.items() if aftercare_days(found.case, agent, d.apart)]
    unknown = any(gate.code == "unknown_product" for gate in decision.gates)
    unknown |= any(reason.code == "unknown_product" for reason in decision.reasons)
    return [
        *([_BOTTLE] if unknown else []),
        *dict.fromkeys(steps),
        *_let_out(found),
        *([_not_eaten(found)] if found.case.food_fish and _asks_for_a_wait(found) else []),
        "Write down every dead fish and the water temperature, every day, also when none died.",
        *([] if moves else [f"Use nets and buckets of {water} nowhere else. {_no_fish_moves(found)}"]),
        *([_APART] if any(reason.code == "newcomers_untreated" for reason in decision.reasons) else []),
        f"Put nothing else into {water} without asking us.",
    ]


def _no_fish_moves(found: Assessment) -> str:
    """Say that no fish comes or goes, and until when at the least where doses are given."""
    look = found.decision.look
    dated = found.decision.plan and look is not None
    until = f" before we have looked at them on {say_date(look.date)} and say so" if dated and look is not None else ""
    if found.case.food_fish and found.case.harvest_date is not None:  # what is harvested is sold
        return f"Bring in no new fish, and move no live fish to other water{until}."
    if found.decision.action == "discharge":
        return "Keep new fish apart until we have found them clean."
    return f"Bring in no new fish, and sell or give none away{until}."


def _let_out(found: Assessment) -> list[str]:
    """What may not be let out after the doses, each once."""
    said = (owner_let_out_text(found.case, dose) for dose in found.decision.plan)
    return [text for text in dict.fromkeys(said) if text]


def _asks_for_a_wait(found: Assessment) -> bool:
    """Whether anything given or planned may stay in food fish: water alone and salt do not."""
    agents = {dose.agent for dose in found.case.doses_given} | {dose.agent for dose in found.decision.doses}
    return any(name not in agent_names() or load_agent(str(name)).withdrawal.degree_days > 0 for name in agents)


def _not_eaten(found: Assessment) -> str:
    """Until when nobody may eat the fish: with the date of the latest example where there is one, the longer wait of a
    product that may not be approved.

    Fish that go to harvest and had nothing whose example still runs are for the veterinarian to let go.
    """
    if any(reason.code == "harvest_first" for reason in found.decision.reasons) and not found.withdrawals:
        return "Ask the licensed veterinarian whether these fish may be harvested on the day planned."
    days = [one.latest_day for one in found.withdrawals if one.degree_days > 0]
    dated = [day for day in days if day is not None]
    if not dated or len(dated) < len(days) or found.decision.action not in ("dose", "watch", "discharge"):
        return _NOT_EATEN
    until = day_in_words(found.decision.date_of(max(dated)))
    return (
        f"These fish may not be eaten before {until}, nor be sent to be eaten, unless the licensed veterinarian sets "
        "another date."
    )


def _each_time(found: Assessment, dose: PlannedDose) -> str:
    """All that an owner does at each dose of one agent, in one line."""
    steps = [text for text in handling_of(found.case, dose) if text.kind not in _NOT_FOR_OWNERS]
    said = "; ".join(uncapitalised(untagged(text)) for text in steps)
    what = "bath in fresh water" if dose.agent == FRESH_WATER else f"dose of {named(dose.agent)}"
    return f"At each {what}: {said}." if said else ""


def _measure_after(agent: str) -> str:
    days = counted(load_agent(agent).aftercare_days, "day")
    return (
        f"For {days} after each dose of {named(agent)}: measure ammonia and nitrite every day, and ring if they rise."
    )


# --- what may come -------------------------------------------------------------------------------------------------
def _ring(found: Assessment) -> list[str]:
    said = [breath_text(found.case, found.decision.plan), "More fish die than in the days before."]
    late = "A dose cannot go in on its date, or the water is more or less than we took it for."
    return [*said, late] if found.decision.plan else said

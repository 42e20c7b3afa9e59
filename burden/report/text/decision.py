"""Words of the decision: today's action, and the whole of it, short and long."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from burden.decision.records import Decision, OtherTreatment
from burden.evidence import load_parasite
from burden.report.text.deaths import deaths_text
from burden.report.text.gates import (
    UNMEASURED,
    anaemia_text,
    gates_text,
    lamp_text,
    other_text,
    others_lines,
    unused_text,
)
from burden.report.text.next_look import look_text, outcome_lines
from burden.report.text.plan import (
    aim_text,
    as_recommended,
    dose_text,
    doses_text,
    last_dose_text,
    missing_text,
    not_eaten_text,
)
from burden.report.text.reasons import NOTIFIABLE, reason_text, reasons_of
from burden.treatment.safety_note import SafetyNote
from burden.utils.dates import say_date
from burden.utils.formatting import all_of, counted, named, plain, several, uncapitalised
from burden.utils.wording import writes, writes_brief

__all__ = [
    "AUTHORITY_FIRST",
    "counted_text",
    "dated_text",
    "headline",
    "help_lines",
    "kept_out_text",
    "notes_lines",
    "release_text",
    "tells_authority",
    "withheld_lines",
    "withheld_text",
]

#: what stands before the first dose against a disease that may be notifiable
AUTHORITY_FIRST = "These flukes may be notifiable: have them identified and tell the authority first"
#: reasons of the short answer
_BRIEF_REASONS = 2
#: gates of the short answer, and those it has though they stop no dose
_BRIEF_GATES, _PRESSING = 2, ("oxygen_low",)
#: reasons that the short answer never leaves out
_ALWAYS = ("notifiable", "dose_killed", "treat_neighbours", "newcomers_untreated")


# --- today's action ------------------------------------------------------------------------------------------------
def headline(decision: Decision) -> str:
    """Write today's action in one sentence, the first line of every answer."""
    said = _HEADLINES[decision.action](decision)
    return f"{AUTHORITY_FIRST}. Then {uncapitalised(said)}" if tells_authority(decision) else said


def tells_authority(decision: Decision) -> bool:
    """Whether doses have dates before which the authority is told of a disease that may be notifiable."""
    return bool(decision.plan) and bool(set(NOTIFIABLE) & {reason.code for reason in decision.reasons})


def _water_first(decision: Decision) -> str:
    stops = [gate for gate in decision.gates if gate.level == "stop"]
    if not stops:
        missing = several(UNMEASURED[g.code] for g in decision.gates if g.code in UNMEASURED)
        return f"Measure {missing} first; no dose before that."
    caged = any(gate.remedy is not None and gate.remedy.clear_cage for gate in stops)
    codes = ("gasping_in_cage" if caged and gate.code == "gasping" else gate.code for gate in stops)
    first = several(dict.fromkeys(_PUT_RIGHT[code] for code in codes))
    test = next((_AS_WELL.get(other.test, "") for other in decision.others if other.finding == "virus_suspected"), "")
    return f"No dose today: {first} first{test}."


def _dose(decision: Decision) -> str:
    first = decision.plan[0]
    year = decision.visit_date.year
    when = "today" if first.date == decision.visit_date else f"on {say_date(first.date, year)}"
    which = "one dose" if first.of == 1 else f"dose {first.number} of {first.of}"
    give = f"ive {which} {when}: {dose_text(first)}.{_on_other_days(decision)}"
    if first.trial_date is None:
        return f"G{give}"
    day = "today" if first.trial_date == decision.visit_date else f"on {say_date(first.trial_date, year)}"
    return f"Treat a few fish {day if first.trial_date < first.date else 'first'}; if they bear it, g{give}"


def _on_other_days(decision: Decision) -> str:
    """Say of another disease that the doses do not meet that it is treated too; empty where there is none."""
    if not any(other.to_treat_first for other in decision.others):
        return ""
    return f" See to {_what_waits(decision)} at once too, but put no second agent into the water on the day of a dose."


def _what_waits(decision: Decision) -> str:
    return f"the {several(named(other.finding) for other in decision.others if other.to_treat_first)}"


def _look_first(decision: Decision) -> str:
    codes = {reason.code for reason in decision.reasons}
    if "wrong_water" in codes:
        return "No dose today: the fluke named does not live in this water, so put the case right first."
    if "no_dose_possible" in codes:
        return _without_agent(decision)
    if "virus_first" in codes:
        return _VIRUS_FIRST[next((other.test for other in decision.others if other.finding == "virus_suspected"), None)]
    if "identify_first" in codes:
        return "No dose today: have these flukes identified, and tell the authority first."
    if any(other.to_treat_first for other in decision.others):
        return _other_first(decision)
    if "doses_fell_short" in codes:
        return "No dose today: find out first why the last dose failed."
    if "dose_does_not_help" in codes:
        return "No dose today: find out first why flukes come back."
    if "look_for_another_cause" in codes:
        return "No dose today: first look for what else ails the fish."
    look = decision.look
    if "too_much_water" in codes:
        return "No dose: this much water cannot be dosed."
    if look is not None and look.day > 0:
        return _watch(decision)
    fish = "more fish" if look is None else all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    return f"No dose today: look at {fish} first."


def _other_first(decision: Decision) -> str:
    """Say what comes before the flukes: its treatment, or in water that cannot be dosed a bath apart."""
    if all(other.in_too_much_water for other in decision.others if other.to_treat_first):
        shown = several(named(other.finding) for other in decision.others if other.to_treat_first)
        return f"No dose: this much water cannot be dosed. Bathe fish that show {shown} apart."
    return f"No dose against flukes today: treat {_what_waits(decision)} first."


def _watch(decision: Decision) -> str:
    if any(reason.code == "too_much_water" for reason in decision.reasons):
        return "No dose: this much water cannot be dosed."
    if any(reason.code == "no_dose_possible" for reason in decision.reasons):
        return _without_agent(decision)
    if decision.look is None:
        return "No dose today."
    if any(reason.code == "harvest_first" for reason in decision.reasons):
        return f"No dose: harvest first, on {say_date(decision.look.date, decision.visit_date.year)}."
    if decision.look.purpose == "harvest":
        return f"No dose today: the fish are harvested on {say_date(decision.look.date, decision.visit_date.year)}."
    about = "on" if decision.look.once_c is None else "when the water has warmed, about"
    return f"No dose today: look again {about} {say_date(decision.look.date, decision.visit_date.year)}."


def _without_agent(decision: Decision) -> str:
    if decision.to_get:
        return f"No dose today: get {named(decision.to_get[0].agent)} first."
    return "No dose today: no agent can be given to these fish."


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
#: common practice, no source
_HOLD_FOR_FLUKES = (
    "This hold is for flukes: it does not show that carp or koi are free of koi herpesvirus, which takes a test or a "
    "hold of its own."
)
#: by what is known of the test
_VIRUS_FIRST = {
    None: "No dose today: have the suspected virus tested first.",
    "sent": "No dose today: wait for the result of the virus test.",
    "positive": "No dose: the virus test is positive, and no dose against flukes stops a virus.",
}
#: the same, beside water that comes first
_AS_WELL = {
    None: ", and have the suspected virus tested",
    "sent": ", and wait for the result of the virus test",
    "positive": ", and follow what the authority orders about the virus",
}
_PUT_RIGHT = {
    "gasping": "help the gasping fish with air and clean water",
    "gasping_in_cage": "help the gasping fish with oxygen",
    "oxygen_low": "raise the oxygen",
    "ammonia_high": "bring the ammonia down",
    "nitrite_high": "bring the nitrite down",
    "gills_brown": "measure the nitrite that may have turned the gills brown",
    "unknown_product": "clear the water of the unknown product",
    "ph_extreme": "put the pH right",
}


def dated_text(decision: Decision) -> list[str]:
    """Write when the doses are given and when to look again, so that the first lines are enough to act on."""
    year = decision.visit_date.year
    said = []
    if len(decision.plan) > 1:  # one dose alone stands in the headline
        once = ", once the authority has been told" if tells_authority(decision) else ""
        said.append(f"Doses{once}: {doses_text(decision.plan, year)}.")
    if decision.after_water:
        said.append(f"As soon as the readings are right, likely about: {doses_text(decision.after_water, year)}.")
    if decision.look is not None:
        said.append(look_text(decision.look, year))
    return said


def withheld_text(decision: Decision) -> str | None:
    """Write why no dose is given today, as a phrase; None where one is."""
    if decision.action == "dose":
        return None
    return reason_text(decision.reasons[0]).rstrip(".") if decision.reasons else headline(decision).rstrip(".")


def release_text(decision: Decision, fish: str = "newcomers") -> str:
    """Write until when newcomers are kept apart; empty where nothing is held, or all may move."""
    virus = f" {_HOLD_FOR_FLUKES}" if decision.on_record.get("carp") else ""
    if decision.release_date is None:
        return ""
    if decision.action == "discharge":
        return virus.strip()
    if decision.look is not None and decision.look.purpose in ("named", "result"):
        return f"Keep the {fish} apart until they are found clean."  # that look does not release them
    when = say_date(decision.release_date, decision.visit_date.year)
    return f"Keep the {fish} apart until {when} at the earliest, and until they are found clean.{virus}"


# --- the whole -----------------------------------------------------------------------------------------------------
@writes_brief
def _brief(decision: Decision) -> str:
    """Write the answer in about five lines."""
    said = [reason for i, reason in enumerate(reasons_of(decision)) if i < _BRIEF_REASONS or reason.code in _ALWAYS]
    lines = [headline(decision), *(reason_text(reason) for reason in said), counted_text(decision)]
    lines.append(_counted_over_visits(decision))
    lines += help_lines(decision)
    pressing = [gate for gate in decision.gates if gate.level == "stop" or gate.code in _PRESSING]
    lines += [*gates_text(replace(decision, gates=tuple(pressing[:_BRIEF_GATES]))), anaemia_text(decision)]
    lines += [other_text(other, decision.action == "dose") for other in decision.others if _waits_for(other)]
    lines += [
        unused_text(decision),
        lamp_text(decision),
        *dated_text(replace(decision, after_water=())),
        not_eaten_text(decision),
        last_dose_text(decision),
    ]
    return "\n".join(line for line in lines if line)


def _waits_for(other: OtherTreatment) -> bool:
    """Whether it is treated first; of a virus the headline tells."""
    return other.to_treat_first and other.finding != "virus_suspected"


def counted_text(decision: Decision) -> str:
    """Write what was counted before the doses given and after them; empty where nothing alike was."""
    known = decision.on_record
    if "preparations_before" not in known or known["flukes_before"] + known["flukes_after"] == 0:
        return ""
    before, after, latest = (
        f"{counted(known[f'flukes_{when}'], 'fluke')} in {counted(known[f'preparations_{when}'], 'preparation')}"
        if f"flukes_{when}" in known
        else ""
        for when in ("before", "after", "latest")
    )
    several = known.get("doses_between", 1) > 1
    doses = f"the last {known['doses_between']} doses" if several else "the last dose"
    then = f", and {latest} at the latest look" if latest else ""
    after = f"{'' if latest else 'and '}{after} after {'them' if several else 'it'}"
    both = "Of all kinds together you" if len(decision.parasites) > 1 else "You"
    return f"{both} counted {before} before {doses}, {after}{then}."


def _counted_over_visits(decision: Decision) -> str:
    """Write what was counted at each visit since the last dose; empty where fewer than three were alike."""
    known = decision.on_record
    visits = known.get("visits", 0)
    if not visits:
        return ""
    each = (known[f"visit_{i}_flukes"] / known[f"visit_{i}_preparations"] for i in range(1, visits + 1))
    return f"Flukes in a preparation at the last {visits} visits: {several(plain(mean, 2) for mean in each)}."


def help_lines(decision: Decision) -> list[str]:
    """Write which agent would serve where none at hand can be given, else what helps meanwhile."""
    if decision.withheld and not decision.to_get:
        eggs = ", where the eggs sit" if any(load_parasite(name).lays_eggs for name in decision.parasites) else ""
        return [_MEANWHILE.format(eggs=eggs)]
    served = [f"{missing_text(one)} would serve." for one in decision.to_get]
    return [_GET_MEANWHILE, *served] if served and decision.action == "water_first" else served


def withheld_lines(decision: Decision) -> list[str]:
    """Write what keeps out the agents at hand, where a dose is wanted and none can be given."""
    return notes_lines(decision.withheld)


def kept_out_text(decision: Decision) -> str:
    """Write in one sentence what keeps out the agents at hand; why stands with the cautions."""
    notes = dict.fromkeys(uncapitalised(note.text) for note in decision.withheld)
    return f"Kept out today: {'; '.join(notes)}. Why, and what would lift it, stands under “Cautions”." if notes else ""


def notes_lines(notes: Iterable[SafetyNote]) -> list[str]:
    """Write what keeps a dose out, and what would lift it; one reason against several kinds of fish once."""
    texts: dict[tuple[str, str], list[str]] = {}
    for note in notes:
        texts.setdefault((note.reason.rstrip("."), note.would_change), []).append(note.text)
    return [
        f"{several([said[0], *map(uncapitalised, said[1:])])}: {reason}. What would lift it: {change}."
        for (reason, change), said in texts.items()
    ]


_GET_MEANWHILE = "None of the agents at hand can be given once the water is right: get another meanwhile."
_MEANWHILE = (
    "Meanwhile give the fish air, feed little, do not handle them, take out the dead every day, and clean or change "
    "nets and bottom{eggs}. Ask the fish health service which other treatment is allowed here; of food "
    "fish the well ones may be harvested early (common practice, no source)."
)


@writes
def _whole_text(decision: Decision) -> str:
    """Write the decision with everything it rests on."""
    lines = [headline(decision), *(reason_text(reason) for reason in reasons_of(decision)), counted_text(decision)]
    lines += [*help_lines(decision), *gates_text(decision), *withheld_lines(decision)]
    lines += [*others_lines(decision), unused_text(decision), lamp_text(decision)]
    lines += [*dated_text(decision), not_eaten_text(decision), release_text(decision)]
    if decision.look is not None:
        lines += outcome_lines(decision.look)
    lines += [last_dose_text(decision), deaths_text(decision), aim_text(decision), as_recommended(decision)]
    return "\n".join(line for line in lines if line)

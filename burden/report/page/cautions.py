"""Every caution of a visit, grouped, each once: of the plan, and apart those of other agents at hand."""

from __future__ import annotations

from dataclasses import replace

from burden.decision import Assessment
from burden.evidence import FRESH_WATER, load_agent, load_parasite
from burden.report.formatting import about_in
from burden.report.text.decision import notes_lines
from burden.report.text.handling import aftercare_days
from burden.report.text.other_bath import baths_against_others
from burden.schedule.eligibility import DEFAULT_AGENTS, agents_and_notes
from burden.treatment.dose_result import DoseResult
from burden.treatment.flowing_bath import bath_in_flow
from burden.treatment.host_tolerance import host_advice, withdrawal_text
from burden.treatment.water_chemistry import LEFT_IN_HOURS
from burden.treatment.withdrawal import unnamed_words
from burden.utils.formatting import named, several

__all__ = ["agents_of", "cautions_of", "cautions_of_others"]

_RULES = "Local rules and the licensed veterinarian decide what may be given to these fish, and how it is recorded."
_TRIAL = "Dose one or a few fish first, for the planned time, in the same water, and watch them."
_TRIAL_IN_WATER = "Bathe one or a few fish first, for the planned time, and watch them."
_VOLUME = "An error in the volume is an equal error in the dose"


#: codes of notes on how a bath is given, which say nothing where none is
_HOW_A_BATH_IS_GIVEN = ("enclose", "stop_flow", "drip_feed")


def agents_of(visit: Assessment) -> tuple[str, ...]:
    """Return the agents a visit considered: those of the doses, and those at hand, each once."""
    at_hand = visit.case.limits.agents or DEFAULT_AGENTS
    return tuple(dict.fromkeys([*(d.agent for d in visit.doses), *at_hand]))


def cautions_of(visit: Assessment) -> list[tuple[str, list[str]]]:
    """Return the cautions by heading, the weightiest first.

    Parameters
    ----------
    visit : Assessment

    Returns
    -------
    list of (str, list of str)
        What withholds a dose, water and fish, rules and food, each agent of the plan.
    """
    given = tuple(dict.fromkeys(d.agent for d in visit.doses))
    stops, care = _stops(visit), _care(visit)
    # what the water asks for first comes before what the agent asks for
    groups = [("Water and fish", care)] if given else [("Against a dose today", stops)]
    groups += [("Always", [*_always(visit), *_food(visit)])]
    groups += [(named(agent).capitalize(), _of_agent(visit, agent, True)) for agent in given]
    return _each_once([*groups, *_of_other_baths(visit)])


def _of_other_baths(visit: Assessment) -> list[tuple[str, list[str]]]:
    """All that a bath against another disease asks for, whose amount the page prints."""
    groups = []
    for other, _, given in baths_against_others(visit):
        alone = replace(visit.case, limits=replace(visit.case.limits, agents=(given.agent,)))
        notes = tuple(note for own in agents_and_notes(alone, visit.estimates)[1].values() for note in own)
        bathed = replace(visit, doses=(given,), notes=notes)
        heading = f"{named(given.agent).capitalize()}, against the {named(other.finding)}"
        groups.append((heading, [*_care(bathed), *_of_agent(bathed, given.agent, True)]))
    return groups


def cautions_of_others(visit: Assessment) -> list[tuple[str, list[str]]]:
    """Return the standing cautions of agents at hand that no dose is planned of, by agent: for the appendix.

    Parameters
    ----------
    visit : Assessment
    """
    given = {d.agent for d in visit.doses} | {dose.agent for _, dose, _ in baths_against_others(visit)}
    others = (agent for agent in agents_of(visit) if agent not in given)
    groups = [("Against other agents", _stops(visit))] if visit.doses else [("If a dose follows", _care(visit))]
    return _each_once([*groups, *((named(agent).capitalize(), _of_agent(visit, agent, False)) for agent in others)])


def _stops(visit: Assessment) -> list[str]:
    """What keeps out agents at hand."""
    return notes_lines(note for note in visit.notes if note.level == "withhold")


def _care(visit: Assessment) -> list[str]:
    """What else is to be seen to: of the agents planned, or of those at hand where none is."""
    return [
        f"{note.text}: {note.reason.rstrip('.')}."
        for note in visit.notes
        if note.level != "withhold" and (visit.doses or note.code not in _HOW_A_BATH_IS_GIVEN)
    ]


def _always(visit: Assessment) -> list[str]:
    """What holds for every dose; what these fish and this water went through with earlier doses is not asked again."""
    doses = visit.decision.doses
    if not doses:
        bathed = bool(baths_against_others(visit))
        return [_RULES, *([_TRIAL, f"{_VOLUME}: measure the water before the bath."] if bathed else [])]
    tried = bool(doses) and all(dose.trial_date is None for dose in doses)
    begun = bool(doses) and doses[0].number > 1
    if all(dose.agent == FRESH_WATER for dose in doses):
        return [_RULES, *([] if tried else [_TRIAL_IN_WATER])]
    volume = f"{_VOLUME}." if begun else f"{_VOLUME}: measure the water before the first dose."
    return [_RULES, *([] if tried else [_TRIAL]), volume]


def _food(visit: Assessment) -> list[str]:
    if not visit.case.food_fish:
        return ["The case says that nobody will eat these fish. If anyone might, a withdrawal time applies: ask first."]
    unnamed = [f"Food fish: {words}."] if (words := unnamed_words(visit.case)) else []
    if visit.withdrawals:
        return [*unnamed, *(f"Food fish: {about_in(w.words())}." for w in visit.withdrawals)]
    said: dict[str, list[str]] = {}
    for agent in agents_of(visit):
        said.setdefault(withdrawal_text(load_agent(agent), None).split(";")[0].rstrip("."), []).append(named(agent))
    return [*unnamed, *(f"{text} ({several(agents)})." for text, agents in said.items())]


def _of_agent(visit: Assessment, agent: str, given: bool) -> list[str]:
    """All that a dose says where one is recommended; the standing cautions of the other agents at hand."""
    known = load_agent(agent)
    if given:
        said = [text for d in visit.doses if d.agent == agent for text in d.cautions]
        elsewhere = set[str](known.handling)  # stands in the day-book, with the dose
        told_above = (host_advice(known, group.kind, 0.0) for group in visit.case.fish)
        elsewhere |= {one.text for one in told_above if one.advice == "no data"}
        if known.aftercare_days and not any(_meets_filter(visit, d) for d in visit.doses if d.agent == agent):
            elsewhere |= set(known.aftercare)
    else:
        short = bath_in_flow(visit.case, agent).hours < LEFT_IN_HOURS
        # what follows a bath is no matter where none is given
        said, elsewhere = [text for text in known.cautions if text.of_bath(short)], set[str]()
    if not any(load_parasite(name).lays_eggs for name in visit.decision.parasites):
        said = [text for text in said if text.kind != "eggs"]
    # the trial on a few fish, and food, stand under "Always" for every agent
    told = ("Test a few fish first", "Food fish")
    return [text for text in dict.fromkeys(said) if text not in elsewhere and not text.startswith(told)]


def _meets_filter(visit: Assessment, dose: DoseResult) -> bool:
    return aftercare_days(visit.case, dose.agent, dose.apart) > 0


def _each_once(groups: list[tuple[str, list[str]]]) -> list[tuple[str, list[str]]]:
    seen: set[str] = set()
    kept = []
    for heading, texts in groups:
        mine = [text for text in dict.fromkeys(texts) if text not in seen]
        seen.update(mine)
        if mine:
            kept.append((heading, mine))
    return kept

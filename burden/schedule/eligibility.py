"""Which agents may be given in a case, and what is to be said of each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import mean
from typing import Literal

import numpy as np

from burden.case import Action, Case, ConstantTemperature
from burden.evidence import load_agent, load_parasite
from burden.inference.estimate_result import Estimate
from burden.inference.kill_record import between_looks
from burden.treatment.bath_notes import note_on_amount, note_on_kill, notes_on_flow
from burden.treatment.dose import dose
from burden.treatment.dose_result import DoseResult
from burden.treatment.efficacy import kill
from burden.treatment.efficacy_contradiction import efficacy_contradicted, efficacy_note
from burden.treatment.efficacy_fit import draw_kill
from burden.treatment.flowing_bath import FlowingBath, bath_in_flow, bath_water_c
from burden.treatment.safety import safety_check
from burden.treatment.safety_note import SafetyNote
from burden.utils.errors import InputError, Problem
from burden.utils.formatting import named, uncapitalised

__all__ = [
    "DEFAULT_AGENTS",
    "LAST_RESORT",
    "Notes",
    "agents_and_notes",
    "agents_to_get",
    "dose_of",
    "netted_apart",
    "notes_on",
    "unpublished_plans",
]

#: what is to be said of each agent
Notes = Mapping[str, Sequence[SafetyNote]]

DEFAULT_AGENTS = ("praziquantel", "formalin")
#: what fish of the sea are bathed in besides: common practice, no source
_AGENTS_OF_THE_SEA = ("hydrogen_peroxide", "fresh_water")
#: agents that are harder on fish, filter and people than others, so that what does as well without them goes first:
#: common practice, no source
_HARSH = ("formalin", "trichlorfon")
#: agents never chosen for what else they work on: an organophosphate harms people and fish. Common practice, no source
LAST_RESORT = frozenset({"trichlorfon"})
#: more fish than are netted into a bath apart, where another agent serves in their own water: an assumption
_MANY_TO_NET = 1000
#: weight of fish that nobody nets into a tub time and again: common practice, no source [kg]
_MUCH_TO_NET_KG = 50.0
#: flukes counted before a dose, and the share of them left after it, that show that it works here: assumptions [-]
_ENOUGH_COUNTED, _FELL_TO = 20, 0.3
#: share of adults that a dose worth giving kills, in the median: an assumption [-]
_LEAST_KILL = 0.5
_KILL_DRAWS = 400
#: from memory [g/L]
_OPEN_SEA_G_L = 35.0
#: where a bath is given, by how it can be
_PLACES: Mapping[str, Literal["water", "tank", "enclosed", "flow_stopped", "dripped"]] = {
    "still": "water",
    "impossible": "water",
    "apart": "tank",
    "enclosed": "enclosed",
    "stop_flow": "flow_stopped",
    "drip_feed": "dripped",
}
#: water that the amount of a bath apart is worked out for: of a small tank, of others, of what a cage's fish are
#: enclosed in [L]
_SMALL_L, _APART_L, _ENCLOSED_L = 10.0, 100.0, 1000.0


def agents_and_notes(case: Case, estimates: Sequence[Estimate]) -> tuple[tuple[str, ...], Notes]:
    """Agents that may be given, the one to begin with first, and what is to be said of each that might be."""
    wanted = _by_preference(case, DEFAULT_AGENTS if case.limits.agents is None else case.limits.agents)
    warmest = estimates[0].pond.setting.temperature.median_at(0.0)
    notes: dict[str, tuple[SafetyNote, ...]] = {}
    allowed = []
    for name in wanted:
        agent = load_agent(name)
        bath = bath_in_flow(case, name)
        found = safety_check(
            agent,
            bath.mg_l,
            bath.hours,
            temperature_c=warmest,
            oxygen_mg_l=case.water.oxygen_mg_l,
            alkalinity_mg_l_caco3=case.water.alkalinity_mg_l_caco3,
            salinity_g_l=_salinity(case),
            aeration=case.water.aeration,
            biofilter=None if bath.apart or case.water.filter is None else case.water.filter != "none",
            species=[group.kind for group in case.fish],
            food_fish=case.food_fish,
            findings=case.findings.diseases,
            formalin_before_mg_l=sum(a.concentration_mg_l or 0.0 for a in case.given if a.agent == "formalin"),
            max_formalin_mg_l_total=case.limits.max_formalin_mg_l_total,
            permanganate_used=any(a.product == "potassium_permanganate" for a in case.given),
            short_of_breath=bool(case.findings.gasping or case.findings.anaemic),
            oxygen_let_in=bath.mode == "enclosed" and not case.findings.gasping,
        )
        amount = note_on_amount(name, bath.mg_l, case.water.volume_l.value)
        if not _worked_here(case, name):
            against = (efficacy_contradicted(agent, parasite) for parasite in case.parasites)
            found += [efficacy_note(one) for one in against if one is not None]
            found += _little_effect(name, estimates)
        found = [*notes_on_flow(bath), *amount, *found]
        notes[name] = tuple(found)
        if not any(note.level == "withhold" for note in found):
            allowed.append(name)
    return tuple(allowed), notes


def _by_preference(case: Case, agents: Sequence[str]) -> list[str]:
    """Agents that meet another finding first, those that fish and people bear worst last; else as the case has them.

    What is at hand is a list without an order of its own: no answer may hang on which agent was written first.
    """

    def key(agent: str) -> tuple[bool, ...]:
        meets_none = load_agent(agent).works_on.isdisjoint(case.findings.diseases)
        return agent in LAST_RESORT, meets_none, netted_apart(case, agent), agent in _HARSH

    return sorted(agents, key=key)


def netted_apart(case: Case, agent: str) -> bool:
    """Whether a bath of an agent asks for thousands of fish, or for a great weight of them, netted into another water.

    Parameters
    ----------
    case : Case
    agent : str
    """
    bath = bath_in_flow(case, agent)
    return bath.mode == "apart" and (case.fish_count > _MANY_TO_NET or bath.kilograms > _MUCH_TO_NET_KG)


def agents_to_get(case: Case, estimates: Sequence[Estimate]) -> tuple[str, ...]:
    """Agents that are not at hand and could be given, were they there; the preferred one first.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.
    """
    known = DEFAULT_AGENTS + (_AGENTS_OF_THE_SEA if case.water.medium == "sea" else ())
    at_hand = DEFAULT_AGENTS if case.limits.agents is None else case.limits.agents
    missing = tuple(name for name in known if name not in at_hand)
    if not missing:
        return ()
    allowed = agents_and_notes(replace(case, limits=replace(case.limits, agents=missing)), estimates)[0]
    return tuple(name for name in allowed if _kills_enough(case, name))


def _kills_enough(case: Case, agent: str) -> bool:
    """Whether a bath of an agent that is not at hand kills at least half of the adults of a set, in the median."""
    known, bath = load_agent(agent), bath_in_flow(case, agent)
    draws = (draw_kill(known, _KILL_DRAWS, 1, load_parasite(name)) for name in case.parasites)
    return any(float(np.median(kill(d, "adult", bath.mg_l, bath.hours))) >= _LEAST_KILL for d in draws)


def _worked_here(case: Case, agent: str) -> bool:
    """Whether counts on these very fish fell after a dose of an agent as no trial elsewhere can gainsay."""
    looks = (one for parasite in case.parasites for one in between_looks(case, parasite))
    return any(
        {dose.agent for dose in doses} == {agent}
        and sum(row.count_low for row in before) >= _ENOUGH_COUNTED
        and mean(row.count_low for row in after) <= _FELL_TO * mean(row.count_low for row in before)
        for before, after, doses in looks
    )


def _little_effect(agent: str, estimates: Sequence[Estimate]) -> list[SafetyNote]:
    """Why an agent that kills too few of the flukes found is withheld; nothing where it serves against one set."""
    effects = [e.pond.effects[agent] for e in estimates if agent in e.pond.effects]
    kills = [float(np.median(effect.kill_of("adult"))) for effect in effects]
    if not kills or max(kills) >= _LEAST_KILL:
        return []
    return [note_on_kill(agent, max(kills))]


def notes_on(notes: Notes, given: Sequence[str]) -> tuple[SafetyNote, ...]:
    """Return what is to be said where some agents are given: all of theirs, and why another must not be; each once.

    Parameters
    ----------
    notes : mapping of str to sequence of SafetyNote
        By agent, from `agents_and_notes`.
    given : sequence of str
        Agents of the schedule; none stands for all.

    Notes
    -----
    What withholds another agent names it, lest it seem to forbid the dose that is given. Of several agents each note
    that is of one alone names it.
    """
    all_of = given or tuple(notes)
    of_how_many = Counter(note for own in notes.values() for note in own)

    def naming(name: str, note: SafetyNote) -> SafetyNote:
        if named(name) in note.text.lower():
            return note
        if name not in all_of:
            return replace(note, text=f"Not {named(name)}: {uncapitalised(note.text)}")
        alone = of_how_many[note] > 1 or len(all_of) == 1
        return note if alone else replace(note, text=f"{named(name).capitalize()}: {uncapitalised(note.text)}")

    said = [
        naming(name, note) for name, own in notes.items() for note in own if name in all_of or note.level == "withhold"
    ]
    return tuple(sorted(dict.fromkeys(said), key=lambda note: note.level != "withhold"))


def _salinity(case: Case) -> float | None:
    """Salt in the water as measured; of the sea, where nobody did, as in the open sea [g/L]."""
    if case.water.salinity_g_l is None and case.water.medium == "sea":
        return _OPEN_SEA_G_L
    return case.water.salinity_g_l


def dose_of(case: Case, agent: str, accept_unpublished: bool = False) -> DoseResult:
    """Work out the dose of a case, customary or for water that flows, with what every species in the water bears.

    Parameters
    ----------
    case : Case
    agent : str
    accept_unpublished : bool
        Work out a dose no source gives all the same.

    Returns
    -------
    DoseResult
        Of the case's water; of a bath given in a water of its own, of each 10, 100 or 1,000 L of that.

    Raises
    ------
    InputError
        For a dose outside the published range that was not accepted.
    """
    volume, bath, usual = case.water.volume_l, bath_in_flow(case, agent), load_agent(agent).customary
    apart = bath.apart
    own = bath.mode != "impossible" and (bath.mg_l, bath.hours) != (usual.mg_l, usual.hours)
    short = load_agent(agent).short_bath_in(case.water.medium)
    stronger = own and short is not None and bath.mg_l > short.mg_l  # published and borne at this temperature alone
    each = [
        dose(
            agent,
            _apart_l(case, bath) if apart else volume.value,
            bath.mg_l if own else None,
            hours=bath.hours if own else None,
            accept_unpublished=accept_unpublished,
            temperature_c=bath_water_c(case) if stronger else None,
            species=species,
            volume_range_l=None if apart else (volume.low, volume.high),
            food_fish=case.food_fish,
            where="case.toml",
            filter_kind=case.water.filter,
            strength_percent=case.limits.strength_percent.get(agent),
        )
        for species in dict.fromkeys(group.kind for group in case.fish)
    ]
    said = tuple(dict.fromkeys(caution for result in each for caution in result.cautions))
    drip = bath.drip_mg_per_hour / (bath.mg_l * volume.value)
    return replace(each[0], cautions=said, place=_PLACES[bath.mode], drip_per_hour=drip)


def _apart_l(case: Case, bath: FlowingBath) -> float:
    """Water that the amount of a bath apart is stated for [L]."""
    if bath.mode == "enclosed":
        return _ENCLOSED_L
    return _SMALL_L if case.water.volume_l.value <= _APART_L else _APART_L


def unpublished_plans(case: Case) -> list[Problem]:
    """Return every planned dose that no source gives, or that is above what a fish of the case bears.

    Parameters
    ----------
    case : Case

    Notes
    -----
    Where the water's temperature is not one number, what is published for the warmest water alone counts. A dose is
    named by its date: doses stand by rising date in a case, in any order in its file.
    """
    found: dict[Problem, None] = {}
    for action in case.planned:
        for group in case.fish:
            found |= dict.fromkeys(_refused(case, action, group.kind, f"[[planned]] of {action.date}"))
    return [*found]


def _refused(case: Case, action: Action, species: str, place: str) -> list[Problem]:
    mg_l = action.concentration_mg_l
    if action.action != "dose" or action.agent is None or mg_l is None:
        return []
    route = action.route or "bath"
    if route not in load_agent(action.agent).routes:
        return []  # no amount is worked out for it
    water = case.water.temperature
    try:
        dose(
            action.agent,
            case.water.volume_l.value,
            mg_l,
            route=route,
            hours=action.hours,
            temperature_c=water.temperature_c if isinstance(water, ConstantTemperature) else None,
            species=species,
            where="case.toml",
        )
    except InputError as error:
        return [Problem("case.toml", f"{place} {p.place}", p.value, p.expected, p.fix) for p in error.problems]
    return []

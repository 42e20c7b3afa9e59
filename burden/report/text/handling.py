"""Words of how a dose is handled in the water of a case: feeding, filter and lamps, what to do when fish gasp."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from burden.case import Case
from burden.decision.records import PlannedDose
from burden.evidence import FRESH_WATER, load_agent
from burden.evidence.cautions import Caution
from burden.treatment.gates import Gate
from burden.treatment.host_tolerance import host_advice
from burden.utils.formatting import exposure, named, product_words, say_date, several, strength

__all__ = ["aftercare_days", "breath_text", "feed_again", "handling_of", "has_filter", "notes_of_filter", "same_water",
           "trial_fish", "trial_steps", "unfed_text"]  # fmt: skip

#: kinds of a caution that speak of a filter
_OF_FILTERS = ("filter", "filter_note")
#: water that is not changed or cleaned by hand
_OPEN = ("cage", "raceway")
#: of fewer fish than this one alone is treated first: common practice, no source
_FEW_FISH = 10
#: water of which a part is soon changed, and whose bottom is cleaned by hand: common practice, no source [L]
_CLEANED_L = 200_000.0
#: water that the amount for a tub is told for [L]
_TUB_L = 100.0


def has_filter(case: Case) -> bool:
    """Whether a filter may run on this water; where nobody said, it may."""
    return case.water.filter != "none" and case.water.kind not in _OPEN


def aftercare_days(case: Case, agent: str, apart: bool) -> int:
    """Return for how many days after a dose ammonia and nitrite are measured: none where no filter meets the agent."""
    return load_agent(agent).aftercare_days if has_filter(case) and not apart else 0


def same_water(case: Case) -> str:
    """Name the water the fish live in."""
    return f"the {case.water.kind}" if case.water.kind else "this water"


def handling_of(case: Case, agent: str, apart: bool) -> list[Caution]:
    """Return what to do with each dose of an agent: nothing of a filter where none runs on the bath.

    Parameters
    ----------
    case : Case
    agent : str
    apart : bool
        Whether the bath has a water of its own.
    """
    plain_bath = apart or not has_filter(case)
    left_out = {"feeding", "filter_note", *(_OF_FILTERS if plain_bath else ())}  # feeding is said with its dates
    return [said for said in load_agent(agent).handling if said.kind not in left_out]


def notes_of_filter(case: Case, agent: str, apart: bool) -> list[Caution]:
    """Return what a filter does to an agent, and the agent to it, where one runs on the bath."""
    if apart or not has_filter(case):
        return []
    return [said for said in load_agent(agent).handling if said.kind == "filter_note"]


def feed_again(dose: PlannedDose) -> date:
    """Return the day on which fish are fed again: the day after a short bath, or after the last day of a long one."""
    return dose.date + timedelta(days=max(1, math.ceil(dose.hours / 24)) + load_agent(dose.agent).unfed_days_after)


def unfed_text(dose: PlannedDose, year: int) -> str:
    """Write from when until when nothing is fed."""
    return f"feed nothing from {say_date(dose.fast_from, year)}; feed again on {say_date(feed_again(dose), year)}"


def trial_steps(case: Case, dose: PlannedDose, gates: Sequence[Gate] = ()) -> list[str]:
    """Write how a few fish are treated first; the usual change of water where the gates ask for no other."""
    fish, lasts = trial_fish(case, dose), exposure(dose.hours)
    tub = (
        f"bathe {fish} in a tub of fresh water, aerated and as warm as their own, for {lasts} and watch them"
        if dose.agent == FRESH_WATER
        else f"treat {fish} with {named(dose.agent)} in a tub of the same water, aerated, covered and kept at its "
        f"temperature, at {strength(dose.mg_l)} for {lasts} and watch them{_in_a_tub(dose)}"
    )
    steps = [f"{tub} (common practice, no source)"]
    changed = any(gate.remedy is not None and gate.remedy.percent > 0 for gate in gates)
    if case.water.kind not in _OPEN and case.water.volume_l.value <= _CLEANED_L and not changed:
        steps.append(
            "change a tenth to a quarter of the water and take dirt off the bottom (common practice, no source)"
        )
    return steps


def trial_fish(case: Case, dose: PlannedDose) -> str:
    """Write which fish are treated first, and how many.

    Every kind of which it is not known that it bears the agent; any fish where that is said of all kinds or of none.
    One of each where there are few.
    """
    agent = load_agent(dose.agent)
    kinds = list(dict.fromkeys(group.species for group in case.fish if group.count > 0))
    first = [kind for kind in kinds if host_advice(agent, kind, dose.mg_l, dose.hours).advice != "usable"]
    named_first = 0 < len(first) < len(kinds)
    there = min((group.count for group in case.fish if group.species in first or not named_first), default=0)
    many = "one" if there < _FEW_FISH else "two or three"
    if not named_first:
        return f"{many} fish"
    return f"{many} {first[0]}" if len(first) == 1 else f"{many} each of {several(first)}"


def _in_a_tub(dose: PlannedDose) -> str:
    """How much the tub takes; a bath apart has it in its own words."""
    if dose.apart or dose.agent == FRESH_WATER:
        return ""
    share = _TUB_L / dose.bath_volume_l
    grams, millilitres = (None if x is None else x * share for x in (dose.product_g, dose.product_ml))
    return f"; 100 L take {product_words(grams, millilitres)} of the product"


def breath_text(case: Case, doses: Sequence[PlannedDose]) -> str:
    """Write what the owner does at once when fish gasp or lose their balance."""
    kind, sea = case.water.kind, case.water.medium == "sea"
    end = "end the bath, " if any(dose.apart for dose in doses) else ""
    if kind == "cage":
        relief = f"{end}give them air and room"
    elif kind == "raceway":
        relief = f"{end}give them air and the full flow of water"
    else:
        water = (
            "clean sea water of the same temperature and saltiness" if sea else "clean water of the same temperature"
        )
        relief = f"{end}turn up the air, run in {water}"
    if case.findings.gasping:
        return f"More fish gasp than today, or fish lie on their side or lose their balance: {relief}, and ring."
    return f"Fish gasp at the surface, lie on their side or lose their balance: {relief}, and ring."

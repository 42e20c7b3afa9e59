"""Words of how a dose is handled in the water of a case: feeding, filter and lamps, what to do when fish gasp."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from burden.case import Case
from burden.decision.records import PlannedDose
from burden.evidence import FRESH_WATER, load_agent, load_parasite
from burden.evidence.cautions import Caution
from burden.treatment.dose_result import stock_solution
from burden.treatment.gates import Gate
from burden.treatment.host_tolerance import host_advice
from burden.treatment.water_chemistry import LEFT_IN_HOURS
from burden.utils.dates import say_date
from burden.utils.formatting import (
    exposure,
    kind_in_plural,
    named,
    product_words,
    several,
    strength,
    uncapitalised,
    volume,
)

__all__ = [
    "aftercare_days",
    "better_text",
    "breath_text",
    "emptied_text",
    "feed_again",
    "handling_of",
    "has_filter",
    "notes_of_filter",
    "same_water",
    "showed_it",
    "trial_fish",
    "trial_steps",
    "unfed_text",
]

#: kinds of a caution that speak of a filter
_OF_FILTERS = ("filter", "filter_note")
#: water that is not changed or cleaned by hand
_OPEN = ("cage", "raceway")
#: of fewer fish than this one alone is treated first: common practice, no source
_FEW_FISH = 10
#: water of which a part is soon changed, and whose bottom is cleaned by hand: common practice, no source [L]
_CLEANED_L = 200_000.0
#: tubs that the amount is told for, and fish that a litre of one holds, aerated, for a day: common practice, no source
#: [L], [g/L]
_TUBS_L = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
_TUB_HOLDS_G_L = 5.0
#: fish of a trial, of each kind [-]
_TRIED = 3
#: of fish so heavy one is tried: a tub for more is a pond. Common practice, no source [g]
_LARGE_G = 1000.0
#: water changed so often needs no change by hand: common practice, no source [1/d]
_CHANGED_BY_ITSELF = 1.0


def has_filter(case: Case) -> bool:
    """Whether a filter may run on this water; where nobody said, it may."""
    return case.water.filter != "none" and case.water.kind not in _OPEN


def aftercare_days(case: Case, agent: str, apart: bool) -> int:
    """Return for how many days after a dose ammonia and nitrite are measured: none where no filter meets the agent."""
    return load_agent(agent).aftercare_days if has_filter(case) and not apart else 0


def same_water(case: Case) -> str:
    """Name the water the fish live in."""
    return f"the {case.water.kind}" if case.water.kind else "this water"


def emptied_text(case: Case, newcomers: bool) -> tuple[str, str] | None:
    """Write what is done with the water once the fish are out of it, and why; None of a pond.

    Parameters
    ----------
    case : Case
    newcomers : bool
        Whether these are fish held apart, which are in a tank where nobody says in what.

    Notes
    -----
    Common practice, no source.
    """
    kind = case.water.kind or ("tank" if newcomers else None)
    if kind not in ("cage", "raceway", "tank"):
        return None
    eggs = any(load_parasite(name).lays_eggs for name in case.parasites)
    left = "eggs stick to {} and hatch weeks later" if eggs else "flukes live in {} for days without a fish"
    if kind == "cage":
        return (
            "once the cage is empty, change the nets, clean them and let them dry before new fish come",
            f"{left.format('nets')} (common practice, no source)",
        )
    return (
        f"once the {kind} is empty, drain it, clean it with all gear, and disinfect it or let it dry before new fish "
        "come",
        f"{left.format('walls and gear' if eggs else 'water and wet gear')} (common practice, no source)",
    )


def handling_of(case: Case, dose: PlannedDose) -> list[Caution]:
    """Return what to do with each dose like this one: nothing of a filter where none runs on the bath.

    Parameters
    ----------
    case : Case
    dose : PlannedDose
    """
    plain_bath = dose.apart or not has_filter(case)
    left_out = {"feeding", "filter_note", *(_OF_FILTERS if plain_bath else ())}  # feeding is said with its dates
    said = (line for line in load_agent(dose.agent).handling if line.of_bath(dose.hours < LEFT_IN_HOURS))
    return [line for line in said if line.kind not in left_out]


def notes_of_filter(case: Case, agent: str, apart: bool) -> list[Caution]:
    """Return what a filter does to an agent, and the agent to it, where one runs on the bath."""
    if apart or not has_filter(case):
        return []
    return [said for said in load_agent(agent).handling if said.kind == "filter_note"]


def feed_again(dose: PlannedDose) -> date:
    """Return the day on which fish are fed again: the day after a short bath, or after the last day of a long one."""
    after = 0 if dose.hours < LEFT_IN_HOURS else load_agent(dose.agent).unfed_days_after
    return dose.date + timedelta(days=max(1, math.ceil(dose.hours / 24)) + after)


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
        f"temperature, at {strength(dose.mg_l)} for {lasts} and watch them{_in_a_tub(case, dose)}"
    )
    steps = [f"{tub} (common practice, no source)"]
    changed = any(gate.remedy is not None and gate.remedy.percent > 0 for gate in gates)
    by_itself = case.water.kind in _OPEN or case.water.exchange_per_day >= _CHANGED_BY_ITSELF
    if not by_itself and case.water.volume_l.value <= _CLEANED_L and not changed:
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
    kinds = list(dict.fromkeys(group.kind for group in case.fish if group.count > 0))
    first = [kind for kind in kinds if host_advice(agent, kind, dose.mg_l, dose.hours).advice != "usable"]
    named_first = 0 < len(first) < len(kinds)
    there = min((group.count for group in case.fish if group.kind in first or not named_first), default=0)
    many = "one" if there < _FEW_FISH or case.mean_weight_g.value >= _LARGE_G else "two or three"
    if not named_first:
        return f"{many} fish"
    kinds = first if many == "one" else [kind_in_plural(kind) for kind in first]
    return f"{many} {kinds[0]}" if len(kinds) == 1 else f"{many} each of {several(kinds)}"


def _in_a_tub(case: Case, dose: PlannedDose) -> str:
    """How much a tub takes that fits these fish; a bath apart has it in its own words."""
    if dose.apart or dose.agent == FRESH_WATER:
        return ""
    tried = 1 if case.mean_weight_g.value >= _LARGE_G else _TRIED
    weighed = tried * case.mean_weight_g.value / _TUB_HOLDS_G_L
    tub = next((litres for litres in _TUBS_L if litres >= weighed), _TUBS_L[-1])
    grams, millilitres = dose.product_times(tub / dose.bath_volume_l)
    stock = stock_solution(grams, millilitres)
    made = "" if stock is None else f" ({uncapitalised(str(stock)).rstrip('.')})"
    return f"; {volume(tub)} take {product_words(grams, millilitres)} of the product{made}"


def better_text(case: Case) -> str:
    """Write what fish should do better some days after a dose: only what they did badly, or what nobody looked at."""
    found = case.findings
    if found.anaemic:
        return "look at the fish; those that lack blood take weeks to breathe better"
    if not showed_it(case):
        return "look at the fish, which should be no worse than before"
    gills = any(load_parasite(name).site == "gill" for name in case.parasites)
    feed = "" if found.feeding == "normal" else " and, in warm water, feed better"
    better = "breathe better" if gills else "rub themselves less"
    return f"look at the fish, which should {better}{feed} by now; if not, look for flukes again"


def showed_it(case: Case) -> bool:
    """Whether fish showed that they were ill, or nobody said that they were well: then they can get better."""
    found = case.findings
    return bool(found.gasping) or found.gills_ail or found.feeding != "normal"


def breath_text(case: Case, doses: Sequence[PlannedDose]) -> str:
    """Write what the owner does at once when fish gasp or lose their balance."""
    kind, sea = case.water.kind, case.water.medium == "sea"
    end = "end the bath, " if any(dose.apart for dose in doses) else ""
    if kind == "cage":
        relief = f"{end}give them air and room"
    elif kind == "raceway":
        relief = f"{end}give them air and the full flow of water"
    elif case.water.volume_l.value > _CLEANED_L:  # so much water is not changed: air where the fish are
        relief = f"{end}run every aerator, and let clean water in where the fish gather"
    else:
        water = (
            "clean sea water of the same temperature and saltiness" if sea else "clean water of the same temperature"
        )
        relief = f"{end}turn up the air, run in {water}"
    if case.findings.gasping:
        return f"More fish gasp than today, or fish lie on their side or lose their balance: {relief}, and ring."
    return f"Fish gasp at the surface, lie on their side or lose their balance: {relief}, and ring."

"""What an owner may expect: deaths by flukes and of other causes, as far as the records tell."""

from __future__ import annotations

from dataclasses import replace

from burden.decision import Assessment
from burden.evidence import load_parasite
from burden.utils.dates import day_in_words
from burden.utils.results import CredibleInterval

__all__ = ["elsewhere", "expected_lines"]

_DYING = "Fish that were dying when we looked may die all the same."
_FEW_SAVED = "We expect far more deaths of other causes than of flukes, so a treatment against flukes will save few."
#: reasons that say so
_ELSEWHERE = ("others_kill_more", "deaths_of_other_cause", "look_for_another_cause")


def elsewhere(found: Assessment) -> bool:
    """Whether most fish die of something else that no dose planned treats."""
    codes = {reason.code for reason in found.decision.reasons}
    return bool(codes & {*_ELSEWHERE}) and "other_met" not in codes


def expected_lines(found: Assessment) -> list[str]:
    """Write what is to be expected: deaths up to the horizon, and that dying fish are no part of that."""
    dying = found.decision.on_record.get("dying") and found.decision.deaths
    return [*_expected(found), *([_DYING] if dying else [])]


def _expected(found: Assessment) -> list[str]:
    decision = found.decision
    end = f"{'the harvest on ' if decision.emptied_by_then else ''}{day_in_words(decision.deaths_until)}"
    if decision.on_record["preparations"] and any(
        e.deaths_explained is not None and not e.deaths_explained.told for e in found.estimates
    ):
        return _not_told(found, end)
    d = decision.deaths
    if not decision.on_record["preparations"]:
        dead = ", nor what killed the dead fish" if decision.on_record["deaths"] else ""
        return [f"No fish was looked at yet, so we cannot say what will happen{dead}."]
    if not d:
        return ["In open water flukes come in from outside, so we cannot say what will happen."]
    said = f"Deaths by flukes until {end}, if nothing is done: {_fish(d['flukes_untreated'])}"
    if "flukes_planned" in d and decision.plan:
        said += f"; with the doses: {_fish(d['flukes_planned'])}"
    other = f"Deaths by other causes: {_fish(d['other'])}. These may end or spread."
    return [f"{said}.", *([other] if decision.on_record["deaths"] else [])]


def _not_told(found: Assessment, end: str) -> list[str]:
    """What to expect where the records cannot say what killed the dead fish."""
    decision, d = found.decision, found.decision.deaths
    if elsewhere(found):
        return [_FEW_SAVED]
    unknown = "Whether flukes killed the dead fish cannot be told from the records"
    if found.case.findings.anaemic and decision.on_record["flukes"] and _drink_blood(found):
        unknown = (
            "The flukes found feed on blood and likely had a part in the deaths; how many they killed cannot be told"
        )
    if d and not round(d["flukes_untreated"].median):
        few = f"Deaths by flukes until {end}, if nothing is done: {_fish(d['flukes_untreated'])}."
        return [f"{unknown}.", f"{few} The doses are to keep flukes few." if decision.plan else few]
    return [f"{unknown}, so we cannot say how many a treatment will save." if decision.plan else f"{unknown}."]


def _drink_blood(found: Assessment) -> bool:
    return any(load_parasite(name).blood_feeder for name in found.decision.parasites)


def _fish(dead: CredibleInterval) -> str:
    """Write how many fish die, as one says it to their owner."""
    if round(dead.median):
        return dead.whole() if round(dead.low) == round(dead.high) else f"about {dead.whole()}"
    if not round(dead.high):
        return "none"
    return f"probably none, hardly more than {replace(dead, median=dead.high, low=dead.high).whole()}"

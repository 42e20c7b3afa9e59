"""What was found, for the owner: fish looked at, flukes on them, and other diseases."""

from __future__ import annotations

from burden.decision import Assessment
from burden.decision.records import OtherTreatment
from burden.evidence import load_parasite
from burden.inference.estimate_result import Estimate
from burden.report.formatting import about
from burden.report.page.owner_words import for_an_owner
from burden.report.text.gates import other_text
from burden.report.text.trend import owner_trend_text
from burden.utils.dates import day_in_words
from burden.utils.formatting import capitalised, counted, is_plural, named, percent, sentence, several

__all__ = ["what_was_found"]

#: chance of flukes above which the owner is told that they are there: an assumption
_SURE = 0.95
_ULCERS = "Some fish have ulcers: nothing planned here treats these, so we see to them apart."


def what_was_found(found: Assessment) -> list[str]:
    """Return sentences on the last look, on flukes and on other diseases."""
    case = found.case
    rows = [row for day in case.sample_dates[-1:] for row in case.samples_on(day) if row.readable]
    fish, flukes = len({row.fish for row in rows}), sum(row.count_low for row in rows)
    dosed = found.decision.action == "dose"
    others = [_of_other(other, dosed) for other in found.decision.others if other.finding != "virus_suspected"]
    others += [_ULCERS] if found.decision.on_record.get("ulcers") else []
    if not rows:
        return ["No fish was looked at yet.", *others]
    more = "at least " if any(row.count_high is None for row in rows) else ""
    seen = f"{more}{counted(flukes, 'fluke')}" if flukes else "no fluke"
    looked = f"We looked at {counted(fish, 'fish')} on {day_in_words(rows[0].date)} and found {seen}."
    whole = all(row.method == "whole_organ" for row in rows)
    part = [] if whole else ["A sample shows only a small part of the gills and skin."]
    return [looked, *part, *_there(found, flukes), *others]


def _of_other(other: OtherTreatment, dosed: bool) -> str:
    """Write of another disease what its owner can do with it."""
    name = capitalised(named(other.finding))
    if other.agent is not None:
        return f"{name} as well: the {named(other.agent)} works on {'them' if is_plural(other.finding) else 'it'} too."
    if other.bath is not None:  # how much is the veterinarian's to know: no amount stands here that has no date
        them = "them" if is_plural(other.finding) else "it"
        first = " first" if other.to_treat_first and not dosed else ""
        return f"{name} as well: we treat {them}{first} with {named(other.bath.agent)}, and give these baths ourselves."
    if other.at_hand is not None:
        return for_an_owner(other_text(other, dosed))
    them, their = ("them", "their") if is_plural(other.finding) else ("this", "its")
    first = "first, and " if other.to_treat_first and not dosed else ""
    return f"{name} as well: we treat {them} {first}in {their} own way."


def _there(found: Assessment, flukes: int) -> list[str]:
    """What is believed to be on the fish."""
    e = max(found.estimates, key=lambda one: one.probability_infected)
    if flukes:
        carry = "have" if e.probability_infected > _SURE else "probably have"
        seen = [one for one in found.estimates if one.look.flukes]
        said = [f"Your fish {carry} flukes, small worms: {several(map(_on_each, seen or found.estimates))}."]
        if found.case.fish_count == 1:
            said = [f"Your fish {_HAS[carry]} flukes, small worms: {several(map(_on_each, seen or found.estimates))}."]
        said += [rise] if (rise := owner_trend_text(found)) else []
        return said + [_none_on(one) for one in found.estimates if seen and one not in seen]
    if any(row.count_low > 0 for row in found.case.samples):
        return [f"A few flukes, small worms, may still be there: {several(map(_on_each, found.estimates))}."]
    chance = percent(e.probability_infected)
    return [f"Flukes are small worms on gills and skin. The chance that your fish have some is {chance}."]


def _where(e: Estimate) -> str:
    return {"gill": "the gills", "skin": "the skin"}[load_parasite(e.parasite).site]


#: the same of one fish alone
_ON_ONE = {"gill": "its gills", "skin": "its skin"}
_HAS = {"have": "has", "probably have": "probably has"}


def _none_on(e: Estimate) -> str:
    """Write of a kind of fluke that none was seen, without telling it as there."""
    if not e.look.preparations:
        return f"{sentence(_where(e)).rstrip('.')} was not looked at."
    return f"None was seen on {_where(e)}; that does not show that there is none."


def _on_each(e: Estimate) -> str:
    alone = e.case.fish_count == 1
    where = _ON_ONE[load_parasite(e.parasite).site] if alone else f"{_where(e)} of each fish"
    median, low, high = (about(x) for x in (e.mean_abundance.median, e.mean_abundance.low, e.mean_abundance.high))
    if e.mean_abundance.median < 1:
        most = f", at the most {high}" if e.mean_abundance.high >= 1 else ""
        return f"probably fewer than one on {where}{most}"
    span = f"between {low} and {high}" if e.mean_abundance.low >= 1 else f"hardly more than {high}"
    return f"about {median} on {where} ({span})"

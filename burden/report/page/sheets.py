"""What goes out of the practice: a page for the owner in plain words, and the treatment record for the file."""

from __future__ import annotations

import re
from typing import Any

from burden.case import UNKNOWN_AGENT, Case
from burden.decision import Assessment
from burden.evidence import load_agent, load_parasite
from burden.inference.estimate import Estimate
from burden.report.formatting import about, long_date, named, of_100, several, spread, weighed
from burden.report.text.decision import headline
from burden.report.text.gates import gate_text, other_text
from burden.report.text.plan import dose_text
from burden.report.text.reasons import reason_text
from burden.treatment.withdrawal import unnamed_words
from burden.utils.formatting import counted, plain, say_date, sentence, uncapitalised, volume

__all__ = ["owner_page", "record_of"]

#: chance of flukes above which the owner is told that they are there: an assumption
_SURE = 0.95
#: what names a source within a caution
_SOURCE = re.compile(r" \((?:common practice|assumption|[a-z]+\d{4})[^()]*\)")
#: of how a bath is made up and where a figure is from the owner need not know
_NOT_FOR_OWNERS = ("making_up", "bookkeeping")
_NOT_EATEN = "Nobody may eat these fish, or send them to be eaten, before the licensed veterinarian allows it."
_RING = (
    "Fish gasp at the surface, lie on their side or lose their balance: turn up the air, run in clean water of the "
    "same "
    "temperature, and ring.",
    "More fish die than in the days before.",
    "A dose cannot go in on its date, or the water is more or less than we took it for.",
)


def owner_page(found: Assessment) -> list[tuple[str, list[str]]]:
    """Return headings and sentences for the owner."""
    parts = [
        ("What we found", _matter(found)),
        ("What to do when", _dates(found)),
        ("How to protect yourself and the fish", _protection(found)),
        ("Why more than one dose", _why(found)),
        ("Your part", _part(found)),
        ("Ring us at once when", list(_RING if found.decision.plan else _RING[:2])),
        ("What to expect", _expect(found)),
    ]
    return [(heading, sentences) for heading, sentences in parts if sentences]


def _matter(found: Assessment) -> list[str]:
    case = found.case
    rows = [row for day in case.sample_dates[-1:] for row in case.samples_on(day) if row.readable]
    fish, flukes = len({row.fish for row in rows}), sum(row.count_low for row in rows)
    if not rows:
        return ["No fish was looked at yet.", *map(other_text, found.decision.others)]
    seen = f"{counted(flukes, 'fluke')}" if flukes else "no fluke"
    when = long_date(rows[0].date)
    looked = f"We looked at {counted(fish, 'fish')} on {when} and found {seen}."
    part = "A sample shows only a small part of the gills and skin."
    return [looked, part, *_there(found, flukes), *map(other_text, found.decision.others)]


def _there(found: Assessment, flukes: int) -> list[str]:
    """What is believed to be on the fish."""
    e = max(found.estimates, key=lambda one: one.probability_infected)
    if not flukes and not any(row.count_low > 0 for row in found.case.samples):
        chance = of_100(e.probability_infected)
        return [f"Flukes are small worms on gills and skin. The chance that your fish have some is {chance}."]
    carry = "have" if e.probability_infected > _SURE else "probably have"
    return [f"Your fish {carry} flukes, small worms: {several(map(_on_each, found.estimates))}."]


def _on_each(e: Estimate) -> str:
    where = {"gill": "the gills", "skin": "the skin"}[load_parasite(e.parasite).site]
    median, low, high = (about(x, 1) for x in (e.mean_abundance.median, e.mean_abundance.low, e.mean_abundance.high))
    span = f"between {low} and {high}" if e.mean_abundance.low >= 1 else f"{high} at the most"
    return f"about {median} on {where} of each fish ({span})"


def _dates(found: Assessment) -> list[str]:
    decision = found.decision
    year = decision.visit_date.year
    said = []
    if decision.action != "dose":
        said += [headline(decision), *(reason_text(reason) for reason in decision.reasons[:1])]
    for dose in decision.plan:
        if dose.trial_date is not None and dose.trial_date < dose.date:
            said.append(f"{say_date(dose.trial_date, year)}: a few fish are treated first; change part of the water.")
        name = "one dose" if dose.of == 1 else f"dose {dose.number} of {dose.of}"
        said.append(
            f"{say_date(dose.date, year)}: {name}, {dose_text(dose)}. Feed nothing from "
            f"{say_date(dose.fast_from, year)} until the bath is over."
        )
    look = decision.look
    if look is not None and look.date > decision.visit_date:
        said.append(f"{say_date(look.date, year)}: we look at the fish again.")
    if decision.release_date is not None and decision.action != "discharge":
        said.append(f"Keep the new fish apart until {say_date(decision.release_date, year)} at the earliest.")
    return said


def _protection(found: Assessment) -> list[str]:
    """With which protection the doses are given; by the veterinarian where nobody wrote it down."""
    agents = dict.fromkeys(dose.agent for dose in found.decision.plan)
    said = [
        f"{named(agent).capitalize()}: {uncapitalised(_untagged(text))}."
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
        "on the "
        "fish. The next dose comes when most of them are on the fish and few have laid eggs, so keep to the dates."
    ]


def _part(found: Assessment) -> list[str]:
    decision = found.decision
    steps = [sentence(gate_text(gate)) for gate in decision.gates if gate.level != "agent"]
    agents = dict.fromkeys(dose.agent for dose in decision.plan)
    steps += [
        f"For each dose of {named(a)}: {uncapitalised(_untagged(text))}."
        for a in agents
        for text in load_agent(a).handling
        if text.kind not in _NOT_FOR_OWNERS
    ]
    return [
        *dict.fromkeys(steps),
        *([_NOT_EATEN] if found.case.food_fish else []),
        "Write down every dead fish and the water temperature, every day, also when none died.",
        "Use nets and buckets of this water nowhere else. Bring in no new fish and give none away.",
        "Put nothing else into the water without asking us.",
    ]


def _untagged(text: str) -> str:
    """Leave out where a caution is from: an owner asks us, not the source."""
    return _SOURCE.sub("", text).rstrip(".")


def _expect(found: Assessment) -> list[str]:
    decision = found.decision
    end = long_date(decision.date_of(decision.recommendation.aim.horizon_days))
    if any(e.deaths_explained is not None and not e.deaths_explained.told for e in found.estimates):
        unknown = "Whether flukes killed the dead fish cannot be told from the records"
        return [f"{unknown}, so we cannot say how many a treatment will save." if decision.plan else f"{unknown}."]
    d = decision.deaths
    if not d:
        return ["In open water flukes come in from outside, so we cannot say what will happen."]
    said = [f"Until {end} we expect flukes to kill {d['flukes_untreated'].whole()} fish if nothing is done."]
    if "flukes_planned" in d and decision.plan:
        said[0] = f"{said[0].rstrip('.')}, and {d['flukes_planned'].whole()} with the doses."
    return [*said, f"Other causes may kill {d['other'].whole()}."]


def record_of(visit: Assessment) -> dict[str, Any]:
    """Return the treatment record: what is known filled in, what is measured on the day left blank."""
    case = visit.case
    weight = case.mean_weight_g
    head = [
        ("Water", f"{case.title or case.name}, {volume(case.water.volume_l.value)}"),
        ("Visit", long_date(case.visit_date)),
        ("Species", several(dict.fromkeys(group.species for group in case.fish))),
        ("Number", str(case.fish_count)),
        ("Mean weight", f"{spread(weight, digits=3)} g"),
        ("Food fish", "yes" if case.food_fish else "no"),
        ("Against", several(named(p) for p in case.parasites)),
    ]
    rows = [
        {
            "date": long_date(planned.date),
            "agent": named(d.agent),
            "route": named(d.route),
            "strength": f"{d.strength_percent:g} %",
            "mg_l": plain(d.mg_l),
            "volume": "____" if d.apart else plain(d.volume_l),
            "amount": f"{weighed(d)} per {volume(d.volume_l)}" if d.apart else weighed(d),
            "hours": plain(d.hours),
        }
        for planned, d in zip(visit.decision.plan, visit.doses, strict=False)
    ]
    return {"head": head, "given": _given(case), "rows": rows, "withdrawal": _withdrawal(visit)}


def _given(case: Case) -> list[dict[str, str]]:
    """Doses given before, as rows of the record; blank where nobody wrote it down."""
    return [
        {
            "date": long_date(one.date),
            "agent": "____" if one.agent in (None, UNKNOWN_AGENT) else named(str(one.agent)),
            "route": "____" if one.route is None else named(one.route),
            "strength": "____" if one.strength_percent is None else f"{one.strength_percent:g} %",
            "batch": one.batch or "____",
            "mg_l": "____" if one.concentration_mg_l is None else plain(one.concentration_mg_l),
            "volume": "____" if one.volume_l_believed is None else plain(one.volume_l_believed),
            "amount": "____",
            "hours": "____" if one.hours is None else plain(one.hours),
        }
        for one in case.doses_given
    ]


def _withdrawal(visit: Assessment) -> str:
    """What holds food fish, given today or before; else that nothing is given today."""
    held = [unnamed_words(visit.case), *(w.words() for w in visit.withdrawals)]
    said = " ".join(f"{words[:1].upper()}{words[1:]}." for words in held if words)
    return said or ("" if visit.decision.plan else "no dose today")

"""What goes out of the practice: a page for the owner in plain words, and the treatment record for the file."""

from __future__ import annotations

from typing import Any

from burden.evidence import load_agent, load_parasite
from burden.inference.estimate import Estimate
from burden.report.formatting import about, long_date, named, of_100, on_day, several, spread, weighed
from burden.report.page.day_book import days_of, short_step
from burden.treatment.withdrawal import unnamed_words
from burden.utils.formatting import plain
from burden.visit import Visit

__all__ = ["owner_page", "record_of"]


def owner_page(visit: Visit) -> list[tuple[str, list[str]]]:
    """Return headings and sentences for the owner."""
    ring = _RING if visit.doses else _RING[:2]
    parts = [
        ("What is the matter", _matter(visit)),
        ("What happens when", _dates(visit)),
        ("Why more than one dose", _why(visit)),
        ("Your part", _part(visit)),
        ("Ring at once", [f"{said};" for said in ring[:-1]] + [f"{ring[-1]}."]),
        ("What nobody can promise", _promise(visit)),
    ]
    return [(heading, sentences) for heading, sentences in parts if sentences]


#: chance of flukes above which the owner is told that they are there: an assumption
_SURE = 0.95
_ELSE = "Most of your dead fish died of something else, which no dose against flukes mends and we have to look for."
_NOT_EATEN = "Nobody eats these fish, and none goes to be eaten, before the licensed veterinarian allows it."
_RING = [
    "when fish gasp at the surface, lie on their side or lose their balance: turn up the air and run in fresh water of "
    "the same temperature while you ring",
    "when more fish die than in the days before",
    "when a dose cannot go in on its date, or went into more or less water than was reckoned with",
]


def _matter(visit: Visit) -> list[str]:
    e = visit.estimates[0]
    sites = several(dict.fromkeys(f"the {load_parasite(p).site}s".replace("skins", "skin")
                                  for p in visit.case.parasites))  # fmt: skip
    fish = len({row.fish for row in visit.case.samples if row.date == visit.case.visit_date})
    looked = (
        f"We looked at {fish} fish; that shows a small part of what is there." if fish else "No fish was looked at."
    )
    if e.probability_infected < 0.5:
        return [looked, "So far flukes, small worms on the fish, are more unlikely than likely."]
    carry = "carry" if e.probability_infected > _SURE else "probably carry"
    return [
        f"Your fish {carry} flukes, small worms on {sites}. {looked} "
        f"We reckon with {several(map(_on_each, visit.estimates))}.",
        *([_ELSE] if e.mostly_else else []),
    ]


def _on_each(e: Estimate) -> str:
    where = {"gill": "the gills", "skin": "the skin"}[load_parasite(e.parasite).site]
    median, low, high = (about(x, 1) for x in (e.mean_abundance.median, e.mean_abundance.low, e.mean_abundance.high))
    return f"about {median} on {where} of each fish (it may be {low} or {high})"


def _dates(visit: Visit) -> list[str]:
    said = {"sample": "we look at the fish again"}
    dates = [
        f"{day.label}: {said.get(day.kind, day.headline)}." for day in days_of(visit) if day.kind in ("dose", "sample")
    ]
    if visit.withheld_reason is None:
        return dates
    return [f"No dose is put into the water today, because {visit.withheld_reason}.", *dates]


def _why(visit: Visit) -> list[str]:
    if len(visit.doses) < 2 or visit.withheld_reason is not None:
        return []
    if not visit.windows:
        return ["These flukes bear live young, and no dose reaches every one: the next dose is for those it missed."]
    return [
        "The dose kills flukes on the fish, not their eggs. Eggs go on hatching for days and the young settle on the "
        "fish. The next dose comes when many of them are on the fish and few have laid. A date moved is a chance lost."
    ]


def _part(visit: Visit) -> list[str]:
    steps = [short_step(step) for d in dict.fromkeys(d.agent for d in visit.doses) for step in
             load_agent(d).handling]  # fmt: skip
    return [
        # what a filter does is nothing for the owner to do
        *(f"For each dose: {step[0].lower()}{step[1:]}." for step in dict.fromkeys(steps) if not step.startswith("A ")),
        *([_NOT_EATEN] if visit.case.food_fish else []),
        *(f"{note.text}: {note.would_change}." for note in visit.notes if note.kind == "water"),
        "Write down every dead fish and the water temperature, every day, also when none died.",
        "Use nets and buckets of this water nowhere else, bring no new fish, give no fish away.",
        "Put nothing else into the water without asking.",
    ]


def _promise(visit: Visit) -> list[str]:
    f, chosen = visit.forecasts[0], visit.choice.recommended
    end = long_date(on_day(visit.case.visit_date, f.horizon_days))
    if len(visit.forecasts) > 1:  # what every set kills together
        dead = (visit.choice.nothing if f.recommended is None or chosen is None else chosen).deaths
    else:
        dead = (f.recommended or f.untreated).deaths_end
    said = [
        f"Until {end} we reckon with {_fish(dead.median)} dead fish of {visit.case.fish_count}, "
        f"perhaps {_fish(dead.high)}."
    ]
    if f.recommended is not None and chosen is not None:  # of every set together, as the first screen says it
        said.append(
            f"The doses bring the flukes down; that the very last one is gone a year later we expect in "
            f"{of_100(chosen.elimination.mean)} such ponds."
        )
    return said


def _fish(number: float) -> str:
    """Whole fish, two figures: with one, 208 and 231 are the same."""
    return about(round(number))


def record_of(visit: Visit) -> dict[str, Any]:
    """Return the treatment record: what is known filled in, what is measured on the day left blank."""
    case = visit.case
    weight = case.mean_weight_g
    head = [
        ("Water", f"{case.title or case.name}, {about(case.water.volume_l.value, 3)} L"),
        ("Visit", long_date(case.visit_date)),
        ("Species", several(dict.fromkeys(group.species for group in case.fish))),
        ("Number", str(case.fish_count)),
        ("Mean weight", f"{spread(weight, digits=3)} g"),
        ("Food fish", "yes" if case.food_fish else "no"),
        ("Against", several(named(p) for p in case.parasites)),
    ]
    dates = [day.date for day in days_of(visit) if day.kind == "dose"]
    rows = [
        {
            "date": long_date(day),
            "agent": named(d.agent),
            "route": named(d.route),
            "strength": f"{d.strength_percent:g} %",
            "mg_l": plain(d.mg_l),
            "volume": "____" if d.apart else about(d.volume_l, 3),
            "amount": f"{weighed(d)} per {plain(d.volume_l)} L" if d.apart else weighed(d),
            "hours": f"{d.hours:g}",
        }
        for day, d in zip(dates, visit.doses, strict=True)
    ]
    return {"head": head, "rows": rows, "withdrawal": _withdrawal(visit), "withheld": visit.withheld_reason}


def _withdrawal(visit: Visit) -> str:
    """What holds food fish, given today or before; else that nothing is given today."""
    held = [unnamed_words(visit.case), *(w.words() for w in visit.withdrawals)]
    said = " ".join(f"{words[:1].upper()}{words[1:]}." for words in held if words)
    return said or ("" if visit.doses else "no dose today")

"""The treatment record for the file: what is known filled in, what is measured on the day left blank."""

from __future__ import annotations

from typing import Any

from burden.case import UNKNOWN_AGENT, Case
from burden.decision import Assessment
from burden.evidence import FRESH_WATER
from burden.report.formatting import spread, weighed
from burden.report.text.notes import parasite_name
from burden.treatment.withdrawal import unnamed_words
from burden.utils.dates import day_in_words
from burden.utils.formatting import capitalised, exposure, named, plain, several, volume

__all__ = ["record_of"]


#: of a bath in water alone: nothing to weigh, no label
_WATER_ALONE = {"strength": "–", "mg_l": "–", "amount": "water alone"}


def record_of(visit: Assessment) -> dict[str, Any]:
    """Return the treatment record: what is known filled in, what is measured on the day left blank."""
    case = visit.case
    weight = case.mean_weight_g
    head = [
        ("Water", f"{case.title or case.name}, {volume(case.water.volume_l.value)}"),
        ("Visit", day_in_words(case.visit_date)),
        ("Species", several(dict.fromkeys(group.species for group in case.fish))),
        ("Number", plain(case.fish_count, 9)),
        ("Mean weight", f"{spread(weight, digits=3)} g"),
        ("Food fish", "yes" if case.food_fish else "no"),
        *([("Harvest planned", day_in_words(case.harvest_date))] if case.harvest_date is not None else []),
        ("Against", several(map(parasite_name, case.parasites))),
    ]
    rows = [
        {
            "date": day_in_words(planned.date),
            "agent": named(d.agent),
            "route": named(d.route),
            "strength": f"{d.strength_percent:g} %",
            "mg_l": plain(d.mg_l),
            "volume": "____" if d.apart else plain(d.volume_l),
            "amount": f"{weighed(d)} per {volume(d.volume_l)}" if d.apart else weighed(d),
            "hours": exposure(d.hours),
            **(_WATER_ALONE if d.agent == FRESH_WATER else {}),
        }
        for planned, d in zip(visit.decision.plan, visit.doses, strict=False)
    ]
    return {"head": head, "given": _given(case), "rows": rows, "withdrawal": _withdrawal(visit)}


def _given(case: Case) -> list[dict[str, str]]:
    """Doses given before, as rows of the record; blank where nobody wrote it down."""
    return [
        {
            "date": day_in_words(one.date),
            "agent": "____" if one.agent in (None, UNKNOWN_AGENT) else named(str(one.agent)),
            "route": "____" if one.route is None else named(one.route),
            "strength": "____" if one.strength_percent is None else f"{one.strength_percent:g} %",
            "batch": one.batch or "____",
            "mg_l": "____" if one.concentration_mg_l is None else plain(one.concentration_mg_l),
            "volume": "____" if one.volume_l_believed is None else plain(one.volume_l_believed),
            "amount": "____",
            "hours": "____" if one.hours is None else exposure(one.hours),
            **(_WATER_ALONE if one.agent == FRESH_WATER else {}),
        }
        for one in case.doses_given
    ]


def _withdrawal(visit: Assessment) -> str:
    """What holds food fish, given today or before; else that nothing is given today."""
    held = [unnamed_words(visit.case), *(w.words() for w in visit.withdrawals)]
    said = " ".join(f"{capitalised(words)}." for words in held if words)
    return said or ("" if visit.decision.plan else "no dose today")

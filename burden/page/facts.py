"""What the form must know of the evidence: fluke sets, agents, usual species, and the limits of plain numbers."""

from __future__ import annotations

from functools import cache
from math import isfinite
from typing import Any

from burden.evidence import agent_names, load_agent, load_parasite, parasite_names
from burden.io.odd_numbers import rules_as_data
from burden.page.catalogue import texts
from burden.schedule.eligibility import DEFAULT_AGENTS

__all__ = ["form_facts", "sheet_facts"]

#: species most asked about, a tap each; any other is typed: a choice of the page, no list of what is possible
_SPECIES = (
    "koi",
    "common carp",
    "goldfish",
    "rainbow trout",
    "Atlantic salmon",
    "European eel",
    "barramundi",
    "guppies",
)
#: products sold as solutions of many strengths: common practice, no source
_PRODUCTS = ("formalin", "hydrogen_peroxide")


@cache
def form_facts() -> dict[str, Any]:
    """Return choices and limits of the form as plain data."""
    return {
        "parasites": [_parasite(name) for name in parasite_names()],
        "agents": [*DEFAULT_AGENTS, *(name for name in agent_names() if name not in DEFAULT_AGENTS)],
        "usual_agents": list(DEFAULT_AGENTS),
        "strengths": {name: load_agent(name).default_strength_percent for name in _PRODUCTS},
        "species": list(_SPECIES),
        "language": texts()["language"],
    }


@cache
def sheet_facts() -> dict[str, Any]:
    """Return what a form without a program behind it must know besides: limits of numbers, and what looks odd."""
    from burden.io.form_limits import number_limits

    limits = [
        {
            **{"table": table, "key": key, "low": one.low, "above": one.above, "words": one.words()},
            "high": one.high if isfinite(one.high) else None,
        }
        for (table, key), one in number_limits().items()
    ]
    return {"limits": limits, "odd": rules_as_data()}


def _parasite(name: str) -> dict[str, Any]:
    known = load_parasite(name)
    only = known.water[0] if len(known.water) == 1 else None
    return {
        "name": name,
        "words": known.title.split(" (")[0],
        "hosts": list(known.hosts),
        "site": known.site,
        "water": only,
    }

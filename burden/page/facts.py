"""What the form must know of the evidence: fluke sets, agents, usual species, and the limits of plain numbers."""

from __future__ import annotations

from functools import cache
from typing import Any

from burden.evidence import agent_names, load_agent, load_parasite, parasite_names
from burden.page.catalogue import texts
from burden.schedule.eligibility import DEFAULT_AGENTS

__all__ = ["form_facts"]

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
#: limits of single keys, as burden/io/schema.py has them, for the sheet that has no program behind it
_RANGES = (
    (("water", "temperature_c"), -2.5, 40),
    (("water", "ph"), 0, 14),
    (("water", "oxygen_mg_l"), 0, 60),
    (("water", "total_ammonia_n_mg_l"), 0, 500),
    (("water", "nitrite_n_mg_l"), 0, 500),
    (("findings", "haematocrit_percent"), 0, 80),
)


@cache
def form_facts() -> dict[str, Any]:
    """Return choices and limits of the form as plain data."""
    return {
        "parasites": [_parasite(name) for name in parasite_names()],
        "agents": list(agent_names()),
        "usual_agents": list(DEFAULT_AGENTS),
        "strengths": {name: load_agent(name).default_strength_percent for name in _PRODUCTS},
        "species": list(_SPECIES),
        "ranges": [[list(path), low, high] for path, low, high in _RANGES],
        "language": texts()["language"],
    }


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

"""The published sources one visit rests on, each once, with what it was used for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from burden.agentsheet import AgentSheet
from burden.evidence import load_agent, load_parasite, reference
from burden.visit import DEFAULT_AGENTS, Visit

__all__ = ["agents_of", "sources_of"]


def agents_of(visit: Visit) -> tuple[str, ...]:
    """Return the agents a visit considered: those at hand, and those of the doses, each once."""
    at_hand = visit.case.limits.agents or DEFAULT_AGENTS
    return tuple(dict.fromkeys([*(d.agent for d in visit.doses), *at_hand]))


def sources_of(visit: Visit) -> list[dict[str, Any]]:
    """Return key, full reference and use of every source, by key."""
    uses: dict[str, list[str]] = {}
    for parasite in visit.case.parasites:
        _add(uses, load_parasite(parasite).source_keys(), parasite)
    for agent in agents_of(visit):
        _add(uses, _agent_keys(agent), agent)
    _add(uses, _keys_in(note.source for note in visit.notes), "water and fish limits")
    return [{"key": key, "reference": reference(key), "used_for": ", ".join(uses[key])} for key in sorted(uses)]


def _add(uses: dict[str, list[str]], keys: Iterable[str], what: str) -> None:
    for key in keys:
        if what not in uses.setdefault(key, []):
            uses[key].append(what)


def _agent_keys(agent: str) -> list[str]:
    evidence = load_agent(agent)
    # the sheet knows where an agent's words name their sources; its kills and checks are not needed for that
    return AgentSheet(evidence, None, None).source_keys()  # type: ignore[arg-type]


def _keys_in(sentences: Iterable[str]) -> list[str]:
    """Keys of references named in sentences; other words are no keys."""
    found = []
    for word in (w.strip(" ,;()") for sentence in sentences for w in sentence.split()):
        try:
            reference(word)
        except KeyError:
            continue
        found.append(word)
    return found

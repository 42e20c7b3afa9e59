"""The published sources one visit rests on, each once, with what it was used for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from burden.decision import Assessment
from burden.evidence import load_agent, load_parasite, reference
from burden.report.page.cautions import agents_of, cautions_of, cautions_of_others
from burden.report.reference.agent_sheet import AgentSheet
from burden.report.text.day_book import days_of
from burden.report.text.schedule import custom_text

__all__ = ["sources_of"]


def sources_of(visit: Assessment) -> list[dict[str, Any]]:
    """Return key, full reference and use of every source, by key."""
    uses: dict[str, list[str]] = {}
    for parasite in visit.case.parasites:
        evidence = load_parasite(parasite)
        conditions = (figure.conditions for figure in evidence.figures)
        _add(uses, [*evidence.source_keys(), *_keys_in(conditions)], parasite)
    for agent in agents_of(visit):
        _add(uses, _agent_keys(agent), agent)
    _add(uses, _keys_in(note.source for note in visit.notes), "water and fish limits")
    _add(uses, _keys_in(_said(visit)), "cautions and dates")
    return [{"key": key, "reference": reference(key), "used_for": ", ".join(uses[key])} for key in sorted(uses)]


def _said(visit: Assessment) -> Iterator[str]:
    """Everything a page says that names its source by key."""
    yield from (text for _, texts in [*cautions_of(visit), *cautions_of_others(visit)] for text in texts)
    yield from (step for day in days_of(visit) for step in day.steps)
    yield from custom_text(visit.estimates)


def _add(uses: dict[str, list[str]], keys: Iterable[str], what: str) -> None:
    for key in keys:
        if what not in uses.setdefault(key, []):
            uses[key].append(what)


def _agent_keys(agent: str) -> list[str]:
    evidence = load_agent(agent)
    # the sheet knows where an agent's words name their sources; its kills and checks are not needed for that
    return AgentSheet(evidence, None, None).source_keys()  # type: ignore[arg-type]


def _keys_in(sentences: Iterable[str]) -> list[str]:
    """Keys of references named in sentences; other words are no keys.

    Examples
    --------
    >>> _keys_in(["In ponds 30 mg/L worked (rowland2006); sources disagree."])
    ['rowland2006']
    """
    found = []
    for word in re.findall(r"\b[a-z][a-z0-9_]*\b", " ".join(sentences)):
        try:
            reference(word)
        except KeyError:
            continue
        found.append(word)
    return found

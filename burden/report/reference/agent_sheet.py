"""All that is known of one agent on one sheet."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from burden.evidence import FRESH_WATER, Agent, DoseRange, HostGroup, agent_names, load_agent, parasite_names, reference
from burden.report.reference.how_known import how_known, mover_words, movers_of_agent
from burden.report.text.dose import bath_words
from burden.treatment.efficacy_checks import KillTable, PointChecks, check_points, kill_table
from burden.treatment.efficacy_contradiction import Contradiction, efficacy_contradicted
from burden.treatment.published_dose import range_words
from burden.utils.formatting import named
from burden.utils.results import Result
from burden.utils.wording import text_of

__all__ = ["AgentList", "AgentSheet", "agent_list", "agent_sheet"]


@dataclass(frozen=True)
class AgentList(Result):
    """Every agent: how it is given by custom, and what it does not do."""

    agents: tuple[Agent, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"agents": self.rows()}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row an agent."""
        return [
            {
                "name": agent.name,
                "title": agent.title,
                "kind": agent.kind,
                "basis": agent.basis,
                "routes": list(agent.routes),
                "customary_mg_l": agent.customary.mg_l,
                "customary_hours": agent.customary.hours,
                "does_not": list(agent.does_not),
            }
            for agent in self.agents
        ]

    def text(self) -> str:
        """Return the list in words."""
        lines = []
        for row in self.rows():
            lines += [
                f"{row['name']}: {row['title']}",
                f"  customary {bath_words(row['name'], row['customary_mg_l'], row['customary_hours'])}"
                f"{_counted_as(row['name'], row['basis'])}",
                *(f"  {line}" for line in row["does_not"]),
            ]
        return "\n".join(lines)


@dataclass(frozen=True)
class AgentSheet(Result):
    """What an agent is, how it is given, what it kills, who bears it badly, and where all that is from.

    Parameters
    ----------
    agent : Agent
    kills : KillTable
        The customary bath.
    checks : PointChecks
        Every published kill against the model.
    """

    agent: Agent
    kills: KillTable
    checks: PointChecks

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        known = self.agent
        return {
            "agent": self.agent.name,
            "title": self.agent.title,
            "basis": known.basis,
            "customary": asdict(known.customary),
            "ranges": [_told(r) for r in known.ranges],
            "host_groups": [_told(g) for g in known.host_groups],
            "kill": self.kills.as_dict(),
            "checks": self.checks.rows(),
            "values": self._values(),
            "moves_most": [asdict(mover) for mover in movers_of_agent(known)],
            "contradicted": [asdict(found) for found in _contradictions(known)],
            "sources": {key: reference(key) for key in self.source_keys()},
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a form killed."""
        return self.kills.rows()

    def source_keys(self) -> list[str]:
        """Return every reference the sheet rests on."""
        return sorted({*self.agent.source_keys(), *self.agent.told_keys()})

    def text(self) -> str:
        """Return the sheet in words."""
        known = self.agent
        bath = known.customary
        blocks: dict[str, list[str]] = {
            f"{self.agent.title} ({known.kind}){_counted_as(known.name, known.basis)}": [],
            "Given": [
                f"customary {bath_words(known.name, bath.mg_l, bath.hours)}: {bath.text}",
                *(f"{range_words(r, known.name)}: {r.text}" for r in known.ranges),
            ],
            "Hosts": [f"{g.name}: {g.advice}; {g.text}" for g in known.host_groups]
            + ["any other: no data, try on a few fish first"],
            "Cautions": [*known.cautions, *known.handling, *known.does_not, *known.aftercare],
            "Values": [f"{v['name']}: {v['value']} ({v['low']} to {v['high']}) {v['unit']}, {v['how_known']}"
                       for v in self._values()],
            "Trials that speak against it": [*map(_against, _contradictions(known))] or ["none on a set held here"],
            "What moves its kill most (rank correlation)": [mover_words(mover) for mover in movers_of_agent(known)],
            "Sources": [f"{key}: {reference(key)}" for key in self.source_keys()],
        }  # fmt: skip
        words = [line for title, lines in blocks.items() for line in (title, *(f"- {line}" for line in lines))]
        return "\n".join([*words, "", self.kills.text(), "", self.checks.text()])

    def _values(self) -> list[dict[str, Any]]:
        return [
            {"name": v.name, "value": v.value, "low": v.low, "high": v.high, "unit": v.unit, "known": v.known,
             "how_known": how_known(v.known, v.sources), "sources": list(v.sources), "conditions": v.conditions}
            for v in self.agent.values.values()
        ]  # fmt: skip


def _contradictions(agent: Agent) -> tuple[Contradiction, ...]:
    """Return what speaks against an agent, one a parasite set."""
    found = (efficacy_contradicted(agent, name) for name in parasite_names())
    return tuple(one for one in found if one is not None)


def _against(found: Contradiction) -> str:
    level = {"blocks": "not given against", "warns": "given with a warning against"}[found.level]
    return f"{level} {named(found.parasite)}: {text_of(found)}"


def _counted_as(agent: str, basis: str) -> str:
    """What a strength is counted as; of water alone there is none."""
    return "" if agent == FRESH_WATER else f", counted as {basis}"


def agent_list() -> AgentList:
    """Return every agent.

    Examples
    --------
    >>> [row["name"] for row in agent_list().rows()][:2]
    ['albendazole', 'fenbendazole']
    """
    return AgentList(tuple(load_agent(name) for name in agent_names()))


def agent_sheet(agent: Agent, n: int = 500, seed: int = 1) -> AgentSheet:
    """Put together all that is known of an agent.

    Parameters
    ----------
    agent : Agent
        From `burden.evidence.load_agent`.
    n, seed : int
        Draws and seed of its kill.

    Returns
    -------
    AgentSheet

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> "Lepidotrema" in agent_sheet(load_agent("praziquantel"), 100).to_json()
    True
    """
    return AgentSheet(agent, kill_table(agent, n, seed), check_points(agent))


def _told(record: DoseRange | HostGroup) -> dict[str, Any]:
    """A record without what its file does not say."""
    return {key: value for key, value in asdict(record).items() if value is not None}

"""Which agents a plan may have: those whose course failed give way, those given too weak are given in full."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from burden.case import Case
from burden.decision.action import LIKELY
from burden.decision.doses_given import (
    full_doses,
    given_lately,
    held_up,
    last_agents,
    last_dose,
    seen_since,
    weak_doses,
)
from burden.evidence import load_parasite
from burden.inference.estimate_result import Estimate
from burden.inference.kill_record import LEAST_TRIALS, between_looks, kill_records
from burden.schedule.search import LEAST_AGAINST_EGGS

__all__ = ["KILLS_ENOUGH", "agents_to_plan", "chance_weak", "failed_agents", "strays", "usual_doses"]

#: doses of a course where none is customary for the fluke: common practice, no source
_USUAL_DOSES = 3
#: a dose that kills fewer of those it reaches has fallen short: an assumption [-]
KILLS_ENOUGH = 0.7
#: an agent whose course left flukes is changed for another from this chance on that it kills too few: an assumption [-]
_TOO_DOUBTFUL = 0.25


def agents_to_plan(
    case: Case, estimates: Sequence[Estimate], agents: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the agents that a plan may have, and those left out as their course has failed and another serves better.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.
    agents : sequence of str
        Agents that may be given, the one to begin with first.
    """
    if strays(case):
        return (), ()
    in_full = _to_give_in_full(case, estimates, agents)
    if in_full:
        return in_full, ()
    spent = tuple(dict.fromkeys((*failed_agents(case, estimates), *_kill_less(case, estimates))))
    others = tuple(agent for agent in agents if agent not in spent)
    if spent and others == tuple(agents):
        return others, spent  # what failed is not to be given here: whatever follows is another course
    better = any(chance_weak(agent, estimates) < LIKELY for agent in others)
    return (others, spent) if better else (tuple(agents), ())


def _to_give_in_full(case: Case, estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[str, ...]:
    """The agent whose doses so far were all too weak, to be given in full before another is tried; else none.

    Common practice, no source. Not where it likely fails in full too, or another disease may ask for another agent.
    """
    tried = {dose.agent for dose in given_lately(case)}
    full = {dose.agent for dose in full_doses(case)}
    if len(tried) != 1 or tried & full or case.findings.diseases:
        return ()
    return tuple(agent for agent in agents if agent in tried and chance_weak(agent, estimates) < LIKELY)


def failed_agents(case: Case, estimates: Sequence[Estimate]) -> tuple[str, ...]:
    """Agents whose course has failed: flukes were seen after the last dose, and they may well kill too few.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.

    Notes
    -----
    After a whole course the doubt may be less than after part of one; one dose alone may have failed for many reasons,
    and a dose that was too weak has failed for that.
    """
    last = last_dose(case)
    if last is None or not seen_since(case, last):
        return ()
    given = [dose.agent for dose in full_doses(case)]
    usual, held = usual_doses(estimates), held_up(case) and not weak_doses(case)
    doubt = {agent: _TOO_DOUBTFUL if given.count(agent) >= usual else LIKELY for agent in given if agent}
    several = (agent for agent in doubt if given.count(agent) >= LEAST_AGAINST_EGGS)
    return tuple(agent for agent in several if held or chance_weak(agent, estimates) >= doubt[agent])


def _kill_less(case: Case, estimates: Sequence[Estimate]) -> tuple[str, ...]:
    """Agents of the last dose that by the counts around several treatments of years kill fewer than they did."""
    latest = last_agents(case)
    found: set[str | None] = set()
    for e in estimates:
        # to judge them takes seconds, and no fewer tell of a trend
        judged = [doses for _, _, doses in between_looks(case, e.parasite) if {dose.agent for dose in doses} <= latest]
        if len(judged) >= LEAST_TRIALS:
            records = kill_records(case, e.parasite, e.seed)
            found |= {record.agent for record in records if record.verdict == "suspect"} & latest
    return tuple(sorted(agent for agent in found if agent))


def chance_weak(agent: str, estimates: Sequence[Estimate]) -> float:
    """Chance that a dose of an agent kills too few of the adults of a set, the highest over the sets [-]."""
    kills = [e.pond.effects[agent].kill_of("adult") for e in estimates if agent in e.pond.effects]
    return max((float(np.mean(kill < KILLS_ENOUGH)) for kill in kills), default=0.0)


def usual_doses(estimates: Sequence[Estimate]) -> int:
    """Return the most doses of any customary course against the sets found."""
    rows = [row for e in estimates for row in load_parasite(e.parasite).published_intervals]
    return max((row.doses for row in rows), default=_USUAL_DOSES)


def strays(case: Case) -> tuple[str, ...]:
    """Return the parasite sets that do not live in the water of the case."""
    return tuple(name for name in case.parasites if load_parasite(name).stray_in(case.water.medium))

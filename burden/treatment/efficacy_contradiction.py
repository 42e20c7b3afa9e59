"""A published trial that speaks against an agent for one fluke: what the recommendation has to know of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from burden.evidence import Agent, Failure, KillPoint, ParasiteSet, load_agent, load_parasite
from burden.treatment.efficacy import kill
from burden.treatment.efficacy_fit import draw_kill, predict
from burden.treatment.safety_note import SafetyNote
from burden.utils.formatting import named, percent, plain

__all__ = ["Contradiction", "efficacy_contradicted", "efficacy_note"]


#: a bath that kills less than half is no treatment: an assumption
_HALF = 0.5
#: a kill so far below what the same agent does to other flukes contradicts it: an assumption
_SHORTFALL = 0.3
_FLUKES = ("adult", "attached", "juvenile", "mother", "young")
_DRAWS, _SEED = 1000, 20_240_601


@dataclass(frozen=True)
class Contradiction:
    """One trial that speaks against an agent for a parasite set.

    Parameters
    ----------
    agent, parasite : str
    level : {"blocks", "warns"}
        blocks: every fluke of the set that was tried failed; warns: others of the set did not, which belongs at the
        head of the page.
    species, host, setting : str
        Fluke and fish of the trial, "on fish" or "in vitro".
    kill : float or None
        Share killed in the trial; None where the source gives no figure [-].
    expected : float or None
        Median of what the fit without this fluke says of the trial; None where the trial has no figure [-].
    mg_l, hours : tuple of float or None
        Lowest and highest; None where the source does not say [mg/L], [h].
    kills_half : float
        Chance that the customary bath kills at least half of the adults of the set [-].
    stronger : tuple of (float, float) or None
        The weakest bath of the same source that killed at least half of the same fluke, and its kill; None where it has
        none [mg/L], [-].
    finding : str
        What was done or found, in the words of the evidence.
    sources : tuple of str
        Reference keys.
    """

    agent: str
    parasite: str
    level: Literal["blocks", "warns"]
    species: str
    host: str
    setting: str
    kill: float | None
    expected: float | None
    mg_l: tuple[float, float] | None
    hours: tuple[float, float] | None
    kills_half: float
    finding: str
    sources: tuple[str, ...]
    stronger: tuple[float, float] | None = None


def efficacy_contradicted(agent: str | Agent, parasite: str | ParasiteSet) -> Contradiction | None:
    """Return the weightiest trial that speaks against an agent for the flukes of a set; None where there is none.

    Parameters
    ----------
    agent : str or Agent
    parasite : str or ParasiteSet

    Returns
    -------
    Contradiction or None

    Notes
    -----
    A trial contradicts where its fluke stands in the set and either its source says that the agent failed, or less than
    half died and the fit that does not see this fluke expects at least 30 points of percent more.

    Examples
    --------
    >>> found = efficacy_contradicted("praziquantel", "sparicotyle")
    >>> found.level, found.kill, found.sources
    ('blocks', 0.1, ('sitja2006',))
    >>> efficacy_contradicted("praziquantel", "dactylogyrus") is None
    True
    """
    return _contradicted(
        agent if isinstance(agent, str) else agent.name, parasite if isinstance(parasite, str) else parasite.name
    )


@lru_cache(maxsize=256)
def _contradicted(agent_name: str, parasite_name: str) -> Contradiction | None:
    agent, parasite = load_agent(agent_name), load_parasite(parasite_name)
    failed = (failure for failure in agent.failures if failure.species in parasite.species)
    against: list[KillPoint | Failure] = [*_low_kills(agent, parasite), *failed]
    if not against:
        return None
    draws = draw_kill(agent, _DRAWS, _SEED, parasite)
    kills_half = float(np.mean(kill(draws, "adult", agent.customary.mg_l, agent.customary.hours) >= _HALF))
    tried = {p.species for p in agent.kill_points if p.species in parasite.species} | {a.species for a in against}
    blocks = tried == {a.species for a in against}
    worst = min(against, key=lambda a: a.kill if isinstance(a, KillPoint) else 1.0)
    return _of(agent, parasite, worst, "blocks" if blocks else "warns", kills_half)


def _low_kills(agent: Agent, parasite: ParasiteSet) -> Iterator[KillPoint]:
    for point in agent.kill_points:
        low = point.relation != "at_least" and point.kill < _HALF and point.form in _FLUKES
        if low and point.species in parasite.species and _expected(agent, point) > point.kill + _SHORTFALL:
            yield point


def _expected(agent: Agent, point: KillPoint) -> float:
    """Median kill of the fit that sees no point of this fluke [-]."""
    fluke = tuple(p for p in agent.kill_points if p.species == point.species)
    return float(np.median(predict(agent, point, fluke, _DRAWS)))


def _of(
    agent: Agent,
    parasite: ParasiteSet,
    trial: KillPoint | Failure,
    level: Literal["blocks", "warns"],
    kills_half: float,
) -> Contradiction:
    return Contradiction(
        agent=agent.name,
        parasite=parasite.name,
        level=level,
        species=trial.species,
        host=trial.host,
        setting=trial.setting,
        kill=trial.kill if isinstance(trial, KillPoint) else None,
        expected=_expected(agent, trial) if isinstance(trial, KillPoint) else None,
        mg_l=(trial.mg_l, trial.mg_l) if isinstance(trial, KillPoint) else trial.mg_l,
        hours=trial.hours,
        kills_half=kills_half,
        finding=trial.conditions if isinstance(trial, KillPoint) else trial.text,
        sources=trial.sources,
        stronger=_stronger(agent, trial),
    )


def _stronger(agent: Agent, trial: KillPoint | Failure) -> tuple[float, float] | None:
    """Return the weakest stronger bath of the same source that did kill, lest a prohibition go too far."""
    if not isinstance(trial, KillPoint):
        return None
    same = (
        p
        for p in agent.kill_points
        if (p.sources, p.species, p.setting, p.form) == (trial.sources, trial.species, trial.setting, trial.form)
    )
    return min(((p.mg_l, p.kill) for p in same if p.mg_l > trial.mg_l and p.kill >= _HALF), default=None)


def efficacy_note(against: Contradiction) -> SafetyNote:
    """Say that a published trial of this agent on this fluke failed.

    Parameters
    ----------
    against : Contradiction

    Returns
    -------
    SafetyNote
        Withholds the agent where every fluke of the set that was tried failed.
    """
    tried = f"a trial on {against.host}" if against.setting == "on fish" else "a trial in the dish, not on fish"
    found = f"{_at_which_strength(against)}in {tried}: {against.finding.rstrip('.')}"
    agent, fluke = named(against.agent), named(against.parasite)
    if against.level == "blocks" and against.stronger is not None:
        mg_l, kill = against.stronger
        killed = "all" if kill >= 1 else percent(kill)
        return SafetyNote(
            "withhold",
            f"Do not use the usual bath of {agent} against {fluke}",
            f"it failed {found}; {plain(mg_l)} mg/L killed {killed} in the same trial",
            f"a few of these fish that bear a bath as strong as {plain(mg_l)} mg/L, and a count after it",
            ", ".join(against.sources),
            "withhold",
            "efficacy_contradicted",
        )
    if against.level == "blocks":
        return SafetyNote(
            "withhold",
            f"Do not use {agent} against {fluke}",
            f"it failed {found}",
            "a trial in which it worked on this fluke",
            ", ".join(against.sources),
            "withhold",
            "efficacy_contradicted",
        )
    return SafetyNote(
        "caution",
        f"Do not count on {agent} against every {fluke}",
        f"it failed on {against.species} {found}",
        "the species of the fluke, told under the microscope",
        ", ".join(against.sources),
        "danger",
        "efficacy_doubtful",
    )


def _at_which_strength(against: Contradiction) -> str:
    """Write how strong the bath was that failed, and what it killed."""
    if against.kill is None:
        return ""
    strength = "" if against.mg_l is None else f"at {plain(against.mg_l[0])} mg/L "
    return f"{strength}({percent(against.kill)} killed) "

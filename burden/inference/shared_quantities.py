"""What ponds of a group may share: a normal score and a value of every draw, by code."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.special import ndtri

from burden.evidence import load_agent, load_parasite
from burden.inference.estimate_result import Estimate
from burden.inference.history import START_STREAM, abundance_at
from burden.inference.looks_on_record import is_read, rows_of
from burden.inference.observation_parameters import assumed_method, share_factor
from burden.treatment.efficacy import kill
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.random_streams import steered

__all__ = ["shared_of", "value_at"]

#: quantities of a parasite set that ponds of a group share in part
_OF_THE_FLUKE = ("aggregation", "reproduction_number")
#: prior draws by which a kill is put into its rank
_KILL_DRAWS, _KILL_SEED = 4000, 20261


def shared_of(found: Estimate) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Score and value of everything that ponds may share, by code; what a case overrides is its own."""
    case, evidence = found.case, found.pond.setting.parameters.evidence
    believed = load_parasite(found.parasite).values
    scores, values = {}, {}
    # ponds that are alike are so in how many flukes they had, too: were that left out, a group with many flukes would
    # be read as one whose clips show much
    if not case.arrivals and "abundance" not in evidence.overridden:
        scores["abundance_per_gram"] = ndtri(found.ranks[START_STREAM])
        values["abundance_per_gram"] = abundance_at(found.ranks[START_STREAM], believed["abundance"])
    for code in _OF_THE_FLUKE:
        if code in believed and evidence.values[code] == believed[code]:
            scores[code] = ndtri(found.ranks[f"{evidence.name}{code}"])
            values[code] = found.pond.setting.parameters[code]
    rows = [row for row in rows_of(case, found.parasite) if is_read(case, found.parasite, row)]
    for method in sorted({method for row in rows if (method := assumed_method(row)) is not None}):
        scores[f"share_seen_{method}"] = ndtri(found.ranks[share_factor(method).name])
        values[f"share_seen_{method}"] = found.seen.share_factor[method]
    agents = {str(a.agent) for a in case.given if a.action == "dose" and f"kill:{a.agent}" in found.ranks}
    for agent in sorted(agents):
        killed = _kill_at_customary(agent, found)
        scores[f"kill_{agent}"] = _kill_score(agent, found.parasite, killed)
        values[f"kill_{agent}"] = killed
    return scores, values


def _kill_at_customary(agent: str, found: Estimate) -> np.ndarray:
    """Share of the adults that one customary bath kills, as the draws of an estimate have it, shape (N,) [-]."""
    with steered(found.draws, found.seed, found.ranks):
        draws = draw_kill(load_agent(agent), found.draws, found.seed, load_parasite(found.parasite))
    return kill(draws, "adult", draws.customary_mg_l, draws.customary_hours)


@cache
def _kills_believed(agent: str, parasite: str) -> np.ndarray:
    """The same beforehand, by rising share."""
    draws = draw_kill(load_agent(agent), _KILL_DRAWS, _KILL_SEED, load_parasite(parasite))
    return np.sort(kill(draws, "adult", draws.customary_mg_l, draws.customary_hours))


def _kill_score(agent: str, parasite: str, killed: np.ndarray) -> np.ndarray:
    believed = _kills_believed(agent, parasite)
    place = 0.5 * (np.searchsorted(believed, killed, "left") + np.searchsorted(believed, killed, "right"))
    return np.asarray(ndtri((place + 0.5) / (believed.size + 1)))


def value_at(code: str, parasite: str, rank: np.ndarray) -> np.ndarray:
    """Value of a shared quantity at ranks of what is believed beforehand."""
    if code.startswith("kill_"):
        return np.quantile(_kills_believed(code.removeprefix("kill_"), parasite), rank)
    if code.startswith("share_seen_"):
        return share_factor(code.removeprefix("share_seen_")).quantile(rank)
    believed = load_parasite(parasite).values
    if code == "abundance_per_gram":
        return abundance_at(rank, believed["abundance"])
    return believed[code].quantile(rank)

"""How each figure is known, in words, and which assumption moves the decision of a default case most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from burden.evidence import Agent, ParasiteSet, load_agent, reference_record
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import Surroundings, establishment_for, rates_at
from burden.model.lifecycle.stable_stages import growth_rate
from burden.model.lifecycle.viviparous import growth_rate as live_growth_rate
from burden.model.temperature import Temperature
from burden.model.windows import windows_after
from burden.treatment.efficacy import attached_kill
from burden.treatment.efficacy_fit import draw_kill, pool

__all__ = ["DEFAULT_C", "Mover", "how_known", "mover_words", "movers_of_agent", "movers_of_set"]

#: the default case: water of 20 °C with a koi pond's density, and the customary bath
DEFAULT_C = 20.0
_FISH_PER_M3 = 2.0
_SHOWN = 5
_NOISE = 0.15  # three standard errors of a rank correlation over the draws
_SEEN = {
    "page": "read in full",
    "abstract": "read in an abstract",
    "secondary": "read in another text that quotes it",
    "data": "computed from open data",
    "nothing": "from memory",
}
_KNOWN = {
    "computed": "computed from published figures",
    "memory": "from memory",
    "common practice": "common practice, no source",
    "assumption": "assumption",
}


def how_known(known: str, sources: Sequence[str]) -> str:
    """Say how a figure is known: read in full, in an abstract, second-hand, computed, from memory or assumed.

    Examples
    --------
    >>> how_known("read", ["zhang2015"]), how_known("assumption", [])
    ('read in an abstract', 'assumption')
    """
    if known != "read":
        return _KNOWN[known]
    seen = {reference_record(key).seen for key in sources}
    return next(_SEEN[kind] for kind in ("page", "abstract", "data", "secondary", "nothing") if kind in seen)


@dataclass(frozen=True)
class Mover:
    """One uncertain value and how strongly it moves an answer of the default case.

    Parameters
    ----------
    value, known : str
        Its name, and a key of `burden.evidence.KNOWN`.
    answer : str
        What it moves, a code.
    correlation : float
        Rank correlation between the value and the answer over the draws, −1 to 1 [-].
    """

    value: str
    known: str
    answer: str
    correlation: float


_ANSWERS = {
    "growth": "how fast flukes multiply",
    "longest_safe_gap": "the longest gap between doses",
    "last_dose_not_before": "the day of the last dose",
    "kill": "the kill of the usual bath",
}


def mover_words(mover: Mover) -> str:
    """Say one mover in words."""
    what = mover.value.replace("_", " ")
    return f"{what} ({_KNOWN.get(mover.known, mover.known)}) moves {_ANSWERS[mover.answer]}: {mover.correlation:+.2f}"


def movers_of_set(evidence: ParasiteSet, n: int = 400, seed: int = 1) -> tuple[Mover, ...]:
    """Rank the values of a set by how strongly they move the windows and the growth of the default case.

    Parameters
    ----------
    evidence : ParasiteSet
    n, seed : int
    """
    parameters = draw_parameters(evidence, n, seed)
    return _strongest(evidence.values, parameters.values, _answers(evidence, parameters, seed))


def movers_of_agent(agent: Agent, n: int = 2000, seed: int = 1) -> tuple[Mover, ...]:
    """Rank the values of an agent by how strongly they move the kill of its customary bath.

    Parameters
    ----------
    agent : Agent
    n, seed : int
    """
    drawn = pool(agent).picked(f"movers:{agent.name}", n, seed)
    bath = agent.customary
    killed = attached_kill(drawn.draws, bath.mg_l, bath.hours)
    values = {
        "hazard_per_hour": drawn.draws.hazard_per_hour,
        "exponent": drawn.draws.exponent,
        "refractory_share": drawn.draws.refractory_share,
        "sheltered_fraction": drawn.draws.sheltered_fraction,
        "attached_juvenile_share": drawn.draws.attached_juvenile_share,
        "sheltered_kill": drawn.draws.at_customary["juvenile_sheltered"],
    }
    return _strongest(agent.values, values, {"kill": killed})


def _answers(evidence: ParasiteSet, parameters: Parameters, seed: int) -> dict[str, np.ndarray]:
    around = Surroundings(np.full(parameters.size, _FISH_PER_M3))
    if not evidence.lays_eggs:
        return {"growth": live_growth_rate(rates_at(parameters, DEFAULT_C, around))}
    settled = establishment_for(parameters, _FISH_PER_M3)
    found = {"growth": growth_rate(settled, DEFAULT_C, around)}
    if evidence.refusal("windows") is None:
        shelter = draw_kill(load_agent("praziquantel"), parameters.size, seed, evidence).sheltered_fraction
        windows = windows_after(parameters, shelter, Temperature.constant(DEFAULT_C))
        found |= {"longest_safe_gap": windows.longest_safe_gap, "last_dose_not_before": windows.last_dose_not_before}
    return found


def _strongest(
    known: Mapping[str, object], values: Mapping[str, np.ndarray], answers: Mapping[str, np.ndarray]
) -> tuple[Mover, ...]:
    """The few strongest of all pairs, each value once."""
    found = []
    for name in values.keys() & known.keys():
        pairs = {answer: _rank_correlation(values[name], of) for answer, of in answers.items()}
        answer = max(pairs, key=lambda key: abs(pairs[key]))
        if abs(pairs[answer]) >= _NOISE:
            found.append(Mover(name, str(getattr(known[name], "known", "")), answer, round(pairs[answer], 2)))
    return tuple(sorted(found, key=lambda mover: (-abs(mover.correlation), mover.value))[:_SHOWN])


def _rank_correlation(one: np.ndarray, other: np.ndarray) -> float:
    """Spearman's rank correlation; 0 where either does not vary or is not finite in most draws."""
    both = np.isfinite(one) & np.isfinite(other)
    if both.sum() < 20 or np.ptp(one[both]) == 0 or np.ptp(other[both]) == 0:
        return 0.0
    first, second = (np.argsort(np.argsort(x[both])).astype(float) for x in (one, other))
    return float(np.corrcoef(first, second)[0, 1])

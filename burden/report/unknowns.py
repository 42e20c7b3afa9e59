"""Which of the unknowns the answer hangs on: rank correlation of every drawn number with the outcome."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from burden.report.words import named
from burden.visit import Visit

__all__ = ["Unknown", "distinct_draws", "unknowns_of"]

_MOST = 5
_NOISE = 2.0  # standard errors a correlation must pass before it is named


@dataclass(frozen=True)
class Unknown:
    """A number the outcome hangs on.

    Parameters
    ----------
    name : str
        In words.
    correlation : float
        Spearman's, with flukes per fish at the horizon [-].
    known : str
        How it is known.
    """

    name: str
    correlation: float
    known: str


def unknowns_of(visit: Visit) -> tuple[tuple[Unknown, ...], float]:
    """Return the unknowns that matter most, and the least correlation that chance does not give.

    Parameters
    ----------
    visit : Visit

    Returns
    -------
    tuple of Unknown, float
        By falling strength; empty where the draws are too few to tell.
    """
    forecast, found = visit.forecasts[0], visit.estimates[0]
    course = forecast.recommended or forecast.untreated
    least = _NOISE / np.sqrt(max(distinct_draws(visit), 4))
    evidence = found.pond.setting.parameters.evidence
    unknowns = []
    for name, values in _drawn(visit).items():
        rho = _spearman(values, course.end)
        if abs(rho) > least:
            value = evidence.values.get(name)
            unknowns.append(Unknown(_WORDS.get(name, named(name)), rho, value.known if value else "of this case"))
    return tuple(sorted(unknowns, key=lambda u: -abs(u.correlation))[:_MOST]), float(least)


def distinct_draws(visit: Visit) -> float:
    """Draws the answer is worth: copies of one pond count once."""
    found = visit.estimates[0]
    return min(float(np.unique(found.pond.setting.volume_m3).size), found.effective_draws, float(found.draws))


_WORDS = {
    "reproduction_number": "reproduction number R0",
    "burden_scale": "burden at which laying halves",
    "resistance_half_burden": "burden that half saturates resistance",
    "resistance_gain_degree_days": "heat needed to gain resistance",
    "aggregation": "aggregation k",
    "part_shape": "clumping of a part-count",
    "abundance": "prior mean abundance",
    "hazard_per_burden": "deaths per fluke/g",
    "background_hazard": "deaths without flukes",
    "flukes now": "flukes on the fish today",
    "resistance now": "resistance of the fish today",
}
_NOT_OF_THE_COURSE = {"abundance", "detection_per_fluke", "establishment"}


def _drawn(visit: Visit) -> Mapping[str, np.ndarray]:
    """Every number drawn that can move the course, by name, shape (M,) each."""
    found = visit.estimates[0]
    pond, state = found.pond, found.state
    numbers = {n: v for n, v in pond.setting.parameters.values.items() if n not in _NOT_OF_THE_COURSE}
    numbers["flukes now"] = sum(chain.sum((0, 1)) for chain in state.fish.values())
    numbers["resistance now"] = state.resistance
    numbers["volume of the water"] = pond.setting.volume_m3
    if pond.setting.temperature.drift_c is not None:
        numbers["warmth of the weeks ahead"] = pond.setting.temperature.drift_c
    for agent in dict.fromkeys(d.agent for d in visit.doses):
        effect = pond.effects[agent]
        forms = {form.name for form in pond.setting.cycle.forms} & set(effect.by_form)
        shares = {form: effect.by_form[form] for form in ("adult", "mother", "juvenile", "young") if form in forms}
        for i, (form, share) in enumerate(shares.items()):
            # one number drawn for several forms is one unknown
            if not any(np.array_equal(share, other) for other in list(shares.values())[:i]):
                numbers[f"share of {_plural(form)} that {agent} kills"] = share
        numbers[f"share of juvenile life sheltered from {agent}"] = effect.sheltered_fraction
    return {n: np.asarray(v) for n, v in numbers.items() if np.shape(v) == (found.draws,)}


def _plural(form: str) -> str:
    return "young" if form == "young" else f"{form}s"


def _spearman(x: np.ndarray, y: np.ndarray) -> float:
    from scipy.stats import rankdata

    if np.ptp(x) == 0 or np.ptp(y) == 0:
        return 0.0
    return float(np.corrcoef(rankdata(x), rankdata(y))[0, 1])

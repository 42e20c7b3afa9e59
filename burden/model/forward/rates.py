"""Rates among so many fish with so much drug in the water, and what is carried between fish and water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from burden.model.forward.state import DrugInWater
from burden.model.lifecycle.parameters import Parameters

__all__ = [
    "carried",
    "mean_over_fish",
    "per_fish",
    "with_density_and_drugs",
]

#: fish times susceptibility below which none is left: one over less would overflow
_SOME = 1e-300


def with_density_and_drugs(
    base: Mapping[str, np.ndarray],
    parameters: Parameters,
    density: np.ndarray,
    drugs: Sequence[DrugInWater],
    day: float,
) -> dict[str, np.ndarray]:
    """Rates of one temperature as they are among so many fish, with what is dissolved in the water."""
    rates = dict(base)
    if "contact" not in rates:
        return rates
    hazard, kill = _drug_effects([drug for drug in drugs if drug.day <= day], day)
    rates["contact"] = parameters["contact_rate"] * density / (parameters["contact_half_density"] + density)
    rates["larva_loss"] = rates["larva_loss"] + hazard
    rates["establishment"] = rates["establishment"] * (1 - kill)
    return rates


def _drug_effects(drugs: Sequence[DrugInWater], day: float) -> tuple[np.ndarray | float, np.ndarray | float]:
    """Death rate of larvae and share of settlers killed by all that is still dissolved."""
    hazard: np.ndarray | float = 0.0
    spared: np.ndarray | float = 1.0
    for drug in drugs:
        left = np.exp(-drug.fade_per_day * (day - drug.day))
        hazard = hazard + drug.larva_hazard * left
        spared = spared * (1 - drug.settler_kill * left)
    return hazard, 1 - spared


def mean_over_fish(by_class: np.ndarray, alive: np.ndarray) -> np.ndarray:
    """Mean over live fish, (G, C, M) -> (M,); 0 where no fish is left."""
    total, count = (by_class * alive).sum((0, 1)), alive.sum((0, 1))
    return np.divide(total, count, out=np.zeros_like(total), where=count > 0)


def carried(source: str, target: str, amount: np.ndarray, uptake: np.ndarray) -> np.ndarray:
    """Turn a flow per fish of susceptibility 1 into one of the whole water, or back."""
    if source == target:
        return amount
    by_group = uptake.sum(1)
    return (amount * by_group).sum(0) if source == "fish" else amount * per_fish(by_group)


def per_fish(by_group: np.ndarray) -> np.ndarray:
    """What a fish of susceptibility 1 takes of all that settles, (G, M) -> (1, M); nothing where no fish is left."""
    whole = by_group.sum(0)
    return np.divide(1.0, whole, out=np.zeros_like(whole), where=whole > _SOME)[None, :]

"""Flukes that nobody told apart: each draw is a pond of one of two kinds and keeps that kind's clock.

Both kinds read the same random streams, those of the set that mixes them, so a draw is as warm, as fast or as fertile
*for its kind* whichever kind it is of, and draws of the first kind are what they were before there was a second.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from burden.evidence import KIND_ODDS_PER_C, KIND_SHARE, ParasiteSet
from burden.model.lifecycle.development import Development
from burden.model.lifecycle.durations import DurationTable
from burden.model.lifecycle.fresh_eggs import FreshEggs
from burden.utils.random_streams import uniform_draws

__all__ = ["KIND", "draw_second_kind", "joined_development", "joined_values"]

#: name of the draws that say which kind a pond is of: 1 the second, 0 the first [-]
KIND = "cold_kind"
#: what stands in a kind that has no limit of heat: no water comes near it, and nothing dies of it [°C], [1/d]
_NO_LIMIT = {"heat_from_c": 1000.0, "heat_full_c": 1001.0, "heat_death_rate": 0.0}


def draw_second_kind(evidence: ParasiteSet, n: int, seed: int) -> np.ndarray:
    """Draw which ponds are of the second kind, shape (n,), true where they are.

    Parameters
    ----------
    evidence : ParasiteSet
        With a mixture; how often the second kind comes, and how that changes with the water the flukes were found
        in, is uncertain itself.
    n, seed : int
    """
    stated = evidence.values[KIND_SHARE]
    share, per_c = (evidence.values[name].draw(n, seed, evidence.name) for name in (KIND_SHARE, KIND_ODDS_PER_C))
    found_in_c = None if evidence.mixture is None else evidence.mixture.found_in_c
    warmer = 0.0 if found_in_c is None or stated.temperature_c is None else found_in_c - stated.temperature_c
    odds = share / (1 - share) * per_c**warmer
    return uniform_draws(f"{evidence.name} kind", n, seed) < odds / (1 + odds)


def joined_values(
    first: Mapping[str, np.ndarray], second: Mapping[str, np.ndarray], is_second: np.ndarray
) -> dict[str, np.ndarray]:
    """Values of the kind that each draw is of, shape (M,) each, and `KIND` itself.

    Raises
    ------
    KeyError
        For a value that one kind lacks and that is no limit of heat: a fault of the evidence.
    """
    names = first.keys() | second.keys()
    kinds = [{name: kind[name] if name in kind else _NO_LIMIT[name] for name in names} for kind in (first, second)]
    joined = {name: np.where(is_second, kinds[1][name], kinds[0][name]) for name in sorted(names)}
    return {**joined, KIND: is_second.astype(float)}


def joined_development(first: Development, second: Development, is_second: np.ndarray) -> Development:
    """Development of the kind that each draw is of, M draws.

    Raises
    ------
    ValueError
        Where only one kind has an egg that cold blocks, or success or laying against temperature: a fault of the
        evidence.
    """
    pairs = ((first.fresh, second.fresh), (first.success, second.success), (first.laying, second.laying))
    if any((one is None) != (other is None) for one, other in pairs):
        raise ValueError("kinds of one mixture need the same quantities against temperature")
    return Development(
        _table(first.hatch, second.hatch, is_second),
        _table(first.maturity, second.maturity, is_second),
        _fresh(first.fresh, second.fresh, is_second),
        _grid(first.success, second.success, is_second),
        _grid(first.laying, second.laying, is_second),
    )


def _table(first: DurationTable, second: DurationTable, is_second: np.ndarray) -> DurationTable:
    """Beyond what was measured of either kind is beyond what was measured."""
    measured = (max(first.measured_c[0], second.measured_c[0]), min(first.measured_c[1], second.measured_c[1]))
    rate = np.where(is_second, second.mean_rate, first.mean_rate)
    return DurationTable(rate, np.where(is_second, second.shape, first.shape), measured)


def _fresh(first: FreshEggs | None, second: FreshEggs | None, is_second: np.ndarray) -> FreshEggs | None:
    if first is None or second is None:
        return None
    names = ("rate_at_20", "block_c", "started_q10")
    return FreshEggs(*(np.where(is_second, getattr(second, name), getattr(first, name)) for name in names))


def _grid(first: np.ndarray | None, second: np.ndarray | None, is_second: np.ndarray) -> np.ndarray | None:
    return None if first is None or second is None else np.where(is_second, second, first)

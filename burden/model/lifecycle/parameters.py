"""Everything uncertain about one parasite set, as draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from burden.evidence import ParasiteSet, load_parasite
from burden.model.lifecycle.development import Development, draw_development
from burden.model.lifecycle.fresh_eggs import fit_cold_storage
from burden.model.lifecycle.kinds import draw_second_kind, joined_development, joined_values
from burden.model.lifecycle.viviparous import draw_life_table
from burden.utils.errors import CannotAnswerError

__all__ = ["Parameters", "draw_parameters"]


@dataclass(frozen=True)
class Parameters:
    """M draws of everything uncertain about one parasite set.

    Parameters
    ----------
    evidence : ParasiteSet
        What they were drawn from.
    values : mapping of str to numpy.ndarray
        Each shape (M,), in the unit of its `Value`.
    development : Development or None
        None for live-bearers.
    """

    evidence: ParasiteSet
    values: Mapping[str, np.ndarray]
    development: Development | None

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]

    @property
    def of_eggs(self) -> Development:
        """Development of a set that lays eggs.

        Raises
        ------
        CannotAnswerError
            For a live-bearer, which has no eggs: ask `development` first.
        """
        if self.development is None:
            raise CannotAnswerError(f"{self.evidence.name} bears live young: there are no eggs to wait for")
        return self.development

    @property
    def size(self) -> int:
        """Number of draws."""
        return next(iter(self.values.values())).size

    def take(self, draws: np.ndarray) -> Parameters:
        """Return the draws at some positions, in their order, repeats allowed."""
        values = {name: array[draws] for name, array in self.values.items()}
        development = None if self.development is None else self.development.take(draws)
        return Parameters(self.evidence, MappingProxyType(values), development)

    def replaced(self, **values: np.ndarray | float) -> Parameters:
        """Return the draws with some values replaced; a number stands for every draw."""
        full = {name: np.broadcast_to(np.asarray(v, float), (self.size,)) for name, v in values.items()}
        return replace(self, values=MappingProxyType({**self.values, **full}))


def draw_parameters(parasite: str | ParasiteSet, n: int, seed: int) -> Parameters:
    """Draw `n` parameter sets of a parasite set.

    Parameters
    ----------
    parasite : str or ParasiteSet
        Name of a set, or its evidence with a case's overrides.
    n, seed : int
        Number of draws and seed; the first draws stay the same when `n` grows. Of flukes that nobody told apart each
        draw is of one kind.
    """
    evidence = load_parasite(parasite) if isinstance(parasite, str) else parasite
    if evidence.mixture is None:
        return _draw_kind(evidence, n, seed)
    is_second = draw_second_kind(evidence, n, seed)
    first, second = (_draw_kind(kind, n, seed) for kind in evidence.mixture.kinds.values())
    development = joined_development(first.of_eggs, second.of_eggs, is_second) if evidence.lays_eggs else None
    return Parameters(evidence, MappingProxyType(joined_values(first.values, second.values, is_second)), development)


def _draw_kind(evidence: ParasiteSet, n: int, seed: int) -> Parameters:
    values = {name: value.draw(n, seed, evidence.name) for name, value in evidence.values.items()}
    development = draw_development(evidence, n, seed) if evidence.lays_eggs else None
    if any(point.quantity == "fluke_life_days" for point in evidence.points):
        values |= draw_life_table(evidence, n, seed)
    if "chill_factor" in values:
        values["chill_days"] = fit_cold_storage(evidence)[0] * values["chill_factor"]
    return Parameters(evidence, MappingProxyType(values), development)

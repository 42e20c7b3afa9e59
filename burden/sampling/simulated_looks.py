"""Looks at fish of many ponds at once: what they show, and how likely each pond makes what was shown.

Fish that show the same counts are read once, whatever pond they are from, so that thousands of looks cost little.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from burden.case import Preparation
from burden.inference.observation import log_likelihood_of_fish
from burden.inference.observation_parameters import ObservationParameters, shown
from burden.inference.picked_fish import rates_of_chosen
from burden.inference.prior import Ensemble
from burden.statistics import part_count_size

__all__ = ["Looks", "Shown"]

#: whole-site count that the average over fish is to resolve [flukes]
_FINE = 64.0
#: counts above this are read to about a tenth, as much as clumping leaves of their worth
_EXACT_UP_TO, _STEP = 12, 0.1
_LEAST = 1e-290


@dataclass(frozen=True)
class Shown:
    """What fish of several looks showed, fish that showed the same together.

    Parameters
    ----------
    kinds : numpy.ndarray
        Counts of the preparations of one fish, rising, each kind once, shape (K, preparations).
    kind_of : numpy.ndarray
        Which kind each fish is, shape (looks, fish).
    """

    kinds: np.ndarray
    kind_of: np.ndarray

    @classmethod
    def of(cls, counts: np.ndarray) -> Shown:
        """Sort fish by what they showed, from counts of shape (looks, fish, preparations)."""
        kinds, which = np.unique(np.sort(counts, -1).reshape(-1, counts.shape[-1]), axis=0, return_inverse=True)
        return cls(kinds, which.reshape(counts.shape[:2]))

    def tally(self, fish: int) -> np.ndarray:
        """Return how many of the first so many fish are of each kind, shape (looks, K)."""
        found = np.zeros((len(self.kind_of), len(self.kinds)))
        np.add.at(found, (np.arange(len(found))[:, None], self.kind_of[:, :fish]), 1.0)
        return found


@dataclass(frozen=True)
class Looks:
    """How fish of M ponds are looked at.

    Parameters
    ----------
    pond : Ensemble
    seen : ObservationParameters
    row : Preparation
        One preparation: its site, its method and what it shows; the fish are netted at random.
    preparations : int
        Of each fish.
    """

    pond: Ensemble
    seen: ObservationParameters
    row: Preparation
    preparations: int

    @cached_property
    def _weight_g(self) -> np.ndarray:
        return self.pond.setting.fish.weight_g.mean(0)

    @property
    def _k(self) -> np.ndarray:
        return self.pond.setting.parameters["aggregation"]

    @property
    def _home(self) -> str:
        return self.pond.setting.parameters.evidence.site

    def counts(self, burden: np.ndarray, ponds: np.ndarray, fish: int, rng: np.random.Generator) -> np.ndarray:
        """Draw what the preparations of fish show, shape (looks, fish, preparations).

        Parameters
        ----------
        burden : numpy.ndarray
            Of the pond of each look, shape (looks,) [flukes per fish].
        ponds : numpy.ndarray
            Place of that pond, shape (looks,).
        fish : int
        rng : numpy.random.Generator
        """
        here, share = (x[ponds, None, None] for x in shown(self.row, self.seen, self._home, self._weight_g))
        k, clump = self._k[ponds, None, None], part_count_size(share, self.seen.part_shape[ponds, None, None])
        rate = rng.gamma(np.broadcast_to(k, (ponds.size, fish, 1))) * burden[:, None, None] / k
        clumped = rng.gamma(np.broadcast_to(clump, (ponds.size, fish, self.preparations))) / clump
        return _legible(rng.poisson(rate * here * share * self.seen.detection[ponds, None, None] * clumped))

    def log_likelihood(self, burden: np.ndarray, kinds: np.ndarray) -> np.ndarray:
        """Log-likelihood of one fish of each kind in each pond, shape (K, M).

        Parameters
        ----------
        burden : numpy.ndarray
            Of each pond, shape (M,) [flukes per fish].
        kinds : numpy.ndarray
            Shape (K, preparations).

        Notes
        -----
        As `burden.inference.observation.log_likelihood_of_samples` has it: preparations of one fish are independent
        given its rate, which is averaged over fish by quadrature. The chance of each count at each rate is worked out
        once.
        """
        rate, log_weight = rates_of_chosen(self.row.chosen, np.maximum(burden, 1e-9), self._k, self.seen, _FINE, {})
        weight, chance = np.exp(log_weight), self._chances(rate, kinds)
        found = [np.log(np.maximum((weight * np.prod([chance[n] for n in kind], 0)).sum(0), _LEAST)) for kind in kinds]
        return np.array(found)

    def _chances(self, rate: np.ndarray, kinds: np.ndarray) -> Mapping[int, np.ndarray]:
        """Chance of each count at each rate of a fish, shape of `rate`, by count."""

        def chance(count: int) -> np.ndarray:
            row = replace(self.row, count_low=count, count_high=count)
            return np.exp(log_likelihood_of_fish([row], rate, self.seen, self._home, self._weight_g))

        return {int(count): chance(int(count)) for count in np.unique(kinds)}


def _legible(counts: np.ndarray) -> np.ndarray:
    """Round large counts to steps of about a tenth."""
    steps = np.round(np.log(np.maximum(counts, 1)) / _STEP) * _STEP
    return np.where(counts > _EXACT_UP_TO, np.round(np.exp(steps)), counts).astype(int)

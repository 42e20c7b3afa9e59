"""What members of a group have in common: each one's weighted draws, weighed again by what the others say.

A quantity of a member is a normal score, standard normal before anything was seen. Of a group the scores are taken as
exchangeable: normal about a common mean μ with variance 1 − ρ, and μ normal with variance ρ. Whatever ρ is, a member by
itself keeps the standard normal it had; ρ is the share of what is not known that all have in common, and is learned.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

__all__ = ["ALIKE", "Exchangeable", "pool_scores"]

#: shares in common that are tried, each as likely as the others beforehand: an assumption. Never all: members differ
ALIKE = np.linspace(0.025, 0.925, 19)
_SWEEPS, _FIRST = 2000, 200


@dataclass(frozen=True)
class Exchangeable:
    """A group of J members with N draws each of Q scores, after all of them were seen.

    Parameters
    ----------
    weight : numpy.ndarray
        Of each draw given the whole group, rows summing to 1, shape (J, N).
    mean : numpy.ndarray
        Draws of the common mean of each score, shape (S, Q).
    alike : numpy.ndarray
        Draws of the share in common, shape (S, Q) [-].
    """

    weight: np.ndarray
    mean: np.ndarray
    alike: np.ndarray

    @property
    def worth(self) -> np.ndarray:
        """Share of its draws that each member's weighted ones are worth (Kish), shape (J,) [-]."""
        return np.asarray(1 / (self.weight.shape[1] * (self.weight**2).sum(1)))


def pool_scores(scores: np.ndarray, seed: int, sweeps: int = _SWEEPS) -> Exchangeable:
    """Weigh the draws of every member by what the whole group says of scores they share.

    Parameters
    ----------
    scores : numpy.ndarray
        Equally weighted draws of each member's own posterior, shape (J, Q, N); NaN throughout where a member does not
        have a score.
    seed : int
    sweeps : int
        Of the sampler, after its first `200`.

    Returns
    -------
    Exchangeable

    Notes
    -----
    Gibbs sampling: of each member one of its draws, given μ and ρ; then ρ on a grid, μ integrated out, and μ. The
    weights are the means over the sweeps of the chances by which draws are picked, not the picks.

    References
    ----------
    Normal hierarchical models: Gelman et al. 2013, Bayesian Data Analysis, chapter 5 (from memory). Weighing one
    study's draws again by another prior over its own: Lunn et al. 2013, Stat Methods Med Res 22:551 (from memory).
    """
    rng = np.random.default_rng([seed, zlib.crc32(b"what a group has in common")])
    there = ~np.isnan(scores[:, :, 0])
    scores = np.where(there[:, :, None], scores, 0.0)
    members, names, draws = scores.shape
    mean, alike = np.zeros(names), np.full(names, 0.5)
    weight, kept = np.zeros((members, draws)), []
    for sweep in range(-_FIRST, sweeps):
        chance = _chances(scores, there, mean, alike)
        picked = (np.cumsum(chance, axis=1) < rng.random((members, 1))).sum(1).clip(max=draws - 1)
        at = scores[np.arange(members), :, picked]
        count, total, squares = there.sum(0), at.sum(0), (at**2).sum(0)
        alike = _draw_alike(count, total, squares, rng)
        mean = _draw_mean(count, total, alike, rng)
        if sweep >= 0:
            weight += chance / sweeps
            kept.append((mean, alike))
    return Exchangeable(weight, *(np.array(each) for each in zip(*kept, strict=True)))


def _chances(scores: np.ndarray, there: np.ndarray, mean: np.ndarray, alike: np.ndarray) -> np.ndarray:
    """Chance of each draw of each member given what is in common, rows summing to 1, shape (J, N)."""
    # z²/2 − (z − μ)²/(2(1 − ρ)) but for what is the same for all draws
    straight, square = mean / (1 - alike), 0.5 - 0.5 / (1 - alike)
    log_weight = (there * (straight + square * scores.transpose(2, 0, 1)) * scores.transpose(2, 0, 1)).sum(2).T
    chance = np.exp(log_weight - log_weight.max(1, keepdims=True))
    return np.asarray(chance / chance.sum(1, keepdims=True))


def _draw_alike(n: np.ndarray, total: np.ndarray, squares: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw the share in common of each score, shape (Q,), given number, sum and squares of one value a member.

    The common mean is integrated out.
    """
    rho = ALIKE[:, None]
    wide = 1 - rho + n * rho
    log_density = -0.5 * ((n - 1) * np.log(1 - rho) + np.log(wide) + (squares - rho * total**2 / wide) / (1 - rho))
    chance = np.cumsum(np.exp(log_density - log_density.max(0)), axis=0)
    return np.asarray(ALIKE[(chance < rng.random(n.size) * chance[-1]).sum(0)])


def _draw_mean(n: np.ndarray, total: np.ndarray, alike: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw the common mean of each score given one value a member and the share in common, shape (Q,)."""
    precision = 1 / alike + n / (1 - alike)
    return np.asarray(total / (1 - alike) / precision + rng.standard_normal(n.size) / np.sqrt(precision))

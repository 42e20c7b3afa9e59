"""Adaptive importance sampling on ranks: where to draw next, learned from what fitted so far.

Every uncertain quantity is a quantile at a uniform rank. As a normal score each rank is standard normal before
anything was seen, all of them independent. A proposal moves those scores that the data speak for, jointly, by a
multivariate Student t beside a share of the prior; all others stay where they were. Draws of several rounds are weighed
as if drawn from the mixture of their proposals (Cornuet et al. 2012, Scand J Stat 39:798), by a likelihood that is
tempered at first.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import gammaln, logsumexp, ndtr, ndtri

__all__ = ["Proposal", "Round", "effective_size", "fit_proposal", "log_mixture_weights", "pareto_shape", "tempered"]

#: share of the draws that come from the prior whatever was learned, so that no weight is without a bound
_DEFENSIVE = 0.1
#: degrees of freedom of the Student t: tails heavier than what is looked for
_FREEDOM = 6.0
#: standard errors by which a score's mean or spread, and a correlation of two, must differ from those of the prior
_MOVED, _TIED = 3.0, 4.5
#: most scores moved together, and effective draws there must be for each
_MOST, _DRAWS_EACH = 30, 4.0
#: least standard deviation of a proposal in any direction
_NARROWEST = 0.02
#: scores beyond which nothing is drawn: what fits only there is not believed possible
_FARTHEST = 4.5
#: ranks are kept this far from 0 and 1
_EDGE = 1e-12
#: draws by which the share of a proposal that lies too far out is known
_TRIED = 4000


@dataclass(frozen=True)
class Proposal:
    """A joint law of some normal scores; of none: the prior.

    Parameters
    ----------
    names : tuple of str
        Streams that are moved, D of them.
    centre : numpy.ndarray
        Shape (D,).
    root : numpy.ndarray
        Lower Cholesky root of the scale matrix, shape (D, D).
    outside : float
        Share of the Student t that lies too far out, and is drawn from the prior instead [-].
    """

    names: tuple[str, ...] = ()
    centre: np.ndarray = field(default_factory=lambda: np.zeros(0))
    root: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    outside: float = 0.0

    def draw(self, plain: Mapping[str, np.ndarray], seed: int) -> dict[str, np.ndarray]:
        """Move the plain ranks of the proposal's streams, shape (n,) each.

        Parameters
        ----------
        plain : mapping of str to numpy.ndarray
            Uniform draws of each of `names`, shape (n,).
        seed : int
        """
        if not self.names:
            return {}
        score = ndtri(np.array([plain[name] for name in self.names]))
        rng = np.random.default_rng([seed, zlib.crc32(b"proposal")])
        from_prior = rng.random(score.shape[1]) < _DEFENSIVE
        moved = _student(self.centre, self.root, score, rng)
        from_prior |= (np.abs(moved) > _FARTHEST).any(0)
        ranks = np.clip(ndtr(np.where(from_prior, score, moved)), _EDGE, 1 - _EDGE)
        return dict(zip(self.names, ranks, strict=True))

    def log_ratio(self, ranks: Mapping[str, np.ndarray]) -> np.ndarray | float:
        """Log density of the proposal over that of the prior at some ranks, shape (n,)."""
        if not self.names:
            return 0.0
        score = _normal_scores(ranks, self.names)
        d = len(self.names)
        away = np.linalg.solve(self.root, score - self.centre[:, None])
        student = gammaln((_FREEDOM + d) / 2) - gammaln(_FREEDOM / 2) - 0.5 * d * np.log(_FREEDOM * np.pi)
        student = student - np.log(np.diag(self.root)).sum()
        student = student - 0.5 * (_FREEDOM + d) * np.log1p((away**2).sum(0) / _FREEDOM)
        student = np.where((np.abs(score) > _FARTHEST).any(0), -np.inf, student)
        normal = -0.5 * (score**2).sum(0) - 0.5 * d * np.log(2 * np.pi)
        from_prior = _DEFENSIVE + (1 - _DEFENSIVE) * self.outside
        return np.logaddexp(np.log(from_prior), np.log1p(-_DEFENSIVE) + student - normal)


def _student(centre: np.ndarray, root: np.ndarray, normal: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Multivariate Student t out of independent normal scores, shape (D, n)."""
    stretch = np.sqrt(_FREEDOM / rng.chisquare(_FREEDOM, normal.shape[1]))
    return centre[:, None] + root @ normal * stretch


@dataclass(frozen=True)
class Round:
    """Draws of one proposal: their ranks by stream, and how likely each makes the data, shape (n,) each."""

    proposal: Proposal
    ranks: Mapping[str, np.ndarray]
    log_likelihood: np.ndarray

    @property
    def log_weight(self) -> np.ndarray:
        """Log weight of each draw by this round alone, shape (n,)."""
        return self.log_likelihood - self.proposal.log_ratio(self.ranks)


def _normal_scores(ranks: Mapping[str, np.ndarray], names: Sequence[str]) -> np.ndarray:
    """Ranks of some streams as normal scores, shape (D, n)."""
    return ndtri(np.clip(np.array([ranks[name] for name in names]), _EDGE, 1 - _EDGE))


def effective_size(log_weight: np.ndarray) -> float:
    """Number of equally weighted draws that weighted ones are worth (Kish): (Σw)² / Σw²."""
    weight = np.exp(log_weight - np.max(log_weight))
    return float(weight.sum() ** 2 / (weight**2).sum())


def log_mixture_weights(rounds: Sequence[Round]) -> np.ndarray:
    """Log of prior over the mixture of all proposals at the draws of all rounds, shape (Σn,)."""
    sizes = np.array([r.log_likelihood.size for r in rounds], float)
    share = np.log(sizes / sizes.sum())
    found = []
    for r in rounds:
        each = [np.broadcast_to(other.proposal.log_ratio(r.ranks), r.log_likelihood.shape) for other in rounds]
        found.append(-logsumexp(np.array(each) + share[:, None], axis=0))
    return np.concatenate(found)


def tempered(log_prior: np.ndarray, log_likelihood: np.ndarray, goal: float) -> tuple[float, np.ndarray]:
    """Largest power of the likelihood, at most 1, that leaves so many effective draws; and the log weights by it."""

    def weights(power: float) -> np.ndarray:
        return log_prior + power * log_likelihood

    if effective_size(weights(1.0)) >= goal:
        return 1.0, weights(1.0)
    low, high = -12.0, 0.0  # of the log: even a likelihood of millions is flat at its lower end
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective_size(weights(np.exp(middle))) >= goal else (low, middle)
    return float(np.exp(low)), weights(np.exp(low))


def fit_proposal(ranks: Mapping[str, np.ndarray], log_weight: np.ndarray) -> Proposal:
    """Fit a proposal to weighted draws: which scores moved, to where, and how they hang together.

    Parameters
    ----------
    ranks : mapping of str to numpy.ndarray
        Of every stream, shape (n,) each.
    log_weight : numpy.ndarray
        Shape (n,).
    """
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    effective = 1 / float((weight**2).sum())
    names = tuple(ranks)
    score = _normal_scores(ranks, names)
    moved = _most_moved(score, weight, effective)
    if not moved.size:
        return Proposal()
    kept = score[moved]
    centre = kept @ weight
    apart = kept - centre[:, None]
    # few draws find a spread too small, the more so the more scores there are
    spread = (apart * weight) @ apart.T * (1 + moved.size / effective)
    root = np.linalg.cholesky(spread + _NARROWEST**2 * np.eye(moved.size))
    rng = np.random.default_rng(0)
    far = np.abs(_student(centre, root, rng.standard_normal((moved.size, _TRIED)), rng)) > _FARTHEST
    return Proposal(tuple(names[i] for i in moved), centre, root, float(far.any(0).mean()))


def _most_moved(score: np.ndarray, weight: np.ndarray, effective: float) -> np.ndarray:
    """Places of the scores whose mean, spread or ties to others are not those of the prior, most moved first."""
    mean = score @ weight
    apart = score - mean[:, None]
    together = (apart * weight) @ apart.T
    spread = np.maximum(np.diag(together), 1e-9)
    tie = np.abs(together) / np.sqrt(spread[:, None] * spread)
    np.fill_diagonal(tie, 0)
    root = np.sqrt(effective)
    moved = np.maximum(np.abs(mean), np.abs(np.log(spread)) / np.sqrt(2)) * root / _MOVED
    tied = tie.max(1) * root / _TIED
    found = np.maximum(moved, tied)
    order = np.argsort(-found, kind="stable")
    most = int(min(_MOST, max(effective / _DRAWS_EACH, 1)))
    return order[: min(most, int((found > 1).sum()))]


def pareto_shape(log_weight: np.ndarray) -> float:
    """Shape of the generalised Pareto law of the largest weights [-].

    Notes
    -----
    Above 0.7 an average over the draws is not to be relied on:
    Vehtari et al. (2024, J Mach Learn Res 25:72): of the min(n/5, 3√n) largest weights, by the profile posterior of
    Zhang and Stephens (2009, Technometrics 51:316).
    """
    n = log_weight.size
    tail = int(min(0.2 * n, 3 * np.sqrt(n)))
    if tail < 5:
        return float("inf")
    weight = np.sort(np.exp(log_weight - log_weight.max()))
    beyond = weight[-tail:] - weight[-tail - 1]
    beyond = beyond[beyond > 0]
    return _pareto_shape_of(beyond) if beyond.size >= 5 else float("-inf")


def _pareto_shape_of(x: np.ndarray) -> float:
    """Shape of a generalised Pareto law of rising exceedances, shape (n,)."""
    n, grid = x.size, 30 + int(np.sqrt(x.size))
    quarter = x[int(n / 4 + 0.5) - 1]
    place = 1 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))
    theta = 1 / x[-1] + place / (3 * quarter)
    shape = -np.mean(np.log1p(-theta[:, None] * x), axis=1)
    log_likelihood = n * (np.log(theta / shape) + shape - 1)
    weight = np.exp(log_likelihood - logsumexp(log_likelihood))
    best = float(theta @ weight)
    found = float(np.mean(np.log1p(-best * x)))
    return (n * found + 10 * 0.5) / (n + 10)  # drawn weakly towards 0.5, worth ten exceedances

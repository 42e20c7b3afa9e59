"""Rounds of ponds, each drawn nearer to those that fit what was seen, until enough of them do."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Generic, TypeVar

import numpy as np
from scipy.special import logsumexp

from burden.statistics.adaptive_importance import (
    Proposal,
    Round,
    effective_size,
    fit_proposal,
    log_mixture_weights,
    tempered,
)
from burden.utils.dates import say_date
from burden.utils.errors import CannotAnswerError
from burden.utils.formatting import counted
from burden.utils.random_streams import uniform_draws
from burden.utils.results import CredibleInterval
from burden.utils.safe_text import shown

__all__ = ["ENOUGH", "TOO_FEW", "Effort", "Misfit", "Sampled", "TooFewDrawsError", "require_enough", "sample"]

#: effective draws aimed at, and below which there is no answer
ENOUGH, TOO_FEW = 200.0, 50.0
#: rounds at most, and how much larger than the usual the last of them may be
_ROUNDS, _LARGEST = 18, 4.0
#: effective draws from which the next proposal is learned, and at most which share of all draws
_LEARN_FROM, _LEARN_SHARE = 150.0, 0.25
#: fewer draws than these ask for a rough look
_ROUGH_DRAWS = 80

_T = TypeVar("_T")


@dataclass(frozen=True)
class Misfit:
    """What of a record fits worst the ponds that fit the rest of it best.

    Parameters
    ----------
    day : date
    fish : str
        Of the preparations that fit worst; empty where it is a row of the death log.
    number : int
        Flukes counted on the fish, or deaths.
    expected : CredibleInterval
        What these ponds lead one to expect of the row [deaths]; missing for a fish.
    drop : float
        How much less likely they make it than the pond that fits it best, logarithm [-].
    """

    day: date
    fish: str
    number: int
    expected: CredibleInterval
    drop: float


class TooFewDrawsError(CannotAnswerError):
    """Nothing the model believes possible fits what was seen well enough to stand on."""

    code = "too_few_draws"

    def __init__(self, effective_draws: float, worst: Misfit | None = None) -> None:
        self.effective_draws, self.worst = effective_draws, worst
        super().__init__(
            f"of all the ponds tried only {effective_draws:.0f} fit what was written down, where an answer needs "
            f"{TOO_FEW:.0f}. {self._what_fits_worst()}Look for a slip in counts, dates or doses, or for something the "
            "model does not know. Give no dose until it is found"
        )

    def _what_fits_worst(self) -> str:
        if self.worst is None:
            return ""
        day, number = say_date(self.worst.day), self.worst.number
        if self.worst.fish:
            seen = f"{counted(number, 'fluke')} on fish {shown(self.worst.fish, lines=False)}"
            return f"What fits worst are the preparations of {day}: {seen}. "
        expected = self.worst.expected.whole()
        return (
            f"What fits worst is the death log up to {day}: {counted(number, 'death')}, where {expected} fit the rest. "
        )


@dataclass(frozen=True)
class Effort:
    """Draws of the first round, and of each later one, and effective draws aimed at."""

    pilot: int = 500
    ponds: int = 1500
    enough: float = ENOUGH

    @property
    def least(self) -> float:
        """Effective draws below which there is no answer."""
        return min(TOO_FEW, self.enough / 4)

    @classmethod
    def for_draws(cls, draws: int, past: bool = True) -> Effort:
        """Return the usual effort; less where so few draws are asked for that they are a rough look anyway.

        Examples
        --------
        >>> Effort.for_draws(500) == Effort(), Effort.for_draws(20).ponds
        (True, 600)
        """
        usual = cls() if past else cls(1000, 3000)  # without a past nothing is run
        share = max(min(draws / _ROUGH_DRAWS, 1.0), 0.4)
        return cls(round(share * usual.pilot), round(share * usual.ponds))


@dataclass(frozen=True)
class Sampled(Generic[_T]):
    """Draws of all rounds, by their ranks, and the first round, drawn from the prior.

    Parameters
    ----------
    before : T
        What the first round gave.
    ranks : mapping of str to numpy.ndarray
        Of every stream, shape (N,) each.
    log_prior, log_likelihood : numpy.ndarray
        Prior over what the draws came from, and chance of the data, of each draw, shape (N,) each.
    rounds : int
    """

    before: _T
    ranks: Mapping[str, np.ndarray]
    log_prior: np.ndarray
    log_likelihood: np.ndarray
    rounds: int

    @property
    def log_weight(self) -> np.ndarray:
        """Log weight of each draw, shape (N,)."""
        return self.log_prior + self.log_likelihood

    @property
    def effective_draws(self) -> float:
        """Number of equally weighted draws these are worth."""
        return effective_size(self.log_weight)

    @property
    def log_evidence(self) -> float:
        """Log chance of the data, whatever the draw."""
        return float(logsumexp(self.log_weight) - logsumexp(self.log_prior))

    def at(self, places: np.ndarray) -> dict[str, np.ndarray]:
        """Return the ranks of the draws at some positions."""
        return {name: each[places] for name, each in self.ranks.items()}


def sample(
    draw: Callable[[int, int, Mapping[str, np.ndarray]], tuple[_T, Mapping[str, np.ndarray], np.ndarray]],
    effort: Effort,
    seed: int,
    report: Callable[[int], None],
) -> Sampled[_T]:
    """Draw rounds until all of them together have as many effective draws as were asked for, or no more may be tried.

    Parameters
    ----------
    draw : callable
        (number, seed, ranks of the steered streams) to what was drawn, the ranks of all streams, and log-likelihoods.
    effort : Effort
    seed : int
    report : callable
        Told the number of each round before it.

    Notes
    -----
    The likelihood is raised to the largest power that leaves enough draws to learn from, at the end to the first. Each
    round has a seed of its own, else a proposal would be tried on the very draws it was learned from.
    """
    report(0)
    before, ranks, log_likelihood = draw(effort.pilot, seed, {})
    rounds, size = [Round(Proposal(), ranks, log_likelihood)], effort.ponds
    log_prior = np.zeros(effort.pilot)
    for number in range(1, _ROUNDS + 1):
        proposal, power = _next_proposal(rounds)
        report(number)
        round_seed = seed + 7919 * number
        plain = {name: uniform_draws(name, size, round_seed) for name in proposal.names}
        _, ranks, log_likelihood = draw(size, round_seed, proposal.draw(plain, round_seed))
        rounds.append(Round(proposal, ranks, log_likelihood))
        log_prior, log_likelihood = log_mixture_weights(rounds), _all_likelihoods(rounds)
        worth = effective_size(log_prior + log_likelihood)
        if worth >= effort.enough:
            break
        if power == 1:
            size = int(min(2 * size, _LARGEST * effort.ponds))
    return Sampled(before, _joined(rounds), log_prior, log_likelihood, len(rounds))


def _all_likelihoods(rounds: list[Round]) -> np.ndarray:
    return np.concatenate([r.log_likelihood for r in rounds])


def _joined(rounds: list[Round]) -> dict[str, np.ndarray]:
    return {name: np.concatenate([r.ranks[name] for r in rounds]) for name in rounds[0].ranks}


def _next_proposal(rounds: list[Round]) -> tuple[Proposal, float]:
    """Learn from all draws so far; also to which power the likelihood could be raised."""
    log_likelihood = _all_likelihoods(rounds)
    goal = min(_LEARN_FROM, _LEARN_SHARE * log_likelihood.size)
    power, log_weight = tempered(log_mixture_weights(rounds), log_likelihood, goal)
    return fit_proposal(_joined(rounds), log_weight), power


def require_enough(effective_draws: float, least: float, worst: Callable[[], Misfit | None]) -> None:
    """Refuse an answer that would stand on too few draws, and name what fits worst.

    Raises
    ------
    TooFewDrawsError
    """
    if effective_draws < least:
        raise TooFewDrawsError(effective_draws, worst())

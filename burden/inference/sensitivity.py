"""Which of the numbers drawn a result hangs on, from the draws at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from burden.evidence import KIND_SHARE
from burden.model.lifecycle.kinds import KIND
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import LARVA_REMOVAL

__all__ = ["Influence", "influences", "rank_correlations"]

#: reckoned from other numbers of the same draw: naming it would name them twice
_FOLLOWS = {"establishment", "chill_days"}


@dataclass(frozen=True)
class Influence:
    """How much one number drawn matters to a result.

    Parameters
    ----------
    parameter : str
        Name of the value.
    known : str
        How it is known: a key of `burden.evidence.KNOWN`, or "of this case" for what no set carries.
    correlation : float
        Spearman's rank correlation with the result [-].
    share : float
        Its square: the share of the result's variance, in ranks, that goes with this number alone [-].
    """

    parameter: str
    known: str
    correlation: float
    share: float


def influences(
    parameters: Parameters, outcome: ArrayLike, more: Mapping[str, ArrayLike] | None = None
) -> Sequence[Influence]:
    """Rank the numbers drawn by how much of a result's variance goes with each.

    Parameters
    ----------
    parameters : Parameters
        M draws; where draws were weighted, drawn again by weight.
    outcome : array_like
        The result of each draw, shape (M,); infinite values keep their place in the order.
    more : mapping of str to array_like, optional
        Other numbers of the same draws, for instance kills or volume, shape (M,) each.

    Returns
    -------
    sequence of Influence
        The most important first. Numbers that do not vary are left out.

    Raises
    ------
    ValueError
        If the outcome is not one number a draw, or holds NaN.

    Notes
    -----
    Squared rank correlations sum to about one where the draws are independent and the result is monotone and additive
    in ranks; numbers that matter by acting together, or up and down, are missed. Of M draws a number that does nothing
    has a share of 1/(M − 1) on average, and of forty such the largest some nine times that. Draws of a posterior are
    not independent, and a number may be named for the company it keeps.
    """
    outcome = np.asarray(outcome, float)
    if outcome.shape != (parameters.size,) or np.isnan(outcome).any():
        raise ValueError(f"outcome of shape {outcome.shape}: one number a draw is wanted, {parameters.size} in all")
    columns = {name: x for name, x in parameters.values.items() if name not in _FOLLOWS}
    columns |= {name: np.asarray(x, float) for name, x in (more or {}).items()}
    columns = {name: x for name, x in columns.items() if np.ptp(x) > 0}
    if not columns:
        return ()
    found = rank_correlations(np.array(list(columns.values())), outcome)
    rows = [
        Influence(name, _known(parameters, name), float(rho), float(rho**2))
        for name, rho in zip(columns, found, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -row.share))


def rank_correlations(inputs: np.ndarray, outcome: np.ndarray) -> np.ndarray:
    """Spearman's rank correlation of each row with an outcome, ties at their mean rank.

    Parameters
    ----------
    inputs : numpy.ndarray
        Shape (P, M).
    outcome : numpy.ndarray
        Shape (M,).

    Returns
    -------
    numpy.ndarray
        Shape (P,); 0 where either side does not vary.

    References
    ----------
    Spearman C (1904) The proof and measurement of association between two things. Am J Psychol 15:72-101.
    """
    from scipy.stats import rankdata

    x, y = rankdata(inputs, axis=1), rankdata(outcome)
    x, y = x - x.mean(1, keepdims=True), y - y.mean()
    size = np.sqrt((x**2).sum(1) * (y**2).sum())
    return np.divide(x @ y, size, out=np.zeros(len(x)), where=size > 0)


def _known(parameters: Parameters, name: str) -> str:
    named = {LARVA_REMOVAL.name: LARVA_REMOVAL, KIND: parameters.evidence.values.get(KIND_SHARE)}
    value = named.get(name) or parameters.evidence.values.get(name)
    return value.known if value is not None else "of this case"

"""True prevalence by Bayes' rule, with an imperfect test whose sensitivity is itself uncertain.

References
----------
Joseph, Gyorkos & Coupal 1995 Am J Epidemiol 141:263 (the model; from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp, roots_jacobi, xlog1py, xlogy

from burden.statistics.point_estimate import PointEstimate
from burden.utils.results import INTERVAL_LEVEL

__all__ = ["prevalence_bayes"]

_NODES, _GRID = 60, 20_001


def prevalence_bayes(
    positive: int,
    examined: int,
    sensitivity: tuple[float, float] | None = None,
    specificity: float = 1.0,
    prior: tuple[float, float] = (1.0, 1.0),
    level: float = INTERVAL_LEVEL,
) -> PointEstimate:
    """Posterior of the true prevalence.

    Parameters
    ----------
    positive, examined : int
        Fish that tested positive, and fish tested.
    sensitivity : tuple of float, optional
        Shapes of the beta distribution of the sensitivity; 1 when not given [-].
    specificity : float
        Chance that a clean fish tests negative [-].
    prior : tuple of float
        Shapes of the beta prior of the prevalence, 1 and 1 for a flat one [-].
    level : float
        Of the equal-tailed interval [-].

    Returns
    -------
    PointEstimate
        Posterior mean and interval.

    Raises
    ------
    ValueError
        For more positive than examined, or shapes that are not positive.

    Notes
    -----
    Gauss-Jacobi quadrature over the sensitivity, a fine grid over the prevalence.

    Examples
    --------
    >>> print(prevalence_bayes(0, 60, level=0.9))
    0.0161 (0.000841 to 0.0479; Bayes, beta(1, 1) prior, 90 % interval)
    """
    shapes = (*prior, *(sensitivity or (1.0, 1.0)))
    if not 0 <= positive <= examined or min(shapes) <= 0:
        raise ValueError(f"{positive} of {examined} positive with shapes {shapes}: counts 0 to all, shapes above 0")
    p = (np.arange(_GRID) + 0.5) / _GRID
    seen, log_weight = np.ones(1), np.zeros(1)
    if sensitivity is not None:
        nodes, weights = roots_jacobi(_NODES, sensitivity[1] - 1, sensitivity[0] - 1)
        seen, log_weight = 0.5 * (nodes + 1), np.log(weights)
    apparent = np.clip(seen[:, None] * p + (1 - specificity) * (1 - p), 0.0, 1.0)
    log_likelihood = xlogy(positive, apparent) + xlog1py(examined - positive, -apparent)
    log_density = logsumexp(log_likelihood + log_weight[:, None], axis=0)
    log_density += xlogy(prior[0] - 1, p) + xlog1py(prior[1] - 1, -p)
    density = np.exp(log_density - log_density.max())
    below = np.cumsum(density) / density.sum()
    low, high = np.interp([(1 - level) / 2, (1 + level) / 2], below, p + 0.5 / _GRID)
    mean = float((p * density).sum() / density.sum())
    return PointEstimate(mean, float(low), float(high), f"Bayes, beta({prior[0]:g}, {prior[1]:g}) prior", level)

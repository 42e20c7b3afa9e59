"""Equal-probability classes of susceptibility, with the gamma kept inside each class."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincinv

__all__ = ["SusceptibilityClasses", "class_prevalence", "class_variance", "susceptibility_classes"]


@dataclass(frozen=True)
class SusceptibilityClasses:
    """Equal-probability classes of a gamma with mean 1 and shape k.

    Parameters
    ----------
    k : numpy.ndarray
        Shape (…) [-].
    means, second_moments : numpy.ndarray
        E[w] and E[w²] inside each class, shape (n, …) [-].
    edges : numpy.ndarray
        k·w at the class bounds, shape (n + 1, …) [-].
    """

    k: np.ndarray
    means: np.ndarray
    second_moments: np.ndarray
    edges: np.ndarray

    @property
    def n(self) -> int:
        """Number of classes."""
        return len(self.means)


def susceptibility_classes(k: ArrayLike, n: int = 8) -> SusceptibilityClasses:
    """Cut a gamma of susceptibility into classes of equal numbers of fish.

    Parameters
    ----------
    k : array_like
        Aggregation, shape (…) [-].
    n : int
        Number of classes.

    Returns
    -------
    SusceptibilityClasses
        The gamma stays inside each class: its second moment and its bounds are kept.

    Examples
    --------
    >>> classes = susceptibility_classes(0.5, 8)
    >>> float(classes.means.mean().round(12)), float(classes.second_moments.mean().round(12))
    (1.0, 3.0)
    """
    k = np.asarray(k, float)
    cuts = (np.arange(1, n) / n).reshape((n - 1,) + (1,) * k.ndim)
    ends = np.zeros((1, *k.shape))
    edges = np.concatenate([ends, gammaincinv(k, cuts), ends + np.inf])
    means = n * np.diff(gammainc(k + 1, edges), axis=0)
    return SusceptibilityClasses(k, means, n * (k + 1) / k * np.diff(gammainc(k + 2, edges), axis=0), edges)


def class_prevalence(class_mean: ArrayLike, classes: SusceptibilityClasses) -> np.ndarray:
    """Share of fish of each class that carry at least one fluke.

    Parameters
    ----------
    class_mean : array_like
        Mean abundance in each class, shape (n, …) [flukes].
    classes : SusceptibilityClasses
        The classes, with k of shape (…).

    Returns
    -------
    numpy.ndarray
        Shape (n, …) [-]. Average it over classes with the living fish as weights.

    Notes
    -----
    In a class a fish of susceptibility w has rate s·w with s = class_mean/class w. E[exp(−s w)] over the
    class is (1 + s/k)^−k times the gamma probability of the class bounds stretched by (1 + s/k), over 1/n.
    The class means alone would make every fish of a class alike and the prevalence too high.

    Examples
    --------
    >>> from burden.statistics import zero_share
    >>> classes = susceptibility_classes(0.5, 8)
    >>> float(class_prevalence(10.0 * classes.means, classes).mean().round(10))
    0.7817821098
    >>> float(1 - zero_share(10.0, 0.5).round(10))
    0.7817821098
    """
    slope = _slope(class_mean, classes)
    stretch = 1 + slope / classes.k
    low, high = (gammainc(classes.k, edges * stretch) for edges in (classes.edges[:-1], classes.edges[1:]))
    return 1 - classes.n * (high - low) * stretch**-classes.k


def class_variance(class_mean: ArrayLike, classes: SusceptibilityClasses) -> np.ndarray:
    """Variance of burden among the fish of each class.

    Parameters
    ----------
    class_mean : array_like
        Mean abundance in each class, shape (n, …) [flukes].
    classes : SusceptibilityClasses
        The classes, with k of shape (…).

    Returns
    -------
    numpy.ndarray
        Shape (n, …) [flukes²]. The variance of the stock adds the variance of the class means.

    Examples
    --------
    >>> classes = susceptibility_classes(0.5, 8)
    >>> means = 10.0 * classes.means
    >>> stock = class_variance(means, classes).mean() + means.var()
    >>> float(stock.round(9))  # 10 + 10²/0.5
    210.0
    """
    mean = np.asarray(class_mean, float)
    return mean + _slope(mean, classes) ** 2 * classes.second_moments - mean**2


def _slope(class_mean: ArrayLike, classes: SusceptibilityClasses) -> np.ndarray:
    """Flukes per unit of susceptibility; 0 where the class takes nothing."""
    mean = np.asarray(class_mean, float)
    taking = classes.means > 0
    return np.where(taking, mean / np.where(taking, classes.means, 1.0), 0.0)

"""Prevalence from so many positive of so many fish, by the classical intervals.

References
----------
Newcombe 1998 Stat Med 17:857 (Wald, Wilson, Clopper-Pearson, mid-P, likelihood).
Brown, Cai & DasGupta 2001 Stat Sci 16:101 (Jeffreys).
Blaker 2000 Can J Stat 28:783.
Rogan & Gladen 1978 Am J Epidemiol 107:71 (imperfect test).
Lang & Reiczigel 2014 Prev Vet Med 113:13 (imperfect test of uncertain sensitivity and specificity).
MacKenzie et al. 2002 Ecology 83:2248 (repeated looks).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv, ndtri, xlog1py, xlogy

from burden.statistics.point_estimate import PointEstimate
from burden.utils.results import INTERVAL_LEVEL

__all__ = ["PREVALENCE_METHODS", "lang_reiczigel", "occupancy", "prevalence", "rogan_gladen"]


def prevalence(
    positive: int, examined: int, method: str = "clopper_pearson", level: float = INTERVAL_LEVEL
) -> PointEstimate:
    """Prevalence with a binomial confidence interval.

    Parameters
    ----------
    positive, examined : int
        Fish that showed a fluke, and fish looked at.
    method : str
        A key of `PREVALENCE_METHODS`.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        Share of the looked-at fish [-].

    Raises
    ------
    ValueError
        For counts that cannot be, or an unknown method.

    Examples
    --------
    >>> print(prevalence(4, 20, level=0.95))
    0.2 (0.0573 to 0.437; Clopper-Pearson, 95 % interval)
    """
    if method not in PREVALENCE_METHODS:
        raise ValueError(f"method {method!r} is not one of {', '.join(PREVALENCE_METHODS)}")
    if not 0 <= positive <= examined:
        raise ValueError(f"{positive} positive of {examined} examined cannot be")
    name, limits = PREVALENCE_METHODS[method]
    if examined == 0:
        return PointEstimate.missing("no fish examined", level)
    low, high = limits(positive, examined, 1 - level)
    return PointEstimate(positive / examined, float(low), float(high), name, level)


def _z(alpha: float) -> float:
    return float(ndtri(1 - alpha / 2))


def _wald(x: int, n: int, alpha: float) -> tuple[float, float]:
    p = x / n
    half = _z(alpha) * math.sqrt(p * (1 - p) / n)
    return max(p - half, 0.0), min(p + half, 1.0)


def _wilson(x: int, n: int, alpha: float) -> tuple[float, float]:
    z2 = _z(alpha) ** 2
    centre = x + z2 / 2
    half = math.sqrt(z2) * math.sqrt(x * (n - x) / n + z2 / 4)
    return max(centre - half, 0.0) / (n + z2), min(centre + half, n + z2) / (n + z2)


def _wilson_cc(x: int, n: int, alpha: float) -> tuple[float, float]:
    low = 0.0 if x == 0 else _wilson_cc_low(x / n, n, _z(alpha))
    high = 1.0 if x == n else 1 - _wilson_cc_low(1 - x / n, n, _z(alpha))
    return low, high


def _wilson_cc_low(p: float, n: int, z: float) -> float:
    root = math.sqrt(z * z - 2 - 1 / n + 4 * p * (n * (1 - p) + 1))
    return max((2 * n * p + z * z - 1 - z * root) / (2 * (n + z * z)), 0.0)


def _clopper_pearson(x: int, n: int, alpha: float) -> tuple[float, float]:
    low = 0.0 if x == 0 else betaincinv(x, n - x + 1, alpha / 2)
    high = 1.0 if x == n else betaincinv(x + 1, n - x, 1 - alpha / 2)
    return low, high


def _jeffreys(x: int, n: int, alpha: float) -> tuple[float, float]:
    a, b = x + 0.5, n - x + 0.5
    return betaincinv(a, b, alpha / 2), betaincinv(a, b, 1 - alpha / 2)


def _jeffreys_highest_density(x: int, n: int, alpha: float) -> tuple[float, float]:
    from scipy.optimize import brentq

    a, b = x + 0.5, n - x + 0.5
    if x == 0:  # the density falls throughout, so the interval starts at its edge
        return 0.0, betaincinv(a, b, 1 - alpha)
    if x == n:
        return betaincinv(a, b, alpha), 1.0

    def gap(mass_below: float) -> float:
        low, high = betaincinv(a, b, mass_below), betaincinv(a, b, mass_below + 1 - alpha)
        return (xlogy(a - 1, low) + xlog1py(b - 1, -low)) - (xlogy(a - 1, high) + xlog1py(b - 1, -high))

    below = brentq(gap, alpha * 1e-12, alpha * (1 - 1e-12), xtol=1e-16, rtol=1e-13)
    return betaincinv(a, b, below), betaincinv(a, b, below + 1 - alpha)


def _mid_p(x: int, n: int, alpha: float) -> tuple[float, float]:
    low = 0.0 if x == 0 else _mid_p_low(x, n, alpha)
    return low, 1.0 if x == n else 1 - _mid_p_low(n - x, n, alpha)


def _mid_p_low(x: int, n: int, alpha: float) -> float:
    from scipy.optimize import brentq

    def gap(p: float) -> float:
        return 0.5 * (_at_least(x, n, p) + _at_least(x + 1, n, p)) - alpha / 2

    return brentq(gap, 0.0, x / n, xtol=1e-14)


def _likelihood(x: int, n: int, alpha: float) -> tuple[float, float]:
    low = 0.0 if x == 0 else _likelihood_low(x, n, alpha)
    return low, 1.0 if x == n else 1 - _likelihood_low(n - x, n, alpha)


def _likelihood_low(x: int, n: int, alpha: float) -> float:
    from scipy.optimize import brentq

    def deviance(p: float) -> float:
        best = xlogy(x, x / n) + xlog1py(n - x, -x / n)
        return 2 * (best - xlogy(x, p) - xlog1py(n - x, -p)) - _z(alpha) ** 2

    return brentq(deviance, 1e-300, x / n, xtol=1e-14)


def _blaker(x: int, n: int, alpha: float) -> tuple[float, float]:
    low = 0.0 if x == 0 else _blaker_low(x, n, alpha)
    return low, 1.0 if x == n else 1 - _blaker_low(n - x, n, alpha)


def _blaker_low(x: int, n: int, alpha: float) -> float:
    """Smallest p that is acceptable: upper tail plus the largest lower tail not above it reach alpha.

    The lower tail ends at a count y that steps up as p grows. Between steps the sum falls, then rises, so in
    each stretch the first acceptable p is its start or a crossing on the way to its end.
    """
    from scipy.optimize import brentq

    start = betaincinv(x, n - x + 1, alpha / 2)  # below it even twice the upper tail is less than alpha
    below = _largest_lower_tail(x, n, start)
    while True:
        end = x / n if below + 1 >= x else _tails_meet(x, n, below + 1)
        if _tails(x, n, below, start) >= alpha:
            return start
        if _tails(x, n, below, end) >= alpha:
            return brentq(lambda p, y=below: _tails(x, n, y, p) - alpha, start, end, xtol=1e-15)
        below, start = below + 1, end


def _largest_lower_tail(x: int, n: int, p: float) -> int:
    below = np.arange(x)
    return int(np.count_nonzero(bdtr(below, n, p) <= _at_least(x, n, p))) - 1


def _tails_meet(x: int, n: int, below: int) -> float:
    from scipy.optimize import brentq

    return brentq(lambda p: bdtr(below, n, p) - _at_least(x, n, p), 0.0, 1.0, xtol=1e-15)


def _tails(x: int, n: int, below: int, p: float) -> float:
    return _at_least(x, n, p) + (bdtr(below, n, p) if below >= 0 else 0.0)


def _at_least(x: int, n: int, p: float) -> float:
    return 0.0 if x > n else float(bdtrc(x - 1, n, p)) if x > 0 else 1.0


#: name on the command line, name in print, and the limits at (positive, examined, alpha)
PREVALENCE_METHODS: dict[str, tuple[str, Callable[[int, int, float], tuple[float, float]]]] = {
    "wald": ("Wald", _wald),
    "wilson": ("Wilson", _wilson),
    "wilson_cc": ("Wilson with continuity correction", _wilson_cc),
    "clopper_pearson": ("Clopper-Pearson", _clopper_pearson),
    "jeffreys": ("Jeffreys, equal tails", _jeffreys),
    "jeffreys_hpd": ("Jeffreys, highest density", _jeffreys_highest_density),
    "blaker": ("Blaker", _blaker),
    "mid_p": ("mid-P", _mid_p),
    "likelihood": ("likelihood ratio", _likelihood),
}


def rogan_gladen(
    positive: int,
    examined: int,
    sensitivity: float,
    specificity: float,
    sensitivity_fish: float = math.inf,
    specificity_fish: float = math.inf,
    level: float = INTERVAL_LEVEL,
) -> PointEstimate:
    """True prevalence from the apparent one and an imperfect test, with a delta-method interval.

    Parameters
    ----------
    positive, examined : int
        Fish that tested positive, and fish tested.
    sensitivity, specificity : float
        Of the test, together above 1 [-].
    sensitivity_fish, specificity_fish : float
        Fish on which each was measured; infinity for a known one.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        Cut to 0 … 1 [-].

    Notes
    -----
    (apparent + specificity − 1)/(sensitivity + specificity − 1). The interval is not to be trusted near 0 or
    with few fish; `lang_reiczigel` is.

    Examples
    --------
    >>> round(rogan_gladen(20, 100, 0.9, 0.95).estimate, 6)
    0.176471
    """
    apparent, youden = positive / examined, _youden(sensitivity, specificity)
    true = (apparent + specificity - 1) / youden
    variance = _variance_of_true(
        (apparent, examined), (sensitivity, sensitivity_fish), (specificity, specificity_fish), true
    )
    half = _z(1 - level) * math.sqrt(variance)
    low, value, high = (min(max(v, 0.0), 1.0) for v in (true - half, true, true + half))
    return PointEstimate(value, low, high, "Rogan-Gladen, delta method", level)


def lang_reiczigel(
    positive: float,
    examined: int,
    sensitivity: float,
    sensitivity_fish: int,
    specificity: float,
    specificity_fish: int,
    level: float = INTERVAL_LEVEL,
) -> PointEstimate:
    """True prevalence with the interval of Lang and Reiczigel, sensitivity and specificity being estimates.

    Parameters
    ----------
    positive, examined : float, int
        Fish that tested positive, and fish tested.
    sensitivity, specificity : float
        Of the test, as measured [-].
    sensitivity_fish, specificity_fish : int
        Fish on which each was measured.
    level : float
        Confidence level [-].

    Returns
    -------
    PointEstimate
        Cut to 0 … 1 [-].

    Examples
    --------
    >>> print(lang_reiczigel(51, 509, 23 / 41, 41, 187 / 195, 195, level=0.95))
    0.114 (0.0366 to 0.195; Rogan-Gladen, Lang-Reiczigel, 95 % interval)
    """
    z2 = _z(1 - level) ** 2
    point = (positive / examined + specificity - 1) / _youden(sensitivity, specificity)
    n, n_se, n_sp = examined + z2, sensitivity_fish + 2, specificity_fish + 2
    apparent = (positive + z2 / 2) / n
    se, sp = (sensitivity * sensitivity_fish + 1) / n_se, (specificity * specificity_fish + 1) / n_sp
    true = (apparent + sp - 1) / _youden(se, sp)
    shift = 2 * z2 * (true * se * (1 - se) / n_se - (1 - true) * sp * (1 - sp) / n_sp)
    half = math.sqrt(z2 * _variance_of_true((apparent, n), (se, n_se), (sp, n_sp), true))
    low, value, high = (min(max(v, 0.0), 1.0) for v in (true + shift - half, point, true + shift + half))
    return PointEstimate(value, low, high, "Rogan-Gladen, Lang-Reiczigel", level)


def _youden(sensitivity: float, specificity: float) -> float:
    youden = sensitivity + specificity - 1
    if not youden > 0:
        raise ValueError(
            f"sensitivity {sensitivity:g} and specificity {specificity:g} must sum to more than 1: "
            "such a test tells nothing"
        )
    return youden


def _variance_of_true(
    apparent: tuple[float, float], sensitivity: tuple[float, float], specificity: tuple[float, float], true: float
) -> float:
    """Delta-method variance; each argument is (share, fish it was measured on)."""
    parts = [p * (1 - p) / n for p, n in (apparent, sensitivity, specificity)]
    return (parts[0] + true**2 * parts[1] + (1 - true) ** 2 * parts[2]) / _youden(sensitivity[0], specificity[0]) ** 2


def occupancy(fish: int, preparations: int, fish_positive: int, positives: int) -> tuple[float, float]:
    """Prevalence and chance of a find from repeated preparations of each fish, by maximum likelihood.

    Parameters
    ----------
    fish, preparations : int
        Fish, and preparations of each.
    fish_positive, positives : int
        Fish with at least one positive preparation, and positive preparations over all fish.

    Returns
    -------
    prevalence, detection : float
        Share of fish infected, and chance that one preparation of an infected fish shows a fluke [-].

    Raises
    ------
    ValueError
        With one preparation a fish, or no positive: the two cannot be told apart.

    Notes
    -----
    One chance for all infected fish. Burden differs between fish, so the prevalence comes out too low.

    Examples
    --------
    >>> [round(v, 6) for v in occupancy(30, 3, 15, 27)]
    [0.552921, 0.542573]
    """
    from scipy.optimize import brentq

    if preparations < 2 or not 0 < fish_positive <= fish:
        raise ValueError("needs two preparations or more of each fish, and at least one positive fish")
    share = positives / (preparations * fish_positive)  # of the positive fish's preparations
    if share >= 1:
        return fish_positive / fish, 1.0
    if positives <= fish_positive:  # never twice on a fish: the likelihood rises to a prevalence of 1
        return 1.0, positives / (preparations * fish)
    detection = brentq(lambda p: p + share * math.expm1(preparations * math.log1p(-p)), 1e-9, 1 - 1e-12, xtol=1e-14)
    found = -math.expm1(preparations * math.log1p(-detection))
    if fish_positive / fish >= found:  # the bound of the prevalence is met
        return 1.0, positives / (preparations * fish)
    return fish_positive / fish / found, detection

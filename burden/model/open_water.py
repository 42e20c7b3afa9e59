"""Water that flows: the eggs that cling in it, and the larvae that come with it."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from burden.evidence import Value

__all__ = ["EGG_RETENTION", "PRESSURE", "larvae_in", "share_kept"]


#: share of the eggs that cling or lie where no flow takes them, by kind of water, "" where nobody says; assumptions:
#: most sink onto a pond's bottom (those of some gill flukes of eels float); in tanks and raceways they lie on walls,
#: screens and sludge; threads of some catch in the nets of a cage, the rest drifts off
EGG_RETENTION = MappingProxyType(
    {
        kind: Value("egg_retention", *range_, "-", "logit", "assumption")
        for kind, range_ in {
            "pond": (0.85, 0.4, 0.98),
            "tank": (0.5, 0.1, 0.9),
            "raceway": (0.5, 0.1, 0.9),
            "cage": (0.3, 0.03, 0.85),
            "": (0.6, 0.1, 0.95),
        }.items()
    }
)
#: larvae from outside that settle, over what would keep up the usual burden of the set by themselves, as neighbours are
#: said to be; nobody measured it
PRESSURE = MappingProxyType(
    {
        kind: Value(f"infection_pressure {kind}", *range_, "-", "log", "assumption")
        for kind, range_ in {"some": (0.1, 0.005, 2.0), "many": (0.6, 0.06, 6.0), "unsaid": (0.1, 0.001, 5.0)}.items()
    }
)
#: least share of larvae that settle [-]: keeps a division finite
_LEAST = 1e-12


def share_kept(
    retention: np.ndarray, exchange_per_day: np.ndarray | float, egg_rate: np.ndarray, egg_shape: np.ndarray
) -> np.ndarray:
    """Share of the eggs laid that the flow does not carry off before they hatch, shape (M,) [-].

    Parameters
    ----------
    retention : numpy.ndarray
        Share that clings [-].
    exchange_per_day : float or numpy.ndarray
        Share of the water replaced a day, all afloat in it with it [1/d].
    egg_rate, egg_shape : numpy.ndarray
        Pace of development [1/d], and gamma shape of the time to hatch [-].

    Notes
    -----
    Eggs afloat leave at the rate of the exchange for as long as they take to hatch, a gamma of shape n and mean 1/ρ:
    (1 + e/(n ρ))^−n of them hatch before.

    Examples
    --------
    >>> one = np.ones(1)
    >>> [float(share_kept(0.3 * one, e, 0.2 * one, 50 * one).round(2)[0]) for e in (0.0, 0.05, 50.0)]
    [1.0, 0.85, 0.3]
    """
    with np.errstate(divide="ignore", over="ignore"):
        afloat = np.exp(-egg_shape * np.log1p(np.asarray(exchange_per_day) / (egg_shape * np.maximum(egg_rate, 1e-9))))
    return retention + (1 - retention) * afloat


def larvae_in(
    relative: np.ndarray,
    usual_per_gram: float,
    adult_life_days: np.ndarray,
    biomass_g: np.ndarray,
    share_settling: np.ndarray,
) -> np.ndarray:
    """Larvae that come with the water, shape (M,) [1/d].

    Parameters
    ----------
    relative : numpy.ndarray
        Settlers over what keeps up the usual burden [-].
    usual_per_gram : float
        Usual flukes per gram of fish [1/g].
    adult_life_days : numpy.ndarray
        [d]
    biomass_g : numpy.ndarray
        Of all fish [g].
    share_settling : numpy.ndarray
        Share of larvae in this water that come to settle, the rest is carried on or dies [-].
    """
    settlers = relative * usual_per_gram * biomass_g / adult_life_days
    return settlers / np.maximum(share_settling, _LEAST)

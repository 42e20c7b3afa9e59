"""What a slide of gill shows of all the gills, from what was put on it.

A bony fish has four arches a side, eight in all, each with two rows of filaments.
"""

from __future__ import annotations

import math
from typing import Literal

from burden.utils.errors import InputError, Problem
from burden.utils.results import CredibleInterval

__all__ = ["GILL_ARCHES", "GillPiece", "gill_share"]

GILL_ARCHES = 8
GillPiece = Literal["tips", "filaments", "arches"]
#: an arch in eight: their areas differ, and flukes prefer some (assumption)
_ARCH = CredibleInterval(1 / GILL_ARCHES, 0.11, 0.14)
#: a filament in some 1,000 to 2,000, freshwater fish of 50 to 400 g (Hughes 1966 J Exp Biol 45:177, from memory); by
#: how much smaller fish have fewer, and larger ones more, is an assumption
_FILAMENT = CredibleInterval(1 / 1400, 1 / 2000, 1 / 1000)
_FILAMENT_OF_ANY = CredibleInterval(1 / 1400, 1 / 3000, 1 / 600)
_WEIGHTS_G = (50.0, 400.0)
#: a clip takes the outer third to two thirds of a filament (salmonids: Nowak & Lucas 1997 Aquaculture 159:1, abstract);
#: flukes are taken as spread evenly along it (assumption)
_TIP = CredibleInterval(0.5, 1 / 3, 2 / 3)


def gill_share(pieces: float, of: GillPiece, weight_g: float | None = None) -> CredibleInterval:
    """Share of all gills that lies on a slide [-].

    Parameters
    ----------
    pieces : float
        How many were put on it; half an arch is one of its two rows of filaments.
    of : str
        tips, filaments (whole ones) or arches.
    weight_g : float, optional
        Weight of the fish; outside 50 to 400 g, or unknown, the number of filaments is less certain [g].

    Returns
    -------
    CredibleInterval
        Middle, 5 and 95 % points.

    Raises
    ------
    InputError
        For nothing, or for more than a fish has.

    Notes
    -----
    Pieces times the share one of them is. How many filaments there are and how much of each was cut off err apart from
    one another, so their ranges add up as squares on the log scale.

    Examples
    --------
    >>> gill_share(1, "arches").text(2, 100)
    '12 (11 to 14)'
    >>> gill_share(15, "tips", 300.0).text(2, 100)
    '0.54 (0.31 to 0.83)'
    """
    of_known_size = weight_g is not None and _WEIGHTS_G[0] <= weight_g <= _WEIGHTS_G[1]
    filament = _FILAMENT if of_known_size else _FILAMENT_OF_ANY
    one = {"tips": _product(filament, _TIP), "filaments": filament, "arches": _ARCH}[of]
    if not 0 < pieces * one.median <= 1:
        most = f"above 0, at most {1 / one.median:.0f}"
        raise InputError([Problem("gill clip", of, f"{pieces:g}", most, "Count what lies under one cover slip.")])
    return CredibleInterval(*(min(pieces * share, 1.0) for share in (one.median, one.low, one.high)))


def _product(a: CredibleInterval, b: CredibleInterval) -> CredibleInterval:
    down = math.hypot(math.log(a.median / a.low), math.log(b.median / b.low))
    up = math.hypot(math.log(a.high / a.median), math.log(b.high / b.median))
    middle = a.median * b.median
    return CredibleInterval(middle, middle * math.exp(-down), middle * math.exp(up))

"""What mends water before a dose: changes of it, air, salt, soda, and which order holds once."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from burden.case import Case
from burden.utils.results import number

__all__ = ["Remedy", "in_the_open", "relief", "unchanged", "water_change"]


#: most of the water changed at once, a share that fish and filter bear: common practice, no source [-]
_MOST_AT_ONCE = 0.5

#: water of which no such share is changed in a day: common practice, no source [L]
_MOST_TO_CHANGE_L = 100_000.0

#: change of water where fish gasp or oxygen is low: common practice, no source [-]
_RELIEF_SHARE = 0.25


@dataclass(frozen=True)
class Remedy:
    """A change of water, and whether to aerate.

    Parameters
    ----------
    percent : float
        Share of the water at each change [%]; 0 for none.
    litres : float
        The same [L].
    times : int
        Changes, a day apart.
    aerate : bool
    salt_g : float or None
        Salt whose chloride protects from the nitrite [g]; None where it is not asked for.
    bicarbonate_g : float or None
        Sodium bicarbonate that raises the alkalinity [g]; None where it is not asked for.
    unfed : bool
        Whether the fish are fed nothing until it is right.
    too_much_water : bool
        Whether a change is wanted that nobody can make in so much water.
    clear_cage : bool
        Whether it is a cage, whose water is that round it: clean nets and fewer fish let more through.
    """

    percent: float = 0.0
    litres: float = 0.0
    times: int = 0
    aerate: bool = False
    salt_g: float | None = None
    bicarbonate_g: float | None = None
    unfed: bool = False
    too_much_water: bool = False
    clear_cage: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "percent": self.percent,
            "litres": self.litres,
            "times": self.times,
            "aerate": self.aerate,
            "salt_g": number(self.salt_g),
            "bicarbonate_g": number(self.bicarbonate_g),
            "feed_nothing": self.unfed,
            "too_much_water": self.too_much_water,
            "clear_cage": self.clear_cage,
        }


def unchanged(remedy: Remedy) -> Remedy:
    """Return a remedy without its changes of water, because they are ordered elsewhere."""
    return replace(remedy, percent=0.0, litres=0.0, times=0)


def in_the_open(case: Case) -> bool:
    """Whether the sea or lake round a cage carries off what fish give off: nobody measures it (common practice)."""
    return case.water.kind == "cage"


def water_change(case: Case, value: float, wanted: float) -> Remedy:
    """Work out the changes of clean water that bring a value down to what is wanted.

    Parameters
    ----------
    case : Case
        For its volume.
    value, wanted : float
        In any one unit; the water put in is taken to hold none of it.

    Returns
    -------
    Remedy
        At most half of the water at once, as often as needed, all changes alike.
    """
    if in_the_open(case):
        return Remedy(clear_cage=True)
    if case.water.volume_l.value > _MOST_TO_CHANGE_L:
        return Remedy(too_much_water=True)
    share = 1 - min(wanted / value, 1.0)
    times = 1 if share <= _MOST_AT_ONCE else math.ceil(math.log(1 - share) / math.log(1 - _MOST_AT_ONCE))
    each = 1 - (1 - share) ** (1 / times)
    percent = min(5 * math.ceil(100 * each / 5 - 1e-9), 50)  # in steps of five percent, as a person would
    return Remedy(float(percent), percent / 100 * case.water.volume_l.value, times)


def relief(case: Case) -> Remedy:
    """Return what eases fish that are short of air at once: aeration, and fresh water or a clear cage."""
    if in_the_open(case):  # it is the sea or lake itself: fish get oxygen, room and clean nets
        return Remedy(aerate=True, clear_cage=True)
    if case.water.volume_l.value > _MOST_TO_CHANGE_L:
        return Remedy(aerate=True, too_much_water=True)
    return Remedy(100 * _RELIEF_SHARE, _RELIEF_SHARE * case.water.volume_l.value, 1, aerate=True)

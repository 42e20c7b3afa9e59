"""Volume of water by adding salt: arithmetic with its error."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from burden.utils.errors import InputError, Problem
from burden.utils.results import Result, number

__all__ = ["SaltVolume", "volume_by_salt"]


@dataclass(frozen=True)
class SaltVolume(Result):
    """Volume of water from a weighed amount of salt and the rise it made.

    Parameters
    ----------
    volume_l, low_l, high_l : float
        Volume and its 5 to 95 % interval; the upper end infinite where the rise may be nought [L].
    relative_error : float
        One standard deviation over the value [-].
    """

    volume_l: float
    low_l: float
    high_l: float
    relative_error: float

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {key: number(getattr(self, key)) for key in ("volume_l", "low_l", "high_l", "relative_error")}

    def rows(self) -> list[dict[str, Any]]:
        """Return the volume as a row of a table."""
        return [self.as_dict()]


def volume_by_salt(
    mass_g: float, rise_g_l: float, mass_sd_g: float = 1.0, reading_sd_g_l: float = 0.01, purity: float = 0.99
) -> SaltVolume:
    """Work out the volume of water from added salt and the rise of salinity, with its error.

    Parameters
    ----------
    mass_g : float
        Salt added [g].
    rise_g_l : float
        Salinity after minus before, mixed [g/L]. Conductivity counts as it does on the meter: about
        2 mS/cm for each 1 g/L (25 °C, from memory).
    mass_sd_g : float
        Standard deviation of the weighing [g].
    reading_sd_g_l : float
        Standard deviation of one reading; the rise is a difference of two [g/L].
    purity : float
        Sodium chloride in the salt [-].

    Returns
    -------
    SaltVolume

    Raises
    ------
    InputError
        For a mass or a rise that is not above 0.

    Notes
    -----
    V = p·m/Δ; the interval takes the edges of Δ ± 1.645·√2·s and m ± 1.645·s_m together, so it is not symmetric.

    Examples
    --------
    >>> round(volume_by_salt(5000.0, 0.5).volume_l)
    9900
    """
    given = {"mass_g": mass_g, "rise_g_l": rise_g_l}
    problems = [
        Problem("salt test", key, str(value), "a number above 0", "Weigh and measure again.")
        for key, value in given.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if problems:
        raise InputError(problems)
    volume = purity * mass_g / rise_g_l
    relative = math.hypot(mass_sd_g / mass_g, math.sqrt(2) * reading_sd_g_l / rise_g_l)
    # the reciprocal of a normal rise, not a normal volume: a small rise has no upper end
    spread = 1.6448536269514722 * relative
    high = volume / (1 - spread) if spread < 1 else math.inf
    return SaltVolume(volume, volume / (1 + spread), high, relative)

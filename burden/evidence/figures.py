"""One published figure: a value with its range, or a point of a quantity against temperature."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.utils.random_streams import uniform_draws

__all__ = ["KNOWN", "SCALES", "Point", "Value"]

#: how a figure is known, best first
KNOWN = {
    "read": "seen in the source's abstract or page",
    "computed": "arithmetic on published figures, printed by no source",
    "memory": "recalled, not sighted",
    "common practice": "common practice, no source",
    "assumption": "measured by nobody: an assumption with a wide range",
}
#: what each scale can hold, both ends excluded
SCALES = {"log": (0.0, float("inf")), "linear": (float("-inf"), float("inf")), "logit": (0.0, 1.0)}
_Z95 = 1.6448536269514722  # standard normal 95 % point: low and high are the 5 and 95 % points


@dataclass(frozen=True)
class Value:
    """One number with its range and its source.

    Parameters
    ----------
    name : str
        Name in the glossary of DEVELOPERS.md.
    value, low, high : float
        Median, and the 5 and 95 % points of what is believed [unit].
    unit : str
        Unit, "-" for a share.
    scale : str
        Scale on which the two halves are normal: log, linear or logit.
    known : str
        A key of `KNOWN`.
    sources : tuple of str
        Keys of references.toml.
    conditions : str
        Where and how it was measured, and what it is not for.
    temperature_c : float or None
        Temperature of the measurement [°C].
    borrowed_from : str or None
        The set it was borrowed from.
    least, most : float or None
        Beyond which nothing is believed: the law is cut there [unit].
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    scale: str
    known: str
    sources: tuple[str, ...] = ()
    conditions: str = ""
    temperature_c: float | None = None
    borrowed_from: str | None = None
    least: float | None = None
    most: float | None = None

    def draw(self, n: int, seed: int, salt: str = "") -> np.ndarray:
        """Draw from a two-piece normal on the value's scale.

        Parameters
        ----------
        n : int
            Number of draws.
        seed : int
            Seed of the run; the stream is the value's own, so no draw depends on the order of calls.
        salt : str
            Sets apart two draws of one name, for instance in two parasite sets of one case.

        Returns
        -------
        numpy.ndarray
            Draws, shape (n,) [unit].
        """
        return self.quantile(uniform_draws(f"{salt}{self.name}", n, seed))

    def quantile(self, u: np.ndarray) -> np.ndarray:
        """Value at probabilities `u`, any shape [unit]."""
        from scipy.special import ndtri

        to, back = _TRANSFORMS[self.scale]
        below, above = self._cut
        z = ndtri(below + (above - below) * np.asarray(u)) / _Z95
        middle = to(self.value)
        return back(middle + np.where(z < 0, z * (middle - to(self.low)), z * (to(self.high) - middle)))

    @property
    def _cut(self) -> tuple[float, float]:
        """Share of the uncut law below its least and up to its most."""
        ends = [0.0, 1.0]
        for i, end in enumerate((self.least, self.most)):
            if end is not None:
                ends[i] = self._share_below(end)
        return ends[0], ends[1]

    def _share_below(self, x: float) -> float:
        from scipy.special import ndtr

        to, _ = _TRANSFORMS[self.scale]
        middle = to(self.value)
        half = middle - to(self.low) if x < self.value else to(self.high) - middle
        return float(ndtr(_Z95 * (to(x) - middle) / half)) if half else float(x >= self.value)

    def times(self, factor: float) -> Value:
        """Return the value in a unit so many times smaller: all of its numbers times a factor."""
        least, most = (None if end is None else end * factor for end in (self.least, self.most))
        value, low, high = (x * factor for x in (self.value, self.low, self.high))
        return replace(self, value=value, low=low, high=high, least=least, most=most)

    def widened(self, factor: float, borrowed_from: str) -> Value:
        """Return the value as borrowed by a relative: its range widened by `factor` on its own scale."""
        to, back = _TRANSFORMS[self.scale]
        middle = to(self.value)
        low, high = (float(back(middle + factor * (to(edge) - middle))) for edge in (self.low, self.high))
        return replace(self, low=low, high=high, borrowed_from=borrowed_from)


_Transform = Callable[[Any], Any]
_TRANSFORMS: Mapping[str, tuple[_Transform, _Transform]] = {
    "log": (np.log, np.exp),
    "linear": (lambda x: x, lambda x: x),
    "logit": (lambda p: np.log(p / (1 - p)), lambda x: 1 / (1 + np.exp(-x))),
}


@dataclass(frozen=True)
class Point:
    """One measured point of a quantity against temperature.

    Parameters
    ----------
    quantity : str
        For instance first_hatch_days.
    species : str
        Of fluke; "spp." where the source does not tell them apart.
    temperature_c : float
        [°C].
    value, low, high : float
        Figure, and what its reading allows [unit].
    unit : str
        Unit, "-" for a share.
    known : str
        A key of `KNOWN`.
    sources : tuple of str
        Keys of references.toml.
    conditions : str
        How it was measured and read.
    borrowed_from : str or None
        The set it was borrowed from.
    """

    quantity: str
    species: str
    temperature_c: float
    value: float
    low: float
    high: float
    unit: str
    known: str
    sources: tuple[str, ...]
    conditions: str = ""
    borrowed_from: str | None = None

    def widened(self, factor: float, borrowed_from: str) -> Point:
        """Return the point as borrowed by a relative: its range widened by `factor`, on the log scale."""
        low, high = (self.value * (edge / self.value) ** factor for edge in (self.low, self.high))
        return replace(self, low=low, high=high, borrowed_from=borrowed_from)

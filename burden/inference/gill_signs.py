"""What the gills and the blood of fish say of flukes: mucus, swelling, pale gills, a haematocrit.

None of it was measured beside counted flukes, and none of it is the flukes' alone: bad water does the same. So a sign
is only a little likelier the more flukes there are, and every number here is an assumption with a wide range.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from burden.case import Findings
from burden.evidence import Value
from burden.model.lifecycle.parameters import Parameters

__all__ = ["SignDraws", "draw_signs"]


def _assumed(name: str, value: float, low: float, high: float, unit: str, scale: str) -> Value:
    return Value(name, value, low, high, unit, scale, "assumption")


#: chance of a sign on fish without flukes, and on fish with many [-]
_WITHOUT, _WITH_MANY = (
    _assumed("sign without flukes", 0.2, 0.08, 0.4, "-", "logit"),
    _assumed("sign with many flukes", 0.7, 0.45, 0.9, "-", "logit"),
)
#: burden at which half of what flukes add to that chance is there [flukes/g]
_HALF = _assumed("burden of half the signs", 2.0, 0.2, 20.0, "1/g", "log")
#: haematocrit of healthy fish [%], and how far the mean of a few fish lies off, as a standard deviation of its log
_HEALTHY = _assumed("haematocrit of healthy fish", 32.0, 25.0, 40.0, "%", "log")
_SCATTER = 0.15
#: pale gills show from this share of the blood on, give or take so much [-]
_PALE, _PALE_WIDTH = 0.6, 0.12


@dataclass(frozen=True)
class SignDraws:
    """What signs say, M draws of what is uncertain about them, shape (M,) each."""

    without: np.ndarray
    with_many: np.ndarray
    half: np.ndarray
    healthy: np.ndarray

    def log_likelihood(
        self, findings: Findings, parameters: Parameters, per_gram: np.ndarray, haemoglobin: np.ndarray
    ) -> np.ndarray:
        """Log-likelihood of the findings of the visit, shape (M,).

        Parameters
        ----------
        findings : Findings
        parameters : Parameters
        per_gram : numpy.ndarray
            Flukes per gram of fish, shape (M,) [1/g].
        haemoglobin : numpy.ndarray
            Relative to a healthy fish, shape (M,) [-].
        """
        total = np.zeros(per_gram.size)
        if parameters.evidence.site == "gill":
            chance = self.without + (self.with_many - self.without) * per_gram / (per_gram + self.half)
            for sign in (findings.gill_mucus, findings.gill_swollen):
                if sign is not None:  # both come of the same harm, so together they count as one and a half
                    total = total + 0.75 * np.log(chance if sign else 1 - chance)
        if parameters.evidence.blood_feeder:
            total = total + self._blood(findings, haemoglobin)
        return total

    def _blood(self, findings: Findings, haemoglobin: np.ndarray) -> np.ndarray:
        """Log-likelihood of what was seen of the blood, shape (M,): a haematocrit, else whether fish look anaemic."""
        if findings.haematocrit_percent is not None:
            off = np.log(max(findings.haematocrit_percent, 1.0) / (self.healthy * np.maximum(haemoglobin, 1e-3)))
            return -0.5 * (off / _SCATTER) ** 2
        if findings.anaemic is None:
            return np.zeros(haemoglobin.size)
        other = 0.5 * self.without  # anaemia has other causes too
        pale = other + (1 - other) / (1 + np.exp((haemoglobin - _PALE) / _PALE_WIDTH))
        return np.log(pale if findings.anaemic else 1 - pale + 0.02)


def draw_signs(n: int, seed: int) -> SignDraws:
    """Draw what is uncertain about signs of flukes."""
    return SignDraws(*(value.draw(n, seed) for value in (_WITHOUT, _WITH_MANY, _HALF, _HEALTHY)))

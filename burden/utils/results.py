"""How an answer looks: a median with its interval, and a result that renders itself.

Every result of the package derives from `Result`: one object, seen as text, as a table or as JSON.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from burden.utils.formatting import interval, plain
from burden.utils.wording import brief_of, text_of

__all__ = [
    "INTERVAL_LEVEL",
    "SCHEMA_VERSION",
    "CredibleInterval",
    "Probability",
    "Result",
    "frame",
    "number",
    "weighted_quantile",
]

SCHEMA_VERSION = 1
#: every interval of the package is central and holds this share of the draws
INTERVAL_LEVEL = 0.9
#: of a table in a notebook
_ROWS_SHOWN = 20


@dataclass(frozen=True)
class CredibleInterval:
    """Median with the 5 and 95 % points of the draws; NaN where it cannot be given.

    Examples
    --------
    >>> CredibleInterval.of([1.0, 2.0, 3.0]).median
    2.0
    >>> CredibleInterval.missing().as_dict()
    {'median': None, 'low': None, 'high': None}
    """

    median: float
    low: float
    high: float

    @classmethod
    def of(cls, samples: Any, weights: Any = None) -> CredibleInterval:
        """Summarise draws, shape (n,), with optional weights of the same shape."""
        low, median, high = weighted_quantile(samples, [0.05, 0.5, 0.95], weights)
        return cls(float(median), float(low), float(high))

    @classmethod
    def missing(cls) -> CredibleInterval:
        """Return the interval of a number that cannot be given."""
        return cls(math.nan, math.nan, math.nan)

    def as_dict(self) -> dict[str, float | None]:
        """Return the interval as the JSON contract has it, null for a number that cannot be given."""
        return {name: number(getattr(self, name)) for name in ("median", "low", "high")}

    def text(self, digits: int = 2, scale: float = 1.0) -> str:
        """Return "median (low to high)" with significant digits; `scale` turns a share into percent."""
        return interval(self.median * scale, self.low * scale, self.high * scale, digits)

    def _ends(self) -> tuple[float, float, float]:
        return self.median, self.low, self.high

    def whole(self) -> str:
        """Return "median (low to high)" of things that come whole, such as fish; from 100 on with two digits.

        Examples
        --------
        >>> CredibleInterval(2.0, 0.0, 5.4).whole(), CredibleInterval(1692.0, 636.0, 2634.0).whole()
        ('2 (0 to 5)', '1 700 (640 to 2 600)')
        """
        middle, low, high = (plain(float(round(x)), 2 if abs(x) >= 100 else 15) for x in self._ends())
        return middle if low == high else f"{middle} ({low} to {high})"


@dataclass(frozen=True)
class Probability(CredibleInterval):
    """An interval of a probability, with its mean over the draws, by which schedules are ranked."""

    mean: float = math.nan

    @classmethod
    def of(cls, samples: Any, weights: Any = None) -> Probability:
        """Summarise draws of a probability, shape (n,), with optional weights of the same shape."""
        base = CredibleInterval.of(samples, weights)
        mean = float(np.average(np.asarray(samples, float), weights=weights))
        return cls(base.median, base.low, base.high, mean)

    @classmethod
    def missing(cls) -> Probability:
        """Return the probability that cannot be given."""
        return cls(math.nan, math.nan, math.nan, math.nan)

    def as_dict(self) -> dict[str, float | None]:
        """Return the JSON form, with the mean."""
        return {**super().as_dict(), "mean": number(self.mean)}


def weighted_quantile(samples: Any, probabilities: Any, weights: Any = None) -> np.ndarray:
    """Quantiles of weighted draws, each draw standing for its share of the mass.

    Parameters
    ----------
    samples : array_like
        Draws, shape (n,).
    probabilities : array_like
        Points wanted, each in [0, 1].
    weights : array_like, optional
        Non-negative, shape (n,); equal when not given.

    Returns
    -------
    numpy.ndarray
        One value a probability. NaN where no weight is left.

    Examples
    --------
    >>> weighted_quantile([1.0, 2.0, 3.0, 4.0], [0.5], [0, 0, 1, 1]).tolist()
    [3.5]
    """
    samples = np.asarray(samples, float)
    if weights is None:
        # an unbounded draw must not turn its neighbour into NaN: no arithmetic between the two
        finite = np.isfinite(samples).all()
        return np.quantile(samples, probabilities, method="linear" if finite else "nearest")
    weights = np.asarray(weights, float)
    order = np.argsort(samples, kind="stable")
    kept = order[weights[order] > 0]
    if not kept.size:
        return np.full(len(np.atleast_1d(probabilities)), math.nan)
    mass = weights[kept]
    centres = (np.cumsum(mass) - 0.5 * mass) / mass.sum()
    return np.interp(probabilities, centres, samples[kept])


def frame(seed: int | None, draws: int | None) -> dict[str, Any]:
    """Return what every JSON object of the package begins with.

    Parameters
    ----------
    seed, draws : int or None
        None where nothing was drawn.
    """
    return {"schema_version": SCHEMA_VERSION, "seed": seed, "draws": draws, "interval_level": INTERVAL_LEVEL}


def number(value: Any) -> float | None:
    """Return a plain float, or None for a number that cannot be given, as JSON has no NaN."""
    if value is None:
        return None
    value = float(value)
    return value if math.isfinite(value) else None


class Result:
    """A result that renders itself. A subclass gives `as_dict` and `rows`, `burden.report.text` its words.

    All views follow from these.
    """

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form as plain Python objects."""
        raise NotImplementedError

    def text(self) -> str:
        """Return all of the answer in words."""
        return text_of(self)

    def brief(self) -> str:
        """Return the answer in about five lines."""
        return brief_of(self)

    def rows(self) -> list[dict[str, Any]]:
        """Return the answer as rows of a table."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.text()

    def to_frame(self) -> Any:
        """Return the rows as a pandas.DataFrame."""
        import pandas as pd

        return pd.DataFrame(self.rows())

    def to_json(self) -> str:
        """Return the JSON form as text: sorted nowhere, NaN nowhere."""
        return json.dumps(self.as_dict(), allow_nan=False, ensure_ascii=False, indent=2)

    def _repr_html_(self) -> str:
        """What a notebook shows: the words, then the table, a long one by its ends."""
        table = self.to_frame().to_html(index=False, escape=True, max_rows=_ROWS_SHOWN, na_rep="", float_format=plain)
        return f'<pre style="white-space: pre-wrap">{escape(self.text())}</pre>\n{table}'

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        """Both ways to show it, so that a console gets the words: every field of a result would fill pages."""
        return {"text/plain": self.text(), "text/html": self._repr_html_()}

"""Laws of a duration over temperature, fitted by code to measured points and weighed by what they predict.

Three kinds compete: a sum of degree-days above a threshold, a hump where an upper limit was measured, and
interpolation of rates, straight or on the log scale. Each draw follows one law, picked by how well it predicts a
point it was not shown, through points moved within their reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from burden.evidence import Point, Value
from burden.utils.errors import CannotAnswerError
from burden.utils.random_streams import uniform_draws

__all__ = ["GRID_C", "Law", "LawFit", "draw_law_rates", "fit_laws", "joined", "moved_points"]

#: temperatures at which a drawn law is tabulated [°C]
GRID_C = np.arange(0.0, 40.01, 0.25)
#: squared log error below which one law is not preferred to another
_FLOOR = 0.1**2

Law = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]
"""(temperatures of the points (P,), durations (P, M), wanted temperatures (G,)) -> rates (G, M) [1/d]"""


def _degree_days(points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    """Rate (T − T0)/K, the line that minimises the sum of squared relative errors of the duration."""
    t = points_c[:, None]
    s1, st, stt = (days**2).sum(0), (t * days**2).sum(0), (t**2 * days**2).sum(0)
    b1, bt = days.sum(0), (t * days).sum(0)
    determinant = s1 * stt - st**2
    intercept = (b1 * stt - bt * st) / determinant
    slope = (s1 * bt - st * b1) / determinant
    return np.maximum(intercept + slope * wanted_c[:, None], 0.0)


def _straight(points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    """Rates joined by straight lines; the coldest line goes on down to zero, the warmest rate stays."""
    return np.maximum(joined(points_c, 1.0 / days, wanted_c), 0.0)


def _log_straight(points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    """Logarithms of rates joined by straight lines; the coldest goes on down, the warmest rate stays."""
    return np.exp(joined(points_c, -np.log(days), wanted_c))


def joined(points_c: np.ndarray, values: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    """Values (P, M) joined by straight lines over temperature; the coldest goes on down, the warmest stays."""
    wanted = np.minimum(wanted_c, points_c[-1])
    left = np.clip(np.searchsorted(points_c, wanted, side="right") - 1, 0, len(points_c) - 2)
    share = ((wanted - points_c[left]) / (points_c[left + 1] - points_c[left]))[:, None]
    return values[left] * (1 - share) + values[left + 1] * share


def _hump(upper_c: np.ndarray | float) -> Law:
    """Rate a·T·(T − T0)·√(T_max − T), T_max one or one a draw: T0 by a grid, a by least relative squares."""

    def law(points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
        thresholds = np.linspace(0.0, points_c[0] - 0.5, 40)

        def shape(t: np.ndarray, t0: np.ndarray) -> np.ndarray:
            return np.maximum(t, 0) * np.maximum(t - t0, 0) * np.sqrt(np.maximum(upper_c - t, 0))

        basis = shape(points_c[:, None, None], thresholds[None, :, None]) * days[:, None, :]
        scale = basis.sum(0) / (basis**2).sum(0)
        best = ((scale * basis - 1) ** 2).sum(0).argmin(0)
        columns = np.arange(days.shape[1])
        return scale[best, columns] * shape(wanted_c[:, None], thresholds[best][None, :])

    return law


def _laws(count: int, upper_c: np.ndarray | float | None) -> dict[str, Law]:
    laws: dict[str, Law] = {}
    if count >= 2:
        laws |= {
            "degree-days": _degree_days,
            "rates interpolated": _straight,
            "log rates interpolated": _log_straight,
        }
    if upper_c is not None and count >= 2:
        laws["hump"] = _hump(upper_c)
    return laws


@dataclass(frozen=True)
class LawFit:
    """One law fitted to the points of one quantity.

    Parameters
    ----------
    law : str
        Name of the law.
    points_c, measured : numpy.ndarray
        The points, shape (P,) [°C], [d].
    fitted, left_out : numpy.ndarray
        The law through all points, and its prediction of each point from the others, shape (P,) [d];
        NaN where too few points are left, infinite where the law does not develop at all.
    weight : float
        Share of the draws that follow the law.
    """

    law: str
    points_c: np.ndarray
    measured: np.ndarray
    fitted: np.ndarray
    left_out: np.ndarray
    weight: float

    @property
    def residuals(self) -> np.ndarray:
        """Fitted less measured, shape (P,) [d]."""
        return self.fitted - self.measured

    def inverted(self) -> LawFit:
        """Return the fit of one over the duration, for instance eggs a day of the days an egg takes."""
        with np.errstate(divide="ignore"):
            return replace(self, measured=1 / self.measured, fitted=1 / self.fitted, left_out=1 / self.left_out)


def fit_laws(points: Sequence[Point], upper_c: float | None = None) -> tuple[LawFit, ...]:
    """Fit every law that the points allow, and weigh the laws by what they predict.

    Parameters
    ----------
    points : sequence of Point
        Measured durations by rising temperature, P of them [d].
    upper_c : float, optional
        Temperature at which development was found to fail [°C]: a hump is fitted only where it was measured.

    Returns
    -------
    tuple of LawFit

    Raises
    ------
    CannotAnswerError
        With fewer than two points.

    Notes
    -----
    A law's weight is inverse to 0.1² plus the mean squared error of its leave-one-out predictions, on the log
    scale and cut off at a factor of e; with two points nothing can be left out and the laws weigh the same.
    """
    laws = _laws(len(points), upper_c)
    if not laws:
        raise CannotAnswerError("fewer than two temperatures were measured")
    t = np.array([p.temperature_c for p in points])
    days = np.array([p.value for p in points])
    errors, parts = [], []
    for name, law in laws.items():
        fitted = _durations(law, t, days, t)
        left_out = np.array([_left_out(law, t, days, i) for i in range(len(t))])
        seen = left_out[~np.isnan(left_out)]
        log_error = np.clip(np.log(np.minimum(seen, 1e9) / days[~np.isnan(left_out)]), -1, 1)
        errors.append(_FLOOR + (np.mean(log_error**2) if seen.size else 0.0))
        parts.append((name, fitted, left_out))
    weights = 1 / np.array(errors) / np.sum(1 / np.array(errors))
    return tuple(
        LawFit(name, t, days, fitted, left_out, float(w))
        for (name, fitted, left_out), w in zip(parts, weights, strict=True)
    )


def _durations(law: Law, points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return 1.0 / law(points_c, days[:, None], wanted_c)[:, 0]


def _left_out(law: Law, points_c: np.ndarray, days: np.ndarray, i: int) -> float:
    if len(points_c) < 3:
        return np.nan
    keep = np.arange(len(points_c)) != i
    return float(_durations(law, points_c[keep], days[keep], points_c[i : i + 1])[0])


def draw_law_rates(
    points: Sequence[Point], strain: np.ndarray | float, n: int, seed: int, salt: str, upper: Value | None = None
) -> np.ndarray:
    """Rates on the grid, every draw's own law through its own reading of the points, shape (G, n) [1/d].

    Parameters
    ----------
    points : sequence of Point
        By rising temperature, P of them [d].
    strain : numpy.ndarray or float
        Factor on all durations of a draw, shape (n,) [-].
    n, seed : int
    salt : str
        Sets apart the streams of two parasite sets.
    upper : Value, optional
        Temperature at which development was found to fail [°C].
    """
    upper_c = None if upper is None else np.maximum(upper.draw(n, seed, salt), points[-1].temperature_c + 0.1)
    fits = fit_laws(points, None if upper is None else upper.value)
    days = moved_points(points, n, seed, salt) * strain
    t = np.array([p.temperature_c for p in points])
    picks = uniform_draws(f"{salt}{points[0].quantity} law", n, seed)
    choice = np.searchsorted(np.cumsum([fit.weight for fit in fits])[:-1], picks)
    rates = np.empty((len(GRID_C), n))
    for i, fit in enumerate(fits):
        mine = choice == i
        laws = _laws(len(points), None if upper_c is None else upper_c[mine])
        rates[:, mine] = laws[fit.law](t, days[:, mine], GRID_C)
    return _never_faster_in_the_cold(rates, t[0])


def _never_faster_in_the_cold(rates: np.ndarray, coldest_c: float) -> np.ndarray:
    """Cap rates below the coldest point: two points close by can cross in their readings and turn a line round."""
    edge = int(np.searchsorted(GRID_C, coldest_c))
    rates[:edge] = np.minimum(rates[:edge], rates[edge])
    return rates


def moved_points(points: Sequence[Point], n: int, seed: int, salt: str, scale: str = "log") -> np.ndarray:
    """The points as each draw reads them, moved within their range, shape (P, n) [unit of the points]."""
    rows = [
        Value(f"{p.quantity} {p.temperature_c}", p.value, p.low, p.high, "", scale, p.known).draw(n, seed, salt)
        for p in points
    ]
    return np.array(rows)

"""How fast eggs and juveniles develop at a temperature, and how far apart the first and the last are.

Three laws compete for the course of a duration over temperature: a sum of degree-days above a threshold, a hump
where an upper limit was measured, and interpolation of rates, straight or on the log scale. Each is fitted by code
to the measured points; each draw follows one law, picked by how well it predicts a point it was not shown, through
points moved within their reading. A duration has a gamma distribution whose shape follows from the ratio of its
first to its last, so its spread is measured, not chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, gammaincinv

from burden.errors import CannotAnswerError
from burden.evidence import Evidence, Point, Value, uniform_draws

__all__ = [
    "FIRST",
    "LAST",
    "Development",
    "DurationTable",
    "LawFit",
    "draw_development",
    "fit_cold_storage",
    "fit_laws",
    "gamma_shape_of_ratio",
]

#: first and last are the 1 and 99 % points of a duration
FIRST, LAST = 0.01, 0.99
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
    return np.maximum(_piecewise(points_c, 1.0 / days, wanted_c), 0.0)


def _log_straight(points_c: np.ndarray, days: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    """Logarithms of rates joined by straight lines; the coldest goes on down, the warmest rate stays."""
    return np.exp(_piecewise(points_c, -np.log(days), wanted_c))


def _piecewise(points_c: np.ndarray, values: np.ndarray, wanted_c: np.ndarray) -> np.ndarray:
    wanted = np.minimum(wanted_c, points_c[-1])
    left = np.clip(np.searchsorted(points_c, wanted, side="right") - 1, 0, len(points_c) - 2)
    share = ((wanted - points_c[left]) / (points_c[left + 1] - points_c[left]))[:, None]
    return values[left] * (1 - share) + values[left + 1] * share


def _hump(upper_c: float) -> Law:
    """Rate a·T·(T − T0)·√(T_max − T): the threshold by a grid, a by least relative squares."""

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


def _laws(count: int, upper_c: float | None) -> dict[str, Law]:
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


def _ratio_table() -> tuple[np.ndarray, np.ndarray]:
    shapes = np.geomspace(1.0, 20000.0, 400)
    return shapes, np.log(gammaincinv(shapes, LAST) / gammaincinv(shapes, FIRST))


_SHAPES, _LOG_RATIOS = _ratio_table()


def gamma_shape_of_ratio(ratio: np.ndarray | float) -> np.ndarray:
    """Shape of the gamma distribution whose 99 % point is `ratio` times its 1 % point, any array shape.

    Parameters
    ----------
    ratio : array_like
        Last over first [-].

    Examples
    --------
    The four measured ratios of D. vastator ask for some 400, 84, 26 and 46 sub-stages.

    >>> np.round(gamma_shape_of_ratio(np.array([24 / 19, 5 / 3, 5 / 2, 3 / 1.5]))).tolist()
    [397.0, 84.0, 27.0, 46.0]
    """
    return np.exp(np.interp(-np.log(ratio), -_LOG_RATIOS, np.log(_SHAPES)))


@dataclass(frozen=True)
class DurationTable:
    """A gamma-distributed duration at every temperature, one law a draw.

    Parameters
    ----------
    mean_rate : numpy.ndarray
        One over the mean duration on the temperature grid, shape (G, M) [1/d].
    shape : numpy.ndarray
        Gamma shape on the grid, shape (G, M); the coefficient of variation is its root's inverse.
    measured_c : tuple of float
        Coldest and warmest temperature measured [°C].
    """

    mean_rate: np.ndarray
    shape: np.ndarray
    measured_c: tuple[float, float]

    def rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Development per day, shape (M,) [1/d]."""
        return _look_up(self.mean_rate, temperature_c)

    def shape_at(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Gamma shape of the duration, shape (M,)."""
        return _look_up(self.shape, temperature_c)

    def quantile_days(self, probability: float, temperature_c: np.ndarray | float) -> np.ndarray:
        """Day by which a share has finished at constant temperature, shape (M,) [d]; infinite where none does."""
        shape = self.shape_at(temperature_c)
        with np.errstate(divide="ignore"):
            return gammaincinv(shape, probability) / shape / self.rate(temperature_c)

    def mean_days(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Mean duration at constant temperature, shape (M,) [d]; infinite where development stands still."""
        with np.errstate(divide="ignore"):
            return 1.0 / self.rate(temperature_c)

    def extrapolates(self, temperature_c: float) -> bool:
        """Tell whether a temperature lies outside the measured range."""
        return not self.measured_c[0] <= temperature_c <= self.measured_c[1]


def _look_up(table: np.ndarray, temperature_c: np.ndarray | float) -> np.ndarray:
    """Interpolate a (G, M) table on the temperature grid at one temperature, or at one a draw."""
    place = np.clip((np.asarray(temperature_c, float) - GRID_C[0]) / (GRID_C[1] - GRID_C[0]), 0, len(GRID_C) - 1.001)
    left = place.astype(int)
    share = place - left
    if left.ndim == 0:
        return table[left] * (1 - share) + table[left + 1] * share
    columns = np.arange(table.shape[1])
    return table[left, columns] * (1 - share) + table[left + 1, columns] * share


@dataclass(frozen=True)
class Development:
    """All durations of one parasite set, M draws.

    Parameters
    ----------
    hatch : DurationTable
        From laying to hatching.
    fresh_rate_at_20, block_c : numpy.ndarray or None
        Rate of leaving the part of development that cold blocks at 20 °C [1/d], and the temperature below which
        it stands still [°C], each shape (M,); None where the set has no cold data.
    started_cold_q10 : numpy.ndarray or None
        How a started egg slows per 10 °C below the coldest measured temperature, shape (M,).
    maturity : DurationTable
        From settling to laying.
    """

    hatch: DurationTable
    maturity: DurationTable
    fresh_rate_at_20: np.ndarray | None = None
    block_c: np.ndarray | None = None
    started_cold_q10: np.ndarray | None = None

    @property
    def has_fresh_eggs(self) -> bool:
        """Tell whether the first part of egg development is told apart."""
        return self.block_c is not None

    def fresh_rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Rate at which a fresh egg starts to develop, shape (M,) [1/d]; 0 below the block."""
        return self.fresh_rate_at_20 * np.maximum(temperature_c - self.block_c, 0) / (20.0 - self.block_c)

    def egg_rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Development per day of a started egg, shape (M,) [1/d].

        Notes
        -----
        Within the measured range the two parts add up to the mean time to hatch, of which the second keeps at
        least 30 %; below it a started egg slows by its own Q10, so it goes on in the cold.
        """
        if not self.has_fresh_eggs:
            return self.hatch.rate(temperature_c)
        coldest = self.hatch.measured_c[0]
        warm = np.maximum(temperature_c, coldest)
        whole = self.hatch.mean_days(warm)
        with np.errstate(divide="ignore"):
            rest = np.maximum(whole - 1 / self.fresh_rate(warm), 0.3 * whole)
        return self.started_cold_q10 ** (-np.maximum(coldest - temperature_c, 0) / 10.0) / rest

    def egg_shape(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Gamma shape of the second part, so that both together vary as measured, shape (M,)."""
        shape = self.hatch.shape_at(temperature_c)
        if not self.has_fresh_eggs:
            return shape
        warm = np.maximum(temperature_c, self.hatch.measured_c[0])
        variance = self.hatch.mean_days(warm) ** 2 / shape
        with np.errstate(divide="ignore"):
            rest = np.maximum(variance - self.fresh_rate(warm) ** -2.0, 0.3 * variance)
        return 1 / (self.egg_rate(warm) ** 2 * rest)


def fit_cold_storage(evidence: Evidence) -> tuple[float, int]:
    """Fit how long blocked eggs stay viable: mean [d] and number of stages of the chain that wears them down.

    Parameters
    ----------
    evidence : Evidence
        With points named hatch_after_<days>_d_cold: shares hatched after so many days of storage.

    Returns
    -------
    mean_days : float
        [d]
    stages : int
        Between 1 and 12.

    Notes
    -----
    Least squares of the share that hatches, relative to eggs never stored, against the survival function of a
    gamma time to loss of viability. One stage, an exponential loss, cannot follow the shoulder of the trial.
    """
    points = [p for p in evidence.points if p.quantity.startswith("hatch_after_")]
    days = np.array([float(p.quantity.split("_")[2]) for p in points])
    share = np.array([p.value for p in points])
    share = share / share[days == 0]
    means = np.linspace(5.0, 60.0, 551)
    stages = np.arange(1, 13)
    survivors = gammaincc(stages[:, None, None], stages[:, None, None] * days / means[None, :, None])
    best = np.unravel_index(((survivors - share) ** 2).sum(-1).argmin(), (stages.size, means.size))
    return float(means[best[1]]), int(stages[best[0]])


def draw_development(evidence: Evidence, n: int, seed: int) -> Development:
    """Draw `n` developments of an egg-laying set.

    Raises
    ------
    CannotAnswerError
        Where neither hatching nor maturity was measured or lent.
    """
    strain = evidence.values["strain_factor"].draw(n, seed, evidence.name)
    hatch = _draw_hatch(evidence, strain, n, seed)
    maturity = _draw_maturity(evidence, strain, n, seed)
    if "cold_block_c" not in evidence.values:
        return Development(hatch, maturity)
    fresh, block, q10 = (
        evidence.values[name].draw(n, seed, evidence.name)
        for name in ("fresh_egg_days", "cold_block_c", "egg_cold_q10")
    )
    return Development(hatch, maturity, 1 / (fresh * strain), block, q10)


def _draw_hatch(evidence: Evidence, strain: np.ndarray, n: int, seed: int) -> DurationTable:
    first_points, last_points = (evidence.points_of(f"{w}_hatch_days") for w in ("first", "last"))
    upper = evidence.values.get("egg_upper_limit_c")
    if first_points:
        first_rate = _draw_rates(first_points, strain, n, seed, evidence.name, upper)
        shape = _draw_shape(evidence, first_points, last_points, n, seed)
        return DurationTable(_mean_rate(first_rate, shape, FIRST), shape, _range(first_points))
    mean_points = evidence.points_of("mean_hatch_days")
    rate = _draw_rates(mean_points, strain, n, seed, evidence.name, upper)
    return DurationTable(rate, _draw_shape(evidence, (), (), n, seed), _range(mean_points))


def _draw_maturity(evidence: Evidence, strain: np.ndarray, n: int, seed: int) -> DurationTable:
    """Maturity by competing laws where two temperatures were measured, else one scaled by degree-days."""
    points = evidence.points_of("earliest_maturity_days")
    shape = np.broadcast_to(_maturity_shape(evidence, points, n, seed), (len(GRID_C), n))
    if len(points) >= 2:
        first_rate = _draw_rates(points, strain, n, seed, evidence.name, None)
    elif points:
        days = _moved(points, n, seed, evidence.name)[0] * strain
        threshold = evidence.values["maturity_threshold_c"].draw(n, seed, evidence.name)
        measured_c = points[0].temperature_c
        first_rate = np.maximum(GRID_C[:, None] - threshold, 0) / (measured_c - threshold) / days
    else:
        raise CannotAnswerError(f"{evidence.name}: maturity was not measured at any temperature")
    return DurationTable(_mean_rate(first_rate, shape, FIRST), shape, _range(points))


def _maturity_shape(evidence: Evidence, points: Sequence[Point], n: int, seed: int) -> np.ndarray:
    late = evidence.points_of("maturity_90pct_days")
    if not late:
        return evidence.values["maturity_shape"].draw(n, seed, evidence.name)
    early_days = _moved(points[:1], n, seed, evidence.name)[0]
    late_days = np.maximum(_moved(late[:1], n, seed, evidence.name)[0], early_days * 1.1)
    ratios = np.log(gammaincinv(_SHAPES, 0.9) / gammaincinv(_SHAPES, FIRST))
    return np.exp(np.interp(-np.log(late_days / early_days), -ratios, np.log(_SHAPES)))


def _draw_rates(
    points: Sequence[Point], strain: np.ndarray, n: int, seed: int, salt: str, upper: Value | None
) -> np.ndarray:
    """Rates on the grid, shape (G, n): every draw's own law through its own reading of the points."""
    upper_c = None if upper is None else upper.value
    fits = fit_laws(points, upper_c)
    days = _moved(points, n, seed, salt) * strain
    t = np.array([p.temperature_c for p in points])
    picks = uniform_draws(f"{salt}{points[0].quantity} law", n, seed)
    choice = np.searchsorted(np.cumsum([fit.weight for fit in fits])[:-1], picks)
    laws = _laws(len(points), upper_c)
    rates = np.empty((len(GRID_C), n))
    for i, fit in enumerate(fits):
        mine = choice == i
        rates[:, mine] = laws[fit.law](t, days[:, mine], GRID_C)
    return rates


def _moved(points: Sequence[Point], n: int, seed: int, salt: str) -> np.ndarray:
    """The points as each draw reads them, moved within their range, shape (P, n) [d]."""
    rows = [
        Value(f"{p.quantity} {p.temperature_c}", p.value, p.low, p.high, "d", "log", p.known).draw(n, seed, salt)
        for p in points
    ]
    return np.array(rows)


def _draw_shape(evidence: Evidence, first: Sequence[Point], last: Sequence[Point], n: int, seed: int) -> np.ndarray:
    """Gamma shape on the grid, shape (G, n), its logarithm interpolated between the points and held beyond."""
    if not last:
        return np.broadcast_to(evidence.values["hatch_shape"].draw(n, seed, evidence.name), (len(GRID_C), n))
    t = np.array([p.temperature_c for p in last])
    early = np.array([np.interp(t, [p.temperature_c for p in first], [p.value for p in first])]).T
    late = _moved(last, n, seed, evidence.name)
    chance = evidence.values["last_hatch_is_window"].value if "last_hatch_is_window" in evidence.values else 0.0
    window = uniform_draws(f"{evidence.name} reading", n, seed) < chance
    ratio = np.maximum(np.where(window, late + early, late) / early, 1.02)
    log_shape = np.log(gamma_shape_of_ratio(ratio))
    if len(t) == 1:
        return np.exp(np.broadcast_to(log_shape[0], (len(GRID_C), n)))
    inner = np.clip(GRID_C, t[0], t[-1])
    return np.exp(_piecewise(t, log_shape, inner))


def _mean_rate(first_rate: np.ndarray, shape: np.ndarray, probability: float) -> np.ndarray:
    """One over the mean of a gamma duration whose point at `probability` is one over `first_rate`."""
    table = gammaincinv(_SHAPES, probability) / _SHAPES
    return first_rate * np.interp(np.log(shape), np.log(_SHAPES), table)


def _range(points: Sequence[Point]) -> tuple[float, float]:
    return points[0].temperature_c, points[-1].temperature_c

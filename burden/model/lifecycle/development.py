"""How fast eggs and juveniles develop at a temperature, how many eggs hatch and how many are laid.

Laws over temperature are fitted by code to the measured points (`burden.model.lifecycle.thermal_laws`). Where a set has
hatching measured at one temperature only, its course over temperature is scaled by degree-days; where hatch success or
laying was measured against temperature, they follow their points too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, gammaincinv, logit

from burden.evidence import ParasiteSet, Point
from burden.model.lifecycle.durations import (
    FIRST,
    LAST,
    SHAPES,
    DurationTable,
    gamma_shape_of_ratio,
    mean_rate_of,
    on_grid,
)
from burden.model.lifecycle.fresh_eggs import FreshEggs, started_rate
from burden.model.lifecycle.thermal_laws import GRID_C, draw_law_rates, joined, moved_points
from burden.utils.errors import CannotAnswerError
from burden.utils.random_streams import uniform_draws

__all__ = ["LIMIT_EDGE_C", "Development", "days_per_egg", "draw_development"]

#: over so many degrees inside a measured limit the hatch success falls to nothing [°C]
LIMIT_EDGE_C = 1.0


@dataclass(frozen=True)
class Development:
    """All durations of one parasite set, M draws.

    Parameters
    ----------
    hatch : DurationTable
        From laying to hatching.
    maturity : DurationTable
        From settling to laying.
    fresh : FreshEggs or None
        The part of development that cold blocks; None where the set has no cold data.
    success : numpy.ndarray or None
        Share of eggs that hatch on the temperature grid, shape (G, M); None where it was not measured against it.
    laying : numpy.ndarray or None
        Eggs per adult and day on the temperature grid, shape (G, M) [1/d]; None where it was not measured against it.
    """

    hatch: DurationTable
    maturity: DurationTable
    fresh: FreshEggs | None = None
    success: np.ndarray | None = None
    laying: np.ndarray | None = None

    def take(self, draws: np.ndarray) -> Development:
        """Return the draws at some positions, repeats allowed."""
        return Development(
            self.hatch.take(draws),
            self.maturity.take(draws),
            None if self.fresh is None else self.fresh.take(draws),
            *(None if grid is None else grid[:, draws] for grid in (self.success, self.laying)),
        )

    def egg_rate(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Development per day of a started egg, shape (M,) [1/d].

        Notes
        -----
        Within the measured range the two parts add up to the mean time to hatch, of which the second keeps at
        least 30 %; below it a started egg slows by its own Q10, so it goes on in the cold.
        """
        if self.fresh is None:
            return self.hatch.rate(temperature_c)
        return started_rate(self.hatch, self.fresh, temperature_c)

    def hatch_success(self, temperature_c: np.ndarray | float) -> np.ndarray | None:
        """Share of eggs that hatch, shape (M,) [-]; None where it was not measured against temperature."""
        return None if self.success is None else on_grid(self.success, temperature_c)

    def laying_rate(self, temperature_c: np.ndarray | float) -> np.ndarray | None:
        """Eggs per adult and day, shape (M,) [1/d]; None where it was not measured against temperature."""
        return None if self.laying is None else on_grid(self.laying, temperature_c)

    def egg_shape(self, temperature_c: np.ndarray | float) -> np.ndarray:
        """Gamma shape of the second part, so that both together vary as measured, shape (M,)."""
        shape = self.hatch.shape_at(temperature_c)
        if self.fresh is None:
            return shape
        warm = np.maximum(temperature_c, self.hatch.measured_c[0])
        variance = self.hatch.mean_days(warm) ** 2 / shape
        with np.errstate(divide="ignore"):
            rest = np.maximum(variance - self.fresh.rate(warm) ** -2.0, 0.3 * variance)
        return 1 / (self.egg_rate(warm) ** 2 * rest)


def draw_development(evidence: ParasiteSet, n: int, seed: int) -> Development:
    """Draw `n` developments of an egg-laying set.

    Raises
    ------
    CannotAnswerError
        Where neither hatching nor maturity was measured or lent.
    """
    strain = evidence.values["strain_factor"].draw(n, seed, evidence.name)
    hatch = _draw_hatch(evidence, strain, n, seed)
    maturity = _draw_maturity(evidence, strain, n, seed)
    success, laying = _draw_success(evidence, n, seed), _draw_laying(evidence, n, seed)
    if "cold_block_c" not in evidence.values:
        return Development(hatch, maturity, success=success, laying=laying)
    names = ("fresh_egg_days", "cold_block_c", "egg_cold_q10")
    fresh, block, q10 = (evidence.values[name].draw(n, seed, evidence.name) for name in names)
    # a Q10 borrowed with a wider range can be drawn below 1, which would hatch eggs sooner in the cold
    cold = FreshEggs(1 / (fresh * strain), block, np.maximum(q10, 1.0))
    return Development(_cold_hatching(hatch, cold), maturity, cold, success, laying)


def _cold_hatching(hatch: DurationTable, fresh: FreshEggs) -> DurationTable:
    """Let the mean time to hatch below the coldest point be that of both parts together, as the dynamics have it.

    Without this the law of the measured points would go on down and stop development where started eggs go on.
    """
    rate = hatch.mean_rate.copy()
    for row in np.flatnonzero(hatch.measured_c[0] > GRID_C):
        leave, started = fresh.rate(GRID_C[row]), started_rate(hatch, fresh, GRID_C[row])
        rate[row] = leave * started / (leave + started)
    return replace(hatch, mean_rate=rate)


def _draw_hatch(evidence: ParasiteSet, strain: np.ndarray, n: int, seed: int) -> DurationTable:
    """Hatching by the best measured of first, last and mean; at one temperature only, scaled by degree-days."""
    by_kind = {kind: evidence.points_of(f"{kind}_hatch_days") for kind in ("first", "last", "mean")}
    kind = next((k for k in by_kind if len(by_kind[k]) >= 2), None) or next((k for k in by_kind if by_kind[k]), None)
    if kind is None:
        raise CannotAnswerError(f"{evidence.name}: hatching was not measured at any temperature")
    points = by_kind[kind]
    shape = _draw_shape(evidence, by_kind["first"], by_kind["last"], n, seed)
    if len(points) >= 2:
        rate = draw_law_rates(points, strain, n, seed, evidence.name, evidence.values.get("egg_upper_limit_c"))
    else:
        rate = _scaled(evidence, points[0], strain, "egg_threshold_c", n, seed)
    if kind != "mean":
        rate = mean_rate_of(rate, shape, FIRST if kind == "first" else LAST)
    return DurationTable(rate, shape, _range(points))


def _draw_maturity(evidence: ParasiteSet, strain: np.ndarray, n: int, seed: int) -> DurationTable:
    """Maturity by competing laws where two temperatures were measured, else one scaled by degree-days."""
    points = evidence.points_of("earliest_maturity_days")
    if not points:
        raise CannotAnswerError(f"{evidence.name}: maturity was not measured at any temperature")
    shape = np.broadcast_to(_maturity_shape(evidence, points, n, seed), (len(GRID_C), n))
    if len(points) >= 2:
        first_rate = draw_law_rates(points, strain, n, seed, evidence.name)
    else:
        first_rate = _scaled(evidence, points[0], strain, "maturity_threshold_c", n, seed)
    return DurationTable(mean_rate_of(first_rate, shape, FIRST), shape, _range(points))


def _scaled(evidence: ParasiteSet, point: Point, strain: np.ndarray, threshold: str, n: int, seed: int) -> np.ndarray:
    """Rates on the grid from one measured temperature and a threshold, shape (G, n) [1/d]."""
    days = moved_points([point], n, seed, evidence.name)[0] * strain
    zero = evidence.values[threshold].draw(n, seed, evidence.name)
    return np.maximum(GRID_C[:, None] - zero, 0) / (point.temperature_c - zero) / days


def _maturity_shape(evidence: ParasiteSet, points: Sequence[Point], n: int, seed: int) -> np.ndarray:
    late = evidence.points_of("maturity_90pct_days")
    if not late:
        return evidence.values["maturity_shape"].draw(n, seed, evidence.name)
    early_days = moved_points(points[:1], n, seed, evidence.name)[0]
    late_days = np.maximum(moved_points(late[:1], n, seed, evidence.name)[0], early_days * 1.1)
    ratios = np.log(gammaincinv(SHAPES, 0.9) / gammaincinv(SHAPES, FIRST))
    return np.exp(np.interp(-np.log(late_days / early_days), -ratios, np.log(SHAPES)))


def _draw_shape(evidence: ParasiteSet, first: Sequence[Point], last: Sequence[Point], n: int, seed: int) -> np.ndarray:
    """Gamma shape on the grid, shape (G, n), from the temperatures at which both first and last were measured.

    Its logarithm is interpolated between them and held beyond; where there is none it is the set's own value.
    """
    early_days = {p.temperature_c: p.value for p in first}
    both = [p for p in last if p.temperature_c in early_days]
    if not both:
        return np.broadcast_to(evidence.values["hatch_shape"].draw(n, seed, evidence.name), (len(GRID_C), n))
    t = np.array([p.temperature_c for p in both])
    early = np.array([early_days[temperature] for temperature in t])[:, None]
    late = moved_points(both, n, seed, evidence.name)
    chance = evidence.values["last_hatch_is_window"].value if "last_hatch_is_window" in evidence.values else 0.0
    window = uniform_draws(f"{evidence.name} reading", n, seed) < chance
    ratio = np.maximum(np.where(window, late + early, late) / early, 1.02)
    log_shape = np.log(gamma_shape_of_ratio(ratio))
    if len(t) == 1:
        return np.exp(np.broadcast_to(log_shape[0], (len(GRID_C), n)))
    return np.exp(joined(t, log_shape, np.maximum(GRID_C, t[0])))


def _draw_success(evidence: ParasiteSet, n: int, seed: int) -> np.ndarray | None:
    """Share of eggs that hatch on the grid, shape (G, n): its points joined on the logit scale, none beyond a limit."""
    points = () if "hatch_success" in evidence.overridden else evidence.points_of("hatch_success_share")
    limits = [evidence.values.get(f"egg_{which}_limit_c") for which in ("lower", "upper")]
    if not points and limits == [None, None]:
        return None
    if points:
        t = np.array([p.temperature_c for p in points])
        drawn = logit(moved_points(points, n, seed, evidence.name, "logit"))
        share = expit(joined(t, drawn, np.maximum(GRID_C, t[0])))
    else:
        share = np.broadcast_to(evidence.values["hatch_success"].draw(n, seed, evidence.name), (len(GRID_C), n))
    for limit, side in zip(limits, (1, -1), strict=True):
        if limit is not None:
            inside = side * (GRID_C[:, None] - limit.draw(n, seed, evidence.name))
            share = share * np.clip(inside / LIMIT_EDGE_C, 0, 1)
    return share


def _draw_laying(evidence: ParasiteSet, n: int, seed: int) -> np.ndarray | None:
    """Eggs per adult and day on the grid, shape (G, n): the laws of durations, on days an egg."""
    points = days_per_egg(evidence)
    if len(points) < 2 or "fecundity" in evidence.overridden:
        return None
    return draw_law_rates(points, 1.0, n, seed, evidence.name)


def days_per_egg(evidence: ParasiteSet) -> tuple[Point, ...]:
    """Return the points of eggs a day as durations, the days an adult takes for an egg, by rising temperature."""
    return tuple(
        replace(p, quantity="days_per_egg", value=1 / p.value, low=1 / p.high, high=1 / p.low)
        for p in evidence.points_of("eggs_per_day")
    )


def _range(points: Sequence[Point]) -> tuple[float, float]:
    return points[0].temperature_c, points[-1].temperature_c

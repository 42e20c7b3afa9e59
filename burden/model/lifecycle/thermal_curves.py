"""What a parasite set makes of a temperature, as curves with bands and the points they rest on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.evidence import ParasiteSet, Point
from burden.model.lifecycle.development import Development
from burden.model.lifecycle.durations import FIRST, LAST
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.model.lifecycle.thermal_laws import GRID_C
from burden.model.lifecycle.viviparous import births_per_life, fluke_life_days, growth_rate
from burden.utils.results import number

__all__ = ["Curve", "thermal_curves"]

_EVERY = 4  # grid points a curve is given at: each degree
_NONE = 1e6  # a duration that never ends, given as null [d]


@dataclass(frozen=True)
class Curve:
    """One quantity against temperature, from the draws of a set.

    Parameters
    ----------
    quantity, unit : str
        For instance first_hatch_days, d.
    label : str
        In words.
    temperature_c : numpy.ndarray
        Shape (T,) [°C].
    low, median, high : numpy.ndarray
        5, 50 and 95 % points of the draws, shape (T,); NaN where development stands still.
    measured_c : tuple of float or None
        Coldest and warmest temperature measured [°C]; None where the curve rests on no point of its own.
    points : tuple of Point
        Measured points of this quantity.
    borrowed_from : str or None
        The set the points are of.
    """

    quantity: str
    unit: str
    label: str
    temperature_c: np.ndarray
    low: np.ndarray
    median: np.ndarray
    high: np.ndarray
    measured_c: tuple[float, float] | None
    points: tuple[Point, ...]
    borrowed_from: str | None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, null where development stands still."""
        columns = {name: [number(x) for x in getattr(self, name)] for name in ("low", "median", "high")}
        return {
            "quantity": self.quantity,
            "unit": self.unit,
            "temperature_c": self.temperature_c.tolist(),
            **columns,
            "measured_c": list(self.measured_c) if self.measured_c else None,
            "borrowed_from": self.borrowed_from,
        }


#: a quantity at a temperature, and one of all rates there; None where it was not measured
_ValueAt = Callable[[float], np.ndarray | None]
_OfRates = Callable[[Mapping[str, np.ndarray]], np.ndarray]


def thermal_curves(evidence: ParasiteSet, n: int = 200, seed: int = 1) -> tuple[Curve, ...]:
    """Return everything a set has against temperature.

    Parameters
    ----------
    evidence : ParasiteSet
    n, seed : int
        Draws and seed of the bands.

    Returns
    -------
    tuple of Curve
        Egg-layers: first and last hatch, earliest maturity, and hatch success and laying where measured against
        temperature. Live-bearers: life of a fluke, births a life and growth.

    Examples
    --------
    >>> from burden.evidence import load_parasite
    >>> [c.quantity for c in thermal_curves(load_parasite("gyrodactylus_guppies"), 20)]
    ['fluke_life_days', 'births_per_life', 'growth_rate_per_day']
    """
    parameters = draw_parameters(evidence, n, seed)
    walk = _live_bearer if parameters.development is None else _egg_layer
    return tuple(walk(parameters))


def _egg_layer(parameters: Parameters) -> Iterator[Curve]:
    development, evidence = parameters.of_eggs, parameters.evidence
    quantities: dict[str, tuple[str, str, _ValueAt]] = {
        "first_hatch_days": ("first hatch (1 %)", "d", lambda t: development.hatch.quantile_days(FIRST, t)),
        "last_hatch_days": ("last hatch (99 %)", "d", lambda t: development.hatch.quantile_days(LAST, t)),
        "mean_hatch_days": ("mean time to hatch", "d", development.hatch.mean_days),
        "earliest_maturity_days": ("earliest maturity (1 %)", "d", lambda t: _maturity(development, t)),
    }
    if not evidence.points_of("mean_hatch_days"):
        del quantities["mean_hatch_days"]
    if development.success is not None:
        quantities["hatch_success_share"] = ("share of eggs that hatch", "-", development.hatch_success)
    if development.laying is not None:
        quantities["eggs_per_day"] = ("eggs per adult and day", "1/d", development.laying_rate)
    for quantity, (label, unit, value_at) in quantities.items():
        table = {"earliest_maturity_days": development.maturity}.get(quantity, development.hatch)
        measured = table.measured_c if unit == "d" else None
        yield _curve(evidence, quantity, unit, label, value_at, measured)


def _maturity(development: Development, temperature_c: float) -> np.ndarray:
    return development.maturity.quantile_days(FIRST, temperature_c)


def _live_bearer(parameters: Parameters) -> Iterator[Curve]:
    evidence, nowhere = parameters.evidence, Surroundings(1.0)
    quantities: dict[str, tuple[str, str, _OfRates]] = {
        "fluke_life_days": ("life of a fluke", "d", fluke_life_days),
        "births_per_life": ("births in a life", "-", births_per_life),
        "growth_rate_per_day": ("growth without regulation", "1/d", growth_rate),
    }
    measured = evidence.measured_c
    for quantity, (label, unit, of_rates) in quantities.items():

        def value_at(t: float, of_rates: _OfRates = of_rates) -> np.ndarray:
            return of_rates(rates_at(parameters, t, nowhere))

        yield _curve(evidence, quantity, unit, label, value_at, measured)


def _curve(
    evidence: ParasiteSet,
    quantity: str,
    unit: str,
    label: str,
    value_at: _ValueAt,
    measured_c: tuple[float, float] | None,
) -> Curve:
    grid = GRID_C[::_EVERY]
    values = np.array([value_at(t) for t in grid], float)
    values = np.where(np.isfinite(values), values, _NONE)
    bands = np.quantile(values, [0.05, 0.5, 0.95], axis=1, method="nearest")
    low, median, high = np.where(bands < _NONE, bands, np.nan)
    points = evidence.points_of(quantity)
    if measured_c is None and points:
        measured_c = (points[0].temperature_c, points[-1].temperature_c)
    lender = next((p.borrowed_from for p in points if p.borrowed_from), None)
    return Curve(quantity, unit, label, grid, low, median, high, measured_c, points, lender)

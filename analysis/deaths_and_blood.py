"""What the model says of deaths and blood where somebody measured them, for `analysis/published_checks.py`."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from burden.model.hosts import blood_step, death_rates
from burden.model.lifecycle.parameters import Parameters, draw_parameters

__all__ = [
    "DERIVED",
    "guppy_hazard",
    "guppy_slope",
    "haemoglobin_lost",
    "kingfish",
    "kingfish_unfitted",
    "length_power",
    "stickleback_ratio",
    "table",
]

TESTS = Path(__file__).parents[1] / "tests"
PUBLISHED, DERIVED = TESTS / "published", TESTS / "derived"
#: weight of a guppy of 17 mm, the median of the fish watched [g]: an assumption
GUPPY_G, GUPPY_MM = 0.1, 17.0
#: deaths of isolated guppies beside those by flukes, fitted with the slope [1/d]
GUPPY_BASE = 0.029
#: flukes on a fish of each group of sticklebacks, and its weight [g]: assumptions, the abstract gives neither
FEW, MANY, STICKLEBACK_G = 50.0, 300.0, 0.3
#: weight of a farmed kingfish [g], and water [°C]: assumptions
KINGFISH_G, KINGFISH_C = 1000.0, 20.0
_STEP = 0.25


def table(folder: Path, name: str) -> list[dict[str, str]]:
    """Rows of one source."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _middle(name: str, **values: float) -> Parameters:
    """One draw with every value that matters here at its median, or as given."""
    drawn = draw_parameters(name, 1, 1)
    known = ("hazard_per_burden", "background_hazard", "anaemia_hazard", "blood_loss_per_burden",
             "blood_recovery_per_day", "blood_recovery_q10")  # fmt: skip
    middles = {n: drawn.evidence.values[n].value for n in known if n in drawn.evidence.values}
    return drawn.replaced(**{**middles, **values})


def _slope(length_mm: float) -> float:
    """Death rate that one more fluke adds on a guppy of a length [1/d]."""
    weight = GUPPY_G * (length_mm / GUPPY_MM) ** 3
    p, whole = _middle("gyrodactylus_guppies"), np.ones(1)
    more, none = (float(death_rates(np.full(1, n / weight), whole, p)[1][0]) for n in (1.0, 0.0))
    return more - none


def guppy_slope() -> float:
    """Death rate that one more fluke adds on a guppy of median length [1/d]."""
    return _slope(GUPPY_MM)


def length_power() -> float:
    """Power of length with which that slope falls, between the shortest and the longest fish watched [-]."""
    return float(-np.log(_slope(27.0) / _slope(12.0)) / np.log(27.0 / 12.0))


def guppy_hazard(low: float, high: float) -> float:
    """Death rate between two loads, at their geometric mean [1/d]."""
    return GUPPY_BASE + guppy_slope() * float(np.sqrt(low * high))


def stickleback_ratio() -> float:
    """Hazard of fish with many flukes over that of fish with few, by the general set of live-bearers [-]."""
    p, whole = _middle("gyrodactylus"), np.ones(1)
    many, few = (
        sum(float(np.ravel(x)[0]) for x in death_rates(np.full(1, n / STICKLEBACK_G), whole, p)) for n in (MANY, FEW)
    )
    return many / few


def haemoglobin_lost(adults: Callable[[float], float], recovery: float, loss: float, days: float) -> float:
    """Haemoglobin lost by a day, of a fish whose feeding flukes per gram follow a course [-].

    Parameters
    ----------
    adults : callable
        Day to feeding flukes per gram [1/g].
    recovery : float
        Rate at which lost blood is made good at 20 °C [1/d].
    loss : float
        Rate at which a feeding fluke per gram takes it [1/d per fluke/g].
    days : float
        [d]
    """
    p = _middle("zeuxapta", blood_recovery_per_day=recovery, blood_loss_per_burden=loss)
    blood, steps = np.ones(1), round(days / _STEP)
    for i in range(steps):
        blood = blood_step(blood, np.full(1, adults((i + 0.5) * _STEP)), KINGFISH_C, p, _STEP)
    return float(1 - blood[0])


def _all_feed(day: float) -> float:
    """All flukes feed: up to the peak at 4 weeks, down to half of it at 6."""
    peak = 565.9 / KINGFISH_G
    return peak * min(day / 28, 1 - 0.5 * max(day - 28, 0) / 14)


def _the_mature_feed(day: float) -> float:
    """The mature feed alone, two weeks behind all of them: at their peak at 6 weeks."""
    return 565.9 / KINGFISH_G * max(day - 14, 0) / 28


def kingfish(reading: str, week: int) -> float:
    """Haemoglobin lost at a week after which the flukes' toll was set so that week 4 is met [-].

    Parameters
    ----------
    reading : {"a lag", "mature flukes"}
        All flukes feed and blood is made slowly (the 5 % point of what is believed); or the mature feed and blood is
        made fast (the 95 % point).
    week : int
    """
    value = _middle("zeuxapta").evidence.values["blood_recovery_per_day"]
    adults, recovery = {"a lag": (_all_feed, value.low), "mature flukes": (_the_mature_feed, value.high)}[reading]
    lost = float(table(PUBLISHED, "mansell_2005_haemoglobin")[0]["haemoglobin_lost"])
    loss = brentq(lambda x: haemoglobin_lost(adults, recovery, x, 28.0) - lost, 1e-4, 5.0)
    return haemoglobin_lost(adults, recovery, loss, 7.0 * week)


def kingfish_unfitted() -> float:
    """Haemoglobin lost at 4 weeks by what an adult was seen to drink, half of the flukes feeding [-]."""
    values = _middle("zeuxapta").evidence.values
    recovery, loss = (values[n].value for n in ("blood_recovery_per_day", "blood_loss_per_burden"))
    return haemoglobin_lost(lambda day: 0.5 * _all_feed(day), recovery, loss, 28.0)

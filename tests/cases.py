"""Cases in memory for the tests of estimate and response.

Numbers here set up arithmetic, not biology: each test asks whether the estimate does what its own assumptions say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from types import MappingProxyType

from burden.case import Action, Case, ConstantTemperature, FishGroup, Override, Preparation, Uncertain, Water

__all__ = ["VISIT", "a_case", "clips", "dose", "exactly", "fixed_values", "organs"]

VISIT = date(2026, 5, 10)


def exactly(value: float) -> Uncertain:
    """A number without a range."""
    return Uncertain(value, value, value, "a test")


def fixed_values(**values: float) -> Mapping[str, Override]:
    """Values of the parasite set held at one figure each."""
    return MappingProxyType({n: Override(n, v, v, v, "a test") for n, v in values.items()})


def a_case(
    samples: Iterable[Preparation] = (), *, count: int = 40, temperature_c: float = 20.0, **more: object
) -> Case:
    """A pond of carp of 400 g, `more` goes to the case."""
    # kept at its temperature, so that tests of dates have no weather in them
    water = Water(exactly(10_000.0), "fresh", ConstantTemperature(temperature_c), outlook="heated")
    group = FishGroup("common carp", count, False, exactly(400.0))
    plain = {"visit_date": VISIT, "water": water, "fish": (group,), "parasites": ("dactylogyrus",)}
    return Case("a_case", samples=tuple(samples), **{**plain, **more})


def clips(counts, share=0.02, day=0, chosen="random", first=1, each=1, **more) -> list[Preparation]:
    """Gill clips, `each` of one fish after the other; a count may be (low, high) with None for no upper bound."""
    return [
        _row(count, day, str(first + i // each), chosen, {"method": "gill_clip", "fraction_examined": share, **more})
        for i, count in enumerate(counts)
    ]


def organs(counts, day=0, chosen="random", first=1, **more) -> list[Preparation]:
    """Whole gills, all of them looked at, a fish each."""
    return clips(counts, 1.0, day, chosen, first, method="whole_organ", **more)


def _row(count, day, fish, chosen, more) -> Preparation:
    low, high = count if isinstance(count, tuple) else (count, count)
    return Preparation(VISIT + timedelta(days=day), fish, chosen, "gill", low, high, **more)


def dose(day: int, agent: str = "praziquantel", mg_l: float | None = 5.0, hours: float = 24.0) -> Action:
    """A bath."""
    return Action(VISIT + timedelta(days=day), agent=agent, route="bath", mg_l=mg_l, hours=hours)

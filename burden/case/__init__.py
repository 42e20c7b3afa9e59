"""What a case is: frozen types, pure, no file in sight. `burden.io` fills them.

A case is what one visit knows of one water and its fish. Days count from the visit, negative before it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from itertools import accumulate
from types import MappingProxyType
from typing import TYPE_CHECKING

from burden.case.records import (
    UNKNOWN_AGENT,
    WEEKDAYS,
    Action,
    DeathRecord,
    Findings,
    FishFindings,
    Limits,
    Preparation,
)
from burden.case.stock import (
    ASSUMED_EXCHANGE_PER_DAY,
    ASSUMED_WEIGHT_G,
    PLAIN_NUMBER_SPREAD,
    WEIGHT_PER_LENGTH_CUBED,
    WEIGHT_SPREAD_FROM_LENGTH,
    Arrival,
    ConstantTemperature,
    FishGroup,
    Outlook,
    Override,
    Place,
    RecordedTemperature,
    TemperatureSpec,
    Uncertain,
    Water,
    YearlyTemperature,
)
from burden.utils.wording import lines_of

if TYPE_CHECKING:
    from burden.evidence import ParasiteSet

__all__ = [
    "ASSUMED_EXCHANGE_PER_DAY",
    "ASSUMED_WEIGHT_G",
    "PLAIN_NUMBER_SPREAD",
    "UNKNOWN_AGENT",
    "WEEKDAYS",
    "WEIGHT_PER_LENGTH_CUBED",
    "WEIGHT_SPREAD_FROM_LENGTH",
    "Action",
    "Arrival",
    "Case",
    "ConstantTemperature",
    "DeathRecord",
    "Findings",
    "FishFindings",
    "FishGroup",
    "Limits",
    "Outlook",
    "Override",
    "Place",
    "Preparation",
    "RecordedTemperature",
    "TemperatureSpec",
    "Uncertain",
    "Water",
    "YearlyTemperature",
]


@dataclass(frozen=True)
class Case:
    """One water and its fish, as known at a visit.

    Parameters
    ----------
    name : str
        Name of the case folder.
    visit_date : date
        The date of decision.
    water : Water
    fish : tuple of FishGroup
    parasites : tuple of str
        Names of parasite sets.
    title : str
    trouble_since : date or None
    aim : str or None
        control or eradicate; None where nobody says.
    overrides : mapping of str to Override
    findings : Findings
    limits : Limits
    given, planned : tuple of Action
        By rising date; given ones up to the visit, planned ones from it on.
    samples : tuple of Preparation
    deaths : tuple of DeathRecord
        By rising date; no row, not watched.
    gill_flukes_on_skin : bool
        Whether preparations of the skin tell of flukes whose site is the gill (common practice, no source).
    assumptions, warnings : tuple of str
        What was assumed, the weightiest first, and what looks odd: plain sentences.
    """

    name: str
    visit_date: date
    water: Water
    fish: tuple[FishGroup, ...]
    parasites: tuple[str, ...]
    title: str = ""
    trouble_since: date | None = None
    overrides: Mapping[str, Override] = field(default_factory=lambda: MappingProxyType({}))
    findings: Findings = field(default_factory=Findings)
    limits: Limits = field(default_factory=Limits)
    given: tuple[Action, ...] = ()
    planned: tuple[Action, ...] = ()
    samples: tuple[Preparation, ...] = ()
    deaths: tuple[DeathRecord, ...] = ()
    gill_flukes_on_skin: bool = True
    aim: str | None = None
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def fish_count(self) -> int:
        """Fish alive on the visit date."""
        return sum(group.count for group in self.fish)

    @property
    def food_fish(self) -> bool:
        """Whether any of the fish may be eaten."""
        return any(group.food_fish for group in self.fish)

    @property
    def harvest_date(self) -> date | None:
        """The first day on which food fish are to be harvested; None where nobody said."""
        return min((g.harvest_date for g in self.fish if g.food_fish and g.harvest_date is not None), default=None)

    @property
    def emptied_on(self) -> date | None:
        """The day on which the last fish are to be harvested; None where some stay, or nobody said."""
        last = [group.harvest_date if group.food_fish else None for group in self.fish if group.count > 0]
        dates = [one for one in last if one is not None]
        return max(dates) if dates and len(dates) == len(last) else None

    @property
    def newcomers_apart(self) -> bool:
        """Whether these are bought-in fish, held apart until they may join others."""
        return any(group.newcomers_apart for group in self.fish)

    @property
    def arrivals(self) -> tuple[tuple[int, Arrival], ...]:
        """Fish that came up to the visit, each with the place of its group, by rising date."""
        came = ((g, a) for g, group in enumerate(self.fish) for a in group.new_arrivals if a.date <= self.visit_date)
        return tuple(sorted(came, key=lambda one: one[1].date))

    @property
    def fish_since(self) -> date | None:
        """Date of the first arrival where no fish was in the water before it; None where some were."""
        if not self.arrivals:
            return None
        first = self.arrivals[0][1].date
        return first if self.fish_on(first - timedelta(days=1)) == 0 else None

    @property
    def doses_given(self) -> tuple[Action, ...]:
        """Doses given before the visit."""
        return tuple(action for action in self.given if action.action == "dose")

    @property
    def unknown_doses(self) -> tuple[date, ...]:
        """Dates before the visit on which a drug was given that nobody can name."""
        return tuple(a.date for a in self.doses_given if a.agent in (None, UNKNOWN_AGENT) and a.date < self.visit_date)

    @property
    def doses_planned(self) -> tuple[Action, ...]:
        """Doses that the case itself plans."""
        return tuple(action for action in self.planned if action.action == "dose")

    @property
    def has_samples(self) -> bool:
        """Whether any preparation could be read."""
        return any(row.readable for row in self.samples)

    @property
    def sample_dates(self) -> tuple[date, ...]:
        """Dates of samples, rising, each once."""
        return tuple(sorted({row.date for row in self.samples}))

    @property
    def mean_weight_g(self) -> Uncertain:
        """Mean weight over all fish [g]; the ranges of several groups are added up as if they erred alike."""
        if len(self.fish) == 1:
            return self.fish[0].weight_g
        total = max(self.fish_count, 1)
        parts = [(group.count / total, group.weight_g) for group in self.fish]
        value, low, high = (sum(share * getattr(w, end) for share, w in parts) for end in ("value", "low", "high"))
        return Uncertain(value, low, high, assumption="group_mean" if any(w.assumed for _, w in parts) else "")

    @cached_property
    def _by_day(self) -> tuple[dict[date, list[Preparation]], list[date], list[int]]:
        """Rows of samples by day; days of deaths, and how many had died by each: a log may have a row a day."""
        rows: dict[date, list[Preparation]] = {}
        for row in self.samples:
            rows.setdefault(row.date, []).append(row)
        logged = sorted((row for row in self.deaths if row.date <= self.visit_date), key=lambda row: row.date)
        return rows, [row.date for row in logged], [0, *accumulate(row.deaths for row in logged)]

    def samples_on(self, day: date) -> tuple[Preparation, ...]:
        """Return the preparations of a day, as they stand in the log."""
        return tuple(self._by_day[0].get(day, ()))

    def day_of(self, day: date) -> int:
        """Days from the visit, negative before it [d]."""
        return (day - self.visit_date).days

    def fish_on(self, day: date) -> int:
        """Fish alive at the end of a day up to the visit, from the count, the deaths and the arrivals since.

        Deaths nobody wrote down are missing, so the figure is a lower limit where the log has gaps.
        """
        _, days, dead = self._by_day
        died = dead[-1] - dead[bisect_right(days, day)]
        arrivals = (arrival for group in self.fish for arrival in group.new_arrivals)
        came = sum(arrival.count for arrival in arrivals if day < arrival.date <= self.visit_date)
        return max(self.fish_count + died - came, 0)

    def dose_possible_on(self, day: date) -> bool:
        """Whether the limits let a dose go in on a day: a weekday, a date or a day after the visit."""
        allowed = self.limits.visit_days
        return allowed is None or any(x in allowed for x in (WEEKDAYS[day.weekday()], day, self.day_of(day)))

    def evidence_for(self, evidence: ParasiteSet) -> ParasiteSet:
        """Return a parasite set for fish of this kind and size, with the case's own values in it."""
        evidence = evidence.on_hosts([group.species for group in self.fish]).for_fish_of(self.mean_weight_g.value)
        known = {name: o for name, o in self.overrides.items() if name in evidence.values}
        return evidence.with_overrides({n: o.applied_to(evidence.values[n]) for n, o in known.items()})

    def in_words(self) -> list[str]:
        """Return the case as plain sentences: what was read as what."""
        return lines_of(self)

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        """What a notebook or a console shows: the case read back, not every field of it."""
        return {"text/plain": "\n".join(self.in_words())}

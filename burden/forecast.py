"""Flukes and deaths by day: untreated, as planned, as recommended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.chance import whole_deaths, whole_flukes
from burden.elimination import HORIZON_DAYS, Plan, eliminations
from burden.pond import Pond
from burden.result import Probability, Result, Triple, frame
from burden.simulate import COARSE_STEP_DAYS, Event, State, Trajectory, simulate

__all__ = [
    "AFTER_A_DOSE",
    "BANDS",
    "DELAY_DAYS",
    "STEADY_PER_DAY",
    "Course",
    "Delay",
    "Dosed",
    "Forecast",
    "Regime",
    "by_day",
    "delayed",
    "follow",
    "regime_of",
]

#: points of the draws that are kept by day
BANDS = (0.05, 0.25, 0.5, 0.75, 0.95)
#: growth of the untreated course beyond which a pond grows or fades [1/d]
STEADY_PER_DAY = 0.005
#: delay of the whole recommended plan whose cost is told [d]
DELAY_DAYS = 7.0
#: what to watch for once doses go in
AFTER_A_DOSE = (
    "Appetite and breathing should pick up within one to two days of an effective dose; anaemic fish take weeks. No "
    "change by day 3 is a reason to look again (common practice, no source)."
)


@dataclass(frozen=True)
class Dosed:
    """One dose of a course: date, agent, concentration [mg/L] and mass of active substance [g]."""

    date: date
    agent: str
    mg_l: float | None
    mass_g: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"date": self.date.isoformat(), "agent": self.agent, "mg_l": self.mg_l, "mass_g": self.mass_g}


@dataclass(frozen=True)
class Course:
    """What one course of action comes to.

    Parameters
    ----------
    days : numpy.ndarray
        Days from the visit, shape (K,) [d].
    abundance, deaths : numpy.ndarray
        Flukes per live fish, and fish dead since the visit, at each of `BANDS`, shape (5, K). Whole fish and whole
        flukes: chance is in the bands, not the draws alone.
    deaths_end, abundance_end : Triple
        At the horizon.
    elimination : Probability
        No fluke, egg or larva left 365 d after the last dose, or after the visit without one; both brakes off.
    elimination_braked : Probability
        The same with resistance and crowding as they stand, frozen along the draw's own path.
    doses : tuple of Dosed
    deaths_unresisted : Triple
        Deaths with acquired resistance switched off.
    end, dead, eliminated : numpy.ndarray
        Draw by draw, shape (M,): flukes per fish to be expected at the horizon, fish dead by then, and probability of
        elimination with both brakes off.
    """

    days: np.ndarray
    abundance: np.ndarray
    deaths: np.ndarray
    deaths_end: Triple
    abundance_end: Triple
    elimination: Probability
    elimination_braked: Probability
    doses: tuple[Dosed, ...]
    deaths_unresisted: Triple
    end: np.ndarray
    dead: np.ndarray
    eliminated: np.ndarray

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "deaths": self.deaths_end.as_dict(),
            "deaths_without_resistance": self.deaths_unresisted.as_dict(),
            "mean_abundance_end": self.abundance_end.as_dict(),
            "elimination_probability": self.elimination.as_dict(),
            "elimination_probability_with_brakes": self.elimination_braked.as_dict(),
            "doses": [dose.as_dict() for dose in self.doses],
            "by_day": {
                "day": [float(day) for day in self.days],
                "flukes_per_fish": self._by_point(self.abundance),
                "deaths": self._by_point(self.deaths),
            },
        }

    @staticmethod
    def _by_point(values: np.ndarray) -> dict[str, list[float]]:
        """Median, and the ends of the 50 and of the 90 % band, by day."""
        return {
            f"p{100 * band:g}": [round(float(x), 4) for x in line] for band, line in zip(BANDS, values, strict=True)
        }

    def band(self, values: np.ndarray, share: float) -> tuple[float, float]:
        """Ends of a band at the horizon, of `abundance` or `deaths`; share 0.5 or 0.9."""
        low, high = (BANDS.index(round(0.5 + side * share / 2, 4)) for side in (-1, 1))
        return float(values[low, -1]), float(values[high, -1])


@dataclass(frozen=True)
class Delay:
    """What it costs to give the recommended doses later, all of them, on the same draws and with the same luck.

    Parameters
    ----------
    days : float
        [d]
    deaths : Triple
        Fish dead besides, by the horizon.
    abundance, abundance_in_time : Triple
        Flukes a fish on the day the first dose then goes in, had it waited and had it not.
    abundance_end : Triple
        Flukes a fish at the horizon.
    elimination, elimination_in_time : Probability
        Both brakes off.
    """

    days: float
    deaths: Triple
    abundance: Triple
    abundance_in_time: Triple
    abundance_end: Triple
    elimination: Probability
    elimination_in_time: Probability

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "days": self.days,
            "more_deaths": self.deaths.as_dict(),
            "mean_abundance_at_first_dose": self.abundance.as_dict(),
            "mean_abundance_that_day_in_time": self.abundance_in_time.as_dict(),
            "mean_abundance_end": self.abundance_end.as_dict(),
            "elimination_probability": self.elimination.as_dict(),
            "elimination_probability_in_time": self.elimination_in_time.as_dict(),
        }

    def text(self) -> str:
        """Return the cost in words."""
        return (
            f"The same doses {self.days:g} days later: {_fish(self.deaths)} more fish dead, {self.abundance.text()} "
            f"flukes a fish on that day instead of {self.abundance_in_time.text()}; rid of them in "
            f"{100 * self.elimination.mean:.0f} of 100 instead of {100 * self.elimination_in_time.mean:.0f}."
        )


def _fish(number: Triple) -> str:
    """Return a number of fish in words: whole ones."""
    return f"{number.median:.0f} ({number.low:.0f} to {number.high:.0f})"


Regime = Mapping[str, float]
"""growing, endemic, fading -> probability"""


@dataclass(frozen=True)
class Forecast(Result):
    """Forecast of one case and one parasite set."""

    case: Case
    parasite: str
    seed: int
    draws: int
    horizon_days: float
    regime: Regime
    untreated: Course
    planned: Course | None
    recommended: Course | None
    withheld_reason: str | None
    warnings: Sequence[str] = ()
    delay: Delay | None = None

    def avoided(self, name: str) -> Triple | None:
        """Return the deaths that a course avoids by the horizon, draw by draw against the course left alone."""
        course = self.courses().get(name)
        return None if course is None else Triple.of(self.untreated.dead - course.dead)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "horizon_days": self.horizon_days,
            "elimination_by_days": HORIZON_DAYS,
            "regime_probability": dict(self.regime),
            "untreated": self.untreated.as_dict(),
            "planned": self.planned.as_dict() if self.planned else None,
            "recommended": self.recommended.as_dict() if self.recommended else None,
            "withheld_reason": self.withheld_reason,
            "deaths_avoided": {
                name: None if (avoided := self.avoided(name)) is None else avoided.as_dict()
                for name in ("planned", "recommended")
            },
            "week_later": self.delay.as_dict() if self.delay else None,
            "after_a_dose": AFTER_A_DOSE,
            "warnings": list(self.warnings),
        }

    def courses(self) -> dict[str, Course]:
        """Return the courses there are, by name."""
        named = {"untreated": self.untreated, "planned": self.planned, "recommended": self.recommended}
        return {name: course for name, course in named.items() if course is not None}

    def rows(self) -> list[dict[str, Any]]:
        """Return flukes per fish and deaths by day, a row a course and day."""
        return [
            {
                "course": name,
                "date": (self.case.visit_date + timedelta(days=float(day))).isoformat(),
                "day": float(day),
                **{f"flukes_per_fish_{100 * band:g}": float(course.abundance[b, i]) for b, band in enumerate(BANDS)},
                **{f"deaths_{100 * band:g}": float(course.deaths[b, i]) for b, band in enumerate(BANDS)},
            }
            for name, course in self.courses().items()
            for i, day in enumerate(course.days)
        ]

    def text(self) -> str:
        """Return the forecast in words."""
        lines = [f"{self.parasite}, {self.horizon_days:g} days on from {self.case.visit_date.isoformat()}:"]
        for name, course in self.courses().items():
            lines.append(
                f"  {name}: {_fish(course.deaths_end)} fish dead, {course.abundance_end.text()} flukes a fish; "
                f"rid of them a year after the last dose in {100 * course.elimination.mean:.0f} of 100 "
                f"({100 * course.elimination_braked.mean:.0f} with resistance and crowding as they stand)."
            )
        for name in ("planned", "recommended"):
            avoided = self.avoided(name)
            if avoided is not None:
                lines.append(f"  {name}, against left alone: {_fish(avoided)} deaths avoided.")
        if self.delay is not None:
            lines.append(f"  {self.delay.text()}")
        if any(course.doses for course in self.courses().values()):
            lines.append(f"  {AFTER_A_DOSE}")
        if self.recommended is None and self.withheld_reason:
            lines.append(f"  nothing recommended: {self.withheld_reason}")
        chances = ", ".join(f"{name} {100 * share:.0f} %" for name, share in self.regime.items())
        return "\n".join([*lines, f"Left alone the pond is: {chances}.", *(f"Note: {w}" for w in self.warnings)])


def follow(
    pond: Pond,
    state: State,
    horizon_days: float,
    plan: Plan | None = None,
    events: Sequence[Event] = (),
    doses: Sequence[Dosed] = (),
) -> Course:
    """Follow one course of action by day.

    Parameters
    ----------
    pond, state
        M draws, on the day of the visit.
    horizon_days : float
        [d]
    plan : Plan, optional
        Customary baths of the pond's own agents.
    events : sequence of Event
        Anything else that is done, for instance what the case plans.
    doses : sequence of Dosed
        The doses as they are written down.
    """
    plan = plan or Plan((), ())
    done = [*pond.given, *events, *pond.doses(plan.days, plan.agents)]
    days = np.arange(0.0, np.ceil(horizon_days) + 1)
    run = simulate(pond.setting, state, days, done, COARSE_STEP_DAYS)
    free = simulate(replace(pond.setting, resistance_on=False), state, days[[0, -1]], done, COARSE_STEP_DAYS)
    deaths, abundance = by_day(run, state, pond.seed)
    off, braked = np.exp(_log_chances(pond, state, plan, events, run))
    return Course(
        days=days,
        abundance=np.quantile(abundance, BANDS, axis=1),
        deaths=np.quantile(deaths, BANDS, axis=1),
        deaths_end=Triple.of(deaths[-1]),
        abundance_end=Triple.of(abundance[-1]),
        elimination=Probability.of(off),
        elimination_braked=Probability.of(braked),
        doses=tuple(doses),
        deaths_unresisted=Triple.of(free.deaths[-1] - state.deaths),
        end=run.abundance[-1],
        dead=deaths[-1],
        eliminated=off,
    )


def delayed(
    pond: Pond, state: State, horizon_days: float, plan: Plan, in_time: Course, by_days: float = DELAY_DAYS
) -> Delay:
    """Follow the recommended doses given later, and compare draw by draw.

    Parameters
    ----------
    pond, state
        M draws, on the day of the visit.
    horizon_days : float
        [d]
    plan : Plan
        The doses in time.
    in_time : Course
        What `follow` made of them.
    by_days : float
        [d]
    """
    late = Plan(tuple(day + by_days for day in plan.days), plan.agents)
    done = [*pond.given, *pond.doses(late.days, late.agents)]
    first = float(min(late.days))
    days = np.unique([0.0, max(first - 0.1, 0.0), float(np.ceil(horizon_days))])
    run = simulate(pond.setting, state, days, done, COARSE_STEP_DAYS)
    deaths, abundance = by_day(run, state, pond.seed)
    whole = Plan(tuple(np.round(late.days)), late.agents)
    chance = np.exp(eliminations(pond.setting, state, [whole], pond.effects, [None])[0])
    middle = min(round(first), in_time.abundance.shape[1] - 1)
    low, median, high = (float(in_time.abundance[BANDS.index(p), middle]) for p in (0.05, 0.5, 0.95))
    return Delay(
        days=by_days,
        deaths=Triple.of(deaths[-1] - in_time.dead),
        abundance=Triple.of(abundance[-2]),
        abundance_in_time=Triple(median, low, high),
        abundance_end=Triple.of(abundance[-1]),
        elimination=Probability.of(chance),
        elimination_in_time=in_time.elimination,
    )


def by_day(run: Trajectory, state: State, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Fish dead since the start of a run and flukes per live fish, whole ones, by day and draw, shape (K, M) each.

    Parameters
    ----------
    run : Trajectory
    state : State
        What the run started from.
    seed : int
        Same seed, same luck.
    """
    fish = round(float(state.alive.sum((0, 1)).max()))
    alive = np.maximum(run.alive, 1e-9)
    return whole_deaths(run.deaths - state.deaths, fish, seed), whole_flukes(run.abundance * alive, seed) / alive


def _log_chances(pond: Pond, state: State, plan: Plan, events: Sequence[Event], run: Trajectory) -> np.ndarray:
    """Log-probability of elimination with both brakes off, and with both frozen along the run's own path, (2, M)."""
    path = {"laying": (run.days, run.laying), "settling": (run.days, 1 - run.resistance)}
    effects, whole = dict(pond.effects), plan
    for event in events:
        if event.effect is not None:
            name = f"planned {len(effects)}"
            effects[name] = event.effect
            whole = Plan((*whole.days, event.day), (*whole.agents, name))
    order = np.argsort(whole.days, kind="stable")
    whole = Plan(tuple(np.round(whole.days)[order]) if len(order) else (), tuple(whole.agents[i] for i in order))
    return eliminations(pond.setting, state, [whole, whole], effects, [None, path])


def regime_of(start: np.ndarray, end: np.ndarray, days: float) -> dict[str, float]:
    """Share of draws that grow, stay and fade over the horizon, from flukes per fish, shape (M,) each.

    Growing is above +0.005 per day, fading below −0.005; a draw without flukes fades.
    """
    alive = start > 1e-9
    rate = np.full(start.shape, -np.inf)
    rate[alive] = np.log(np.maximum(end[alive], 1e-12) / start[alive]) / days
    growing, fading = float(np.mean(rate > STEADY_PER_DAY)), float(np.mean(rate < -STEADY_PER_DAY))
    return {"growing": growing, "endemic": max(1 - growing - fading, 0.0), "fading": fading}

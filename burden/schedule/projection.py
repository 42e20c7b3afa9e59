"""Courses of action followed by day: what is on the fish, who dies, and the chance to be rid of the flukes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np

from burden.inference.prior import Ensemble
from burden.model.demographic_noise import whole_deaths, whole_flukes
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.probability import DoseSchedule, eliminations
from burden.model.forward import COARSE_STEP_DAYS, Event, State, Trajectory, simulate
from burden.schedule.evaluation import looked_at, run_beside
from burden.utils.results import CredibleInterval, Probability

__all__ = [
    "BANDS",
    "DELAY_DAYS",
    "NO_DOSE",
    "Delay",
    "Dosed",
    "Projection",
    "Strategy",
    "by_day",
    "follow",
]

#: points of the draws that are kept by day
BANDS = (0.05, 0.25, 0.5, 0.75, 0.95)
#: delay of the whole recommended plan whose cost is told [d]
DELAY_DAYS = 7.0
#: a plan of nothing
NO_DOSE = DoseSchedule((), ())


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
class Strategy:
    """What is done in a course of action.

    Parameters
    ----------
    plan : DoseSchedule
        Customary baths of the pond's own agents.
    events : sequence of Event
        Anything else that is done, for instance what the case plans.
    doses : sequence of Dosed
        The doses as they are written down.
    """

    plan: DoseSchedule = NO_DOSE
    events: Sequence[Event] = ()
    doses: Sequence[Dosed] = ()

    def later(self, by_days: float) -> Strategy:
        """Return the same with the doses of the plan so many days later [d]."""
        return replace(self, plan=DoseSchedule(tuple(day + by_days for day in self.plan.days), self.plan.agents))


@dataclass(frozen=True)
class Projection:
    """What one course of action comes to.

    Parameters
    ----------
    days : numpy.ndarray
        Days from the visit, shape (K,) [d].
    abundance, deaths : numpy.ndarray
        Flukes per live fish, and fish dead since the visit, at each of `BANDS`, shape (5, K). Whole fish and whole
        flukes: chance is in the bands, not the draws alone.
    deaths_end, fluke_deaths_end, other_deaths_end, abundance_end : CredibleInterval
        At the horizon: fish dead of anything, by flukes, of everything else, and flukes a fish.
    elimination : Probability
        No fluke, egg or larva left 365 d after the last dose, or after the visit without one; both brakes off.
    elimination_braked : Probability
        The same with resistance and crowding as they stand, frozen along the draw's own path.
    doses : tuple of Dosed
    deaths_unresisted : CredibleInterval
        Deaths with acquired resistance switched off.
    end, dead, dead_by_flukes, eliminated : numpy.ndarray
        Draw by draw, shape (M,): flukes per fish to be expected at the horizon, fish dead by then and those of them
        that flukes killed, and probability of elimination with both brakes off.
    run : Trajectory
        The run behind it, with a row on the day after the last dose of a plan too.
    """

    days: np.ndarray
    abundance: np.ndarray
    deaths: np.ndarray
    deaths_end: CredibleInterval
    fluke_deaths_end: CredibleInterval
    other_deaths_end: CredibleInterval
    abundance_end: CredibleInterval
    elimination: Probability
    elimination_braked: Probability
    doses: tuple[Dosed, ...]
    deaths_unresisted: CredibleInterval
    end: np.ndarray
    dead: np.ndarray
    dead_by_flukes: np.ndarray
    eliminated: np.ndarray
    run: Trajectory = field(repr=False, compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "deaths": self.deaths_end.as_dict(),
            "fluke_deaths": self.fluke_deaths_end.as_dict(),
            "other_deaths": self.other_deaths_end.as_dict(),
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
    deaths : CredibleInterval
        Fish dead besides, by the horizon.
    abundance, abundance_in_time : CredibleInterval
        Flukes a fish on the day the first dose then goes in, had it waited and had it not.
    abundance_end : CredibleInterval
        Flukes a fish at the horizon.
    elimination, elimination_in_time : Probability
        Both brakes off.
    """

    days: float
    deaths: CredibleInterval
    abundance: CredibleInterval
    abundance_in_time: CredibleInterval
    abundance_end: CredibleInterval
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


def follow(
    pond: Ensemble, state: State, horizon_days: float, doings: Sequence[Strategy], delay_days: float | None = None
) -> tuple[list[Projection], Delay | None]:
    """Follow courses of action by day.

    Parameters
    ----------
    pond, state
        M draws, on the day of the visit.
    horizon_days : float
        [d]
    doings : sequence of Strategy
        The probabilities of elimination of all are taken in one walk back.
    delay_days : float, optional
        The last of them is also followed with its doses so much later, and compared with them in time draw by draw
        [d].

    Returns
    -------
    courses : list of Projection
        One a doing.
    delay : Delay or None
        None where no delay is asked for, or there is no dose to give later.
    """
    late = [doings[-1].later(delay_days)] if delay_days and doings[-1].plan.days else []
    runs = _followed(pond, state, horizon_days, [*doings, *late])
    free = _unresisted(pond, state, horizon_days, doings)
    off, braked = _chances(pond, state, (*doings, *late), runs)
    courses = [
        _course(pond, state, horizon_days, doing, run, *rest)
        for doing, run, *rest in zip(doings, runs, free, off, braked, strict=False)
    ]
    if delay_days is None or not late:
        return courses, None
    return courses, _delay(pond, state, delay_days, courses[-1], late[0], runs[-1], off[-1])


def _followed(pond: Ensemble, state: State, horizon_days: float, doings: Sequence[Strategy]) -> list[Trajectory]:
    """Run courses, with a row a day, one just before each first dose, and one when each one's doses are judged."""
    landings = [day for doing in doings for day in (looked_at(doing.plan), _before_first(doing.plan))]
    return _beside(pond, state, np.union1d(np.arange(0.0, np.ceil(horizon_days) + 1), landings), doings)


def _unresisted(pond: Ensemble, state: State, horizon_days: float, doings: Sequence[Strategy]) -> list[np.ndarray]:
    """Deaths by the horizon with acquired resistance switched off, shape (M,) a course."""
    free = replace(pond, setting=replace(pond.setting, resistance_on=False))
    runs = _beside(free, state, np.array([0.0, np.ceil(horizon_days)]), doings)
    return [run.deaths[-1] - state.deaths for run in runs]


def _beside(pond: Ensemble, state: State, days: np.ndarray, doings: Sequence[Strategy]) -> list[Trajectory]:
    """Run courses: those of doses alone together, those with other events each by itself."""
    alone = {i: doing for i, doing in enumerate(doings) if doing.events}
    runs = {i: simulate(pond.setting, state, days, _done(pond, doing), COARSE_STEP_DAYS) for i, doing in alone.items()}
    plans = {i: doing.plan for i, doing in enumerate(doings) if not doing.events}
    if plans:
        wide = run_beside([pond] * len(plans), state, list(plans.values()), days)
        runs |= {i: wide.take(slice(n * pond.size, (n + 1) * pond.size)) for n, i in enumerate(plans)}
    return [runs[i] for i in range(len(doings))]


def _before_first(plan: DoseSchedule) -> float:
    """Day just before the first dose, 0 without any [d]."""
    return max(min(plan.days, default=0.0) - 0.1, 0.0)


def _done(pond: Ensemble, doing: Strategy) -> list[Event]:
    return [*pond.given, *doing.events, *pond.doses(doing.plan.days, doing.plan.agents)]


def _course(
    pond: Ensemble,
    state: State,
    horizon_days: float,
    doing: Strategy,
    run: Trajectory,
    unresisted: np.ndarray,
    off: np.ndarray,
    braked: np.ndarray,
) -> Projection:
    days = np.arange(0.0, np.ceil(horizon_days) + 1)
    rows = np.searchsorted(run.days, days)
    deaths, abundance = (numbers[rows] for numbers in by_day(run, state, pond.seed))
    # the same fish have the same luck, so those that flukes kill are among all the dead
    by_flukes = whole_deaths(run.fluke_deaths[rows] - state.fluke_deaths, _fish(state), pond.seed)[-1]
    return Projection(
        days=days,
        abundance=np.quantile(abundance, BANDS, axis=1),
        deaths=np.quantile(deaths, BANDS, axis=1),
        deaths_end=CredibleInterval.of(deaths[-1]),
        fluke_deaths_end=CredibleInterval.of(by_flukes),
        other_deaths_end=CredibleInterval.of(deaths[-1] - by_flukes),
        abundance_end=CredibleInterval.of(abundance[-1]),
        elimination=Probability.of(off),
        elimination_braked=Probability.of(braked),
        doses=tuple(doing.doses),
        deaths_unresisted=CredibleInterval.of(unresisted),
        end=run.abundance[rows[-1]],
        dead=deaths[-1],
        dead_by_flukes=by_flukes,
        eliminated=off,
        run=run,
    )


def _delay(
    pond: Ensemble,
    state: State,
    by_days: float,
    in_time: Projection,
    late: Strategy,
    run: Trajectory,
    chance: np.ndarray,
) -> Delay:
    """What the same doses cost so much later, draw by draw."""
    deaths, abundance = by_day(run, state, pond.seed)
    waited, end = np.searchsorted(run.days, [_before_first(late.plan), in_time.days[-1]])
    middle = min(round(min(late.plan.days)), in_time.abundance.shape[1] - 1)
    low, median, high = (float(in_time.abundance[BANDS.index(p), middle]) for p in (0.05, 0.5, 0.95))
    return Delay(
        days=by_days,
        deaths=CredibleInterval.of(deaths[end] - in_time.dead),
        abundance=CredibleInterval.of(abundance[waited]),
        abundance_in_time=CredibleInterval(median, low, high),
        abundance_end=CredibleInterval.of(abundance[end]),
        elimination=Probability.of(chance),
        elimination_in_time=in_time.elimination,
    )


def _fish(state: State) -> int:
    return round(float(state.alive.sum((0, 1)).max()))


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
    alive = np.maximum(run.alive, 1e-9)
    return whole_deaths(run.deaths - state.deaths, _fish(state), seed), whole_flukes(
        run.abundance * alive, seed
    ) / alive


def _chances(
    pond: Ensemble, state: State, doings: Sequence[Strategy], runs: Sequence[Trajectory]
) -> tuple[np.ndarray, np.ndarray]:
    """Probability of elimination of every course with both brakes off, and with both frozen along its run, (S, M)."""
    effects = dict(pond.effects)
    plans = [_with_events(doing, effects) for doing in doings]
    paths = [{"laying": (run.days, run.laying), "settling": (run.days, 1 - run.resistance)} for run in runs]
    logs = eliminations(pond.setting, state, plans * 2, effects, [*(None for _ in plans), *paths])
    off, braked = np.split(np.exp(logs), 2)
    return off, braked


def _with_events(doing: Strategy, effects: dict[str, DoseEffect]) -> DoseSchedule:
    """Doses of a plan and of all events in whole days, in order; effects of events are added by a name of their own."""
    days, agents = list(doing.plan.days), list(doing.plan.agents)
    for event in doing.events:
        if event.effect is not None:
            name = f"planned {len(effects)}"
            effects[name] = event.effect
            days.append(event.day)
            agents.append(name)
    order = np.argsort(days, kind="stable")
    return DoseSchedule(tuple(float(np.round(days[i])) for i in order), tuple(agents[i] for i in order))

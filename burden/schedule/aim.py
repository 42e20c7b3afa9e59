"""What a course has to reach: few flukes from the check day on, or none left a year later, with a stated chance.

The aim is absolute. It asks where the burden stays, not what share of today's flukes is left, so a course that has
worked is over, and the few flukes it left do not start another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.special import gammaincinv, ndtr

from burden.case import Case
from burden.evidence import ParasiteSet, Value
from burden.inference.infection_pressure import withheld_eradication
from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.lifecycle.durations import LAST
from burden.schedule.candidates import gone_day, in_time
from burden.utils.results import CredibleInterval, number

__all__ = [
    "CONTROL_CHANCE",
    "ERADICATION_CHANCE",
    "HORIZON_DAYS",
    "LIVE_BEARER_CHECK_DAYS",
    "WATCHED_DAYS",
    "Aim",
    "aim_of",
    "check_day",
    "check_days",
    "emptied_day",
    "tolerable_value",
]

#: least chance of keeping the burden low, and of leaving none: the aims as stated in every report
CONTROL_CHANCE, ERADICATION_CHANCE = 0.8, 0.9
#: how far ahead the burden has to stay low [d]
HORIZON_DAYS = 60.0
#: at least so long after the check day [d]
WATCHED_DAYS = 14.0
#: live-bearers have no egg to wait for; a week lets survivors grow to be found: common practice, no source [d]
LIVE_BEARER_CHECK_DAYS = 7.0
#: no longer than this is waited for the last egg: the water is too cold for a course [d]
_LONGEST_WAIT_DAYS = 120.0
#: draws that a median of days is taken over, and the step development is summed by [d]
_WAIT_DRAWS, _STEP_DAYS = 100, 0.25
#: mean burden that may stay, adults and juveniles. Nobody measured one. A farm acted at 5 Neobenedenia on tilapia of
#: 22 g, 0.23 a gram (Ellis & Watanabe 1993); at the hazard of guppies (twumasi2022) 1.4 a gram kill 1 % of the fish in
#: 60 days. Who drinks blood does more harm: one Sparicotyle a gram takes 6 to 14 % of a bream's blood a day (riera2024)
_TOLERABLE = Value("tolerable burden", 0.3, 0.06, 1.5, "1/g", "log", "assumption")
_TOLERABLE_OF_BLOOD_FEEDERS = Value("tolerable burden", 0.1, 0.02, 0.5, "1/g", "log", "assumption")
#: large skin flukes of the sea: that farm's 5 on fish of 22 g, more on larger fish as their skin is larger
_TOLERABLE_OF_SKIN_FLUKES = Value("tolerable burden", 0.23, 0.046, 1.15, "1/g", "log", "assumption")
_ACTED_AT_WEIGHT_G, _SKIN_EXPONENT = 22.0, 2 / 3
#: least middle of that level on the smallest fish: fewer are hardly ever found. An assumption [flukes/fish]
_LEAST_LEVEL = 1.0
#: the 5 and 95 % points of a normal distribution lie so many standard deviations from its middle
_Z95 = 1.6448536269514722


def tolerable_value(evidence: ParasiteSet) -> Value:
    """Return the mean burden of a set that may stay [flukes per gram of fish], with its range.

    That of large skin flukes of the sea is of a fish of 22 g.
    """
    if _on_large_skin(evidence):
        return _TOLERABLE_OF_SKIN_FLUKES
    return _TOLERABLE_OF_BLOOD_FEEDERS if evidence.blood_feeder else _TOLERABLE


def _on_large_skin(evidence: ParasiteSet) -> bool:
    return evidence.site == "skin" and evidence.water == ("sea",)


@dataclass(frozen=True)
class Aim:
    """What a course has to reach.

    Parameters
    ----------
    kind : str
        control or eradicate.
    chance : float
        Least chance of reaching it [-].
    tolerable : tuple of CredibleInterval
        Mean flukes a fish that may stay, one a parasite set.
    horizon_days : float
        How far ahead it is followed, at least [d].
    own_level : bool
        Whether the case states the level itself, so that it is one number without a range.
    weight_g : float or None
        Of the fish that the level is of; None where the case states the level [g].
    emptied_day : float or None
        Day on which all fish are harvested, where that comes before the horizon: nothing dies after it [d].
    last_days : mapping of str to float
        Of food fish with a day of harvest, by agent: the last day for a dose of it that does not put the harvest off;
        -1 where there is none [d].
    """

    kind: str
    chance: float
    tolerable: tuple[CredibleInterval, ...]
    horizon_days: float = HORIZON_DAYS
    own_level: bool = False
    weight_g: float | None = None
    emptied_day: float | None = None
    last_days: Mapping[str, float] = field(default_factory=dict, compare=False)

    @property
    def deaths_until_day(self) -> float:
        """Day up to which deaths are counted: the horizon, or the harvest of all fish before it [d]."""
        return self.horizon_days if self.emptied_day is None else self.emptied_day

    def end_day(self, plan: DoseSchedule, check: float) -> float:
        """Return the last day on which the burden has to be low [d].

        Parameters
        ----------
        plan : DoseSchedule
        check : float
            From which it is judged [d].

        Notes
        -----
        That of the horizon, two weeks after the check day at least; where all fish are harvested before, and no dose
        of the plan puts that off, the day of the harvest.
        """
        far = max(self.horizon_days, check + WATCHED_DAYS)
        if self.emptied_day is None or not in_time(plan.days, plan.agents, self.last_days):
            return far
        return min(far, self.emptied_day)

    def share_kept(self, highest: Sequence[np.ndarray]) -> np.ndarray:
        """Chance, draw by draw, that the highest mean burden of every set is one that may stay.

        Parameters
        ----------
        highest : sequence of numpy.ndarray
            Highest mean burden from the check day on, one a parasite set, shape (…, M) [flukes per fish].

        Returns
        -------
        numpy.ndarray
            Shape (…, M). The level is uncertain and independent of the pond, so its distribution is integrated, not
            drawn: a level drawn would only add noise.
        """
        kept = np.ones(np.shape(highest[0]))
        for burden, level in zip(highest, self.tolerable, strict=True):
            kept = kept * _share_above(burden, level)
        return kept

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "kind": self.kind,
            "chance": self.chance,
            "tolerable_flukes_per_fish": [level.as_dict() for level in self.tolerable],
            "level_from": "case" if self.own_level else "assumption",
            "level_for_weight_g": number(self.weight_g),
            "horizon_days": self.horizon_days,
            "deaths_until_day": self.deaths_until_day,
        }


def _share_above(burden: np.ndarray, level: CredibleInterval) -> np.ndarray:
    """Chance that a log-normal level lies above a burden; a level without a range is met or not."""
    spread = np.log(level.high / level.low) / (2 * _Z95)
    if spread == 0:
        return (np.asarray(burden) <= level.median).astype(float)
    return ndtr(np.log(level.median / np.maximum(burden, 1e-12)) / spread)


def aim_of(case: Case, ponds: Sequence[Posterior], kind: str | None = None) -> Aim:
    """Return the aim of a case.

    Parameters
    ----------
    case : Case
        Its own aim and level hold; newcomers held apart are to be free of flukes; all others are to have few.
    ponds : sequence of Posterior
        One a parasite set.
    kind : str, optional
        control or eradicate, in place of the case's own.
    """
    kind = kind or case.aim or ("eradicate" if case.newcomers_apart else "control")
    if withheld_eradication(case) is not None:
        kind = "control"  # no course keeps out what comes with the water
    own = case.limits.tolerable_flukes_per_fish
    weight = case.mean_weight_g.value  # as stated, and not the middle of the draws, which strays from it
    levels = tuple(_level(posterior.pond, weight, own) for posterior in ponds)
    chance = ERADICATION_CHANCE if kind == "eradicate" else CONTROL_CHANCE
    return Aim(kind, chance, levels, own_level=own is not None, weight_g=None if own is not None else weight)


def emptied_day(case: Case) -> float | None:
    """Return the day on which all fish are harvested, where that is after today and before the horizon [d]."""
    day = gone_day(case)
    return day if 0 < day < HORIZON_DAYS else None


def _level(pond: Ensemble, weight: float, own: float | None) -> CredibleInterval:
    if own is not None:
        return CredibleInterval(own, own, own)
    value = tolerable_value(pond.setting.parameters.evidence)
    if _on_large_skin(pond.setting.parameters.evidence):
        weight = _ACTED_AT_WEIGHT_G * (weight / _ACTED_AT_WEIGHT_G) ** _SKIN_EXPONENT
    weight = max(weight, _LEAST_LEVEL / value.value)
    return CredibleInterval(value.value * weight, value.low * weight, value.high * weight)


def check_days(ponds: Sequence[Posterior], lasts: Iterable[float]) -> dict[float, float]:
    """Return the day from which a course can be judged [d], a whole one, by the day of its last dose.

    Every egg laid before the last dose has then hatched, and its larva has settled or died. Without a dose it is
    the same day after a look today.

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set; the slowest counts.
    lasts : iterable of float
        Days of last doses; 0 where there is none [d].
    """
    days = sorted(set(lasts))
    waits = [_waits(pond, days) for pond, _ in ponds]
    return {day: day + max(wait[i] for wait in waits) for i, day in enumerate(days)}


def check_day(ponds: Sequence[Posterior], plan: DoseSchedule) -> float:
    """Return the day from which a course can be judged [d].

    Parameters
    ----------
    ponds : sequence of Posterior
        One a parasite set; the slowest counts.
    plan : DoseSchedule
    """
    last = max(plan.days, default=0.0)
    return check_days(ponds, [last])[last]


def _waits(pond: Ensemble, days: Sequence[float]) -> list[float]:
    """Days from each dose until nothing laid before it is still to come [d]."""
    if not pond.has_windows:
        return [LIVE_BEARER_CHECK_DAYS for _ in days]
    pond = pond.take(np.arange(min(pond.size, _WAIT_DRAWS)))
    times = np.arange(min(days), max(days) + _LONGEST_WAIT_DAYS, _STEP_DAYS)
    hatch = pond.setting.parameters.of_eggs.hatch
    rates = np.array([hatch.rate(pond.setting.temperature.at(t + _STEP_DAYS / 2)) for t in times])
    done = np.concatenate([np.zeros((1, pond.size)), np.cumsum(rates * _STEP_DAYS, axis=0)])
    return [_wait(pond, day, round((day - times[0]) / _STEP_DAYS), done) for day in days]


def _wait(pond: Ensemble, day: float, start: int, done: np.ndarray) -> float:
    """Last hatch and larval life after one dose, in the median draw, as far as it is waited for [d]."""
    p, warmth = pond.setting.parameters, pond.setting.temperature.at(day)
    shape = p.of_eggs.hatch.shape_at(warmth)
    need = gammaincinv(shape, LAST) / shape
    reached = done[start:] - done[start] >= need
    hatched = np.where(reached.any(0), reached.argmax(0) * _STEP_DAYS, np.inf)
    life = p["larval_life_days"] / p["larval_life_q10"] ** ((warmth - 20.0) / 10.0)
    wait = float(np.median(hatched + life))
    return float(np.ceil(min(wait, _LONGEST_WAIT_DAYS)))

"""Deaths ahead by who kills: where the death log leaves that open, doses help in one reading and not in the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from burden.inference.estimate_result import Estimate
from burden.schedule.projection import Projection
from burden.statistics.adaptive_importance import effective_size
from burden.utils.results import CredibleInterval, number
from burden.utils.wording import Remark

__all__ = ["IfThisKills", "deaths_by_killer"]

#: chance of either reading above which who kills is open: an assumption [-]
_OPEN = 0.1
#: effective draws below which a reading has no interval, as the least `--draws`
_TOO_FEW = 20.0


@dataclass(frozen=True)
class IfThisKills(Remark):
    """Deaths ahead in the draws in which one cause explains most of the recorded deaths.

    Parameters
    ----------
    cause : str
        As `Estimate.readings` has it. flukes: more than half of the recorded deaths are theirs; something_else: half of
        them or fewer.
    chance : float
        Of this reading [-].
    effective_draws : float
        Different draws that it stands on.
    days : float
        Horizon [d].
    untreated : CredibleInterval or None
        Fish dead of anything by the horizon; None where too few draws are left to say.
    treated : mapping of str to CredibleInterval
        The same with each course of doses, by its name.
    by_flukes : mapping of str to CredibleInterval
        Of them dead by flukes, untreated and with each course, by its name; empty where too few draws are left.
    by_other : CredibleInterval or None
        Untreated, dead of anything else.
    """

    cause: str
    chance: float
    effective_draws: float
    days: float
    untreated: CredibleInterval | None
    treated: Mapping[str, CredibleInterval]
    by_flukes: Mapping[str, CredibleInterval] = field(default_factory=dict)
    by_other: CredibleInterval | None = None

    @property
    def says_something(self) -> bool:
        """Whether flukes then kill fish worth naming, or doses change how many."""
        if self.untreated is None:
            return True
        written = {deaths.whole() for deaths in self.by_flukes.values()}
        return len(written) > 1 or round(self.by_flukes["untreated"].median) > 0

    def as_dict(self) -> dict[str, Any]:
        """Return numbers and sentence."""
        return {
            "cause": self.cause,
            "probability": number(self.chance),
            "effective_draws": number(self.effective_draws),
            "untreated_deaths": None if self.untreated is None else self.untreated.as_dict(),
            "treated_deaths": {name: deaths.as_dict() for name, deaths in self.treated.items()},
            "deaths_by_flukes": {name: deaths.as_dict() for name, deaths in self.by_flukes.items()},
            "deaths_of_other_causes": None if self.by_other is None else self.by_other.as_dict(),
            "text": str(self),
        }


def deaths_by_killer(found: Estimate, courses: Mapping[str, Projection], days: float) -> tuple[IfThisKills, ...]:
    """Return the forecast of deaths if flukes kill, and if they do not; nothing where the log leaves no doubt.

    Parameters
    ----------
    found : Estimate
    courses : mapping of str to Projection
        Of the estimate's draws, untreated among them.
    days : float
        Horizon [d].
    """
    readings, draws = found.readings(), found.pond.size
    if not found.case.has_samples or not readings or min(len(mine) for mine in readings.values()) <= _OPEN * draws:
        return ()
    return tuple(_reading(cause, found, mine, courses, days) for cause, mine in readings.items())


def _reading(
    cause: str, found: Estimate, mine: np.ndarray, courses: Mapping[str, Projection], days: float
) -> IfThisKills:
    _, repeats = np.unique(found.pond.setting.parameters["aggregation"][mine], return_counts=True)
    chance, worth = mine.size / found.pond.size, effective_size(np.log(repeats))
    if worth < _TOO_FEW:
        return IfThisKills(cause, chance, worth, days, None, {})
    deaths = {name: CredibleInterval.of(course.dead[mine]) for name, course in courses.items()}
    by_flukes = {name: CredibleInterval.of(course.dead_by_flukes[mine]) for name, course in courses.items()}
    alone = courses["untreated"]
    other = CredibleInterval.of((alone.dead - alone.dead_by_flukes)[mine])
    return IfThisKills(cause, chance, worth, days, deaths.pop("untreated"), deaths, by_flukes, other)

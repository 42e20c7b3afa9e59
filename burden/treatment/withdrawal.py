"""How long nobody may eat food fish after a course: degree-days summed over the case's own water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date as Date
from datetime import timedelta
from typing import Any

import numpy as np

from burden.case import UNKNOWN_AGENT, Case
from burden.evidence import agent_names, load_agent
from burden.model.temperature import Temperature
from burden.model.windows import MAX_DAYS
from burden.treatment.residues import stays_in_water
from burden.utils.wording import Remark, text_of

__all__ = [
    "LastDose",
    "UnnamedAgent",
    "Withdrawal",
    "last_dose_before_harvest",
    "unnamed_agent",
    "unnamed_words",
    "withdrawals",
    "withdrawals_of",
]


@dataclass(frozen=True)
class Withdrawal:
    """An example of a withdrawal, no jurisdiction assumed.

    Parameters
    ----------
    agent : str
    degree_days : float
        Example, 0 where the agent asks for none [°C·d].
    days : float or None
        How long that takes in this water after the last dose of the agent; None where it does not end in 400 d [d].
    until_day : float or None
        From the visit [d].
    text : str
        What the figure is.
    harvest : Date or None
        When the fish are to be harvested, where that comes before it ends.
    in_water : bool
        Whether the agent is left in the water after its dose, from which all days here count all the same.
    unapproved_degree_days : float or None
        Example where no product of it is approved for animals that are eaten, if another [°C·d].
    unapproved_until_day : float or None
        When that is over, from the visit; None where there is none, or it does not end in 400 d [d].
    """

    agent: str
    degree_days: float
    days: float | None
    until_day: float | None
    text: str
    harvest: Date | None = None
    in_water: bool = False
    unapproved_degree_days: float | None = None
    unapproved_until_day: float | None = None

    @property
    def longest_degree_days(self) -> float:
        """Example that holds whether a product of the agent is approved or not [°C·d]."""
        return self.degree_days if self.unapproved_degree_days is None else self.unapproved_degree_days

    @property
    def unapproved_days(self) -> float | None:
        """How long the longer example takes after the last dose; None as of `unapproved_until_day` [d]."""
        if self.unapproved_until_day is None or self.until_day is None or self.days is None:
            return None
        return self.unapproved_until_day - (self.until_day - self.days)

    @property
    def latest_day(self) -> float | None:
        """Day from which fish may be eaten whether a product of the agent is approved or not; None if never [d]."""
        return self.until_day if self.unapproved_degree_days is None else self.unapproved_until_day

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        names = ("agent", "degree_days", "unapproved_degree_days", "days", "until_day", "unapproved_until_day", "text")
        plain = {name: getattr(self, name) for name in names}
        harvest = None if self.harvest is None else self.harvest.isoformat()
        return {**plain, "harvest": harvest, "in_water": self.in_water}

    def words(self) -> str:
        """Return the withdrawal in words, without a full stop."""
        return text_of(self)


@dataclass(frozen=True)
class LastDose:
    """Last day on which a dose may be given whose withdrawal is over by the harvest.

    Parameters
    ----------
    agent : str
    degree_days : float
        Example, no jurisdiction assumed [°C·d].
    date : Date or None
        None where any dose from today on comes too late.
    harvest : Date
    unapproved_degree_days : float or None
        As of `Withdrawal` [°C·d].
    """

    agent: str
    degree_days: float
    date: Date | None
    harvest: Date
    unapproved_degree_days: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        day = None if self.date is None else self.date.isoformat()
        return {
            "agent": self.agent,
            "degree_days": self.degree_days,
            "unapproved_degree_days": self.unapproved_degree_days,
            "date": day,
            "harvest": self.harvest.isoformat(),
        }


@dataclass(frozen=True)
class UnnamedAgent(Remark):
    """Food fish were given something nobody can name on these days, whose withdrawal nobody knows."""

    days: tuple[Date, ...]


def withdrawals(days: Sequence[float], agents: Sequence[str], temperature: Temperature) -> tuple[Withdrawal, ...]:
    """Return the withdrawal of each agent of a course, from its own last dose.

    Parameters
    ----------
    days : sequence of float
        Of the doses, from the visit [d].
    agents : sequence of str
        One a dose.
    temperature : Temperature
        Degrees below zero count nothing; the median draw is summed.
    """
    last = dict(zip(agents, days, strict=True))
    return tuple(_after(agent, day, temperature) for agent, day in last.items())


def withdrawals_of(
    case: Case, days: Sequence[float], agents: Sequence[str], temperature: Temperature
) -> tuple[Withdrawal, ...]:
    """Return the withdrawals of food fish that are not over, after the doses to come or those given before.

    Parameters
    ----------
    case : Case
        Fish that nobody eats have none.
    days : sequence of float
        Of the doses to come, from the visit [d].
    agents : sequence of str
        One a dose.
    temperature : Temperature
        As `withdrawals` takes it.
    """
    if not case.food_fish:
        return ()
    known = set(agent_names())  # of an agent nobody can name no rule is known
    doses = [(float(case.day_of(a.date)), a.agent) for a in case.doses_given if a.agent in known]
    doses = sorted([*doses, *zip(days, agents, strict=True)])
    found = withdrawals([day for day, _ in doses], [agent for _, agent in doses], temperature)
    return tuple(_held(case, one) for one in found if one.until_day is None or one.until_day >= 0)


def last_dose_before_harvest(case: Case, agent: str, temperature: Temperature) -> LastDose | None:
    """Return until when a dose may be given to food fish with a date of harvest; None for others.

    Parameters
    ----------
    case : Case
    agent : str
        One that asks for no withdrawal has no last day.
    temperature : Temperature
        As `withdrawals` takes it.
    """
    rule, harvest = load_agent(agent).withdrawal, case.harvest_date
    if not case.food_fish or harvest is None or rule.degree_days == 0:
        return None
    days = int(case.day_of(harvest))
    warmth = np.cumsum([_degrees(temperature, day) for day in reversed(range(max(days, 0)))])
    enough = np.flatnonzero(warmth >= rule.degree_days - 1e-9)
    last = None if not enough.size else case.visit_date + timedelta(days=days - int(enough[0]) - 1)
    return LastDose(agent, float(rule.degree_days), last, harvest, rule.unapproved_degree_days)


def _degrees(temperature: Temperature, day: float) -> float:
    """Warmth of a day that counts, of the median draw [°C·d]."""
    return max(temperature.median_at(day + 0.5), 0.0)


def _held(case: Case, one: Withdrawal) -> Withdrawal:
    """The withdrawal, with the harvest that comes too early for it."""
    one = replace(one, in_water=one.degree_days > 0 and stays_in_water(case, one.agent))
    harvest = case.harvest_date
    over = one.degree_days == 0 or (one.until_day is not None and harvest and case.day_of(harvest) >= one.until_day)
    return one if over else replace(one, harvest=harvest)


def unnamed_agent(case: Case) -> UnnamedAgent | None:
    """Return when food fish were given something nobody can name; None where they were not.

    Parameters
    ----------
    case : Case
    """
    days = sorted({a.date for a in case.doses_given if a.agent in (None, UNKNOWN_AGENT)})
    return UnnamedAgent(tuple(days)) if case.food_fish and days else None


def unnamed_words(case: Case) -> str:
    """Return the same in words, without a full stop; empty where they were not."""
    return "" if (found := unnamed_agent(case)) is None else str(found)


def _after(agent: str, day: float, temperature: Temperature) -> Withdrawal:
    rule = load_agent(agent).withdrawal
    if rule.degree_days == 0:
        return Withdrawal(agent, 0.0, 0.0, float(day), rule.text)
    warmth = np.cumsum([_degrees(temperature, day + k) for k in range(int(MAX_DAYS))])

    def days_for(degree_days: float) -> float | None:
        over = np.flatnonzero(warmth >= degree_days - 1e-9)
        return float(over[0] + 1) if over.size else None

    needed, other = days_for(rule.degree_days), rule.unapproved_degree_days
    longer = None if other is None else days_for(other)
    return Withdrawal(
        agent,
        float(rule.degree_days),
        needed,
        None if needed is None else float(day + needed),
        rule.text,
        unapproved_degree_days=other,
        unapproved_until_day=None if longer is None else float(day + longer),
    )

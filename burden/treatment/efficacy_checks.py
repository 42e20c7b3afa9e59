"""What a bath is expected to kill, form by form, and the kill model against every published point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from burden.evidence import Agent, KillPoint
from burden.treatment.efficacy import FORMS, attached_kill, kill
from burden.treatment.efficacy_fit import draw_kill, predict
from burden.utils.results import Probability, Result, number

__all__ = ["KillTable", "PointCheck", "PointChecks", "check_points", "kill_table"]


@dataclass(frozen=True)
class KillTable(Result):
    """Share of each form one bath kills.

    Parameters
    ----------
    agent : str
    mg_l, hours : float
        The bath [mg/L], [h].
    shares : dict of str to Probability
        By form, and "attached" in the stage mix of the trials.
    effective_draws : float
        Draws the fit is worth.
    sources : tuple of str
        Reference keys.
    """

    agent: str
    mg_l: float
    hours: float
    shares: dict[str, Probability]
    effective_draws: float
    sources: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "agent": self.agent,
            "mg_l": number(self.mg_l),
            "hours": number(self.hours),
            "shares": {form: share.as_dict() for form, share in self.shares.items()},
            "effective_draws": number(self.effective_draws),
            "sources": list(self.sources),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a form."""
        return [{"form": form, **share.as_dict()} for form, share in self.shares.items()]


def kill_table(agent: Agent, n: int, seed: int, mg_l: float | None = None, hours: float | None = None) -> KillTable:
    """Work out what a bath kills; the customary bath where none is given.

    Parameters
    ----------
    agent : Agent
    n, seed : int
        Draws and seed.
    mg_l, hours : float, optional
        [mg/L], [h].

    Returns
    -------
    KillTable

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> table = kill_table(load_agent("praziquantel"), 500, 1)
    >>> table.mg_l, table.hours
    (5.0, 24.0)
    """
    bath = agent.customary
    mg_l = bath.mg_l if mg_l is None else mg_l
    hours = bath.hours if hours is None else hours
    draws = draw_kill(agent, n, seed)
    shares = {form: Probability.of(kill(draws, form, mg_l, hours)) for form in FORMS}
    shares["attached"] = Probability.of(attached_kill(draws, mg_l, hours))
    return KillTable(agent.name, float(mg_l), float(hours), shares, draws.effective_draws, draws.sources)


@dataclass(frozen=True)
class PointCheck:
    """One published point against the model.

    Parameters
    ----------
    point : KillPoint
    model : Probability
        The fit to all fitted points.
    left_out : Probability or None
        The fit without this point, for a fitted one.
    """

    point: KillPoint
    model: Probability
    left_out: Probability | None

    @property
    def blind(self) -> Probability:
        """What the model says without having seen the point."""
        return self.model if self.left_out is None else self.left_out

    @property
    def agrees(self) -> bool:
        """Whether the blind interval, widened by the scatter of the point, reaches what was published."""
        give = 1.6448536269514722 * self.point.scatter
        above = self.blind.high + give >= self.point.kill
        below = self.blind.low - give <= self.point.kill
        return {"equal": above and below, "at_least": above, "at_most": below}[self.point.relation]

    def row(self) -> dict[str, Any]:
        """Return the check as a row of a table."""
        return {
            "role": self.point.role,
            "form": self.point.form,
            "mg_l": self.point.mg_l,
            "hours": " to ".join(f"{h:g}" for h in dict.fromkeys(self.point.hours)),
            "published": self.point.kill,
            "relation": self.point.relation,
            "model": self.model.mean,
            "blind": self.blind.mean,
            "blind_low": self.blind.low,
            "blind_high": self.blind.high,
            "agrees": self.agrees,
            "source": ", ".join(self.point.sources),
            "conditions": self.point.conditions,
        }


@dataclass(frozen=True)
class PointChecks(Result):
    """Every published point of an agent against the model.

    Parameters
    ----------
    agent : str
    checks : tuple of PointCheck
    """

    agent: str
    checks: tuple[PointCheck, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"agent": self.agent, "checks": self.rows()}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a point."""
        return [check.row() for check in self.checks]


def check_points(agent: Agent) -> PointChecks:
    """Put every published kill of an agent against the model; fitted points also with themselves left out.

    Parameters
    ----------
    agent : Agent

    Returns
    -------
    PointChecks

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> roles = {check.point.role for check in check_points(load_agent("praziquantel")).checks}
    >>> sorted(roles)
    ['fitted', 'predicted']
    """
    checks = []
    for point in agent.kill_points:
        model = _predicted(agent, point, None)
        left_out = _predicted(agent, point, point) if point.role == "fitted" else None
        checks.append(PointCheck(point, model, left_out))
    return PointChecks(agent.name, tuple(checks))


def _predicted(agent: Agent, point: KillPoint, left_out: KillPoint | None) -> Probability:
    return Probability.of(predict(agent, point, () if left_out is None else (left_out,)))

"""A plan tried on a part of a case's ponds: fast enough to follow a finger, and every plan on the same ponds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from burden.case import Case
from burden.decision.agents_tried import agents_to_plan
from burden.decision.plan import aim_for
from burden.inference.estimate_result import Estimate
from burden.inference.prior import Ensemble, Posterior
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.probability import DoseSchedule
from burden.schedule.aim import Aim
from burden.schedule.customary import customs_for
from burden.schedule.eligibility import agents_and_notes
from burden.schedule.evaluation import evaluate, first_draws, looked_at
from burden.treatment.gates import days_to_mend, gates_of
from burden.utils.results import CredibleInterval

__all__ = ["DRAWS", "HORIZON_DAYS", "Plan", "Trial", "trial_of", "tried"]

#: enough to see which way a change goes, few enough for half a second
DRAWS = 120
HORIZON_DAYS = 60
_ATTACHED = ("adult", "juvenile", "young", "mother")
_MOST_DOSES = 12


@dataclass(frozen=True)
class Plan:
    """Doses to try, and in what water.

    Parameters
    ----------
    days : tuple of int
        From the visit [d].
    agents : tuple of str
    warmer_c : float
        Against the water as it is expected [°C].
    left_times : float
        How many times as many flukes each dose leaves on the fish.
    """

    days: tuple[int, ...]
    agents: tuple[str, ...]
    warmer_c: float = 0.0
    left_times: float = 1.0

    @classmethod
    def of(cls, told: Mapping[str, Any], known: Sequence[str]) -> Plan:
        """Read a plan as the page sends it.

        Raises
        ------
        ValueError
            For what is no plan.
        """
        doses = sorted((int(dose["day"]), str(dose["agent"])) for dose in told.get("doses", ()))
        warmer, left = float(told.get("warmer_c", 0.0)), float(told.get("left_times", 1.0))
        fits = len(doses) <= _MOST_DOSES and all(0 <= day <= HORIZON_DAYS and agent in known for day, agent in doses)
        if not (fits and abs(warmer) <= 10 and 1 <= left <= 10):
            raise ValueError("no plan")
        return cls(tuple(day for day, _ in doses), tuple(agent for _, agent in doses), warmer, left)


@dataclass(frozen=True)
class Trial:
    """What the plans of a case are tried on.

    Parameters
    ----------
    ponds : list of Posterior
        One a parasite set, M draws each.
    aim : Aim
    customary : tuple of (int, str)
        Day from the visit and agent of each dose of the customary course, as the decision knows it; empty where none
        is customary or nothing may be given [d].
    """

    ponds: list[Posterior]
    aim: Aim
    customary: tuple[tuple[int, str], ...]


def trial_of(case: Case, estimates: Sequence[Estimate], draws: int = DRAWS) -> Trial:
    """Return what plans of a case are tried on.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.
    draws : int
    """
    posteriors = [e.posterior for e in estimates]
    ponds = first_draws(posteriors, draws)
    gates = gates_of(case, posteriors[0].pond.setting.temperature.median_at(0.0))
    agents, spent = agents_to_plan(case, estimates, agents_and_notes(case, estimates)[0])
    customs = customs_for(case, posteriors, agents, days_to_mend(gates), spent)
    doses = zip(customs[0].plan.days, customs[0].plan.agents, strict=True) if customs else ()
    return Trial(ponds, aim_for(case, ponds), tuple((int(day), agent) for day, agent in doses if day <= HORIZON_DAYS))


def tried(trial: Trial, plan: Plan) -> dict[str, Any]:
    """Return what a plan does.

    Parameters
    ----------
    trial : Trial
    plan : Plan

    Returns
    -------
    dict
        chance of meeting the aim [-]; left, flukes a fish the day after the last dose; deaths by flukes within the
        aim's horizon, or up to the harvest of all fish, each with median, low and high; check_day [d].
    """
    schedule = DoseSchedule(tuple(map(float, plan.days)), plan.agents)
    changed = [Posterior(_changed(pond, plan), state) for pond, state in trial.ponds]
    (found,) = evaluate(changed, [schedule], trial.aim)
    left = np.sum(found.burden_on(looked_at(schedule)), axis=0)
    return {
        "chance": found.chance(trial.aim),
        "left": CredibleInterval.of(left).as_dict(),
        "deaths": found.fluke_deaths.as_dict(),
        "check_day": found.check_day,
    }


def _changed(pond: Ensemble, plan: Plan) -> Ensemble:
    """The pond in other water, with doses that leave more."""
    if plan.warmer_c:
        warmer = np.full(pond.size, plan.warmer_c)
        pond = replace(pond, setting=replace(pond.setting, temperature=pond.setting.temperature.shifted(warmer)))
    if plan.left_times != 1.0:
        pond = replace(pond, effects={name: _weaker(effect, plan.left_times) for name, effect in pond.effects.items()})
    return pond


def _weaker(effect: DoseEffect, times: float) -> DoseEffect:
    left = {
        form: 1 - np.clip((1 - share) * times, 0, 1) if form in _ATTACHED else share
        for form, share in effect.by_form.items()
    }
    return replace(effect, by_form=left)

"""The numbers that the reasons of an action are told with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

import numpy as np

from burden.case import Case, Preparation
from burden.decision.agents_tried import chance_weak, failed_agents, strays
from burden.decision.doses_given import came_since, left_in, strength_given
from burden.decision.facts import shortfall
from burden.decision.grounds import Grounds
from burden.inference.infection_pressure import pressure_on
from burden.inference.treatment_failure import could_be_removed
from burden.treatment.withdrawal import Withdrawal

__all__ = ["carp_or_koi", "reason_numbers"]

#: fish that koi herpesvirus kills, and the water in which it does: from memory of textbooks [°C]
_CARP_AND_KOI, _VIRUS_C = {"carp", "common carp", "mirror carp", "koi", "koi carp"}, (16.0, 28.0)


def reason_numbers(grounds: Grounds) -> Mapping[str, float | str | None]:
    """Return the numbers that reasons are told with.

    Parameters
    ----------
    grounds : Grounds
    """
    case, estimates, found = grounds.case, grounds.estimates, grounds.found
    stops = [gate.code for gate in grounds.gates if gate.level == "stop"]
    readable = [row for row in case.samples if row.readable]
    short = [one for one in (shortfall(case, e) for e in estimates) if one is not None]
    return {
        "fish_looked_at": float(len({(row.date, row.fish) for row in readable})),
        "preparations": float(len(readable)),
        "flukes_seen": float(sum(row.count_low for row in readable)),
        "seen_before": _seen_before(readable),
        "chance_present": max(e.probability_infected for e in estimates),
        "chance_high_now": 1 - float(np.mean(found.aim.share_kept(found.untreated.burden_on(0.0)))),
        "chance_high": 1 - float(np.mean(found.untreated.kept)),
        "saves": None if found.recommended is None else found.saves,
        "level": float(found.aim.tolerable[0].median),
        "chance_gone": found.untreated.elimination.mean,
        "aim_chance": found.aim.chance,
        "eradicate": float(found.aim.kind == "eradicate"),
        "strength_given": strength_given(case),
        "planned": min((dose.date.isoformat() for dose in case.doses_planned), default=None),
        "left_in": left_in(case),
        "next_agent": None if found.recommended is None else found.recommended.plan.agents[0],
        "chance_fell_short": max((one.chance for one in short), default=None),
        "counts_held_up": float(any(one.held_up for one in short)),
        "light_or_carbon": float(any(dose.uv_or_carbon_on for dose in case.doses_given)),
        "flows": float(case.water.is_open and case.water.kind != "cage"),
        "may_be_removed": float(could_be_removed(case)),
        "lays_eggs": float(any(e.pond.has_windows for e in estimates)),
        "from_outside": float(pressure_on(case) is not None),
        "spent": ", ".join(grounds.spent) or None,
        "gasping_alone": float(all(code == "gasping" for code in stops)),
        "unknown_alone": float(all(code == "unknown_product" for code in stops)),
        "koi_herpesvirus": float(_koi_herpesvirus(grounds)),
        "kills_less": float(bool(set(grounds.spent) - set(failed_agents(case, estimates)))),
        "chance_weak": max((chance_weak(agent, estimates) for agent in grounds.spent), default=None),
        "wrong_water": ", ".join(strays(case)) or None,
        **_newcomers(case),
        **_harvest(case, grounds.withdrawals),
    }


def _koi_herpesvirus(grounds: Grounds) -> bool:
    """Whether fish and water are those in which koi herpesvirus kills."""
    warmth = grounds.estimates[0].pond.setting.temperature.median_at(0.0)
    if grounds.case.findings.virus_test or "virus_suspected" in grounds.case.findings.diseases:
        return False  # it is spoken of as what it is
    carp = carp_or_koi(grounds.case)
    return carp and _VIRUS_C[0] <= warmth <= _VIRUS_C[1]


def carp_or_koi(case: Case) -> bool:
    """Whether any of the fish are of the kind that koi herpesvirus kills.

    Parameters
    ----------
    case : Case
    """
    return any(group.species.lower() in _CARP_AND_KOI for group in case.fish)


def _seen_before(readable: Sequence[Preparation]) -> str | None:
    """Day on which flukes were last seen, as an ISO date, where a later look showed none."""
    last = max((row.date for row in readable if row.count_low > 0), default=None)
    return last.isoformat() if last is not None and last < max(row.date for row in readable) else None


def _newcomers(case: Case) -> Mapping[str, float | str]:
    """How many fish came that no dose has met, and on what date the last of them."""
    came = came_since(case)
    if not came:
        return {}
    return {"came": float(sum(one.count for one in came)), "came_on": max(one.date for one in came).isoformat()}


def _harvest(case: Case, withdrawals: Sequence[Withdrawal]) -> Mapping[str, float | str | None]:
    """When the fish are to be harvested, and from when on they might be eaten after the schedule, as ISO dates."""
    if case.harvest_date is None:
        return {}
    held = [one.until_day for one in withdrawals if one.harvest is not None]
    open_ended = not held or any(day is None for day in held)
    until = None if open_ended else case.visit_date + timedelta(days=int(max(day or 0.0 for day in held)))
    return {
        "put_off": float(bool(held)),
        "harvest": case.harvest_date.isoformat(),
        "eaten_from": None if until is None else until.isoformat(),
    }

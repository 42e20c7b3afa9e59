"""The facts today's action follows from, taken out of case, estimates and search."""

from __future__ import annotations

from collections.abc import Sequence, Set
from datetime import date, timedelta
from statistics import mean
from typing import Any

import numpy as np

from burden.case import UNKNOWN_AGENT, Case, Preparation
from burden.decision.action import LIKELY
from burden.decision.action_facts import Facts
from burden.decision.agents_tried import KILLS_ENOUGH, strays, usual_doses
from burden.decision.doses_given import (
    COUNTED_DAYS,
    ENOUGH_FLUKES,
    alike,
    by_calendar,
    given_and_clean,
    held_up,
    last_agents,
    last_dose,
    last_look,
    read_since,
    seen_since,
    weak_doses,
)
from burden.decision.grounds import Grounds
from burden.decision.look_dates import last_shows_day
from burden.decision.plan import other_treatments
from burden.evidence import agent_names, load_parasite
from burden.inference.estimate_result import Estimate
from burden.inference.infection_pressure import withheld_forecast
from burden.inference.response_result import ByTheRecord
from burden.model.elimination.probability import DoseSchedule
from burden.schedule.aim import check_day
from burden.schedule.candidates import COLD_C
from burden.schedule.eligibility import Notes
from burden.schedule.evaluation import beats
from burden.schedule.recommendation import Recommendation
from burden.schedule.search import LEAST_AGAINST_EGGS
from burden.treatment.gates import stopped

__all__ = [
    "ENOUGH_FISH",
    "LOOKS_APART_DAYS",
    "TROUBLE_DAYS",
    "checked_since",
    "clean_looks",
    "facts_of",
    "fell_short",
    "harvest_soon",
    "shortfall",
    "trouble_in",
]

#: deaths within so many days count as trouble now: an assumption [d]
TROUBLE_DAYS = 21
#: and only where at least this share of the stock died: a single fish of hundreds dies of anything. An assumption [-]
_TROUBLE_SHARE = 0.005
#: flukes that are so many times as many as before are on the rise: an assumption [-]
_RISING = 2.0
#: fish that have not died for so long after a dose are out of trouble: an assumption [d]
_QUIET_DAYS = 7
#: beyond this wait for the last egg no course is begun unless it saves fish: an assumption [d]
_TOO_LONG_DAYS = 60.0
#: fish looked at before a course is called over, by its aim; all where there are fewer: common practice, no source
ENOUGH_FISH = {"control": 5, "eradicate": 10}
#: fish looked at after a dose that speak for the others: common practice, no source
_SOME_LOOKED_AT = 3
#: how many times as many fish as flukes other causes have to kill for the answer to ask after them, how many fish and
#: what share of the stock: assumptions [-], [fish], [-]
_FAR_MORE, _SOME_FISH, _SOME_SHARE = 10.0, 5.0, 0.05
#: looks nearer to each other are one: a fluke that a look missed would still be as young [d]
LOOKS_APART_DAYS = 7
#: well fish that are harvested within so many days have no dose that saves hardly any: common practice, no source [d]
_HARVEST_SOON_DAYS = 21
#: a product given no longer ago is asked after: an assumption [d]
_ASK_WITHIN_DAYS = 60
#: notes that keep an agent out only because something was not measured
_UNMEASURED = {"oxygen_unmeasured"}


def facts_of(grounds: Grounds) -> Facts:
    """Return the facts of a case.

    Parameters
    ----------
    grounds : Grounds
    """
    return Facts(
        **_of_what_stops_it(grounds),
        **_of_the_looks(grounds),
        **_of_other_causes(grounds),
        **_of_the_burden(grounds),
        **_of_the_doses(grounds),
        **_of_the_time_left(grounds),
    )


def _of_what_stops_it(grounds: Grounds) -> dict[str, bool]:
    """What has to be settled before flukes are thought of: the water, a virus, something not measured."""
    case, agents = grounds.case, grounds.agents
    return {
        "stopped": stopped(grounds.gates),
        "measure_first": not agents and _only(grounds.notes, _UNMEASURED),
        "wrong_water": bool(strays(case)),
        "too_much_water": not agents and _only(grounds.notes, {"too_much_water"}),
        "virus": "virus_suspected" in case.findings.diseases,
        "fish_alive": case.fish_count > 0,
    }


def _of_the_looks(grounds: Grounds) -> dict[str, Any]:
    """What looking at fish has shown, and when."""
    case = grounds.case
    readable = [row for row in case.samples if row.readable]
    seen = any(row.count_low > 0 for row in readable)
    return {
        "looked": bool(readable),
        "ever_seen": seen,
        "notifiable": seen and any(load_parasite(n).notifiable for n in case.parasites),
        "identify_first": _identify_first(case),
        "rising": _rising(case),
        "seen_lately": seen_since(case, last_dose(case)),
        "seen_before": any(-case.day_of(row.date) >= LOOKS_APART_DAYS for row in readable),
        "looked_over": _looked_over(case),
        "sick_only": _seen_on_sick_only(readable),
        "clean_looks": clean_looks(case),
    }


def _of_other_causes(grounds: Grounds) -> dict[str, bool]:
    """Whether fish die, and of what besides flukes."""
    case, found = grounds.case, grounds.found
    planned_agents = () if found.recommended is None else found.recommended.plan.agents
    others = other_treatments(case, planned_agents, grounds.agents)
    return {
        "trouble": trouble_in(case),
        "mostly_else": all(e.mostly_else for e in grounds.estimates),
        "others_far_more": _others_kill_more(found, float(case.fish_count)),
        "other_first": any(one.to_treat_first for one in others),
        "meets_other": any(one.first and one.agent is not None for one in others),
    }


def _of_the_burden(grounds: Grounds) -> dict[str, Any]:
    """How many flukes there are and will be, untreated and by the plan."""
    case, found, chosen = grounds.case, grounds.found, grounds.found.recommended
    return {
        "present": max(e.probability_infected for e in grounds.estimates),
        "high": 1 - float(np.mean(found.untreated.kept)),
        "high_now": 1 - float(np.mean(found.aim.share_kept(found.untreated.burden_on(0.0)))),
        "met_untreated": found.untreated.meets(found.aim),
        "saves": found.saves,
        "fish": float(case.fish_count),
        "met_by_plan": 0.0 if chosen is None else chosen.chance(found.aim),
        "helps": chosen is not None and beats(chosen, found.untreated, found.aim),
        "plan": chosen is not None,
        "eradicate": found.aim.kind == "eradicate",
        "forecast_withheld": withheld_forecast(case) is not None,
    }


def _of_the_doses(grounds: Grounds) -> dict[str, bool]:
    """What was given, what is planned, and what looks since say of it."""
    case, estimates, aim = grounds.case, grounds.estimates, grounds.found.aim
    judging = checked_since(case, estimates)
    return {
        "quick": not any(load_parasite(name).lays_eggs for name in case.parasites),
        "persist": _persist(case),
        "unknown_given": any(
            dose.agent == UNKNOWN_AGENT and -case.day_of(dose.date) <= _ASK_WITHIN_DAYS for dose in case.doses_given
        ),
        "by_calendar": by_calendar(case),
        "course_given": grounds.found.underway is not None,
        "planned": any(case.day_of(one.date) >= 0 for one in case.doses_planned),
        "course_over": max(grounds.found.given, given_and_clean(case)) >= usual_doses(estimates),
        "least_given": grounds.found.given >= LEAST_AGAINST_EGGS or not any(e.pond.has_windows for e in estimates),
        "dosed_before": bool(case.doses_given),
        "fell_short": fell_short(case, estimates),
        "agent_changed": not last_agents(case).isdisjoint(grounds.spent),
        "held_up": held_up(case) and not weak_doses(case),
        "checked": judging >= min(ENOUGH_FISH[aim.kind], case.fish_count),
        "check_begun": judging > 0,
        "sure": _sure(case, estimates),
    }


def _of_the_time_left(grounds: Grounds) -> dict[str, Any]:
    """What cold and a harvest leave time for."""
    case, found = grounds.case, grounds.found
    return {
        "cold": grounds.estimates[0].pond.setting.temperature.median_at(0.0) < COLD_C,
        "too_cold": found.untreated.check_day > _TOO_LONG_DAYS,
        "harvest_too_early": any(one.harvest is not None for one in grounds.withdrawals),
        "harvest_lost": any(one.harvest is not None for one in grounds.withdrawals_given),
        "harvest_soon": harvest_soon(case, case.visit_date),
        "saves_by_harvest": found.saves * _share_by_harvest(case, found.aim.deaths_until_day),
    }


def harvest_soon(case: Case, day: date) -> bool:
    """Whether food fish are harvested so soon after a day that well ones have no dose then which saves hardly any.

    Parameters
    ----------
    case : Case
    day : date
    """
    harvest = case.harvest_date if case.food_fish else None
    return harvest is not None and 0 <= (harvest - day).days <= _HARVEST_SOON_DAYS


def _seen_on_sick_only(readable: Sequence[Preparation]) -> bool:
    """Whether all that showed a fluke, or all there were, are preparations of sick or dead fish."""
    showing = [row for row in readable if row.count_low > 0] or readable
    return bool(showing) and all(row.chosen in ("moribund", "dead") for row in showing)


def _identify_first(case: Case) -> bool:
    """Whether flukes were seen for the first time on fish that notifiable ones of their set are known to kill."""
    kinds = {group.species.casefold() for group in case.fish}
    feared = any(kinds & {host.casefold() for host in load_parasite(name).notifiable_hosts} for name in case.parasites)
    seen = {row.date for row in case.samples if row.readable and row.count_low > 0}
    return feared and seen == {case.visit_date} and not case.doses_given


def _only(notes: Notes, these: Set[str]) -> bool:
    """Whether some agent would serve, were it not for these notes alone."""
    held = [[note.code for note in own if note.level == "withhold"] for own in notes.values()]
    return any(codes and set(codes) <= these for codes in held)


def _share_by_harvest(case: Case, until_day: float) -> float:
    """Share of the fish saved by the day up to which deaths are counted that is saved by the harvest [-].

    They are taken as spread evenly; as flukes increase it is rather less.
    """
    if case.harvest_date is None:
        return 1.0
    return float(np.clip(case.day_of(case.harvest_date) / until_day, 0.0, 1.0))


def fell_short(case: Case, estimates: Sequence[Estimate]) -> bool:
    """Whether the last dose counts as one that fell short, against any set."""
    return any(shortfall(case, e) is not None for e in estimates)


def shortfall(case: Case, found: Estimate) -> ByTheRecord | None:
    """Return why the last dose counts as one that fell short against a set; None where it does not.

    Flukes were seen after it, and it killed too few as likely as not, or the counts held up. Of what nobody can name
    only counts tell: no chance that rests on a guess at the product stands for a failure.
    """
    last = last_dose(case)
    if last is None or not seen_since(case, last):
        return None
    chance, held = float(np.mean(_last_kill(found) < KILLS_ENOUGH)), held_up(case)
    named = not last_agents(case).isdisjoint(agent_names())
    return ByTheRecord(chance, held) if held or (named and chance >= LIKELY) else None


def _last_kill(found: Estimate) -> np.ndarray:
    """Share of adults that the last dose killed at once, shape (M,) [-]."""
    effects = [event.effect for event in found.pond.given if event.effect is not None]
    return effects[-1].kill_of("adult") if effects else np.ones(found.pond.size)


def trouble_in(case: Case) -> bool:
    """Whether fish died lately, are ill today, show it in their gills, or have been in trouble since a date."""
    if _over_since_dose(case):
        return False
    start = case.visit_date - timedelta(days=TROUBLE_DAYS)
    ill = any(row.chosen in ("moribund", "dead") and row.date == case.visit_date for row in case.samples)
    dead = sum(row.deaths for row in case.deaths if row.date > start)
    died = dead > 0 and dead >= _TROUBLE_SHARE * (case.fish_count + dead)
    # of so many fish one is always ill or dead: where all feed as usual, a date alone tells of no trouble; nor does it
    # of few fish where a log that is kept up says that none died
    kept_up = any(row.date > start for row in case.deaths)
    well = case.findings.feeding == "normal" and (case.fish_count * _TROUBLE_SHARE >= 1 or (kept_up and dead == 0))
    return died or ill or _signs(case) or (case.trouble_since is not None and not well)


def _signs(case: Case) -> bool:
    """Whether fish show it: gasping, short of blood, gills in mucus or swollen."""
    return bool(case.findings.gasping) or case.findings.gills_ail


def _rising(case: Case) -> bool:
    """Whether preparations alike show at least twice as many flukes as at a look a week or more before."""
    since = read_since(case, last_dose(case))
    now = last_look(since)
    earlier = (row for row in since if LOOKS_APART_DAYS <= (now[0].date - row.date).days <= COUNTED_DAYS)
    before = alike(earlier, now)
    if not before or sum(row.count_low for row in now) < ENOUGH_FLUKES:
        return False
    return mean(row.count_low for row in now) >= _RISING * mean(row.count_low for row in before)


def _over_since_dose(case: Case) -> bool:
    """Whether no fish has died for a week and since the last dose, by a log that goes on, and none is ill."""
    last = last_dose(case)
    if last is None or _signs(case):
        return False
    if case.trouble_since is not None and case.trouble_since > last:
        return False
    if any(row.chosen in ("moribund", "dead") and row.date > last for row in case.samples):
        return False
    since = [row for row in case.deaths if row.date > last]
    kept = any((row.date - last).days >= _QUIET_DAYS for row in since)
    return kept and not any(row.deaths for row in since)


def _looked_over(case: Case) -> bool:
    """Whether some fish were looked at a week or more after the last dose."""
    last = last_dose(case)
    if last is None:
        return False
    late = {(row.date, row.fish) for row in read_since(case, last) if (row.date - last).days >= LOOKS_APART_DAYS}
    return len(late) >= min(_SOME_LOOKED_AT, case.fish_count)


def _others_kill_more(found: Recommendation, fish: float) -> bool:
    """Whether other causes are expected to kill a share of the stock, and far more than the flukes do."""
    others = found.untreated.other_deaths.median
    return bool(others >= max(_FAR_MORE * found.untreated.fluke_deaths.median, _SOME_FISH, _SOME_SHARE * fish))


def _persist(case: Case) -> bool:
    """Whether the last look and one at least a week before it, both since the last dose, showed flukes."""
    since = read_since(case, last_dose(case))
    latest = max((row.date for row in since), default=case.visit_date)
    showed = {row.date for row in since if row.count_low > 0}
    return latest in showed and (latest - min(showed)).days >= LOOKS_APART_DAYS


def clean_looks(case: Case) -> int:
    """Looks since the last dose without a fluke, at least a week apart; none where the last look showed one."""
    last = last_dose(case)
    if seen_since(case, last):
        return 0
    looks = sorted({row.date for row in read_since(case, last)})
    counted = 0
    before: date | None = None
    for day in looks:
        if before is None or (day - before).days >= LOOKS_APART_DAYS:
            counted, before = counted + 1, day
    return counted


def checked_since(case: Case, estimates: Sequence[Estimate]) -> int:
    """Fish looked at once all that was laid before the last dose had hatched.

    Without a dose: those of the last look, where two looks lie as far apart as an egg takes to become a settled fluke.
    """
    readable = [row for row in case.samples if row.readable]
    if not readable:
        return 0
    last = last_dose(case)
    start = float(case.day_of(min(row.date for row in readable) if last is None else last))
    agent = next(iter(estimates[0].pond.effects))
    check = check_day([e.posterior for e in estimates], DoseSchedule((start,), (agent,)))
    return len({(row.date, row.fish) for row in readable if case.day_of(row.date) >= check})


def _sure(case: Case, estimates: Sequence[Estimate]) -> bool:
    """Whether fish were looked at once flukes of the last eggs would show, where a day can be given for that."""
    last = last_dose(case)
    shows = None if last is None else last_shows_day(estimates, float(case.day_of(last)))
    return shows is None or any(case.day_of(row.date) >= shows for row in case.samples if row.readable)

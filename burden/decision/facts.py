"""The facts today's action follows from, taken out of case, estimates and search."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from burden.case import Case, Preparation
from burden.decision.action import Facts
from burden.evidence import load_parasite
from burden.inference.estimate import Estimate
from burden.inference.infection_pressure import withheld_forecast
from burden.model.elimination.probability import DoseSchedule
from burden.schedule.aim import check_day
from burden.schedule.eligibility import Notes
from burden.schedule.evaluation import beats
from burden.schedule.recommendation import Recommendation
from burden.treatment.gates import Gate, stopped

__all__ = ["TROUBLE_DAYS", "checked_since", "facts_of", "seen_since", "strays", "trouble_in"]

#: deaths within so many days count as trouble now: an assumption [d]
TROUBLE_DAYS = 21
#: beyond this wait for the last egg no course is begun unless it saves fish: an assumption [d]
_TOO_LONG_DAYS = 60.0
#: notes that keep an agent out only because something was not measured
_UNMEASURED = {"oxygen_unmeasured"}


def facts_of(
    case: Case,
    estimates: Sequence[Estimate],
    gates: tuple[Gate, ...],
    notes: Notes,
    agents: Sequence[str],
    found: Recommendation,
) -> Facts:
    """Return the facts of a case.

    Parameters
    ----------
    case : Case
    estimates : sequence of Estimate
        One a parasite set.
    gates : tuple of Gate
    notes : mapping of str to sequence of SafetyNote
        What speaks against each agent.
    agents : sequence of str
        Agents that may be given.
    found : Recommendation
        From the search, on the draws of the estimates.
    """
    chosen = found.recommended
    readable = [row for row in case.samples if row.readable]
    saved = 0.0
    if chosen is not None:
        saved = float(np.median(found.untreated.mean_fluke_deaths - chosen.mean_fluke_deaths))
    return Facts(
        stopped=stopped(gates),
        measure_first=not agents and _only_unmeasured(notes),
        wrong_water=bool(strays(case)),
        virus="virus_suspected" in case.findings.other,
        fish_alive=case.fish_count > 0,
        looked=bool(readable),
        ever_seen=any(row.count_low > 0 for row in readable),
        seen_lately=seen_since(case, _last_dose(case)),
        sick_only=bool(readable) and all(row.chosen in ("moribund", "dead") for row in readable),
        trouble=trouble_in(case),
        mostly_else=all(e.mostly_else for e in estimates),
        present=max(e.probability_infected for e in estimates),
        high=1 - float(np.mean(found.untreated.kept)),
        high_now=1 - float(np.mean(found.aim.share_kept(found.untreated.burden_on(0.0)))),
        met_untreated=found.untreated.meets(found.aim),
        saves=saved,
        helps=chosen is not None and beats(chosen, found.untreated, found.aim),
        plan=chosen is not None,
        eradicate=found.aim.kind == "eradicate",
        course_given=found.underway is not None,
        checked=checked_since(case, estimates),
        too_cold=found.untreated.check_day > _TOO_LONG_DAYS,
        forecast_withheld=withheld_forecast(case) is not None,
    )


def _only_unmeasured(notes: Notes) -> bool:
    """Whether some agent would serve, were only the missing reading there."""
    held = [[note.code for note in own if note.level == "withhold"] for own in notes.values()]
    return any(codes and set(codes) <= _UNMEASURED for codes in held)


def strays(case: Case) -> tuple[str, ...]:
    """Return the parasite sets that do not live in the water of the case."""
    return tuple(name for name in case.parasites if load_parasite(name).stray_in(case.water.medium))


def _last_dose(case: Case) -> date | None:
    return max((dose.date for dose in case.doses_given), default=None)


def seen_since(case: Case, since: date | None) -> bool:
    """Whether a preparation after a date showed a fluke; any preparation where no date is given."""
    rows: list[Preparation] = [row for row in case.samples if row.readable and (since is None or row.date > since)]
    return any(row.count_low > 0 for row in rows)


def trouble_in(case: Case) -> bool:
    """Whether fish died in the last weeks, gasp, show it in their gills, or have been in trouble since a date."""
    start = case.visit_date - timedelta(days=TROUBLE_DAYS)
    died = any(row.deaths > 0 and row.date > start for row in case.deaths)
    f = case.findings
    return bool(died or f.gasping or f.anaemic or f.gill_mucus or f.gill_swollen or case.trouble_since is not None)


def checked_since(case: Case, estimates: Sequence[Estimate]) -> bool:
    """Whether fish were looked at once all that was laid before the last dose had hatched.

    Without a dose: whether two looks lie as far apart as an egg takes to become a settled fluke.
    """
    dates = [row.date for row in case.samples if row.readable]
    if not dates:
        return False
    last = _last_dose(case)
    start = float(case.day_of(min(dates) if last is None else last))
    agent = next(iter(estimates[0].pond.effects))
    check = check_day([e.posterior for e in estimates], DoseSchedule((start,), (agent,)))
    return case.day_of(max(dates)) >= check

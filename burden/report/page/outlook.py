"""Courses of action, the last dose and what changed, as the page of one visit needs them."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from burden.decision import Assessment
from burden.evidence import load_parasite
from burden.inference.diagnostics import Quantity
from burden.inference.infection_pressure import withheld_eradication
from burden.inference.response_result import Response
from burden.inference.visit_comparison import ParameterChange
from burden.report.figures.forecast import COURSE_WORDS
from burden.report.formatting import about, days_label, on_day, spread
from burden.report.text.handling import has_filter, same_water, showed_it
from burden.report.text.notes import parasite_name
from burden.report.text.plan import compared_text
from burden.report.text.pond_history import calibration_text, expected_line, forecast_words, kill_lines, left_out_text
from burden.report.text.treatment_response import gone_words, verdict_words
from burden.report.text.visit_comparison import burden_line, deaths_line
from burden.schedule.evaluation import EvaluatedSchedule, beats
from burden.schedule.forecast import AfterADose, Forecast
from burden.schedule.husbandry import Alternative
from burden.schedule.projection import BANDS, Projection
from burden.schedule.recommendation import Compared
from burden.schedule.what_if import WhatIf
from burden.utils.dates import day_in_words
from burden.utils.formatting import named, percent, sentence

__all__ = [
    "alternative_rows",
    "changes_of",
    "compared_rows",
    "courses_of",
    "history_of",
    "response_of",
    "watch_for",
    "what_if_rows",
]

#: after so many days nobody asks any more whether a dose worked that no samples can tell of: an assumption [d]
_LONG_AGO_DAYS = 60
#: a dose so long ago is one of an earlier season, which no count of today judges: an assumption [d]
_EARLIER_SEASON_DAYS = 120
#: this many times the flukes at the upper end of a range are more, and no chance of the draws: an assumption
_CLEARLY_MORE = 1.2
#: visits in the table of a page; the figure and tables/history.csv have all
_MOST_VISITS = 6
#: rows of what moved that a page has room for; the others are in tables/changes.csv
_MOST_MOVED = 4


def courses_of(forecast: Forecast, other_above: bool = False) -> list[dict[str, str]]:
    """Return the courses of a forecast, a row each: deaths by flukes and by all else, and flukes, at the horizon.

    Deaths of all else are those of the same fish, whatever the fluke, so they stand once (`other_above`).
    """
    case = forecast.case
    died = any(row.deaths for row in case.deaths)
    return [
        {
            "name": COURSE_WORDS[name],
            "by_flukes": course.fluke_deaths_end.whole() if case.has_samples else "not known",
            "by_else": "as above" if other_above else course.other_deaths_end.whole() if died else "none on record",
            "flukes": _bands(course, course.abundance),
        }
        for name, course in forecast.courses().items()
    ]


def _bands(course: Projection, values: np.ndarray) -> str:
    """Median, 50 % and 90 % band of the last day."""
    middle = float(values[BANDS.index(0.5), -1])
    parts = [about(x) for x in (middle, *course.band(values, 0.5), *course.band(values, 0.9))]
    return f"{parts[0]} (half: {parts[1]} to {parts[2]}; nine of ten: {parts[3]} to {parts[4]})"


def watch_for(found: Assessment, forecast: Forecast) -> list[str]:
    """Return what to watch after a dose, and whose call sick fish are."""
    said = [str(AfterADose.of(found.case.parasites))] if found.decision.plan and showed_it(found.case) else []
    said += _more_in_the_end(found, forecast)
    said.append("Whether a dying fish is put down is the veterinarian's decision.")
    return said


def _more_in_the_end(found: Assessment, forecast: Forecast) -> list[str]:
    """Why treated fish may carry more flukes at the end than untreated ones, where the table shows it."""
    treated, alone = forecast.recommended, forecast.untreated.abundance_end
    if treated is None or treated.abundance_end.high <= alone.high * _CLEARLY_MORE:
        return []
    end = day_in_words(on_day(forecast.case.visit_date, forecast.horizon_days))
    start = f"By {end} treated fish carry"
    if treated.abundance_end.median <= alone.median:
        start = f"Where the course fails, treated fish can carry by {end}"
    whose = f"{parasite_name(forecast.parasite)}: " if len(found.estimates) > 1 else ""
    return [
        f"{whose}{start} more flukes than untreated fish would: what the doses missed multiplies, and untreated fish "
        "have become resistant meanwhile. More doses stand in the comparison below."
    ]


def compared_rows(found: Assessment) -> list[dict[str, str]]:
    """Return every schedule compared, a row each, all on the same draws."""
    decision = found.decision
    aim = decision.recommendation.aim
    return [
        {
            "what": compared_text(one.name, one.schedule.doses),
            "dates": _dates(found, one.schedule),
            "chance": percent(one.schedule.chance(aim)),
            "gone": "–" if withheld_eradication(found.case) else percent(one.schedule.elimination.mean),
            "deaths": one.schedule.fluke_deaths.whole(),
            "known": _known(found, one),
        }
        for one in decision.compared
        if _before_the_harvest(found, one)
    ]


def _before_the_harvest(found: Assessment, one: Compared) -> bool:
    """Whether all its doses come before the fish are harvested, or it is what is advised or planned."""
    harvest = found.case.harvest_date
    if harvest is None or not found.decision.emptied_by_then or one.name in ("recommended", "planned"):
        return True
    return all(on_day(found.case.visit_date, day) < harvest for day in one.schedule.plan.days)


def _known(found: Assessment, one: Compared) -> str:
    """How a course is known, and that none is advised where the decision gives no dose."""
    words = [] if one.custom is None else [one.custom.known]
    advised = found.decision.doses or not one.schedule.doses or one.name == "planned"
    return "; ".join([*words, *([] if advised else ["not advised now"])])


def _dates(found: Assessment, one: EvaluatedSchedule) -> str:
    if not one.plan.days:
        return "–"
    days = days_label(on_day(found.case.visit_date, day) for day in one.plan.days)
    agents = list(dict.fromkeys(one.plan.agents))
    return f"{', '.join(named(a) for a in (agents if len(agents) == 1 else one.plan.agents))}: {days}"


_MOVES = {
    "cleaning": "bottom, nets and filter media cleaned at every dose",
    "clean_tank": "fish into a clean tank after every dose",
    "warm": "water warmed by a degree a day",
    "clean_tank_and_warm": "clean tank after every dose, and water warmed",
}
_COSTS = {
    "cleaning": "an hour or two each time; media rinsed in tap water lose their bacteria",
    "clean_tank": "sick fish are handled at every dose; nets and tank must be dried or hot-washed",
    "dry_pond": "fish are crowded in the tank for days: check oxygen and ammonia daily; the filter starts anew",
    "warm": "warm water holds less oxygen, and flukes lay and grow faster between doses",
    "clean_tank_and_warm": "both of these",
}


def what_if_rows(found: Assessment) -> list[dict[str, str]]:
    """Return the plan as it may turn out, a row each."""
    aim = found.decision.recommendation.aim
    planned = [w.schedule for w in found.what_ifs if w.code == "as_planned"]

    def chance(w: WhatIf) -> str:
        pairs = [pair for p in planned if p is not w.schedule for pair in ((p, w.schedule), (w.schedule, p))]
        if pairs and not any(beats(one, other, aim) for one, other in pairs):
            return "no difference shown"  # the draws cannot tell the two apart
        return percent(w.chance)

    gaps = any(w.safe_gap_days is not None for w in found.what_ifs)
    return [{"name": _change(w), "chance": chance(w), "gap": _gap(w) if gaps else ""} for w in found.what_ifs]


def _change(w: WhatIf) -> str:
    return {
        "as_planned": "as planned",
        "colder": f"water {about(w.by)} °C colder",
        "warmer": f"water {about(w.by)} °C warmer",
        "late": f"a dose, and those after it, {about(w.by)} d late",
        "weaker": f"{percent(w.by)} of the flukes killed, not {percent(w.was)}",
    }[w.code]


def _gap(w: WhatIf) -> str:
    if w.safe_gap_days is None:
        return "–"
    return f"{about(w.safe_gap_days)} d" if np.isfinite(w.safe_gap_days) else "none lays"


def alternative_rows(found: Assessment) -> list[dict[str, str]]:
    """Return moves beside the doses, a row each."""
    return [
        {
            "name": _move(found, one),
            "doses": str(one.schedule.doses),
            "chance": percent(one.chance),
            "cost": _cost(found, one),
        }
        for one in found.alternatives
    ]


def _cost(found: Assessment, one: Alternative) -> str:
    if one.code == "cleaning" and found.case.water.kind in _CLEANED:
        return _CLEANED[str(found.case.water.kind)][1]
    if _bare(found, one):
        return _WITHOUT_FILTER[one.code][1]
    if one.code == "clean_tank" and any(load_parasite(name).lays_eggs for name in found.decision.parasites):
        return f"{_COSTS[one.code]}, as eggs stick to them"
    return _COSTS[one.code]


def _bare(found: Assessment, one: Alternative) -> bool:
    return one.code in _WITHOUT_FILTER and not has_filter(found.case)


#: a move, and what it costs, where no filter runs
_WITHOUT_FILTER = {"cleaning": ("bottom and nets cleaned at every dose", "an hour or two each time")}


#: what is cleaned of water that has no bottom or no net, and what it costs: common practice, no source
_CLEANED = {
    "cage": ("nets changed and dried at every dose", "a boat and its crew for each change of nets"),
    "raceway": ("walls and bottom brushed at every dose", "an hour or two each time"),
}


def _move(found: Assessment, one: Alternative) -> str:
    if one.code == "dry_pond":
        return f"first bath in the spare tank while {same_water(found.case)} is drained and dried"
    name = _WITHOUT_FILTER[one.code][0] if _bare(found, one) else _MOVES[one.code]
    if one.code == "cleaning" and found.case.water.kind in _CLEANED:
        name = _CLEANED[str(found.case.water.kind)][0]
    return name + ("" if one.to_c is None else f" to {about(one.to_c)} °C")


def response_of(r: Response, dosed: bool = True) -> dict[str, Any]:
    """Return the verdict on the last dose and, where it may have fallen short, why and how to find out.

    Where no dose is planned (`dosed`), none is asked for.
    """
    ago = 0 if r.dose_date is None else (r.case.visit_date - r.dose_date).days
    if r.dose_date is None or ago > _EARLIER_SEASON_DAYS or (r.before is None and ago > _LONG_AGO_DAYS):
        return {"verdict": "", "reason": "", "causes": (), "next": ()}
    return {
        "verdict": sentence(verdict_words(r)),
        "reason": " ".join(part for part in (gone_words(r), str(r.reason)) if part),
        "causes": [sentence(str(cause)) for cause in r.causes],
        "next": [str(step) for step in r.next_steps if dosed or step.step != "next_dose_on_its_date"],
    }


def changes_of(found: Assessment, i: int) -> dict[str, Any]:
    """Return what changed since the last visit; nothing where there was none."""
    changes = found.changes[i]
    if changes is None:
        return {}
    expected = [
        expected_line(one)  # one judge of what was expected: the counts, as in the table of all visits
        for history in found.histories
        if history.parasite == changes.parasite
        for one in history.forecasts
        if one.date == changes.case.visit_date and one.can_be_judged
    ]
    told = [m for m in changes.others if m.verdict in ("higher", "lower")]
    return {
        "since": day_in_words(changes.since),
        "lines": [line for line in (burden_line(changes, judged=False), *expected, deaths_line(changes)) if line],
        "rows": [_moved(m) for m in told[:_MOST_MOVED]],
    }


def _moved(m: ParameterChange) -> dict[str, str]:
    return {
        "name": sentence(str(Quantity(m.name))).rstrip("."),
        "then": spread(m.then),
        "now": spread(m.now),
        "verdict": m.verdict,
    }


def _judged(found: Assessment, parasite: str) -> date | None:
    """Day of the last dose, where its verdict stands on the page."""
    return next((r.dose_date for r in found.responses if r.parasite == parasite and response_of(r)["verdict"]), None)


def history_of(found: Assessment, parasite: str) -> dict[str, Any]:
    """Return all visits of one parasite set; nothing at a first visit."""
    history = next((one for one in found.histories if one.parasite == parasite), None)
    if history is None:
        return {}
    expected = {one.date: one for one in history.forecasts}
    return {
        "rows": [
            {
                "date": day_in_words(visit.date),
                "flukes": spread(visit.burden) + (" (its own counts)" if visit.alone else ""),
                "counted": f"{visit.counted} in {visit.preparations}",
                "expected": forecast_words(expected.get(visit.date)),
            }
            for visit in history.visits[-_MOST_VISITS:]
        ],
        "more": max(len(history.visits) - _MOST_VISITS, 0),
        "held": " ".join(part for part in (calibration_text(history), left_out_text(history)) if part),
        "kills": kill_lines(history, _judged(found, parasite), "“The last dose”"),
    }

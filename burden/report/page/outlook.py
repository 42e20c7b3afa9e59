"""Deaths, follow-up and what a course comes to, as the page of one visit needs them."""

from __future__ import annotations

from datetime import date
from typing import Any

from burden.inference.diagnostics import Quantity
from burden.inference.mortality import DeathAttribution
from burden.inference.treatment_failure import Causes
from burden.inference.treatment_response import Response
from burden.inference.visit_comparison import Changes, ParameterChange
from burden.report.figures.forecast import COURSE_WORDS
from burden.report.formatting import about, long_date, of_100, on_day, sentence, spread
from burden.report.text.treatment_response import gone_words, verdict_words
from burden.report.text.visit_comparison import burden_line, deaths_line
from burden.schedule.forecast import AFTER_A_DOSE, Forecast
from burden.schedule.projection import BANDS, Projection
from burden.utils.results import CredibleInterval
from burden.visit import Visit

__all__ = ["changes_of", "courses_of", "deaths_in_words", "outcomes", "outlook_of", "response_of", "watch_for"]

#: rows of what moved that a page has room for; the others are in tables/changes.csv
_MOST_MOVED = 4


def courses_of(forecast: Forecast) -> list[dict[str, str]]:
    """Return the courses of a forecast, a row each: deaths and flukes at the horizon with both bands."""
    return [
        {
            "name": COURSE_WORDS[name],
            "deaths": _bands(course, course.deaths, whole=True),
            "flukes": _bands(course, course.abundance),
            "avoided": "" if name == "untreated" else _fish(forecast.avoided(name)),
        }
        for name, course in forecast.courses().items()
    ]


def _bands(course: Projection, values: Any, whole: bool = False) -> str:
    """Median, 50 % and 90 % band of the last day."""
    middle = float(values[BANDS.index(0.5), -1])
    parts = [middle, *course.band(values, 0.5), *course.band(values, 0.9)]
    said = [f"{x:.0f}" if whole else about(x) for x in parts]
    return f"{said[0]} (half: {said[1]} to {said[2]}; nine of ten: {said[3]} to {said[4]})"


def _fish(number: CredibleInterval | None) -> str:
    return "" if number is None else f"{number.median:.0f} ({number.low:.0f} to {number.high:.0f})"


def watch_for(forecast: Forecast) -> list[str]:
    """Return what a delay costs, what to watch after a dose, and whose call moribund fish are."""
    said = []
    if forecast.delay is not None:
        d = forecast.delay
        rid = _rid(d.elimination.mean, d.elimination_in_time.mean)
        said.append(
            f"The same doses a week later: {_fish(d.deaths)} more fish dead, {spread(d.abundance)} flukes a fish on "
            f"that day instead of {spread(d.abundance_in_time)}; {rid}."
        )
    treated = forecast.recommended
    if treated is not None and treated.abundance_end.median > forecast.untreated.abundance_end.median:
        said.append(_more_in_the_end(on_day(forecast.case.visit_date, forecast.horizon_days)))
    if any(course.doses for course in forecast.courses().values()):
        said.append(AFTER_A_DOSE)
    said.append("Whether a moribund fish is put down is the veterinarian's call.")
    return said


def _more_in_the_end(end: date) -> str:
    return (
        f"By {long_date(end)} the treated fish carry more flukes than fish left alone would: what the doses missed "
        "multiplies, and fish left alone have grown resistant meanwhile. Schedules with more doses stand further down."
    )


def _rid(late: float, in_time: float) -> str:
    said, other = of_100(late), of_100(in_time)
    return f"rid of them in {said}, late or not" if said == other else f"rid of them in {said} instead of {other}"


def deaths_in_words(explained: DeathAttribution | None) -> str:
    """Return how many of the dead the flukes explain, or that it cannot be told; empty without deaths."""
    return "" if explained is None else explained.text()


def response_of(r: Response) -> dict[str, Any]:
    """Return the verdict on the last dose and, where it may have fallen short, why and how to find out."""
    if r.dose_date is None:
        return {"verdict": "", "reason": "", "why": "", "causes": (), "next": ()}
    return {
        "verdict": f"{sentence(verdict_words(r))} {gone_words(r)}".rstrip(),
        "reason": r.reason,
        "why": str(Causes(r.causes)) if r.causes else "",
        "causes": [sentence(cause.text()) for cause in r.causes],
        "next": r.what_next,
    }


def changes_of(changes: Changes | None) -> dict[str, Any]:
    """Return what changed since the last visit; nothing where there was none."""
    if changes is None:
        return {}
    return {
        "since": long_date(changes.since),
        "lines": [burden_line(changes), *([deaths_line(changes)] if changes.dead is not None else [])],
        "rows": [_moved(m) for m in changes.moved[:_MOST_MOVED]],
    }


def _moved(m: ParameterChange) -> dict[str, str]:
    return {
        "name": sentence(str(Quantity(m.name))).rstrip("."),
        "then": spread(m.then),
        "now": spread(m.now),
        "verdict": m.verdict,
    }


def outcomes(visit: Visit) -> list[str]:
    """Return what to do at each outcome of the next look; nothing where none is planned."""
    plan = visit.recheck
    if plan is None:
        return []
    again = "write them into samples.csv and run the report again"
    if not visit.doses:
        return [
            f"All clean: no dose; go on writing down deaths, and look once more {plan.day} d later, as a clean look "
            "leaves room for few.",
            f"Any flukes: {again}; it weighs them with today's, and says whether a dose is due and when.",
        ]
    return [
        f"All clean: no dose; go on writing down deaths, and look once more {plan.day} d later, as a clean look leaves "
        "room for few.",
        f"Some, but fewer than before: {again}; it tells survivors from those settled since, and dates what follows.",
        "As many as before, or more: no further dose yet; check volume, carbon, lamp and filter first, then run the "
        "report again, which weighs why the doses fell short.",
    ]


def outlook_of(visit: Visit, i: int) -> dict[str, Any]:
    """Return everything of one parasite set."""
    return {
        "deaths": deaths_in_words(visit.estimates[i].deaths_explained),
        "courses": courses_of(visit.forecasts[i]),
        "watch": watch_for(visit.forecasts[i]),
        "dose": response_of(visit.responses[i]),
        "changed": changes_of(visit.changes[i] if visit.changes else None),
    }

"""The answer in five lines, and what was seen against what is there, as a page needs them."""

from __future__ import annotations

import math
from itertools import groupby
from typing import Any

from burden.case import Preparation
from burden.day_book import held_water_words
from burden.inference.diagnostics import Quantity
from burden.inference.estimate import Estimate
from burden.report.formatting import about, long_date, named, of_100, on_day, sentence, several, spread
from burden.report.page.day_book import recheck_words
from burden.report.page.outlook import deaths_in_words
from burden.utils.formatting import say_date
from burden.utils.results import CredibleInterval
from burden.visit import Visit

__all__ = ["doses_in_words", "five_lines", "moved_rows", "seen_rows", "there_rows", "title_of"]

#: a posterior whose log-width is at least this share of the prior's, and whose median stays within it, barely moved
_BARELY = 0.8
_MOST_ROWS = 12


def title_of(visit: Visit) -> str:
    """Return what the case is called."""
    return visit.case.title or visit.case.name


def five_lines(visit: Visit) -> list[str]:
    """Return the answer: action, what was missed, burden, what it comes to, what next."""
    return [
        visit.first_action,
        " ".join(_named(visit, e, e.missed) for e in visit.estimates),
        " ".join(_named(visit, e, _burden(e)) for e in visit.estimates),
        _comes_to(visit),
        _next(visit),
    ]


def _named(visit: Visit, e: Estimate, text: str) -> str:
    return f"{named(e.parasite).capitalize()}: {text}" if len(visit.estimates) > 1 else text


def _burden(e: Estimate) -> str:
    chance = f" Flukes are there at all in {of_100(e.probability_infected)}." if e.probability_infected < 0.995 else ""
    sick = f" {e.sick_only}" if e.sick_only else ""
    there = f"{spread(e.mean_abundance)} flukes a fish, {spread(e.flukes_total)} on all live fish"
    return f"On the fish: {there}.{chance}{sick}"


def _comes_to(visit: Visit) -> str:
    parts = []
    for e, f in zip(visit.estimates, visit.forecasts, strict=True):
        end = long_date(on_day(visit.case.visit_date, f.horizon_days))
        line = f"Left alone, by {end}: {spread(f.untreated.deaths_end)} of {visit.case.fish_count} fish dead"
        if f.recommended is not None:
            line += f"; as recommended: {spread(f.recommended.deaths_end)}"
        parts.append(_named(visit, e, f"{line}."))
    chosen = visit.choice.recommended if visit.withheld_reason is None else None
    if chosen is not None:
        parts.append(
            f"A day after the last dose {spread(chosen.left_per_1000)} of 1 000 flukes are left; rid of them a year "
            f"later in {of_100(chosen.elimination.mean)}."
        )
    if all(e.mostly_else for e in visit.estimates):
        parts.insert(0, " ".join(_named(visit, e, deaths_in_words(e.deaths_explained)) for e in visit.estimates))
    return " ".join(dict.fromkeys(parts))


def _last_dose(visit: Visit) -> str:
    """What the next dose has to wait for, where the last one fell short."""
    short = [r for r in visit.responses if r.verdict == "fell_short"]
    if not short or short[0].dose_date is None:
        return ""
    chance = 100 * short[0].verdict_probability["fell_short"]
    return (
        f"The dose of {long_date(short[0].dose_date)} fell short ({chance:.0f} %): before the next, check the volume, "
        "then carbon, lamp and filter, or it will too. "
    )


def _next(visit: Visit) -> str:
    if visit.withheld_reason is not None:
        # what would allow another agent is beside the point where the flukes are the reason
        stops = [n for n in visit.notes if n.level == "withhold" and n.reason.rstrip(".") in visit.withheld_reason]
        lifts = dict.fromkeys(note.would_change for note in stops)
        change = f"What would change it: {several(lifts)}. " if lifts else ""
        return f"{change}{_look_again(visit)}"
    again = f" {_look_again(visit)}" if visit.recheck is not None else ""
    last = max((e.date for e in visit.day_book if e.kind in ("dose", "sample")), default=visit.case.visit_date)
    held = "".join(f" {sentence(said)}" for said in held_water_words(visit.case, last))
    return f"{_last_dose(visit)}Dates: {doses_in_words(visit)}.{again}{held}"


def _look_again(visit: Visit) -> str:
    look = [entry for entry in visit.day_book if entry.kind == "sample"]
    when = f" on {say_date(look[0].date, visit.case.visit_date.year)}" if look else ""
    return f"Look again{when}: {recheck_words(visit).rstrip('.')}."


def doses_in_words(visit: Visit) -> str:
    """Return the dates of the doses, one agent after the other where there are several."""
    days = [say_date(e.date, visit.case.visit_date.year) for e in visit.day_book if e.kind == "dose"]
    pairs = list(zip(days, visit.doses, strict=True))
    if len({(d.agent, d.mg_l) for _, d in pairs}) == 1:
        return f"{several(days)}, {_amount(pairs[0][1])} each time"
    return several(f"{day} {_amount(d)}" for day, d in pairs)


def _amount(dose: Any) -> str:
    from burden.visit import dose_words

    return dose_words(dose)


def seen_rows(visit: Visit) -> tuple[list[dict[str, str]], int]:
    """Return the preparations of the last day of samples, and how many rows there are besides."""
    case = visit.case
    readable = sorted(case.samples, key=lambda row: row.date)
    last = [row for row in readable if row.date == readable[-1].date] if readable else []
    shown = last[:_MOST_ROWS]
    rows = [
        {
            "fish": f"{row.fish}, {row.chosen}" if first else "",
            "what": _preparation(row),
            "count": _count(row),
        }
        for _, of_fish in groupby(shown, key=lambda row: row.fish)
        for first, row in _flagged(of_fish)
    ]
    return rows, len(readable) - len(shown)


def _flagged(rows: Any) -> list[tuple[bool, Preparation]]:
    return [(i == 0, row) for i, row in enumerate(rows)]


def _preparation(row: Preparation) -> str:
    text = named(row.method) if row.method else named(row.site)
    if row.method and row.site not in row.method:
        text += f", {named(row.site)}"
    if row.fraction_examined is not None:
        text += f", {100 * row.fraction_examined:g} % of the site"
    elif row.clip_share is not None:
        text += f", {spread(row.clip_share, 100)} % of the site"
    return text + (f", {row.stage}s" if row.stage else "")


def _count(row: Preparation) -> str:
    if not row.readable:
        return "unreadable"
    if row.count_high is None:
        return f"more than {row.count_low - 1}"
    return str(row.count_low) if row.exact else f"{row.count_low} to {row.count_high}"


def there_rows(e: Estimate) -> list[tuple[str, str]]:
    """Return what is there, in words and with intervals."""
    rows = [
        ("flukes a fish", spread(e.mean_abundance)),
        ("on all live fish", spread(e.flukes_total)),
        ("fish that carry any", f"{spread(e.prevalence, 100)} %"),
        ("aggregation k", spread(e.aggregation_k)),
        ("an infected fish, looked at like yours, shows", f"{spread(e.detection_per_fish, 100)} %"),
    ]
    if not math.isnan(e.eggs_waiting.median) and e.eggs_waiting.high > 0:
        rows.append(("eggs waiting in the water", spread(e.eggs_waiting)))
    return [(name, value.replace("cannot be given %", "cannot be given")) for name, value in rows]


def moved_rows(e: Estimate) -> list[dict[str, str]]:
    """Return prior beside posterior, and whether the data moved it."""
    return [
        {
            "name": str(Quantity(name)),
            "before": spread(prior),
            "after": spread(posterior),
            "verdict": _moved(prior, posterior),
        }
        for name, prior, posterior in e.prior_and_posterior
    ]


def _moved(prior: CredibleInterval, posterior: CredibleInterval) -> str:
    """Whether an interval moved, on the log scale where both are positive."""
    ends = [prior.low, prior.median, prior.high, posterior.low, posterior.median, posterior.high]
    if min(ends) > 0:
        ends = [math.log(x) for x in ends]
    before, after = max(ends[2] - ends[0], 1e-12), ends[5] - ends[3]
    shift = abs(ends[4] - ends[1]) / before
    if after >= _BARELY * before and shift < 0.15:
        return "barely moved: still an assumption"
    return f"narrowed to {about(100 * after / before)} % of its width" if after < before else "moved"

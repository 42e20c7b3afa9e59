"""The answer in a few lines, and what was seen against what is there, as a page needs them."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import groupby
from typing import Any

from burden.case import Preparation
from burden.decision import Assessment, Decision
from burden.inference.diagnostics import Quantity
from burden.inference.estimate_result import Estimate
from burden.io.plausibility import oddities_by_place
from burden.report.formatting import about, spread
from burden.report.text.deaths import deaths_text
from burden.report.text.decision import counted_text, dated_text, headline, help_lines, kept_out_text, release_text
from burden.report.text.gates import anaemia_text, gates_text, lamp_text, others_lines, unused_text
from burden.report.text.notes import parasite_name
from burden.report.text.plan import aim_text, as_recommended, last_dose_text, not_eaten_text
from burden.report.text.reasons import reason_text, reasons_of
from burden.report.text.treatment_response import verdict_words
from burden.report.text.trend import trend_text
from burden.utils.dates import say_date
from burden.utils.formatting import named, percent, percent_interval, sentence
from burden.utils.results import CredibleInterval

__all__ = ["answer_lines", "moved_rows", "seen_rows", "there_rows", "title_of"]

#: a posterior whose log-width is at least this share of the prior's, and whose median stays within it, barely moved
_BARELY = 0.8
_MOST_ROWS = 12


def title_of(found: Assessment) -> str:
    """Return what the case is called."""
    return found.case.title or found.case.name


def answer_lines(found: Assessment) -> list[str]:
    """Return the answer: today's action, why, what water and fish ask for, the burden, and what it comes to."""
    decision = found.decision
    lines = [
        headline(decision),
        " ".join([*(reason_text(reason) for reason in reasons_of(decision)), *help_lines(decision)]),
        anaemia_text(decision),
        counted_text(decision),
        trend_text(found),
        " ".join(dated_text(decision)),
        not_eaten_text(decision),
        last_dose_text(decision),
        " ".join(
            [
                *gates_text(_but_anaemia(decision), "stop", "agent", "measure"),
                kept_out_text(decision),
            ]
        ).strip(),
        " ".join([*others_lines(decision), unused_text(decision), *_lamp(decision)]).strip(),
        " ".join([*(_of_set(found, e, _burden(e)) for e in found.estimates), *_foreign(found)]),
        _last_dose(found),
        f"{as_recommended(decision)} {deaths_text(decision)} {_dying(decision)}".strip(),
        aim_text(decision),
        release_text(decision),
    ]
    return [line for line in lines if line]


def _but_anaemia(decision: Decision) -> Decision:
    """The decision without what fish that lack blood ask for, which is said with or without a dose."""
    return replace(decision, gates=tuple(gate for gate in decision.gates if gate.code != "anaemia"))


def _lamp(decision: Decision) -> list[str]:
    """Until when the UV lamp is off, where doses follow later; with those of the day-book it stands there."""
    return [] if decision.plan else [lamp_text(decision)]


def _dying(decision: Decision) -> str:
    """Say that no forecast of deaths by flukes holds for fish that lay dying at the visit."""
    told = decision.deaths and decision.on_record.get("dying")
    return "Fish that were dying at the visit may die all the same." if told else ""


def _of_set(found: Assessment, e: Estimate, text: str) -> str:
    return f"{parasite_name(e.parasite)}: {text}" if len(found.estimates) > 1 else text


def _foreign(found: Assessment) -> list[str]:
    """Ask whether the set is right where its values come from none of the fish that are here."""
    asked = [said for place, said in oddities_by_place(found.case) if place == "parasite.set"]
    return asked if len(asked) >= len(found.case.fish) else []


def _burden(e: Estimate) -> str:
    chance = (
        ""
        if e.probability_infected >= 0.995
        else f" Chance that there are any today: {percent(e.probability_infected)}."
    )
    sick = "".join(f" {said}" for said in (e.sick_only, e.hidden) if said)
    there = f"{spread(e.mean_abundance)} flukes a fish"
    if e.case.fish_count > 1:
        there += f", {spread(e.flukes_total)} on all live fish"
    return f"{e.missed} On the fish: {there}.{chance}{sick}"


def _last_dose(found: Assessment) -> str:
    """What the last dose did, where that can be told and no reason of the decision says it already."""
    if {reason.code for reason in found.decision.reasons} & {"doses_fell_short", "agent_changed"}:
        return ""
    told = [r for r in found.responses if r.verdict != "cannot_tell" and r.dose_date is not None]
    said = [
        sentence(verdict_words(r, f"the dose of {say_date(r.dose_date, found.decision.visit_date.year)}"))
        for r in told
        if r.dose_date is not None
    ]
    return " ".join(dict.fromkeys(said))


def seen_rows(visit: Assessment) -> tuple[list[dict[str, str]], int]:
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
    if row.method == "whole_organ":
        text = {"gill": "all gills", "skin": "whole skin"}.get(row.site, named(row.site))
    elif row.method and row.site not in row.method:
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
        *([("on all live fish", spread(e.flukes_total))] if e.case.fish_count > 1 else []),
        ("fish that carry any", _share(e.prevalence)),
        ("aggregation k", spread(e.aggregation_k)),
        ("infected fish that preparations like yours show", _share(e.detection_per_fish)),
    ]
    if not math.isnan(e.eggs_waiting.median) and e.eggs_waiting.high > 0:
        rows.append(("eggs waiting in the water", spread(e.eggs_waiting)))
    return rows


def _share(share: CredibleInterval) -> str:
    return percent_interval(share.median, share.low, share.high)


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
        return "barely moved"
    return f"narrowed to {about(100 * after / before)} % of its width" if after < before else "moved"

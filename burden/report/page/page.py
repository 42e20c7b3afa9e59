"""The page of one visit: everything it shows, as plain words and numbers, and the template that holds them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from burden import __version__
from burden.evidence import load_parasite
from burden.model.elimination.probability import DoseSchedule
from burden.report.files.tables import CSV_FORM
from burden.report.formatting import (
    about,
    about_in,
    days_label,
    long_date,
    named,
    of_100,
    on_day,
    sentence,
    several,
    spread,
    unbroken,
)
from burden.report.page.answer import five_lines, moved_rows, seen_rows, there_rows, title_of
from burden.report.page.cautions import cautions_of
from burden.report.page.day_book import days_of, folded, recheck_words, short_step
from burden.report.page.outlook import outcomes, outlook_of
from burden.report.page.sheets import owner_page, record_of
from burden.report.page.sources import sources_of
from burden.report.page.unknowns import distinct_draws, unknowns_of
from burden.schedule.evaluation import EvaluatedSchedule
from burden.schedule.recommendation import Recommendation
from burden.schedule.what_if import OTHERWISE_DRAWS
from burden.utils.formatting import say_date
from burden.visit import Visit

__all__ = ["render_page", "template"]


@cache
def template(name: str) -> Any:
    """Return a template; whatever a case says is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("burden.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=unbroken,
    )  # fmt: skip
    return environment.get_template(name)


def render_page(visit: Visit, figures: Mapping[str, Mapping[str, str]]) -> str:
    """Return the page as HTML.

    Parameters
    ----------
    visit : Visit
    figures : mapping of str to mapping
        "forecast NAME" and "interval NAME" of each parasite set, to its wide and narrow form as inline SVG.
    """
    from markupsafe import Markup

    marked = {name: {form: Markup(svg) for form, svg in forms.items()} for name, forms in figures.items()}
    return template("report.html.j2").render(
        _everything(visit),
        figures=marked,
        charts=any(name.startswith("interval") for name in marked),
        in_water=[
            (named(agent), marked[f"concentration {agent}"])
            for agent in dict.fromkeys(d.agent for d in visit.doses if not d.apart)
        ],
    )


def _everything(visit: Visit) -> dict[str, Any]:
    return {"withheld": visit.withheld_reason} | _front(visit) | _reasons(visit) | _behind(visit)


def _front(visit: Visit) -> dict[str, Any]:
    """The answer, what was seen and is there, what it comes to, and the dates."""
    case = visit.case
    seen, more = seen_rows(visit)
    return {
        "title": title_of(visit),
        "facts": _facts(visit),
        "lines": five_lines(visit),
        "seen": seen,
        "seen_date": long_date(max(row.date for row in case.samples)) if case.samples else "",
        "seen_more": more,
        "all_samples": case.samples if more else (),
        "sets": [_one_set(visit, i) for i in range(len(visit.estimates))],
        "days": [
            {"day": d, "steps": [short_step(s) for s in d.steps], "look": [short_step(s) for s in d.look_for]}
            for d in folded(days_of(visit))
        ],
        "sample": _sample(visit),
    }


def _reasons(visit: Visit) -> dict[str, Any]:
    """Why this, how sure, what else could be done, and what to beware of."""
    unknowns, least = unknowns_of(visit)
    odd = visit.case.warnings  # these quote what the case says, so they keep its figures
    return {
        "why": _why_interval(visit),
        "custom": [sentence(said) for said in visit.custom],
        "unknowns": unknowns,
        "least": about(least),
        "worth": about(distinct_draws(visit)),
        "warnings": [sentence(w if w in odd else about_in(w)) for w in visit.warnings],
        "otherwise": [_otherwise_row(o) for o in visit.otherwise],
        "otherwise_draws": min(OTHERWISE_DRAWS, visit.estimates[0].draws),
        "schedules": _schedules(visit),
        "cautions": cautions_of(visit),
    }


def _behind(visit: Visit) -> dict[str, Any]:
    """The sheets that go out, and the appendix."""
    return {
        "owner": owner_page(visit),
        "record": record_of(visit),
        "inputs": visit.case.in_words(),
        "assumptions": [*visit.case.assumptions, *_assumed_values(visit)],
        "sources": sources_of(visit),
        "made": f"burden {__version__}, {visit.draws} draws, seed {visit.seed}",
        "csv_form": CSV_FORM,
    }


def _facts(visit: Visit) -> str:
    case = visit.case
    fish = several(f"{g.count} {g.species}" for g in case.fish)
    warmth = float(np.median(visit.estimates[0].pond.setting.temperature.at(0.0)))
    return (
        f"Visit of {say_date(case.visit_date)} {case.visit_date.year} · {fish} · "
        f"{about(case.water.volume_l.value, 3)} L · {warmth:.1f} °C · {several(named(p) for p in case.parasites)}"
    )


def _one_set(visit: Visit, i: int) -> dict[str, Any]:
    e, f = visit.estimates[i], visit.forecasts[i]
    moved = moved_rows(e)
    return {
        "name": e.parasite,
        "words": load_parasite(e.parasite).title,
        "counted": _counted(e.counted),
        "there": there_rows(e),
        "moved": moved,
        "barely": [row for row in moved if row["verdict"].startswith("barely")],
        "regime": several(f"{name} in {of_100(share)}" for name, share in f.regime.items()),
        "rid": [
            (name, of_100(c.elimination.mean), of_100(c.elimination_braked.mean)) for name, c in f.courses().items()
        ],
        "two_doses": any(name == e.parasite and w.two_dose_window() is not None for name, w in visit.windows),
        **outlook_of(visit, i),
    }


def _counted(counted: Any) -> str:
    """What the counts alone say, without the model."""
    if not counted:
        return ""
    parts = (("fish with any", "prevalence", 100.0, " %"), ("on a fish that showed any", "mean_intensity", 1.0, ""),
             ("k", "k", 1.0, ""))  # fmt: skip
    said = []
    for words, key, scale, unit in parts:
        part = counted.get(key)
        if part and part["estimate"] is not None:
            ends = [None if part[end] is None else about(scale * part[end]) for end in ("low", "high")]
            span = "no interval" if ends[0] is None else f"{ends[0]} to {ends[1] or 'unbounded'}"
            said.append(f"{words} {about(scale * part['estimate'])} ({span}){unit}")
    return ", ".join(said)


def _why_interval(visit: Visit) -> dict[str, Any]:
    chosen = visit.choice.recommended if visit.withheld_reason is None else None
    notes = [sentence(note) for note in dict.fromkeys(visit.choice.notes)]
    if chosen is None:
        return {"reason": "", "notes": notes, "longer": ""}
    longer = ""
    for name, w in visit.windows:
        gaps = np.diff(chosen.plan.days)
        safe = float(np.median(w.longest_safe_gap))
        if gaps.size and gaps.max() > safe and np.isfinite(safe):
            longer = (
                f"The longest gap at which no settler of {named(name)} can lay is {about(safe)} d; these doses lie "
                f"{_span(gaps)} d apart. Some settlers lay in between, but fewer doses then also catch the late "
                "hatchers: the search found that this leaves least for the number of doses."
            )
            break
    return {"reason": visit.choice.reason, "notes": notes, "longer": longer}


def _span(gaps: np.ndarray) -> str:
    low, high = float(gaps.min()), float(gaps.max())
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _otherwise_row(o: Any) -> dict[str, str]:
    return {
        "name": o.name,
        "left": spread(o.left_per_1000),
        "rid": of_100(o.elimination.mean),
        "gap": _gap(o.safe_gap_days),
    }


def _gap(days: float | None) -> str:
    if days is None:
        return "–"
    return f"{about(days)} d" if math.isfinite(days) else "none lays"


def _schedules(visit: Visit) -> list[dict[str, str]]:
    choice = visit.choice
    rows: list[tuple[EvaluatedSchedule, str]] = []
    if choice.recommended is not None and visit.withheld_reason is None:
        rows.append((choice.recommended, "recommended: fewest doses that meet the aim"))
    if choice.eradication is not None and (
        choice.recommended is None or choice.eradication.plan != choice.recommended.plan
    ):
        rows.append((choice.eradication, "fewest doses that rid the pond of them in 90 of 100"))
    known = {j.plan for j, _ in rows}
    rows += [(j, _against(j, choice.recommended)) for j in _telling(choice, known)]
    rows.append((choice.nothing, "watch and wait"))
    found = [_schedule_row(visit, j, reason) for j, reason in rows]
    for move in visit.alternatives:
        row = _schedule_row(visit, move.judged, move.cost)
        found.insert(-1, {**row, "what": f"{move.move}: {row['what']}"})
    return found


def _telling(choice: Recommendation, known: set[DoseSchedule]) -> list[EvaluatedSchedule]:
    """The best schedule with fewer doses, with as many, and with more: why not less, why not that, why not more."""
    most = choice.recommended.doses if choice.recommended is not None else 0
    kinds: dict[int, EvaluatedSchedule] = {}
    for judged in choice.shortlist:
        if judged.plan not in known:
            kinds.setdefault(int(np.sign(judged.doses - most)), judged)
    return [kinds[kind] for kind in sorted(kinds)]


def _against(judged: EvaluatedSchedule, recommended: EvaluatedSchedule | None) -> str:
    """Why a schedule is not the one recommended."""
    said = []
    if recommended is not None and judged.doses > recommended.doses:
        more = judged.doses - recommended.doses
        said.append(f"{more} dose{'s' * (more > 1)} more")
    if judged.left_per_1000.median > 10:
        said.append("leaves more than 10 of 1 000")
    if recommended is not None and judged.doses == recommended.doses and not said:
        better = judged.elimination.mean > recommended.elimination.mean
        said.append("leaves more" if not better else "rids more often, leaves more on the fish")
    if "formalin" in judged.plan.agents:
        said.append("formalin takes oxygen, poisons people")
    return "; ".join(said) or "no better"


def _schedule_row(visit: Visit, j: EvaluatedSchedule, reason: str) -> dict[str, str]:
    dates = days_label(on_day(visit.case.visit_date, day) for day in j.plan.days)
    agents = list(dict.fromkeys(j.plan.agents))
    what = named(agents[0]) if len(agents) == 1 else ", ".join(named(a) for a in j.plan.agents)
    return {
        "what": f"{j.doses} × {what}: {dates}" if len(agents) == 1 else f"{what}: {dates}" if agents else "no dose",
        "left": spread(j.left_per_1000) if j.plan.days else "–",
        "rid": of_100(j.elimination.mean),
        "reason": reason,
    }


def _sample(visit: Visit) -> dict[str, Any]:
    plan = visit.recheck
    if plan is None:
        return {"head": recheck_words(visit), "reason": "", "change": (), "options": "", "outcomes": ()}
    after = visit.choice.recommended if visit.withheld_reason is None else None
    last = max(after.plan.days) if after else 0.0
    day = say_date(on_day(visit.case.visit_date, last + plan.day), visit.case.visit_date.year)
    since = "after the last dose" if after else "from today"
    return {
        "head": sentence(f"{day}, {plan.day} d {since}: {recheck_words(visit)}"),
        "reason": about_in(plan.reason),
        "change": [about_in(c) for c in dict.fromkeys((*plan.what_would_change[:4], plan.what_would_change[-1]))],
        "options": _instead(plan),
        "outcomes": outcomes(visit),
    }


def _instead(plan: Any) -> str:
    """Other ways to see as much: more of fewer fish, or less of more."""
    others = [o for o in plan.sample.rows() if o["fish"] is not None and o["preparations"] != plan.sample.preparations]
    return several(f"{o['preparations']} of each of {o['fish']} fish" for o in others)


def _unit(unit: str) -> str:
    return "" if unit == "-" else f" {unit}"


def _assumed_values(visit: Visit) -> list[str]:
    """Values of the evidence that nobody measured, each with its range."""
    found = {}
    for e in visit.estimates:
        for value in e.pond.setting.parameters.evidence.values.values():
            if value.known == "assumption":
                found[(e.parasite, value.name)] = (
                    f"{named(e.parasite)}, {named(value.name)}: {about(value.value)} ({about(value.low)} to "
                    f"{about(value.high)}){_unit(value.unit)}; {value.conditions or 'measured by nobody'}"
                )
    return list(found.values())

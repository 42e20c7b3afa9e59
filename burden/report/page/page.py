"""The page of one visit: everything it shows, as plain words and numbers, and the template that holds them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from burden import __version__
from burden.decision import Assessment
from burden.evidence import load_parasite
from burden.inference.estimate_result import Estimate
from burden.report.files.tables import CSV_FORM
from burden.report.formatting import about, about_in, unbroken
from burden.report.page.answer import answer_lines, moved_rows, seen_rows, there_rows, title_of
from burden.report.page.cautions import cautions_of, cautions_of_others
from burden.report.page.outlook import (
    alternative_rows,
    changes_of,
    compared_rows,
    courses_of,
    history_of,
    response_of,
    watch_for,
    what_if_rows,
)
from burden.report.page.owner import owner_page
from burden.report.page.record import record_of
from burden.report.page.sources import sources_of
from burden.report.page.unknowns import unknowns_of
from burden.report.text.day_book import days_of, folded
from burden.report.text.decision import withheld_text
from burden.report.text.forecast import by_killer_lines, delay_text, regime_text
from burden.report.text.next_look import look_text, no_look_text, outcome_lines
from burden.report.text.notes import parasite_name
from burden.report.text.plan import as_recommended
from burden.report.text.schedule import custom_text, window_text
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import (
    counted,
    interval,
    named,
    percent,
    percent_interval,
    plain,
    sentence,
    several,
    volume,
)

__all__ = ["render_page", "template"]


#: how an unknown is known, as a page says it
_KNOWN = {
    "read": "published",
    "memory": "recalled",
    "computed": "worked out from published values",
    "common practice": "common practice",
    "assumption": "an assumption",
    "of this case": "from this case",
}


@cache
def template(name: str) -> Any:
    """Return a template; whatever a case says is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("burden.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=unbroken,
    )  # fmt: skip
    return environment.get_template(name)


def render_page(found: Assessment, figures: Mapping[str, Mapping[str, str]]) -> str:
    """Return the page as HTML.

    Parameters
    ----------
    found : Assessment
    figures : mapping of str to mapping
        "forecast NAME" and "interval NAME" of each parasite set, to its wide and narrow form as inline SVG.
    """
    from markupsafe import Markup

    marked = {name: {form: Markup(svg) for form, svg in forms.items()} for name, forms in figures.items()}
    return template("report.html.j2").render(
        _everything(found),
        figures=marked,
        charts=any(name.startswith("interval") for name in marked),
        in_water=[
            (named(agent), marked[f"concentration {agent}"])
            for agent in dict.fromkeys(d.agent for d in found.doses if not d.apart)
        ],
    )


def _everything(found: Assessment) -> dict[str, Any]:
    return {"withheld": withheld_text(found.decision)} | _front(found) | _reasons(found) | _behind(found)


def _front(found: Assessment) -> dict[str, Any]:
    """The answer, what was seen and is there, what it comes to, and the dates."""
    case, decision = found.case, found.decision
    seen, more = seen_rows(found)
    look = decision.look
    return {
        "title": title_of(found),
        "facts": _facts(found),
        "action": decision.action,
        "lines": answer_lines(found),
        "seen": seen,
        "seen_date": day_in_words(max(row.date for row in case.samples)) if case.samples else "",
        "seen_more": more,
        "all_samples": case.samples if more else (),
        "sets": [_one_set(found, i) for i in range(len(found.estimates))],
        "watch": list(dict.fromkeys(said for f in found.forecasts for said in watch_for(found, f))),
        "days": folded(days_of(found)),
        "horizon": plain(decision.recommendation.aim.deaths_until_day),
        "end": say_date(decision.deaths_until, case.visit_date.year),
        "harvested": decision.emptied_by_then,
        "look": no_look_text(decision) if look is None else look_text(look, case.visit_date.year),
        "outcomes": [] if look is None else outcome_lines(look),
    }


def _reasons(found: Assessment) -> dict[str, Any]:
    """Why this, how sure, what else could be done, and what to beware of."""
    unknowns, _ = unknowns_of(found)
    odd = found.case.warnings  # these quote what the case says, so they keep its figures
    warnings = dict.fromkeys(w for e in found.estimates for w in e.warnings if w not in odd)
    return {
        "why": as_recommended(found.decision),
        "windows": [window_text(name, w) for name, w in found.windows] if found.decision.doses else [],
        "custom": custom_text(found.estimates),
        "several_doses": len(found.decision.doses) > 1,
        "unknowns": unknowns,
        "known_words": _KNOWN,
        "odd": [sentence(w) for w in odd],
        "warnings": [sentence(about_in(w)) for w in warnings],
        "what_ifs": what_if_rows(found),
        "compared": compared_rows(found),
        "moves": alternative_rows(found),
        "cautions": cautions_of(found),
    }


def _behind(found: Assessment) -> dict[str, Any]:
    """The sheets that go out, and the appendix."""
    return {
        "owner": owner_page(found),
        "record": record_of(found),
        "other_cautions": cautions_of_others(found),
        "inputs": found.case.in_words(),
        "assumptions": [*found.case.assumptions, *_assumed_values(found)],
        "sources": sources_of(found),
        "made": f"burden {__version__}, {found.decision.draws} simulated ponds (--draws), seed {found.decision.seed}",
        "csv_form": CSV_FORM,
    }


def _facts(found: Assessment) -> str:
    case = found.case
    fish = several(f"{counted(g.count, 'fish')} ({g.species})" for g in case.fish)
    warmth = found.estimates[0].pond.setting.temperature.median_at(0.0)
    return (
        f"Visit of {say_date(case.visit_date)} {case.visit_date.year} · {fish} · "
        f"{volume(case.water.volume_l.value)} · {warmth:.1f} °C · {several(map(parasite_name, case.parasites))}"
    )


def _one_set(found: Assessment, i: int) -> dict[str, Any]:
    e, f = found.estimates[i], found.forecasts[i]
    moved = moved_rows(e)
    explained = e.deaths_explained
    return {
        "name": e.parasite,
        "said": parasite_name(e.parasite),
        "lays_eggs": load_parasite(e.parasite).lays_eggs,
        "words": load_parasite(e.parasite).title,
        "counted": _counted(e.counted) if _several_fish(e) else "",
        "there": there_rows(e),
        "moved": moved,
        "barely": [row for row in moved if row["verdict"].startswith("barely")],
        "regime": regime_text(f),
        "by_killer": by_killer_lines(f),
        "delay": "" if f.delay is None else delay_text(f.delay),
        "gone": [
            (name, percent(c.elimination.mean), percent(c.elimination_braked.mean)) for name, c in f.courses().items()
        ],
        "two_doses": any(name == e.parasite and w.two_dose_window() is not None for name, w in found.windows),
        "deaths": "" if explained is None else explained.text(),
        "courses": courses_of(f, other_above=i > 0),
        "dose": response_of(found.responses[i], bool(found.decision.doses)),
        "changed": changes_of(found, i),
        "history": history_of(found, e.parasite),
    }


def _several_fish(e: Estimate) -> bool:
    """Whether more than one fish was looked at: of one alone, counts say nothing of the others."""
    return len({(row.date, row.fish) for row in e.case.samples if row.readable}) > 1


def _counted(found: Any) -> str:
    """What the counts alone say, without the model."""
    if not found:
        return ""
    said = []
    for words, key, write in _PARTS:
        part = found.get(key)
        if part and part["estimate"] is not None:
            low, high = part["low"], math.inf if part["high"] is None else part["high"]
            value = (
                f"{plain(part['estimate'], 2)} (too few for a range)"
                if low is None
                else write(part["estimate"], low, high)
            )
            said.append(words.format(value))
    return ", ".join(said)


_PARTS: tuple[tuple[str, str, Callable[..., str]], ...] = (
    ("{} of the fish carry flukes", "prevalence", percent_interval),
    ("an infected one showed {}", "mean_intensity", interval),
    ("aggregation k is {}", "k", interval),
)


def _unit(unit: str) -> str:
    return "" if unit == "-" else f" {unit}"


def _assumed_values(found: Assessment) -> list[str]:
    """Values of the evidence that nobody measured, each with its range."""
    rows = {}
    for e in found.estimates:
        for value in e.pond.setting.parameters.evidence.values.values():
            if value.known == "assumption":
                rows[(e.parasite, value.name)] = (
                    f"{named(e.parasite)}, {named(value.name)}: {about(value.value)} ({about(value.low)} to "
                    f"{about(value.high)}){_unit(value.unit)}; {value.conditions or 'measured by nobody'}"
                )
    return list(rows.values())

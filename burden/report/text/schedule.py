"""Words of windows and custom: when eggs hatch, when young flukes lay, and what is usually given."""

from __future__ import annotations

import math
from collections.abc import Sequence

from burden.evidence.parasite_set import PublishedInterval
from burden.inference.estimate_result import Estimate
from burden.model.windows import Windows
from burden.report.text.notes import parasite_name
from burden.utils.formatting import named, plain
from burden.utils.results import CredibleInterval

__all__ = ["custom_text", "window_text"]

#: days, and times the median, from which an upper end is eggs that lie over winter: assumptions [d], [-]
_SPRING_DAYS, _WAITS = 90.0, 3.0


def window_text(parasite: str, windows: Windows) -> str:
    """Write what a repeat dose has to meet: when eggs hatch, when settled larvae lay, and the safe gap."""
    w = windows.triples()
    first, last, lay = w["first_hatch_days"], w["last_hatch_days"], w["earliest_maturity_days"]
    if not math.isfinite(first.median):
        return f"{parasite_name(parasite)}: eggs do not hatch in water this cold."
    waits = last.high >= _SPRING_DAYS and last.high >= _WAITS * last.median
    until = f" to {_span(last, waits)}" if math.isfinite(last.median) else ", some of them only when it is warmer"
    until += ", or only in spring where cold comes before they start" if waits else ""
    hatch = (
        f"{parasite_name(parasite)}: eggs laid today, which a dose does not kill, hatch from "
        f"{_span(first, waits)}{until}."
    )
    if not math.isfinite(lay.median):
        return f"{hatch} In this water larvae that settle do not grow up to lay."
    safe = w["longest_safe_gap_days"]
    return (
        f"{hatch} A larva that settles lays from {_span(lay, waits)}; while it is very young, doses hardly reach "
        f"it. With up to {_days(safe, waits)} days between doses none can lay before the next. A longer gap lets a few "
        "lay, but with few doses it can catch more late hatchers."
    )


def _span(days: CredibleInterval, waits: bool) -> str:
    """Write a day."""
    return f"about day {plain(days.median, 2)}" if waits else f"day {days.text()}"


def _days(days: CredibleInterval, waits: bool) -> str:
    """Write days with their range, or their median alone where the range is that of a winter."""
    return f"about {plain(days.median, 2)}" if waits else days.text()


def custom_text(estimates: Sequence[Estimate]) -> list[str]:
    """Write what is usually given or printed, nearest to this water first, and how it is known."""
    said = []
    for e in estimates:
        now = e.pond.setting.temperature.median_at(0.0)
        rows = e.pond.setting.parameters.evidence.published_intervals
        for row in sorted(rows, key=lambda row: abs(row.temperature_c - now)):
            said.append(
                f"{named(e.parasite).capitalize()}, near {plain(row.temperature_c)} °C: {row.doses} doses, "
                f"{plain(row.gap_days)} days apart ({row.known}){_middle(row)}."
            )
    return said


def _middle(row: PublishedInterval) -> str:
    return "" if row.middle_agent is None else f", {named(row.middle_agent)} in the middle where it may be given"

"""Words of the trend: how the flukes of the last visits went, as far as no dose came between."""

from __future__ import annotations

from burden.decision import Assessment
from burden.decision.answer import LEAST_VISITS, MOST_VISITS
from burden.decision.doses_given import last_dose
from burden.inference.pond_history import History, PastVisit
from burden.report.formatting import about
from burden.report.text.notes import parasite_name
from burden.utils.dates import say_date
from burden.utils.formatting import counted, several

__all__ = ["owner_trend_text", "trend_text"]


def trend_text(found: Assessment) -> str:
    """Write whether flukes rise or fall over the visits since the last dose; empty of fewer than three.

    Parameters
    ----------
    found : Assessment
    """
    told = [(history, visits) for history in found.histories if (visits := _since_the_last_dose(found, history))]
    said = []
    for history, visits in told:
        whose = f"{parasite_name(history.parasite)}: " if len(told) > 1 else ""
        since = say_date(visits[0].date, found.decision.visit_date.year)
        each = several(about(visit.burden.median) for visit in visits)
        said.append(f"{whose}{counted(len(visits), 'visit')} since {since}: {each} flukes a fish. {_WAY[_way(visits)]}")
    return " ".join(said)


def owner_trend_text(found: Assessment) -> str:
    """Write the same for an owner, of the flukes there are most of."""
    longest = [visits for history in found.histories if (visits := _since_the_last_dose(found, history))]
    if not longest:
        return ""
    visits = max(longest, key=lambda one: one[-1].burden.median)
    each = several(about(visit.burden.median) for visit in visits)
    return f"Over the last {len(visits)} visits flukes {_OWNER_WAY[_way(visits)]}: about {each} on each fish."


def _since_the_last_dose(found: Assessment, history: History) -> list[PastVisit]:
    """The visits that no dose separates, the last ones first to be kept; none where they are too few."""
    last = last_dose(found.case)
    visits = [visit for visit in history.visits if last is None or visit.date > last][-MOST_VISITS:]
    return visits if len(visits) >= LEAST_VISITS else []


def _way(visits: list[PastVisit]) -> str:
    """Whether the flukes of the last visit are clearly more or fewer than those of the first."""
    first, last = visits[0].burden, visits[-1].burden
    return "up" if last.low > first.high else "down" if last.high < first.low else "level"


_WAY = {
    "up": "They rise.",
    "down": "They fall.",
    "level": "No clear rise or fall.",
}
_OWNER_WAY = {
    "up": "have become more",
    "down": "have become fewer",
    "level": "have become neither clearly more nor fewer",
}

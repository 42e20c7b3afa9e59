"""Words of what changed since the last visit."""

from __future__ import annotations

from burden.inference.diagnostics import Quantity
from burden.inference.visit_comparison import Changes
from burden.utils.dates import day_in_words
from burden.utils.formatting import counted, plain, sentence, several
from burden.utils.wording import writes

__all__ = ["burden_line", "deaths_line"]

_ROWS = {"preparations": "preparation", "rows of deaths": "row of deaths", "doses and works": "action"}
#: times its lower end that a range is too wide to be tested by: an assumption
_TOO_WIDE = 10
_AGAINST = {
    "higher": "more than expected",
    "lower": "fewer than expected",
    "cannot be compared": "nothing to compare with",
}


@writes
def _changes_text(changes: Changes) -> str:
    lines = [burden_line(changes), *([deaths_line(changes)] if changes.dead is not None else [])]
    moved = [
        f"{sentence(str(Quantity(m.name))).rstrip('.')}: {m.then.text()} then, {m.now.text()} now ({m.verdict})."
        for m in changes.moved
    ]
    return "\n".join([*lines, *(moved or ["Nothing else changed: the new rows mainly inform the number of flukes."])])


def burden_line(changes: Changes, judged: bool = True) -> str:
    """Write the flukes of today, against those expected at the last visit where that can be judged."""
    rows = several(counted(n, _ROWS[name]) for name, n in changes.new_rows.items() if n) or "nothing"
    dosed = any(changes.since <= dose.date < changes.case.visit_date for dose in changes.case.doses_given)
    inside = "within that range, which allows for a dose that fails" if dosed else "as expected"
    against = _AGAINST.get(changes.today.verdict, inside)
    today = f"Since {day_in_words(changes.since)} ({rows} added): {changes.today.now.text()} flukes a fish today."
    return f"{today} At that visit we expected {changes.today.then.text()}: {against}." if judged else today


def deaths_line(changes: Changes) -> str:
    """Write the deaths since against those expected; none without a log."""
    if changes.dead is None:
        return ""
    low, high = round(changes.deaths.low), round(changes.deaths.high)
    expected = plain(low, 9) if low == high else f"{plain(low, 9)} to {plain(high, 9)}"
    died = f"{counted(changes.dead, 'fish')} died since"
    if low <= changes.dead <= high and high >= _TOO_WIDE * max(low, 1):
        return f"{died}."  # nearly any number would have been as expected
    if changes.dead < low and not any(row.deaths for row in changes.case.deaths if row.date <= changes.since):
        return f"{died}."  # what was expected came from no log of this water
    against = "more than" if changes.dead > high else "fewer than" if changes.dead < low else "as"
    return f"{died}; we expected {expected}: {against} expected."

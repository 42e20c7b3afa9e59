"""Words of the next look: when, at how many fish, what for, and what each result leads to."""

from __future__ import annotations

from burden.decision.records import NextLook, Outcome
from burden.utils.formatting import all_of, counted, percent, plain, say_date

__all__ = ["look_text", "outcome_text"]


def look_text(look: NextLook, year: int) -> str:
    """Write when to look at how many fish, and what for."""
    fish = all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    what = f"{fish}, {counted(look.preparations_per_fish, 'preparation')} of each"
    if look.purpose == "water":
        return f"{say_date(look.date, year)}: measure the water again and look at {what}; the doses follow from that."
    if look.once_c is not None:
        when = f"About {say_date(look.date, year)}, once the water has passed {plain(look.once_c)} °C"
        return f"{when}: look at {what}. Until then leave the fish in peace, unless some are ill or die."
    if look.purpose == "more_fish" or look.day == 0:
        return f"Look at {what}, netted at random, before you decide."
    if look.purpose == "survivors" and look.again is not None:
        later = say_date(look.again, year)
        return (
            f"{say_date(look.date, year)}: look at {what}; this look shows what the doses left on the fish. "
            f"Eggs in the cold water hatch later, so look again about {later}."
        )
    why = {
        "check": "flukes that were left show by then, so this tells whether the course worked",
        "release": "flukes that were left show by then, so this look decides whether they may move",
        "watch": "this look shows whether the flukes increase",
    }[look.purpose]
    return f"{say_date(look.date, year)}: look at {what}; {why}."


def outcome_text(outcome: Outcome) -> str:
    """Write one result of a look and what it leads to."""
    limit = outcome.flukes_max
    seen = {
        "none": "No fluke",
        "few": f"Up to {counted(limit or 0, 'fluke')} in all",
        "many": "More than that" if limit is None else "",
    }[outcome.code]
    return f"{seen} ({percent(outcome.chance)} likely): {_LEADS_TO[outcome.action]}."


_LEADS_TO = {
    "watch": "no dose, look again later",
    "discharge": "done, no further dose",
    "dose": "a dose is due; enter the counts and run the report again for its date",
    "look_first": "still open; look at more fish or for another cause",
    "water_first": "put the water right first",
}

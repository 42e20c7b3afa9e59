"""Words of the next look: when, at how many fish, what for, and what each result leads to."""

from __future__ import annotations

from collections.abc import Sequence

from burden.decision.records import NextLook, Outcome
from burden.utils.formatting import all_of, counted, percent, plain, say_date

__all__ = ["look_text", "outcome_lines"]


def look_text(look: NextLook, year: int) -> str:
    """Write when to look at how many fish, and what for."""
    fish = all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    what = f"{fish}, {counted(look.preparations_per_fish, 'preparation')} of each"
    if look.purpose == "water":
        return f"{say_date(look.date, year)}: measure the water again and look at {what}; the doses follow from that."
    if look.once_c is not None:
        when = f"About {say_date(look.date, year)}, once the water has passed {plain(look.once_c)} °C"
        return f"{when}: look at {what}. Until then leave the fish in peace, unless some are ill or die."
    if look.purpose == "result":
        return (
            f"About {say_date(look.date, year)}, once the test for the virus is answered: look at {what}, if it found "
            "none. Until then disturb no fish."
        )
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


def outcome_lines(look: NextLook) -> list[str]:
    """Write what each result of a look leads to, a line each; results that lead to the same share one."""
    groups: list[list[Outcome]] = []
    for outcome in look.outcomes:
        if groups and groups[-1][-1].action == outcome.action:
            groups[-1].append(outcome)
        else:
            groups.append([outcome])
    lines = []
    for group in groups:
        chance = percent(min(sum(one.chance for one in group), 1.0))
        lines.append(f"{_seen(group, look)} ({chance} likely): {_leads_to(group, look)}.")
    return lines


def _seen(group: Sequence[Outcome], look: NextLook) -> str:
    """Write the result of a look: no fluke, few or many."""
    codes, every = [one.code for one in group], [one.code for one in look.outcomes]
    if len(group) == len(every) and "many" in every:
        return "Whatever it shows"
    if "many" in codes:
        return "More than that" if "few" in every and "few" not in codes else "Any fluke"
    few = next((one for one in group if one.code == "few"), None)
    return "No fluke" if few is None else f"Up to {counted(few.flukes_max or 0, 'fluke')} in all"


def _leads_to(group: Sequence[Outcome], look: NextLook) -> str:
    if look.purpose == "release" and group[0].code == "none" and group[0].action == "watch":
        return "look once more, a week later at the earliest; clean again, they may move"
    return _LEADS_TO[group[0].action]


_LEADS_TO = {
    "watch": "no dose, look again later",
    "discharge": "done, no further dose",
    "dose": "a dose is due; enter the counts and run the report again for its date",
    "look_first": "still open; look at more fish or for another cause",
    "water_first": "put the water right first",
}

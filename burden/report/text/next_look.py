"""Words of the next look: when, at how many fish, what for, and what each result leads to."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from burden.decision.look_dates import look_after
from burden.decision.look_records import CLEAN_LOOKS, TAKEN_ONCE, NextLook, Outcome
from burden.decision.records import Decision
from burden.sampling.development_times import SURE
from burden.utils.dates import say_date
from burden.utils.formatting import all_of, counted, percent, plain, several

__all__ = ["look_text", "no_look_text", "outcome_lines"]


def look_text(look: NextLook, year: int) -> str:
    """Write when to look at how many fish, and what for."""
    fish = all_of(look.fish, "fish") if look.all_fish else counted(look.fish, "fish")
    what = f"{fish}, {_each(look)}"
    if look.purpose == "water" and look.fish == 0:
        return (
            f"{say_date(look.date, year)}: measure the water and see how the fish breathe; what is done then depends "
            "on that."
        )
    if look.purpose == "water":
        return f"{say_date(look.date, year)}: measure the water and look at {what}; what is done then depends on that."
    if look.once_c is not None:
        warm = f"once the water has been at {plain(look.once_c)} °C for a week or two"
        when = f"About {say_date(look.date, year)}, {warm}"
        return f"{when}: look at {what}. Until then leave well fish in peace; see at once to any that are ill or die."
    if look.purpose == "result":
        return (
            f"About {say_date(look.date, year)}, once the test for the virus is answered: look at {what}, if it found "
            "none. Until then disturb no fish."
        )
    if look.purpose == "named":
        return f"About {say_date(look.date, year)}, once the flukes have been identified: look at {what}."
    if look.purpose == "more_fish" or look.day == 0:
        chosen = "" if look.all_fish else ", netted at random"
        return f"Look at {what}{chosen}, before you decide."
    if look.purpose == "before_last" and look.again is not None:
        return (
            f"{say_date(look.date, year)}, before the last dose goes in: look at {what}; this look shows what the "
            "doses before it left. Eggs in the cold water hatch later, so look again about "
            f"{say_date(look.again, year)}."
        )
    if look.purpose == "survivors" and look.again is not None:
        later = say_date(look.again, year)
        return (
            f"{say_date(look.date, year)}: look at {what}; this look shows what the doses left on the fish. "
            f"Eggs in the cold water hatch later, so look again about {later}."
        )
    return f"{say_date(look.date, year)}: look at {what}; {_what_for(look)}.{_sure_later(look, year)}"


def _each(look: NextLook) -> str:
    """Write what is taken of each fish."""
    each = "it" if look.fish == 1 else "each"
    if look.methods == ("whole_organ",) or (look.purpose == "harvest" and not look.outcomes):
        return f"all flukes of {each} counted"  # of killed fish there is more than an arch to see
    kinds = [counted(_times(look, method), _KINDS[method]) for method in look.methods if method in _KINDS]
    both = " and a whole count" if "whole_organ" in look.methods else ""
    return f"{several(kinds or [counted(look.preparations_per_fish, 'preparation')])}{both} of {each}"


def _times(look: NextLook, method: str) -> int:
    """How many preparations of a method are made of a fish: an arch is taken once."""
    return 1 if method in TAKEN_ONCE else look.preparations_per_fish


_KINDS = {"gill_clip": "gill clip", "gill_arch": "gill arch", "skin_scrape": "skin scrape"}


def _in_all(look: NextLook) -> str:
    """Write in what the flukes of a result are counted."""
    if look.methods == ("whole_organ",):
        return "on it" if look.fish == 1 else f"on {all_of(look.fish, 'fish')}"
    number = look.fish * sum(_times(look, method) for method in look.methods or ("",))
    kind = _KINDS.get(look.methods[0], "preparation") if len(look.methods) == 1 else "preparation"
    return f"in {all_of(number, kind)}"


def _sure_later(look: NextLook, year: int) -> str:
    if look.clean_from is None:
        return ""
    return (
        f" To know that none came back, look about {say_date(look.clean_from, year)}: by then flukes of the last eggs "
        f"show in {percent(SURE)} of simulations."
    )


def _what_for(look: NextLook) -> str:
    if look.purpose == "harvest":
        return "they are killed anyway, and show what the others carry"
    if look.purpose == "in_time":
        return "this look shows what the doses left, while another is still in time for the harvest"
    if look.purpose == "watch":
        return "this look shows whether the flukes increase"
    left = "flukes that were left show by then"
    if look.purpose == "check" and look.clean_from is not None:
        return "this look shows whether the doses have killed enough"
    if look.purpose == "check":
        return f"{left}, so this tells whether the course worked"
    if _proves_little(look):
        return f"{left}, but one clean look proves little"
    if look.clean_is_enough:
        return f"{left}, so this look decides whether they may move"
    return f"{left}, and {_clean_looks(look)} are needed before they may move"


def no_look_text(decision: Decision) -> str:
    """Write why no look is dated."""
    if decision.action == "discharge":
        return "No further look is needed as long as no fish dies and none is added."
    return "No further look is planned."


# --- results -------------------------------------------------------------------------------------------------------
def outcome_lines(look: NextLook) -> list[str]:
    """Write what each result of a look leads to; results that lead to the same stand together."""
    together = [(action, list(rows)) for action, rows in groupby(look.outcomes, key=lambda one: one.action)]
    if len(together) == 1:
        action = together[0][0]
        return _as_foreseen(look, action) if len(look.outcomes) > 1 else _only(look)
    return [
        f"{_seen(rows, look)} ({percent(min(sum(one.chance for one in rows), 1.0))} likely): {_leads_to(look, action)}."
        + _still_left(rows, look)
        for action, rows in together
    ]


def _as_foreseen(look: NextLook, action: str) -> list[str]:
    """Write what all results that are foreseen lead to; a surprise is one all the same."""
    if action != "watch":
        return [f"Whatever it shows: {_leads_to(look, action)}."]
    surprise = "If it shows far more flukes than today, enter the counts and run the report again."
    return [f"As expected: {_leads_to(look, action)}. {surprise}"]


def _still_left(rows: Sequence[Outcome], look: NextLook) -> str:
    """Write how often newcomers that show none carry some all the same."""
    if look.purpose != "release" or rows[-1].code != "none":
        return ""
    more = "" if look.all_fish else ": more fish would prove more"
    little = f", so one clean look proves little{more}" if _proves_little(look) else ""
    return f" Of simulated tanks where none shows, {percent(rows[-1].chance_high)} are not free of flukes{little}."


def _proves_little(look: NextLook) -> bool:
    """Whether flukes are left so often where a look at newcomers shows none that no move can be promised on it."""
    left = max((one.chance_high for one in look.outcomes if one.code == "none"), default=0.0)
    return look.purpose == "release" and left > _PROVES_LITTLE


def _clean_looks(look: NextLook) -> str:
    """Write how many clean looks release newcomers."""
    looks = f"{'two' if look.clean_looks == CLEAN_LOOKS else 'three'} clean looks"
    return f"{looks} from now" if look.clean_before else looks


def _only(look: NextLook) -> list[str]:
    (one,) = look.outcomes
    return [f"{_seen([one], look)} (all but certain): {_leads_to(look, one.action)}."]


def _seen(rows: Sequence[Outcome], look: NextLook) -> str:
    """Name the results, from none to many."""
    last = rows[-1]
    if last.code == "none":
        return "No fluke"
    beyond = sum(one.chance for one in look.outcomes if one.code == "many")
    if last.code == "few" and beyond < _RARE:  # so rare that the limit itself is rough
        return "No fluke, or some" if rows[0].code == "none" else "Some flukes"
    if last.code == "few":
        return f"Up to {counted(last.flukes_max or 0, 'fluke')} {_in_all(look)}"
    if not any(one.code == "few" for one in look.outcomes if one not in rows):
        return "Any fluke"
    if beyond >= _RARE:
        return "More than that"
    few = max((one.flukes_max or 0 for one in look.outcomes if one.code == "few"), default=0)
    return f"Far more than expected, over about {plain(_rounded_up(few))} {_in_all(look)}" if few else "Any fluke"


def _rounded_up(count: int) -> int:
    """A number that is rough itself, up to a round one."""
    step = 10 if count < _HUNDRED else _HUNDRED
    return step * -(-count // step)


def _leads_to(look: NextLook, action: str) -> str:
    if look.purpose == "release" and action == "watch" and look.clean_is_enough and not _proves_little(look):
        return "clean again, they may move"
    if look.purpose == "release" and action == "watch" and _proves_little(look):
        return "keep them apart and look again, a week later at the earliest"
    if look.purpose == "release" and action == "watch":
        return f"keep them apart and look again, a week later at the earliest; they may move after {_clean_looks(look)}"
    if action == "discharge" and look.clean_from is not None:
        return f"no further dose; look once more about {say_date(look.clean_from, look.date.year)}"
    if action == "watch" and look.clean_from is not None:
        return f"no dose, look again about {say_date(look.clean_from, look.date.year)}"
    if action == "watch":
        soonest = min(look_after(look, one) for one in look.outcomes if one.action == action)
        return f"no dose, look again about {say_date(soonest, look.date.year)}"
    if action == "harvest" and look.late_for is not None:
        return (
            f"too many, and too late for a dose before the harvest on {say_date(look.late_for, look.date.year)}; "
            "harvest as planned and tell whoever takes the fish, or dose and harvest later"
        )
    return _LEADS_TO[action]


#: chance of many flukes below which the limit between few and many is not told: an assumption [-]
_RARE = 0.05
_HUNDRED = 100
#: chance that newcomers found clean are not free, above which the look promises nothing: an assumption [-]
_PROVES_LITTLE = 0.3
_LEADS_TO = {
    "discharge": "no further dose against flukes",
    "dose": "a dose is due; enter the counts and run the report again for its date",
    "look_first": "this does not settle it; look for another cause as well",
    "water_first": "put the water right first",
}

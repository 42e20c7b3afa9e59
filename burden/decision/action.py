"""Today's action from plain facts: one rule, with no case, no model and no sentence in it.

The order is that of a visit. Water and gasping fish come first; then whether these are flukes at all; then whether
they will do harm; then whether a dose helps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from burden.decision.records import Reason

__all__ = ["FEW_LEFT", "LIKELY", "SURELY_LOW", "WORTH_FISH", "Facts", "choose"]

#: chance that the burden is too high from which a dose is worth giving: more likely than not [-]
LIKELY = 0.5
#: chance that the burden is too high below which clean fish are good news even where fish die [-]: an assumption
SURELY_LOW = 0.1
#: fish saved, in the median, from which a course is worth giving where the burden may well stay low: an assumption
WORTH_FISH = 0.5
#: chance that any fluke is left below which newcomers are free of them: an assumption, as the aim of eradication [-]
FEW_LEFT = 0.1


@dataclass(frozen=True)
class Facts:
    """What the action follows from.

    Parameters
    ----------
    stopped : bool
        Whether water or fish stop any dose.
    measure_first : bool
        Whether no agent may be given only because something was not measured.
    wrong_water, virus, fish_alive : bool
        Whether a set does not live in this water; a virus is suspected; any fish is alive.
    looked, ever_seen, seen_lately : bool
        Whether any preparation could be read; any ever showed a fluke; those since the last dose did.
    sick_only : bool
        Whether only sick or dead fish were looked at.
    trouble : bool
        Whether fish die, gasp or show signs.
    mostly_else : bool
        Whether most deaths are surely not the flukes'.
    present : float
        Chance that flukes are on the stock [-].
    high : float
        Chance that without a further dose the burden does not stay low [-].
    high_now : float
        Chance that it is too high today [-].
    met_untreated : bool
        Whether without a further dose the aim is met with the chance it asks for.
    saves : float
        Fish that the plan saves from the flukes, in the median.
    helps : bool
        Whether the draws show that the plan reaches the aim more often than no dose.
    plan : bool
        Whether a dose can be given at all.
    eradicate : bool
    course_given : bool
        Whether a dose was given lately.
    checked : bool
        Whether fish were looked at after the check day of the last dose.
    too_cold : bool
        Whether eggs of today hatch so late that no course can meet them.
    forecast_withheld : bool
        Whether the model does not reach far enough here to plan.
    """

    stopped: bool = False
    measure_first: bool = False
    wrong_water: bool = False
    virus: bool = False
    fish_alive: bool = True
    looked: bool = True
    ever_seen: bool = True
    seen_lately: bool = True
    sick_only: bool = False
    trouble: bool = False
    mostly_else: bool = False
    present: float = 1.0
    high: float = 1.0
    high_now: float = 1.0
    met_untreated: bool = False
    saves: float = 0.0
    helps: bool = True
    plan: bool = True
    eradicate: bool = False
    course_given: bool = False
    checked: bool = False
    too_cold: bool = False
    forecast_withheld: bool = False


def choose(facts: Facts) -> tuple[str, tuple[Reason, ...]]:
    """Return today's action and why, the weightiest reason first.

    Parameters
    ----------
    facts : Facts

    Examples
    --------
    >>> choose(Facts(stopped=True))[0]
    'water_first'
    >>> choose(Facts(ever_seen=False, trouble=True, high=0.3))[0]
    'look_first'
    >>> choose(Facts(high=0.9))[0]
    'dose'
    """
    action, codes = next(found for rule in _RULES for found in rule(facts))
    return action, tuple(Reason(code) for code in codes)


_Found = tuple[str, tuple[str, ...]]


def _at_once(facts: Facts) -> Iterator[_Found]:
    """What comes before any question about flukes."""
    if not facts.fish_alive:
        yield "watch", ("no_fish",)
    if facts.stopped:
        yield "water_first", ("water_stops",)
    if facts.wrong_water:
        yield "look_first", ("wrong_water",)
    if facts.virus:
        yield "look_first", ("virus_first",)


def _seen(facts: Facts) -> Iterator[_Found]:
    """No dose against flukes that nobody has seen."""
    if not facts.looked:
        yield "look_first", ("no_samples",)
    if facts.ever_seen:
        return
    if facts.eradicate:
        held = facts.checked and facts.present < FEW_LEFT
        yield ("discharge", ("clean_and_held",)) if held else ("watch", ("never_seen", "held_apart"))
    surely = facts.high < SURELY_LOW
    if facts.trouble:
        yield "look_first", ("never_seen", "look_for_another_cause" if surely else "more_fish")
    if facts.met_untreated and not facts.sick_only:
        yield "watch", ("never_seen", "stays_low")
    yield "look_first", ("never_seen", "more_fish")


def _reached(facts: Facts) -> Iterator[_Found]:
    """No plan where the weeks ahead cannot be foretold."""
    if facts.forecast_withheld:
        yield "look_first", ("model_does_not_reach",)


def _over(facts: Facts) -> Iterator[_Found]:
    """No further dose where the aim is met without one."""
    if not facts.met_untreated:
        return
    why = ("course_worked",) if facts.course_given else ("stays_low",)
    if facts.eradicate:
        clean = facts.checked and not facts.seen_lately
        yield ("discharge", (*why, "clean_and_held")) if clean else ("watch", why)
    if facts.trouble and not facts.seen_lately and facts.mostly_else:
        yield "look_first", (*why, "look_for_another_cause")
    if facts.course_given and facts.checked and not facts.trouble:
        yield "discharge", why
    yield "watch", why


def _harm(facts: Facts) -> Iterator[_Found]:
    """No dose against few flukes that do no harm, nor one that does no good."""
    if facts.eradicate:
        return
    if facts.too_cold and facts.saves < WORTH_FISH:
        yield "watch", ("too_cold",)
    if facts.mostly_else and facts.saves < WORTH_FISH and facts.high < 1 - SURELY_LOW:
        yield "look_first", ("deaths_of_other_cause", "look_for_another_cause")
    early = facts.high_now < LIKELY and not facts.course_given and not facts.trouble
    if early and facts.saves < WORTH_FISH and facts.high >= LIKELY:
        yield "watch", ("not_yet",)
    if facts.high < LIKELY and facts.saves < WORTH_FISH:
        if facts.trouble:
            yield "look_first", ("may_stay_low", "more_fish")
        yield "watch", ("may_stay_low",)


def _dose(facts: Facts) -> Iterator[_Found]:
    if facts.measure_first:
        yield "water_first", ("measure_first",)
    if not facts.plan:
        yield ("look_first" if facts.trouble else "watch"), ("no_dose_possible",)
    if not facts.helps and facts.saves < WORTH_FISH:
        yield "watch", ("dose_does_not_help",)
    yield "dose", ("course_goes_on" if facts.course_given else "stays_high",)


_RULES = (_at_once, _seen, _reached, _over, _harm, _dose)

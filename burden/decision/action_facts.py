"""The plain facts that today's action follows from: what `facts.py` takes out of case, estimates and search."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Facts"]


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
    seen_before : bool
        Whether fish were looked at on a visit before this one.
    looked_over : bool
        Whether fish were looked at a week or more after the last dose.
    quick : bool
        Whether all these flukes bear young, and are many again within days.
    looks_settle : bool
        Whether looking at more fish today may well settle what to do.
    persist : bool
        Whether the last look and one at least a week before it, both since the last dose, showed flukes.
    identify_first : bool
        Whether they are seen for the first time, on fish that the notifiable ones kill.
    cold : bool
        Whether the water is so cold that flukes hardly increase.
    rising : bool
        Whether the last look showed at least twice as many flukes as one before it, both since the last dose.
    notifiable : bool
        Whether flukes were seen that many countries ask to be reported.
    unknown_given : bool
        Whether a product nobody knows was given lately.
    by_calendar : bool
        Whether doses were given a month or so apart, one after the other, so that none was a course.
    sick_only : bool
        Whether flukes were seen on sick or dead fish alone; where none was, whether only such were looked at.
    trouble : bool
        Whether fish die, gasp or show signs.
    mostly_else : bool
        Whether most deaths are surely not the flukes'.
    others_far_more : bool
        Whether other causes are expected to kill a share of the stock, and far more than the flukes do.
    other_first : bool
        Whether another disease was found that is treated before flukes, and that no dose of the plan meets.
    meets_other : bool
        Whether such a disease was found and the plan's agents work on it.
    present : float
        Chance that flukes are on the stock [-].
    high : float
        Chance that without a further dose the burden does not stay low [-].
    high_now : float
        Chance that it is too high today [-].
    met_untreated : bool
        Whether without a further dose the aim is met with the chance it asks for.
    saves, fish : float
        Fish that the plan saves from the flukes, in the median, and how many there are.
    met_by_plan : float
        Chance that the plan meets the aim [-].
    helps : bool
        Whether the draws show that the plan reaches the aim more often than no dose.
    plan : bool
        Whether a dose can be given at all.
    eradicate : bool
    course_given : bool
        Whether a dose was given lately.
    planned : bool
        Whether the case plans doses to come.
    course_over : bool
        Whether as many doses were given as a course has.
    least_given : bool
        Whether as many doses were given as the least that meets what hatches after the first.
    dosed_before : bool
        Whether the record has any dose: flukes then seen are a relapse.
    fell_short : bool
        Whether the last doses killed too few, as likely as not.
    held_up : bool
        Whether as many flukes are left soon after doses of full strength as before them.
    agent_changed : bool
        Whether doses of one agent left flukes, so that another agent takes its place.
    checked, check_begun : bool
        Whether enough fish were looked at after the check day of the last dose; whether any were.
    sure : bool
        Whether they were looked at once flukes of the last eggs would show, or no later look is asked for that.
    clean_looks : int
        Looks since the last dose, at least a week apart, that showed no fluke.
    harvest_too_early, harvest_lost : bool
        Whether the fish are to be harvested before anybody may eat them after the plan; whether that is so already,
        after the doses given.
    harvest_soon : bool
        Whether food fish are to be harvested within weeks.
    saves_by_harvest : float
        Fish that the plan saves from the flukes until then.
    too_much_water : bool
        Whether only the amount of water keeps every agent out.
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
    seen_before: bool = False
    looked_over: bool = False
    quick: bool = False
    looks_settle: bool = True
    persist: bool = False
    notifiable: bool = False
    rising: bool = False
    identify_first: bool = False
    cold: bool = False
    unknown_given: bool = False
    by_calendar: bool = False
    sick_only: bool = False
    trouble: bool = False
    mostly_else: bool = False
    others_far_more: bool = False
    other_first: bool = False
    meets_other: bool = False
    present: float = 1.0
    high: float = 1.0
    high_now: float = 1.0
    met_untreated: bool = False
    saves: float = 0.0
    fish: float = 30.0
    met_by_plan: float = 1.0
    helps: bool = True
    plan: bool = True
    eradicate: bool = False
    course_given: bool = False
    planned: bool = False
    course_over: bool = False
    least_given: bool = True
    dosed_before: bool = False
    fell_short: bool = False
    held_up: bool = False
    agent_changed: bool = False
    checked: bool = False
    check_begun: bool = False
    sure: bool = True
    clean_looks: int = 0
    harvest_too_early: bool = False
    harvest_lost: bool = False
    harvest_soon: bool = False
    saves_by_harvest: float = 0.0
    too_much_water: bool = False
    too_cold: bool = False
    forecast_withheld: bool = False

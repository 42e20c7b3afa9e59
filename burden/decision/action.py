"""Today's action from plain facts: one rule, with no case, no model and no sentence in it.

The order is that of a visit. Water and gasping fish come first; then whether these are flukes at all; then whether
they will do harm; then whether a dose helps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from burden.decision.look_records import looks_needed
from burden.decision.records import Reason

__all__ = [
    "DOSE_BESIDE",
    "EVEN",
    "FEW_LEFT",
    "FEW_NOW",
    "LIKELY",
    "NOT_FOR_LONG",
    "SURELY_LOW",
    "WELL_FISH",
    "WORTH_FISH",
    "WORTH_SHARE",
    "Facts",
    "choose",
]

#: chance that the burden is too high from which a dose is worth giving: more likely than not [-]
LIKELY = 0.5
#: chance about as likely as not, from which fish in trouble are dosed where more fish would settle nothing: an
#: assumption [-]
EVEN = 0.4
#: chance that the burden is too high below which clean fish are good news even where fish die [-]: an assumption
SURELY_LOW = 0.1
#: fish saved, in the median, from which a course is worth giving where the burden may well stay low: an assumption
WORTH_FISH = 0.5
#: and at least this share of the stock: no pond of thousands is dosed to save one fish. An assumption [-]
WORTH_SHARE = 0.005
#: so many times as many fish a course has to save by the harvest to put it off for weeks: an assumption [-]
_TO_PUT_OFF = 2.0
#: chance of too many today from which fish that are well are dosed: the level is itself an assumption [-]
WELL_FISH = 0.65
#: chance of too many today below which flukes are too few to be what ails fish in trouble: an assumption [-]
FEW_NOW = 0.25
#: chance of too many from which flukes are dosed on the first visit though most deaths are another disease's, or though
#: sick and dead fish alone showed them: an assumption [-]
DOSE_BESIDE = 0.75
#: chance of the aim below which a course only relieves fish that are ill: an assumption [-]
NOT_FOR_LONG = 0.25
#: chance of too many below which well fish need no further dose of a course under way: an assumption [-]
_FEW_MORE = 0.3
#: clean looks, on enough fish and far enough apart, after which well fish that never showed a fluke are looked at no
#: more: common practice, no source
_CLEAN_LOOKS = 2
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
    saves_by_harvest: float = 0.0
    too_much_water: bool = False
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
    if facts.identify_first:
        yield "look_first", ("identify_first",)


def _seen(facts: Facts) -> Iterator[_Found]:
    """No dose against flukes that nobody has seen."""
    if not facts.looked:
        yield "look_first", ("no_samples",)
    if facts.ever_seen:
        return
    if facts.eradicate:
        held = facts.checked and (facts.present < FEW_LEFT or facts.clean_looks >= looks_needed(facts.present))
        yield ("discharge", ("clean_and_held",)) if held else ("watch", ("never_seen", "held_apart"))
    surely = facts.high < SURELY_LOW
    if facts.trouble:
        yield "look_first", ("never_seen", "look_for_another_cause" if surely else "more_fish")
    if facts.met_untreated and not facts.sick_only:
        again = surely and facts.checked and facts.clean_looks >= _CLEAN_LOOKS
        yield ("discharge" if again else "watch"), ("never_seen", "stays_low")
    yield "look_first", ("never_seen", "more_fish")


def _reached(facts: Facts) -> Iterator[_Found]:
    """No plan where the weeks ahead cannot be foretold."""
    if not facts.forecast_withheld:
        return
    ill = facts.trouble and facts.seen_lately and facts.high_now >= LIKELY and not facts.met_untreated
    if ill and facts.plan and not facts.measure_first:
        yield "dose", ("too_many_now", "model_does_not_reach")
    yield "look_first", ("model_does_not_reach",)


def _free(facts: Facts) -> Iterator[_Found]:
    """Newcomers that had a whole course and are clean need time and a second look, not another dose."""
    if facts.eradicate and facts.course_over and facts.checked and not facts.seen_lately:
        free = facts.met_untreated or facts.clean_looks >= looks_needed(facts.present)
        yield ("discharge", ("clean_and_held",)) if free else ("watch", ("clean_once",))


def _over(facts: Facts) -> Iterator[_Found]:
    """No further dose where the aim is met without one."""
    if not facts.met_untreated or (not facts.least_given and _goes_on(facts)):
        return
    worked = "course_worked" if facts.checked else "course_likely_worked"
    why = (worked,) if facts.course_given else ("stays_low",)
    if facts.eradicate:
        clean = facts.checked and not facts.seen_lately
        yield ("discharge", (*why, "clean_and_held")) if clean else ("watch", why)
    if facts.trouble and not facts.seen_lately and facts.mostly_else:
        yield "look_first", (*why, "look_for_another_cause")
    if facts.course_given and facts.check_begun and not facts.checked:
        yield "look_first", (*why, "too_few_to_end")
    few = not facts.seen_lately or facts.high < SURELY_LOW  # what still shows flukes is looked at once more
    if facts.course_given and facts.checked and facts.sure and not facts.trouble and few:
        yield "discharge", why
    yield "watch", why


def _goes_on(facts: Facts) -> bool:
    """Whether a course has begun that is neither given in full nor judged by a look after its last hatch.

    After one dose such a look ends it only if it is clean and flukes of the last eggs would show, as those that hatch
    are still to be met; after two also where few were seen. Fish that are well by then, a week or more after a second
    dose, and will likely stay so, need no further.
    """
    few, enough = facts.high < _FEW_MORE, facts.least_given or facts.sure
    judged = facts.checked and enough and ((facts.least_given and few) or not facts.seen_lately)
    well = facts.looked_over and enough and few and not (facts.trouble or facts.eradicate or facts.planned)
    return facts.course_given and not facts.course_over and not judged and not well


def _saves_enough(facts: Facts) -> bool:
    return _enough(facts.saves, facts.fish)


def _enough(saved: float, fish: float) -> bool:
    return saved >= max(WORTH_FISH, WORTH_SHARE * fish)


def _harm(facts: Facts) -> Iterator[_Found]:
    """No dose against few flukes that do no harm, nor one that does no good."""
    if facts.eradicate:
        return
    worth = _saves_enough(facts)
    if (facts.too_cold or facts.cold) and not worth and not _goes_on(facts):
        yield ("look_first", ("too_cold", "look_for_another_cause")) if facts.trouble else ("watch", ("too_cold",))
    later = LIKELY if facts.seen_before else DOSE_BESIDE  # by then the other cause has been looked for
    if facts.meets_other and facts.trouble and facts.plan:
        return  # one bath treats both
    first = facts.other_first and facts.trouble and not worth
    if first and (facts.mostly_else or min(facts.high_now, facts.high) < DOSE_BESIDE):
        yield "look_first", (*(("deaths_of_other_cause",) if facts.mostly_else else ()), "other_first")
    if facts.others_far_more and facts.trouble and not worth and not facts.seen_before:
        yield "look_first", ("few_saved", "look_for_another_cause")
    if facts.mostly_else and facts.trouble and not worth and (facts.high_now < LIKELY or facts.high < later):
        yield "look_first", ("deaths_of_other_cause", "look_for_another_cause")
    if _goes_on(facts):
        return  # broken off, it has only thinned those that were ripe
    if facts.sick_only and facts.high_now < DOSE_BESIDE and not worth:
        yield "look_first", ("sick_only", "more_fish")
    ill = facts.high if facts.rising else min(facts.high_now, facts.high)
    if facts.trouble and facts.persist and ill >= FEW_NOW:
        return  # by now another cause has been looked for, and the flukes are still there, or ever more
    again = facts.dosed_before or facts.persist
    least = FEW_NOW if facts.trouble or facts.rising else LIKELY if again else WELL_FISH
    now = facts.high if facts.quick and (again or facts.seen_before) else facts.high_now
    if now < least and facts.high >= LIKELY and not worth:
        # few flukes now, and fish in trouble: that is something else
        yield ("look_first", ("not_yet", "look_for_another_cause")) if facts.trouble else ("watch", ("not_yet",))
    if facts.high < LIKELY and not worth:
        if facts.trouble and not facts.looks_settle and facts.helps and facts.high >= EVEN:
            return
        if facts.trouble:
            yield "look_first", ("may_stay_low", "more_fish" if facts.looks_settle else "look_for_another_cause")
        yield "watch", ("may_stay_low",)


def _dose(facts: Facts) -> Iterator[_Found]:
    if facts.measure_first:
        yield "water_first", ("measure_first",)
    if not facts.plan:
        why = "too_much_water" if facts.too_much_water else "no_dose_possible"
        yield ("look_first" if facts.trouble else "watch"), (why,)
    worth = _enough(facts.saves_by_harvest / _TO_PUT_OFF, facts.fish)
    if facts.harvest_too_early and not facts.harvest_lost and not worth:
        yield "watch", ("harvest_first",)
    failed = ("agent_changed",) if facts.agent_changed else ("doses_fell_short",) if facts.fell_short else ()
    helps = facts.helps or _saves_enough(facts) or (_goes_on(facts) and not failed)
    relieves = facts.trouble and facts.seen_lately and facts.high_now >= LIKELY
    relieves = relieves and (facts.agent_changed or not facts.fell_short)
    if relieves and not facts.eradicate and not facts.course_given and facts.met_by_plan < NOT_FOR_LONG:
        yield "dose", ("too_many_now", *failed, "not_for_long")  # ill fish are relieved of what is on them
    if facts.held_up and not facts.agent_changed:
        yield "look_first", ("doses_fell_short",)  # more of the same would fail as well
    if not helps:
        action = "look_first" if facts.trouble or failed else "watch"
        yield action, (*failed, "dose_does_not_help")
    persists = facts.persist and facts.trouble and facts.high < LIKELY
    other = facts.meets_other and facts.trouble and facts.high < DOSE_BESIDE
    begins = (
        "to_be_free" if facts.eradicate else "other_met" if other else "flukes_persist" if persists else "stays_high"
    )
    not_enough = facts.course_over and facts.seen_lately and not facts.eradicate
    goes_on = "course_not_enough" if not_enough else "course_goes_on"
    why = goes_on if facts.course_given else begins
    besides = ("deaths_of_other_cause",) if facts.mostly_else and facts.trouble else ()
    waits = ("harvest_waits",) if facts.harvest_too_early else ()
    hardly = ("hardly_cleared",) if facts.eradicate and facts.met_by_plan < NOT_FOR_LONG else ()
    yield "dose", (why, *failed, *waits, *hardly, *besides)


_RULES = (_at_once, _seen, _reached, _free, _over, _harm, _dose)

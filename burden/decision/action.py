"""Today's action from plain facts: one rule, with no case, no model and no sentence in it.

The order is that of a visit. Water and gasping fish come first; then whether these are flukes at all; then whether
they will do harm; then whether a dose helps.
"""

from __future__ import annotations

from collections.abc import Iterator

from burden.decision.action_facts import Facts
from burden.decision.look_records import looks_needed
from burden.decision.records import Reason

__all__ = [
    "DOSE_BESIDE",
    "EVEN",
    "FEW_LEFT",
    "FEW_MORE",
    "FEW_NOW",
    "LIKELY",
    "NOT_FOR_LONG",
    "SURELY_LOW",
    "WELL_FISH",
    "WORTH_FISH",
    "WORTH_SHARE",
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
FEW_MORE = 0.3
#: clean looks, on enough fish and far enough apart, after which well fish that never showed a fluke are looked at no
#: more: common practice, no source
_CLEAN_LOOKS = 2
#: chance that any fluke is left below which newcomers are free of them: an assumption, as the aim of eradication [-]
FEW_LEFT = 0.1


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
    few, enough = facts.high < FEW_MORE, facts.least_given or facts.sure
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
    ill_or_lost = facts.trouble or facts.harvest_lost
    if facts.harvest_soon and not ill_or_lost and not _enough(facts.saves_by_harvest, facts.fish):
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

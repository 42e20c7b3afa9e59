"""Words of plans with days: when to look after a dose, and how long to hold new fish."""

from __future__ import annotations

from burden.report.text.sampling import CHANGES, as_asked, brief_plan, headline_of, reason_of, table, whole_plan
from burden.report.text.sampling_sizes import table_of_choices
from burden.sampling.follow_up import RecheckPlan
from burden.sampling.quarantine import ArrivalsPlan
from burden.utils.formatting import counted, interval, plain, sentence, several, uncapitalised
from burden.utils.wording import writes, writes_brief

__all__: list[str] = []  # writers are found by the type they write

CHANGES.update(
    {
        "colder_water": "Colder water: eggs and young take longer, so work out the day again.",
        "warmer_water": "Warm the water within what the fish bear, or wait until it is warmer, and ask again.",
        "measured": "Measured times of hatching and of maturity would give a day.",
        "recognised_younger": "If flukes can be recognised before they are mature, the day comes earlier.",
        "recognised_older": "If flukes can be recognised only when older, the day comes later.",
        "further_dose": "A further dose starts the count of days again.",
        "colder_slower_births": "Colder water: they multiply more slowly, so wait longer.",
        "holding_water": "Colder holding water lengthens the hold. Warmer water, if the fish bear it, shortens it.",
        "find_restarts": "Any fluke found: treat, and count the hold again from the last dose.",
        "added_fish": "Fish added to the group start the hold again for all.",
    }
)
_NO_DAY = {
    "too_cold": "In water this cold eggs do not hatch within 400 days, so no day can be given.",
    "dwindles": "In most simulations these flukes become fewer in such water, so no day of a second look can be given.",
}
_SEES = {
    "flukes_on_arrival": "flukes on arrival",
    "first_from_eggs": "the first flukes from eggs carried in",
    "all_from_eggs": "all flukes from eggs carried in; this look decides",
    "grown_young": "what the first look missed, multiplied since; this look decides",
}


def _no_day(plan: RecheckPlan | ArrivalsPlan) -> str:
    return _NO_DAY.get(plan.reason) or f"No day can be given: {sentence(plan.why_no_day)[:-1].lower()}."


# --- after a dose -------------------------------------------------------------------------------------------------
@headline_of.register
def _(plan: RecheckPlan) -> str:
    if plan.day is None:
        return f"When to look again cannot be said. {plan.sample.headline()}"
    return f"Look again {counted(plan.day, 'day')} after the last dose. {plan.sample.headline()}"


@reason_of.register
def _(plan: RecheckPlan, code: str) -> str:
    judges = _judges_the_dose(plan.survivors_only_until_day or 0) if code == "eggs_have_shown" else ""
    return " ".join(part for part in (_why_day(plan), judges, str(plan.sample.because)) if part)


def _why_day(plan: RecheckPlan) -> str:
    if plan.day is None:
        return _no_day(plan)
    if plan.reason == "live_bearer":
        return (
            "These flukes lay no eggs: all of them are on the fish at the dose, and young are born there. In a week "
            "(common practice, no source) survivors become enough to find."
        )
    return _eggs(plan)


def _eggs(plan: RecheckPlan | ArrivalsPlan) -> str:
    day, share = plan.day if isinstance(plan, RecheckPlan) else plan.hold_days, as_asked(plan.share_shown)
    start = "A dose spares eggs." if isinstance(plan, RecheckPlan) else "Eggs come in with the fish."
    shown = plan.all_shown_days
    between = f"median day {plain(shown.median, 2)}, range {plain(shown.low, 2)} to {plain(shown.high, 2)}"
    said = f"{start} By day {day} all have hatched and their flukes can be seen in {share} of simulations ({between})."
    return f"{said} {_EARLIER}" if isinstance(plan, RecheckPlan) else said


#: how the look that a decision plans hangs together with this one
_EARLIER = (
    "`burden decide` plans an earlier look, once the eggs have hatched in half of simulations: that one shows whether "
    "the doses have killed enough, this one that none came back."
)


def _judges_the_dose(early: int) -> str:
    if early < 1:
        return "New flukes may be seen within a day of the dose, so an earlier look does not judge the dose alone."
    return f"Up to day {early} you see only survivors of the dose, which tells whether it killed, not whether it cured."


@writes
def _recheck_text(plan: RecheckPlan) -> str:
    """Write when to look after a dose, and at how many."""
    options = table({"preparations": "preparations of each", "fish": "fish"}, plan.sample.options)
    return whole_plan(plan, *table_of_choices(plan.sample), options)


@writes_brief
def _recheck_brief(plan: RecheckPlan) -> str:
    """Write when to look after a dose, in a few lines."""
    return brief_plan(plan, *table_of_choices(plan.sample), str(plan.sample.because), why=_why_day(plan))


# --- new fish -------------------------------------------------------------------------------------------------------
@headline_of.register
def _(plan: ArrivalsPlan) -> str:
    if plan.hold_days is None:
        return f"How long to hold the new fish cannot be said. On arrival: {uncapitalised(plan.sample.headline())}"
    return (
        f"Hold the new fish {counted(plan.hold_days, 'day')}. On the last day: {uncapitalised(plan.sample.headline())}"
    )


@reason_of.register
def _(plan: ArrivalsPlan, code: str) -> str:
    if code in _SEES:
        return _SEES[code]
    return f"{_why_hold(plan)} {plan.sample.because}"


def _why_hold(plan: ArrivalsPlan) -> str:
    if plan.hold_days is None:
        return _no_day(plan)
    if plan.reason == "live_bearer":
        shown = plan.all_shown_days
        days = interval(shown.median, shown.low, shown.high)
        return (
            "These flukes lay no eggs, so all of them come in on the fish, but a look can miss a few. A tenth of the "
            f"burden asked about grows to it in {days} days."
        )
    return f"{_eggs(plan)} Before that a clean look says nothing of eggs."


def _looks(plan: ArrivalsPlan) -> str:
    heads = {"day": "day", "fish": "fish", "preparations": "preparations of each", "sees": "shows"}
    return table(heads, plan.rows())


@writes
def _arrivals_text(plan: ArrivalsPlan) -> str:
    """Write how long to hold new fish, and when to look."""
    return whole_plan(plan, *table_of_choices(plan.sample), _looks(plan))


@writes_brief
def _arrivals_brief(plan: ArrivalsPlan) -> str:
    """Write how long to hold new fish, in a few lines."""
    days = several(str(look["day"]) for look in plan.looks)
    look = f"Look on day {days}. A fluke at any look: treat, and count the hold again from the last dose."
    return brief_plan(plan, *table_of_choices(plan.sample), look, str(plan.sample.because), why=_why_hold(plan))

"""Words of the years of one pond: how the burden went, how the forecasts have held, what the treatments killed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from burden.decision.doses_given import last_dose
from burden.inference.kill_record import LEAST_TRIALS, SUSPECT, WIDEST, KillRecord, Trial
from burden.inference.pond_history import Calibration, History
from burden.inference.visit_forecasts import VisitForecast
from burden.utils.dates import day_in_words
from burden.utils.formatting import counted, named, percent, plain, several
from burden.utils.wording import writes, writes_brief

__all__ = ["calibration_text", "expected_line", "forecast_words", "kill_lines", "left_out_text"]

_SEEN = {
    "more": "more than expected",
    "fewer": "fewer than expected",
    "as_expected": "within that range",
    "cannot_tell": "too few simulated ponds fit the visit before to judge it",
}
_KILLED = {
    "less": "less than expected",
    "more": "more than expected",
    "as_expected": "as expected",
    "cannot_tell": "these counts cannot tell how it worked",
}
#: chance of a falling kill from which it is said that it may be so: more likely than not
_LIKELY = 0.5
_UNCHECKED = {
    "one_visit": "No forecast can be checked yet: the fish were looked at on one day only.",
    "far_apart": "No forecast can be checked: the visits lie more than 120 days apart, and none looks that far ahead.",
    "not_worked_out": "",  # `left_out_text` says so
}
_HELD = {
    "too_low": "The forecasts for this pond were too low: expect more flukes than they say, and look sooner.",
    "too_high": "The forecasts for this pond were too high: expect fewer flukes than they say.",
    "too_sure": "The forecasts for this pond were too sure: do not rely on their ranges, look at fish instead.",
    "as_good_as_said": "The forecasts for this pond are as good as their ranges say.",
    "too_few": "That is too few visits to say how good the forecasts for this pond are.",
}


@writes
def _history_text(found: History) -> str:
    lines = [_visits_text(found), *(_visit_line(found, i) for i in range(len(found.visits)))]
    lines += [calibration_text(found), *[left_out_text(found)][: bool(found.left_out)]]
    # `response` judges the last dose: a second verdict on it, by another question, might differ
    lines += kill_lines(found, last_dose(found.case)) or ["No treatment lies between two looks at the fish."]
    return "\n".join(lines)


@writes_brief
def _history_brief(found: History) -> str:
    lines = [_visits_text(found), calibration_text(found)]
    if found.forecasts:
        lines.append(_forecast_line(found.forecasts[-1]))
    last = last_dose(found.case)
    lines += [f"{_trend_text(kill)} {_last_kill(kill, last)}" for kill in found.kills if kill.agent != "several"]
    if not found.kills:
        lines.append("No treatment lies between two looks at the fish, so what the doses killed cannot be said.")
    return "\n".join(lines)


def _visits_text(found: History) -> str:
    """Write the first and the last burden, and whether they lie apart."""
    name = found.case.title or found.case.name
    if not found.visits:
        return f"No fish of {name} was looked at."
    first, last = found.visits[0], found.visits[-1]
    if len(found.visits) < 2:
        seen = f"{first.burden.text()} flukes a fish on {day_in_words(first.date)}"
        return f"{named(found.parasite).capitalize()} in {name}, one visit: {seen}."
    apart = (
        "more than at first" if last.burden.low > first.burden.high else
        "fewer than at first" if last.burden.high < first.burden.low else
        "these ranges overlap, so the two visits cannot be told apart"
    )  # fmt: skip
    return (
        f"{named(found.parasite).capitalize()} in {name}, {len(found.visits)} visits: {first.burden.text()} flukes a "
        f"fish on {day_in_words(first.date)}, {last.burden.text()} on "
        f"{day_in_words(last.date)} ({apart})."
    )


def _visit_line(found: History, i: int) -> str:
    visit = found.visits[i]
    looked = f"{counted(visit.preparations, 'preparation')} from {counted(visit.fish, 'fish')}"
    said = (
        f"{day_in_words(visit.date)}: {counted(visit.counted, 'fluke')} in {looked}, at "
        f"{plain(visit.temperature_c, 3)} °C; {visit.burden.text()} flukes a fish"
    )
    if visit.alone:
        said += " by its own counts"
    if visit.dead is not None:
        said += f"; {counted(visit.dead, 'fish')} died since the visit before"
    expected = next((one for one in found.forecasts if one.date == visit.date), None)
    return f"{said}." if expected is None else f"{said}. {_forecast_line(expected)}"


def expected_line(one: VisitForecast) -> str:
    """Write what the visit before expected of the preparations of a visit, and what they showed."""
    return (
        f"On {day_in_words(one.known_until)} we expected {one.counts.whole()} flukes in the preparations of "
        f"{day_in_words(one.date)}; they showed {plain(one.counted, 9)}: {_SEEN[one.verdict]}."
    )


def _forecast_line(one: VisitForecast) -> str:
    """Write what was expected of a visit, of counts and of deaths, and what it showed."""
    said = expected_line(one)
    if one.deaths is None or one.dead is None:
        return said
    return f"{said} We expected {one.deaths.whole()} deaths; {one.dead} died."


def forecast_words(one: VisitForecast | None) -> str:
    """Write the count that was expected of a visit, for a cell of a table."""
    if one is None:
        return "–"
    if not one.can_be_judged:
        return "cannot be said"
    return one.counts.whole() if one.verdict == "as_expected" else f"{one.counts.whole()}: {_SEEN[one.verdict]}"


def calibration_text(found: History) -> str:
    """Write how the forecasts have held, or why none can be checked."""
    c = found.calibration
    if found.why_unchecked == "few_ponds":
        return _few_ponds(found.forecasts)
    if found.why_unchecked:
        return _UNCHECKED[found.why_unchecked]
    said = _held(
        c, any(f.known_until <= dose.date < f.date for f in found.forecasts for dose in found.case.doses_given)
    )
    if c.verdict in ("too_low", "too_high", "too_sure"):
        chance = c.chance_outside if c.verdict == "too_sure" else c.chance_lean
        said += f"Right forecasts would miss so with a chance of {percent(chance)}. "
    return said + _HELD[c.verdict]


def _few_ponds(forecasts: Sequence[VisitForecast]) -> str:
    """Say which counts cannot be held against a forecast, and that the rest of the page stands."""
    days = several(day_in_words(one.date) for one in forecasts)
    return (
        f"What was counted on {days} cannot be checked against a forecast: too few simulated ponds fit the visit "
        "before. All other figures here hold without that."
    )


def _held(c: Calibration, dosed: bool) -> str:
    """Count the visits that showed what was expected, more or fewer; the range allows for doses that fail."""
    allowed = ", which allows for doses that fail" if dosed else ""
    if c.checked == 1:
        showed = f"{'more' if c.more else 'fewer'} flukes than" if c.more + c.fewer else "flukes within"
        return f"The one visit that can be checked showed {showed} the range expected the visit before{allowed}. "
    inside = c.checked - c.more - c.fewer
    sides = [f"{n} showed {word}" for n, word in ((c.more, "more"), (c.fewer, "fewer")) if n]
    said = (
        f"Of {counted(c.checked, 'visit')} {inside} showed flukes within the range expected the visit before{allowed}"
    )
    return said + (f"; {several(sides)}. " if sides else ". ")


def left_out_text(found: History) -> str:
    """Say which visits have no forecast beside them."""
    if not found.left_out:
        return ""
    many = counted(len(found.left_out), "earlier visit")
    return f"For {many} no forecast was worked out here; `burden history` does that where the visit before is near."


def kill_lines(found: History, judged: date | None = None, where: str = "`burden response`") -> list[str]:
    """Write every treatment that was judged, and the trend of each agent.

    Of the one whose last dose, on the day `judged`, has its verdict elsewhere, no second verdict is given.
    """
    trials = [trial for kill in found.kills for trial in kill.trials]
    lines = [_trial_line(trial, where if trial.last == judged else "") for trial in trials]
    return lines + [_trend_text(kill) for kill in found.kills if kill.agent != "several"]


def _trial_line(trial: Trial, elsewhere: str) -> str:
    when = day_in_words(trial.first)
    doses = "" if trial.doses == 1 else f", {trial.doses} doses"
    who = "several agents" if trial.agent == "several" else named(trial.agent)
    return f"{who.capitalize()}, {when}{doses}: {_killed(trial, elsewhere)}"


def _killed(trial: Trial, elsewhere: str = "") -> str:
    """Write what the doses of one treatment killed, beside what was to be expected; of a wide range the ends alone."""
    killed = trial.kill.text(scale=100)
    if trial.verdict == "cannot_tell" or trial.kill.high - trial.kill.low > WIDEST:
        killed = f"anything from {plain(100 * trial.kill.low, 2)} to {plain(100 * trial.kill.high, 2)}"
    verdict = f"whether the last dose worked, newly settled flukes allowed for, says {elsewhere}"
    verdict = verdict if elsewhere else _KILLED[trial.verdict]
    which = "the" if trial.doses == 1 else "each"
    return (
        f"{_counts_fell(trial)}by the counts {which} dose killed {killed} % of grown flukes; published trials lead "
        f"one to expect {trial.expected.text(scale=100)} %; {verdict}."
    )


def _counts_fell(trial: Trial) -> str:
    """Write the reduction of the counts as they stand, where they fell."""
    fell = trial.counts_fell
    if fell is None or not fell.estimate > 0:
        return ""
    ends = (
        "" if not math.isfinite(fell.low + fell.high) else f" ({plain(max(fell.low, 0.0), 2)} to {plain(fell.high, 2)})"
    )
    return f"counts fell by {plain(fell.estimate, 2)}{ends} %; "


def _last_kill(kill: KillRecord, judged: date | None) -> str:
    trial = kill.trials[-1]
    return f"At the last one {_killed(trial, '`burden response`' if trial.last == judged else '')}"


def _trend_text(kill: KillRecord) -> str:
    """Write whether an agent kills less than it did, by the stated rule."""
    name, n = named(kill.agent), len(kill.trials)
    if kill.verdict == "too_few" or kill.trend is None:
        return (
            f"{name.capitalize()}: {counted(n, 'treatment')} with a look before and after; a falling kill cannot be "
            f"told from fewer than {LEAST_TRIALS}."
        )
    chance = (
        f"the chance is {percent(kill.trend.chance)} that the last of {n} treatments, dose for dose, left at least "
        "twice as many flukes as the first and killed under 90 %"
    )
    if kill.verdict == "suspect":
        return (
            f"{name.capitalize()}: suspect resistance; {chance}. First rule out a wrong volume, "
            "an old product, filter, carbon and lamp; then treat with another agent and look two days after."
        )
    if kill.verdict == "no_sign":
        return f"{name.capitalize()}: no sign of resistance; {chance} (suspicion from {percent(SUSPECT)})."
    if kill.trend.chance >= _LIKELY:
        return f"{name.capitalize()}: it may kill less than it did; {chance} (suspicion from {percent(SUSPECT)})."
    return f"{name.capitalize()}: these counts cannot say whether it kills less than it did; {chance}."

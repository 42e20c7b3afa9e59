"""Words of a forecast: what flukes and fish do, untreated, as planned and as recommended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from burden.report.text.notes import noted, other_sets, parasite_name
from burden.schedule.by_killer import IfThisKills
from burden.schedule.forecast import AfterADose, Forecast
from burden.schedule.projection import Delay, Projection
from burden.utils.dates import day_in_words
from burden.utils.formatting import percent, percents, plain, sentence, several
from burden.utils.results import CredibleInterval
from burden.utils.wording import writes, writes_brief

__all__ = ["by_killer_lines", "delay_text", "regime_text"]

_COURSES = {"untreated": "Untreated", "planned": "As the case plans", "recommended": "As recommended"}
#: share of ponds from which a reader asks why [-]
_MOSTLY = 0.5
_REGIMES = {"growing": "more flukes than today in", "endemic": "about as many in", "fading": "fewer or none in"}


@writes
def _forecast_text(f: Forecast) -> str:
    lines = _answer(f)
    for name in ("planned", "recommended"):
        avoided = f.avoided(name)
        if avoided is not None:
            lines.append(f"{_COURSES[name]}, {avoided.whole()} deaths by flukes are avoided.")
    if f.delay is not None:
        lines.append(delay_text(f.delay))
    if any(course.doses for course in f.courses().values()):
        lines.append(str(AfterADose.of([f.parasite])))
    for name, course in f.courses().items():
        lines.append(
            f"{_COURSES[name]}, no fluke is left a year on in {percent(course.elimination.mean)} of simulated ponds "
            f"({percent(course.elimination_braked.mean)} if resistance and crowding stay as they are)."
        )
    return noted([*lines, *other_sets(f.case.parasites, f.parasite)], f.warnings)


@writes_brief
def _forecast_brief(f: Forecast) -> str:
    return noted([*_answer(f), *other_sets(f.case.parasites, f.parasite)], f.case.warnings)


def _answer(f: Forecast) -> list[str]:
    emptied = f.case.emptied_on
    harvest = ", to the harvest" if emptied is not None and f.case.day_of(emptied) == f.horizon_days else ""
    days = f"{plain(f.horizon_days)} days from {day_in_words(f.case.visit_date)}{harvest}"
    start = f"{parasite_name(f.parasite)}, {days}:"
    died = any(row.deaths for row in f.case.deaths)
    lines = [start, *(f"{_COURSES[name]}: {_course(course, died)}" for name, course in f.courses().items())]
    if f.recommended is None and f.withheld_reason:
        lines.append(f"No dose is recommended: {sentence(f.withheld_reason)}")
    return [*lines, *by_killer_lines(f), regime_text(f)]


def by_killer_lines(f: Forecast) -> list[str]:
    """Write the deaths ahead if flukes kill and if they do not; nothing where the records say who kills."""
    told = [reading for reading in f.by_killer if reading.says_something]
    if not any(reading.by_flukes for reading in told):
        return []
    lines = ["The records leave open who kills, and the forecast hangs on it:", *map(str, told)]
    return lines if len(told) == len(f.by_killer) else [*lines, "Otherwise flukes probably kill none."]


_IF = {
    "flukes": "If flukes caused most of the recorded deaths",
    "something_else": "If something else caused at least half of them",
}
_TREATED = {"planned": "with the doses the case plans", "recommended": "with the recommended doses"}


@writes
def _if_this_kills(reading: IfThisKills) -> str:
    start = f"{_IF[reading.cause]} (chance {percent(reading.chance)})"
    if reading.untreated is None:
        return f"{start}: too few simulated ponds (as good as {plain(reading.effective_draws, 2)}) to say what follows."
    dead = f"flukes kill {reading.by_flukes['untreated'].whole()} fish in {plain(reading.days)} days untreated"
    treated = [f"{reading.by_flukes[name].whole()} {_TREATED[name]}" for name in reading.treated]
    other = "" if reading.by_other is None else f"; other causes kill {reading.by_other.whole()}"
    return f"{start}: {', '.join([dead, *treated])}{other}."


def _course(course: Projection, died: bool) -> str:
    """Write one course; other causes only where fish died, as nothing else on record speaks of them."""
    other = f", other causes {course.other_deaths_end.whole()}" if died else ""
    return f"{course.abundance_end.text()} flukes a fish; flukes kill {course.fluke_deaths_end.whole()} fish{other}."


def regime_text(f: Forecast) -> str:
    """Write what the flukes do without a dose: how many there are on the last day, beside today."""
    there = {name: share for name, share in f.regime.items() if share > 0}
    said = percents(list(there.values()))
    parts = [f"{_REGIMES[name]} {share}" for name, share in zip(there, said, strict=True)]
    text = f"Untreated, fish carry after {plain(f.horizon_days)} days {several(parts)} of simulated ponds."
    if f.regime["fading"] > _MOSTLY:
        text += _why_fewer(f.fewer_because)
    return text


#: why untreated flukes become fewer, by code
_FEWER = {
    "cold": "the water is then too cold for eggs to hatch",
    "heat": "water this warm kills flukes",
    "deaths": "the fish with most flukes die first",
    "resistance": "the fish grow resistant to them over weeks or months",
    "crowding": "so many hold each other back",
    "few": "so few flukes often die out by themselves",
}
#: what takes its time
_SLOW = {"deaths", "resistance"}


def _why_fewer(codes: Sequence[str]) -> str:
    if not codes:
        return ""
    until = " Until then there can still be too many." if _SLOW & {*codes} else ""
    return f" Where there are fewer, it is because {several(_FEWER[code] for code in codes)}.{until}"


@writes
def delay_text(delay: Delay) -> str:
    """Write what it costs to give the same doses later."""
    return (
        f"A delay of {plain(delay.days)} days costs {_more_dead(delay)}. On that later day each fish carries "
        f"{delay.abundance.text()} flukes; with the first dose in time it would carry "
        f"{delay.abundance_in_time.text()}."
    )


def _more_dead(delay: Delay) -> str:
    """Write how many more fish die; no more where the simulation shows none."""
    if round(delay.deaths.high) <= 0:
        return "no fish"
    more = replace(delay.deaths, low=max(delay.deaths.low, 0.0), median=max(delay.deaths.median, 0.0))
    return f"about {more.whole()} fish" if round(more.median) else f"hardly a fish, at most about {_most(more)}"


def _most(dead: CredibleInterval) -> str:
    return replace(dead, median=dead.high, low=dead.high).whole()


@writes
def _after_a_dose(said: AfterADose) -> str:
    better = "breathe better" if said.gills else "rub themselves less"
    return (
        f"One to two days after a dose that works the fish should {better} and, in warm water, feed better; "
        "anaemic fish take weeks. No change by day 3 is a reason to look at them again (common practice, no source)."
    )

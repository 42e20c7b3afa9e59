"""Words of a forecast: what flukes and fish do, untreated, as planned and as recommended."""

from __future__ import annotations

from burden.report.text.notes import noted, parasite_name
from burden.schedule.forecast import AfterADose, Forecast
from burden.schedule.projection import Delay, Projection
from burden.utils.formatting import day_in_words, percent, plain, sentence
from burden.utils.wording import writes, writes_brief

__all__ = ["delay_text", "regime_text"]

_COURSES = {"untreated": "Untreated", "planned": "As the case plans", "recommended": "As recommended"}
#: share of ponds from which a reader asks why [-]
_MOSTLY = 0.5
_REGIMES = {"growing": "increase", "endemic": "persist", "fading": "dwindle"}


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
        lines.append(str(AfterADose()))
    for name, course in f.courses().items():
        lines.append(
            f"{_COURSES[name]}, no fluke is left a year on in {percent(course.elimination.mean)} of simulated ponds "
            f"({percent(course.elimination_braked.mean)} if resistance and crowding stay as they are)."
        )
    return noted(lines, f.warnings)


@writes_brief
def _forecast_brief(f: Forecast) -> str:
    return noted(_answer(f), f.case.warnings)


def _answer(f: Forecast) -> list[str]:
    start = f"{parasite_name(f.parasite)}, {plain(f.horizon_days)} days from {day_in_words(f.case.visit_date)}:"
    lines = [start, *(f"{_COURSES[name]}: {_course(course)}" for name, course in f.courses().items())]
    if f.recommended is None and f.withheld_reason:
        lines.append(f"No dose is recommended: {sentence(f.withheld_reason)}")
    return [*lines, regime_text(f)]


def _course(course: Projection) -> str:
    return (
        f"{course.abundance_end.text()} flukes a fish; flukes kill {course.fluke_deaths_end.whole()} fish, other "
        f"causes {course.other_deaths_end.whole()}."
    )


def regime_text(f: Forecast) -> str:
    """Write what the flukes do without a dose."""
    parts = [f"{_REGIMES[name]} in {percent(share)}" for name, share in f.regime.items()]
    said = f"Untreated, flukes {parts[0]}, {parts[1]} and {parts[2]} of simulated ponds."
    if f.regime["fading"] > _MOSTLY:
        said += " They dwindle as surviving fish become resistant or die, over weeks or months."
    return said


@writes
def delay_text(delay: Delay) -> str:
    """Write what it costs to give the same doses later."""
    return (
        f"The same doses {plain(delay.days)} days later: {delay.deaths.whole()} more fish dead. When the first dose "
        f"then goes in, the fish carry {delay.abundance.text()} flukes instead of {delay.abundance_in_time.text()}."
    )


@writes
def _after_a_dose(said: AfterADose) -> str:
    return (
        "One to two days after a dose that works the fish should breathe better and, in warm water, feed better; "
        "anaemic fish take weeks. No change by day 3 is a reason to look at them again (common practice, no source)."
    )

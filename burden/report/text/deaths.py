"""Words of deaths: how many the flukes caused, what their course speaks for, and how many more are expected."""

from __future__ import annotations

from burden.decision.records import Decision
from burden.inference.mortality import DeathAttribution, DeathPattern, MoreThanOtherCauses
from burden.utils.dates import day_in_words, say_date
from burden.utils.formatting import counted, percent, plain
from burden.utils.wording import writes

__all__ = ["deaths_text"]

#: share of the deaths below which those by flukes are few, whatever the range [-]
_CLEARLY_FEW = 0.3
#: fish that die a day in a stock that ails nothing: common practice, no source [1/d]
_ORDINARY_PER_DAY = 1e-4
#: fish saved in the median that come to none [-]
_NOT_EVEN_ONE = 0.5
#: chance of reaching the aim from which a course is said to keep flukes few [-]
_LIKELY = 0.5
_WHY_DOSE = "The course is to keep flukes few; in this time hardly a fish would die of them."
_NO_SOURCE = "(common practice, no source)"


@writes
def _attribution(found: DeathAttribution) -> str:
    """Write how many of the deaths flukes caused, or that the records cannot say."""
    pattern = str(found.pattern or "") if found.looked and found.deaths > 1 else ""
    parts = (_share(found), _of_dose(found), _elsewhere(found), pattern)
    return " ".join(part for part in parts if part)


def _of_dose(found: DeathAttribution) -> str:
    if found.by_dose is None or not found.dose_killed:
        return ""
    killed = f"{found.by_dose.whole()} of the {counted(found.after_dose, 'fish')} that died within days of a dose"
    return f"The dose itself likely killed {killed}: find out why before you give the next."


def _share(found: DeathAttribution) -> str:
    if not found.looked:
        return f"No fish was looked at, so the records cannot say what killed the {counted(found.deaths, 'dead fish')}."
    low, high, middle = (round(x) for x in (found.by_flukes.low, found.by_flukes.high, found.by_flukes.median))
    of_all = f"of the {counted(found.deaths, 'recorded death')}"
    if found.told:
        if low == high:
            return f"Flukes caused {plain(low, 9)} {of_all}."
        return f"Flukes caused {plain(low, 9)} to {plain(high, 9)} {of_all} (median {plain(middle, 9)})."
    if found.deaths == 1:
        return "Flukes may have caused the one death that is weighed here; these records cannot say."
    if low == high:
        many = "none" if low == 0 else "all" if low == found.deaths else plain(low, 9)
        return f"We expect that flukes caused {many} {of_all}, but these records cannot show it."
    may = "none or all" if low == 0 and high == found.deaths else f"{plain(low, 9)} to {plain(high, 9)}"
    if high < _CLEARLY_FEW * found.deaths:
        return f"Flukes may have caused {may} {of_all}; the others died of something else."
    return f"Flukes may have caused {may} {of_all}; these records cannot say."


def _elsewhere(found: DeathAttribution) -> str:
    if not found.mostly_else:
        return ""
    if sum(rate.median for rate in found.rates.values()) < _ORDINARY_PER_DAY:
        return "Most died of something else; so few deaths are the ordinary loss of a stock."
    return "Most died of something else, and no dose against flukes will stop that: look for the other cause."


@writes
def _pattern_text(pattern: DeathPattern) -> str:
    """Write what many deaths at once, or single ones over months, speak for."""
    if pattern.kind == "single_over_months":
        return f"Single deaths over weeks or months fit gill flukes in grown pond fish {_NO_SOURCE}."
    within = "in one day" if pattern.days <= 1 else f"in {plain(pattern.days)} days"
    start = f"{counted(pattern.deaths, 'fish')} died {within} up to {day_in_words(pattern.until)}."
    if pattern.kind == "many_unusual":
        return (
            f"{start} Gill flukes seldom kill grown pond fish so fast: check water and oxygen, and look for other "
            f"disease {_NO_SOURCE}."
        )
    return (
        f"{start} In fry and in crowded stock the cause can be flukes, water, oxygen or another disease {_NO_SOURCE}."
    )


@writes
def _more_deaths_text(more: MoreThanOtherCauses) -> str:
    """Write that the forecast of deaths is too low."""
    return (
        f"More fish die than the model allows for any cause but flukes ({percent(more.most_per_day)} of the fish a "
        "day, an assumption). More will die than the forecast says, and its range is too narrow. Look for the other "
        "cause first."
    )


def deaths_text(decision: Decision) -> str:
    """Write how many fish flukes and other causes are expected to kill, with and without the plan.

    Nothing where no fish was looked at; of other causes nothing where no dead fish speaks of them.
    """
    d, known = decision.deaths, decision.on_record
    if not d or not known.get("preparations"):
        return ""
    end = say_date(decision.deaths_until, decision.visit_date.year)
    by = f"By the harvest on {end}" if decision.emptied_by_then else f"By {end}"

    def fish(name: str) -> str:
        return d[name].whole()

    said = f"{by}, without a dose flukes kill {fish('flukes_untreated')} fish"
    if "flukes_planned" in d:
        said += f", with the plan {fish('flukes_planned')}"
    said += f"; other causes {fish('other')}, as these may end or spread." if known.get("deaths") else "."
    hardly = all(d[name].median < _NOT_EVEN_ONE for name in ("flukes_untreated", "flukes_avoided") if name in d)
    few = "flukes_avoided" in d and hardly and decision.action == "dose"
    few = few and decision.recommendation.aim.kind == "control" and decision.chances["aim_planned"] >= _LIKELY
    return f"{said} {_WHY_DOSE}" if few else said

"""Words of the last dose: whether it worked, why it may have fallen short, and what to do next."""

from __future__ import annotations

import math

from burden.inference.dose_accounts import LEAST_CHANCE
from burden.inference.response_result import (
    ByTheRecord,
    FromOutside,
    LongAgo,
    NextStep,
    RemovedFromWater,
    Response,
    Unanswered,
    VerdictReason,
    WeighedForOtherWater,
)
from burden.inference.treatment_failure import Cause, Causes, CauseTest, SaltTest
from burden.report.text.notes import noted, other_sets, parasite_name
from burden.utils.dates import day_in_words
from burden.utils.formatting import counted, named, percent, percent_interval, plain, uncapitalised, volume
from burden.utils.results import CredibleInterval
from burden.utils.wording import writes, writes_brief

__all__ = ["gone_words", "verdict_words"]

_VERDICTS = {
    "worked": "{dose} {how} worked",
    "fell_short": "{dose} {how} fell short",
    "new_settlers": "most flukes on the fish have settled since {dose}",
}
#: chance from which a verdict needs no "most likely"
_SURE = 0.9
_REASONS = {
    "worked": "No more flukes are left than this dose and newly settled flukes explain.",
    "fell_short": "More than twice as many flukes are left as this dose and newly settled flukes explain.",
    "new_settlers": "Most flukes on the fish now have hatched from eggs since, so they say little of the dose.",
    "cannot_tell": "The counts do not tell a dose that worked from one that fell short.",
}
_STEPS = {
    "check_volume": "Check the volume first: that is quickly done, and more water than believed is common (common "
    "practice, no source).",
    "check_removal": "Ask whether carbon, UV or ozone ran, and whether the filter had met the drug before.",
    "longer_not_stronger": "If that explains nothing and the same drug is given again, make the bath longer rather "
    "than stronger. Count again after it.",
    "look_two_days_after": "Next time look two days after the dose: that tells most of it, and later looks count newly "
    "settled flukes too.",
    "look_at_more_fish": "Look at more fish, or at more of each fish, picked the same way as before.",
    "look_at_more_of_each": "Look at more preparations of each fish.",
    "next_dose_on_its_date": "If the course has doses left, give each on its date: a late one lets flukes multiply.",
    "sample_before_and_after": "Take the same preparations from as many fish, picked the same way, before and after a "
    "dose.",
}
_CAUSES = {
    "volume_wrong": "too little drug, because there is more water than believed",
    "broken_down": "the filter, carbon, UV or ozone took the drug out of the water",
    "gone_by_itself": "the drug was gone from the water sooner than expected",
    "sheltered_juveniles": "young flukes sat where the drug does not reach",
    "less_sensitive": "the flukes are less sensitive to the drug",
}
_TESTS = {
    "volume_wrong": "Fill or refill the water through a meter, filter and pipes included, and compare.",
    "gone_by_itself": "Have the concentration measured an hour and a day after the next dose.",
    "large_water": "Work the volume out anew, from the area and from depths measured in many places.",
    "broken_down": "Ask whether carbon, UV or ozone ran and whether the filter had met the drug before. Have the "
    "concentration measured an hour and a day after the next dose: if it has fallen fast, the filter takes the drug.",
    "sheltered_juveniles": "Count adults and juveniles apart two days after the next dose. Only juveniles means "
    "shelter; adults too means a weak dose.",
    "less_sensitive": "Treat a few fish in a tub of measured volume, in clean water without a filter, at the same "
    "strength and for the same hours. Count the same fish before and two days after: if the dose fails there too, the "
    "flukes are less sensitive.",
}


@writes
def _response_text(r: Response) -> str:
    lines = _answer(r)
    if r.causes:
        lines += [str(Causes(r.causes)), *(f"  - {cause}" for cause in r.causes)]
    lines += [f"Next: {step}" for step in r.what_next]
    return noted([*lines, *other_sets(r.case.parasites, r.parasite)], r.warnings)


@writes_brief
def _response_brief(r: Response) -> str:
    lines = _answer(r) + ([str(Causes(r.causes))] if r.causes else [])
    return noted([*lines, f"Next: {r.what_next[0]}", *other_sets(r.case.parasites, r.parasite)], r.warnings)


def _answer(r: Response) -> list[str]:
    if r.dose_date is None:
        return [f"{parasite_name(r.parasite)}: {uncapitalised(str(r.reason))}"]
    gone = gone_words(r)
    return [f"{parasite_name(r.parasite)}: {verdict_words(r)}.", *([gone] if gone else []), r.reason]


def verdict_words(r: Response, dose: str = "the last dose") -> str:
    """Write the verdict with its chance, as a phrase."""
    chances, record = r.verdict_probability, r.by_record
    if r.verdict == "cannot_tell" and _fell_as_expected(r):
        return (
            f"the counts fell as {dose} would make them fall if it worked; by themselves they do not prove that it "
            f"did{_left_open(r)}"
        )
    if r.verdict == "cannot_tell":
        return f"these samples cannot show whether {dose} worked{_left_open(r)}"
    chance = chances[r.verdict] if record is None else max(record.chance, chances[r.verdict])
    if record is not None and record.held_up:
        return _VERDICTS["fell_short"].format(dose=dose, how="most likely")
    how = "" if chance >= _SURE else "most likely" if chance >= LEAST_CHANCE else "as likely as not"
    said = _VERDICTS[r.verdict].format(dose=dose, how=how).replace("  ", " ").strip()
    # of new settlers the share itself stands beside it
    return f"{said} ({percent(chance)})" if chance < 1 and r.verdict != "new_settlers" else said


def _fell_as_expected(r: Response) -> bool:
    """Whether at least as many flukes are gone as were to go; False where nothing was compared."""
    if r.long_ago:
        return False
    gone = r.reduction_percent.median
    return math.isfinite(gone) and gone >= r.expected_reduction_percent.median


def _left_open(r: Response) -> str:
    """Write how the chances lie where none is large enough to decide; nothing where nothing was compared."""
    if r.long_ago or not math.isfinite(r.reduction_percent.median):
        return ""
    worked, short = (percent(r.verdict_probability[name]) for name in ("worked", "fell_short"))
    return f" (that it did: {worked}; that it fell short: {short}; the rest leaves it open)"


def gone_words(r: Response) -> str:
    """Write how many flukes are gone, how many were to go, and how many are new; nothing where nothing was compared."""
    if r.long_ago or not math.isfinite(r.reduction_percent.median):
        return ""
    gone = f"Flukes gone: {_gone(r.reduction_percent)}; expected: {_gone(r.expected_reduction_percent)}."
    if not r.new_share.high > 0:
        return gone  # of live-bearers none settles
    new = percent_interval(r.new_share.median, r.new_share.low, r.new_share.high)
    return f"{gone} Of the flukes expected on the fish by then, {new} have settled since the dose."


def _gone(share: CredibleInterval) -> str:
    """Write how many of the flukes are gone; more than before is none, however many more."""
    if share.high <= 0:
        return "none"
    if share.median <= 0:
        return f"none (at most {plain(share.high, 2)} %; there may even be more flukes than before)"
    low = plain(share.low, 2) if share.low > 0 else "none"
    return f"{plain(share.median, 2)} % ({low} to {plain(share.high, 2)} %)"


@writes
def _unanswered(why: Unanswered) -> str:
    if why.dose_date is None or why.kind == "no_dose":
        return "No dose was given before this visit, so there is none to judge."
    if why.kind == "too_few_draws":
        return "Nothing we believe possible fits both samples well enough. Check counts and dates."
    when = "before" if why.kind == "no_sample_before" else "after"
    return f"No sample from {when} the dose of {day_in_words(why.dose_date)} is there to compare with."


@writes
def _reason(reason: VerdictReason) -> str:
    return _REASONS[reason.verdict]


@writes
def _long_ago(late: LongAgo) -> str:
    return (
        f"These fish were looked at {counted(late.days, 'day')} after it. By then most flukes on them have likely "
        "settled since, so their counts cannot judge the dose."
    )


@writes
def _from_outside(_: FromOutside) -> str:
    return (
        "Flukes may also have come with the water or from neighbours since: counts do not tell these from flukes that "
        "the dose left."
    )


@writes
def _by_the_record(record: ByTheRecord) -> str:
    if record.held_up:
        return "Soon after it the preparations show at least half as many flukes as before the first dose."
    return (
        f"All counts and all that is known of the dose together give a chance of {percent(record.chance)} that it "
        "killed too few of the flukes it reached."
    )


@writes
def _other_water(dose: WeighedForOtherWater) -> str:
    return (
        f"The dose was weighed out for {volume(dose.believed_l)}. In {volume(dose.volume_l)} its {plain(dose.mg_l)} "
        f"mg/L came to {plain(dose.reached_mg_l)} mg/L, and this answer uses that."
    )


@writes
def _removed(removed: RemovedFromWater) -> str:
    return (
        f"A UV lamp or carbon was on with the {named(removed.agent)} of {day_in_words(removed.dose_date)}. It takes "
        "the drug out of the water, so the dose may have done little."
    )


@writes
def _step(step: NextStep) -> str:
    return _STEPS[step.step]


@writes
def _cause(cause: Cause) -> str:
    name = "gone_by_itself" if cause.name == "broken_down" and not cause.test.removed else cause.name
    return f"{_CAUSES[name]} ({percent(cause.probability)}). To find out: {cause.test}"


@writes
def _causes(found: Causes) -> str:
    weak, sheltered = percent(1 - found.sheltered), percent(found.sheltered)
    if not found.told:
        return (
            f"If it fell short, the counts cannot show why: we assumed a weak dose ({weak}) or young flukes out of its "
            f"reach ({sheltered}) before counting, and still do."
        )
    likely = f"the dose was too weak ({weak}), not that young flukes were out of its reach ({sheltered})"
    if found.sheltered > 0.5:
        likely = f"young flukes were out of its reach ({sheltered}), not that the dose was too weak ({weak})"
    return (
        f"If it fell short, most likely {likely}. Counts cannot show whether a dose was weak because of the "
        "volume, because the drug broke down or because the flukes are less sensitive."
    )


@writes
def _cause_test(test: CauseTest) -> str:
    if test.cause == "broken_down" and not test.removed:
        return _TESTS["gone_by_itself"]
    if test.cause == "volume_wrong" and test.large:
        return _TESTS["large_water"]
    return _TESTS[test.cause] if test.salt is None else str(test.salt)


@writes
def _salt_test(test: SaltTest) -> str:
    return (
        f"Add {plain(test.salt_kg)} kg of plain salt (only if the fish tolerate it) and mix for an hour. In "
        f"{volume(test.volume_l)} the salinity rises by {plain(test.rise_g_l)} g/L (about {plain(2 * test.rise_g_l)} "
        f"mS/cm). Volume in L = 990 × kg of salt ÷ rise in g/L, exact to {percent(test.relative_error)} with a meter "
        f"of ±{plain(test.reading_sd_g_l)} g/L. Half the rise means twice the water."
    )

"""What does not fit together in a case: problems, warnings, and the list of what was assumed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from burden.case import Case, Preparation, RecordedTemperature, YearlyTemperature
from burden.evidence import load_parasite
from burden.io.case_toml import CASE_FILE, CaseTables
from burden.io.files import Notes
from burden.io.odd_numbers import YEAR_OLD_DAYS, Asked, odd_numbers
from burden.io.unit_checks import odd_units
from burden.utils.formatting import as_given, counted

if TYPE_CHECKING:
    from burden.io.schema import ActionTable

__all__ = ["assumptions", "check_dates", "check_stock", "oddities", "oddities_by_place"]

#: a site and the methods that look at it
_METHOD_SITES = {"skin_scrape": ("skin", "fin"), "gill_clip": ("gill",), "gill_arch": ("gill",)}
#: readings that end so long before the visit no longer describe it [d]
_STALE_READINGS_DAYS = 14
#: nobody plans a dose for later, and a forecast that goes on to it takes more memory with every day: an assumption [d]
_FARTHEST_PLAN_DAYS = 400
#: a pond does not warm or cool by so much within a day: an assumption [°C]
_JUMP_C = 8.0


def check_dates(tables: CaseTables, notes: Notes) -> None:
    """Note dates of case.toml that lie on the wrong side of the visit."""
    if tables.case is None or tables.case.visit_date is None:  # None where it could not be read
        return
    visit = tables.case.visit_date
    if tables.case.trouble_since is not None and tables.case.trouble_since > visit:
        _wrong_side("[case] trouble_since", tables.case.trouble_since, f"up to {visit}", notes)
    for number, group in enumerate(tables.fish, start=1):
        if group is not None and group.harvest_date is not None and group.harvest_date < visit:
            place = f"[[fish]] {number} harvest_date" if len(tables.fish) > 1 else "[fish] harvest_date"
            _wrong_side(place, group.harvest_date, f"on or after the visit on {visit}", notes)
    for number, action in _numbered(tables.given):
        if action.date > visit:
            _wrong_side(f"[[given]] {number} date", action.date, f"up to the visit on {visit}", notes)
    for number, action in _numbered(tables.planned):
        place, last = f"[[planned]] {number} date", visit + timedelta(days=_FARTHEST_PLAN_DAYS)
        if action.date < visit:
            _wrong_side(place, action.date, f"on or after the visit on {visit}", notes)
        elif action.date > last:
            expected = f"a date up to {last}, {_FARTHEST_PLAN_DAYS} d after the visit"
            notes.problem(CASE_FILE, place, action.date, expected, "Check the year.")


def _numbered(tables: tuple[ActionTable | None, ...]) -> Iterator[tuple[int, ActionTable]]:
    return ((i, table) for i, table in enumerate(tables, start=1) if table is not None)


def _wrong_side(place: str, day: date, expected: str, notes: Notes) -> None:
    where = " What was done goes under [[given]], what is to come under [[planned]]." if "[[" in place else ""
    fix = f"Check the date, or visit_date.{where}"
    notes.problem(CASE_FILE, place, day, f"a date {expected}", fix)


def check_stock(case: Case, notes: Notes) -> None:
    """Note more live fish sampled on the visit date than there are, and a record from before there were any."""
    live = _live_fish(case, case.visit_date)
    if live > case.fish_count:
        fix = "Check count in [fish] and the labels in samples.csv; fish killed for the look count as lethal yes."
        expected = f"at most {case.fish_count} live fish, as [fish] says"
        notes.problem("samples.csv", f"rows of {case.visit_date}", live, expected, fix)
    since = case.fish_since
    for day in case.sample_dates if since is not None else ():
        if since is not None and day < since and _live_fish(case, day):
            fix = "Leave out samples of earlier fish, write down in deaths.csv that these died, or mend the dates."
            expected = f"fish in the water on the day of a sample: all of them came on {since} or later"
            notes.problem(CASE_FILE, "[[arrivals]]", day, expected, fix)


def _live_fish(case: Case, day: date) -> int:
    return len({r.fish for r in case.samples_on(day) if r.chosen != "dead" and not r.lethal})


def oddities(case: Case) -> list[str]:
    """Return what looks odd but may be right, as plain sentences."""
    return [sentence for _, sentence in oddities_by_place(case)]


def oddities_by_place(case: Case) -> list[tuple[str, str]]:
    """Return what looks odd but may be right: its place, table and key with points between, and a plain sentence."""
    found = (odd_numbers, odd_units, _odd_sets, _odd_fish, _odd_water, _odd_samples, _odd_deaths, _odd_actions)
    return [asked for own in found for asked in own(case)]


def _odd_sets(case: Case) -> Iterator[Asked]:
    """Waters and hosts that none of a set's figures are of."""
    for name in case.parasites:
        known = load_parasite(name)
        if stray := known.stray_in(case.water.medium):
            yield "parasite.set", f'{stray}, but medium is "{case.water.medium}": which is right?'
        hosts = ", ".join(known.hosts)
        for group in case.fish:
            if not _stems(group.species) & _stems(hosts):
                sentence = (
                    f"The values of {name} come from {hosts}, but the fish are {group.species}: is the set right?"
                )
                yield "parasite.set", sentence


def _odd_fish(case: Case) -> Iterator[Asked]:
    for i, group in enumerate(case.fish):
        if group.harvest_date is not None and not group.food_fish:
            sentence = f'{group.species}: harvest_date is {group.harvest_date}, but food_fish is "no": which is right?'
            yield f"fish.{i}.harvest_date", sentence


def _stems(words: str) -> set[str]:
    """First four letters of each word, so that guppy is a guppies' host and carpio a carp's; "fish" tells nothing."""
    return {word[:4] for word in re.findall(r"[^\W\d_]{3,}", words.lower())} - {"fish", "and", "othe"}


def _odd_water(case: Case) -> Iterator[Asked]:
    spec = case.water.temperature
    if isinstance(spec, YearlyTemperature) and spec.mean_c - spec.swing_c < (0 if case.water.medium == "fresh" else -2):
        lowest = spec.mean_c - spec.swing_c
        sentence = f"The yearly course falls to {lowest:g} °C: swing_c is half of highest minus lowest."
        yield "water.temperature_c", sentence
    if isinstance(spec, RecordedTemperature):
        yield from (("readings", sentence) for sentence in _odd_record(spec))
        behind = -case.day_of(spec.times[-1].date())
        if behind > _STALE_READINGS_DAYS:
            yield "readings", f"The temperature record ends {behind} d before the visit."


def _odd_record(spec: RecordedTemperature) -> Iterator[str]:
    readings = list(pairwise(zip(spec.times, spec.temperatures_c, strict=True)))
    jumps = [(t, a, b) for (s, a), (t, b) in readings if abs(b - a) > _JUMP_C and t - s <= timedelta(1)]
    if jumps:
        day, one, other = jumps[0]
        more = f", and {counted(len(jumps) - 1, 'more jump')} like it" if jumps[1:] else ""
        yield (
            f"The temperature record goes from {one:g} to {other:g} °C within a day, on {day.date()}{more}: "
            "is the decimal point in place?"
        )
    for (before, _), (after, _) in readings:
        if (gap := (after - before).days) > YEAR_OLD_DAYS:
            yield f"The temperature record: {gap} d between {before.date()} and {after.date()}: is the year right?"


def _odd_samples(case: Case) -> Iterator[Asked]:
    yield from (("samples", sentence) for sentence in _odd_log(case))
    wrong = [i for i, row in enumerate(case.samples) if _wrong_site(row)]
    if wrong:
        sentence = f"samples.csv: the method does not match the site in {counted(len(wrong), 'row')}."
        yield f"samples.{wrong[0]}.method", sentence


def _odd_log(case: Case) -> Iterator[str]:
    for day in case.sample_dates:
        stock = case.fish_on(day)
        if day < case.visit_date and (live := _live_fish(case, day)) > stock:
            yield f"On {day}, {live} live fish were sampled but the logs leave only {stock}: are deaths missing?"
    for day in case.sample_dates:
        rows = case.samples_on(day)
        half = len(rows) // 2
        # two clean clips of each fish are alike by nature
        if rows[:half] == rows[half:] and len(set(rows[:half])) > 1 and any(row.count_low for row in rows):
            yield f"samples.csv: the {half} rows of {day} appear twice: pasted twice?"
    ways: dict[tuple[date, str], set[str]] = {}
    for row in case.samples:
        ways.setdefault((row.date, row.fish), set()).add(row.chosen)
    for (day, fish), chosen in ways.items():
        if len(chosen) > 1:
            yield f"Fish {fish} of {day} is both {' and '.join(sorted(chosen))}."
    if case.samples and not case.has_samples:
        yield "No preparation was readable: the answer rests on what is assumed of any such stock."


def _wrong_site(row: Preparation) -> bool:
    return row.site not in _METHOD_SITES.get(row.method or "", (row.site,))


def _odd_deaths(case: Case) -> Iterator[Asked]:
    total = sum(row.deaths for row in case.deaths)
    if total > case.fish_count:
        yield (
            "fish.0.count",
            f"{total} deaths are written down and {case.fish_count} fish are left: "
            "count is the number alive on the visit date.",
        )
    yield from (("deaths", sentence) for sentence in _odd_death_log(case))


def _odd_death_log(case: Case) -> Iterator[str]:
    for before, after in pairwise(row.date for row in case.deaths):
        if (gap := (after - before).days) > YEAR_OLD_DAYS:
            yield f"deaths.csv: {gap} d between {before} and {after}: is the year right?"


def _odd_actions(case: Case) -> Iterator[Asked]:
    written: Counter[tuple[object, ...]] = Counter(
        (dose.date, dose.agent, dose.route, dose.concentration_mg_l)
        for dose in (*case.doses_given, *case.doses_planned)
    )
    for (day, agent, *_), times in written.items():
        if times > 1:
            yield "given", f"The dose of {agent} on {day} is listed {times} times: was it given {times} times?"
    for actions in (case.given, case.planned):
        for action in actions:
            if action.action == "heat" and case.limits.can_heat_to_c is None:
                yield (
                    "limits.can_heat_to_c",
                    f"Heat on {action.date}: [limits] can_heat_to_c does not say how far.",
                )


def assumptions(case: Case, *, exchange_given: bool) -> list[str]:
    """Return what the case leaves open and what is taken instead, the weightiest first.

    Parameters
    ----------
    case : Case
    exchange_given : bool
        Whether the case says how much water is replaced.

    Returns
    -------
    list of str
        Plain sentences.
    """
    return [*_about_weight(case), *_about_samples(case), *_about_water(case, exchange_given), *_about_doses(case)]


def _about_weight(case: Case) -> Iterator[str]:
    for group in sorted(case.fish, key=lambda g: g.mean_weight_g is not None or g.length_mm is not None):
        weight = group.weight_g
        if group.mean_weight_g is None:
            known = f"from its length of {group.length_mm:g} mm" if group.length_mm else "weight unknown"
            yield (
                f"{group.species}, {known}: mean weight taken as {_rounded(weight.value)} g "
                f"({_rounded(weight.low)} to {_rounded(weight.high)} g). "
                "Crowding and death rates are per gram of fish: weigh a few."
            )


def _rounded(value: float) -> str:
    """Write an assumed figure with three digits at most."""
    return as_given(float(f"{value:.3g}"))


def _about_samples(case: Case) -> Iterator[str]:
    bare = [
        row
        for row in case.samples
        # of a whole organ all is looked at
        if row.fraction_examined is None and row.clip_share is None and row.method != "whole_organ"
    ]
    if bare:
        yield (
            f"What share of the site was looked at is not given for {len(bare)} of "
            f"{counted(len(case.samples), 'preparation')}: we assume a wide range for the method and the fish size."
        )
    bodies = [row for row in case.samples if row.chosen == "dead" and row.hours_dead is None]
    if bodies:
        yield f"How long fish were dead is not given for {counted(len(bodies), 'preparation')}."


def _about_water(case: Case, exchange_given: bool) -> Iterator[str]:
    volume = case.water.volume_l
    if volume.assumed:
        value, low, high = as_given(volume.value), _rounded(volume.low), _rounded(volume.high)
        yield f"The volume is taken as {value} L ± 10 % ({low} to {high} L)."
    for group in case.fish:
        if group.mean_weight_g is not None and group.mean_weight_g.assumed:
            yield f"The mean weight of {group.species} is taken as ± 10 %."
    if not case.water.outlook_known:
        yield (
            "What the temperature does next is not said: it may stay, or follow a season; say outlook in [water], at "
            "least the latitude."
        )
    if not exchange_given:
        times = case.water.exchange_per_day
        assumed = f"that all the water of the {case.water.kind} changes {times:g} times a day" if times else "none"
        yield f"No water exchange is given: we assume {assumed}."
    if case.water.filter is None:
        yield "The filter is not given: we allow for none, a new one and one that has met the drug."


def _about_doses(case: Case) -> Iterator[str]:
    for action in case.given:
        if action.action != "dose":
            continue
        amounts = (action.mg_l, action.mg_per_kg_fish, action.g_l)
        open_ends = ["agent"] if action.agent == "unknown" else []
        open_ends += ["amount"] if all(x is None for x in amounts) else []
        open_ends += ["hours"] if action.hours is None and action.route != "in_feed" else []
        if open_ends:
            yield f"Not given for the dose of {action.date}: {', '.join(open_ends)}."

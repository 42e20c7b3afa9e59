"""Numbers and dates of a case that look odd by themselves: rules as data, so that whoever has no Python can hold them.

The offline sheet of `burden open --sheet` reads the same rules in a browser; `odd_numbers` is how Python reads them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from burden.case import Case, Uncertain
from burden.treatment.published_dose import LEAST_STRENGTH_PERCENT
from burden.utils.formatting import as_given, named

__all__ = [
    "RULES",
    "YEAR_OLD_DAYS",
    "Asked",
    "OddNumber",
    "far_number",
    "odd_numbers",
    "rules_as_data",
]

#: place of a case and a question about it
Asked = tuple[str, str]

#: a row so long before the visit is more likely a slip of the year [d]
_LONG_AGO_DAYS = 3 * 365
#: nothing for so long points to last year's number written in January, as nobody waits so long: an assumption [d]
YEAR_OLD_DAYS = 300
#: a log of deaths that ends so long before the visit was more likely let lie than kept: an assumption [d]
_STALE_LOG_DAYS = 7
#: fish do not live in less oxygen, and hardly in more nitrogen, whatever their species: assumptions [mg/L]
_LEAST_OXYGEN_MG_L, _MOST_NITROGEN_MG_L = 1.0, 20.0
#: water is fresh below and of the sea above: an assumption [g/L]
_BRACKISH_G_L = 10.0
#: a fish heavier than any in a pond or a cage, so likely the weight of all: an assumption [g]
_HEAVIEST_G = 50_000.0
#: nobody counts further under a microscope: an assumption [-]
_MOST_COUNTED = 10_000.0
#: the water a dose was weighed for and the water there is differ by less: an assumption
_VOLUME_FACTOR = 10.0


@dataclass(frozen=True)
class OddNumber:
    """A number that asks for a second look outside its limits.

    Parameters
    ----------
    at : str
        Table, row and key with points between; "*" is each row, "first" and "last" those by date. A date counts as
        its day from the visit, a range by its middle, a count by its lower end.
    text : str
        The question. Its gaps are {value}, {times} and {part}, a thousand times it and a thousandth, {ago}, {percent},
        a hundred times it, {beside}, and the keys of its row.
    low, high : float or None
        Odd below, and above [unit of the key; d].
    place : str
        Where the question stands, if not at the number itself; of rules that name one, the first that holds is asked.
    beside : str
        Path of a number it is divided by first.
    only, never : tuple of (str, tuple of str)
        Keys of its row, and the words one of which they must have, or must not; "" where nothing is said.
    """

    at: str
    text: str
    low: float | None = None
    high: float | None = None
    place: str = ""
    beside: str = ""
    only: tuple[tuple[str, tuple[str, ...]], ...] = ()
    never: tuple[tuple[str, tuple[str, ...]], ...] = ()


def _of_actions(key: str, text: str, **limits: Any) -> tuple[OddNumber, OddNumber]:
    return OddNumber(f"given.*.{key}", text, **limits), OddNumber(f"planned.*.{key}", text, **limits)


_NITROGEN = "{key} {value}: do fish live in it? Units? {value} µg/L would be {part} mg/L."
_SALT = 'Medium is "{medium}" but salinity is {value} g/L: which is right?'
_FRESH, _SEA = (("medium", ("fresh",)),), (("medium", ("sea",)),)
#: a length tells more of a weight
_UNMEASURED = (("length_mm", ("",)),)
#: fish that weigh less than a gram when grown, and the least of their young that anybody treats: from memory [g]
_TINY = ("guppy", "guppies", "endler", "tetra", "neon tetra", "cardinal tetra", "rasbora", "danio", "zebrafish")
_LEAST_TINY_G = 0.02
_WHOLE = (("site", ("whole_fish",)), ("method", ("whole_organ",)))

#: in the order they are asked
RULES: tuple[OddNumber, ...] = (
    OddNumber(
        "water.exchange_per_day",
        "exchange_per_day {value} means all the water {value} times a day: 10 % is 0.1.",
        high=1.0,
        never=(("kind", ("cage", "raceway")), ("medium", ("sea",))),
    ),
    OddNumber(
        "water.oxygen_mg_l",
        "oxygen_mg_l {value}: do fish live in it? Units? It is in mg/L, no share of saturation.",
        low=_LEAST_OXYGEN_MG_L,
    ),
    OddNumber("water.total_ammonia_n_mg_l", _NITROGEN, high=_MOST_NITROGEN_MG_L),
    OddNumber("water.nitrite_n_mg_l", _NITROGEN, high=_MOST_NITROGEN_MG_L),
    OddNumber("water.salinity_g_l", _SALT, high=_BRACKISH_G_L, only=_FRESH),
    OddNumber("water.salinity_g_l", _SALT, low=_BRACKISH_G_L, only=_SEA),
    OddNumber(
        "water.volume_l",
        "{value} L for {beside} fish is very little water. Units? volume_l is in litres: {value} m³ would be {times}.",
        low=1.0,
        beside="fish.count",
    ),
    OddNumber(
        "fish.*.mean_weight_g",
        "Mean weight of {species} is {value} g: are they as small as that? It is in grams, not kilograms.",
        low=1.0,
        only=_UNMEASURED,
        never=(("species", _TINY),),
    ),
    OddNumber(
        "fish.*.mean_weight_g",
        "Mean weight of {species} is {value} g: are they as small as that? It is in grams, not kilograms.",
        low=_LEAST_TINY_G,
        only=(*_UNMEASURED, ("species", _TINY)),
    ),
    OddNumber(
        "fish.*.mean_weight_g",
        "Mean weight of {species} is {value} g. Units? It is in grams, and of one fish, not of all.",
        high=_HEAVIEST_G,
        only=_UNMEASURED,
    ),
    OddNumber(
        "samples.*.count",
        "samples.csv: fish {fish} of {date} shows {value} flukes: counted? A spreadsheet makes a day number, as "
        "46 315, of 10-20.",
        high=_MOST_COUNTED,
        never=_WHOLE,
    ),
    *_of_actions(
        "strength_percent",
        "strength_percent {value} on {date} is in percent: {percent} % is {percent}.",
        low=LEAST_STRENGTH_PERCENT,
    ),
    *_of_actions(
        "volume_l_believed",
        "The dose of {date} was weighed out for {value} L, and volume_l is {beside}. Units? Both are in litres.",
        low=1 / _VOLUME_FACTOR,
        high=_VOLUME_FACTOR,
        beside="water.volume_l",
    ),
    OddNumber(
        "samples.first.date",
        "The first samples are of {date}: is the year right?",
        low=-_LONG_AGO_DAYS,
        place="samples",
    ),
    OddNumber(
        "samples.last.date",
        "The newest samples are of {date}, {ago} d before the visit: is the year right?",
        low=-YEAR_OLD_DAYS,
        place="samples",
    ),
    OddNumber(
        "deaths.first.date",
        "The first row of deaths.csv is of {date}: is the year right?",
        low=-_LONG_AGO_DAYS,
    ),
    OddNumber(
        "deaths.last.date",
        "The death log ends {ago} d before the visit. Days after its last entry count as not watched: if no fish died "
        "since, enter 0 for {visit} (in deaths.csv the row {visit},0).",
        low=-_STALE_LOG_DAYS,
    ),
    OddNumber("given.*.date", "A given {action} is of {date}: is the year right?", low=-_LONG_AGO_DAYS),
    OddNumber("planned.*.date", "A planned {action} is of {date}: is the year right?", high=YEAR_OLD_DAYS),
)


def rules_as_data() -> list[dict[str, Any]]:
    """Return the rules as plain data, for the sheet."""
    return [asdict(rule) for rule in RULES]


def odd_numbers(case: Case) -> Iterator[Asked]:
    """Return what looks odd by itself: its place, table, row and key with points between, and a plain sentence."""
    tables, asked = _tables(case), set()
    for rule in RULES:
        if rule.place in asked:
            continue
        found = [one for place, row, value in _at(tables, rule.at) for one in _odd(rule, tables, place, row, value)]
        if found:
            place, question = found[0]
            yield place, question + (f" {len(found) - 1} more like it." if found[1:] else "")
            asked |= {rule.place} - {""}


def _tables(case: Case) -> dict[str, Any]:
    """The parts of a case that the rules look at, under the names the form has for them."""
    rows = {kind: [vars(row) for row in getattr(case, kind)] for kind in ("fish", "deaths", "given", "planned")}
    samples = [{**vars(row), "count": row.count_low if row.readable else None} for row in case.samples]
    return {**rows, "samples": samples, "water": vars(case.water), "visit": case.visit_date}


def _at(tables: Mapping[str, Any], at: str) -> Iterator[tuple[str, Mapping[str, Any], Any]]:
    """Where a rule looks: place, row and what stands there."""
    table, *which, key = at.split(".")
    if not which:
        yield at, tables[table], tables[table].get(key)
        return
    rows = list(enumerate(tables[table]))
    if which == ["*"]:
        yield from ((f"{table}.{number}.{key}", row, row.get(key)) for number, row in rows)
        return
    by_date = sorted(rows, key=lambda one: one[1]["date"])
    for _, row in by_date[:1] if which == ["first"] else by_date[-1:]:
        yield table, row, row.get(key)


def _odd(rule: OddNumber, tables: Mapping[str, Any], place: str, row: Mapping[str, Any], value: Any) -> Iterator[Asked]:
    if value is None or not all(_word(row, key) in words for key, words in rule.only):
        return
    if any(_word(row, key) in words for key, words in rule.never):
        return
    number, beside = _number(value, tables["visit"]), _beside(rule.beside, tables)
    told = number / beside if beside else number
    if (rule.low is not None and told < rule.low) or (rule.high is not None and told > rule.high):
        yield rule.place or place, rule.text.format(**{**row, **_gaps(rule, tables, row, number, beside)})


def _gaps(
    rule: OddNumber, tables: Mapping[str, Any], row: Mapping[str, Any], number: float, beside: float | None
) -> dict[str, str]:
    """What the question says of the number."""
    figures = {"value": number, "times": 1000 * number, "part": number / 1000, "percent": 100 * number, "ago": -number}
    words = {"key": rule.at.rsplit(".", 1)[-1], "visit": str(tables["visit"]), "action": named(_word(row, "action"))}
    return {name: far_number(figure) for name, figure in [*figures.items(), ("beside", beside or 0.0)]} | words


def _word(row: Mapping[str, Any], key: str) -> str:
    return "" if row.get(key) is None else str(row[key])


def _number(value: Any, visit: date) -> float:
    if isinstance(value, date):
        return float((value - visit).days)
    return float(value.value if isinstance(value, Uncertain) else value)


def _beside(path: str, tables: Mapping[str, Any]) -> float | None:
    """The number that another is divided by: of the water, or summed over the fish."""
    if not path:
        return None
    table, key = path.split(".")
    rows = tables[table]
    return float(sum(row[key] for row in rows)) if isinstance(rows, list) else _number(rows[key], tables["visit"])


def far_number(value: float) -> str:
    """Write a number as it was given; of one far out of any range, three hundred digits would help nobody."""
    return as_given(value) if value == 0 or 0.001 <= abs(value) < 1e9 else f"{value:g}"

"""How a number, a share, an amount and a name are written: one writer each, the same in every locale.

Numbers are written with at most three digits that count, thousands spaced, never with an exponent. Every sentence and
table of the package calls these.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

__all__ = [
    "CANNOT_BE_GIVEN",
    "alike",
    "all_of",
    "as_given",
    "capitalised",
    "counted",
    "exposure",
    "interval",
    "is_plural",
    "kind_in_plural",
    "mass",
    "named",
    "percent",
    "percent_interval",
    "percents",
    "plain",
    "product_words",
    "sentence",
    "several",
    "significant",
    "strength",
    "uncapitalised",
    "volume",
    "volumes",
]

CANNOT_BE_GIVEN = "cannot be given"
#: a smaller number is what arithmetic leaves of nought
_NOUGHT = 1e-12
#: a share beyond this is nearly all [-]
_NEARLY_ALL = 0.995
#: digits of a number that somebody wrote: more are noise of binary fractions
_AS_GIVEN_DIGITS = 9
_SAME_PLURAL = {"fish", "koi", "carp"}
#: kinds of fish that take a plural
_COUNTED_FISH = {"cichlid", "eel", "loach", "minnow", "puffer", "shiner", "swordtail", "tetra"}


# --- numbers ------------------------------------------------------------------------------------------------------
def plain(value: float | None, digits: int = 3) -> str:
    """Write a number with so many significant digits, without an exponent, thousands spaced.

    Parameters
    ----------
    value : float or None
        None and NaN: cannot be given.
    digits : int

    Examples
    --------
    >>> plain(22.9358), plain(12345.0), plain(0.026000000000000002), plain(-3.6e-15), plain(3e6), plain(9.96, 2)
    ('22.9', '12 300', '0.026', '0', '3 000 000', '10')
    >>> plain(None), plain(float("inf"))
    ('cannot be given', 'no limit')
    """
    if value is None or math.isnan(value):
        return CANNOT_BE_GIVEN
    if math.isinf(value):
        return "no limit"
    if abs(value) < _NOUGHT:
        return "0"
    place = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(float(value), place)
    text = f"{rounded:,.{max(place, 0)}f}".replace(",", " ")
    return text.rstrip("0").rstrip(".") if "." in text else text


def significant(value: float | None, digits: int = 3) -> float | None:
    """Round a number to so many significant digits, for a cell of a table; whole numbers, None and NaN as they are.

    Examples
    --------
    >>> significant(412.377615384615), significant(0.999999998438012), significant(1308.0), significant(None)
    (412.0, 1.0, 1308.0, None)
    """
    if value is None or not math.isfinite(value) or float(value).is_integer():
        return value
    return round(float(value), digits - 1 - math.floor(math.log10(abs(value))))


def as_given(value: float) -> str:
    """Write a number as somebody wrote it: all its digits, thousands spaced, without an exponent.

    Examples
    --------
    >>> as_given(12345.0), as_given(0.25), as_given(0.1 + 0.2), as_given(0.00002)
    ('12 345', '0.25', '0.3', '0.00002')
    """
    return plain(value, _AS_GIVEN_DIGITS)


def interval(middle: float, low: float, high: float, digits: int = 2, unit: str = "") -> str:
    """Write a median with its interval, the unit once.

    Examples
    --------
    >>> interval(151.2, 21.0, 1110.0), interval(0.5, 0.25, 1.0, unit=" d")
    ('150 (21 to 1 100)', '0.5 (0.25 to 1) d')
    >>> interval(float("nan"), 0.0, 1.0), interval(10.0, 1.6, float("inf"))
    ('cannot be given', '10 (1.6 or more)')
    """
    if math.isnan(middle):
        return CANNOT_BE_GIVEN
    ends = f"{plain(low, digits)} or more" if math.isinf(high) else f"{plain(low, digits)} to {plain(high, digits)}"
    return f"{plain(middle, digits)} ({ends}){unit}"


def alike(first: float, second: float, digits: int = 3) -> str:
    """Write the two ends of a range with as many decimals each, so many digits of the smaller.

    Examples
    --------
    >>> alike(6.0, 4.0909), alike(450.0, 1200.0)
    ('6.00 to 4.09', '450 to 1 200')
    """
    place = digits - 1 - math.floor(math.log10(max(min(abs(first), abs(second)), _NOUGHT)))
    ends = (f"{round(x, place):,.{max(place, 0)}f}".replace(",", " ") for x in (first, second))
    return " to ".join(ends)


def percent(probability: float) -> str:
    """Write a probability or a share in percent, never claiming 0 or 100 of what is only nearly so.

    Examples
    --------
    >>> percent(0.034), percent(0.001), percent(0.998), percent(1.0), percent(0.0)
    ('3 %', 'under 1 %', 'over 99 %', '100 %', '0 %')
    """
    if math.isnan(probability):
        return CANNOT_BE_GIVEN
    rounded = f"{100 * probability:.0f}"
    if rounded == "0" and probability > 0:
        return "under 1 %"
    return "over 99 %" if rounded == "100" and probability < 1 else f"{rounded} %"


def percents(shares: Sequence[float]) -> list[str]:
    """Write shares that make up a whole in percent, so that the percents add up to 100.

    Parameters
    ----------
    shares : sequence of float
        That sum to one [-].

    Notes
    -----
    Rounded down, and what is left goes to those that lost most (largest remainder). A share that is not quite none is
    "under 1 %", and one that is not quite all "over 99 %", as `percent` has them.

    Examples
    --------
    >>> percents([0.016, 0.007, 0.977]), percents([0.345, 0.345, 0.31]), percents([0.002, 0.998])
    (['1 %', '1 %', '98 %'], ['35 %', '34 %', '31 %'], ['under 1 %', 'over 99 %'])
    """
    whole = [math.floor(100 * share + _NOUGHT) for share in shares]
    lost = sorted(range(len(shares)), key=lambda i: whole[i] - 100 * shares[i])
    for i in lost[: 100 - sum(whole)]:
        whole[i] += 1
    return [
        "under 1 %" if n == 0 and share > 0 else "over 99 %" if n == 100 and share < 1 else f"{n} %"
        for n, share in zip(whole, shares, strict=True)
    ]


def percent_interval(middle: float, low: float, high: float, digits: int = 2) -> str:
    """Write a share with its interval in percent; all of it next to 0 or 1 as that alone.

    Examples
    --------
    >>> percent_interval(0.5, 0.25, 0.751), percent_interval(0.9999, 0.998, 1.0)
    ('50 % (25 to 75 %)', 'over 99 %')
    """
    if math.isnan(middle):
        return CANNOT_BE_GIVEN
    if low > _NEARLY_ALL or (high < 1 - _NEARLY_ALL and high > 0):
        return percent(min(max(middle, _NOUGHT), 1 - _NOUGHT))
    said, lower, upper = (plain(100 * x, digits) for x in (middle, low, high))
    return f"{said} % ({lower} to {upper} %)"


def counted(number: int, noun: str) -> str:
    """Write a number of things with its noun.

    Examples
    --------
    >>> counted(1, "row"), counted(2, "gill clip"), counted(20000, "fish"), counted(3, "row of deaths")
    ('1 row', '2 gill clips', '20 000 fish', '3 rows of deaths')
    """
    head, of, rest = noun.partition(" of ")
    plural = "" if number == 1 or head.split(" ")[-1] in _SAME_PLURAL else "es" if head.endswith("ch") else "s"
    return f"{number:,}".replace(",", " ") + f" {head}{plural}{of}{rest}"


def kind_in_plural(species: str) -> str:
    """Write several fish of a kind: most names of fish stay as they are.

    Examples
    --------
    >>> [kind_in_plural(name) for name in ("guppy", "koi", "European eel", "weather loach", "sea bass")]
    ['guppies', 'koi', 'European eels', 'weather loaches', 'sea bass']
    """
    last = species.rpartition(" ")[2].lower()
    if last.endswith("y") and last[-2:-1] not in "aeiou":
        return f"{species[:-1]}ies"
    if last in _COUNTED_FISH:
        return f"{species}{'es' if last.endswith('ch') else 's'}"
    return species


def all_of(number: int, noun: str) -> str:
    """Write all there are of a thing.

    Examples
    --------
    >>> all_of(1, "fish"), all_of(2, "fish"), all_of(3, "pond")
    ('the only fish', 'both fish', 'all 3 ponds')
    """
    if number == 1:
        return f"the only {noun}"
    return counted(number, noun).replace("2 ", "both ", 1) if number == 2 else f"all {counted(number, noun)}"


# --- amounts ------------------------------------------------------------------------------------------------------
def mass(grams: float | None, digits: int = 3) -> str:
    """Write a mass in the unit of the scale that weighs it: mg, g, kg from 1 000 g, t from 1 000 kg.

    Examples
    --------
    >>> mass(0.0264), mass(96.4321), mass(1234.0), mass(2.2e5), mass(1.25e6)
    ('26.4 mg', '96.4 g', '1.23 kg', '220 kg', '1.25 t')
    """
    return _in_unit(grams, digits, ((1e-3, "mg"), (1.0, "g"), (1e3, "kg"), (1e6, "t")))


def volume(litres: float | None, digits: int = 3) -> str:
    """Write a volume: mL, L from 1 L, m³ from 100 m³.

    Examples
    --------
    >>> volume(0.5), volume(11.3779), volume(12000.0), volume(4e6)
    ('500 mL', '11.4 L', '12 000 L', '4 000 m³')
    """
    return _in_unit(litres, digits, ((1e-3, "mL"), (1.0, "L"), (1e5, "m³")), {"m³": 1e3})


def volumes(low: float, high: float) -> str:
    """Write a range of volumes, the unit once: that of the smaller.

    Examples
    --------
    >>> volumes(75000.0, 110000.0), volumes(8280.0, 10120.0)
    ('75 000 to 110 000 L', '8 280 to 10 100 L')
    """
    unit = volume(low).rsplit(" ", 1)[1]
    litres = {"mL": 1e-3, "L": 1.0, "m³": 1e3}[unit]
    return f"{plain(low / litres)} to {plain(high / litres)} {unit}"


def _in_unit(
    value: float | None, digits: int, units: tuple[tuple[float, str], ...], scales: dict[str, float] | None = None
) -> str:
    """Write a value in the largest unit it reaches once rounded; `scales` where a unit begins above its size."""
    if value is None or not math.isfinite(value):
        return plain(value)
    rounded = value if value == 0 else round(value, digits - 1 - math.floor(math.log10(abs(value))))
    begins, unit = next((u for u in reversed(units) if abs(rounded) >= u[0]), units[0] if value else units[1])
    return f"{plain(value / (scales or {}).get(unit, begins), digits)} {unit}"


def exposure(hours: float) -> str:
    """Write how long a bath lasts: minutes below an hour.

    Examples
    --------
    >>> exposure(24.0), exposure(0.5), exposure(1 / 12), exposure(1.5), exposure(0.993)
    ('24 h', '30 min', '5 min', '1.5 h', '1 h')
    """
    return f"{plain(max(hours, 1.0))} h" if round(60 * hours) >= 60 else f"{round(60 * hours)} min"


def strength(mg_l: float) -> str:
    """Write how strong a bath is.

    Examples
    --------
    >>> strength(5.0), strength(10_000.0)
    ('5 mg/L', '10 g/L')
    """
    return f"{plain(mg_l)} mg/L" if mg_l < 1000 else f"{plain(mg_l / 1000)} g/L"


def product_words(product_g: float | None, product_ml: float | None) -> str:
    """Write how much of a product to take, by weight or by volume.

    Parameters
    ----------
    product_g, product_ml : float or None
        Of a solid [g] or of a liquid [mL]; the other None.

    Examples
    --------
    >>> product_words(96.4321, None), product_words(220000.0, None), product_words(None, 11377.9)
    ('96.4 g', '220 kg', '11.4 L')
    """
    return mass(product_g) if product_ml is None else volume(product_ml / 1000)


# --- names and phrases --------------------------------------------------------------------------------------------
def named(name: str) -> str:
    """Write a name of the glossary as words.

    Examples
    --------
    >>> named("potassium_permanganate")
    'potassium permanganate'
    """
    return name.replace("_", " ")


def is_plural(finding: str) -> bool:
    """Whether another disease found is spoken of in the plural.

    Examples
    --------
    >>> [is_plural(name) for name in ("ciliates", "fungus", "white_spot")]
    [True, False, False]
    """
    return finding.endswith("s") and finding != "fungus"


def several(items: Iterable[str], last: str = "and") -> str:
    """Join words with commas and an "and".

    Examples
    --------
    >>> several(["a"]), several(["a", "b", "c"]), several(["a", "b"], "or")
    ('a', 'a, b and c', 'a or b')
    """
    items = list(items)
    return f" {last} ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else "".join(items)


def sentence(text: str) -> str:
    """Write a phrase as a sentence.

    Examples
    --------
    >>> sentence("maturity is extrapolated"), sentence("Done."), sentence("is it?"), sentence("deaths.csv ends")
    ('Maturity is extrapolated.', 'Done.', 'Is it?', 'deaths.csv ends.')
    """
    first = text.split(" ", 1)[0]
    head = text[:1] if "_" in first or "." in first.rstrip(".") else text[:1].upper()  # names of files and keys stay
    return f"{head}{text[1:].rstrip('.')}{'' if text.endswith('?') else '.'}"


def capitalised(text: str) -> str:
    """Write a name as it begins a sentence, and leave the rest as it is.

    Examples
    --------
    >>> capitalised("praziquantel"), capitalised("pH")
    ('Praziquantel', 'PH')
    """
    return f"{text[:1].upper()}{text[1:]}"


def uncapitalised(text: str) -> str:
    """Write a sentence as it goes on after a colon."""
    return text[:1].lower() + text[1:]

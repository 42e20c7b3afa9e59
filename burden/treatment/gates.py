"""What water and fish ask for before any dose: oxygen, ammonia, nitrite, pH, gasping fish and fish short of blood.

Numbers and codes only. A gate that stops a dose says what lifts it: how much water to change, how often.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from burden.case import UNKNOWN_AGENT, Case
from burden.treatment.water_chemistry import oxygen_saturation_mg_l, unionised_share
from burden.treatment.water_remedies import Remedy, in_the_open, relief, unchanged, water_change
from burden.utils.results import number

__all__ = ["LEVELS", "OXYGEN_CARE_MG_L", "Gate", "change_of", "days_to_mend", "gates_of", "stopped", "without_change"]


#: stop: no dose before it is lifted. agent: no agent that takes oxygen. measure: measure before dosing. care: dose with
#: care, and mend it along
LEVELS = ("stop", "agent", "measure", "care")

#: below either no dose is given [mg/L] (waterlimits, weak: above 4 for warm-water fish), [-] (assumption)
_OXYGEN_STOP_MG_L, _OXYGEN_STOP_SHARE = 4.0, 0.6
#: below it the water is aerated first [mg/L] (tpwd: above 5 for growth); below this share of what it could hold where
#: fish die or show it in their gills, as the night takes more (common practice, no source) [-]
OXYGEN_CARE_MG_L, _OXYGEN_CARE_SHARE = 5.0, 0.7
#: un-ionised ammonia above which no dose is given, and above which water is changed [mg/L] (fishhealth_texts, from
#: memory; tpwd)
_AMMONIA_STOP_MG_L, _AMMONIA_CARE_MG_L = 0.05, 0.02
#: nitrite as nitrogen above which no dose is given, and above which water is changed, in water with little chloride
#: [mg/L] (from memory; fishhealth_texts, from memory)
_NITRITE_STOP_MG_L, _NITRITE_CARE_MG_L = 0.5, 0.1
#: changes of water for nitrite that is above its limit no more: the filter has to do the rest (an assumption)
_CHANGES_FOR_NITRITE = 3
#: fish that died so many days ago still tell of the water today: an assumption [d]
_DYING_DAYS = 7
#: so many times the nitrite of chloride protects (waterlimits); share of chloride in sea salt (from memory)
_CHLORIDE_PER_NITRITE, _CHLORIDE_SHARE = 10.0, 0.55
#: the same were the rule meant for the nitrite ion, as some texts have it: below it chloride only just protects (molar
#: masses)
_CHLORIDE_SURELY = _CHLORIDE_PER_NITRITE * 46.006 / 14.007
#: a product that nobody knows is given so many days to go, with two changes of water that leave a quarter of it, before
#: another goes in: common practice, no source [d], [-]
_UNKNOWN_GOES_DAYS, _UNKNOWN_LEFT = 3, 0.25
#: pH that fresh-water fish bear for long: from memory [-]
_PH_RANGE = (6.0, 9.2)
#: alkalinity as CaCO3 below which pH may fall within a course, and what it is raised to [mg/L]: from memory of
#: handbooks of pond culture (20 at the least), and common practice, no source
_ALKALINITY_CARE, _ALKALINITY_WANTED = 20.0, 50.0
#: water exchanged so often cannot be buffered: an assumption [1/d]
_FLOWS_PER_DAY = 1.0
#: water exchanged so often holds no ammonia or nitrite that gathers: an assumption [1/d]
_CARRIES_OFF_PER_DAY = 4.0
#: sodium bicarbonate that gives the alkalinity of one mg of CaCO3: molar masses, one and two charges [mg/mg]
_BICARBONATE_PER_CACO3 = 84.007 / (100.087 / 2)
#: pH taken where ammonia was measured and pH was not, high for a pond on a sunny day: an assumption
_PH_UNMEASURED = 8.0
#: what feeding makes worse: common practice, no source
_WORSE_WITH_FEED = ("gasping", "oxygen_low", "ammonia_high", "nitrite_high", "gills_brown")
#: orders of a remedy that hold for the whole water, whatever asks for them
_ASKED_ONCE = ("aerate", "unfed", "too_much_water", "clear_cage")
_NH3_PER_N = 17.031 / 14.007  # molar masses
_OPEN_SEA_G_L = 35.0  # from memory


@dataclass(frozen=True)
class Gate:
    """One thing to see to before a dose.

    Parameters
    ----------
    code : str
        gasping, oxygen_low, oxygen_unmeasured, ammonia_high, ammonia_unmeasured, ph_unmeasured, ph_extreme,
        alkalinity_low, nitrite_high, nitrite_unmeasured, gills_brown, unknown_product, anaemia.
    level : str
        One of `LEVELS`.
    value, limit : float or None
        What was measured, and what it is held against, in `unit`.
    unit : str
    saturation : float or None
        For oxygen, share of what the water holds in balance with air [-].
    as_read : float or None
        For ammonia, total ammonia nitrogen at which the limit is reached at this pH and temperature: what a kit for
        the home shows [mg/L].
    remedy : Remedy or None
    deduced : bool
        Whether it follows from a sign, as lack of blood from pale gills, or nitrite that harms from brown ones.
    wait_days : float
        Days before a dose may follow, whatever is done meanwhile [d].
    stops_above : float or None
        Where it does not stop a dose: the value above which it would, in `unit`.
    """

    code: str
    level: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    saturation: float | None = None
    as_read: float | None = None
    remedy: Remedy | None = None
    deduced: bool = False
    wait_days: float = 0.0
    stops_above: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "code": self.code,
            "level": self.level,
            "value": number(self.value),
            "limit": number(self.limit),
            "unit": self.unit,
            "saturation": number(self.saturation),
            "as_read": number(self.as_read),
            "remedy": None if self.remedy is None else self.remedy.as_dict(),
            "deduced": self.deduced,
            "wait_days": self.wait_days,
            "stops_above": number(self.stops_above),
        }


def stopped(gates: tuple[Gate, ...]) -> bool:
    """Whether any gate stops a dose."""
    return any(gate.level == "stop" for gate in gates)


def days_to_mend(gates: tuple[Gate, ...]) -> float:
    """Days until the water can be right: one change of it a day, the first today; one where none can be made [d]."""
    stops = [gate for gate in gates if gate.level == "stop"]
    remedies = [gate.remedy for gate in stops if gate.remedy is not None]
    changes = [float(max(remedy.times, int(remedy.too_much_water))) for remedy in remedies]
    return max([*changes, *(gate.wait_days for gate in stops)], default=0.0)


def change_of(gates: Sequence[Gate]) -> Remedy | None:
    """Return the remedy that orders changes of water, one at most; None where none is ordered."""
    return next((gate.remedy for gate in gates if gate.remedy is not None and gate.remedy.times), None)


def gates_of(case: Case, temperature_c: float) -> tuple[Gate, ...]:
    """Return every gate of a case, those that stop a dose first.

    Parameters
    ----------
    case : Case
    temperature_c : float
        Of the water on the day of the visit [°C].
    """
    found = [
        *_oxygen(case, temperature_c),
        *_ammonia(case, temperature_c),
        *_ph(case),
        *_alkalinity(case),
        *_nitrite(case),
        *_unknown_product(case),
        *_anaemia(case),
    ]
    found += _gasping(case, found)
    found = [_unfed(gate) for gate in sorted(found, key=lambda gate: LEVELS.index(gate.level))]
    return tuple(_one_change(found))


def _unfed(gate: Gate) -> Gate:
    """Fish in water that stops a dose are fed nothing where feeding makes it worse."""
    if gate.level != "stop" or gate.code not in _WORSE_WITH_FEED or gate.remedy is None:
        return gate
    return replace(gate, remedy=replace(gate.remedy, unfed=True))


def _one_change(gates: Sequence[Gate]) -> Iterator[Gate]:
    """Leave the change of water with the gate that asks for most, and ask once for all else: one order is followed."""
    changes = [(gate.remedy.times, gate.remedy.percent) for gate in gates if gate.remedy is not None]
    most = max(changes, default=(0, 0.0))
    changed, asked = False, set[str]()
    for gate in gates:
        remedy = gate.remedy
        if remedy is None:
            yield gate
            continue
        if changed or (remedy.times, remedy.percent) != most:
            remedy = unchanged(remedy)
        orders = {name for name in _ASKED_ONCE if getattr(remedy, name)}
        yield replace(gate, remedy=replace(remedy, **dict.fromkeys(orders & asked, False)))
        changed, asked = changed or remedy.times > 0, asked | orders


def without_change(gate: Gate) -> Gate:
    """Return a gate that orders no change of water, because it is ordered elsewhere."""
    return gate if gate.remedy is None else replace(gate, remedy=unchanged(gate.remedy))


def _salinity(case: Case) -> float:
    if case.water.salinity_g_l is not None:
        return case.water.salinity_g_l
    return _OPEN_SEA_G_L if case.water.medium == "sea" else 0.0


def _carries_off(case: Case) -> bool:
    """Whether the water carries off what fish give off faster than it gathers, so that nobody need measure it."""
    return in_the_open(case) or case.water.exchange_per_day >= _CARRIES_OFF_PER_DAY


def _oxygen(case: Case, temperature_c: float) -> Iterator[Gate]:
    reading = case.water.oxygen_mg_l
    if reading is None:
        yield Gate("oxygen_unmeasured", "measure", unit="mg/L")
        return
    full = oxygen_saturation_mg_l(temperature_c, _salinity(case))
    share = reading / full
    if reading < _OXYGEN_STOP_MG_L or share < _OXYGEN_STOP_SHARE:
        limit = max(OXYGEN_CARE_MG_L, _OXYGEN_STOP_SHARE * full)  # to be reached, not just to be above it
        yield Gate("oxygen_low", "stop", reading, limit, "mg/L", share, remedy=relief(case))
    elif reading < OXYGEN_CARE_MG_L or (share < _OXYGEN_CARE_SHARE and _short_of_air(case)):
        limit = OXYGEN_CARE_MG_L if reading < OXYGEN_CARE_MG_L else _OXYGEN_CARE_SHARE * full
        yield Gate("oxygen_low", "care", reading, limit, "mg/L", share, remedy=Remedy(aerate=True))


def _short_of_air(case: Case) -> bool:
    """Whether fish died lately or show it in their gills, so that oxygen that others bear may be what ails them."""
    dying = any(row.deaths and -case.day_of(row.date) <= _DYING_DAYS for row in case.deaths)
    return dying or case.findings.gills_ail


def _ammonia(case: Case, temperature_c: float) -> Iterator[Gate]:
    total, ph = case.water.total_ammonia_n_mg_l, case.water.ph
    if total is None:
        if not _carries_off(case):
            yield Gate("ammonia_unmeasured", "measure", unit="mg/L")
        return
    free_per_total = unionised_share(_PH_UNMEASURED if ph is None else ph, temperature_c) * _NH3_PER_N
    free = total * free_per_total
    if free > _AMMONIA_CARE_MG_L:
        stop = free > _AMMONIA_STOP_MG_L
        limit = _AMMONIA_STOP_MG_L if stop else _AMMONIA_CARE_MG_L
        remedy = water_change(case, free, _AMMONIA_CARE_MG_L)
        level, above = ("stop", None) if stop else ("care", _AMMONIA_STOP_MG_L)
        as_read = limit / free_per_total
        yield Gate("ammonia_high", level, free, limit, "mg/L", None, as_read, remedy, stops_above=above)


def _ph(case: Case) -> Iterator[Gate]:
    ph = case.water.ph
    if ph is None:
        if not _carries_off(case):
            yield Gate("ph_unmeasured", "measure")
    elif case.water.medium == "fresh" and not _PH_RANGE[0] <= ph <= _PH_RANGE[1]:
        limit = _PH_RANGE[0] if ph < _PH_RANGE[0] else _PH_RANGE[1]
        yield Gate("ph_extreme", "stop", ph, limit, "", remedy=relief(case))


def _alkalinity(case: Case) -> Iterator[Gate]:
    """Soft water has little to hold its pH with when a bath and dying matter use it up."""
    reading = case.water.alkalinity_mg_l_caco3
    flows = case.water.exchange_per_day >= _FLOWS_PER_DAY  # what is put in runs off, and what runs in is as soft
    if case.water.medium == "fresh" and not flows and reading is not None and reading < _ALKALINITY_CARE:
        grams = (_ALKALINITY_WANTED - reading) * _BICARBONATE_PER_CACO3 * case.water.volume_l.value / 1000
        remedy = Remedy(bicarbonate_g=grams)
        yield Gate("alkalinity_low", "care", reading, _ALKALINITY_CARE, "mg/L", remedy=remedy)


def _nitrite(case: Case) -> Iterator[Gate]:
    """Nitrite without the chloride that protects; where gills are brown, which nitrite makes them, any that is high."""
    reading, brown = case.water.nitrite_n_mg_l, case.findings.gill_colour == "brown"
    if reading is None:
        if brown:
            yield Gate("gills_brown", "stop", remedy=relief(case))
        if not _carries_off(case):
            yield Gate("nitrite_unmeasured", "measure", unit="mg/L")
        return
    measured = case.water.chloride_mg_l
    chloride = 1000 * _CHLORIDE_SHARE * _salinity(case) if measured is None else measured
    protected = reading <= chloride / _CHLORIDE_PER_NITRITE
    surely = reading <= max(_NITRITE_STOP_MG_L, chloride / _CHLORIDE_SURELY)
    if reading <= _NITRITE_CARE_MG_L or (protected and surely and not brown):
        return
    stop = brown or (reading > _NITRITE_STOP_MG_L and not protected)
    missing = (_CHLORIDE_SURELY if brown else _CHLORIDE_PER_NITRITE) * reading - chloride
    salted = stop and missing > 0 and case.water.medium == "fresh"
    salt = missing / _CHLORIDE_SHARE / 1000 * case.water.volume_l.value if salted else None
    limit = _NITRITE_STOP_MG_L if stop and not brown else _NITRITE_CARE_MG_L
    remedy = water_change(case, reading, _NITRITE_CARE_MG_L)
    least = water_change(case, reading, limit).times  # as many as the limit named here takes, more where few do
    remedy = replace(remedy, times=min(remedy.times, max(least, _CHANGES_FOR_NITRITE)), salt_g=salt)
    level, above = ("stop", None) if stop else ("care", max(_NITRITE_STOP_MG_L, chloride / _CHLORIDE_PER_NITRITE))
    yield Gate("nitrite_high", level, reading, limit, "mg/L", remedy=remedy, deduced=brown, stops_above=above)


def _unknown_product(case: Case) -> Iterator[Gate]:
    """Nobody knows what a second drug does on top of an unknown one: that goes first."""
    since = [-case.day_of(dose.date) for dose in case.doses_given if dose.agent == UNKNOWN_AGENT]
    age = min(since, default=_UNKNOWN_GOES_DAYS)
    if age < _UNKNOWN_GOES_DAYS:
        flows = case.water.exchange_per_day >= _FLOWS_PER_DAY
        remedy = None if flows else water_change(case, 1.0, _UNKNOWN_LEFT)
        wait = float(_UNKNOWN_GOES_DAYS - age)
        yield Gate("unknown_product", "stop", float(age), unit="d", remedy=remedy, wait_days=wait)


def _anaemia(case: Case) -> Iterator[Gate]:
    """Fish short of blood carry little oxygen: no agent that takes it from the water, and every bath with care."""
    if case.findings.anaemic:
        deduced = case.findings.haematocrit_percent is None and case.findings.anaemia is None
        level = "care" if in_the_open(case) else "agent"  # a bath within a tarpaulin is given oxygen
        yield Gate("anaemia", level, case.findings.haematocrit_percent, unit="%", deduced=deduced)


def _gasping(case: Case, others: Sequence[Gate]) -> Iterator[Gate]:
    """Gasping fish bear no bath, whatever makes them gasp: air and fresh water first, asked for once."""
    if case.findings.gasping:
        told = any(gate.remedy == relief(case) for gate in others)
        yield Gate("gasping", "stop", remedy=None if told else relief(case))

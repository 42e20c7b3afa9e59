"""Words of what comes before a dose: the water, the fish, and other diseases found."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from burden.decision.records import Decision, OtherTreatment
from burden.evidence import load_parasite
from burden.report.text.plan import missing_text
from burden.treatment.gates import OXYGEN_CARE_MG_L, Gate
from burden.treatment.water_chemistry import LEFT_IN_HOURS
from burden.treatment.water_remedies import Remedy
from burden.utils.formatting import (
    capitalised,
    counted,
    is_plural,
    mass,
    named,
    percent,
    plain,
    several,
    uncapitalised,
    volume,
)

__all__ = [
    "FOR_THE_LABORATORY",
    "UNMEASURED",
    "anaemia_text",
    "change_text",
    "gate_of",
    "gate_text",
    "gates_text",
    "lamp_text",
    "may_be_harvested",
    "other_text",
    "others_lines",
    "unused_text",
]

#: what was not measured, by code
UNMEASURED = {
    "oxygen_unmeasured": "oxygen",
    "ammonia_unmeasured": "ammonia",
    "ph_unmeasured": "pH",
    "nitrite_unmeasured": "nitrite",
}
#: total ammonia as a kit shows it that says NH3/NH4, for one as nitrogen: molar masses [-]
_AS_AMMONIA = 17.031 / 14.007
#: least total ammonia that a kit for the home tells from none: common practice, no source [mg/L]
_KIT_SHOWS = 0.1
#: what to measure again once the water was changed, by code
_AGAIN = {
    "oxygen_low": "Then measure oxygen again.",
    "ammonia_high": "Measure ammonia and pH every day.",
    "nitrite_high": "Measure nitrite again after the last change.",
    "ph_extreme": "Then measure pH again.",
    "gasping": "Measure the water again once they breathe easier.",
    "gills_brown": "Measure nitrite today.",
    "unknown_product": "Run fresh carbon in the filter meanwhile, and take it out before a dose.",
}

#: what a value that would stop a dose is a value of
_MEASURED = {"ammonia_high": "un-ionised ammonia", "nitrite_high": "nitrite as nitrogen"}


def gates_text(decision: Decision, *levels: str) -> list[str]:
    """Write what water and fish ask for before a dose; what was not measured in one sentence.

    Parameters
    ----------
    decision : Decision
    *levels : str
        Of the gates, some of `burden.treatment.gates.LEVELS`; all when not given.
    """
    gates = [gate for gate in decision.gates if not levels or gate.level in levels]
    said = [gate_of(gate, decision) for gate in gates if gate.code not in UNMEASURED]
    missing = [gate.code for gate in gates if gate.code in UNMEASURED]
    asked = decision.doses or decision.action in ("look_first", "water_first")  # else nothing hangs on it
    if not missing or not asked:
        return said
    formalin = "oxygen_unmeasured" in missing and any(dose.agent == "formalin" for dose in decision.doses)
    without = [" No formalin without a reading of oxygen."] if formalin else []
    begun = bool(decision.doses) and decision.doses[0].number > 1
    at_once = decision.action == "water_first" or not decision.doses
    when = "today" if at_once else "before the next dose" if begun else "before the first dose"
    return [*said, "".join([_unmeasured(missing, when), *without])]


def gate_of(gate: Gate, decision: Decision) -> str:
    """Write one gate; lack of blood with its likely cause where flukes that drink blood were seen."""
    drinkers = any(load_parasite(name).blood_feeder for name in decision.parasites)
    if gate.code == "anaemia" and drinkers and decision.on_record.get("flukes"):
        return _anaemia(gate, decision, drinkers)
    if gate.code == "anaemia":
        return _anaemia(gate, decision)
    when = _WHEN.get(gate.code, "") if decision.on_record.get("pond") else ""
    return f"{gate_text(gate)}{when}"


#: when a pond is worst, by what was measured: common practice, no source
_WHEN = {
    "oxygen_low": " In a pond oxygen is lowest before sunrise: measure it then.",
    "ammonia_high": " pH swings over the day in a green pond: measure both at dawn and late in the afternoon.",
    "ph_extreme": " pH swings over the day in a green pond: measure it at dawn and late in the afternoon.",
}


def anaemia_text(decision: Decision) -> str:
    """Write what fish that lack blood ask for, dose or no dose; empty where they do not."""
    return " ".join(gate_of(gate, decision) for gate in decision.gates if gate.code == "anaemia")


def _unmeasured(codes: Sequence[str], when: str) -> str:
    what = several(UNMEASURED[code] for code in codes)
    return f"Not measured: {what}. Measure {'it' if len(codes) == 1 else 'them'} {when}."


def gate_text(gate: Gate) -> str:
    """Write one thing to see to before a dose: what was measured, what it is held against, what to do."""
    return _unmeasured([gate.code], "before any dose") if gate.code in UNMEASURED else _GATES[gate.code](gate)


def _remedy(gate: Gate) -> str:
    remedy = gate.remedy
    if remedy is None:
        return ""
    said = [_IN_CAGE if remedy.clear_cage else "Aerate strongly."] if remedy.aerate else []
    said += ["So much water cannot be changed: let in what clean water there is."] if remedy.too_much_water else []
    said += [_change(remedy)] if remedy.times else []
    if remedy.salt_g is not None:
        said.append(_salt(remedy, remedy.salt_g))
    unfed = ["Feed nothing until the water is right."] if remedy.unfed else []
    above = "" if gate.stops_above is None else f"{plain(gate.stops_above, 2)} mg/L of {_MEASURED[gate.code]}"
    bound = [f"No dose goes in above {above}."] if above else []
    return f" {' '.join([*said, *unfed, _AGAIN[gate.code], *bound])}"


def _salt(remedy: Remedy, grams: float) -> str:
    """Write how much salt, and when: each later change of water takes its share of it."""
    if remedy.times < 2:
        when, later = "dissolved and added once", ""
    else:
        when = "dissolved and added after the first change"
        later = f" After each later change add the share it took ({mass(grams * remedy.percent / 100, 2)})."
    return f"The chloride of {mass(grams, 2)} of pure salt, {when}, protects the fish meanwhile.{later}"


def _change(remedy: Remedy) -> str:
    often = {1: "once, today", 2: "today and tomorrow"}.get(
        remedy.times, f"once a day for {remedy.times} days from today"
    )
    return f"Change {_amount(remedy)} {often}, {_CLEAN}."


def change_text(remedy: Remedy, often: str) -> str:
    """Write one change of water as an entry of a day: "change 30 % of the water (6 000 L) again, …"."""
    return f"change {_amount(remedy)}{often}, {_CLEAN}"


def _amount(remedy: Remedy) -> str:
    return f"{plain(remedy.percent)} % of the water ({volume(remedy.litres)})"


#: what fish that lack blood ask for: common practice, no source
_SPARE = "Keep oxygen high, do not crowd, net or grade them{}, and take out dying fish."
_SOONER = " Weigh an earlier harvest of those that are well."
_OF_PRACTICE = "(Common practice, no source.)"
_NO_SOURCE = "(common practice, no source)"
_IN_CAGE = (
    "Let oxygen in, take out the dead, do not handle or crowd the fish, change a fouled net so that more water passes, "
    f"and give them more room if you can {_NO_SOURCE}."
)
_CLEAN = "with clean water of the same kind and temperature, free of chlorine"


def _oxygen(gate: Gate) -> str:
    share = "" if gate.saturation is None else f", {percent(gate.saturation)} of what this water can hold"
    goal = max(gate.limit or 0.0, OXYGEN_CARE_MG_L)  # what is just no longer forbidden is no goal
    return f"Oxygen is {plain(gate.value)} mg/L{share}; it should be above {plain(goal, 2)} mg/L.{_remedy(gate)}"


def _ammonia(gate: Gate) -> str:
    nitrogen = gate.as_read or 0.0
    bound = "no dose goes in above" if gate.level == "stop" else "it should be below"
    kit = (
        "A test kit must now show none at all."
        if nitrogen < _KIT_SHOWS
        else f"On a test kit that limit is now a total of {plain(nitrogen, 2)} mg/L if it shows nitrogen, or about "
        f"{plain(nitrogen * _AS_AMMONIA, 2)} mg/L if it shows NH3/NH4."
    )
    now = f"Un-ionised ammonia (NH3) is about {plain(gate.value, 2)} mg/L; {bound} {plain(gate.limit)} mg/L."
    return f"{now} {kit}{_remedy(gate)}"


def _nitrite(gate: Gate) -> str:
    now, bound = f"Nitrite is {plain(gate.value)} mg/L as nitrogen", f"it should be below {plain(gate.limit)} mg/L"
    if gate.deduced:
        return f"{now}, and the gills are brown, as nitrite makes them: {bound}.{_remedy(gate)}"
    return f"{now}; in water with little chloride {bound}.{_remedy(gate)}"


def _unknown_product(gate: Gate) -> str:
    ago = {0: "today", 1: "yesterday"}.get(round(gate.value or 0), f"{plain(gate.value)} days ago")
    wait = counted(round(gate.wait_days), "day")
    return (
        f"Something nobody can name went into this water {ago}. What a second drug does on top of it nobody knows: "
        f"wait {wait} (common practice, no source).{_remedy(gate)}"
    )


def may_be_harvested(decision: Decision) -> bool:
    """Whether fish may be harvested sooner as far as is known: no virus is suspected, and nothing notifiable."""
    held = any(other.finding == "virus_suspected" for other in decision.others)
    held |= any(reason.code in ("notifiable", "identify_first") for reason in decision.reasons)
    return bool(decision.on_record.get("food")) and not held


def _anaemia(gate: Gate, decision: Decision | None = None, drinkers: bool = False) -> str:
    how = "" if gate.value is None else f" (haematocrit {plain(gate.value)} %)"
    lack = "With gills so pale the fish may lack blood" if gate.deduced else f"The fish lack blood{how}"
    cause = "look for the cause"
    if drinkers:
        cause = "the flukes found feed on blood and are a likely cause; look for others beside it"
    how_treated = (
        "let oxygen in all the time it lasts"
        if gate.level == "care"
        else "use no agent that takes oxygen from the water"
    )
    bath = f" For any bath: {how_treated}, and treat a few fish first."
    bath = bath if decision is None or decision.doses else ""
    sooner = _SOONER if decision is not None and may_be_harvested(decision) else ""
    more = " beyond what a bath takes" if bath else ""
    return f"{lack}: {cause}. {_SPARE.format(more)}{sooner}{bath} {_OF_PRACTICE}"


def _alkalinity(gate: Gate) -> str:
    grams = 0.0 if gate.remedy is None else gate.remedy.bicarbonate_g
    return (
        f"Alkalinity is {plain(gate.value, 2)} mg/L as CaCO3; below {plain(gate.limit)} mg/L the pH can fall within a "
        f"course. {mass(grams, 2)} of sodium bicarbonate in all, over several days, raises it (common "
        "practice, no source)."
    )


def _ph(gate: Gate) -> str:
    bound = "at least" if gate.value is not None and gate.limit is not None and gate.value < gate.limit else "at most"
    return f"pH is {plain(gate.value)}; it should be {bound} {plain(gate.limit)}.{_remedy(gate)}"


_GATES: dict[str, Callable[[Gate], str]] = {
    "gasping": lambda gate: (
        f"Fish gasp today: help them before anything else.{_remedy(gate)}"
        if gate.remedy is not None
        else "Fish gasp today: air and water, as said here, come before anything else."
    ),
    "oxygen_low": _oxygen,
    "ammonia_high": _ammonia,
    "nitrite_high": _nitrite,
    "gills_brown": lambda gate: f"The gills are brown, as nitrite makes them, and it was not measured.{_remedy(gate)}",
    "unknown_product": _unknown_product,
    "ph_extreme": _ph,
    "alkalinity_low": _alkalinity,
    "anaemia": lambda gate: _anaemia(gate),
}


_SHUT = "no fish or net leaves this place, and no water that is let off reaches other fish"
#: by what is known of the test
_VIRUS = {
    None: "A virus is suspected: have it tested before any dose. Some are notifiable: ask the authority. Until the "
    f"result is there, {_SHUT}.",
    "sent": "A virus is suspected, and the test is on its way: no dose before its result. Some are notifiable: ask the "
    f"authority. Until then {_SHUT}.",
    "positive": "The test for a virus is positive: tell the authority where the law asks for it, and follow what it "
    f"orders. Until it says otherwise {_SHUT}.",
}


FOR_THE_LABORATORY = (
    "Keep two fish that have just died cool, each in a clean bag, and do not freeze them: the laboratory needs them "
    "the same day."
)
#: ciliates are not always told apart in a case; only one of them has a stage in the skin that no bath reaches
_NOT_WHITE_SPOT = "The dates are for flukes; if it is white spot, say so in the case, as that needs dates of its own."
_WHITE_SPOT = (
    "White spot needs a bath every two to four days in warm water, longer apart in cold, until no fish has had a spot "
    "for several days (common practice, no source); this tool plans no such course."
)
_GIVEN = "Enter each bath given: it may kill flukes as well."


#: what is done with the dead where a virus is suspected: common practice, no source
_DEAD = " Gather dead fish every day and keep them apart from all others."
#: what helps against a disease before any drug does: common practice, no source
_HELPS_FIRST = {
    "ciliates": " they thrive in dirt and crowding, so look at water, dirt and stocking first (common practice, no "
    "source).",
}


# --- other diseases ------------------------------------------------------------------------------------------------
#: of a disease in water that cannot be dosed
_APART = "Bathe fish that show {} apart, in less water or in a net pen under a tarpaulin (common practice, no source)."


def other_text(other: OtherTreatment, dosed: bool = False) -> str:
    """Write what happens about another disease found; where flukes are dosed it is treated beside them."""
    name = capitalised(named(other.finding))
    first = " Treat this first (common practice, no source)." if other.to_treat_first and not dosed else ""
    if other.at_hand is not None and other.finding != "virus_suspected":
        them = "them" if is_plural(other.finding) else "it"
        drug = named(other.at_hand)
        bath = (
            ""
            if other.bath is None
            else f" One bath: {uncapitalised(missing_text(other.bath))}; read its cautions before."
        )
        works = f"{capitalised(drug)}, which is at hand, works on {them}"
        often = f"{_WHITE_SPOT} {_GIVEN}" if other.finding == "white_spot" else "How often is yours to decide."
        return f"{name}:{_HELPS_FIRST.get(other.finding, '')}{first} {works}.{bath} {often}"
    if other.finding == "virus_suspected":
        return f"{_VIRUS[other.test]}{_DEAD}"
    if other.agent is not None:
        also = f"{name}: {named(other.agent)} works on {'them' if is_plural(other.finding) else 'it'} too."
        return f"{also} {_NOT_WHITE_SPOT}" if other.finding == "ciliates" else also
    if other.in_too_much_water:
        note, them = other.kept_out[0], "them" if is_plural(other.finding) else "it"
        return f"{name}: {uncapitalised(note.text)}, as {note.reason.rstrip('.')}. {_APART.format(them)}"
    need = "these need a treatment of their own" if is_plural(other.finding) else "this needs a treatment of its own"
    need = capitalised(need) if other.finding in _HELPS_FIRST else need
    own = f"{name}:{_HELPS_FIRST.get(other.finding, '')} {need}, and the dates are yours to set."
    if other.kept_out and first:
        first = " Treat this first, with something else (common practice, no source)."
    return f"{own}{_kept_out(other)}{first}"


def _kept_out(other: OtherTreatment) -> str:
    """Write why an agent at hand that works on it is not given; empty where there is none."""
    if not other.kept_out:
        return ""
    note = other.kept_out[0]
    return f" {note.text}: {note.reason.rstrip('.')}."


def others_lines(decision: Decision) -> list[str]:
    """Write what happens about every other disease found."""
    return [other_text(other, dosed=decision.action == "dose") for other in decision.others]


def lamp_text(decision: Decision) -> str:
    """Write until when the UV lamp is off; empty where there is none, or no dose."""
    if not decision.on_record.get("uv") or not decision.doses:
        return ""
    stays = any(dose.hours >= LEFT_IN_HOURS and not dose.apart for dose in decision.doses)
    until = "before the first dose, and leave it off until the course is over" if stays else "for each bath"
    return f"Switch the UV lamp off {until} (common practice, no source)."


def unused_text(decision: Decision) -> str:
    """Write what is on record that the plan makes no use of and that speaks for caution; empty where nothing is."""
    if not decision.on_record.get("ulcers"):
        return ""
    bear = " Decide whether these fish bear fasting and a bath (common practice, no source)." if decision.doses else ""
    return f"Fish have ulcers: nothing here treats them, so see to them apart.{bear}"

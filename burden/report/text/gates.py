"""Words of what comes before a dose: the water, the fish, and other diseases found."""

from __future__ import annotations

from collections.abc import Callable

from burden.decision.records import OtherTreatment
from burden.treatment.gates import Gate, Remedy
from burden.utils.formatting import mass, named, percent, plain, volume

__all__ = ["gate_text", "other_text"]


def gate_text(gate: Gate) -> str:
    """Write one thing to see to before a dose: what was measured, what it is held against, what to do."""
    return _GATES[gate.code](gate)


def _remedy(remedy: Remedy | None) -> str:
    if remedy is None:
        return ""
    said = ["Aerate strongly."] if remedy.aerate else []
    if remedy.times:
        often = "once" if remedy.times == 1 else f"{remedy.times} times, a day apart"
        said.append(
            f"Change {plain(remedy.percent)} % of the water ({volume(remedy.litres)}) {often}, with clean water of the "
            "same temperature without chlorine."
        )
    if remedy.salt_g is not None:
        said.append(f"{mass(remedy.salt_g, 2)} of pure salt in all protects the fish meanwhile.")
    return f" {' '.join([*said, 'Measure again after it.'])}"


def _oxygen(gate: Gate) -> str:
    share = "" if gate.saturation is None else f", {percent(gate.saturation)} of what this water can hold"
    return (
        f"Oxygen is {plain(gate.value)} mg/L{share}; it should be above {plain(gate.limit, 2)} mg/L."
        f"{_remedy(gate.remedy)}"
    )


def _ammonia(gate: Gate) -> str:
    return (
        f"Un-ionised ammonia is about {plain(gate.value, 2)} mg/L; it should be below {plain(gate.limit)} mg/L. At "
        "this "
        f"pH and temperature that is {plain(gate.as_read, 2)} mg/L of total ammonia nitrogen on a home test kit."
        f"{_remedy(gate.remedy)}"
    )


def _nitrite(gate: Gate) -> str:
    return (
        f"Nitrite is {plain(gate.value)} mg/L of nitrogen; in water with little chloride it should be below "
        f"{plain(gate.limit)} mg/L.{_remedy(gate.remedy)}"
    )


def _anaemia(gate: Gate) -> str:
    how = "" if gate.value is None else f" (haematocrit {plain(gate.value)} %)"
    lack = "With gills so pale the fish may lack blood" if gate.deduced else f"The fish lack blood{how}"
    return (
        f"{lack}: no agent that takes oxygen from the water, and treat a few fish first (common practice, no source)."
    )


def _alkalinity(gate: Gate) -> str:
    grams = 0.0 if gate.remedy is None else gate.remedy.bicarbonate_g
    return (
        f"Alkalinity is {plain(gate.value, 2)} mg/L as CaCO3; below {plain(gate.limit)} mg/L the pH can fall within a "
        f"course. {mass(grams, 2)} of sodium bicarbonate in all, over several days, raises it (common "
        "practice, no source)."
    )


def _gasping(gate: Gate) -> str:
    return f"Fish gasp today: help them before anything else.{_remedy(gate.remedy)}"


_GATES: dict[str, Callable[[Gate], str]] = {
    "gasping": _gasping,
    "oxygen_low": _oxygen,
    "ammonia_high": _ammonia,
    "nitrite_high": _nitrite,
    "ph_extreme": lambda g: (
        f"pH is {plain(g.value)}; fish bear {plain(g.limit)} at the most or least.{_remedy(g.remedy)}"
    ),
    "alkalinity_low": _alkalinity,
    "anaemia": _anaemia,
    "oxygen_unmeasured": lambda g: "Oxygen was not measured: measure it before dosing. Without it no formalin.",
    "ammonia_unmeasured": lambda g: "Ammonia was not measured: measure it before dosing.",
    "ph_unmeasured": lambda g: "pH was not measured: measure it before dosing.",
    "nitrite_unmeasured": lambda g: "Nitrite was not measured: measure it before dosing.",
}


# --- other diseases ------------------------------------------------------------------------------------------------
def other_text(other: OtherTreatment) -> str:
    """Write what happens about another disease found."""
    name = named(other.finding)
    name = f"{name[:1].upper()}{name[1:]}"
    first = " Treat this first (common practice, no source)." if other.first and other.agent is None else ""
    if other.finding == "virus_suspected":
        return "A virus is suspected: have it tested before any dose; some are notifiable."
    if other.agent is not None:
        return f"{name}: {named(other.agent)} works on it too."
    return f"{name}: needs a treatment of its own, which this tool does not plan.{first}"

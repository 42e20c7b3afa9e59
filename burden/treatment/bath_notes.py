"""What is said of a bath that cannot serve: in water that flows, of a lake, against flukes it hardly kills."""

from __future__ import annotations

from burden.treatment.flowing_bath import FlowingBath
from burden.treatment.safety import SafetyNote
from burden.utils.formatting import named, plain, volume

__all__ = ["MOST_WATER_L", "note_on_amount", "note_on_kill", "notes_on_flow"]

#: water above which no bath is given, a lake: what it takes can be neither bought nor let go. Common practice, no
#: source
MOST_WATER_L = 10_000_000.0


def note_on_amount(agent: str, mg_l: float, litres: float) -> list[SafetyNote]:
    """Return why a bath of a lake is withheld; nothing for less water.

    Parameters
    ----------
    agent : str
    mg_l : float
        Strength of the bath [mg/L].
    litres : float
        Water [L].
    """
    if litres <= MOST_WATER_L:
        return []
    takes = f"one bath takes {plain(mg_l * litres / 1e6)} kg"
    change = "a bath of the fish in less water, or in a net pen under a tarpaulin"
    text = f"{named(agent).capitalize()} cannot be given to {volume(litres)} of water"
    return [SafetyNote("withhold", text, takes, change, "common practice, no source", "care", "too_much_water")]


def note_on_kill(agent: str, share: float) -> SafetyNote:
    """Return why an agent is withheld that kills too few of the flukes found.

    Parameters
    ----------
    agent : str
    share : float
        Of the adults that its customary dose kills [-].
    """
    text = f"{named(agent).capitalize()} kills too few of these flukes"
    why = f"about {100 * share:.0f} % of the adults at the customary dose"
    change = "a count before and after such a bath, of these flukes, that shows a better kill"
    return SafetyNote("withhold", text, why, change, "assumption", "care", "little_effect")


def notes_on_flow(bath: FlowingBath) -> list[SafetyNote]:
    """Return what water that flows means for a long bath: none can be given, or only so.

    Parameters
    ----------
    bath : FlowingBath
    """
    lasts, half = f"{bath.oxygen_hours:.2g} h", f"{bath.half_life_hours:.2g} h"
    fish = f"{bath.kilograms:.3g} kg of fish"
    if bath.mode == "impossible":
        short = "a short bath apart, or in a tarpaulin or a well-boat"
        why = "the cage is open" if bath.reason == "open_cage" else f"the flow carries half of it off in {half}"
        text = f"{named(bath.agent).capitalize()} cannot be left in this water for {bath.hours:g} h"
        return [SafetyNote("withhold", text, why, short, "assumption", "care", "bath_impossible")]
    if bath.mode == "enclosed":
        text = f"Enclose the fish in a tarpaulin or a well-boat for the {bath.hours:g} h of the bath; give oxygen"
        why = "the cage is open; measure the water enclosed, as the amount goes by it, and oxygen all the time"
        return [SafetyNote("caution", text, why, "a bath elsewhere", "common practice, no source", "danger", "enclose")]
    if bath.mode == "stop_flow":
        text = f"Stop the flow for the {bath.hours:g} h of the bath, aerate, measure oxygen every hour"
        why = f"left running it carries half of the bath off in {half}; oxygen lasts {fish} about {lasts} without air"
        return [SafetyNote("caution", text, why, "less flow or fewer fish", "assumption", "danger", "stop_flow")]
    if bath.mode == "drip_feed":
        each = bath.drip_mg_per_hour / 1000
        text = f"Keep the flow on and drip {each:.3g} g an hour into the inflow for {bath.hours:g} h, besides the dose"
        why = f"without flow oxygen lasts {fish} about {lasts}; with it half of the bath is gone in {half}"
        return [SafetyNote("caution", text, why, "less flow or fewer fish", "assumption", "danger", "drip_feed")]
    return []

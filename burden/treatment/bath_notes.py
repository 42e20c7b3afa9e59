"""What is said of a bath that cannot serve: in water that flows, of a lake, against flukes it hardly kills."""

from __future__ import annotations

from burden.evidence import FRESH_WATER, load_agent
from burden.treatment.flowing_bath import FlowingBath
from burden.treatment.safety_note import SafetyNote
from burden.utils.formatting import exposure, mass, named, percent, plain, volume

__all__ = ["MOST_WATER_L", "note_on_amount", "note_on_kill", "notes_on_flow"]

#: water above which no bath is given, a lake: what it takes can be neither bought nor let go. Common practice, no
#: source
MOST_WATER_L = 10_000_000.0
#: a smaller share is said without "about" [-]
_HARDLY_ANY = 0.005
#: shorter than this nobody counts the minutes [h]
_FEW_MINUTES_H = 0.1


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
    some = percent(share) if share < _HARDLY_ANY else f"about {percent(share)}"
    why = f"{some} of the adults at the customary dose"
    change = "a count before and after such a bath, of these flukes, that shows a better kill"
    return SafetyNote("withhold", text, why, change, "assumption", "care", "little_effect")


def _least(hours: float) -> str:
    """Write how long oxygen lasts, no shorter than anybody can act."""
    return "a few minutes" if hours < _FEW_MINUTES_H else f"about {exposure(hours)}"


def notes_on_flow(bath: FlowingBath) -> list[SafetyNote]:
    """Return what water that flows means for a bath: none can be given, or only so.

    Parameters
    ----------
    bath : FlowingBath
    """
    write = _WAYS.get(bath.mode)
    return [] if write is None else [write(bath)]


def _impossible(bath: FlowingBath) -> SafetyNote:
    short = "a short bath apart, or in a tarpaulin or a well-boat"
    flows = f"the flow carries half of it off in {exposure(bath.half_life_hours)}"
    why = "the cage is open" if bath.reason == "open_cage" else flows
    text = f"{named(bath.agent).capitalize()} cannot be left in this water for {exposure(bath.hours)}"
    return SafetyNote("withhold", text, why, short, "assumption", "care", "bath_impossible")


def _enclosed(bath: FlowingBath) -> SafetyNote:
    text = f"Enclose the fish in a tarpaulin or a well-boat for {_of_it(bath)}; give oxygen"
    why = "the cage is open; measure the water enclosed, as the amount goes by it, and oxygen all the time"
    if bath.agent == FRESH_WATER:
        lasts = f"the {exposure(bath.hours)} of the bath"
        text = f"Fill a tank, a tarpaulin or a well-boat with fresh water for {lasts}; give oxygen"
        why = "the cage is open; measure oxygen all the time, and the salt that comes in with the fish"
    return SafetyNote("caution", text, why, "a bath elsewhere", "common practice, no source", "danger", "enclose")


def _stop_flow(bath: FlowingBath) -> SafetyNote:
    text = f"Stop the flow for {_of_it(bath)}, aerate, measure oxygen every hour"
    gone = f"left running it carries half of the bath off in {exposure(bath.half_life_hours)}"
    why = f"{gone}; without air oxygen lasts {_fish(bath)} {_least(bath.oxygen_hours)}"
    return SafetyNote("caution", text, why, "less flow or fewer fish", "assumption", "danger", "stop_flow")


def _drip_feed(bath: FlowingBath) -> SafetyNote:
    agent, grams = load_agent(bath.agent), bath.drip_mg_per_hour / 1000
    of_what = agent.mass_of.replace("active substance", named(bath.agent))
    each = f"{mass(grams)} {of_what}"
    if agent.density is not None and agent.mass_of.endswith("solution"):  # poured, not weighed
        each = f"{volume(grams / agent.density.at(agent.mass_strength_percent) / 1000)} {of_what}"
    lasts = f"for the {exposure(bath.hours)} of the bath, besides the dose"
    text = f"Keep the flow on and drip {each} an hour into the inflow {lasts}"
    gone = f"with it half of the bath is gone in {exposure(bath.half_life_hours)}"
    why = f"without flow oxygen lasts {_fish(bath)} {_least(bath.oxygen_hours)}; {gone}"
    return SafetyNote("caution", text, why, "less flow or fewer fish", "assumption", "danger", "drip_feed")


def _of_it(bath: FlowingBath) -> str:
    return f"the {exposure(bath.hours)} of a bath of {named(bath.agent)}"


def _fish(bath: FlowingBath) -> str:
    return f"{mass(1000 * bath.kilograms)} of fish"


_WAYS = {"impossible": _impossible, "enclosed": _enclosed, "stop_flow": _stop_flow, "drip_feed": _drip_feed}

"""What speaks against a dose today: the water, the fish, what else was found, what else is in the water.

Takes plain numbers and knows no case. A note withholds the dose or cautions; each has its reason and its source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from burden.evidence import Agent, OtherFinding
from burden.treatment.host_tolerance import host_advice
from burden.treatment.safety_note import PRACTICE, SafetyNote, caution, withhold
from burden.treatment.water_chemistry import LEFT_IN_HOURS, oxygen_demand_mg_l, oxygen_saturation_mg_l
from burden.utils.formatting import is_plural, kind_in_plural, named

__all__ = ["Situation", "safety_check"]


_OXYGEN_LEFT_MG_L = 4.0  # waterlimits, weak: above 4 for warm-water fish [mg/L]
#: what oxygen let into a short bath easily makes good: an assumption [mg/L]
_LITTLE_DEMAND_MG_L = 1.5
_SATURATED = 0.8  # share of what the water can hold that running aeration keeps up: an assumption [-]
_WARM_C = 30.0  # where no temperature is known: warm water holds least [°C]
_ALKALINITY_MG_L = 50.0  # waterlimits, weak: 50 to 150 wanted [mg/L]
_SALT_G_L = (1.0, 10.0)  # salted fresh water: above what is in tap water, below the sea: an assumption [g/L]


@dataclass(frozen=True)
class Situation:
    """A dose and the water, the fish and the findings it meets; None where not known.

    Parameters
    ----------
    agent : Agent
    mg_l, hours : float
        Dose [mg/L], [h].
    temperature_c, oxygen_mg_l : float or None
        Water [°C], [mg/L].
    alkalinity_mg_l_caco3, salinity_g_l : float or None
        [mg/L as CaCO3], [g/L].
    aeration, uv_or_carbon_on, biofilter : bool or None
        Whether it is there and on.
    species : tuple of str
        Every host in the water.
    food_fish : bool
        Whether anyone will eat them.
    findings : tuple of str
        Other findings, as in a case.
    formalin_before_mg_l : float
        Formalin given earlier in the case [mg/L].
    max_formalin_mg_l_total : float or None
        The owner's or the filter's limit [mg/L].
    permanganate_used : bool
        Whether potassium permanganate is in the water or was in the last days.
    short_of_breath : bool
        Whether fish gasp or lack blood.
    oxygen_let_in : bool
        Whether the bath is given within a tarpaulin or a well-boat, to fish that lack blood and do not gasp: oxygen is
        let into such a bath all the time it lasts.
    """

    agent: Agent
    mg_l: float
    hours: float
    temperature_c: float | None = None
    oxygen_mg_l: float | None = None
    alkalinity_mg_l_caco3: float | None = None
    salinity_g_l: float | None = None
    aeration: bool | None = None
    uv_or_carbon_on: bool | None = None
    biofilter: bool | None = None
    species: tuple[str, ...] = ()
    food_fish: bool = False
    findings: tuple[str, ...] = ()
    formalin_before_mg_l: float = 0.0
    max_formalin_mg_l_total: float | None = None
    permanganate_used: bool = False
    short_of_breath: bool = False
    oxygen_let_in: bool = False

    @property
    def said(self) -> str:
        """The agent's name as words."""
        return named(self.agent.name)


def safety_check(agent: Agent, mg_l: float, hours: float, **known: Any) -> list[SafetyNote]:
    """List what speaks against a dose, withholding notes first.

    Parameters
    ----------
    agent : Agent
        From `burden.evidence.load_agent`.
    mg_l, hours : float
        Dose [mg/L], [h].
    **known
        Any other field of `Situation`.

    Returns
    -------
    list of SafetyNote

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> notes = safety_check(load_agent("formalin"), 25.0, 24.0, oxygen_mg_l=3.0)
    >>> notes[0].level, notes[0].code
    ('withhold', 'oxygen_short')
    """
    known = {k: tuple(v) if k in ("species", "findings") and not isinstance(v, str) else v for k, v in known.items()}
    now = Situation(agent, mg_l, hours, **known)
    checks = (
        _oxygen,
        _temperature,
        _alkalinity,
        _salt,
        _hosts,
        _findings,
        _mixing,
        _total,
        _equipment,
    )
    notes = [note for check in checks for note in check(now)]
    return sorted(notes, key=lambda note: note.level != "withhold")


def _takes_oxygen(now: Situation) -> bool:
    return oxygen_demand_mg_l(now.agent, now.mg_l) > 0


def _oxygen(now: Situation) -> Iterator[SafetyNote]:
    """What an agent that takes oxygen asks for; what any bath asks for is a gate of the water, not of the agent."""
    demand = oxygen_demand_mg_l(now.agent, now.mg_l, now.hours)
    if not demand:
        return
    if now.oxygen_mg_l is None:
        yield withhold(
            f"No {now.said} before oxygen is measured",
            f"the bath takes about {demand:.1f} mg/L of oxygen and none was measured",
            "a reading of 5 to 6 mg/L or more, with aeration",
            "fishhealth_texts",
            code="oxygen_unmeasured",
        )
    elif now.short_of_breath and now.oxygen_let_in and demand <= _LITTLE_DEMAND_MG_L:
        yield caution(
            f"Let oxygen into the {now.said} bath all the time it lasts, and end it at the first sign of distress",
            f"the fish lack blood, and {now.said} takes about {demand:.1f} mg/L of oxygen",
            "fish that have their blood back, or another agent",
            PRACTICE,
            "danger",
        )
    elif now.short_of_breath:
        yield withhold(
            f"No {now.said} for fish that are short of breath or blood",
            f"{now.said} takes oxygen from the water, about {demand:.1f} mg/L",
            "fish that breathe well again, or another agent",
            PRACTICE,
            code="short_of_breath",
        )
    else:
        yield from _oxygen_left(now, now.oxygen_mg_l, demand)


def _oxygen_left(now: Situation, oxygen_mg_l: float, demand: float) -> Iterator[SafetyNote]:
    """Running aeration makes good what the bath takes, as long as it keeps the water near saturation now."""
    warmth = _WARM_C if now.temperature_c is None else now.temperature_c
    share = oxygen_mg_l / oxygen_saturation_mg_l(warmth, now.salinity_g_l or 0.0)
    lasts = "through the bath and three days after" if now.hours >= LEFT_IN_HOURS else "through the bath"
    reason = (
        f"the water holds {oxygen_mg_l:g} mg/L of oxygen, {100 * share:.0f} % of what it can hold, and the bath takes "
        f"about {demand:.1f} mg/L"
    )
    if now.aeration and share >= _SATURATED:
        yield caution(f"Aerate strongly {lasts}", reason, "a lower dose", "hatchery1982", "danger")
    elif oxygen_mg_l - demand < _OXYGEN_LEFT_MG_L:
        enough = "aeration that is running, and said so in the case"
        more = "aeration that keeps the water above 80 % of saturation"
        yield withhold(
            f"No {now.said} without strong aeration",
            reason,
            f"{enough if share >= _SATURATED else more}, a lower dose, or a bath in a spare tank",
            "hatchery1982",
            code="oxygen_short",
        )
    else:
        yield caution(f"Aerate {lasts}", reason, "a lower dose", "hatchery1982", "danger")


def _temperature(now: Situation) -> Iterator[SafetyNote]:
    ceiling = now.agent.ceiling
    limit, sources = ceiling.temperature_c, ", ".join(ceiling.sources)
    if limit is None:
        return
    if now.temperature_c is None:
        yield caution(
            "Measure the water temperature before dosing",
            f"{now.said} is not given above {limit:g} °C and no reading was given",
            "a reading",
            sources,
        )
    elif now.temperature_c > limit:
        yield withhold(
            f"Do not use {now.said} in water this warm",
            f"the water has {now.temperature_c:g} °C, more than the {limit:g} °C of {now.said}: "
            f"{ceiling.temperature_text}",
            "cooler water, or another agent",
            sources,
        )


def _alkalinity(now: Situation) -> Iterator[SafetyNote]:
    soft = now.alkalinity_mg_l_caco3 is not None and now.alkalinity_mg_l_caco3 < _ALKALINITY_MG_L
    if soft and _takes_oxygen(now):
        yield caution(
            "Measure pH before and each day after; have buffered water ready",
            f"alkalinity is {now.alkalinity_mg_l_caco3:g} mg/L CaCO3, and treated ponds lost up to 1.9 pH units",
            f"alkalinity above {_ALKALINITY_MG_L:g} mg/L CaCO3",
            "rowland2006, waterlimits",
        )


def _salt(now: Situation) -> Iterator[SafetyNote]:
    if now.salinity_g_l is not None and _SALT_G_L[0] <= now.salinity_g_l <= _SALT_G_L[1]:
        yield caution(
            "Do not count on the salt in the water",
            f"it holds {now.salinity_g_l:g} g/L, and at 3 g/L two live-bearing flukes of guppies grew faster than in "
            "fresh water: a little salt is no treatment",
            "water changes",
            "schelkle2011",
        )


def _hosts(now: Situation) -> Iterator[SafetyNote]:
    for species in now.species:
        advice = host_advice(now.agent, species, now.mg_l, now.hours, now.temperature_c)
        source = ", ".join(advice.sources) or "no data"
        if advice.over_limit or advice.advice == "avoid":
            yield withhold(
                f"Do not give {species} {now.said} at this strength",
                advice.text,
                "a lower dose or another agent",
                source,
            )
        elif advice.advice != "usable":
            kind = kind_in_plural(species)
            yield caution(
                f"Try {now.said} on a few {kind} first",
                f"there are no data on it in {kind}" if advice.advice == "no data" else advice.text,
                "a quiet trial for the planned time",
                source,
                "trial",
            )


def _findings(now: Situation) -> Iterator[SafetyNote]:
    if "virus_suspected" in now.findings:
        yield withhold(
            "Do not dose before the virus question is settled",
            "a virus is suspected: handling and dosing add stress, and some are notifiable",
            "a negative laboratory result",
            PRACTICE,
        )
    if "bacterial_gill_disease" in now.findings:
        yield _gill_disease(now)
    for row in now.agent.against:
        if row.finding in now.findings:
            yield _against(now.said, row)


def _gill_disease(now: Situation) -> SafetyNote:
    """Little gill is left: an agent that takes oxygen waits, others go on with care."""
    text, make = "Expect losses from the gills whatever the flukes do", caution
    if _takes_oxygen(now):
        text, make = f"No {now.said} before the gill disease is treated", withhold
    takes = f", and {now.said} takes oxygen" if _takes_oxygen(now) else ""
    return make(
        text,
        f"bacterial gill disease leaves little gill to spare for a bath{takes}",
        "treatment of the gill disease",
        PRACTICE,
    )


def _against(agent: str, row: OtherFinding) -> SafetyNote:
    """Say what an agent does to another finding of the case."""
    other = named(row.finding)
    need = "need a treatment of their" if is_plural(other) else "needs a treatment of its"
    does = {
        "yes": f"{agent} meets the {other} as well",
        "apart": f"{agent} meets the {other} too, but by dates of its own",
        "some": f"do not count on {agent} for the {other}",
        "no": f"the {other} {need} own: {agent} is none",
    }[row.works]
    how = {"common practice": PRACTICE, "memory": "from memory"}.get(row.known, "")
    source = ", ".join(filter(None, (how, *row.sources)))
    return caution(does[0].upper() + does[1:], f"{agent} {row.text}", "another diagnosis", source)


def _mixing(now: Situation) -> Iterator[SafetyNote]:
    if now.permanganate_used and now.agent.name == "formalin":
        yield withhold(
            "Never formalin with potassium permanganate",
            "potassium permanganate was used, and formalin with it is a danger of explosion and poisons the fish",
            "water changed and several days between",
            "uflpermanganate",
        )


def _total(now: Situation) -> Iterator[SafetyNote]:
    limit = now.max_formalin_mg_l_total
    if limit is None or now.agent.name != "formalin":
        return
    total = now.formalin_before_mg_l + now.mg_l
    if total > limit:
        yield withhold(
            "Do not dose: the limit set for formalin in this water would be passed",
            f"{now.formalin_before_mg_l:g} mg/L given before and {now.mg_l:g} mg/L now make {total:g} mg/L, "
            f"more than {limit:g} mg/L",
            "another agent, or a higher limit",
            "limit of the case",
        )


def _equipment(now: Situation) -> Iterator[SafetyNote]:
    if now.uv_or_carbon_on:
        yield caution(
            "Switch off ultraviolet light and ozone and take carbon out",
            "they take the agent from the water; how fast was not measured",
            "switching them off",
            PRACTICE,
        )
    if now.biofilter and _takes_oxygen(now):
        yield caution(
            "Isolate the biofilter or watch ammonia and nitrite for eight days",
            "nitrifiers were impaired by repeated doses and had not recovered after eight days at 100 mg/L",
            "a spare tank without the filter",
            "fredricks2018",
        )

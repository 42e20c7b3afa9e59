"""What speaks against a dose today: the water, the fish, what else was found, what else is in the water.

Takes plain numbers and knows no case. A note withholds the dose or cautions; each has its reason and its source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from burden.evidence import Agent, OtherFinding
from burden.treatment.host_tolerance import host_advice, oxygen_demand_mg_l, unionised_share
from burden.utils.formatting import named

__all__ = ["SafetyNote", "Situation", "safety_check"]

# limits of the water [mg/L], with their sources
_OXYGEN_MG_L = 5.0  # tpwd: above 5 for growth; fishhealth_texts, from memory: 5 to 6 and aerate before formalin
_OXYGEN_LEFT_MG_L = 4.0  # waterlimits, weak: above 4 for warm-water fish
_AMMONIA_SAFE_MG_L = 0.02  # tpwd
_AMMONIA_ACTION_MG_L = 0.05  # fishhealth_texts, from memory
_AMMONIA_ACUTE_MG_L = 0.6  # waterlimits, weak, warm-water fish
_NITRITE_MG_L = 0.1  # fishhealth_texts, from memory, soft fresh water
_ALKALINITY_MG_L = 50.0  # waterlimits, weak: 50 to 150 wanted
_CHLORIDE_SHARE = 0.55  # of sea salt, from memory; table salt holds 0.61
_CHLORIDE_PER_NITRITE = 10.0  # waterlimits: so many times the nitrite protects
_SALT_G_L = (1.0, 10.0)  # salted fresh water: above what is in tap water, below the sea: an assumption [g/L]
_NH3_PER_N = 17.031 / 14.007  # molar masses


_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class SafetyNote:
    """One reason to withhold a dose, or to take care.

    Parameters
    ----------
    level : str
        withhold or caution.
    text : str
        What to do.
    reason : str
        Why, with the number that says so.
    would_change : str
        What would lift it.
    source : str
        Reference key, or "common practice, no source", or "assumption".
    kind : str
        What it guards, one of `burden.evidence.cautions.KINDS`.
    """

    level: str
    text: str
    reason: str
    would_change: str
    source: str
    kind: str = "care"

    def as_dict(self) -> dict[str, str]:
        """Return the note as plain Python objects."""
        return asdict(self)

    def __str__(self) -> str:
        return f"{self.text}: {self.reason.rstrip('.')}. What would change it: {self.would_change} ({self.source})."


@dataclass(frozen=True)
class Situation:
    """A dose and the water, the fish and the findings it meets; None where not known.

    Parameters
    ----------
    agent : Agent
    mg_l, hours : float
        Dose [mg/L], [h].
    temperature_c, oxygen_mg_l, ph, total_ammonia_n_mg_l, nitrite_n_mg_l : float or None
        Water [°C], [mg/L], [-], [mg/L as N], [mg/L as N].
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
    """

    agent: Agent
    mg_l: float
    hours: float
    temperature_c: float | None = None
    oxygen_mg_l: float | None = None
    ph: float | None = None
    total_ammonia_n_mg_l: float | None = None
    nitrite_n_mg_l: float | None = None
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
    >>> notes[0].level, notes[0].text
    ('withhold', 'Do not dose before the oxygen is up')
    """
    known = {k: tuple(v) if k in ("species", "findings") and not isinstance(v, str) else v for k, v in known.items()}
    now = Situation(agent, mg_l, hours, **known)
    checks = (
        _oxygen,
        _temperature,
        _ammonia,
        _nitrite,
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


def _caution(text: str, reason: str, would_change: str, source: str, kind: str = "care") -> SafetyNote:
    return SafetyNote("caution", text, reason, would_change, source, kind)


def _withhold(text: str, reason: str, would_change: str, source: str, kind: str = "withhold") -> SafetyNote:
    return SafetyNote("withhold", text, reason, would_change, source, kind)


def _takes_oxygen(now: Situation) -> bool:
    return oxygen_demand_mg_l(now.agent, now.mg_l) > 0


def _oxygen(now: Situation) -> Iterator[SafetyNote]:
    demand = oxygen_demand_mg_l(now.agent, now.mg_l, now.hours)
    if now.oxygen_mg_l is None:
        if demand:
            yield _caution(
                "Measure oxygen before dosing",
                f"the bath takes about {demand:.1f} mg/L and no reading was given",
                "a reading of 5 to 6 mg/L or more, with aeration",
                "fishhealth_texts",
                "danger",
            )
        return
    least = _OXYGEN_MG_L if demand else _OXYGEN_LEFT_MG_L
    if now.oxygen_mg_l < least:
        yield _withhold(
            "Do not dose before the oxygen is up",
            f"oxygen is {now.oxygen_mg_l:g} mg/L now, below the {least:g} mg/L a bath of {now.said} asks for",
            f"aeration and a reading above {_OXYGEN_MG_L:g} mg/L",
            "fishhealth_texts",
        )
    elif now.oxygen_mg_l < _OXYGEN_MG_L:
        yield _caution(
            "Aerate first",
            f"oxygen is {now.oxygen_mg_l:g} mg/L",
            f"a reading above {_OXYGEN_MG_L:g} mg/L",
            "tpwd",
            "danger",
        )
    elif now.oxygen_mg_l - demand < _OXYGEN_LEFT_MG_L and demand:
        yield _oxygen_left(now, now.oxygen_mg_l, demand)


def _oxygen_left(now: Situation, oxygen_mg_l: float, demand: float) -> SafetyNote:
    make, text = (
        (_caution, "Aerate strongly through the bath and three days after")
        if now.aeration
        else (_withhold, "Do not dose without strong aeration")
    )
    return make(
        text,
        f"oxygen of {oxygen_mg_l:g} mg/L less the {demand:.1f} mg/L that {now.said} takes leaves "
        f"{oxygen_mg_l - demand:.1f} mg/L",
        "strong aeration, a lower dose, or a short bath in a spare tank",
        "hatchery1982",
        "danger" if now.aeration else "withhold",
    )


def _temperature(now: Situation) -> Iterator[SafetyNote]:
    ceiling = now.agent.ceiling
    limit, sources = ceiling.temperature_c, ", ".join(ceiling.sources)
    if limit is None:
        return
    if now.temperature_c is None:
        yield _caution(
            "Measure the water temperature before dosing",
            f"{now.said} is not given above {limit:g} °C and no reading was given",
            "a reading",
            sources,
        )
    elif now.temperature_c > limit:
        yield _withhold(
            f"Do not use {now.said} in water this warm",
            f"the water has {now.temperature_c:g} °C, more than the {limit:g} °C of {now.said}: "
            f"{ceiling.temperature_text}",
            "cooler water, or another agent",
            sources,
        )


def _ammonia(now: Situation) -> Iterator[SafetyNote]:
    if now.total_ammonia_n_mg_l is None or now.ph is None:
        return
    # no temperature: 30 °C, the end of the fitted range, where the share is largest
    warmth = 30.0 if now.temperature_c is None else now.temperature_c
    free = now.total_ammonia_n_mg_l * unionised_share(now.ph, warmth) * _NH3_PER_N
    why = f"{now.total_ammonia_n_mg_l:g} mg/L total ammonia nitrogen at pH {now.ph:g} and {warmth:g} °C"
    reason = f"un-ionised ammonia is about {free:.3f} mg/L ({why})"
    change = f"water changes until it is below {_AMMONIA_SAFE_MG_L:g} mg/L"
    stop = _AMMONIA_ACTION_MG_L if _takes_oxygen(now) else _AMMONIA_ACUTE_MG_L
    if free > stop:
        source = "fishhealth_texts" if stop == _AMMONIA_ACTION_MG_L else "waterlimits"
        yield _withhold("Do not dose before the ammonia is down", reason, change, f"{source}, emerson1975")
    elif free > _AMMONIA_SAFE_MG_L:
        yield _caution(
            "Bring the ammonia down first; it harms gills as flukes do", reason, change, "tpwd, emerson1975", "water"
        )


def _nitrite(now: Situation) -> Iterator[SafetyNote]:
    if now.nitrite_n_mg_l is None:
        return
    chloride_mg_l = 1000 * _CHLORIDE_SHARE * (now.salinity_g_l or 0.0)  # keeps nitrite out of the gills
    if now.nitrite_n_mg_l > max(_NITRITE_MG_L, chloride_mg_l / _CHLORIDE_PER_NITRITE):
        yield _caution(
            "Bring the nitrite down first, or add chloride",
            f"nitrite is {now.nitrite_n_mg_l:g} mg/L as N, above {_NITRITE_MG_L:g} mg/L",
            f"water changes until it is below {_NITRITE_MG_L:g} mg/L; salt, with {_CHLORIDE_PER_NITRITE:g} times as "
            "much chloride, protects",
            "fishhealth_texts, waterlimits",
            "water",
        )


def _alkalinity(now: Situation) -> Iterator[SafetyNote]:
    soft = now.alkalinity_mg_l_caco3 is not None and now.alkalinity_mg_l_caco3 < _ALKALINITY_MG_L
    if soft and _takes_oxygen(now):
        yield _caution(
            "Measure pH before and each day after; have buffered water ready",
            f"alkalinity is {now.alkalinity_mg_l_caco3:g} mg/L CaCO3, and treated ponds lost up to 1.9 pH units",
            f"alkalinity above {_ALKALINITY_MG_L:g} mg/L CaCO3",
            "rowland2006, waterlimits",
        )


def _salt(now: Situation) -> Iterator[SafetyNote]:
    if now.salinity_g_l is not None and _SALT_G_L[0] <= now.salinity_g_l <= _SALT_G_L[1]:
        yield _caution(
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
            yield _withhold(f"Do not give {species} this dose", advice.text, "a lower dose or another agent", source)
        elif advice.advice != "usable":
            yield _caution(
                f"Try {now.said} on a few {species} first",
                advice.text,
                "a quiet trial for the planned time",
                source,
                "trial",
            )


def _findings(now: Situation) -> Iterator[SafetyNote]:
    if "virus_suspected" in now.findings:
        yield _withhold(
            "Do not dose before the virus question is settled",
            "a virus is suspected: handling and dosing add stress, and some are notifiable",
            "a negative laboratory result",
            _PRACTICE,
        )
    if "bacterial_gill_disease" in now.findings:
        yield _gill_disease(now)
    for row in now.agent.against:
        if row.finding in now.findings:
            yield _against(now.said, row)


def _gill_disease(now: Situation) -> SafetyNote:
    """Little gill is left: an agent that takes oxygen waits, others go on with care."""
    text, make = "Expect losses from the gills whatever the flukes do", _caution
    if _takes_oxygen(now):
        text, make = f"No {now.said} before the gill disease is treated", _withhold
    takes = f", and {now.said} takes oxygen" if _takes_oxygen(now) else ""
    return make(
        text,
        f"bacterial gill disease leaves little gill to spare for a bath{takes}",
        "treatment of the gill disease",
        _PRACTICE,
    )


def _against(agent: str, row: OtherFinding) -> SafetyNote:
    """Say what an agent does to another finding of the case."""
    other = named(row.finding)
    need = "need a treatment of their" if other.endswith("s") and other != "fungus" else "needs a treatment of its"
    does = {
        "yes": f"{agent} meets the {other} as well",
        "some": f"do not count on {agent} for the {other}",
        "no": f"the {other} {need} own: {agent} is none",
    }[row.works]
    how = {"common practice": _PRACTICE, "memory": "from memory"}.get(row.known, "")
    source = ", ".join(filter(None, (how, *row.sources)))
    return _caution(does[0].upper() + does[1:], f"{agent} {row.text}", "another diagnosis", source)


def _mixing(now: Situation) -> Iterator[SafetyNote]:
    if now.permanganate_used and now.agent.name == "formalin":
        yield _withhold(
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
        yield _withhold(
            "Do not dose: the limit set for formalin in this water would be passed",
            f"{now.formalin_before_mg_l:g} mg/L given before and {now.mg_l:g} mg/L now make {total:g} mg/L, "
            f"more than {limit:g} mg/L",
            "another agent, or a higher limit",
            "limit of the case",
        )


def _equipment(now: Situation) -> Iterator[SafetyNote]:
    if now.uv_or_carbon_on:
        yield _caution(
            "Switch off ultraviolet light and ozone and take carbon out",
            "they take the agent from the water; how fast was not measured",
            "switching them off",
            _PRACTICE,
        )
    if now.biofilter and _takes_oxygen(now):
        yield _caution(
            "Isolate the biofilter or watch ammonia and nitrite for eight days",
            "nitrifiers were impaired by repeated doses and had not recovered after eight days at 100 mg/L",
            "a spare tank without the filter",
            "fredricks2018",
        )

"""Hosts and water against an agent: who bears it badly, how much oxygen it takes, how long before anyone may eat."""

from __future__ import annotations

import re
from dataclasses import dataclass

from burden.evidence import Agent, HostGroup
from burden.utils.formatting import kind_in_plural, named

__all__ = [
    "HostAdvice",
    "host_advice",
    "lower_dose_mg_l",
    "short_limit_mg_l",
    "withdrawal_days",
    "withdrawal_text",
]

_SHORT_BATH_HOURS = 3.0  # up to which a limit for short baths holds: the longest short bath any source gives


@dataclass(frozen=True)
class HostAdvice:
    """What is known of an agent in one group of hosts.

    Parameters
    ----------
    group, advice, text : str
        Group; usable, lower dose, avoid or no data; and the sentence to print.
    over_limit : bool
        Whether the dose asked about is above the group's limit.
    known : str
        How it is known.
    sources : tuple of str
        Reference keys.
    """

    group: str
    advice: str
    text: str
    over_limit: bool
    known: str
    sources: tuple[str, ...] = ()


def host_advice(
    agent: Agent,
    species: str,
    mg_l: float,
    hours: float | None = None,
    temperature_c: float | None = None,
) -> HostAdvice:
    """Say what is known of an agent in a host.

    Parameters
    ----------
    agent : Agent
    species : str
        Common or scientific name.
    mg_l : float
        Dose [mg/L].
    hours : float, optional
        Length of the bath: limits of short baths hold up to 3 h [h].
    temperature_c : float, optional
        A limit that holds in warm water only holds where this is not given [°C].

    Returns
    -------
    HostAdvice
        "no data" for a host no row names.

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> host_advice(load_agent("formalin"), "striped bass", 25.0, 24.0).advice
    'avoid'
    """
    group = _group_of(agent, species)
    if group is not None:
        return _group_advice(group, mg_l, hours, temperature_c)
    who = kind_in_plural(species)
    text = f"No data on {named(agent.name)} in {who}: try it on a few fish first, for the planned time."
    return HostAdvice(species, "no data", text, False, "no data")


def short_limit_mg_l(agent: Agent, species: str, temperature_c: float | None = None) -> float:
    """Return the most that a host bears for an hour or so; infinite where no row names a limit [mg/L].

    Parameters
    ----------
    agent : Agent
    species : str
        Common or scientific name.
    temperature_c : float, optional
        A limit that holds in warm water only holds where this is not given [°C].

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> short_limit_mg_l(load_agent("formalin"), "koi")
    100.0
    >>> short_limit_mg_l(load_agent("formalin"), "rainbow trout", 12.0)
    167.0
    >>> short_limit_mg_l(load_agent("formalin"), "rainbow trout", 9.0)
    inf
    """
    group = _group_of(agent, species)
    limits = () if group is None or _too_cool(group, temperature_c) else (group.max_mg_l_short, group.max_mg_l)
    return next((limit for limit in limits if limit is not None), float("inf"))


def lower_dose_mg_l(agent: Agent, species: str) -> float | None:
    """Return the limit of a host for which a lower dose than the customary one is advised; None for others [mg/L].

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> lower_dose_mg_l(load_agent("praziquantel"), "koi fry"), lower_dose_mg_l(load_agent("praziquantel"), "koi")
    (2.0, None)
    """
    group = _group_of(agent, species)
    return group.max_mg_l if group is not None and group.advice == "lower dose" else None


def _too_cool(group: HostGroup, temperature_c: float | None) -> bool:
    """Whether a limit that holds in warm water alone does not hold."""
    warm_from = group.above_temperature_c
    return temperature_c is not None and warm_from is not None and temperature_c <= warm_from


def _group_of(agent: Agent, species: str) -> HostGroup | None:
    """The group of hosts whose words name the species most closely: grass carp fry before carp fry before carp."""
    name = species.lower()
    named_by = [
        (len(word), group)
        for group in agent.host_groups
        for word in group.words
        if re.search(rf"\b{re.escape(word)}(s|es)?\b", name)
    ]
    return max(named_by, key=lambda one: one[0], default=(0, None))[1]


def _group_advice(group: HostGroup, mg_l: float, hours: float | None, temperature_c: float | None) -> HostAdvice:
    short = hours is not None and hours <= _SHORT_BATH_HOURS
    limit = group.max_mg_l_short if short and group.max_mg_l_short is not None else group.max_mg_l
    cool = _too_cool(group, temperature_c)
    over = limit is not None and not cool and mg_l > limit
    how = {"common practice": "common practice, no source", "memory": "from memory"}.get(group.known, "")
    source = ", ".join(filter(None, (how, *group.sources)))
    bound = f" Limit here {limit:g} mg/L." if over else ""
    text = f"{group.name.capitalize()}: {group.advice}. Known: {group.text} ({source}).{bound}"
    return HostAdvice(group.name, group.advice, text, over, group.known, group.sources)


def withdrawal_days(degree_days: float, temperature_c: float) -> float | None:
    """Days a withdrawal lasts at one temperature; None at 0 °C and below, where it never ends [d].

    Examples
    --------
    >>> withdrawal_days(500.0, 20.0)
    25.0
    """
    return degree_days / temperature_c if temperature_c > 0 else None


def withdrawal_text(agent: Agent, temperature_c: float | None) -> str:
    """Say what a food fish needs before anyone eats it."""
    rule = agent.withdrawal
    if rule.degree_days == 0:
        return f"Food fish: {rule.text}."
    days = None if temperature_c is None else withdrawal_days(rule.degree_days, temperature_c)
    here = "" if days is None else f", {days:.0f} d at {temperature_c:g} °C"
    return (
        f"Food fish: local rules and the licensed veterinarian decide whether this agent may be used at all and how "
        f"long nobody may eat the fish. As an example, {rule.degree_days:g} degree-days{here}: {rule.text}."
    )

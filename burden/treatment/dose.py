"""How much to weigh or measure out, and what to print beside it.

The dose is proportional to the volume, so a wrong volume is a wrong dose. A dose no source gives is refused unless it
is accepted in so many words.
"""

from __future__ import annotations

from burden.evidence import Agent, DoseRange, load_agent
from burden.treatment.dose_cautions import dose_cautions, product_of
from burden.treatment.dose_result import DoseReason, DoseResult, stock_solution
from burden.treatment.host_tolerance import HostAdvice, host_advice
from burden.treatment.published_dose import DoseAsked, bath_hours, impossible, published_range, unpublished
from burden.utils.errors import InputError

__all__ = ["dose"]


def dose(
    agent: Agent | str,
    volume_l: float,
    mg_l: float | None = None,
    strength_percent: float | None = None,
    route: str = "bath",
    hours: float | None = None,
    accept_unpublished: bool = False,
    temperature_c: float | None = None,
    species: str | None = None,
    volume_range_l: tuple[float, float] | None = None,
    food_fish: bool = False,
    where: str = "command line",
    filter_kind: str | None = None,
) -> DoseResult:
    """Work out what to weigh or measure out.

    Parameters
    ----------
    agent : Agent or str
        From `burden.evidence.load_agent`, or its name.
    volume_l : float
        Total water, filter, sump and pipes included [L].
    mg_l : float, optional
        Concentration, as the agent's basis words it; the customary one when not given [mg/L].
    strength_percent : float, optional
        Active substance in the product; 100 for solids and 37 for formalin when not given [%].
    route : str
        bath or dip.
    hours : float, optional
        Length of the bath; from the published range the dose falls in when not given [h].
    accept_unpublished : bool
        Work out a dose no source gives all the same.
    temperature_c : float, optional
        Water; where limits depend on it and it is not given, the warm-water limit holds [°C].
    species : str, optional
        Host, for its own limits and advice.
    volume_range_l : tuple of float, optional
        What the volume may be [L].
    food_fish : bool
        Print the withdrawal.
    where : str
        File named in a problem.
    filter_kind : str, optional
        none, naive or adapted; what fades within the bath is said for one new to the agent when not given.

    Returns
    -------
    DoseResult

    Raises
    ------
    InputError
        With every problem of the input; a dose outside every published range is one.

    Notes
    -----
    mass = mg_l × volume_l. A solid product weighs mass × 100 / strength; formalin measures
    mass / density × 37 / strength, density that of 37 % solution, at other strengths too.

    Examples
    --------
    >>> result = dose("formalin", 1000.0, 25.0)
    >>> result.mass_g, round(result.product_ml, 1)
    (25.0, 22.9)
    """
    agent = load_agent(agent) if isinstance(agent, str) else agent
    asked = DoseAsked(
        agent=agent,
        volume_l=volume_l,
        mg_l=agent.customary.mg_l if mg_l is None else mg_l,
        customary=mg_l is None,
        strength_percent=agent.default_strength_percent if strength_percent is None else strength_percent,
        strength_given=strength_percent is not None,
        route=route,
        hours=hours,
        temperature_c=temperature_c,
        species=species,
        volume_range_l=volume_range_l,
        food_fish=food_fish,
        where=where,
        filter_kind=filter_kind or "naive",
    )
    return _answer(asked, accept_unpublished)


def _answer(asked: DoseAsked, accept_unpublished: bool) -> DoseResult:
    if problems := impossible(asked):
        raise InputError(problems)
    found = published_range(asked)
    advice = None
    if asked.species is not None:
        advice = host_advice(asked.agent, asked.species, asked.mg_l, bath_hours(asked, found), asked.temperature_c)
    if not accept_unpublished and (problems := unpublished(asked, found, advice)):
        raise InputError(problems)
    return _result(asked, found, advice)


def _result(asked: DoseAsked, found: DoseRange | None, advice: HostAdvice | None) -> DoseResult:
    agent = asked.agent
    mass_mg = asked.mg_l * asked.volume_l
    product_g, product_ml = product_of(asked, mass_mg / 1000)
    return DoseResult(
        agent=asked.agent.name,
        title=asked.agent.title,
        route=asked.route,
        volume_l=float(asked.volume_l),
        mg_l=float(asked.mg_l),
        hours=bath_hours(asked, found),
        mass_mg=mass_mg,
        mass_g=mass_mg / 1000,
        product_g=product_g,
        product_ml=product_ml,
        strength_percent=float(asked.strength_percent),
        mass_of=agent.mass_of,
        basis=agent.basis,
        why=_why(asked, found),
        cautions=tuple(dose_cautions(asked, found, advice)),
        stock_solution=stock_solution(product_g, product_ml),
        sources=found.sources if found else (),
    )


def _why(asked: DoseAsked, found: DoseRange | None) -> DoseReason:
    if asked.customary:
        return DoseReason("customary", asked.agent.customary.text)
    return DoseReason("unpublished") if found is None else DoseReason("published", found.text, found.sources)

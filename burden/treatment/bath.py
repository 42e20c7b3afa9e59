"""One bath in the form every solver takes it: what it kills at once, and what it leaves in the water."""

from __future__ import annotations

import numpy as np

from burden.evidence import Agent
from burden.model.dose_effect import DoseEffect
from burden.treatment.concentration import effective_hours
from burden.treatment.efficacy import FORMS, KillDraws, hazard_per_day, kill
from burden.utils.random_streams import uniform_draws

__all__ = ["bath_effect", "loss_draws"]

# names of the losses by what a case says of its filter
_FILTERS = {"none": "loss_per_day_none", "naive": "loss_per_day_naive", "adapted": "loss_per_day_adapted"}


def loss_draws(
    agent: Agent,
    filter_kind: str | None,
    n: int,
    seed: int,
    met_before: bool = False,
    uv_or_carbon_on: bool = False,
) -> np.ndarray:
    """Draw how fast the water loses an agent, exchange aside.

    Parameters
    ----------
    agent : Agent
    filter_kind : str or None
        none, naive or adapted, as the case says; None where it does not: each draw takes one of the three.
    n, seed : int
        Draws and seed.
    met_before : bool
        Whether the filter has met this agent since: a naive one is then adapted.
    uv_or_carbon_on : bool
        Whether carbon, ultraviolet light or ozone stays on.

    Returns
    -------
    numpy.ndarray
        Shape (n,) [1/d].

    Raises
    ------
    KeyError
        For a filter of another name.

    Notes
    -----
    The three losses share the quantile of a draw, so a draw that fades fast in one filter does so in another.

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> agent = load_agent("praziquantel")
    >>> naive, later = (loss_draws(agent, "naive", 500, 1, met_before=met) for met in (False, True))
    >>> bool(np.all(later > naive))
    True
    """
    u = uniform_draws(f"loss:{agent.name}", n, seed)
    kinds = dict(_FILTERS, naive=_FILTERS["adapted"]) if met_before else _FILTERS
    by_kind = {kind: agent.values[name].quantile(u) for kind, name in kinds.items()}
    if filter_kind is None:
        which = (3 * uniform_draws(f"filter:{agent.name}", n, seed)).astype(int)
        loss = np.choose(which, [by_kind[kind] for kind in _FILTERS])
    else:
        loss = by_kind[filter_kind]
    added = agent.values["loss_per_day_carbon"].draw(n, seed, salt=agent.name) if uv_or_carbon_on else 0.0
    return loss + added


def bath_effect(
    draws: KillDraws,
    mg_l: float | np.ndarray | None = None,
    hours: float | None = None,
    loss_per_day: float | np.ndarray = 0.0,
    left_in_water: bool = True,
) -> DoseEffect:
    """Turn a bath into its effect on the stages.

    Parameters
    ----------
    draws : KillDraws
        From `burden.treatment.efficacy_fit.draw_kill` or `unknown_kill`.
    mg_l : float or array_like or None
        Concentration at the start; None where nobody wrote it down [mg/L].
    hours : float or None
        Length of the bath; None: the customary [h].
    loss_per_day : float or array_like
        Breakdown and exchange together, scalar or shape (draws,) [1/d].
    left_in_water : bool
        Whether the water stays as it is afterwards; a bath that is flushed out, and a dip, leave nothing.

    Returns
    -------
    DoseEffect

    Notes
    -----
    At once: the kill of the bath's own hours, fading included. Afterwards larvae die at the hazard of what is
    still dissolved, and a settler is killed as a sheltered juvenile by all that is left from then on; both fade
    at γ times the loss, as the hazard goes with c^γ. Juveniles that leave their shelter into what is left are
    not killed again: the cautious choice.

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> from burden.treatment.efficacy_fit import draw_kill
    >>> effect = bath_effect(draw_kill(load_agent("praziquantel"), 100, 1), 5.0, 24.0, loss_per_day=0.5)
    >>> bool(effect.kill_of("adult").mean() > 0.9), effect.fade_per_day.shape
    (True, (100,))
    """
    start = draws.customary_mg_l * draws.dose_factor if mg_l is None else np.asarray(mg_l, float)
    length = draws.customary_hours if hours is None else hours
    loss = np.broadcast_to(np.asarray(loss_per_day, float), (draws.n,))
    acting = effective_hours(loss, length, draws.exponent)
    effect = DoseEffect(
        by_form={form: kill(draws, form, start, acting) for form in FORMS if form != "juvenile_sheltered"},
        sheltered_kill=kill(draws, "juvenile_sheltered", start, acting),
        sheltered_fraction=draws.sheltered_fraction,
        larva_hazard=hazard_per_day(draws, "larva", start),
        settler_kill=kill(draws, "juvenile_sheltered", start, effective_hours(loss, np.inf, draws.exponent)),
        fade_per_day=draws.exponent * loss,
    )
    # an unknown agent has no concentration that could fade: its drawn kill is all it does
    known = bool(np.all(draws.exponent > 0))
    return effect if left_in_water and known else effect.without_residue()

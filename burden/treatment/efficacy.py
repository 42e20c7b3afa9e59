"""What a dose kills.

A fluke within reach of the water dies at a hazard that grows with a power of the concentration, below 1
for an agent where long and low beats short and high. A refractory share outlives any dose; the youngest
juveniles sit sheltered. All of it is uncertain and tied together: the same points are met by a strong
agent on many sheltered flukes or a weaker one on few. So the draws come from one posterior, weighted by
the published points, and keep that ridge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from burden.evidence import Agent, KillPoint, Value
from burden.utils.errors import CannotAnswerError
from burden.utils.random_streams import uniform_draws

__all__ = [
    "FORMS",
    "KillDraws",
    "attached_kill",
    "draw_kill",
    "hazard_per_day",
    "kill",
    "kill_after_exposure",
    "kill_points",
    "log_likelihood",
    "pool",
    "predict",
    "unknown_kill",
]

#: forms a dose can meet; young and mother are live-bearers, all of them within reach
FORMS = ("adult", "juvenile", "juvenile_sheltered", "larva", "egg", "fresh_egg", "young", "mother")
#: parameters drawn before the points are seen; the last four are shares killed by the customary bath
_PARAMETERS = (
    "hazard_per_hour",
    "exponent",
    "refractory_share",
    "sheltered_fraction",
    "attached_juvenile_share",
    "sheltered_kill",
    "larva_kill",
    "egg_kill",
    "fresh_egg_kill",
)
_AT_CUSTOMARY = {
    "juvenile_sheltered": "sheltered_kill",
    "larva": "larva_kill",
    "egg": "egg_kill",
    "fresh_egg": "fresh_egg_kill",
}
_POOL = 2**17  # prior draws weighed; leaves some thousand worth of draws after weighting
_POOL_SEED = 20_240_601  # the pool is part of the fit, not of a run: a run's seed only picks from it
_DOSE_FACTOR = 3.0  # a dose nobody wrote down: 5 and 95 % at a third and thrice the customary, an assumption
_Z95 = 1.6448536269514722


@dataclass(frozen=True)
class KillDraws:
    """Draws of what one agent does; every array has shape (draws,).

    Parameters
    ----------
    name : str
        Agent.
    reference_mg_l, customary_mg_l, customary_hours : float
        Where the hazard is stated [mg/L], and the customary bath [mg/L], [h].
    hazard_per_hour : numpy.ndarray
        Of an exposed attached fluke at the reference concentration [1/h].
    exponent : numpy.ndarray
        Power of the concentration [-].
    refractory_share : numpy.ndarray
        Exposed flukes that outlive any dose [-].
    sheltered_fraction : numpy.ndarray
        Youngest share of the juvenile development that is sheltered [-].
    at_customary : mapping of str to numpy.ndarray
        Share killed by the customary bath, for sheltered juveniles, larvae, eggs and new eggs [-].
    attached_juvenile_share : numpy.ndarray
        Juveniles among the attached flukes of the trials [-].
    dose_factor : numpy.ndarray
        Concentration over the customary one, where nobody wrote the dose down [-].
    between_study_factor : float
        A study's hazard lies within this factor of the common one, 5 to 95 %; 1 once its own is in [-].
    effective_draws : float
        Draws the pool is worth after weighting by the points.
    sources : tuple of str
        Reference keys.
    """

    name: str
    reference_mg_l: float
    customary_mg_l: float
    customary_hours: float
    hazard_per_hour: np.ndarray
    exponent: np.ndarray
    refractory_share: np.ndarray
    sheltered_fraction: np.ndarray
    at_customary: Mapping[str, np.ndarray]
    attached_juvenile_share: np.ndarray
    dose_factor: np.ndarray
    between_study_factor: float = 1.0
    effective_draws: float = float("nan")
    sources: tuple[str, ...] = field(default=())

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.hazard_per_hour)

    def exposure(self, mg_l: float | np.ndarray | None, hours: float | np.ndarray | None) -> np.ndarray:
        """Hours at the reference concentration that kill as much, shape (draws,) [h].

        Parameters
        ----------
        mg_l : float or array_like or None
            Concentration, held for `hours`; None where nobody wrote it down [mg/L].
        hours : float or array_like or None
            Exposure; None stands for the customary bath [h].
        """
        if mg_l is None:
            mg_l = self.customary_mg_l * self.dose_factor
        if hours is None:
            hours = self.customary_hours
        relative = np.asarray(mg_l, float) / self.reference_mg_l
        return np.broadcast_to(relative**self.exponent * np.asarray(hours, float), (self.n,))


def kill_points(agent: Agent) -> tuple[KillPoint, ...]:
    """Return the published kills of an agent, in the order of its file."""
    return agent.kill_points


def draw_kill(agent: Agent, n: int, seed: int) -> KillDraws:
    """Draw what an agent kills, weighted by its published points.

    Parameters
    ----------
    agent : Agent
        From `burden.evidence.load_agent`.
    n : int
        Number of draws.
    seed : int
        Seed of the run.

    Returns
    -------
    KillDraws
        Equally weighted draws.

    Raises
    ------
    CannotAnswerError
        For an agent whose file has no kill model.

    Notes
    -----
    Sampling-importance resampling: a fixed pool of prior draws is weighted by a normal likelihood of each
    fitted point (a one-sided one for "at least" and "at most"), and the run picks from it. Each study has a
    hazard of its own around the common one, and so has the water of the case. The first draws stay the same
    when `n` grows. Beyond `effective_draws` picks repeat.

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> draws = draw_kill(load_agent("praziquantel"), 200, 1)
    >>> bool(kill(draws, "adult", 5.0, 24.0).mean() > kill(draws, "juvenile_sheltered", 5.0, 24.0).mean())
    True
    """
    everything, weights = pool(agent)
    cumulative = np.cumsum(weights)
    chosen = np.searchsorted(cumulative, uniform_draws(f"kill:{agent.name}", n, seed) * cumulative[-1])
    drawn = _take(everything, chosen)
    this_water = _log_normal(f"this water:{agent.name}", everything.between_study_factor, n, seed)
    return replace(
        drawn,
        hazard_per_hour=drawn.hazard_per_hour * this_water,
        between_study_factor=1.0,
        dose_factor=_log_normal(f"unrecorded dose:{agent.name}", _DOSE_FACTOR, n, seed),
        effective_draws=float(weights.sum() ** 2 / (weights**2).sum()),
    )


def pool(agent: Agent, left_out: KillPoint | None = None) -> tuple[KillDraws, np.ndarray]:
    """Return the prior draws of an agent and their weights given its fitted points, but for one left out.

    Raises
    ------
    CannotAnswerError
        For an agent whose file has no kill model.
    """
    missing = [name for name in _PARAMETERS if name not in agent.values]
    if missing:
        raise CannotAnswerError(f"nobody measured what {agent.name} kills: no {', '.join(missing)}")
    values = tuple(agent.values[name] for name in _PARAMETERS)
    bath = agent.customary
    fitted = tuple(p for p in kill_points(agent) if p.role == "fitted" and p != left_out)
    scales = (agent.reference_mg_l, bath.mg_l, bath.hours, agent.between_study_factor)
    return _pool(agent.name, values, fitted, *scales)


@lru_cache(maxsize=32)
def _pool(
    name: str,
    values: tuple[Value, ...],
    fitted: tuple[KillPoint, ...],
    reference_mg_l: float,
    customary_mg_l: float,
    customary_hours: float,
    between_study_factor: float,
) -> tuple[KillDraws, np.ndarray]:
    drawn = {v.name: v.draw(_POOL, _POOL_SEED, salt=f"{name}:") for v in values}
    prior = KillDraws(
        name,
        reference_mg_l,
        customary_mg_l,
        customary_hours,
        drawn["hazard_per_hour"],
        drawn["exponent"],
        drawn["refractory_share"],
        drawn["sheltered_fraction"],
        {form: drawn[key] for form, key in _AT_CUSTOMARY.items()},
        drawn["attached_juvenile_share"],
        np.ones(_POOL),
        between_study_factor,
        sources=tuple(sorted({key for v in values for key in v.sources} | {k for p in fitted for k in p.sources})),
    )
    log_weight = sum((log_likelihood(p, prior) for p in fitted), np.zeros(_POOL))
    return prior, np.exp(log_weight - np.max(log_weight))


def log_likelihood(point: KillPoint, draws: KillDraws) -> np.ndarray:
    """Log-likelihood of one point under each draw, up to a constant, shape (draws,)."""
    from scipy.special import log_ndtr

    z = (predict(point, draws) - point.kill) / point.scatter
    if point.relation == "at_least":
        return log_ndtr(z)
    if point.relation == "at_most":
        return log_ndtr(-z)
    return -0.5 * z**2


def predict(point: KillPoint, draws: KillDraws) -> np.ndarray:
    """Kill the model gives for a point in the hands of its own study, shape (draws,) [-]."""
    study = _log_normal(f"study:{point.sources[0]}", draws.between_study_factor, draws.n, _POOL_SEED)
    draws = replace(draws, hazard_per_hour=draws.hazard_per_hour * study)
    low, high = np.log(point.hours)
    u = uniform_draws(f"hours:{point.conditions}", draws.n, _POOL_SEED)
    hours = np.exp(low + (high - low) * u)
    if point.form == "attached":
        return attached_kill(draws, point.mg_l, hours)
    return kill(draws, point.form, point.mg_l, hours)


def kill(draws: KillDraws, form: str, mg_l: float | np.ndarray | None, hours: float | np.ndarray | None) -> np.ndarray:
    """Share of one form that a bath kills.

    Parameters
    ----------
    draws : KillDraws
        From `draw_kill` or `unknown_kill`.
    form : str
        A key of `FORMS`; "juvenile" is one past the sheltered age.
    mg_l : float or array_like or None
        Concentration, held for `hours`; None where nobody wrote it down [mg/L].
    hours : float or array_like or None
        Exposure, for a fading agent from `burden.treatment.concentration.effective_hours`; None: the customary [h].

    Returns
    -------
    numpy.ndarray
        Share killed, shape (draws,) [-].

    Raises
    ------
    KeyError
        For a form that is none.

    Notes
    -----
    For exposed forms κ = (1 − ω)(1 − exp(−h (c/c_ref)^γ t)); for the others the share killed by the customary
    bath is scaled as a hazard: κ = 1 − (1 − κ_0)^(E/E_0), with E = (c/c_ref)^γ t.
    """
    return kill_after_exposure(draws, form, draws.exposure(mg_l, hours))


def kill_after_exposure(draws: KillDraws, form: str, exposure: np.ndarray) -> np.ndarray:
    """Share of one form killed by an exposure, as `KillDraws.exposure` counts it, shape (draws,) [-]."""
    if form not in FORMS:
        raise KeyError(form)
    exposed = (1.0 - draws.refractory_share) * -np.expm1(-draws.hazard_per_hour * exposure)
    if form not in _AT_CUSTOMARY:
        return exposed
    own = -np.expm1(-_own_hazard(draws, form, exposure))
    # drawn apart, but a sheltered fluke cannot be worse off than one in the open
    return np.minimum(own, exposed) if form == "juvenile_sheltered" else own


def hazard_per_day(draws: KillDraws, form: str, mg_l: float | np.ndarray) -> np.ndarray:
    """Hazard of death of one form while the agent is in the water at `mg_l`, shape (draws,) [1/d].

    For flukes that settle, and larvae that hatch, into water where the agent is still fading; the refractory
    share among them does not die at all.
    """
    an_hour = draws.exposure(mg_l, 1.0)
    exposed = draws.hazard_per_hour * an_hour
    if form not in _AT_CUSTOMARY:
        return 24.0 * exposed
    own = _own_hazard(draws, form, an_hour)
    return 24.0 * (np.minimum(own, exposed) if form == "juvenile_sheltered" else own)


def _own_hazard(draws: KillDraws, form: str, exposure: np.ndarray) -> np.ndarray:
    """Hazard over an exposure of a form that is scaled from the share its customary bath kills, shape (draws,) [-]."""
    return -np.log1p(-draws.at_customary[form]) * exposure / draws.exposure(draws.customary_mg_l, None)


def attached_kill(draws: KillDraws, mg_l: float | np.ndarray | None, hours: float | np.ndarray | None) -> np.ndarray:
    """Share of all attached flukes killed, in the stage mix of the trials, shape (draws,) [-]."""
    sheltered = draws.attached_juvenile_share * draws.sheltered_fraction
    exposed = kill(draws, "adult", mg_l, hours)
    return (1.0 - sheltered) * exposed + sheltered * kill(draws, "juvenile_sheltered", mg_l, hours)


def unknown_kill(n: int, seed: int) -> KillDraws:
    """Draw what a dose of nobody knows what has killed.

    Parameters
    ----------
    n, seed : int
        Number of draws and seed of the run.

    Returns
    -------
    KillDraws
        Kill of everything attached uniform from 0 to 0.97, whatever the concentration and the hours;
        sheltered juveniles, larvae and eggs a uniform share of that. An assumption.
    """
    top = 0.97 * uniform_draws("unknown agent:kill", n, seed)
    share = {form: top * uniform_draws(f"unknown agent:{form}", n, seed) for form in _AT_CUSTOMARY}
    # a hazard no exposure leaves alive, and an exponent of 0, make the kill 1 − refractory share at any dose
    return KillDraws(
        name="unknown",
        reference_mg_l=1.0,
        customary_mg_l=1.0,
        customary_hours=24.0,
        hazard_per_hour=np.full(n, 1e6),
        exponent=np.zeros(n),
        refractory_share=1.0 - top,
        sheltered_fraction=uniform_draws("unknown agent:sheltered", n, seed) * 0.5,
        at_customary=share,
        attached_juvenile_share=np.full(n, 0.5),
        dose_factor=np.ones(n),
    )


def _take(draws: KillDraws, chosen: np.ndarray) -> KillDraws:
    """Return the draws at the given places."""
    arrays = {key: v[chosen] for key, v in vars(draws).items() if isinstance(v, np.ndarray)}
    return replace(draws, at_customary={k: v[chosen] for k, v in draws.at_customary.items()}, **arrays)


def _log_normal(name: str, factor: float, n: int, seed: int) -> np.ndarray:
    """Draw a factor around 1, its 5 and 95 % points at 1/factor and factor, shape (n,) [-]."""
    from scipy.special import ndtri

    return np.exp(np.log(factor) / _Z95 * ndtri(uniform_draws(name, n, seed)))

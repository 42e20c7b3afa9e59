"""Fits what an agent kills to its published points, fluke by fluke.

The hazard of a trial is the agent's own times an effect of the group of flukes, one of the species and one of the
study: log h = log h_agent + group + species + study, each normal about 0 with a spread of its own. The spreads are
fitted with the rest, so flukes nobody tried get what the agent does to others and the width by which species were seen
to differ: partial pooling. A fluke that dies more slowly also has the higher odds to outlive any dose. All of it is
uncertain and tied together (a strong agent on many sheltered flukes, or a weaker one on few), so the draws come from
one posterior and keep that ridge.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from burden.evidence import Agent, KillPoint, ParasiteSet, Value, group_of
from burden.evidence.records import GROUPS
from burden.treatment.efficacy import AT_CUSTOMARY, KillDraws, attached_kill, kill
from burden.utils.errors import CannotAnswerError
from burden.utils.random_streams import uniform_draws

__all__ = ["ANY_FLUKE", "KillPool", "draw_kill", "draw_kill_of", "log_likelihood", "pool", "predict"]

#: what is assumed of a fluke nobody named: most flukes of fish are of this group
ANY_FLUKE = ("monopisthocotylean", ("any other",))
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
    "group_factor",
    "species_factor",
    "study_factor",
)
_POOL = 2**15  # prior draws weighed; leaves a thousand worth of draws or more after weighting
_POOL_SEED = 20_240_601  # the pool is part of the fit, not of a run: a run's seed only picks from it
_NODES = 7  # of the quadrature over the effect of a species and of a study
_CANDIDATES = 96  # effects of a species tried per draw
_MOST_KEPT = 64  # effects of a species kept, at some 0.1 MB each
_DOSE_FACTOR = 3.0  # a dose nobody wrote down: 5 and 95 % at a third and thrice the customary, an assumption
_Z95 = 1.6448536269514722


@dataclass(frozen=True)
class KillPool:
    """Prior draws of an agent, N of them, and how likely each makes the published points.

    Parameters
    ----------
    draws : KillDraws
        With the hazard of the agent itself, before any effect.
    group_effect : mapping of str to numpy.ndarray
        Effect of each group of flukes on the log hazard, shape (N,) each [-].
    species_spread, study_spread : numpy.ndarray
        Standard deviations of the effects of a species and of a study, shape (N,) [-].
    log_weight : numpy.ndarray
        Log-likelihood of the fitted points, up to a constant, shape (N,).
    """

    draws: KillDraws
    group_effect: Mapping[str, np.ndarray]
    species_spread: np.ndarray
    study_spread: np.ndarray
    log_weight: np.ndarray

    @property
    def weight(self) -> np.ndarray:
        """Weight of each draw, the largest 1, shape (N,)."""
        return np.exp(self.log_weight - np.max(self.log_weight))

    @property
    def effective_draws(self) -> float:
        """Draws the pool is worth after weighting."""
        return float(self.weight.sum() ** 2 / (self.weight**2).sum())

    def picked(self, stream: str, n: int, seed: int) -> KillPool:
        """Return `n` equally weighted draws; the first stay the same when `n` grows."""
        cumulative = np.cumsum(self.weight)
        chosen = np.searchsorted(cumulative, uniform_draws(stream, n, seed) * cumulative[-1])
        arrays = {key: v[chosen] for key, v in vars(self.draws).items() if isinstance(v, np.ndarray)}
        shares = {form: share[chosen] for form, share in self.draws.at_customary.items()}
        drawn = replace(self.draws, at_customary=shares, effective_draws=self.effective_draws, **arrays)
        groups = {group: effect[chosen] for group, effect in self.group_effect.items()}
        return KillPool(drawn, groups, self.species_spread[chosen], self.study_spread[chosen], np.zeros(n))


def draw_kill(agent: Agent, n: int, seed: int, parasite: ParasiteSet | None = None) -> KillDraws:
    """Draw what an agent kills of the flukes of a set, fitted to its published points.

    Parameters
    ----------
    agent : Agent
        From `burden.evidence.load_agent`.
    n : int
        Number of draws.
    seed : int
        Seed of the run.
    parasite : ParasiteSet, optional
        The flukes; without it a gill or skin fluke nobody tried.

    Returns
    -------
    KillDraws
        Equally weighted draws, with the effect of the group, of one of the set's species and of the case's own water.

    Raises
    ------
    CannotAnswerError
        For an agent whose file has no kill model.

    Notes
    -----
    Sampling-importance resampling: a fixed pool of prior draws is weighted by a normal likelihood of each fitted point
    (a one-sided one for "at least" and "at most"), the effects of species and study integrated out by Gauss-Hermite
    quadrature. The run picks from the pool and draws the species' effect given its own points. The first draws stay
    the same when `n` grows; beyond `effective_draws` picks repeat.

    References
    ----------
    Partial pooling by a normal hierarchical model: Gelman et al. 2013, Bayesian Data Analysis, chapter 5 (from memory).

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> from burden.treatment.efficacy import kill
    >>> draws = draw_kill(load_agent("praziquantel"), 200, 1)
    >>> bool(kill(draws, "adult", 5.0, 24.0).mean() > kill(draws, "juvenile_sheltered", 5.0, 24.0).mean())
    True
    """
    group, species = ANY_FLUKE if parasite is None else (parasite.group, parasite.species)
    return draw_kill_of(agent, n, seed, group, species)


def draw_kill_of(agent: Agent, n: int, seed: int, group: str, species: Sequence[str]) -> KillDraws:
    """Draw what an agent kills of some species of one group, each as likely as the others; as `draw_kill`."""
    drawn = pool(agent).picked(f"kill:{agent.name}", n, seed)
    which = (len(species) * uniform_draws(f"kill species:{agent.name}", n, seed)).astype(int)
    effects = [_species_effect(agent, drawn, group, one, n, seed) for one in species]
    this_water = drawn.study_spread * _normal(f"this water:{agent.name}", n, seed)
    shift = drawn.group_effect[group] + np.choose(which, effects) + this_water
    dose_factor = np.exp(np.log(_DOSE_FACTOR) / _Z95 * _normal(f"unrecorded dose:{agent.name}", n, seed))
    return replace(_shifted(drawn.draws, shift), dose_factor=dose_factor)


# --- the pool -------------------------------------------------------------------------------------------------------
def pool(agent: Agent, left_out: Sequence[KillPoint] = ()) -> KillPool:
    """Return the prior draws of an agent, weighed by its fitted points but for some left out.

    Raises
    ------
    CannotAnswerError
        For an agent whose file has no kill model.
    """
    missing = [name for name in _PARAMETERS if name not in agent.values]
    if missing:
        raise CannotAnswerError(f"nobody measured what {agent.name} kills: no {', '.join(missing)}")
    fitted = _fitted(agent, left_out)
    made_of = agent.name, tuple(agent.values[name] for name in _PARAMETERS), _scales(agent)
    prior, log_weight = _prior(*made_of), np.zeros(_POOL)
    for species in dict.fromkeys(p.species for p in fitted):
        points = tuple(p for p in fitted if p.species == species)
        log_weight = log_weight + _species_log_likelihood(*made_of, points)
    keys = {k for p in fitted for k in p.sources} | {k for name in _PARAMETERS for k in agent.values[name].sources}
    return replace(prior, draws=replace(prior.draws, sources=tuple(sorted(keys))), log_weight=log_weight)


def _fitted(agent: Agent, left_out: Sequence[KillPoint]) -> tuple[KillPoint, ...]:
    return tuple(p for p in agent.kill_points if p.role == "fitted" and p not in left_out)


def _scales(agent: Agent) -> tuple[float, float, float]:
    return agent.reference_mg_l, agent.customary.mg_l, agent.customary.hours


@lru_cache(maxsize=32)
def _prior(name: str, values: tuple[Value, ...], scales: tuple[float, float, float]) -> KillPool:
    drawn = {v.name: v.draw(_POOL, _POOL_SEED, salt=f"{name}:") for v in values}
    draws = KillDraws(
        name,
        *scales,
        drawn["hazard_per_hour"],
        drawn["exponent"],
        drawn["refractory_share"],
        drawn["sheltered_fraction"],
        {form: drawn[key] for form, key in AT_CUSTOMARY.items()},
        drawn["attached_juvenile_share"],
        np.ones(_POOL),
    )
    between = np.log(drawn["group_factor"]) / _Z95
    groups = {group: between * _normal(f"group:{name}:{group}", _POOL, _POOL_SEED) for group in GROUPS}
    species, study = (np.log(drawn[key]) / _Z95 for key in ("species_factor", "study_factor"))
    return KillPool(draws, groups, species, study, np.zeros(_POOL))


@lru_cache(maxsize=128)  # apart by species: leaving out a point changes one of them
def _species_log_likelihood(
    name: str, values: tuple[Value, ...], scales: tuple[float, float, float], points: tuple[KillPoint, ...]
) -> np.ndarray:
    """Log-likelihood of one species' points with its effect and those of its studies integrated out, shape (N,)."""
    prior = _prior(name, values, scales)
    group = prior.group_effect[group_of(points[0].species)]
    if len({p.sources[0] for p in points}) == 1:  # one study: both effects are one normal
        spread = np.hypot(prior.species_spread, prior.study_spread)
        return _study_log_likelihood(points, prior.draws, group, spread)
    nodes, log_share = _quadrature()
    each = [
        share + _studies(points, prior.draws, group + node * prior.species_spread, prior.study_spread)
        for node, share in zip(nodes, log_share, strict=True)
    ]
    return np.asarray(np.logaddexp.reduce(each, axis=0))


def _studies(points: Sequence[KillPoint], draws: KillDraws, shift: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Log-likelihood of points of one species given its effect, the studies' effects integrated out."""
    total = np.zeros(np.shape(shift))
    for study in dict.fromkeys(p.sources[0] for p in points):
        own = [p for p in points if p.sources[0] == study]
        total = total + _study_log_likelihood(own, draws, shift, spread)
    return total


def _study_log_likelihood(
    points: Sequence[KillPoint], draws: KillDraws, shift: np.ndarray, spread: np.ndarray
) -> np.ndarray:
    nodes, log_share = _quadrature()
    total: np.ndarray | float = -np.inf
    for node, share in zip(nodes, log_share, strict=True):
        here = _shifted(draws, shift + node * spread)
        total = np.logaddexp(total, share + sum(log_likelihood(p, here) for p in points))
    return np.asarray(total)


@lru_cache(maxsize=1)
def _quadrature() -> tuple[np.ndarray, np.ndarray]:
    """Nodes of a standard normal and logarithms of their shares, shape (K,) each."""
    nodes, shares = np.polynomial.hermite_e.hermegauss(_NODES)
    return nodes, np.log(shares / shares.sum())


# --- one point ------------------------------------------------------------------------------------------------------
def log_likelihood(point: KillPoint, draws: KillDraws) -> np.ndarray:
    """Log-likelihood of one point under each draw, up to a constant, in the shape of the hazard."""
    from scipy.special import log_ndtr

    z = (_kill_at(point, draws) - point.kill) / point.scatter
    if point.relation == "at_least":
        return log_ndtr(z)
    if point.relation == "at_most":
        return log_ndtr(-z)
    return -0.5 * z**2


def _kill_at(point: KillPoint, draws: KillDraws) -> np.ndarray:
    """Kill the model gives where a point was measured, in the shape of the hazard [-]."""
    low, high = np.log(point.hours)
    hours = np.exp(low + (high - low) * _hours_drawn(point.conditions, draws.n))
    if point.form == "attached":
        return attached_kill(draws, point.mg_l, hours)
    return kill(draws, point.form, point.mg_l, hours)


@lru_cache(maxsize=256)
def _hours_drawn(conditions: str, n: int) -> np.ndarray:
    return uniform_draws(f"hours:{conditions}", n, _POOL_SEED)


def predict(
    agent: Agent, point: KillPoint, left_out: Sequence[KillPoint] = (), n: int = 1000, seed: int = _POOL_SEED
) -> np.ndarray:
    """Kill the model gives for a point, in the hands of its own study as far as other points show it, shape (n,) [-].

    Parameters
    ----------
    agent : Agent
    point : KillPoint
        Published; need not be one of the agent's.
    left_out : sequence of KillPoint
        Points the fit does not see.
    n, seed : int
    """
    drawn = pool(agent, left_out).picked(f"predict:{agent.name}", n, seed)
    seen = [p for p in _fitted(agent, left_out) if p.species == point.species]
    group = drawn.group_effect[group_of(point.species)]
    species, study = (
        _stratified(f"{kind}:{agent.name}:{point.species}", n, seed, step) for kind, step in (("P", 1), ("S", 37))
    )
    species, study = species * drawn.species_spread, study * drawn.study_spread
    own = [p for p in seen if p.sources[0] == point.sources[0]]
    log_weight = _studies(
        [p for p in seen if p not in own], drawn.draws, group + species, np.broadcast_to(drawn.study_spread, (n,))
    )
    here = _shifted(drawn.draws, group + species + study)
    log_weight = log_weight + sum(log_likelihood(p, here) for p in own)
    effect = _one_of(species + study, log_weight, uniform_draws(f"which:{agent.name}:{point.species}", n, seed))
    return _kill_at(point, _shifted(drawn.draws, group + effect))


def _species_effect(agent: Agent, drawn: KillPool, group: str, species: str, n: int, seed: int) -> np.ndarray:
    """Effect of one species on the log hazard given its own points, or of one nobody tried, shape (n,) [-]."""
    points = [p for p in _fitted(agent, ()) if p.species == species]
    stream = f"species:{agent.name}:{species}"
    if not points:
        return drawn.species_spread * _normal(stream, n, seed)

    def effect() -> np.ndarray:
        effects = _stratified(stream, n, seed) * drawn.species_spread
        log_weight = _studies(points, drawn.draws, drawn.group_effect[group] + effects, drawn.study_spread)
        return _one_of(effects, log_weight, uniform_draws(f"which {stream}", n, seed))

    ranks = (uniform_draws(name, n, seed) for name in (f"kill:{agent.name}", stream, f"which {stream}"))
    made_of = agent.name, tuple(agent.values[name] for name in _PARAMETERS), _scales(agent), _fitted(agent, ())
    return _once((*made_of, group, species, n, *(rank.tobytes() for rank in ranks)), effect)


#: effects of a species by all that they are worked out from
_EFFECTS: dict[tuple[Hashable, ...], np.ndarray] = {}


def _once(made_of: tuple[Hashable, ...], effect: Callable[[], np.ndarray]) -> np.ndarray:
    """Keep what took longest of an estimate: its first rounds draw the same for every case, and ask again."""
    if made_of not in _EFFECTS:
        while len(_EFFECTS) >= _MOST_KEPT:
            _EFFECTS.pop(next(iter(_EFFECTS)), None)
        _EFFECTS[made_of] = effect()
        _EFFECTS[made_of].flags.writeable = False
    return _EFFECTS[made_of]


def _stratified(stream: str, n: int, seed: int, step: int = 1) -> np.ndarray:
    """Standard normals spread evenly over each draw's candidates, shape (candidates, n); `step` mixes their order."""
    from scipy.special import ndtri

    place = (np.arange(_CANDIDATES) * step) % _CANDIDATES
    return np.asarray(ndtri((place[:, None] + uniform_draws(stream, n, seed)) / _CANDIDATES))


def _one_of(candidates: np.ndarray, log_weight: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Pick one candidate a draw in proportion to its weight, shape (n,)."""
    cumulative = np.cumsum(np.exp(log_weight - log_weight.max(axis=0)), axis=0)
    chosen = (cumulative < u * cumulative[-1]).sum(axis=0)
    return np.take_along_axis(candidates, chosen[None, :], axis=0)[0]


def _shifted(draws: KillDraws, shift: np.ndarray) -> KillDraws:
    """Flukes less sensitive by a factor: they die that much more slowly, and the odds to outlive any dose rise alike.

    That the two go together is an assumption. Without it trials that cleared their fish and trials that left a fifth at
    doses far beyond the usual one could not both be met.
    """
    odds = draws.refractory_share / (1.0 - draws.refractory_share) * np.exp(-shift)
    return replace(draws, hazard_per_hour=draws.hazard_per_hour * np.exp(shift), refractory_share=odds / (1.0 + odds))


def _normal(stream: str, n: int, seed: int) -> np.ndarray:
    from scipy.special import ndtri

    return np.asarray(ndtri(uniform_draws(stream, n, seed)))

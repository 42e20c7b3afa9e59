"""The pond that `burden interval` is worked out for, as the decision takes any pond.

40 fish of 400 g in 10 m³, 50 adult flukes a fish in the stable mix of stages of the temperature, no exchange, no
cleaning and no fish deaths. The fish have not become resistant yet, so flukes spread as fast as they can at first: the
cautious choice. Each dose acts at once with the drawn kill of the agent's customary bath and leaves no residue.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import numpy as np

from burden.case import Case, ConstantTemperature, FishGroup, Limits, Uncertain, Water
from burden.evidence import ParasiteSet, load_agent
from burden.inference.prior import CLASSES, Ensemble, Posterior
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Scenario, State
from burden.model.hosts import Fish
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import Surroundings, establishment_for
from burden.model.lifecycle.stable_stages import Population, stable_population
from burden.model.lifecycle.transitions import build_cycle
from burden.model.susceptibility import susceptibility_classes
from burden.model.temperature import Temperature
from burden.treatment.bath import bath_effect
from burden.treatment.efficacy import KillDraws
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.random_streams import steered, stratified

__all__ = [
    "REFERENCE_ADULTS",
    "REFERENCE_FISH",
    "REFERENCE_VOLUME_M3",
    "REFERENCE_WEIGHT_G",
    "STAGES",
    "Drawn",
    "drawn_for",
    "even_draws",
    "least_gap_days",
    "reference_pond",
    "reference_population",
]

REFERENCE_FISH, REFERENCE_WEIGHT_G, REFERENCE_VOLUME_M3, REFERENCE_ADULTS = 40, 400.0, 10.0, 50
#: stages of eggs and of juveniles, as in every forward run
STAGES = (30, 30)
#: any date will do: the temperature stays
_ANY_DAY = date(2000, 6, 1)


@dataclass(frozen=True)
class Drawn:
    """M draws of a set in the reference pond, of the agent's kill, and of what a customary bath does."""

    parameters: Parameters
    kill: KillDraws
    effect: DoseEffect


@contextmanager
def even_draws(draws: int, seed: int) -> Iterator[None]:
    """Spread the draws of every stream evenly while the block runs, so that few draws tell as much as many."""
    with steered(draws, seed, stratified(draws, seed)):
        yield


def drawn_for(evidence: ParasiteSet, agent: str, draws: int, seed: int) -> Drawn:
    """Draw everything uncertain; call it within `even_draws`.

    Parameters
    ----------
    evidence : ParasiteSet
        An egg-layer.
    agent : str
    draws, seed : int
    """
    kill = draw_kill(load_agent(agent), draws, seed, evidence)
    parameters = establishment_for(draw_parameters(evidence, draws, seed), REFERENCE_FISH / REFERENCE_VOLUME_M3)
    return Drawn(parameters, kill, bath_effect(kill, kill.customary_mg_l).without_residue())


def least_gap_days(hours: float) -> int:
    """Whole days from one dose to the next, at least: a bath ends before the next begins [d]."""
    return max(int(np.ceil(hours / 24)), 1)


def reference_population(parameters: Parameters, temperature_c: float) -> Population:
    """Who is there before the first dose: 50 adults a fish, everything else in the stable mix without brakes."""
    m = parameters.size
    wear = next((form.stages for form in build_cycle(parameters.evidence).forms if form.name == "fresh_egg"), 0)
    fish, adults = np.full(m, float(REFERENCE_FISH)), np.full(m, float(REFERENCE_FISH * REFERENCE_ADULTS))
    around = Surroundings(fish / REFERENCE_VOLUME_M3)
    return stable_population(parameters, temperature_c, around, adults, fish, (wear, *STAGES))


def reference_pond(drawn: Drawn, parasite: str, agent: str, temperature_c: float, seed: int) -> tuple[Case, Posterior]:
    """Return the pond as a case without samples, and as its draws on the day of the first dose.

    Parameters
    ----------
    drawn : Drawn
        M draws.
    parasite, agent : str
    temperature_c : float
        [°C]
    seed : int
    """
    case = _case(drawn, parasite, agent, temperature_c)
    p = drawn.parameters
    setting = Scenario(
        cycle=build_cycle(p.evidence),
        parameters=p,
        fish=Fish(np.full((1, p.size), REFERENCE_WEIGHT_G), susceptibility_classes(p["aggregation"], CLASSES).means),
        temperature=Temperature.constant(temperature_c),
        volume_m3=np.full(p.size, REFERENCE_VOLUME_M3),
        deaths_on=False,
    )
    pond = Ensemble(case, parasite, setting, seed, effects={agent: drawn.effect})
    return case, Posterior(pond, _state(reference_population(p, temperature_c)))


def _case(drawn: Drawn, parasite: str, agent: str, temperature_c: float) -> Case:
    volume, weight = REFERENCE_VOLUME_M3 * 1000, REFERENCE_WEIGHT_G
    medium = "sea" if drawn.parameters.evidence.water == ("sea",) else "fresh"
    water = Water(
        Uncertain(volume, volume, volume),
        medium,  # type: ignore[arg-type]
        ConstantTemperature(temperature_c),
        outlook="indoors",
        kind="tank",
    )
    fish = (FishGroup("any", REFERENCE_FISH, False, Uncertain(weight, weight, weight)),)
    least = float(least_gap_days(drawn.kill.customary_hours))
    limits = Limits(agents=(agent,), shortest_gap_days=least, first_dose="today")
    return Case("reference", _ANY_DAY, water, fish, (parasite,), limits=limits)


def _state(there: Population) -> State:
    """The same flukes as the forward equations take them: spread over the fish by their susceptibility."""
    alive = np.repeat((there.fish / CLASSES)[None, None, :], CLASSES, axis=1)
    water: Mapping[str, np.ndarray] = {"egg": there.eggs, "larva": there.larvae[None, :]}
    if len(there.fresh_eggs):
        water = {"fresh_egg": there.fresh_eggs, **water}
    none = np.zeros_like(there.fish)
    on_fish = {"juvenile": (there.juveniles / there.fish)[:, None, :], "adult": (there.adults / there.fish)[None, None]}
    return State(water, on_fish, alive, np.ones_like(alive), none, none, none)

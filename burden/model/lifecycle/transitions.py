"""Stages of a fluke and the one list of transitions that every solver reads.

A life form is a chain of equal stages. Three things can happen to an individual: it *completes* the chain, it is
taken *any time* whatever its stage, or it *bears* offspring and lives on. A transition names its rate and what comes
of it; an empty offspring is a death. The forward equations, the backward equations of the elimination probability and
the whole-fluke simulator of the analysis folder all walk these lists and hold no biology of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from burden.evidence import ParasiteSet, Value, load_parasite
from burden.model.lifecycle.development import Development, draw_development
from burden.model.lifecycle.fresh_eggs import fit_cold_storage
from burden.model.lifecycle.kinds import draw_second_kind, joined_development, joined_values
from burden.model.lifecycle.viviparous import BIRTH_STAGES, draw_life_table, heat_share, live_bearer_rates
from burden.model.open_water import share_kept
from burden.utils.errors import CannotAnswerError

__all__ = [
    "BLOCK_EDGE_C",
    "CHAIN_STAGES",
    "LARVA_REMOVAL",
    "REFERENCE_C",
    "LifeCycle",
    "LifeForm",
    "Parameters",
    "Surroundings",
    "Transition",
    "build_cycle",
    "draw_parameters",
    "establishment_for",
    "rates_at",
    "reproduction_number_of",
    "with_larva_removal",
]

REFERENCE_C = 20.0  # R0 and the rates with a Q10 are given at this temperature [°C]
#: sub-stages of the chains in the differential equations: enough for burdens and imperfect kill (DEVELOPERS.md)
CHAIN_STAGES = 30
#: over so many degrees above the block the loss of blocked eggs ceases; a jump would make every solver first order
BLOCK_EDGE_C = 0.5
#: larvae taken out of the water by an ultraviolet lamp in the filter's loop; eggs, which sink or cling, are not
LARVA_REMOVAL = Value(
    *("larva_removal_per_day", 3.0, 0.3, 12.0, "1/d", "log", "assumption"),
    conditions="water passes the lamp 2 to 24 times a day and a pass kills a tenth to nearly all of the larvae in it; "
    "no removal of fluke larvae from a pond by a lamp was found measured",
)


@dataclass(frozen=True)
class LifeForm:
    """A life form: a chain of `stages` equal stages, living in the water or on the fish."""

    name: str
    place: Literal["water", "fish"]
    stages: int


@dataclass(frozen=True)
class Transition:
    """One thing that can happen to an individual.

    Parameters
    ----------
    source : str
        Life form it happens to.
    event : {"completes", "any time", "bears"}
        End of the chain; a hazard at every stage; a birth that the parent survives.
    rate : str
        Name of the rate [1/d]; a chain of n stages is passed at n times its rate.
    offspring : tuple of (str, str or None)
        What comes of it: life form, and the name of the share that succeeds. Empty: nothing.
    """

    source: str
    event: Literal["completes", "any time", "bears"]
    rate: str
    offspring: tuple[tuple[str, str | None], ...] = ()


@dataclass(frozen=True)
class LifeCycle:
    """The life forms of a parasite set in the order a step takes them, and its transitions.

    Parameters
    ----------
    forms : tuple of LifeForm
    transitions : tuple of Transition
    burden_forms : tuple of str
        Forms on the fish that feed, lay and harm: the x of the brakes.
    sweeps : int
        How often a step passes over the forms: twice where offspring fall into the form that bore them.
    """

    forms: tuple[LifeForm, ...]
    transitions: tuple[Transition, ...]
    burden_forms: tuple[str, ...]
    sweeps: int = 1

    def form(self, name: str) -> LifeForm:
        """Return a form by name."""
        return next(form for form in self.forms if form.name == name)

    def of(self, source: str, event: str) -> tuple[Transition, ...]:
        """Return the transitions of one kind out of one form."""
        return tuple(t for t in self.transitions if t.source == source and t.event == event)

    def on_fish(self) -> tuple[str, ...]:
        """Return the names of the forms that live on the fish."""
        return tuple(form.name for form in self.forms if form.place == "fish")

    def with_stages(self, **stages: int) -> LifeCycle:
        """Return the cycle with other numbers of stages, for instance `egg=84`."""
        forms = tuple(replace(form, stages=stages.get(form.name, form.stages)) for form in self.forms)
        return replace(self, forms=forms)


def build_cycle(evidence: ParasiteSet) -> LifeCycle:
    """Return the life cycle of a parasite set: egg-layer, with or without blocked eggs, or live-bearer."""
    if not evidence.lays_eggs:
        return _LIVE_BEARER
    return _egg_layer(fit_cold_storage(evidence)[1] if "cold_block_c" in evidence.values else 0)


def _egg_layer(chill_stages: int) -> LifeCycle:
    laid = "fresh_egg" if chill_stages else "egg"
    fresh_forms = (LifeForm("fresh_egg", "water", chill_stages),) if chill_stages else ()
    # A fresh egg that cold keeps from starting is worn down stage by stage and dies at the end of that chain
    # (a shoulder, then a steep loss); from any of these stages it starts as soon as warmth allows.
    fresh = (
        Transition("fresh_egg", "any time", "fresh_rate", (("egg", None),)),
        Transition("fresh_egg", "completes", "chill_rate"),
        Transition("fresh_egg", "any time", "egg_loss"),
    )
    return LifeCycle(
        forms=(
            LifeForm("juvenile", "fish", CHAIN_STAGES),
            LifeForm("adult", "fish", 1),
            *fresh_forms,
            LifeForm("egg", "water", CHAIN_STAGES),
            LifeForm("larva", "water", 1),
        ),
        transitions=(
            Transition("adult", "bears", "laying_rate", ((laid, None),)),
            Transition("adult", "any time", "adult_loss"),
            *(fresh if chill_stages else ()),
            Transition("egg", "completes", "egg_rate", (("larva", "hatch_success"),)),
            Transition("egg", "any time", "egg_loss"),
            Transition("larva", "any time", "contact", (("juvenile", "establishment"),)),
            Transition("larva", "any time", "larva_loss"),
            Transition("juvenile", "completes", "juvenile_rate", (("adult", None),)),
            Transition("juvenile", "any time", "juvenile_loss"),
        ),
        burden_forms=("adult",),
    )


_LIVE_BEARER = LifeCycle(
    forms=(LifeForm("young", "fish", BIRTH_STAGES), LifeForm("mother", "fish", BIRTH_STAGES)),
    transitions=(
        Transition("young", "completes", "first_birth_rate", (("mother", None), ("young", "birth_success"))),
        Transition("mother", "completes", "later_birth_rate", (("mother", None), ("young", "birth_success"))),
        Transition("young", "any time", "young_loss"),
        Transition("mother", "any time", "mother_loss"),
    ),
    burden_forms=("young", "mother"),
    sweeps=2,
)


@dataclass(frozen=True)
class Parameters:
    """M draws of everything uncertain about one parasite set.

    Parameters
    ----------
    evidence : ParasiteSet
        What they were drawn from.
    values : mapping of str to numpy.ndarray
        Each shape (M,), in the unit of its `Value`.
    development : Development or None
        None for live-bearers.
    """

    evidence: ParasiteSet
    values: Mapping[str, np.ndarray]
    development: Development | None

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]

    @property
    def of_eggs(self) -> Development:
        """Development of a set that lays eggs.

        Raises
        ------
        CannotAnswerError
            For a live-bearer, which has no eggs: ask `development` first.
        """
        if self.development is None:
            raise CannotAnswerError(f"{self.evidence.name} bears live young: there are no eggs to wait for")
        return self.development

    @property
    def size(self) -> int:
        """Number of draws."""
        return next(iter(self.values.values())).size

    def take(self, draws: np.ndarray) -> Parameters:
        """Return the draws at some positions, in their order, repeats allowed."""
        values = {name: array[draws] for name, array in self.values.items()}
        development = None if self.development is None else self.development.take(draws)
        return Parameters(self.evidence, MappingProxyType(values), development)

    def replaced(self, **values: np.ndarray | float) -> Parameters:
        """Return the draws with some values replaced; a number stands for every draw."""
        full = {name: np.broadcast_to(np.asarray(v, float), (self.size,)) for name, v in values.items()}
        return replace(self, values=MappingProxyType({**self.values, **full}))


def draw_parameters(parasite: str | ParasiteSet, n: int, seed: int) -> Parameters:
    """Draw `n` parameter sets of a parasite set.

    Parameters
    ----------
    parasite : str or ParasiteSet
        Name of a set, or its evidence with a case's overrides.
    n, seed : int
        Number of draws and seed; the first draws stay the same when `n` grows. Of flukes that nobody told apart each
        draw is of one kind.
    """
    evidence = load_parasite(parasite) if isinstance(parasite, str) else parasite
    if evidence.mixture is None:
        return _draw_kind(evidence, n, seed)
    is_second = draw_second_kind(evidence, n, seed)
    first, second = (_draw_kind(kind, n, seed) for kind in evidence.mixture.kinds.values())
    development = joined_development(first.of_eggs, second.of_eggs, is_second) if evidence.lays_eggs else None
    return Parameters(evidence, MappingProxyType(joined_values(first.values, second.values, is_second)), development)


def _draw_kind(evidence: ParasiteSet, n: int, seed: int) -> Parameters:
    values = {name: value.draw(n, seed, evidence.name) for name, value in evidence.values.items()}
    development = draw_development(evidence, n, seed) if evidence.lays_eggs else None
    if any(point.quantity == "fluke_life_days" for point in evidence.points):
        values |= draw_life_table(evidence, n, seed)
    if "chill_factor" in values:
        values["chill_days"] = fit_cold_storage(evidence)[0] * values["chill_factor"]
    return Parameters(evidence, MappingProxyType(values), development)


@dataclass(frozen=True)
class Surroundings:
    """What the case, not the fluke, brings to the rates; each a number or shape (M,).

    Parameters
    ----------
    fish_per_m3 : array_like
        Density of live fish [1/m³].
    exchange_per_day : array_like
        Share of the water carried off each day, with the eggs and larvae in it [1/d].
    drug_larva_hazard : array_like
        Death rate of larvae from what is dissolved in the water [1/d].
    """

    fish_per_m3: np.ndarray | float
    exchange_per_day: np.ndarray | float = 0.0
    drug_larva_hazard: np.ndarray | float = 0.0


def _q10(parameters: Parameters, name: str, temperature_c: np.ndarray | float) -> np.ndarray:
    return parameters[name] ** ((temperature_c - REFERENCE_C) / 10.0)


def rates_at(
    parameters: Parameters, temperature_c: np.ndarray | float, surroundings: Surroundings
) -> dict[str, np.ndarray]:
    """Every rate and share the transitions name, at one temperature.

    Parameters
    ----------
    parameters : Parameters
        M draws.
    temperature_c : float or numpy.ndarray
        One temperature, or one a draw, shape (M,) [°C].
    surroundings : Surroundings

    Returns
    -------
    dict of str to numpy.ndarray
        Rates [1/d] and shares [-], each shape (M,). `establishment` and `birth_success` are those of fish without
        resistance, and laying is that without crowding: the brakes are applied by who knows the burden.
    """
    if parameters.development is None:
        return live_bearer_rates(parameters.values, temperature_c)
    p, development = parameters, parameters.development
    density = np.asarray(surroundings.fish_per_m3, float)
    removal = np.asarray(surroundings.exchange_per_day, float)
    heat = heat_share(p.values, temperature_c)
    killed = heat * p.values.get("heat_death_rate", 0.0)
    taken = p.values.get("larva_removal_per_day", 0.0)
    larva_death = np.log(20.0) / p["larval_life_days"] * _q10(p, "larval_life_q10", temperature_c)
    kept, flushed = np.ones(p.size), removal
    if "egg_retention" in p.values:  # what clings stays; what is afloat and would be carried off is not laid at all
        shape = development.egg_shape(temperature_c)
        kept = share_kept(p["egg_retention"], removal, development.egg_rate(temperature_c), shape)
        flushed = np.zeros(())
    rates = {
        "temperature": np.asarray(temperature_c, float),
        "laying_rate": _laying_rate(p, temperature_c) * (1 - heat) * kept,
        "adult_loss": _q10(p, "adult_life_q10", temperature_c) / p["adult_life_days"] + killed,
        "egg_rate": development.egg_rate(temperature_c),
        "hatch_success": _hatch_success(p, temperature_c),
        "egg_loss": p["egg_mortality"] + flushed + p.values.get("egg_removal_per_day", 0.0),
        "larva_loss": larva_death + removal + taken + surroundings.drug_larva_hazard,
        "contact": p["contact_rate"] * density / (p["contact_half_density"] + density),
        "establishment": p.values.get("establishment", np.ones(p.size)),
        "juvenile_rate": development.maturity.rate(temperature_c),
        "juvenile_loss": p["juvenile_mortality"] + killed,
    }
    if development.fresh is not None:
        rates["fresh_rate"] = development.fresh.rate(temperature_c)
        blocked = np.clip(1 - (temperature_c - development.fresh.block_c) / BLOCK_EDGE_C, 0, 1)
        rates["chill_rate"] = blocked / p["chill_days"]
    return rates


def _laying_rate(parameters: Parameters, temperature_c: np.ndarray | float) -> np.ndarray:
    """Eggs per adult and day, by its points over temperature where there are any [1/d]."""
    measured = parameters.of_eggs.laying_rate(temperature_c)
    if measured is not None:
        return measured
    return parameters["fecundity"] * _q10(parameters, "fecundity_q10", temperature_c)


def _hatch_success(parameters: Parameters, temperature_c: np.ndarray | float) -> np.ndarray:
    measured = parameters.of_eggs.hatch_success(temperature_c)
    return parameters["hatch_success"] if measured is None else measured


def reproduction_number_of(parameters: Parameters, fish_per_m3: np.ndarray | float) -> np.ndarray:
    """Adults begotten by one adult with the parameters' own establishment, naive fish, 20 °C, shape (M,) [-].

    Without exchange, cleaning or a lamp: what the water loses belongs to the case, not to the fluke.

    Notes
    -----
    The product of what each form passes on: eggs in an adult life, the share that starts, hatches, meets a fish,
    settles and matures. A chain of n stages at rate r against a hazard μ is passed with (1 + μ/(n r))^−n.
    """
    rates = rates_at(
        parameters.replaced(larva_removal_per_day=0.0, egg_removal_per_day=0.0), REFERENCE_C, Surroundings(fish_per_m3)
    )
    shape = parameters.of_eggs.egg_shape(REFERENCE_C)
    egg = (1 + rates["egg_loss"] / (shape * rates["egg_rate"])) ** -shape
    if "fresh_rate" in rates:
        egg = egg * rates["fresh_rate"] / (rates["fresh_rate"] + rates["egg_loss"])
    shape = parameters.of_eggs.maturity.shape_at(REFERENCE_C)
    juvenile = (1 + rates["juvenile_loss"] / (shape * rates["juvenile_rate"])) ** -shape
    met = rates["contact"] / (rates["contact"] + rates["larva_loss"])
    eggs = rates["laying_rate"] / rates["adult_loss"]
    return eggs * egg * rates["hatch_success"] * met * rates["establishment"] * juvenile


def establishment_for(parameters: Parameters, fish_per_m3: np.ndarray | float) -> Parameters:
    """Return the draws with the share of meeting larvae that settle, fixed by their reproduction number.

    Parameters
    ----------
    parameters : Parameters
        With `reproduction_number`, read at this density, on naive fish, at 20 °C, without exchange.
    fish_per_m3 : array_like
        The case's own density [1/m³].

    Notes
    -----
    No more than all larvae that meet a fish can settle; where a draw would need more, all do, and its reproduction
    number is what then comes of it. Live-bearers have no larvae and are returned as they are.
    """
    if parameters.development is None:
        return parameters
    whole = reproduction_number_of(parameters.replaced(establishment=1.0), fish_per_m3)
    share = np.minimum(parameters["reproduction_number"] / whole, 1.0)
    return parameters.replaced(establishment=share, reproduction_number=share * whole)


def with_larva_removal(parameters: Parameters, seed: int) -> Parameters:
    """Return the draws as in water that passes an ultraviolet lamp, by `LARVA_REMOVAL`.

    Notes
    -----
    The reproduction number is that without the lamp, so the order of this and of `establishment_for` does not matter.
    Windows do not count on the lamp: the last larva may meet a fish before it meets the lamp.
    """
    return parameters.replaced(larva_removal_per_day=LARVA_REMOVAL.draw(parameters.size, seed, "case "))

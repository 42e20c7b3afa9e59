"""Every rate and share that the transitions name, at a temperature and in the surroundings of a case."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from burden.evidence import Value
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.viviparous import heat_share, live_bearer_rates
from burden.model.open_water import share_kept

__all__ = [
    "BLOCK_EDGE_C",
    "LARVA_REMOVAL",
    "REFERENCE_C",
    "Surroundings",
    "establishment_for",
    "rates_at",
    "reproduction_number_of",
    "with_larva_removal",
]

REFERENCE_C = 20.0  # R0 and the rates with a Q10 are given at this temperature [°C]
#: over so many degrees above the block the loss of blocked eggs ceases; a jump would make every solver first order
BLOCK_EDGE_C = 0.5
#: larvae taken out of the water by an ultraviolet lamp in the filter's loop; eggs, which sink or cling, are not
LARVA_REMOVAL = Value(
    *("larva_removal_per_day", 3.0, 0.3, 12.0, "1/d", "log", "assumption"),
    conditions="water passes the lamp 2 to 24 times a day and a pass kills a tenth to nearly all of the larvae in it; "
    "no removal of fluke larvae from a pond by a lamp was found measured",
)


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

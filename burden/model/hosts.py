"""Fish: susceptibility classes, blood, resistance and the hazard of death. Pure arithmetic on arrays.

Axes, where they occur: groups of fish G, classes of one group C, draws M, in this order.

What aggregation can do here. Settlers fall on fish in proportion to a susceptibility that is gamma across fish and
never changes, so k moves by deaths and arrivals alone. Grazers kill in proportion to burden; that leaves exp(−S w) of
the fish of susceptibility w, and a gamma times an exponential is a gamma of the same shape: k of the survivors stays,
only their mean falls. Blood-feeders kill through the blood, with the square of what is lost and only so far; there the
survivors' k falls as fish die (analysis/classes_against_fish.py). That k falls while an outbreak grows, before fish
die, is reported of real stocks and cannot happen here: no fish becomes more attractive by being weak, none acquires a
resistance of its own, and flukes do not crowd a fish off. Classes are cut once; among their survivors the gamma inside
a class thins towards its lower end, which the class mean does not follow. Eight classes hold burden, deaths and
prevalence to 5 % of whole fish until nine in ten fish are dead, and read k up to a sixth too low.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from burden.model.lifecycle.parameters import Parameters

__all__ = ["Fish", "blood_change", "blood_step", "death_rates", "laying_brake", "resistance_rate"]

#: haemoglobin below which a fish is taken to die of anaemia as fast as the steepest hazard allows
_ANAEMIC = 0.5


@dataclass(frozen=True)
class Fish:
    """What does not change about the fish during a run.

    Parameters
    ----------
    weight_g : numpy.ndarray
        Mean weight, shape (G, M) [g].
    susceptibility : numpy.ndarray
        Relative share of settlers of a fish of each class, mean 1 over classes, shape (C, M) [-].
    """

    weight_g: np.ndarray
    susceptibility: np.ndarray

    def per_gram(self, burden: np.ndarray) -> np.ndarray:
        """Flukes per gram by class from the burden of a fish of susceptibility 1, (…, G, M) -> (…, G, C, M) [1/g]."""
        return (burden / self.weight_g)[..., None, :] * self.susceptibility


def laying_brake(relative: np.ndarray, uptake: np.ndarray) -> np.ndarray:
    """Share of its laying that crowding leaves, averaged over the flukes of each group, (…, G, C, M) -> (…, G, M).

    Parameters
    ----------
    relative : numpy.ndarray
        Adults per gram by class, over K, the adults per gram at which laying halves, shape (…, G, C, M) [-].
    uptake : numpy.ndarray
        Live fish times susceptibility, shape (G, C, M): how the flukes are spread over the classes.
    """
    total = uptake.sum(-2)
    braked = (uptake / (1 + relative)).sum(-2)
    return np.divide(braked, total, out=np.ones_like(braked), where=total > 0)


def resistance_rate(
    resistance: np.ndarray,
    mean_per_gram: np.ndarray,
    temperature_c: np.ndarray | float,
    parameters: Parameters,
) -> np.ndarray:
    """Change of the pond's acquired resistance, shape (M,) [1/d].

    Notes
    -----
    Gained with the heat sum above 0 °C, in proportion to x/(x + x50), towards 1; lost at a constant rate.
    """
    gain = np.maximum(temperature_c, 0) / parameters["resistance_gain_degree_days"]
    stimulus = mean_per_gram / (mean_per_gram + parameters["resistance_half_burden"])
    return gain * stimulus * (1 - resistance) - parameters["resistance_loss_per_day"] * resistance


def death_rates(per_gram: np.ndarray, haemoglobin: np.ndarray, parameters: Parameters) -> tuple[np.ndarray, np.ndarray]:
    """Background and fluke-caused death rates by class, each broadcastable to (G, C, M) [1/d].

    Notes
    -----
    Grazers harm in proportion to their number per gram. Blood-feeders harm through the blood alone, their hazard
    rising with the square of the share of haemoglobin lost, so that half the blood lost costs `anaemia_hazard`.
    """
    background = parameters["background_hazard"]
    if parameters.evidence.blood_feeder:
        lost = np.clip((1 - haemoglobin) / _ANAEMIC, 0, 2)
        return background, parameters["anaemia_hazard"] * lost**2
    return background, parameters["hazard_per_burden"] * per_gram


def _blood_paces(
    per_gram: np.ndarray, temperature_c: np.ndarray | float, parameters: Parameters
) -> tuple[np.ndarray, np.ndarray]:
    """Rates at which blood is made and lost to a set that feeds on it [1/d]."""
    warmth = parameters["blood_recovery_q10"] ** ((np.asarray(temperature_c) - 20.0) / 10.0)
    return parameters["blood_recovery_per_day"] * warmth, parameters["blood_loss_per_burden"] * per_gram


def blood_change(
    haemoglobin: np.ndarray, per_gram: np.ndarray, temperature_c: np.ndarray | float, parameters: Parameters
) -> np.ndarray:
    """Change of haemoglobin relative to a healthy fish, shape (G, C, M) [1/d].

    Notes
    -----
    dB/dt = recovery · (1 − B) − loss · x · B: made towards the healthy level, lost with the blood that is drunk. Sets
    that do not feed on blood leave it as it is.
    """
    if not parameters.evidence.blood_feeder:
        return np.zeros_like(haemoglobin)
    recovery, loss = _blood_paces(per_gram, temperature_c, parameters)
    return recovery * (1 - haemoglobin) - loss * haemoglobin


def blood_step(
    haemoglobin: np.ndarray,
    per_gram: np.ndarray,
    temperature_c: np.ndarray | float,
    parameters: Parameters,
    dt: float,
) -> np.ndarray:
    """Haemoglobin after `dt` days at constant burden, the exact solution of `blood_change`, shape (G, C, M) [-]."""
    if not parameters.evidence.blood_feeder:
        return haemoglobin
    recovery, loss = _blood_paces(per_gram, temperature_c, parameters)
    level = recovery / (recovery + loss)
    return level + (haemoglobin - level) * np.exp(-(recovery + loss) * dt)

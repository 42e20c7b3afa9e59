"""What a dose kills.

A fluke within reach of the water dies at a hazard that grows with a power of the concentration, below 1
for an agent where long and low beats short and high. A refractory share outlives any dose; the youngest
juveniles sit sheltered. The draws come from `burden.treatment.efficacy_fit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from burden.utils.random_streams import uniform_draws

__all__ = [
    "AT_CUSTOMARY",
    "FORMS",
    "KillDraws",
    "attached_kill",
    "hazard_per_day",
    "kill",
    "kill_after_exposure",
    "unknown_kill",
]

#: forms a dose can meet; young and mother are live-bearers, all of them within reach
FORMS = ("adult", "juvenile", "juvenile_sheltered", "larva", "egg", "fresh_egg", "young", "mother")
#: shares killed by the customary bath, by form
AT_CUSTOMARY = {
    "juvenile_sheltered": "sheltered_kill",
    "larva": "larva_kill",
    "egg": "egg_kill",
    "fresh_egg": "fresh_egg_kill",
}


@dataclass(frozen=True)
class KillDraws:
    """Draws of what one agent does to one kind of fluke; every array has shape (draws,).

    Parameters
    ----------
    name : str
        Agent.
    reference_mg_l, customary_mg_l, customary_hours : float
        Where the hazard is stated [mg/L], and the customary bath [mg/L], [h].
    hazard_per_hour : numpy.ndarray
        Of an exposed attached fluke at the reference concentration; shape (K, draws) where K flukes are tried [1/h].
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
    effective_draws: float = float("nan")
    sources: tuple[str, ...] = field(default=())

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.exponent)

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


def kill(draws: KillDraws, form: str, mg_l: float | np.ndarray | None, hours: float | np.ndarray | None) -> np.ndarray:
    """Share of one form that a bath kills.

    Parameters
    ----------
    draws : KillDraws
        From `burden.treatment.efficacy_fit.draw_kill` or `unknown_kill`.
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
    if form not in AT_CUSTOMARY:
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
    if form not in AT_CUSTOMARY:
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
    share = {form: top * uniform_draws(f"unknown agent:{form}", n, seed) for form in AT_CUSTOMARY}
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

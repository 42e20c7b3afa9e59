"""Why a dose fell short: which reasons the counts can tell apart, and how to find out the rest."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Case
from burden.case.volume import volume_by_salt
from burden.inference.paired_samples import Between
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Event, Trajectory
from burden.utils.random_streams import uniform_draws
from burden.utils.results import number
from burden.utils.wording import Remark

__all__ = [
    "CAUSES",
    "Cause",
    "CauseTest",
    "Causes",
    "FailureMode",
    "SaltTest",
    "could_be_removed",
    "dulled",
    "salt_test",
    "weakened_runs",
    "why_it_fell_short",
]

CAUSES = ("volume_wrong", "broken_down", "sheltered_juveniles", "less_sensitive")
#: reasons that come to the same weaker dose: counts cannot tell them apart
_WEAK = ("volume_wrong", "broken_down", "less_sensitive")
#: chance of each before anything was counted, where a dose fell short: assumptions
_BELIEVED = {"volume_wrong": 0.4, "broken_down": 0.25, "sheltered_juveniles": 0.2, "less_sensitive": 0.15}
#: by how much the hazard from a weak dose is then divided; share of juvenile development then sheltered, and most that
#: is left of the kill there: assumptions
_WEAKER, _SHELTERED, _SHELTER_LEAVES = (1.5, 50.0), (0.4, 0.9), 0.3
#: a chance that the counts moved by this factor, of itself or of its opposite, is one they speak of: an assumption
_SPOKEN = 2.0
#: rise of salinity that a volume test aims at, and standard deviation of one reading of the meter [g/L]: common
#: practice, no source
_RISE_G_L, _READING_SD_G_L = 0.5, 0.01
#: water above which so much salt is no longer practical [L]: common practice, no source
_TOO_MUCH_L = 50_000.0


@dataclass(frozen=True)
class SaltTest(Remark):
    """A test of the volume by salt addition.

    Parameters
    ----------
    volume_l : float
        As believed [L].
    salt_kg : float
        To add [kg].
    rise_g_l, reading_sd_g_l : float
        Rise of salinity to be expected, and standard deviation of one reading [g/L].
    relative_error : float
        Half the 90 % interval of the volume found, over the volume [-].
    """

    volume_l: float
    salt_kg: float
    rise_g_l: float
    reading_sd_g_l: float
    relative_error: float


@dataclass(frozen=True)
class CauseTest(Remark):
    """How to tell one cause from the others.

    Parameters
    ----------
    cause : str
        One of `CAUSES`.
    salt : SaltTest or None
        Of the volume by salt, where that is practical.
    large : bool
        Whether the water is too large to be filled through a meter.
    removed : bool
        Whether a filter, carbon or a lamp may have taken the drug out.
    """

    cause: str
    salt: SaltTest | None = None
    large: bool = False
    removed: bool = True


@dataclass(frozen=True)
class Cause(Remark):
    """One reason for which a dose may have fallen short.

    Parameters
    ----------
    name : str
        One of `CAUSES`.
    believed, probability : float
        Its chance among the reasons before and after the counts, given that the dose fell short [-].
    told : bool
        Whether the counts speak for or against it, or against the others that come to the same.
    test : CauseTest
        What tells it from the others.
    """

    name: str
    believed: float
    probability: float
    told: bool
    test: CauseTest

    @property
    def find_out(self) -> str:
        """What tells it from the others, in words."""
        return str(self.test)

    def text(self) -> str:
        """Return the reason in words."""
        return str(self)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "cause": self.name,
            "believed": number(self.believed),
            "probability": number(self.probability),
            "told_by_counts": self.told,
            "find_out": self.find_out,
            "salt_test": None if self.test.salt is None else self.test.salt.as_dict(),
        }


@dataclass(frozen=True)
class Causes(Remark):
    """What the counts say of all causes of a dose that fell short; the likeliest first."""

    causes: tuple[Cause, ...]

    @property
    def sheltered(self) -> float:
        """Chance of juveniles that no dose reached; of a weak dose the rest [-]."""
        return next(cause.probability for cause in self.causes if cause.name == "sheltered_juveniles")

    @property
    def told(self) -> bool:
        """Whether the counts speak for or against any of them."""
        return any(cause.told for cause in self.causes)


def salt_test(volume_l: float) -> SaltTest:
    """Work out a test of the volume by salt addition: how much to add, what to read, and how exact it is.

    Parameters
    ----------
    volume_l : float
        As believed [L].

    Examples
    --------
    >>> round(salt_test(10_000.0).salt_kg, 2)
    5.05
    """
    mass_kg = _RISE_G_L * volume_l / 0.99 / 1000
    found = volume_by_salt(1000 * mass_kg, _RISE_G_L, 0.005 * 1000 * mass_kg, _READING_SD_G_L)
    error = 0.5 * (found.high_l - found.low_l) / found.volume_l
    return SaltTest(volume_l, mass_kg, _RISE_G_L, _READING_SD_G_L, error)


@dataclass(frozen=True)
class FailureMode:
    """One way in which the doses between two looks may have done less than they should, in every pond.

    Parameters
    ----------
    chance : float
        Among such ways, before anything was counted after the dose [-].
    left : numpy.ndarray
        Flukes a fish at the later look, shape (M,).
    log_likelihood : numpy.ndarray
        Of all counts, shape (M,).
    """

    chance: float
    left: np.ndarray
    log_likelihood: np.ndarray


def weakened_runs(between: Between) -> dict[str, tuple[float, Trajectory]]:
    """Run the ponds between two looks with doses that fell short, in the two ways that counts can tell apart.

    Parameters
    ----------
    between : Between

    Returns
    -------
    dict of str to (float, Trajectory)
        The chance of each way among them before anything was counted after the dose, and the run. `weak`: a larger
        water, an agent that broke down or flukes less sensitive to it, which all come to a weaker dose. `sheltered`:
        juveniles that are spared; they show in the mix of stages, where adults and juveniles were counted apart, and
        in how soon the flukes are back.
    """
    believed = _believed(between.pond.case)
    weak = sum(believed[name] for name in _WEAK)
    ways = {"weak": (weak, _dulled), "sheltered": (1 - weak, _sheltering)}
    return {name: (chance, _run_with(between, change)) for name, (chance, change) in ways.items()}


def why_it_fell_short(case: Case, ways: Mapping[str, FailureMode]) -> tuple[Cause, ...]:
    """Weigh the reasons by how likely each makes the counts after the dose, given those before it.

    Parameters
    ----------
    case : Case
    ways : mapping of str to FailureMode
        From `weakened_runs`, with what each makes of the counts.

    Returns
    -------
    tuple of Cause
        The likeliest first; chances sum to one: that the dose fell short is taken for granted.

    Notes
    -----
    P(way | counts) ∝ P(way) · mean over ponds of L(all counts | way). The reasons for a weaker dose share its chance
    as was believed of them: counts do not tell these apart.
    """
    believed, weak = _believed(case), ways["weak"].chance
    log = np.array([np.log(way.chance) + logsumexp(way.log_likelihood) for way in ways.values()])
    chance = dict(zip(ways, np.exp(log - logsumexp(log)), strict=True))
    odds = chance["weak"] / max(chance["sheltered"], 1e-12)
    told = not 1 / _SPOKEN < odds * (1 - weak) / weak < _SPOKEN
    after_chance = {name: chance["weak"] * believed[name] / weak for name in _WEAK}
    after_chance["sheltered_juveniles"] = chance["sheltered"]
    found = [Cause(name, believed[name], float(after_chance[name]), told, _test(case, name)) for name in CAUSES]
    return tuple(sorted(found, key=lambda cause: -cause.probability))


def _believed(case: Case) -> dict[str, float]:
    """Chance of each reason before the counts, from what the case says of filter, volume and doses before."""
    odds = dict(_BELIEVED)
    volume, last = case.water.volume_l, case.doses_given[-1]
    if volume.high / volume.low < 1.2 and not volume.assumed:
        odds["volume_wrong"] *= 0.25
    if last.uv_or_carbon_on or case.water.filter == "adapted":
        odds["broken_down"] *= 2.0
    elif not could_be_removed(case):
        odds["broken_down"] *= 0.25
    if sum(a.agent == last.agent for a in case.given) >= 3:
        odds["less_sensitive"] *= 2.0
    return {name: odds[name] / sum(odds.values()) for name in CAUSES}


def could_be_removed(case: Case) -> bool:
    """Whether a filter, carbon or a lamp may have taken the last dose out of the water."""
    by_record = any(dose.uv_or_carbon_on for dose in case.doses_given[-1:])
    return case.water.filter != "none" or bool(case.water.uv) or by_record


def _run_with(between: Between, change: Callable[[DoseEffect, np.ndarray], DoseEffect]) -> Trajectory:
    """Run the ponds with doses as a reason makes them."""
    pond = between.pond
    how_far = uniform_draws("how far it fell short", pond.size, pond.seed)

    def as_it_was(event: Event) -> Event:
        if event.effect is None:
            return event
        return Event.dose(event.day, change(event.effect, how_far), pond.setting.cycle)

    return between.run(as_it_was)


def _sheltering(effect: DoseEffect, u: np.ndarray) -> DoseEffect:
    low, high = _SHELTERED
    share = _SHELTER_LEAVES * (1 - u)
    return replace(
        effect,
        sheltered_fraction=np.maximum(effect.sheltered_fraction, low + (high - low) * u),
        sheltered_kill=share * effect.sheltered_kill,
        settler_kill=share * effect.settler_kill,
    )


def _dulled(effect: DoseEffect, u: np.ndarray) -> DoseEffect:
    return dulled(effect, _WEAKER[0] * (_WEAKER[1] / _WEAKER[0]) ** u)


def dulled(effect: DoseEffect, factor: np.ndarray) -> DoseEffect:
    """Return a dose whose hazard is divided, so that the root of what it spared is left.

    Parameters
    ----------
    effect : DoseEffect
    factor : numpy.ndarray
        Above 0; below 1 for a stronger dose, infinite for one that does nothing, shape (M,) [-].
    """

    def less(kill: np.ndarray) -> np.ndarray:
        return 1 - (1 - np.minimum(kill, 1 - 1e-12)) ** (1 / factor)

    return replace(
        effect,
        by_form={form: less(kill) for form, kill in effect.by_form.items()},
        sheltered_kill=less(effect.sheltered_kill),
        settler_kill=less(effect.settler_kill),
        larva_hazard=effect.larva_hazard / factor,
    )


def _test(case: Case, cause: str) -> CauseTest:
    litres = case.water.volume_l.value
    salted = cause == "volume_wrong" and case.water.medium == "fresh" and litres <= _TOO_MUCH_L
    return CauseTest(cause, salt_test(litres) if salted else None, litres > _TOO_MUCH_L, could_be_removed(case))

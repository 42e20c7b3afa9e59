"""Why a dose fell short: which reasons the counts can tell apart, and how to find out the rest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from scipy.special import logsumexp

from burden.case import Case, Preparation
from burden.doseresult import plain
from burden.effects import DoseEffect
from burden.evidence import uniform_draws
from burden.looking import draw_seen, log_likelihood_of_samples
from burden.pond import Pond, draw_pond
from burden.result import number
from burden.simulate import COARSE_STEP_DAYS, Event, simulate
from burden.volume import volume_by_salt

__all__ = ["CAUSES", "Cause", "causes_in_words", "salt_test", "why_it_fell_short"]

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
#: burdens tried before the dose, equally likely before the counts
_GRID = 30
#: rise of salinity that a volume test aims at, and standard deviation of one reading of the meter [g/L]: common
#: practice, no source
_RISE_G_L, _READING_SD_G_L = 0.5, 0.01
#: water above which so much salt is no longer practical [L]: common practice, no source
_TOO_MUCH_L = 50_000.0
_WORDS = {
    "volume_wrong": "under-dosing: the water is larger than believed",
    "broken_down": "the agent broke down or was taken up: filter, carbon, UV or ozone",
    "sheltered_juveniles": "juveniles sat where the agent does not reach them",
    "less_sensitive": "flukes less sensitive to the agent",
}


@dataclass(frozen=True)
class Cause:
    """One reason for which a dose may have fallen short.

    Parameters
    ----------
    name : str
        One of `CAUSES`.
    believed, probability : float
        Its chance among the reasons before and after the counts, given that the dose fell short [-].
    told : bool
        Whether the counts speak for or against it, or against the others that come to the same.
    find_out : str
        What tells it from the others.
    """

    name: str
    believed: float
    probability: float
    told: bool
    find_out: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "cause": self.name,
            "believed": number(self.believed),
            "probability": number(self.probability),
            "told_by_counts": self.told,
            "find_out": self.find_out,
        }

    def text(self) -> str:
        """Return the reason in words."""
        return f"{_WORDS[self.name]} ({100 * self.probability:.0f} %). To find out: {self.find_out}"


def salt_test(volume_l: float) -> str:
    """Describe a test of the volume by salt addition: how much to add, what to read, and how exact it is.

    Parameters
    ----------
    volume_l : float
        As believed [L].

    Examples
    --------
    >>> salt_test(10_000.0).split(";")[0]
    'add 5.05 kg of plain salt (fish tolerant of it alone), mix for an hour'
    """
    mass_kg = _RISE_G_L * volume_l / 0.99 / 1000
    found = volume_by_salt(1000 * mass_kg, _RISE_G_L, 0.005 * 1000 * mass_kg, _READING_SD_G_L)
    error = 100 * 0.5 * (found.high_l - found.low_l) / found.volume_l
    return (
        f"add {mass_kg:.3g} kg of plain salt (fish tolerant of it alone), mix for an hour; if the water is "
        f"{plain(volume_l)} L the salinity rises by {_RISE_G_L:g} g/L (some {2 * _RISE_G_L:g} mS/cm). Volume in L = "
        f"990 × kg of salt / rise in g/L, exact to {error:.0f} % with a meter of ±{_READING_SD_G_L:g} g/L; half the "
        "rise means twice the water"
    )


def why_it_fell_short(
    case: Case,
    parasite: str,
    before: Sequence[Preparation],
    after: Sequence[Preparation],
    draws: int,
    seed: int,
) -> tuple[Cause, ...]:
    """Weigh the reasons by how likely each makes the counts after the dose, given those before it.

    Parameters
    ----------
    case : Case
    parasite : str
    before, after : sequence of Preparation
        Of one day each.
    draws, seed : int

    Returns
    -------
    tuple of Cause
        The likeliest first; chances sum to one: that the dose fell short is taken for granted.

    Notes
    -----
    P(kind | counts) ∝ P(kind) · mean over ponds of L(after | kind), the ponds weighted by L(before). A larger water,
    an agent that broke down and flukes less sensitive to it are one kind, a weaker dose: counts do not tell these
    apart, and they share its chance as was believed of them. Juveniles that are spared are the other kind: they show in
    the mix of stages, where adults and juveniles were counted apart, and in how soon the flukes are back.
    """
    believed = _believed(case)
    days = np.array([float(case.day_of(rows[0].date)) for rows in (before, after)])
    weak = sum(believed[name] for name in _WEAK)
    log = np.log([weak, 1 - weak])
    pond = draw_pond(case, parasite, draws, seed + 2)
    begun = _burden_before(pond, before, seed)
    log += [_log_evidence(pond, begun, change, after, days, seed) for change in (_dulled, _sheltering)]
    chance = np.exp(log - logsumexp(log))
    found_out, odds = _how_to_find_out(case), (weak / (1 - weak), chance[0] / max(chance[1], 1e-12))
    told = not 1 / _SPOKEN < odds[1] / odds[0] < _SPOKEN
    after_chance = {name: chance[0] * believed[name] / weak for name in _WEAK}
    after_chance["sheltered_juveniles"] = chance[1]
    found = [Cause(name, believed[name], float(after_chance[name]), told, found_out[name]) for name in CAUSES]
    return tuple(sorted(found, key=lambda cause: -cause.probability))


def causes_in_words(causes: Sequence[Cause]) -> str:
    """Say in a sentence what the counts tell of the reasons, and what they do not."""
    if not causes:
        return ""
    shelter = next(cause.probability for cause in causes if cause.name == "sheltered_juveniles")
    by_chance = f"a weak dose {100 * (1 - shelter):.0f} %, sheltered juveniles {100 * shelter:.0f} %"
    if not any(cause.told for cause in causes):
        return f"If it fell short, the counts do not tell why ({by_chance}, as believed before)."
    return (
        f"If it fell short: {by_chance} by the counts. Which of too large a water, breakdown and less sensitive flukes "
        "made it weak the counts cannot tell."
    )


def _believed(case: Case) -> dict[str, float]:
    """Chance of each reason before the counts, from what the case says of filter, volume and doses before."""
    odds = dict(_BELIEVED)
    volume, last = case.water.volume_l, [a for a in case.given if a.action == "dose"][-1]
    if volume.high / volume.low < 1.2 and not volume.assumed:
        odds["volume_wrong"] *= 0.25
    if last.uv_or_carbon_on or case.water.filter == "adapted":
        odds["broken_down"] *= 2.0
    elif case.water.filter == "none" and last.uv_or_carbon_on is False:
        odds["broken_down"] *= 0.25
    if sum(a.agent == last.agent for a in case.given) >= 3:
        odds["less_sensitive"] *= 2.0
    return {name: odds[name] / sum(odds.values()) for name in CAUSES}


def _log_evidence(
    pond: Pond,
    begun: tuple[np.ndarray, np.ndarray],
    change: Callable[[DoseEffect, np.ndarray], DoseEffect],
    after: Sequence[Preparation],
    days: np.ndarray,
    seed: int,
) -> float:
    """Log of the mean likelihood of the counts after, over ponds weighted by those before."""
    (start, log_before), case, draws = begun, pond.case, pond.size
    p, weight_g = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
    seen, home, k = draw_seen(p.evidence, draws, seed), p.evidence.about["site"], p["aggregation"]
    then = float(case.fish_on(case.visit_date + timedelta(days[0])))
    alive = np.array([then * g.count / max(case.fish_count, 1) for g in case.fish])
    state = pond.start(start, alive, days[0], uniform_draws("resistance so far", draws, seed))
    events = [_weaker(e, change, pond, seed) for e in pond.given if e.day >= days[0] and e.arrive is None]
    run = simulate(pond.setting, state, days, events, COARSE_STEP_DAYS)
    by_form = {form: x[-1] for form, x in run.fish.items()}
    everyone = np.maximum(run.abundance[-1], 1e-9)
    adults = np.clip(sum(by_form[form] for form in pond.setting.cycle.burden_forms) / everyone, 1e-9, 1.0)
    stages = {"adult": adults, "juvenile": np.clip(1 - adults, 1e-9, 1.0)}
    log_after = log_likelihood_of_samples(after, everyone, k, seen, home, weight_g, stages)
    return float(logsumexp(log_before + log_after) - logsumexp(log_before))


def _burden_before(pond: Pond, before: Sequence[Preparation], seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Burden before the dose, drawn about what the counts say, and its log weight, shape (M,) each.

    A grid of burdens is weighed by the counts for each pond and one of them drawn, so that few draws are lost.
    """
    p, weight_g = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
    seen, home = draw_seen(p.evidence, pond.size, seed), p.evidence.about["site"]
    value = p.evidence.values["abundance"]
    grid = value.quantile((np.arange(_GRID) + 0.5) / _GRID)[:, None] * weight_g
    stages = {"adult": np.full(pond.size, 0.5), "juvenile": np.full(pond.size, 0.5)}
    log = np.array(
        [log_likelihood_of_samples(before, mean, p["aggregation"], seen, home, weight_g, stages) for mean in grid]
    )
    whole = logsumexp(log, axis=0)
    below = np.cumsum(np.exp(log - whole), axis=0)
    place = np.minimum((below < uniform_draws("burden before the dose", pond.size, seed)).sum(0), len(grid) - 1)
    return grid[place, np.arange(pond.size)], whole


def _weaker(event: Event, change: Callable[[DoseEffect, np.ndarray], DoseEffect], pond: Pond, seed: int) -> Event:
    """Return a dose as a reason makes it."""
    if event.effect is None:
        return event
    u = uniform_draws("how far it fell short", pond.size, seed)
    return Event.dose(event.day, change(event.effect, u), pond.setting.cycle)


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
    """Divide the hazard from the drug, and so take the root of what is left."""
    factor = _WEAKER[0] * (_WEAKER[1] / _WEAKER[0]) ** u

    def less(kill: np.ndarray) -> np.ndarray:
        return 1 - (1 - np.minimum(kill, 1 - 1e-12)) ** (1 / factor)

    return replace(
        effect,
        by_form={form: less(kill) for form, kill in effect.by_form.items()},
        sheltered_kill=less(effect.sheltered_kill),
        settler_kill=less(effect.settler_kill),
        larva_hazard=effect.larva_hazard / factor,
    )


def _how_to_find_out(case: Case) -> dict[str, str]:
    litres = case.water.volume_l.value
    metered = "fill or refill the water through a meter, filter and pipes included, and compare with what was believed."
    salted = case.water.medium == "fresh" and litres <= _TOO_MUCH_L
    return {
        "volume_wrong": f"{salt_test(litres)}." if salted else metered,
        "broken_down": (
            "ask whether carbon, UV or ozone ran and whether the filter had met the agent before; have the water's "
            "concentration measured an hour and a day after the next dose, with the filter bypassed and aeration on."
        ),
        "sheltered_juveniles": (
            "count adults and juveniles apart two days after the next dose: juveniles alone mean shelter, adults "
            "among them a weak dose."
        ),
        "less_sensitive": (
            "treat a few fish in a tub of measured volume, fresh water, no filter, at the same strength and hours, and "
            "count the same fish before and two days after: if it fails there too, the flukes are not sensitive to it."
        ),
    }

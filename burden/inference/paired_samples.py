"""Ponds between a look before a dose and a look after it: what each makes of the counts, whatever the dose did."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
from scipy.special import logsumexp

from burden.case import Case, Preparation
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters, draw_seen
from burden.inference.prior import Ensemble, draw_pond
from burden.model.forward import COARSE_STEP_DAYS, Event, Trajectory, simulate
from burden.utils.random_streams import uniform_draws

__all__ = ["Between", "counts_by_fish", "weakly_regulated"]

#: burdens tried before the dose, equally likely before the counts
_GRID = 30
#: how strongly a pond regulates its flukes, as a share of what the equations give it, uniform between these: an
#: assumption. Where resistance and crowding are weaker, more settle in the same days: a dose looks worse than it was
_REGULATED = (0.05, 1.0)


@dataclass(frozen=True)
class Between:
    """Ponds drawn from the prior, each with a burden before the dose that the counts of that day speak for.

    Parameters
    ----------
    pond : Ensemble
        M draws.
    seen : ObservationParameters
        How preparations of both days show a fish, M ways.
    days : numpy.ndarray
        Of the look before and the look after, counted from the visit, shape (2,) [d].
    after : sequence of Preparation
    start : numpy.ndarray
        Flukes a fish before the dose, shape (M,).
    log_before : numpy.ndarray
        Log-likelihood of the counts before, summed over burdens, shape (M,).
    occasion : str
        Names what each pond has anew on this occasion, where the same ponds are met on several.
    """

    pond: Ensemble
    seen: ObservationParameters
    days: np.ndarray
    after: Sequence[Preparation]
    start: np.ndarray
    log_before: np.ndarray
    occasion: str = ""

    @property
    def weight_before(self) -> np.ndarray:
        """Weight of each pond by the counts before the dose alone, shape (M,); the largest is 1."""
        return np.exp(self.log_before - self.log_before.max())

    @classmethod
    def of(
        cls,
        case: Case,
        parasite: str,
        before: Sequence[Preparation],
        after: Sequence[Preparation],
        draws: int,
        seed: int,
    ) -> Between:
        """Draw the ponds.

        Parameters
        ----------
        case : Case
        parasite : str
        before, after : sequence of Preparation
            Of one day each.
        draws, seed : int
        """
        pond = weakly_regulated(draw_pond(case, parasite, draws, seed))
        return cls.of_ponds(pond, draw_seen(pond.setting.parameters.evidence, draws, seed), before, after)

    @classmethod
    def of_ponds(
        cls,
        pond: Ensemble,
        seen: ObservationParameters,
        before: Sequence[Preparation],
        after: Sequence[Preparation],
        occasion: str = "",
    ) -> Between:
        """Give ponds that are drawn a burden before the dose.

        Parameters
        ----------
        pond : Ensemble
        seen : ObservationParameters
        before, after : sequence of Preparation
            Of one day each.
        occasion : str
        """
        start, log_before = _burden_before(pond, seen, before, occasion)
        days = np.array([float(pond.case.day_of(rows[0].date)) for rows in (before, after)])
        return cls(pond, seen, days, after, start, log_before, occasion)

    def run(self, change: Callable[[Event], Event]) -> Trajectory:
        """Run every pond from one look to the other, each dose as `change` makes it.

        A look on the day of a dose came before it, so the run reports just ahead of that day's events.
        """
        pond = self.pond
        case, draws = pond.case, pond.size
        then = float(case.fish_on(case.visit_date + timedelta(self.days[0])))
        alive = np.array([then * group.count / max(case.fish_count, 1) for group in case.fish])
        resistance = uniform_draws(f"resistance so far{self.occasion}", draws, pond.seed)
        state = pond.start(self.start, alive, self.days[0], resistance)
        events = [change(e) for e in pond.given if e.day >= self.days[0] and e.arrive is None]
        return simulate(pond.setting, state, self.days, events, COARSE_STEP_DAYS)

    def log_likelihood(self, run: Trajectory) -> np.ndarray:
        """Log-likelihood of the counts of both days, the later ones as a run has them, shape (M,)."""
        parameters = self.pond.setting.parameters
        everyone = np.maximum(run.abundance[-1], 1e-9)
        by_form = {form: x[-1] for form, x in run.fish.items()}
        adults = np.clip(sum(by_form[form] for form in self.pond.setting.cycle.burden_forms) / everyone, 1e-9, 1.0)
        stages = {"adult": adults, "juvenile": np.clip(1 - adults, 1e-9, 1.0)}
        return self.log_before + log_likelihood_of_samples(
            self.after,
            everyone,
            parameters["aggregation"],
            self.seen,
            parameters.evidence.site,
            self.pond.setting.fish.weight_g.mean(0),
            stages,
        )


def weakly_regulated(pond: Ensemble) -> Ensemble:
    """Let resistance and crowding be as the equations have them, or weaker, each pond in its own measure.

    Parameters
    ----------
    pond : Ensemble
    """
    low, high = _REGULATED
    share = low + (high - low) * uniform_draws("how strongly the pond regulates", pond.size, pond.seed)
    p = pond.setting.parameters
    weaker = {name: p[name] / share for name in ("burden_scale", "resistance_gain_degree_days") if name in p.values}
    return replace(pond, setting=replace(pond.setting, parameters=p.replaced(**weaker)))


def counts_by_fish(rows: Sequence[Preparation]) -> dict[str, list[int]]:
    """Counts of the preparations of each fish; a censored count at its lower bound.

    Parameters
    ----------
    rows : sequence of Preparation
        Of one day.
    """
    fish: dict[str, list[int]] = {}
    for row in rows:
        fish.setdefault(row.fish, []).append(row.count_low)
    return fish


def _burden_before(
    pond: Ensemble, seen: ObservationParameters, before: Sequence[Preparation], occasion: str
) -> tuple[np.ndarray, np.ndarray]:
    """Burden before the dose, drawn about what the counts say, and its log weight, shape (M,) each.

    A grid of burdens is weighed by the counts for each pond, one of its cells drawn and a place in that cell, so that
    few draws are lost.
    """
    p, weight_g = pond.setting.parameters, pond.setting.fish.weight_g.mean(0)
    home, value = p.evidence.site, p.evidence.values["abundance"]
    stages = {"adult": np.full(pond.size, 0.5), "juvenile": np.full(pond.size, 0.5)}
    grid = value.quantile((np.arange(_GRID) + 0.5) / _GRID)[:, None] * weight_g
    log = np.array(
        [log_likelihood_of_samples(before, mean, p["aggregation"], seen, home, weight_g, stages) for mean in grid]
    )
    whole = logsumexp(log, axis=0)
    share = np.exp(log - whole)
    up_to = np.cumsum(share, axis=0)
    drawn = uniform_draws(f"burden before the dose{occasion}", pond.size, pond.seed)
    cell, ponds = np.minimum((up_to < drawn).sum(0), _GRID - 1), np.arange(pond.size)
    within = np.clip(1 - (up_to[cell, ponds] - drawn) / np.maximum(share[cell, ponds], 1e-300), 0.0, 1.0)
    rank = np.clip((cell + within) / _GRID, 0.01 / _GRID, 1 - 0.01 / _GRID)
    return value.quantile(rank) * weight_g, whole - np.log(_GRID)

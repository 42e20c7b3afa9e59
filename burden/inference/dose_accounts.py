"""Accounts of a dose: it did what it should, or it fell short; and the verdict that counts on both days give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from burden.inference.paired_samples import Between
from burden.inference.treatment_failure import FailureMode, weakened_runs
from burden.model.forward import Event, Trajectory

__all__ = ["LEAST_CHANCE", "TOLERANCE", "VERDICTS", "Accounts", "DoseRuns", "verdict_of"]

VERDICTS = ("worked", "fell_short", "new_settlers", "cannot_tell")
#: chance from which it is said that a dose worked, or fell short; below it, the counts cannot tell: an assumption
LEAST_CHANCE = 0.6
#: chance, before anything was counted after it, that the dose fell short: as likely as not, an assumption, so that the
#: verdict is the counts' own
_FELL_SHORT = 0.5
#: share of the ponds with a failed dose that fell short below which no count can tell
_HARDLY = 0.01
#: this many times the flukes that the whole dose leaves are what a dose leaves that fell short
TOLERANCE = 2.0


def verdict_of(chances: Mapping[str, float]) -> str:
    """Return the verdict that counts give on a dose: the likeliest; that it worked or fell short if likely enough.

    Parameters
    ----------
    chances : mapping of str to float
        Of each verdict [-].

    Examples
    --------
    >>> verdict_of({"worked": 0.61, "fell_short": 0.01, "new_settlers": 0.08, "cannot_tell": 0.3})
    'worked'
    >>> verdict_of({"worked": 0.48, "fell_short": 0.02, "new_settlers": 0.1, "cannot_tell": 0.4})
    'cannot_tell'
    """
    best = max(VERDICTS, key=lambda name: chances[name])
    unsure = best in ("worked", "fell_short") and chances[best] < LEAST_CHANCE
    return "cannot_tell" if unsure else best


@dataclass(frozen=True)
class DoseRuns:
    """The same ponds run with the doses they were given, in every account of them.

    Parameters
    ----------
    whole : Trajectory
        The doses did what they should.
    emptied : Trajectory
        They left no fluke on the fish: what is there later has settled since.
    failed : mapping of str to (float, Trajectory)
        Each way to fall short: its chance among these ways, and the run.
    """

    whole: Trajectory
    emptied: Trajectory
    failed: Mapping[str, tuple[float, Trajectory]]

    @classmethod
    def of(cls, between: Between) -> DoseRuns:
        """Run the ponds between two looks in every account."""
        return cls(between.run(lambda event: event), between.run(_kills_all), weakened_runs(between))

    @property
    def by_name(self) -> dict[str, Trajectory]:
        """The runs that counts are compared with: whole, and each way to fall short by its name."""
        return {"whole": self.whole, **{name: run for name, (_, run) in self.failed.items()}}

    def accounts(self, day: int, log_likelihood: Mapping[str, np.ndarray], weight_before: np.ndarray) -> Accounts:
        """Return what each account makes of the counts before the dose and on one day after it.

        Parameters
        ----------
        day : int
            Place of the day in the runs.
        log_likelihood : mapping of str to numpy.ndarray
            Of all counts, by the names of `by_name`, shape (M,) each.
        weight_before : numpy.ndarray
            Of each pond by the counts before the dose alone, shape (M,).
        """
        left = self.whole.abundance[day]
        failed = {
            name: FailureMode(chance, run.abundance[day], log_likelihood[name])
            for name, (chance, run) in self.failed.items()
        }
        settled = np.minimum(self.emptied.abundance[day], left)
        return Accounts(left, settled, log_likelihood["whole"], weight_before, failed)


@dataclass(frozen=True)
class Accounts:
    """What each pond makes of the dose: flukes left a fish, and how likely that makes all counts.

    Parameters
    ----------
    left, settled : numpy.ndarray
        With the dose as it should be, and of them settled since, shape (M,) each [flukes per fish].
    log_likelihood : numpy.ndarray
        Of all counts with that dose, shape (M,).
    weight_before : numpy.ndarray
        By the counts before the dose alone, shape (M,).
    failed : mapping of str to FailureMode
        Each way to fall short.
    """

    left: np.ndarray
    settled: np.ndarray
    log_likelihood: np.ndarray
    weight_before: np.ndarray
    failed: Mapping[str, FailureMode]

    @classmethod
    def of(cls, between: Between) -> Accounts:
        """Weigh the counts of two looks, as `between` has them."""
        runs = DoseRuns.of(between)
        log = {name: between.log_likelihood(run) for name, run in runs.by_name.items()}
        return runs.accounts(-1, log, between.weight_before)

    @property
    def new(self) -> np.ndarray:
        """Share of those left by a dose as it should be that settled since, shape (M,) [-]."""
        return np.divide(self.settled, self.left, out=np.zeros_like(self.left), where=self.left > 0)

    def short(self, name: str) -> np.ndarray:
        """Whether one way to fall short leaves more than `TOLERANCE` times what the whole dose does, shape (M,)."""
        return self.failed[name].left > TOLERANCE * self.left

    def verdicts(self) -> dict[str, float]:
        """Probability of each verdict; see the notes of `burden.inference.treatment_response.response`."""
        ways = self.failed.values()
        short = np.concatenate([np.zeros(self.left.size, bool), *map(self.short, self.failed)])
        chance = np.repeat([1.0, *(way.chance for way in ways)], self.left.size)
        before = chance * np.tile(self.weight_before, 1 + len(ways))
        could = float(np.average(short, weights=before))
        if could < _HARDLY:
            return dict.fromkeys(VERDICTS, 0.0) | {"cannot_tell": 1.0}
        log = np.concatenate([self.log_likelihood, *(way.log_likelihood for way in ways)])
        held = np.where(short, _FELL_SHORT / could, (1 - _FELL_SHORT) / (1 - could))
        weight = held * chance * np.exp(log - log.max())
        weight /= weight.sum()
        fell = float(weight[short].sum())
        new = np.concatenate([self.settled, *(np.minimum(self.settled, way.left) for way in ways)])
        left = np.concatenate([self.left, *(way.left for way in ways)])
        mostly_new = new > 0.5 * left
        settled, unclear = float(weight[~short & mostly_new].sum()), float(weight[mostly_new].sum())
        told = 1 - 2 * min(fell, 1 - fell)
        chances = {
            "worked": told * (1 - fell - settled),
            "fell_short": told * fell,
            "new_settlers": told * settled + (1 - told) * unclear,
            "cannot_tell": (1 - told) * (1 - unclear),
        }
        return {name: max(chance, 0.0) for name, chance in chances.items()}


def _kills_all(event: Event) -> Event:
    if event.effect is None:
        return event
    on_fish = ("adult", "juvenile", "young", "mother")
    return replace(event, kill={f: np.ones_like(x) if f in on_fish else x for f, x in event.kill.items()})

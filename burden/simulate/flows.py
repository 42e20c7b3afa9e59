"""What enters and leaves the chains of the life cycle during one step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from burden.chains import ChainKernel
from burden.simulate.rates import per_fish

__all__ = [
    "NO_BRAKE",
    "NO_FLOW",
    "Brake",
    "Flow",
    "Moved",
]


@dataclass(frozen=True)
class Brake:
    """Share that a brake leaves at the middle of a step, and by how much more at its end than at its start: what lives
    for hours shows the end. Each (M,) or (G, M)."""

    middle: np.ndarray
    rise: np.ndarray

    def times(self, other: Brake) -> Brake:
        return Brake(self.middle * other.middle, self.middle * other.rise + self.rise * other.middle)


NO_BRAKE = Brake(np.ones(()), np.zeros(()))


@dataclass(frozen=True)
class Flow:
    """What enters during a step, as a parabola in time; each is a pace times the step."""

    total: np.ndarray
    rise: np.ndarray  # by how much more at the end than at the start
    bend: np.ndarray  # by how much more at the two ends than on the whole

    def plus(self, other: Flow) -> Flow:
        return Flow(self.total + other.total, self.rise + other.rise, self.bend + other.bend)

    def minus(self, other: Flow) -> Flow:
        return Flow(self.total - other.total, self.rise - other.rise, self.bend - other.bend)

    def times(self, factor: np.ndarray | float) -> Flow:
        return Flow(self.total * factor, self.rise * factor, self.bend * factor)

    def braked(self, brake: Brake) -> Flow:
        """Return what a brake that changes evenly leaves, up to the second power of time."""
        product, share = self.rise * brake.rise, brake.middle
        return Flow(
            self.total * share + product / 12,
            self.rise * share + self.total * brake.rise,
            self.bend * share + product / 6,
        )

    def carried(self, source: str, target: str, by_group: Brake) -> Flow:
        """Return the same as it arrives in another place: from each fish of susceptibility 1 to all, or back."""
        if source == target:
            return self
        if source == "fish":
            whole = self.braked(by_group)
            return Flow(*(x.sum(0) for x in (whole.total, whole.rise, whole.bend)))
        return self.times(per_fish(by_group.middle))


NO_FLOW = Flow(np.zeros(()), np.zeros(()), np.zeros(()))


@dataclass(frozen=True)
class Moved:
    """A form after a step, and what left it on the way."""

    kernel: ChainKernel
    before: np.ndarray
    stages: np.ndarray
    entered: Flow
    completed: np.ndarray
    hazards: Mapping[str, np.ndarray]
    dt: float

    @classmethod
    def through(
        cls, kernel: ChainKernel, stages: np.ndarray, entering: Flow, hazards: Mapping[str, np.ndarray], dt: float
    ) -> Moved:
        n, terms = kernel.stages, len(kernel.shift)
        after = stages * kernel.shift[0]
        part = np.empty_like(after)
        for j in range(1, terms):
            np.multiply(stages[: n - j], kernel.shift[j], out=part[j:])
            after[j:] += part[j:]
        completed = np.einsum("j...m,jm->...m", stages[n - terms :][::-1], kernel.exit)
        return cls(kernel, stages, after, NO_FLOW, completed, hazards, dt).with_entering(entering)

    def with_entering(self, more: Flow) -> Moved:
        """Return the same with more having entered."""
        if more is NO_FLOW:
            return self
        stages, kernel = self.stages.copy(), self.kernel
        # one axis more where flukes on several groups of fish share the kernel
        across = (slice(None), *(None,) * (stages.ndim - 2))
        found = more.total * kernel.entry[across] + more.rise * kernel.tilt[across] + more.bend * kernel.bend[across]
        stages[: len(kernel.entry)] += found
        completed = self.completed + more.total * kernel.entry_exit
        return replace(self, stages=stages, entered=self.entered.plus(more), completed=completed)

    def flow(self, event: str, rate: str, rates: Mapping[str, np.ndarray]) -> Flow:
        """How often an event of one rate happened during the step, and how that rose."""
        dt, forward = self.dt, self.kernel.forward
        start, end = self.before[-1], self.stages[-1]
        leaving_rise = forward * (end - start) * dt
        if event == "completes":
            return Flow(self.completed, leaving_rise, 0.5 * forward * (start + end) * dt - self.completed)
        first, last = self.before.sum(0), self.stages.sum(0)
        hazard = sum(self.hazards.values())
        rise, ends = rates[rate] * (last - first) * dt, 0.5 * rates[rate] * (first + last) * dt
        if event == "bears":
            # trapezoid, with the slopes at both ends known: their difference takes away its error
            bend = rates[rate] * (self.entered.rise - leaving_rise - hazard * (last - first) * dt) * dt / 12
            return Flow(ends - bend, rise, bend)
        taken = np.maximum(first + self.entered.total - last - self.completed, 0)
        total = taken * np.divide(rates[rate], hazard, out=np.zeros_like(hazard), where=hazard > 0)
        return Flow(total, rise, ends - total)

"""What enters and leaves the chains of the life cycle during one step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from burden.model.forward.rates import per_fish
from burden.model.linear_chain import ChainKernel, moved_on

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
        if self is NO_BRAKE:
            return other
        return Brake(self.middle * other.middle, self.middle * other.rise + self.rise * other.middle)


NO_BRAKE = Brake(np.ones(()), np.zeros(()))


@dataclass(frozen=True)
class Flow:
    """What enters during a step, as a parabola in time; each part is a pace times the step.

    Parameters
    ----------
    parts : numpy.ndarray
        In all; by how much more at the end than at the start; by how much more at the two ends than on the whole:
        shape (3, M) or (3, G, M).
    """

    parts: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """In all, (M,) or (G, M)."""
        return self.parts[0]

    @property
    def rise(self) -> np.ndarray:
        """By how much more at the end than at the start, (M,) or (G, M)."""
        return self.parts[1]

    def plus(self, other: Flow) -> Flow:
        if other is NO_FLOW:
            return self
        return other if self is NO_FLOW else Flow(self.parts + other.parts)

    def minus(self, other: Flow) -> Flow:
        return self if other is NO_FLOW else Flow(self.parts - other.parts)

    def times(self, factor: np.ndarray | float) -> Flow:
        return self if self is NO_FLOW else Flow(self.parts * factor)

    def braked(self, brake: Brake) -> Flow:
        """Return what a brake that changes evenly leaves, up to the second power of time."""
        if brake is NO_BRAKE:
            return self
        left = self.parts * brake.middle
        product = self.rise * brake.rise / 12
        left[0] += product
        left[1] += self.total * brake.rise
        left[2] += 2 * product
        return Flow(left)

    def carried(self, source: str, target: str, by_group: Brake) -> Flow:
        """Return the same as it arrives in another place: from each fish of susceptibility 1 to all, or back."""
        if source == target:
            return self
        if source == "fish":
            return Flow(self.braked(by_group).parts.sum(1))
        return Flow(self.parts[:, None] * per_fish(by_group.middle))


NO_FLOW = Flow(np.zeros(3))


@dataclass(frozen=True)
class Moved:
    """A form after a step, and what left it on the way."""

    kernel: ChainKernel
    before: np.ndarray
    stages: np.ndarray
    entered: Flow
    completed: np.ndarray
    hazard: np.ndarray  # of all that can happen at any time, (M,) [1/d]
    dt: float

    @classmethod
    def through(cls, kernel: ChainKernel, stages: np.ndarray, entering: Flow, hazard: np.ndarray, dt: float) -> Moved:
        """Move a chain by one step, with what enters on the way."""
        after = moved_on(stages, kernel.shift)
        return cls(kernel, stages, after, NO_FLOW, kernel.completed(stages), hazard, dt).with_entering(entering)

    def with_entering(self, more: Flow) -> Moved:
        """Return the same with more having entered."""
        if more is NO_FLOW:
            return self
        stages, kernel = self.stages.copy(), self.kernel
        stages[: kernel.entry.shape[1]] += kernel.entered(more.parts)
        completed = self.completed + more.total * kernel.entry_exit
        return Moved(kernel, self.before, stages, self.entered.plus(more), completed, self.hazard, self.dt)

    def flow(self, event: str, rate: np.ndarray) -> Flow:
        """How often an event of one rate [1/d] happened during the step, and how that rose."""
        dt, forward = self.dt, self.kernel.forward
        start, end = self.before[-1], self.stages[-1]
        leaving_rise = forward * (end - start) * dt
        if event == "completes":
            ends = 0.5 * forward * (start + end) * dt
            return Flow(np.array([self.completed, leaving_rise, ends - self.completed]))
        first, last = self.before.sum(0), self.stages.sum(0)
        rise, ends = rate * (last - first) * dt, 0.5 * rate * (first + last) * dt
        if event == "bears":
            # trapezoid, with the slopes at both ends known: their difference takes away its error
            bend = rate * (self.entered.rise - leaving_rise - self.hazard * (last - first) * dt) * dt / 12
            return Flow(np.array([ends - bend, rise, bend]))
        taken = np.maximum(first + self.entered.total - last - self.completed, 0)
        total = taken * np.divide(rate, self.hazard, out=np.zeros_like(self.hazard), where=self.hazard > 0)
        return Flow(np.array([total, rise, ends - total]))

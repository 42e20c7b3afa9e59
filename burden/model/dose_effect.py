"""What one dose does to the stages, in the form every solver takes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from burden.model.lifecycle.transitions import LifeCycle

__all__ = ["DoseEffect"]


@dataclass(frozen=True)
class DoseEffect:
    """The effect of one dose, M draws.

    Parameters
    ----------
    by_form : mapping of str to numpy.ndarray
        Share killed at once by life form, each shape (M,) [-]; a form not named is spared.
    sheltered_kill : numpy.ndarray
        Share killed of juveniles too young to be reached, shape (M,) [-].
    sheltered_fraction : numpy.ndarray
        Share of their development below which juveniles are sheltered, shape (M,) [-].
    larva_hazard : numpy.ndarray
        Death rate of larvae from what the dose leaves in the water, at its start, shape (M,) [1/d].
    settler_kill : numpy.ndarray
        Share of new settlers that it kills at its start, shape (M,) [-].
    fade_per_day : numpy.ndarray
        Rate at which that lasting effect fades, shape (M,) [1/d].
    """

    by_form: Mapping[str, np.ndarray]
    sheltered_kill: np.ndarray
    sheltered_fraction: np.ndarray
    larva_hazard: np.ndarray
    settler_kill: np.ndarray
    fade_per_day: np.ndarray

    def kill_of(self, form: str) -> np.ndarray:
        """Share of a form killed at once, shape (M,) [-]; of "sheltered", those juveniles that are too young."""
        if form == "sheltered":
            return np.where(self.sheltered_fraction > 0, self.sheltered_kill, self.by_form.get("juvenile", 0.0))
        return self.by_form.get(form, np.zeros_like(self.sheltered_kill))

    def without_residue(self) -> DoseEffect:
        """Return the dose as one that acts at once and leaves nothing behind."""
        none = np.zeros_like(self.sheltered_kill)
        return DoseEffect(self.by_form, self.sheltered_kill, self.sheltered_fraction, none, none, none + 1.0)

    def within(self, some: np.ndarray) -> DoseEffect:
        """Return the effect as a dose has it that is given in some draws alone, shape (M,) of bool."""
        by_form = {form: share * some for form, share in self.by_form.items()}
        arrays = {n: getattr(self, n) * some for n in ("sheltered_kill", "larva_hazard", "settler_kill")}
        return replace(self, by_form=by_form, **arrays)

    def take(self, draws: np.ndarray) -> DoseEffect:
        """Return the effect on the draws at some positions, repeats allowed."""
        arrays = {
            name: getattr(self, name)[draws]
            for name in ("sheltered_kill", "sheltered_fraction", "larva_hazard", "settler_kill", "fade_per_day")
        }
        return DoseEffect({form: share[draws] for form, share in self.by_form.items()}, **arrays)

    @classmethod
    def joined(cls, effects: Sequence[DoseEffect]) -> DoseEffect:
        """Return the effects of doses in ponds that stand side by side."""
        arrays = {
            name: np.concatenate([getattr(effect, name) for effect in effects])
            for name in ("sheltered_kill", "sheltered_fraction", "larva_hazard", "settler_kill", "fade_per_day")
        }
        forms = effects[0].by_form
        return cls({form: np.concatenate([effect.by_form[form] for effect in effects]) for form in forms}, **arrays)

    def on_chains(self, cycle: LifeCycle) -> dict[str, np.ndarray]:
        """Share killed by life form and stage, for the chains of a cycle: (M,), or (n, M) for juveniles.

        Notes
        -----
        Shelter goes by age: of n equal stages the first `sheltered_fraction` · n are sheltered, the one that the
        age falls into in part.
        """
        killed = {form.name: self.by_form[form.name] for form in cycle.forms if form.name in self.by_form}
        if "juvenile" in killed:
            stages = cycle.form("juvenile").stages
            young = np.clip(self.sheltered_fraction * stages - np.arange(stages)[:, None], 0, 1)
            killed["juvenile"] = young * self.sheltered_kill + (1 - young) * killed["juvenile"]
        return killed

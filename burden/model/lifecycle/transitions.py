"""Stages of a fluke and the one list of transitions that every solver reads.

A life form is a chain of equal stages. Three things can happen to an individual: it *completes* the chain, it is
taken *any time* whatever its stage, or it *bears* offspring and lives on. A transition names its rate and what comes
of it; an empty offspring is a death. The forward equations, the backward equations of the elimination probability and
the whole-fluke simulator of the analysis folder all walk these lists and hold no biology of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from burden.evidence import ParasiteSet
from burden.model.lifecycle.fresh_eggs import fit_cold_storage
from burden.model.lifecycle.viviparous import BIRTH_STAGES

__all__ = ["CHAIN_STAGES", "LifeCycle", "LifeForm", "Transition", "build_cycle"]

#: sub-stages of the chains in the differential equations: enough for burdens and imperfect kill (DEVELOPERS.md)
CHAIN_STAGES = 30


@dataclass(frozen=True)
class LifeForm:
    """A life form: a chain of `stages` equal stages, living in the water or on the fish."""

    name: str
    place: Literal["water", "fish"]
    stages: int


@dataclass(frozen=True)
class Transition:
    """One thing that can happen to an individual.

    Parameters
    ----------
    source : str
        Life form it happens to.
    event : {"completes", "any time", "bears"}
        End of the chain; a hazard at every stage; a birth that the parent survives.
    rate : str
        Name of the rate [1/d]; a chain of n stages is passed at n times its rate.
    offspring : tuple of (str, str or None)
        What comes of it: life form, and the name of the share that succeeds. Empty: nothing.
    """

    source: str
    event: Literal["completes", "any time", "bears"]
    rate: str
    offspring: tuple[tuple[str, str | None], ...] = ()


@dataclass(frozen=True)
class LifeCycle:
    """The life forms of a parasite set in the order a step takes them, and its transitions.

    Parameters
    ----------
    forms : tuple of LifeForm
    transitions : tuple of Transition
    burden_forms : tuple of str
        Forms on the fish that feed, lay and harm: the x of the brakes.
    sweeps : int
        How often a step passes over the forms: twice where offspring fall into the form that bore them.
    """

    forms: tuple[LifeForm, ...]
    transitions: tuple[Transition, ...]
    burden_forms: tuple[str, ...]
    sweeps: int = 1

    def form(self, name: str) -> LifeForm:
        """Return a form by name."""
        return next(form for form in self.forms if form.name == name)

    def of(self, source: str, event: str) -> tuple[Transition, ...]:
        """Return the transitions of one kind out of one form."""
        return tuple(t for t in self.transitions if t.source == source and t.event == event)

    def on_fish(self) -> tuple[str, ...]:
        """Return the names of the forms that live on the fish."""
        return tuple(form.name for form in self.forms if form.place == "fish")

    def with_stages(self, **stages: int) -> LifeCycle:
        """Return the cycle with other numbers of stages, for instance `egg=84`."""
        forms = tuple(replace(form, stages=stages.get(form.name, form.stages)) for form in self.forms)
        return replace(self, forms=forms)


def build_cycle(evidence: ParasiteSet) -> LifeCycle:
    """Return the life cycle of a parasite set: egg-layer, with or without blocked eggs, or live-bearer."""
    if not evidence.lays_eggs:
        return _LIVE_BEARER
    return _egg_layer(fit_cold_storage(evidence)[1] if "cold_block_c" in evidence.values else 0)


def _egg_layer(chill_stages: int) -> LifeCycle:
    laid = "fresh_egg" if chill_stages else "egg"
    fresh_forms = (LifeForm("fresh_egg", "water", chill_stages),) if chill_stages else ()
    # A fresh egg that cold keeps from starting is worn down stage by stage and dies at the end of that chain
    # (a shoulder, then a steep loss); from any of these stages it starts as soon as warmth allows.
    fresh = (
        Transition("fresh_egg", "any time", "fresh_rate", (("egg", None),)),
        Transition("fresh_egg", "completes", "chill_rate"),
        Transition("fresh_egg", "any time", "egg_loss"),
    )
    return LifeCycle(
        forms=(
            LifeForm("juvenile", "fish", CHAIN_STAGES),
            LifeForm("adult", "fish", 1),
            *fresh_forms,
            LifeForm("egg", "water", CHAIN_STAGES),
            LifeForm("larva", "water", 1),
        ),
        transitions=(
            Transition("adult", "bears", "laying_rate", ((laid, None),)),
            Transition("adult", "any time", "adult_loss"),
            *(fresh if chill_stages else ()),
            Transition("egg", "completes", "egg_rate", (("larva", "hatch_success"),)),
            Transition("egg", "any time", "egg_loss"),
            Transition("larva", "any time", "contact", (("juvenile", "establishment"),)),
            Transition("larva", "any time", "larva_loss"),
            Transition("juvenile", "completes", "juvenile_rate", (("adult", None),)),
            Transition("juvenile", "any time", "juvenile_loss"),
        ),
        burden_forms=("adult",),
    )


_LIVE_BEARER = LifeCycle(
    forms=(LifeForm("young", "fish", BIRTH_STAGES), LifeForm("mother", "fish", BIRTH_STAGES)),
    transitions=(
        Transition("young", "completes", "first_birth_rate", (("mother", None), ("young", "birth_success"))),
        Transition("mother", "completes", "later_birth_rate", (("mother", None), ("young", "birth_success"))),
        Transition("young", "any time", "young_loss"),
        Transition("mother", "any time", "mother_loss"),
    ),
    burden_forms=("young", "mother"),
    sweeps=2,
)

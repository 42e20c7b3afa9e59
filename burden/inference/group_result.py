"""What ponds of one group say of each other: each alone and with the group, and what they share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from burden.inference.links import Link, Order
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark

__all__ = ["GroupEstimate", "GroupRefusal", "OwnAnswer", "PondOfGroup", "SharedQuantity"]


@dataclass(frozen=True)
class GroupRefusal(Remark):
    """Why a pond is not narrowed by its group: nothing fits it alone, or too little of what fits it fits the group."""

    why: str
    effective: float


@dataclass(frozen=True, eq=False)
class OwnAnswer:
    """What one pond says alone, as far as a group needs it.

    Parameters
    ----------
    name, title : str
    fish : int
        Alive.
    flukes : numpy.ndarray
        A fish, shape (N,); empty where the pond alone has no answer.
    scores, values : mapping of str to numpy.ndarray
        Of each quantity that ponds may share, by code: normal score over what was believed beforehand, and value,
        shape (N,) each.
    carrying : numpy.ndarray of bool
        Draws in which the pond has or had flukes, shape (N,): the others say nothing of what is shared.
    probability_infected, effective_draws : float
    """

    name: str
    title: str
    fish: int
    flukes: np.ndarray
    scores: Mapping[str, np.ndarray]
    values: Mapping[str, np.ndarray]
    carrying: np.ndarray
    probability_infected: float
    effective_draws: float


@dataclass(frozen=True)
class SharedQuantity:
    """One thing that ponds share in part.

    Parameters
    ----------
    code : str
    ponds : int
        That have it.
    informed : bool
        Whether the records of two ponds or more say something of it; else it is left as it was.
    alike : CredibleInterval
        Share of what is not known beforehand that all ponds have in common [-].
    before, after : CredibleInterval
        Of a pond of the group nobody looked at: as believed beforehand, and what the group is about.
    """

    code: str
    ponds: int
    informed: bool
    alike: CredibleInterval
    before: CredibleInterval
    after: CredibleInterval


@dataclass(frozen=True, eq=False)
class PondOfGroup:
    """One pond, alone and with its group.

    Parameters
    ----------
    own : OwnAnswer
    weight : numpy.ndarray
        Of each of its draws given the group, shape (N,); a resample by it of `estimate(case).posterior` of the same
        draws and seed is the pond given the group.
    alone, together : CredibleInterval or None
        Flukes a fish.
    effective_draws : float
        That the answer with the group stands on.
    refusal : GroupRefusal or None
        Why its own answer stands.
    """

    own: OwnAnswer
    weight: np.ndarray
    alone: CredibleInterval | None
    together: CredibleInterval | None
    effective_draws: float
    refusal: GroupRefusal | None = None

    @property
    def narrower(self) -> float | None:
        """Share by which the range of all flukes is narrower with the group, on a log scale [-]; below 0: wider."""
        if self.alone is None or self.together is None:
            return None
        fish = max(self.own.fish, 1)
        wide, narrow = (np.log1p(fish * x.high) - np.log1p(fish * x.low) for x in (self.alone, self.together))
        return float(1 - narrow / wide) if wide > 0 else 0.0

    def shared(self) -> dict[str, dict[str, Any]]:
        """What is shared, of this pond, alone and with the group, by code."""
        has = self.own.carrying
        if not has.any():
            return {}
        return {
            code: {
                "alone": CredibleInterval.of(value[has]).as_dict(),
                "with_group": None
                if self.together is None
                else CredibleInterval.of(value[has], self.weight[has]).as_dict(),
            }
            for code, value in self.own.values.items()
        }

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "case": self.own.name,
            "title": self.own.title,
            "probability_infected": number(self.own.probability_infected),
            "mean_abundance": {
                "alone": None if self.alone is None else self.alone.as_dict(),
                "with_group": None if self.together is None else self.together.as_dict(),
            },
            "narrower": number(self.narrower),
            "shared": self.shared(),
            "effective_draws": number(self.effective_draws),
            "own_answer_stands": None if self.refusal is None else self.refusal.as_dict(),
        }


@dataclass(frozen=True, eq=False)
class GroupEstimate(Result):
    """Ponds of one group, each alone and with what the others say.

    Parameters
    ----------
    parasite : str
    seed, draws : int
    ponds : tuple of PondOfGroup
    quantities : tuple of SharedQuantity
    links : tuple of Link
    order : Order or None
        Which pond first; None where no link is given.
    """

    parasite: str
    seed: int
    draws: int
    ponds: tuple[PondOfGroup, ...]
    quantities: tuple[SharedQuantity, ...]
    links: tuple[Link, ...] = ()
    order: Order | None = None

    @property
    def narrower(self) -> float | None:
        """Median share by which the ponds' ranges are narrower [-]."""
        found = [pond.narrower for pond in self.ponds if pond.narrower is not None]
        return float(np.median(found)) if found else None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            **frame(self.seed, self.draws),
            "parasite": self.parasite,
            "narrower": number(self.narrower),
            "quantities": [
                {
                    "code": q.code,
                    "ponds": q.ponds,
                    "informed": q.informed,
                    "alike": q.alike.as_dict(),
                    "before": q.before.as_dict(),
                    "after": q.after.as_dict(),
                }
                for q in self.quantities
            ],
            "ponds": [pond.as_dict() for pond in self.ponds],
            "links": [link.as_dict() for link in self.links],
            "order": None if self.order is None else self.order.as_dict(),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a pond."""
        rows = []
        for pond in self.ponds:
            row: dict[str, Any] = {"case": pond.own.name, "parasite": self.parasite}
            for name, found in (("alone", pond.alone), ("with_group", pond.together)):
                row |= {
                    f"{key}_{name}": value for key, value in (found or CredibleInterval.missing()).as_dict().items()
                }
            rows.append({**row, "narrower": pond.narrower})
        return rows

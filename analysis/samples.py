"""What a person sees who takes fish out of a simulated pond: rows as in samples.csv."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.individuals import Record

__all__ = ["Look", "pick_fish", "take_samples"]


@dataclass(frozen=True)
class Look:
    """One way of looking at a fish.

    Parameters
    ----------
    site, method : str
        As in samples.csv.
    share : float
        Share q of the site that one preparation shows [-].
    site_share : float
        Share of the flukes of a fish that sit on the site [-].
    shape : float
        Clumping shape a of the seen share [-].
    detection : float
        Chance that a fluke in view is counted [-].
    preparations : int
        Of each fish.
    """

    site: str
    method: str
    share: float
    site_share: float = 1.0
    shape: float = 1.0
    detection: float = 1.0
    preparations: int = 1


def pick_fish(
    record: Record,
    i: int,
    rng: np.random.Generator,
    fish: int,
    chosen: Literal["random", "netted", "moribund"] = "random",
    pond: int = 0,
    *,
    apart_from: tuple[int, ...] = (),
) -> np.ndarray:
    """Choose live fish of a pond on a recorded day: places of the fish, shape (fish,).

    Parameters
    ----------
    record : Record
    i : int
        Number of the recorded day.
    rng : numpy.random.Generator
    fish : int
        How many, each once.
    chosen : {"random", "netted", "moribund"}
        A moribund fish is a draw weighted by hazard of death; what the net brings is taken as random.
    pond : int
    apart_from : tuple of int
        Places of fish not to be chosen.
    """
    weight = record.alive[i, pond].astype(float)
    if chosen == "moribund":
        weight = weight * record.hazard[i, pond]
    weight[list(apart_from)] = 0.0
    return rng.choice(weight.size, fish, replace=False, p=weight / weight.sum())


def take_samples(
    record: Record,
    i: int,
    rng: np.random.Generator,
    fish: np.ndarray | int,
    look: Look,
    chosen: Literal["random", "netted", "moribund"] = "random",
    pond: int = 0,
) -> list[dict[str, object]]:
    """Count flukes on preparations of some fish.

    Parameters
    ----------
    record : Record
    i : int
        Number of the recorded day.
    rng : numpy.random.Generator
    fish : numpy.ndarray or int
        Places of the fish, or how many to choose by `pick_fish`.
    look : Look
    chosen : {"random", "netted", "moribund"}
    pond : int

    Returns
    -------
    list of dict
        One entry a preparation: fish (its place), chosen, site, method, count, and the truth: flukes, share.

    Notes
    -----
    Of the N flukes of a fish Binomial(N, site share) sit on the site. A preparation holds a share
    B ~ Beta(a, a (1−q)/q) of them, mean q; of those Binomial(·, d) are counted. The share of a whole organ is 1.
    """
    places = pick_fish(record, i, rng, fish, chosen, pond) if isinstance(fish, int) else np.asarray(fish)
    rows: list[dict[str, object]] = []
    for place in places:
        flukes = int(sum(burden[i, pond, place] for burden in record.burden.values()))
        there = rng.binomial(flukes, look.site_share)
        for _ in range(look.preparations):
            q, a = look.share, look.shape
            seen = 1.0 if q >= 1 else rng.beta(a, a * (1 - q) / q)
            count = int(rng.binomial(there, seen * look.detection))
            rows.append(
                {
                    "fish": int(place),
                    "chosen": chosen,
                    "site": look.site,
                    "method": look.method,
                    "count": count,
                    "flukes": flukes,
                    "share": look.share,
                }
            )
    return rows

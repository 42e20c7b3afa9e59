"""What is uncertain about looking at fish: how much of a site a preparation shows, and how much of what is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from burden.case import Preparation, Uncertain
from burden.evidence import ParasiteSet, Value
from burden.utils.random_streams import uniform_draws

__all__ = [
    "TILT_STREAM",
    "ObservationParameters",
    "assumed_method",
    "draw_seen",
    "share_examined",
    "share_factor",
    "shown",
    "weight_of",
    "whole_look",
]

#: share of a site that a preparation shows when nobody wrote it down: median, 5 and 95 % points, by method, for a fish
#: of 150 g; a clip or scrape is of one size, so its share falls with the fish's gill area. Assumptions (a clip of 10 to
#: 20 of some 1,000 to 2,000 filaments)
_SHARES = {
    "gill_clip": (0.012, 0.003, 0.04),
    "skin_scrape": (0.03, 0.008, 0.1),
    "gill_arch": (0.125, 0.11, 0.14),
    "whole_organ": (0.98, 0.9, 0.999),
}
#: and however small the fish, no more than one arch of the eight, or one side of the skin (anatomy)
_MOST_SHOWN = {"gill_clip": 0.125, "skin_scrape": 0.5}
_ASSUMED_METHOD = {"gill": "gill_clip", "skin": "skin_scrape", "fin": "skin_scrape", "whole_fish": "whole_organ"}
_SMALL_PARTS = ("gill_clip", "skin_scrape")
_REFERENCE_WEIGHT_G, _AREA_EXPONENT = 150.0, 0.8  # gill area of carp grows with weight to the power 0.79
#: stream of how strongly the sick stand for the heavy
TILT_STREAM = "tilt"
#: flukes found away from their site, over those that the share on their site leaves for elsewhere: nobody measured how
#: many stray, and on whom
_STRAY = Value("stray", 1.0, 0.2, 5.0, "-", "log", "assumption")
_LOSS_PER_HOUR_DEAD = Value("loss after death", 0.05, 0.01, 0.2, "1/h", "log", "assumption")


@dataclass(frozen=True)
class ObservationParameters:
    """What is uncertain about looking, M draws each.

    Parameters
    ----------
    share_factor : mapping of str to numpy.ndarray
        What every preparation of one method shows, over its median, shape (M,).
    part_shape, detection, tilt, loss_dead : numpy.ndarray
        Clumping of a part-count, chance that a fluke in view is counted, how strongly sick fish stand for heavy ones
        (0 not at all, 1 in proportion to their burden), loss per hour after death [1/h].
    site_share : numpy.ndarray
        Share of a fish's flukes that sit on the set's own site.
    stray_share : numpy.ndarray
        Share of them that a look elsewhere can find: those that strayed.
    """

    share_factor: Mapping[str, np.ndarray]
    part_shape: np.ndarray
    detection: np.ndarray
    selection_bias: np.ndarray
    loss_dead: np.ndarray
    site_share: np.ndarray
    stray_share: np.ndarray

    def take(self, draws: np.ndarray) -> ObservationParameters:
        """Return the draws at some positions."""
        return ObservationParameters(
            {method: factor[draws] for method, factor in self.share_factor.items()},
            *(
                getattr(self, n)[draws]
                for n in ("part_shape", "detection", "selection_bias", "loss_dead", "site_share", "stray_share")
            ),
        )


def draw_seen(evidence: ParasiteSet, n: int, seed: int) -> ObservationParameters:
    """Draw what is uncertain about looking at fish that carry a parasite set."""
    factors = {method: share_factor(method).draw(n, seed) for method in _SHARES}

    def own(name: str) -> np.ndarray:
        return evidence.values[name].draw(n, seed, "looking ")

    site = own("gill_share") if "gill_share" in evidence.values else np.full(n, 0.5)
    own_site = site if evidence.site == "gill" else 1 - site
    return ObservationParameters(
        factors,
        own("part_shape"),
        own("detection_per_fluke"),
        uniform_draws(TILT_STREAM, n, seed),
        _LOSS_PER_HOUR_DEAD.draw(n, seed),
        own_site,
        np.clip((1 - own_site) * _STRAY.draw(n, seed), 1e-5, 0.5),
    )


def share_factor(method: str) -> Value:
    """Return what every preparation of one method shows, over its median, as it is believed beforehand."""
    middle, low, high = _SHARES[method]
    return Value(f"share {method}", 1.0, low / middle, high / middle, "-", "log", "assumption")


def assumed_method(row: Preparation) -> str | None:
    """Return the method whose usual share is assumed of a preparation; None where the case says what it shows."""
    told = row.fraction_examined is not None or row.clip_share is not None
    return None if told else row.method or _ASSUMED_METHOD[row.site]


def share_examined(row: Preparation, seen: ObservationParameters, weight_g: np.ndarray | float) -> np.ndarray:
    """Share of its site that a preparation shows, shape (M,) [-].

    Parameters
    ----------
    row : Preparation
    seen : ObservationParameters
    weight_g : array_like
        Weight of the fish [g].

    Notes
    -----
    As written down; or, of a clip, from what the case says was put on a slide, in its range; or from method and fish
    size: a clip of so many filaments is a smaller share of larger gills. Clips of one case err together.
    """
    if row.fraction_examined is not None:
        return np.full(seen.part_shape.size, float(row.fraction_examined))
    method = row.method or _ASSUMED_METHOD[row.site]
    if row.clip_share is not None:
        return np.clip(_within(row.clip_share, seen.share_factor[method], _SHARES[method]), 1e-6, 1.0)
    share = _SHARES[method][0] * seen.share_factor[method]
    if method in _SMALL_PARTS:
        share = share * (_REFERENCE_WEIGHT_G / np.asarray(weight_g)) ** _AREA_EXPONENT
    return np.clip(share, 1e-6, _MOST_SHOWN.get(method, 1.0))


def _within(known: Uncertain, factor: np.ndarray, assumed: tuple[float, float, float]) -> np.ndarray:
    """Draw from a range told by the case where the method's own range was drawn from, at the same ranks, (M,)."""
    middle, low, high = assumed
    below, above = np.log(known.value / known.low), np.log(known.high / known.value)
    return known.value * factor ** np.where(factor < 1, below / np.log(middle / low), above / np.log(high / middle))


def _on_site(row: Preparation, home: str, seen: ObservationParameters) -> np.ndarray:
    """Share of the fish's flukes on the site a preparation is from, shape (M,) [-]."""
    if row.site == "whole_fish":
        return np.ones_like(seen.site_share)
    here = "gill" if row.site == "gill" else "skin"
    return seen.site_share if here == home else seen.stray_share


def whole_look(row: Preparation) -> bool:
    """Whether a preparation shows more than half of its site: two of them show the same flukes."""
    if row.fraction_examined is not None:
        return row.fraction_examined > 0.5
    return (row.method or _ASSUMED_METHOD[row.site]) == "whole_organ"


def weight_of(row: Preparation, weight_g: np.ndarray) -> np.ndarray | float:
    """Weight of the fish a preparation is of: its own where it was weighed, else that of the stock [g]."""
    return weight_g if row.weight_g is None else row.weight_g


def shown(
    row: Preparation,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Share of the fish's flukes that a look at the whole site could count, and share of it looked at, (M,) each."""
    here = _on_site(row, home, seen)
    if row.hours_dead:
        here = here * np.exp(-seen.loss_dead * row.hours_dead)
    if row.stage is not None and stages is not None:
        here = here * stages[row.stage]
    return here, share_examined(row, seen, weight_of(row, weight_g))

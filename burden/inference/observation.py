"""What is uncertain about looking at fish, and how likely a pond makes what was seen on one day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gammaln, logsumexp, xlogy

from burden.case import Preparation, Uncertain
from burden.evidence import ParasiteSet, Value
from burden.statistics import (
    gamma_quadrature,
    log_count,
    log_mean_over_fish,
    log_part_count,
    part_count_size,
    pick_pressure,
    tilted_gamma,
)
from burden.utils.random_streams import uniform_draws

__all__ = [
    "ORDER_OF_PICKS",
    "TILT_STREAM",
    "ObservationParameters",
    "assumed_method",
    "draw_seen",
    "fineness",
    "fish_alike",
    "log_chance_picked",
    "log_likelihood_of_fish",
    "log_likelihood_of_samples",
    "rates_of_chosen",
    "share_examined",
    "share_factor",
    "shares_picked",
    "shown",
    "tilt_of",
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
_ASSUMED_METHOD = {"gill": "gill_clip", "skin": "skin_scrape", "fin": "skin_scrape", "whole_fish": "whole_organ"}
_SMALL_PARTS = ("gill_clip", "skin_scrape")
_REFERENCE_WEIGHT_G, _AREA_EXPONENT = 150.0, 0.8  # gill area of carp grows with weight to the power 0.79
#: stream of how strongly the sick stand for the heavy
TILT_STREAM = "tilt"
#: how strongly fish were picked by their burden, weight ∝ burden^t: t uniform between these. Assumptions
_TILTS = {"random": (0.0, 0.0), "netted": (0.0, 0.3), "moribund": (0.0, 1.0), "dead": (0.0, 1.0)}
#: those chosen by their burden, in the order in which they are taken out of a stock
ORDER_OF_PICKS = ("dead", "moribund", "netted")
#: share of a stock that can be taken without those left being any lighter [-]
_FEW_OF_MANY = 0.005
#: flukes found away from their site, over those that the share on their site leaves for elsewhere: nobody measured how
#: many stray, and on whom
_STRAY = Value("stray", 1.0, 0.2, 5.0, "-", "log", "assumption")
_LOSS_PER_HOUR_DEAD = Value("loss after death", 0.05, 0.01, 0.2, "1/h", "log", "assumption")

#: finest quadrature over one fish's rate, by the whole count it would resolve [flukes]
_FINEST = 1024.0


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
    return np.clip(share, 1e-6, 1.0)


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


def log_likelihood_of_samples(
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None = None,
    pool: float = np.inf,
) -> np.ndarray:
    """Log-likelihood of the preparations of one day, shape (M,).

    Parameters
    ----------
    rows : sequence of Preparation
        Of one date and one parasite set; unreadable ones say nothing.
    mean, k : numpy.ndarray
        Flukes per fish that such rows count, and aggregation across fish, shape (M,).
    seen : ObservationParameters
    home : str
        The set's own site, gill or skin.
    weight_g : numpy.ndarray
        Mean weight of the fish, shape (M,) [g].
    stages : mapping of str to numpy.ndarray, optional
        Share of a fish's flukes that are adult and juvenile, (M,) each, for counts of one stage; without it `mean` is
        of the stage counted.
    pool : float
        Fish of which those looked at were chosen; of few, the sick cannot be much heavier than the rest.

    Notes
    -----
    Preparations of one fish share its rate, which is gamma across fish, tilted by t for fish chosen as sick; they are
    independent given it. A fish is averaged over that gamma by quadrature, or in closed form where every site was
    looked at wholly.
    """
    mean = np.maximum(mean, 1e-9)
    total, nodes, alike = np.zeros(mean.size), {}, fish_alike(rows)
    picked = shares_picked(alike, pool)
    for preparations, times in alike.items():
        chosen = preparations[0].chosen
        if all(row.exact and row.fraction_examined == 1 for row in preparations) and chosen not in picked:
            fish = tilted_gamma(k, mean, tilt_of(chosen, seen))
            total = total + times * _whole_organs(preparations, *fish, seen, home, weight_g, stages)
            continue
        fine = fineness(preparations, seen, weight_g)
        if (chosen, fine) not in nodes:
            nodes[chosen, fine] = rates_of_chosen(chosen, mean, k, seen, fine, picked)
        rate, log_weight = nodes[chosen, fine]
        seen_of_fish = log_likelihood_of_fish(preparations, rate, seen, home, weight_g, stages)
        total = total + times * log_mean_over_fish(seen_of_fish, log_weight)
    return total


def _whole_organs(
    rows: Sequence[Preparation],
    shape: np.ndarray,
    scale: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None,
) -> np.ndarray:
    """Log-likelihood of whole organs of one fish: their sum is negative binomial, shared out by a multinomial."""
    counts = [row.count_low for row in rows]
    share = [shown(row, seen, home, weight_g, stages)[0] * seen.detection for row in rows]
    total = sum(share)
    ways = gammaln(sum(counts) + 1) - sum(gammaln(count + 1) for count in counts)
    split = sum(xlogy(count, part / total) for count, part in zip(counts, share, strict=True))
    return log_count(sum(counts), shape * scale * total, shape) + ways + split


def fish_alike(rows: Sequence[Preparation]) -> Counter[tuple[Preparation, ...]]:
    """Readable preparations fish by fish, without the fish's label: fish that showed the same are reckoned once.

    A site looked at wholly more than once holds the same flukes each time: its counts are read as one, their mean.
    """
    fish: dict[str, list[Preparation]] = {}
    for row in rows:
        if row.readable:
            fish.setdefault(row.fish, []).append(replace(row, fish=""))
    return Counter(tuple(_once(preparations)) for preparations in fish.values())


def whole_look(row: Preparation) -> bool:
    """Whether a preparation shows more than half of its site: two of them show the same flukes."""
    if row.fraction_examined is not None:
        return row.fraction_examined > 0.5
    return (row.method or _ASSUMED_METHOD[row.site]) == "whole_organ"


def _once(preparations: Sequence[Preparation]) -> Iterator[Preparation]:
    """Preparations of one fish, whole looks at the same site and stage read as one."""
    again: dict[tuple[str, str | None], list[Preparation]] = {}
    for row in preparations:
        if whole_look(row):
            again.setdefault((row.site, row.stage), []).append(row)
        else:
            yield row
    for looks in again.values():
        exact = [row.count_low for row in looks if row.exact]
        if len(looks) > 1 and exact:
            mean = round(sum(exact) / len(exact))
            yield replace(looks[0], count_low=mean, count_high=mean)
        else:  # the one there is, or of censored counts the one that says most
            yield max(looks, key=lambda row: row.count_low)


def tilt_of(chosen: str, seen: ObservationParameters) -> np.ndarray:
    """How strongly fish chosen so were picked by their burden, weight ∝ burden^tilt, shape (M,) [-]."""
    low, high = _TILTS[chosen]
    return low + (high - low) * seen.selection_bias


def shares_picked(alike: Mapping[tuple[Preparation, ...], int], pool: float) -> dict[str, float]:
    """Share of the fish then there that were taken, by each way of choosing the heavy ones out of few fish [-].

    First the dead, then the moribund, then the net; a way that takes less than a two-hundredth is left out.
    """
    found, there = {}, float(pool)
    for way in ORDER_OF_PICKS:
        taken = sum(times for rows, times in alike.items() if rows[0].chosen == way)
        share = min(taken / max(there, 1.0), 1.0)
        if share > _FEW_OF_MANY:
            found[way] = share
        there -= taken
    return found


def rates_of_chosen(
    chosen: str, mean: np.ndarray, k: np.ndarray, seen: ObservationParameters, fine: float, picked: Mapping[str, float]
) -> tuple[np.ndarray, np.ndarray]:
    """Rates of fish chosen so and their log weights, as by `burden.statistics.gamma_quadrature`; `picked` out of
    few."""
    if chosen not in picked:
        return gamma_quadrature(*tilted_gamma(k, mean, tilt_of(chosen, seen)), largest_count=fine)
    rate, log_weight = gamma_quadrature(k, mean / k, largest_count=fine)
    log_weight = log_weight + log_chance_picked(chosen, rate * k / mean, k, seen, picked[chosen])
    return rate, log_weight - logsumexp(log_weight, axis=0)


def log_chance_picked(
    chosen: str, y: np.ndarray, k: np.ndarray, seen: ObservationParameters, share: float
) -> np.ndarray:
    """Log chance that a fish of rate y·mean/k is among the share taken out of few, shape of `y` (…, M)."""
    if share >= 1:
        return np.zeros_like(y)
    selection_bias = tilt_of(chosen, seen)
    return np.log(-np.expm1(-pick_pressure(k, selection_bias, share) * np.maximum(y, 1e-290) ** selection_bias))


def fineness(rows: Sequence[Preparation], seen: ObservationParameters, weight_g: np.ndarray) -> float:
    """Whole-site count that would fix a fish's rate as sharply as its preparations do, rounded up to a power of 4.

    Near its best rate a clumped count x of size s is worth 1/(1/x + 1/s); far below it, where fish of the stock carry
    too few, it rises as steeply as a whole count. The geometric mean serves both.
    """
    sharp = 0.0
    for row, times in Counter(rows).items():
        size = float(np.max(part_count_size(share_examined(row, seen, _weight(row, weight_g)), seen.part_shape)))
        whole = row.count_low + 1
        sharp += times * np.sqrt(whole / (1 / whole + 1 / size))
    return min(float(4 ** np.ceil(np.log(max(sharp, 1.0)) / np.log(4))), _FINEST)


def _weight(row: Preparation, weight_g: np.ndarray) -> np.ndarray | float:
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
    return here, share_examined(row, seen, _weight(row, weight_g))


def log_likelihood_of_fish(
    rows: Sequence[Preparation],
    rate: np.ndarray,
    seen: ObservationParameters,
    home: str,
    weight_g: np.ndarray,
    stages: Mapping[str, np.ndarray] | None = None,
) -> np.ndarray:
    """Log-likelihood of the preparations of one fish of a known rate, shape of `rate` (…, M).

    Adults and juveniles counted on one preparation lie in the same clump: their sum is a part-count, and each of them
    an adult with the chance that any fluke is.
    """
    total = np.zeros_like(rate)
    for (row, adults), times in Counter(_by_preparation(rows, stages)).items():
        here, share = shown(row, seen, home, weight_g, stages)
        ends = (row.count_low, np.inf if row.count_high is None else row.count_high)
        each = log_part_count(*ends, rate * here, share, seen.detection, seen.part_shape)
        if adults is not None and stages is not None:
            young = row.count_low - adults
            ways = gammaln(row.count_low + 1) - gammaln(adults + 1) - gammaln(young + 1)
            each = each + ways + xlogy(adults, stages["adult"]) + xlogy(young, stages["juvenile"])
        total = total + times * each
    return total


def _by_preparation(
    rows: Sequence[Preparation], stages: Mapping[str, np.ndarray] | None
) -> Iterator[tuple[Preparation, int | None]]:
    """Each preparation, with the adults in it where both stages of it were counted."""
    waiting: dict[Preparation, list[Preparation]] = {}
    for row in rows:
        if row.stage is None or not row.exact or stages is None:
            yield row, None
            continue
        blank = replace(row, stage=None, count_low=0, count_high=0)
        mates = waiting.setdefault(blank, [])
        if mates and mates[0].stage != row.stage:
            mate = mates.pop(0)
            both = row.count_low + mate.count_low
            adults = row.count_low if row.stage == "adult" else mate.count_low
            yield replace(blank, count_low=both, count_high=both), adults
        else:
            mates.append(row)
    for mates in waiting.values():
        yield from ((row, None) for row in mates)

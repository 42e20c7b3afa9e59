"""How likely a pond makes what was seen on one day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import gammaln, xlogy

from burden.case import Preparation
from burden.inference.observation_parameters import ObservationParameters, share_examined, shown, weight_of, whole_look
from burden.inference.picked_fish import rates_of_chosen, shares_picked, tilt_of
from burden.statistics import log_count, log_mean_over_fish, log_part_count, part_count_size, tilted_gamma

__all__ = ["fineness", "fish_alike", "log_likelihood_of_fish", "log_likelihood_of_samples"]

#: finest quadrature over one fish's rate, by the whole count it would resolve [flukes]
_FINEST = 1024.0


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


def fineness(rows: Sequence[Preparation], seen: ObservationParameters, weight_g: np.ndarray) -> float:
    """Whole-site count that would fix a fish's rate as sharply as its preparations do, rounded up to a power of 4.

    Near its best rate a clumped count x of size s is worth 1/(1/x + 1/s); far below it, where fish of the stock carry
    too few, it rises as steeply as a whole count. The geometric mean serves both.
    """
    sharp = 0.0
    for row, times in Counter(rows).items():
        size = float(np.max(part_count_size(share_examined(row, seen, weight_of(row, weight_g)), seen.part_shape)))
        whole = row.count_low + 1
        sharp += times * np.sqrt(whole / (1 / whole + 1 / size))
    return min(float(4 ** np.ceil(np.log(max(sharp, 1.0)) / np.log(4))), _FINEST)


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

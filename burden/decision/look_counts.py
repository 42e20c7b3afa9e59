"""What a look counts: how a fish is looked at, the flukes that would show, and what each number of them leads to."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

import numpy as np

from burden.case import Case, Preparation
from burden.decision.action import LIKELY
from burden.decision.look_records import TAKEN_ONCE, NextLook, Outcome
from burden.evidence import load_parasite
from burden.inference.estimate_result import Estimate
from burden.inference.observation_parameters import share_examined

__all__ = ["FEW_FISH", "PREPARATIONS", "counts_seen", "method_of", "outcomes_of", "plain_look", "preparations_by"]

#: fish of a look on which little hangs: common practice, no source
FEW_FISH = 5
#: preparations of each fish, and of each small one, which bears one clip: common practice, no source; weight below
#: which a fish is small: an assumption [g]
PREPARATIONS, _OF_SMALL, _SMALL_G = 3, 1, 100.0


@dataclass(frozen=True)
class _After:
    """What a result leads to, by whether the burden is surely low, surely high or neither."""

    low: str
    between: str
    high: str


_LEADS_TO = {
    "more_fish": _After("watch", "look_first", "dose"),
    "watch": _After("watch", "watch", "dose"),
    "check": _After("discharge", "watch", "dose"),
    "survivors": _After("watch", "watch", "dose"),
    "in_time": _After("watch", "watch", "dose"),
    "release": _After("discharge", "watch", "dose"),
}


def method_of(case: Case, site: str) -> Literal["gill_clip", "gill_arch", "skin_scrape", "whole_organ"]:
    """Return how flukes of a site are looked at again: by whole counts or arches where the last fish were counted so.

    Parameters
    ----------
    case : Case
    site : str
        gill or skin.
    """
    last = [row for row in case.samples if row.readable and row.site == site]
    last = [row for row in last if row.date == max(one.date for one in last)]
    # those that died or were put down are counted as the others cannot be
    live = [row for row in last if row.chosen not in ("moribund", "dead")] or last
    methods = {row.method for row in live}
    if methods == {"whole_organ"}:
        return "whole_organ"
    if methods == {"gill_arch"}:
        return "gill_arch"
    return "gill_clip" if site == "gill" else "skin_scrape"


def preparations_by(method: str, weight_g: float) -> int:
    """Return how many preparations of a method are made of each fish.

    Parameters
    ----------
    method : str
    weight_g : float
        Mean weight of the fish [g].
    """
    return 1 if method in TAKEN_ONCE else _OF_SMALL if weight_g < _SMALL_G else PREPARATIONS


def plain_look(case: Case, day: float, purpose: str, fish: int = FEW_FISH) -> NextLook:
    """Return a look on a day at a few fish, of which nobody can say beforehand what it leads to.

    Parameters
    ----------
    case : Case
    day : float
        From the visit [d].
    purpose : str
        As `NextLook` has it.
    fish : int
        To look at, as far as there are so many.
    """
    there = case.fish_count
    when = case.visit_date + timedelta(days=int(day))
    methods = tuple(dict.fromkeys(method_of(case, load_parasite(name).site) for name in case.parasites))
    each = max(preparations_by(method, case.mean_weight_g.value) for method in methods)
    return NextLook(when, day, purpose, min(fish, there), fish >= there, each, methods=methods)


def counts_seen(found: Estimate, burden: np.ndarray, fish: int, times: int = 1) -> np.ndarray:
    """Draw the flukes counted on so many fish netted at random, all preparations together, shape (times * M,).

    Parameters
    ----------
    found : Estimate
        For how flukes are spread over fish and how much of a fish is seen.
    burden : numpy.ndarray
        Mean burden, shape (M,) [flukes per fish].
    fish : int
    times : int
        Counts a draw: all draws once, then all once more, and so on.

    Notes
    -----
    Flukes a fish are gamma-Poisson with the draw's aggregation, and those of a preparation a clumped part of them; a
    whole count misses only what is not seen.
    """
    p = found.pond.setting.parameters
    site = p.evidence.site
    method = method_of(found.case, site)
    row = Preparation(found.case.visit_date, "1", "random", site, method=method)
    share = share_examined(row, found.seen, found.pond.setting.fish.weight_g.mean(0)) * found.seen.detection
    rng = np.random.default_rng([found.seed, zlib.crc32(f"next look {found.parasite} {fish}".encode())])
    k, shape, burden, share = (np.tile(x, times) for x in (p["aggregation"], found.seen.part_shape, burden, share))
    on_fish = rng.gamma(k, 1.0, (fish, k.size)) * burden / k
    if method == "whole_organ":
        return rng.poisson(on_fish * share).sum(0)
    each = preparations_by(method, found.case.mean_weight_g.value)
    clumped = rng.gamma(shape, 1.0, (each, fish, k.size)) / shape
    return rng.poisson(on_fish * share * clumped).sum((0, 1))


def outcomes_of(
    flukes: np.ndarray,
    high: np.ndarray,
    purpose: str,
    surely_low: float,
    now: np.ndarray | None = None,
    due: float = LIKELY,
) -> list[Outcome]:
    """Sort results into none, few and many: many is where the burden is likely too high.

    Parameters
    ----------
    flukes : numpy.ndarray
        Counted in each draw, shape (M,).
    high, purpose, surely_low, now, due
        As `next_look` takes them.
    """
    ripe = high if now is None else now
    most = _few_at_most(flukes, ripe, due)
    if now is not None:  # too many on that day alone ask for no dose where they will likely not stay
        most = max(most, _few_at_most(flukes, high, LIKELY))
    classes = [("none", 0, flukes == 0), ("few", most, (flukes > 0) & (flukes <= most)), ("many", None, flukes > most)]
    after = _LEADS_TO[purpose]
    found = []
    for code, limit, mine in classes:
        if not mine.any() or (code == "few" and most == 0):
            continue
        chance = float(np.mean(high[mine]))
        many = float(np.mean(ripe[mine])) >= due and (now is None or chance >= LIKELY)
        action = after.low if chance <= surely_low else after.high if many else after.between
        if code == "none" and action == "dose":
            action = after.between  # nobody doses fish that show no fluke
        if code == "few" and action == "discharge":
            action = after.between  # nor leaves those that still show some
        found.append(Outcome(code, limit, float(np.mean(mine)), chance, action))
    return found


def _few_at_most(flukes: np.ndarray, high: np.ndarray, due: float) -> int:
    """Most flukes that are still few: with one more the burden is too high with the chance that a dose asks for.

    The chance at each count is the rising one that fits the draws best (isotonic regression, Barlow et al. 1972,
    Statistical Inference under Order Restrictions): a mean over all counts beyond a limit would hide that those just
    beyond it are good news.
    """
    from scipy.optimize import isotonic_regression

    seen, place, times = np.unique(flukes, return_inverse=True, return_counts=True)
    chance = isotonic_regression(np.bincount(place, high) / times, weights=times).x
    return int(seen[chance < due][-1]) if chance[0] < due else 0

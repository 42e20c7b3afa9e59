"""When to stop counting: cards of stop lines for counting fish by fish."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from burden.sampling.look import Look
from burden.sampling.plan import PlanRemark, SamplingPlan
from burden.sampling.precision import relative_variance
from burden.sampling.ranges import check_numbers
from burden.sampling.stopping_lines import green_line, iwao_lines, kuno_line, sprt_lines, walk_to_decision
from burden.utils.errors import Problem
from burden.utils.results import INTERVAL_LEVEL

__all__ = [
    "StopCard",
    "seen_k",
    "stop_at_precision",
    "stop_at_threshold",
]


_APART = 1.05  # two thresholds, the upper over the lower


def seen_k(mean_abundance: float, k: float, look: Look) -> float:
    """Aggregation of what is seen on a fish, from the burden's own and the clumping of the part looked at [-].

    Notes
    -----
    The k whose negative binomial has the mean and variance of the part-count.

    Examples
    --------
    >>> seen_k(10.0, 0.8, Look()), round(seen_k(10.0, 0.8, Look(0.01)), 3)
    (0.8, 0.289)
    """
    in_view = float(look.in_view)
    inverse = float(relative_variance(mean_abundance, k, look)) - 1 / (in_view * mean_abundance)
    return 1 / inverse


@dataclass(frozen=True, kw_only=True)
class StopCard(SamplingPlan):
    """A card to take to the pond: after each fish, the total at which to stop.

    Parameters
    ----------
    method : str
        Rule: Kuno or Green for a precision, Iwao for one threshold, probability-ratio test for two.
    k_seen : float
        Aggregation of what is seen on a fish [-].
    precision, level : float or None
        Half-width of the interval as a share of the mean, and the interval's level [-].
    low, high : float or None
        Mean abundance to decide about [flukes].
    lines : tuple of mapping
        One a fish: fish, and stop_at_least, or low_at_most and high_at_least [flukes seen in all].
    expected : mapping
        Mean number of fish, and chance of each call, at the burdens named.
    """

    method: str
    k_seen: float
    precision: float | None = None
    level: float | None = None
    low: float | None = None
    high: float | None = None
    lines: tuple[Mapping[str, Any], ...]
    expected: Mapping[str, float | None]

    @property
    def decides(self) -> bool:
        """Whether the card is about a threshold, not a precision."""
        return "high_at_least" in self.lines[0]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, with what is decided in words."""
        return {**super().as_dict(), "aim": str(PlanRemark(self, "aim", "reason"))}

    def rows(self) -> list[dict[str, Any]]:
        """Return the card, one row a fish."""
        return [dict(line) for line in self.lines]


def stop_at_precision(
    k: float,
    precision: float,
    max_fish: int = 30,
    look: Look | None = None,
    interval_level: float = INTERVAL_LEVEL,
    power_law: tuple[float, float] | None = None,
    expected_mean: float = 10.0,
) -> StopCard:
    """Card that stops when the mean is known to a stated precision.

    Parameters
    ----------
    k : float
        Aggregation [-].
    precision : float
        Half-width of the interval as a share of the mean [-].
    max_fish : int
        Fish there are, or as many as will be looked at.
    look : Look, optional
        What is taken from each fish, in plain numbers, no draws; whole fish when not given.
    interval_level : float
        Level of the interval [-].
    power_law : tuple of float, optional
        a and b of variance = a·mean^b of the counts as seen; then Green's line, else Kuno's with k.
    expected_mean : float
        Mean abundance at which the clumping of the part is reckoned [flukes].

    Returns
    -------
    StopCard
        Totals are of flukes seen, all preparations of a fish added.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> card = stop_at_precision(1.0, 0.6, max_fish=20)
    >>> card.lines[9]
    {'fish': 10, 'stop_at_least': 31}
    """
    look = look or Look()
    check_numbers(k=k, max_fish=max_fish, precision=precision, interval_level=interval_level, **look.numbers())
    error, n = precision / float(ndtri(0.5 + interval_level / 2)), np.arange(1, max_fish + 1)
    as_seen = seen_k(expected_mean, k, look)
    total = kuno_line(n, error, 0.0, 1 + 1 / as_seen) if power_law is None else green_line(n, error, *power_law)
    lines = tuple({"fish": int(i), "stop_at_least": _whole(t, math.ceil)} for i, t in zip(n, total, strict=True))
    served = any(line["stop_at_least"] is not None for line in lines)
    return StopCard(
        fish=max_fish,
        method="Kuno" if power_law is None else "Green",
        k_seen=as_seen,
        precision=precision,
        level=interval_level,
        lines=lines,
        expected={},
        reason="many_flukes_few_fish" if served else "no_total_is_enough",
        what_would_change=("smaller_k_precision", "lucky_run", "not_at_random"),
    )


def stop_at_threshold(
    k: float,
    low: float,
    high: float | None = None,
    max_fish: int = 30,
    look: Look | None = None,
    call_high: float = 0.1,
    call_low: float = 0.1,
) -> StopCard:
    """Card that stops when the burden is clearly below or above a threshold.

    Parameters
    ----------
    k : float
        Aggregation [-].
    low, high : float
        Mean abundance at or below which nothing need be done, and at or above which something must [flukes].
        With `high` not given, `low` is the one threshold and Iwao's lines are used, else the probability ratio.
    max_fish : int
        Fish there are, or as many as will be looked at.
    look : Look, optional
        What is taken from each fish, in plain numbers, no draws; whole fish when not given.
    call_high, call_low : float
        Chance of calling a low burden high, and a high one low [-].

    Returns
    -------
    StopCard
        With its mean number of fish and its chances of each call at both burdens.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Notes
    -----
    The totals are whole, so the errors of the probability ratio come out below those asked for. Iwao's lines are
    normal: where few flukes are seen on a fish, the first ones call a light burden high too often. Chances and fish are
    those of the card itself, cut off at `max_fish`, by following the distribution of the total fish by fish.

    Examples
    --------
    >>> card = stop_at_threshold(1.0, 1.0, 2.0, max_fish=60)
    >>> card.lines[9]
    {'fish': 10, 'low_at_most': 6, 'high_at_least': 22}
    """
    look = look or Look()
    apart = high is None or high >= _APART * low
    fix = "Closer burdens are not told apart by counting; leave it out to decide about one."
    wrong = [] if apart else [Problem("command line", "high", str(high), "at least 1.05 times `low`", fix)]
    chances = {"call_high": call_high, "call_low": call_low}
    check_numbers(*wrong, k=k, max_fish=max_fish, low=low, high=high, **chances, **look.numbers())
    in_view = float(look.in_view)
    as_seen = seen_k(low if high is None else math.sqrt(low * high), k, look)
    n = np.arange(1, max_fish + 1)
    if high is None:
        z = float(ndtri(1 - max(call_high, call_low)))
        method, at, bounds = "Iwao", (low / 2, low * 2), iwao_lines(n, low * in_view, 0.0, 1 + 1 / as_seen, z)
    else:
        slope, down, up = sprt_lines(low * in_view, high * in_view, as_seen, call_high, call_low)
        method, at, bounds = "probability-ratio test", (low, high), (slope * n + down, slope * n + up)
    lines = _two_lines(n, *bounds)
    return StopCard(
        fish=max_fish,
        method=method,
        k_seen=as_seen,
        low=low,
        high=high,
        lines=lines,
        expected=_expected(lines, at, in_view, as_seen),
        reason="calls",
        what_would_change=("undecided", "smaller_k_threshold", "not_at_random"),
    )


def _two_lines(n: np.ndarray, lower: np.ndarray, upper: np.ndarray) -> tuple[Mapping[str, Any], ...]:
    return tuple(
        {
            "fish": int(i),
            "low_at_most": _whole(math.nan if a < 0 else a, math.floor),
            "high_at_least": _whole(b, math.ceil),
        }
        for i, a, b in zip(n, lower, upper, strict=True)
    )


def _whole(total: float, rounding: Any) -> int | None:
    return None if math.isnan(total) else int(rounding(total - 1e-9 if rounding is math.ceil else total + 1e-9))


def _expected(
    lines: tuple[Mapping[str, Any], ...], at: tuple[float, float], in_view: float, as_seen: float
) -> dict[str, float]:
    out: dict[str, float] = {}
    for name, burden in zip(("low", "high"), at, strict=True):
        called_low, called_high, fish = walk_to_decision(lines, burden * in_view, as_seen)
        called_low, called_high = max(called_low, 0.0), max(called_high, 0.0)  # what a transform leaves of nought
        out[f"{name}_mean"] = burden
        out[f"fish_if_{name}"] = fish
        out[f"called_low_if_{name}"] = called_low
        out[f"called_high_if_{name}"] = called_high
        out[f"undecided_if_{name}"] = max(1 - called_low - called_high, 0.0)
    return out

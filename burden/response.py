"""Did the last dose work: what samples before and after it say, and what was to be expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from burden.case import Case, Preparation
from burden.estimate import draw_seen, log_likelihood_of_samples
from burden.evidence import uniform_draws
from burden.pond import Pond, draw_pond
from burden.result import Result, Triple, frame, weighted_quantile
from burden.shortfall import Cause, causes_in_words, why_it_fell_short
from burden.simulate import COARSE_STEP_DAYS, Event, simulate

__all__ = ["VERDICTS", "Response", "response"]

VERDICTS = ("worked", "fell_short", "new_settlers", "cannot_tell")
_DRAWS_PER_ANSWER = 16
#: standard deviation of the log ratio of burdens after and before, before anything was counted: an assumption, wide
#: enough for no effect at all and for 1 in 10,000 left
_RATIO_MEDIAN, _RATIO_SD = 0.15, 2.5
#: a ratio this many times what was to be expected fell short
_TOLERANCE = 2.0
#: standard deviations of the log ratio between which the counts decide less and less, where it lies about the limit
_SURE, _BLIND = 0.8, 1.8
#: chance that it fell short from which the reasons are weighed
_WORTH_ASKING = 0.2


@dataclass(frozen=True)
class Response(Result):
    """Whether the last dose before the visit worked, one parasite set.

    Parameters
    ----------
    dose_date : date or None
    before, after : date or None
        Samples compared.
    reduction_percent, expected_reduction_percent : Triple
        What the counts say, and what kill and new settlers together lead one to expect [%].
    new_share : Triple
        Share of the flukes expected on the fish at the later sample that settled since the dose.
    verdict_probability : mapping of str to float
        Sums to one.
    counted, counted_if_same_fish : mapping or None
        Reduction of the mean count a fish itself [%], with its method; says nothing of what preparations miss. The
        second pairs the fish, where both days bear the same labels.
    causes : tuple of Cause
        Why it fell short, if it did; empty where that is unlikely.
    """

    case: Case
    parasite: str
    seed: int
    draws: int
    dose_date: date | None
    before: date | None
    after: date | None
    reduction_percent: Triple
    expected_reduction_percent: Triple
    new_share: Triple
    verdict_probability: Mapping[str, float]
    reason: str
    what_next: Sequence[str]
    counted: Mapping[str, Any] | None = None
    counted_if_same_fish: Mapping[str, Any] | None = None
    causes: tuple[Cause, ...] = ()

    @property
    def verdict(self) -> str:
        """The most probable of the four."""
        return max(VERDICTS, key=lambda name: self.verdict_probability[name])

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            **frame(self.seed, self.draws),
            "case": self.case.name,
            "parasite": self.parasite,
            "dose_date": None if self.dose_date is None else self.dose_date.isoformat(),
            "sampled_before": None if self.before is None else self.before.isoformat(),
            "sampled_after": None if self.after is None else self.after.isoformat(),
            "reduction_percent": self.reduction_percent.as_dict(),
            "expected_reduction_percent": self.expected_reduction_percent.as_dict(),
            "new_settler_share": self.new_share.as_dict(),
            "verdict": self.verdict,
            "verdict_probability": dict(self.verdict_probability),
            "counted": self.counted,
            "counted_if_same_fish": self.counted_if_same_fish,
            "causes": [cause.as_dict() for cause in self.causes],
            "reason": self.reason,
            "what_next": list(self.what_next),
            "warnings": [],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the verdicts, a row each."""
        return [{"verdict": name, "probability": share} for name, share in self.verdict_probability.items()]

    def text(self) -> str:
        """Return the verdict in words."""
        words = {
            "worked": "the dose worked",
            "fell_short": "the dose fell short",
            "new_settlers": "the dose worked, those you see have settled since",
            "cannot_tell": "the samples cannot tell whether the dose worked",
        }
        lines = [f"{self.parasite}: {words[self.verdict]} ({100 * self.verdict_probability[self.verdict]:.0f} %)."]
        if np.isfinite(self.reduction_percent.median):
            lines.append(
                f"Gone: {self.reduction_percent.text()} %. To be expected: {self.expected_reduction_percent.text()} %. "
                f"Of those expected on the fish by then, {self.new_share.text(scale=100)} % have settled since."
            )
        lines.append(self.reason)
        if self.causes:
            lines += [causes_in_words(self.causes), *(f"  {cause.text()}" for cause in self.causes)]
        return "\n".join([*lines, *(f"Next: {step}" for step in self.what_next)])


def response(case: Case, parasite: str | None = None, draws: int = 500, seed: int = 1) -> Response:
    """Judge the last dose before the visit.

    Parameters
    ----------
    case : Case
    parasite : str, optional
        One of the case's sets; the first when not given.
    draws, seed : int
        Number of draws and seed.

    Notes
    -----
    The ratio of burdens after and before is estimated from the two samples alone, with a wide prior, the same
    aggregation, shares and clumping on both days. What was to be expected is the model's: kill of the dose as it was
    given, growth since, and new settlers, which are told apart by a run in which the dose kills all on the fish. A
    draw whose ratio is at most twice its expectation worked; it counts as new settlers where these are more than
    half of what was to be expected. Where the counts leave the ratio wide open the verdict is taken back: from a
    standard deviation of its logarithm of 0.8 on, and at 1.8 by 4 P (1 − P), P the chance that it fell short; so ten
    clean fish, which leave the ratio open downwards alone, still tell. At the prior's own 2.5 nothing was learned.
    """
    parasite = parasite or case.parasites[0]
    frame = {"case": case, "parasite": parasite, "seed": seed, "draws": draws}
    doses = [a for a in case.given if a.action == "dose"]
    if not doses:
        return _cannot(frame, None, "no dose was given before this visit")
    rows = [r for r in case.samples if r.readable and r.parasite in (None, parasite)]
    given = doses[-1].date
    before = [r for r in rows if r.date <= given]
    after = [r for r in rows if r.date > given]
    if not before or not after:
        missing = "before" if not before else "after"
        return _cannot(frame, given, f"no sample from {missing} the dose of {given.isoformat()} could be read")
    earlier, later = max(r.date for r in before), max(r.date for r in after)
    before, after = [r for r in before if r.date == earlier], [r for r in after if r.date == later]
    pond = draw_pond(case, parasite, draws * _DRAWS_PER_ANSWER, seed)
    ratio, weight, start = _ratio_of_counts(pond, before, after)
    expected, new = _expected_ratio(case, parasite, draws, seed, earlier, later, start, weight)
    chances = _verdicts(ratio, weight, expected, new, seed)
    asked = chances["fell_short"] >= _WORTH_ASKING
    return Response(
        **frame,
        dose_date=given,
        before=earlier,
        after=later,
        reduction_percent=Triple.of(100 * (1 - ratio), weight),
        expected_reduction_percent=Triple.of(100 * (1 - expected)),
        new_share=Triple.of(new),
        verdict_probability=chances,
        reason=_reason(chances),
        what_next=_what_next(chances),
        counted=_counted(before, after),
        counted_if_same_fish=_paired(before, after),
        causes=why_it_fell_short(case, parasite, before, after, draws, seed) if asked else (),
    )


def _counted(before: Sequence[Preparation], after: Sequence[Preparation]) -> dict[str, Any] | None:
    """Reduction of the mean count per fish, without a model: comparable where both days were looked at alike."""
    from burden.classical import reduction

    return reduction(*(list(_by_fish(rows).values()) for rows in (before, after))).as_dict()


def _paired(before: Sequence[Preparation], after: Sequence[Preparation]) -> dict[str, Any] | None:
    """The same fish by fish, where the labels are the same ones; a label is a fish's own on one day only."""
    from burden.classical import paired_reduction

    first, second = _by_fish(before), _by_fish(after)
    if set(first) != set(second):
        return None
    return paired_reduction(list(first.values()), [second[label] for label in first]).as_dict()


def _by_fish(rows: Sequence[Preparation]) -> dict[str, float]:
    """Mean count of the preparations of each fish; a censored count at its lower bound."""
    fish: dict[str, list[int]] = {}
    for row in rows:
        fish.setdefault(row.fish, []).append(row.count_low)
    return {label: float(np.mean(counts)) for label, counts in fish.items()}


def _cannot(frame: dict[str, Any], given: date | None, reason: str) -> Response:
    nothing = Triple.missing()
    return Response(
        **frame,
        dose_date=given,
        before=None,
        after=None,
        reduction_percent=nothing,
        expected_reduction_percent=nothing,
        new_share=nothing,
        verdict_probability={"worked": 0.0, "fell_short": 0.0, "new_settlers": 0.0, "cannot_tell": 1.0},
        reason=f"It cannot be told: {reason}.",
        what_next=("take the same preparations from as many fish, picked the same way, before and after a dose",),
    )


def _ratio_of_counts(pond: Pond, before: list, after: list) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ratio of burdens, its weights, and the burden before, draw by draw, shape (n,) each."""
    from scipy.special import ndtri

    n, p = pond.size, pond.setting.parameters
    seen, weight_g = draw_seen(p.evidence, n, pond.seed), pond.setting.fish.weight_g.mean(0)
    value = p.evidence.values["abundance"]
    start = value.quantile(uniform_draws("burden before", n, pond.seed)) * weight_g
    ratio = _RATIO_MEDIAN * np.exp(_RATIO_SD * ndtri(uniform_draws("ratio after over before", n, pond.seed)))
    home, k = p.evidence.about["site"], p["aggregation"]
    log_weight = log_likelihood_of_samples(before, start, k, seen, home, weight_g)
    log_weight = log_weight + log_likelihood_of_samples(after, start * ratio, k, seen, home, weight_g)
    return ratio, np.exp(log_weight - log_weight.max()), start


def _expected_ratio(
    case: Case,
    parasite: str,
    draws: int,
    seed: int,
    earlier: date,
    later: date,
    start: np.ndarray,
    weight: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Ratio to be expected of the dose as given, and the share of it that settled since, shape (draws,) each."""
    pond = draw_pond(case, parasite, draws, seed + 1)
    middle = weighted_quantile(start, uniform_draws("burden before, again", draws, seed), weight)
    days = np.array([float(case.day_of(earlier)), float(case.day_of(later))])
    alive = np.array([float(case.fish_on(earlier)) * g.count / max(case.fish_count, 1) for g in case.fish])
    state = pond.start(middle, alive, days[0], uniform_draws("resistance so far", draws, seed))
    events = [e for e in pond.given if e.day >= days[0] and e.arrive is None]
    # counted on the day of a dose means counted before it: report just ahead of that day's events
    run = simulate(pond.setting, state, days, events, COARSE_STEP_DAYS)
    emptied = simulate(pond.setting, state, days, [_kills_all(e) for e in events], COARSE_STEP_DAYS)
    ratio = run.abundance[-1] / np.maximum(middle, 1e-9)
    new = np.divide(emptied.abundance[-1], run.abundance[-1], out=np.zeros_like(ratio), where=run.abundance[-1] > 0)
    return ratio, np.clip(new, 0, 1)


def _kills_all(event: Event) -> Event:
    if event.effect is None:
        return event
    on_fish = ("adult", "juvenile", "young", "mother")
    return replace(event, kill={f: np.ones_like(x) if f in on_fish else x for f, x in event.kill.items()})


def _verdicts(
    ratio: np.ndarray, weight: np.ndarray, expected: np.ndarray, new: np.ndarray, seed: int
) -> dict[str, float]:
    """Probability of each verdict; see the notes of `response`."""
    drawn = weighted_quantile(ratio, uniform_draws("ratio, again", expected.size, seed), weight)
    fell = drawn > _TOLERANCE * expected
    settled = ~fell & (new > 0.5)
    spread = float(np.std(np.log(np.maximum(drawn, 1e-9))))
    wide = float(np.clip((spread - _SURE) / (_BLIND - _SURE), 0, 1))
    nothing = float(np.clip((spread - _BLIND) / (_RATIO_SD - _BLIND), 0, 1))
    split = float(np.mean(fell))
    told = 1 - wide * max(4 * split * (1 - split), nothing)
    chances = {
        "worked": told * float(np.mean(~fell & ~settled)),
        "fell_short": told * float(np.mean(fell)),
        "new_settlers": told * float(np.mean(settled)),
    }
    return {**chances, "cannot_tell": 1 - sum(chances.values())}


def _reason(chances: Mapping[str, float]) -> str:
    verdict = max(chances, key=lambda name: chances[name])
    return {
        "worked": "What is left is no more than the kill of this dose and the settlers since lead one to expect.",
        "fell_short": "More is left than twice what this dose and the settlers since lead one to expect.",
        "new_settlers": "Most of what was to be expected by this day has hatched from eggs the drug spares.",
        "cannot_tell": "The samples leave the ratio of before and after too wide open.",
    }[verdict]


def _what_next(chances: Mapping[str, float]) -> tuple[str, ...]:
    verdict = max(chances, key=lambda name: chances[name])
    if verdict == "fell_short":
        return (
            "check the volume first: a water larger than believed is the commonest reason (common practice, no source)",
            "then whether carbon, UV or ozone ran, and whether the filter had met the agent before",
            "if both are in order, give the next dose longer rather than stronger, and count again after it",
        )
    if verdict == "cannot_tell":
        return ("look at more fish, or more of each fish, picked the same way as before",)
    return ("give the next dose on its date: what hatches now must not lay",)

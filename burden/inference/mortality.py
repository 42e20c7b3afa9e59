"""What the death log says: how likely a pond makes it, and how many of its dead the flukes killed.

The log fixes the sum of what kills: the background, another cause, and hazard per burden times burden. Which of them it
was, samples and log tell together, or they do not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

import numpy as np

from burden.case import Case
from burden.evidence import load_parasite
from burden.inference.death_log import DeathLog
from burden.inference.other_cause import HIGHEST_PEAK
from burden.model.other_deaths import OtherDeaths
from burden.utils.results import CredibleInterval, number
from burden.utils.wording import Remark, text_of

__all__ = [
    "DeathAttribution",
    "DeathPattern",
    "MoreThanOtherCauses",
    "beyond_other_causes",
    "explain",
    "pattern_of_deaths",
]

#: largest distance between the distributions of the number before and after the samples and the log were read, over
#: all numbers, below which the answer is the prior's; and share of all numbers in an interval that says nothing:
#: assumptions
_SAME, _NEARLY_ALL = 0.2, 0.9
#: dead fish of one row and day, and their share of the stock, from which they are many at once; and how long single
#: deaths must go on to be called so [d]: assumptions
_MANY, _MANY_SHARE, _MONTHS_DAYS = 3, 0.05, 28
#: deaths a day that are still single ones: an assumption [1/d]
_SINGLE = 2.0
#: share of the largest death rate of another cause from which the log may well hold more: an assumption
_NEAR_LIMIT = 0.85
#: fish lighter than this are fry [g], a stock denser than this is crowded [kg/m³]: assumptions
_FRY_G, _CROWDED_KG_M3 = 5.0, 10.0


@dataclass(frozen=True)
class DeathPattern(Remark):
    """What the course of deaths speaks for (common practice, no source).

    Parameters
    ----------
    kind : str
        Many at once where flukes of grown fish seldom kill so; many at once in fry or crowded stock, where that rules
        nothing out; or single deaths over months, which fit gill flukes.
    deaths : int
        Of the worst row; all of them where they are single.
    days : float
        Over which they died [d].
    until : date
        Last of these days.
    """

    kind: Literal["many_unusual", "many_any_cause", "single_over_months"]
    deaths: int
    days: float
    until: date


@dataclass(frozen=True)
class MoreThanOtherCauses(Remark):
    """More fish die than the model lets die of anything but flukes, at most `most_per_day` [1/d]."""

    most_per_day: float


@dataclass(frozen=True)
class DeathAttribution:
    """How many of the dead in the log the flukes killed.

    Parameters
    ----------
    deaths : int
        In the rows that are reckoned with.
    by_flukes, believed : CredibleInterval
        Of them killed by flukes: after samples and log, and before either was read.
    told : bool
        Whether samples and log have said anything: the number is not the one believed before, and not any number.
    rates : mapping of str to CredibleInterval
        Death rates over the log from flukes and from all else [1/d].
    pattern : DeathPattern or None
        What many at once or single deaths speak for.
    by_draw : numpy.ndarray
        Of the dead, those killed by flukes in each draw of the estimate, shape (M,).
    by_dose : CredibleInterval or None
        Of them killed by the doses themselves; None where no row holds days after one.
    bled : bool
        Whether fish lack blood and the flukes drink it: whatever the log says, it does not acquit these.
    looked : bool
        Whether any fish was looked at: where none was, the log alone says nothing of what killed.
    after_dose : int
        Dead in the rows that hold days on which a dose may have killed.
    """

    deaths: int
    by_flukes: CredibleInterval
    believed: CredibleInterval
    told: bool
    rates: Mapping[str, CredibleInterval]
    pattern: DeathPattern | None
    by_draw: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False, compare=False)
    bled: bool = False
    looked: bool = True
    by_dose: CredibleInterval | None = None
    after_dose: int = 0

    @property
    def share_by_flukes(self) -> CredibleInterval:
        """Share of the dead that the flukes killed [-]."""
        return CredibleInterval(
            *(x / self.deaths for x in (self.by_flukes.median, self.by_flukes.low, self.by_flukes.high))
        )

    @property
    def dose_killed(self) -> bool:
        """Whether a dose more likely than not killed several fish."""
        return self.by_dose is not None and self.by_dose.median >= _MANY

    @property
    def cannot_tell(self) -> bool:
        """Whether samples and log leave open how many the flukes killed."""
        return not self.told

    @property
    def surely_flukes(self) -> bool:
        """Whether most of the dead are surely the flukes': half of them at the lower end of the interval."""
        return self.told and self.by_flukes.low > 0.5 * self.deaths

    @property
    def mostly_flukes(self) -> np.ndarray:
        """Whether flukes killed more than half of the dead, in each draw of the estimate, shape (M,)."""
        return self.by_draw > 0.5 * self.deaths

    @property
    def mostly_else(self) -> bool:
        """Whether most of the dead are surely not the flukes': half of them at the upper end of the interval."""
        return not self.bled and self.told and self.by_flukes.high < 0.5 * self.deaths

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "deaths": self.deaths,
            "by_flukes": self.by_flukes.as_dict(),
            "by_flukes_believed_before": self.believed.as_dict(),
            "by_dose": None if self.by_dose is None else self.by_dose.as_dict(),
            "after_dose": self.after_dose,
            "dose_killed": self.dose_killed,
            "verdict": "told" if self.told else "cannot_tell",
            "fish_looked_at": self.looked,
            "share_by_flukes": self.share_by_flukes.as_dict(),
            "mostly_flukes_probability": number(float(np.mean(self.mostly_flukes))) if self.by_draw.size else None,
            "surely_flukes": self.surely_flukes,
            "surely_other": self.mostly_else,
            "rates_per_day": {name: rate.as_dict() for name, rate in self.rates.items()},
            "pattern": "" if self.pattern is None else str(self.pattern),
            "pattern_code": None if self.pattern is None else self.pattern.as_dict(),
        }

    def text(self) -> str:
        """Return the finding in words."""
        return text_of(self)


def explain(
    case: Case,
    home: str,
    log: DeathLog,
    other: OtherDeaths,
    carries: np.ndarray,
    before: tuple[DeathLog, OtherDeaths],
    seed: int,
) -> DeathAttribution | None:
    """Split the dead of a log between flukes and all else; None where no row is reckoned with or none died.

    Parameters
    ----------
    case : Case
    home : str
        The set's own site.
    log, other, carries
        Of the posterior ponds: their log, death rate from another cause, and whether they ever carried flukes.
    before : (DeathLog, OtherDeaths)
        Of equally likely prior ponds.
    seed : int

    Notes
    -----
    Given a pond, each of the dead of a row is the flukes' with the chance that their share of its expected deaths has;
    so the number is binomial, row by row, and the spread over ponds comes on top.
    """
    dead = int(log.deaths.sum())
    if dead == 0:
        return None
    after, by_dose = _by_killer(log, other, seed)
    after = after * carries
    prior = _by_killer(*before, seed + 1, read=False)[0]
    killed = CredibleInterval.of(after)
    anything = killed.high - killed.low >= _NEARLY_ALL * dead
    looked = case.has_samples
    told = looked and not anything and _distance(after, prior, np.ones_like(prior)) >= _SAME
    exposure = np.maximum(log.exposure.sum(0), 1e-9)
    rates = {
        "flukes": CredibleInterval.of(log.fluke.sum(0) / exposure * carries),
        "all_else": CredibleInterval.of((log.background + log.by_other(other)).sum(0) / exposure),
    }
    return DeathAttribution(
        dead,
        killed,
        CredibleInterval.of(prior),
        told,
        rates,
        pattern_of_deaths(case, home),
        after,
        bled=bool(case.findings.anaemic) and any(load_parasite(name).blood_feeder for name in case.parasites),
        by_dose=CredibleInterval.of(by_dose) if log.after_dose.any() else None,
        after_dose=int(log.deaths[log.after_dose].sum()),
        looked=looked,
    )


def _by_killer(log: DeathLog, other: OtherDeaths, seed: int, read: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """Number of the dead that flukes killed, and that doses did, whole ones a pond, shape (M,) each."""
    rng = np.random.default_rng([seed, 1709])
    dosed = log.by_dose(other, np.random.default_rng([seed, 1710]).random(log.exposure.shape), read)
    whole = log.fluke + log.background + log.by_other(other) + dosed
    died = log.deaths.astype(int)[:, None]
    flukes, doses = (np.divide(x, whole, out=np.zeros_like(whole), where=whole > 0) for x in (log.fluke, dosed))
    by_flukes = rng.binomial(died, np.clip(flukes, 0, 1))
    rest = np.divide(doses, 1 - flukes, out=np.zeros_like(whole), where=flukes < 1)
    return by_flukes.sum(0).astype(float), rng.binomial(died - by_flukes, np.clip(rest, 0, 1)).sum(0).astype(float)


def _distance(after: np.ndarray, prior: np.ndarray, weight: np.ndarray) -> float:
    """Largest difference of the two distribution functions (Kolmogorov), looked for where one of them steps."""
    steps = np.union1d(after, prior)
    order = np.argsort(prior, kind="stable")
    mass = np.concatenate([[0.0], np.cumsum(weight[order])])
    below = np.searchsorted(np.sort(after), steps, "right") / len(after)
    return float(np.max(np.abs(below - mass[np.searchsorted(prior[order], steps, "right")] / mass[-1])))


def beyond_other_causes(case: Case, explained: DeathAttribution | None) -> list[MoreThanOtherCauses]:
    """Say that more fish die than the model lets die of anything but flukes, as a forecast is then too low.

    Parameters
    ----------
    case : Case
    explained : DeathAttribution or None
    """
    most = HIGHEST_PEAK
    if explained is None or explained.rates["all_else"].median < _NEAR_LIMIT * most:
        return []
    return [MoreThanOtherCauses(most)]


def pattern_of_deaths(case: Case, home: str) -> DeathPattern | None:
    """Say what many deaths at once, or single ones over months, speak for (common practice, no source)."""
    rows = [row for row in case.deaths if row.deaths > 0]
    if not rows or home != "gill":
        return None
    volume_m3 = case.water.volume_l.value / 1000
    kilograms = sum(g.count * g.weight_g.value for g in case.fish) / 1000
    open_to_all = case.mean_weight_g.value < _FRY_G or kilograms / volume_m3 > _CROWDED_KG_M3
    many = [
        row
        for row in rows
        if row.deaths / max(row.days_covered, 1.0) >= max(_MANY, _MANY_SHARE * (case.fish_on(row.date) + row.deaths))
    ]
    if many:
        worst = max(many, key=lambda row: row.deaths / max(row.days_covered, 1.0))
        kind: Literal["many_any_cause", "many_unusual"] = "many_any_cause" if open_to_all else "many_unusual"
        return DeathPattern(kind, worst.deaths, worst.days_covered, worst.date)
    span = (rows[-1].date - rows[0].date).days + rows[0].days_covered
    single = all(row.deaths / max(row.days_covered, 1.0) <= _SINGLE for row in rows)
    if span >= _MONTHS_DAYS and len(rows) > 1 and single and not open_to_all:
        return DeathPattern("single_over_months", sum(row.deaths for row in rows), span, rows[-1].date)
    return None
